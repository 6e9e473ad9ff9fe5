"""The usual layout of YAML: its events are those of the parser, and whatever is unusual or wrong is left to the parser."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from trayopt.formats.yaml_events import Event, NotYamlError, parsed_events
from trayopt.formats.yaml_plain import plain_events

MODELS = Path(__file__).parents[2] / "models"
FILES = sorted(MODELS.rglob("*.yaml"))
TEXTS = [path.read_text(encoding="utf-8") for path in FILES]
LINES = (
    *(
        "a:",
        "b: 1",
        "- c",
        "- d: e",
        "- f:",
        "g: 'h'",
        "i: [1, {j: k}]",
        "- [l]",
        "# m",
        "",
        "n: o # p",
        "o: p #",
        "q: r#s",
    ),
    *(
        'q: "r: s"',
        "- t: [u, v]  ",
        "w:   x y",
        '- "z"',
        "- - a",
        "a b",
        "c: d: e",
        "{x: y}",
        "[x]",
        "---",
        "a:b",
        "- a:b",
    ),
    *(
        "b: -1",
        "b: - 1",
        "c: 'it''s'",
        'd: "\\t"',
        "e: |",
        "f: &x 1",
        "g: *x",
        "h: [a: b]",
        "i: {a:1}",
        "j: [a,]",
        "k: []",
    ),
    *(
        "l: {}",
        "m: ~",
        "yes: no",
        "<<: {}",
        "? n",
        "-",
        "- # o",
        "p: [1, 2",
        "q: é ü",
        "r: a, b",
        "s: it's",
        "t: 1 - 2",
        "u: a\\b",
    ),
)


def told(events: list[Event]) -> list[Event]:
    """Leave out places that no message tells: of ends, and of values that are not there."""
    nowhere = [event.kind == "end" or event == Event("scalar", event.mark) for event in events]
    return [event._replace(mark=(0, 0)) if hidden else event for event, hidden in zip(events, nowhere, strict=True)]


def by_parser(text: str) -> list[Event]:
    return told([event for event in parsed_events(text) if event.kind != "document"])


def same_or_left(text: str) -> None:
    """Compare with the parser, if the text is taken at all; what the parser refuses must not be taken."""
    found = plain_events(text)
    if found is not None:
        assert told(found) == by_parser(text)


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_every_shipped_file_is_of_the_usual_layout(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    found = plain_events(text)
    assert found is not None
    assert told(found) == by_parser(text)


@pytest.mark.parametrize(
    "text",
    [
        *(
            "",
            "# a",
            "a",
            "- a",
            "[a]",
            " a: 1",
            "a: b: c",
            "a:\tb",
            "a: b\r\n",
            "a: 1\n b: 2",
            "a: 1\n  - b",
            "a: b\n  c",
            "a: b\nc",
        ),
        *(
            "a:\n  - b\n    c: d",
            "a:\n  - b\n- c",
            "a:\n  b: 1\n c: 2",
            "- a\nb: 1",
            "a: 1\n- b",
            "---\na: 1",
            "a: 1\n...",
            "%YAML 1.2",
        ),
        *(
            "a: [b: c]",
            "a: {b:1}",
            "a: {b: }",
            "a: {b: 1,}",
            "a: [1,]",
            "a: [1 # 2]",
            "a: [1\n 2]",
            "a: [1}",
            "a: {1}",
            "a: ]",
            "a: [1]]",
        ),
        *(
            "a: [1] 2",
            'a: "b" c',
            'a: "b\\n"',
            "a: 'it''s'",
            "a: 'b",
            "a: b#c",
            "a: |\n b",
            "a: &b 1",
            "a: *b",
            "a: !b c",
            "a: @b",
            "? a",
        ),
        *(
            "a: - b",
            "a: -",
            "-",
            "a:\n  -\n  - b",
            "a:\n  - # b",
            "1: a",
            "a b: c",
            '"a": b',
            "<<: a",
            "a: \u00a0b",
            "a: \ufeff",
            "a: [",
        ),
        *('a: "b"# c', "a: [b]# c", "a: b: # c", "a: b:"),
    ],
)
def test_what_is_unusual_is_left_to_the_parser(text: str) -> None:
    assert plain_events(text) is None


@pytest.mark.parametrize(
    "text",
    [
        *("a:", "a: # b", "a:\nb: 1", "a: 'b' # c", "a: b  # c", "a:\n- b\n- c\nd: e"),
        *("a:\n  - b: 1\n    c:\n    - d\n  - e", "a: {}", "a: [ ]", "a: [ b , {c: d, e: [f]} ]  "),
        *("a: 12:24", "a: N1:1-432", "a: -1", "a: +.5", "a: ~", "a: (b)", "a: b, c; d", "a: é ü"),
        *("a:\n  - 'b'\n\n  # c\n  - d e\nf: g\n", "a: 1 - 2 % = 3", "a: ''", 'a: ""'),
        *("a:\n  b:\n    c: 1\n  d: 2\ne: 3", "a: it's", "a: \U0001f600", "a:\n  -   b: 1\n      c: 2"),
        *("a:\n  b:\nc:\n", "a: 1\na: 2", "a: [x y, N1:1-12]"),
    ],
)
def test_the_usual_layout_is_read_as_by_the_parser(text: str) -> None:
    found = plain_events(text)
    assert found is not None
    assert told(found) == by_parser(text)


@settings(max_examples=150)
@given(
    st.lists(st.tuples(st.sampled_from((0, 0, 0, 1, 2, 2, 3, 4, 4, 6)), st.sampled_from(LINES)), min_size=1, max_size=9)
)
@example([(0, "a:"), (0, "- c"), (2, "b: 1")])
def test_lines_in_any_order_are_read_as_by_the_parser(lines: list[tuple[int, str]]) -> None:
    same_or_left("\n".join(" " * indent + line for indent, line in lines))


@settings(max_examples=80)
@given(st.sampled_from(TEXTS), st.data())
def test_mangled_files_are_read_as_by_the_parser(text: str, data: st.DataObject) -> None:
    lines = text.split("\n")
    begin = data.draw(st.integers(0, max(0, len(lines) - 20)))
    text = "\n".join([*lines[: min(begin, 4)], *lines[begin : begin + 20]])
    for _ in range(data.draw(st.integers(1, 3))):
        at = data.draw(st.integers(0, len(text)))
        size = data.draw(st.integers(0, 3))
        new = data.draw(st.text(st.sampled_from("{}[]:,-#&*!|>'\"%@`\\ \t\n\r0aZ~?.é\x85\u2028"), max_size=4))
        text = text[:at] + new + text[at + size :]
    same_or_left(text)


def test_the_parser_tells_what_is_wrong() -> None:
    with pytest.raises(NotYamlError, match="a second ': ' in one line"):
        list(parsed_events("a: b: c"))


def test_a_job_in_the_usual_layout_loads_no_parser() -> None:
    code = (
        "import sys, trayopt\n"
        f"trayopt.load_job({str(MODELS / 'standard' / 'worked-example.yaml')!r})\n"
        "print(sorted(name for name in sys.modules if name.startswith('ruamel')))"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout.strip() == "[]"
