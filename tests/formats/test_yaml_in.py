"""YAML 1.2 in: values, places, limits, and no traceback whatever is read."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from tests.expected import refusal
from trayopt.errors import InputError
from trayopt.formats import yaml_in
from trayopt.formats.scalars import plain
from trayopt.formats.yaml_in import parse_yaml, read_yaml

MODELS = Path(__file__).parents[2] / "models"
SAMPLES = [path.read_text(encoding="utf-8") for path in sorted(MODELS.rglob("*.yaml"))[::9]]


def first(text: str) -> str:
    """Give the first fault of a text, without file name."""
    with pytest.raises(InputError) as wrong:
        parse_yaml(text, "f")
    return str(wrong.value.faults[0]).removeprefix("f:")


@pytest.mark.parametrize(
    ("text", "value"),
    [
        # YAML 1.2, section 10.3.2, core schema; the first rows are what YAML 1.1 would read otherwise
        ("12:24", "12:24"),
        ("NO", "NO"),
        ("off", "off"),
        ("2024-01-02", "2024-01-02"),
        ("1_000", "1_000"),
        ("012", 12),
        ("0o17", 15),
        ("0x1F", 31),
        ("-7", -7),
        ("+7", 7),
        ("1.5", 1.5),
        (".5", 0.5),
        ("1.", 1.0),
        ("1e3", 1000.0),
        ("true", True),
        ("FALSE", False),
        ("~", None),
        ("null", None),
        ("", None),
        ("N1:1-432", "N1:1-432"),
        ("-", "-"),
        (".", "."),
        ("0x", "0x"),
        ("1e", "1e"),
    ],
)
def test_plain_scalars_follow_the_core_schema(text: str, value: object) -> None:
    found = plain(text)
    assert found == value
    assert type(found) is type(value)


def test_quotes_and_tags_make_text() -> None:
    read = parse_yaml("a: '12'\nb: \"NO\"\nc: !!str 12\nd: !!float 3\ne: |\n  x\n", "f")
    assert read.data == {"a": "12", "b": "NO", "c": "12", "d": 3.0, "e": "x\n"}
    assert read.faults == []


def test_lists_are_tuples_and_every_value_and_key_has_its_place() -> None:
    read = parse_yaml("top:\n  - {id: N1, loops: [1, 2]}\n  - id: S1\nnone:\n", "job.yaml")
    assert read.data == {"top": ({"id": "N1", "loops": (1, 2)}, {"id": "S1"}), "none": None}
    assert read.values[("top", 0, "loops", 1)] == (2, 25)
    assert read.values[("top", 1)] == (3, 5)
    assert read.keys[("top", 1, "id")] == (3, 5)
    assert read.values[("none",)] == (4, 1)
    assert str(read.spot(("top", 0, "missing", "deeper")).fault("m")) == "job.yaml:2:5: m"


def test_an_alias_stands_for_its_value_and_is_told_where_it_stands() -> None:
    read = parse_yaml("a: &x {b: 1}\nc: *x\n", "f")
    assert read.data == {"a": {"b": 1}, "c": {"b": 1}}
    assert read.spot(("c", "b")).line == 2


def test_a_schema_key_at_the_top_is_dropped(tmp_path: Path) -> None:
    path = tmp_path / "x.yaml"
    path.write_text("$schema: urn:trayopt:schema:tray:1\nid: x\n")
    assert read_yaml(path).data == {"id": "x"}


def test_an_empty_file_says_so() -> None:
    for text in ("", "\n\n", "# only a comment\n", "---\n"):
        assert first(text) == "1:1: the file is empty; allowed: 'key: value' lines"


def test_an_alias_bomb_does_not_go_off() -> None:
    lines = ["a0: &a0 [x, x, x, x, x, x, x, x, x, x]"]
    lines += [f"a{i}: &a{i} [{', '.join([f'*a{i - 1}'] * 10)}]" for i in range(1, 12)]
    assert "too many values, each counted as often as aliases repeat it" in first("\n".join(lines))


def test_many_aliases_are_refused() -> None:
    assert "too many aliases" in first("a: &a 1\nb: [" + ", ".join(["*a"] * 300) + "]")


@pytest.mark.parametrize("text", ["[" * 100_000, "a: " + "{a: " * 5000, "- " * 5000 + "x"])
def test_deep_nesting_is_refused(text: str) -> None:
    assert "nested too deeply; found more than 50 levels; allowed: up to 50" in first(text)


def test_fifty_levels_are_read() -> None:
    assert parse_yaml("[" * 50 + "]" * 50, "f").faults == []


def test_too_many_values_are_refused() -> None:
    assert "too many values" in first("[" + "1," * (yaml_in.MOST_VALUES + 5) + "]")


def test_ten_megabytes_are_refused_before_they_are_parsed(tmp_path: Path) -> None:
    path = tmp_path / "big.yaml"
    path.write_text("a: 1\n" * 2_000_000)
    with pytest.raises(InputError, match=r"the file is too large; found 10.0 MB; allowed: up to 2 MB"):
        read_yaml(path)


@settings(max_examples=150)
@given(st.sampled_from(SAMPLES), st.data())
def test_mangled_files_never_end_in_a_traceback(text: str, data: st.DataObject) -> None:
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(text)))
        size = data.draw(st.integers(0, 8))
        new = data.draw(st.text(st.sampled_from("{}[]:,-#&*!|>'\"%@`\\ \t\n\r0aZ~?.é\x85\u2028"), max_size=4))
        text = text[:at] + new + text[at + size :]
    faults = refusal(lambda: parse_yaml(text, "f"))
    assert faults != ()
    assert all(fault.line > 0 and fault.column > 0 for fault in faults or parse_yaml(text, "f").faults)


@settings(max_examples=150)
@given(st.text(max_size=60))
@example("%YAML 1.2\n---\na: 1\n")
@example("a: !<tag:x> b")
@example("%TAG ! tag:x:\n---\na: !b c")
@example("\ufeffa: 1")
@example("a: &\n")
@example("? a\n? b\n")
def test_any_text_is_read_or_refused(text: str) -> None:
    assert refusal(lambda: parse_yaml(text, "f")) != ()
