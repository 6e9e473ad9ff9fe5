"""Syntax errors of YAML in plain words: the message of the parser, the best place to report it, and what to do."""

from __future__ import annotations

from typing import NamedTuple

from ruamel.yaml.error import MarkedYAMLError

from trayopt.domain.said import said
from trayopt.formats.locate import Mark, printable


class _Words(NamedTuple):
    """Words for one error: ``parser`` is a part of the parser's message; with ``begins`` the start of the piece is reported."""

    parser: str
    message: str
    hint: str = ""
    begins: bool = False


_WORDS = (
    _Words("found character '\\t'", said("a tab where only spaces are allowed"), said("indent with spaces")),
    _Words(
        "mapping values are not allowed here",
        said("a second ': ' in one line, or a line that is indented wrongly"),
        said("put text with ': ' in quotes"),
    ),
    _Words(
        "could not find expected ':'", said("a key without a colon behind it"), said("write 'key: value'"), begins=True
    ),
    _Words(
        "sequence entries are not allowed here",
        said("a list entry '- ' where none is allowed"),
        said("begin the list on its own line"),
    ),
    _Words(
        "expected <block end>",
        said("a line that is indented differently from its neighbours"),
        said("indent lines of one level alike"),
    ),
    _Words("expected ',' or ']'", said("a list [ ... ] is not closed, or lacks a comma"), said("close it with ]")),
    _Words(
        "expected ',' or '}'", said("a mapping {{ ... }} is not closed, or lacks a comma"), said("close it with }}")
    ),
    _Words(
        "found unexpected end of stream", said("a text in quotes is not closed"), said("close the quotes"), begins=True
    ),
    _Words(
        "found unexpected document separator",
        said("a text in quotes is not closed"),
        said("close the quotes"),
        begins=True,
    ),
    _Words("cannot start any token", said("a character that cannot begin a value"), said("put the text in quotes")),
    _Words(
        "unknown escape character",
        said("an unknown escape in a text with double quotes"),
        said("write \\\\ for a backslash, or use single quotes"),
    ),
    _Words("undefined tag handle", said("a tag that is not known"), said("leave the tag out")),
    _Words("expected the node content", said("a value is missing")),
    _Words(
        "<document start>", said("there is text after the end of the document"), said("keep one document in a file")
    ),
)


def plain_words(wrong: MarkedYAMLError) -> tuple[Mark, str, str]:
    """Return the place, the message and the hint for a syntax error."""
    problem = str(wrong.problem or wrong.context or "it cannot be read")
    words = next((words for words in _WORDS if words.parser in problem), None)
    begins = wrong.context_mark
    at = begins if words and words.begins and begins else wrong.problem_mark or begins
    mark = (at.line + 1, at.column + 1) if at else (1, 1)
    if words is None:
        return mark, said("this is not YAML: {problem}", problem=printable(problem)), ""
    message = words.message
    if words.hint.startswith("close") and begins and begins.line + 1 < mark[0]:
        message = said("{message}; it begins in line {line}", message=message, line=begins.line + 1)
    return mark, message, words.hint
