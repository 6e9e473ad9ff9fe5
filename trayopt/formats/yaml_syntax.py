"""Syntax errors of YAML in plain words: what the parser says, where it is best told, and what to do."""

from __future__ import annotations

from typing import NamedTuple

from ruamel.yaml.error import MarkedYAMLError

from trayopt.formats.locate import Mark, printable


class _Words(NamedTuple):
    """``parser``: part of the parser's own message; ``begins``: told where the piece begins, not where it broke off."""

    parser: str
    message: str
    hint: str = ""
    begins: bool = False


_WORDS = (
    _Words("found character '\\t'", "a tab where only spaces are allowed", "indent with spaces"),
    _Words(
        "mapping values are not allowed here",
        "a second ': ' in one line, or a line that is indented wrongly",
        "put text with ': ' in quotes",
    ),
    _Words("could not find expected ':'", "a key without a colon behind it", "write 'key: value'", begins=True),
    _Words(
        "sequence entries are not allowed here",
        "a list entry '- ' where none is allowed",
        "begin the list on its own line",
    ),
    _Words(
        "expected <block end>",
        "a line that is indented differently from its neighbours",
        "indent lines of one level alike",
    ),
    _Words("expected ',' or ']'", "a list [ ... ] is not closed, or lacks a comma", "close it with ]"),
    _Words("expected ',' or '}'", "a mapping { ... } is not closed, or lacks a comma", "close it with }"),
    _Words("found unexpected end of stream", "a text in quotes is not closed", "close the quotes", begins=True),
    _Words("found unexpected document separator", "a text in quotes is not closed", "close the quotes", begins=True),
    _Words("cannot start any token", "a character that cannot begin a value", "put the text in quotes"),
    _Words(
        "unknown escape character",
        "an unknown escape in a text with double quotes",
        "write \\\\ for a backslash, or use single quotes",
    ),
    _Words("undefined tag handle", "a tag that is not known", "leave the tag out"),
    _Words("expected the node content", "a value is missing"),
    _Words("<document start>", "there is text after the end of the document", "keep one document in a file"),
)


def plain_words(wrong: MarkedYAMLError) -> tuple[Mark, str, str]:
    """Give place, message and hint for a syntax error."""
    problem = str(wrong.problem or wrong.context or "it cannot be read")
    words = next((words for words in _WORDS if words.parser in problem), None)
    begins = wrong.context_mark
    at = begins if words and words.begins and begins else wrong.problem_mark or begins
    mark = (at.line + 1, at.column + 1) if at else (1, 1)
    if words is None:
        return mark, f"this is no YAML: {printable(problem)}", ""
    message = words.message
    if words.hint.startswith("close") and begins and begins.line + 1 < mark[0]:
        message += f"; it begins in line {begins.line + 1}"
    return mark, message, words.hint
