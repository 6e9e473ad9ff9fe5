"""One catalogue a language: the same keys, the same figures in every text, nothing missing and nothing left over."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

import trayopt.crewsheets
from trayopt.crewsheets.words import LANGUAGES, Words, words_of
from trayopt.domain import colours

FOLDER = Path(trayopt.crewsheets.__file__).parent
SOURCES = "".join(
    path.read_text(encoding="utf-8") for path in sorted(FOLDER.rglob("*")) if path.suffix in {".py", ".j2", ".js"}
)
FAMILIES = (
    "list.", "part.", "colour.", "travel.", "status.", "fact.", "column.", "unit.", "material.", "tool.", "label.",
    "label.end.", "result.", "phase.", "safety.", "look.", "steps.", "caution.", "step.", "js.", "number.",
    "divide_at.", "remark.", "each.", "trial.", "trouble.",
)  # fmt: skip
"""Keys that are put together where they are used."""


def figures(text: str) -> list[set[str]]:
    return [set(re.findall(r"\{(\w+)\}", form)) for form in text.split("|")]


@pytest.mark.parametrize("language", LANGUAGES[1:])
def test_catalogues_have_the_same_keys(language: str) -> None:
    assert list(words_of(language).entries) == list(words_of(LANGUAGES[0]).entries)


@pytest.mark.parametrize("language", LANGUAGES[1:])
def test_texts_carry_the_same_figures(language: str) -> None:
    first, other = words_of(LANGUAGES[0]).entries, words_of(language).entries
    different = [key for key in first if figures(first[key]) != figures(other[key])]
    # "Nothing crosses" and such: a form for one may leave its number out, in one language and not in the other.
    assert [key for key in different if set.union(*figures(first[key])) != set.union(*figures(other[key]))] == []


@pytest.mark.parametrize("language", LANGUAGES[1:])
def test_the_second_language_is_not_the_first(language: str) -> None:
    first, other = words_of(LANGUAGES[0]).entries, words_of(language).entries
    bare = {key: re.sub(r"\{\w+\}", "", text) for key, text in first.items()}
    same = [key for key in first if first[key] == other[key] and len(bare[key]) > 12]
    assert same == []


def test_every_key_is_used() -> None:
    unused = [
        key
        for key in words_of("en").entries
        if f'"{key}"' not in SOURCES and f"'{key}'" not in SOURCES and not key.startswith(FAMILIES)
    ]
    assert unused == []


def test_every_key_that_is_named_exists() -> None:
    named = set(re.findall(r"""(?:tell|words)\(\s*["']([a-z_.]+)["'](?=[,)])""", SOURCES))
    assert named - set(words_of("en").entries) == set()


def test_every_trouble_of_hands_has_its_words() -> None:
    kinds = set(re.findall(r'Trouble\(\s*"([a-z_]+)"', SOURCES)) | {"unspliced", "not_there"}
    assert {key for key in words_of("en").entries if key.startswith("trouble.")} == {
        f"trouble.{kind}" for kind in kinds
    }


def test_columns_are_all_named() -> None:
    keys = set(re.findall(r'Column\(\s*"([a-z0-9_]+)"', SOURCES))
    assert {f"column.{key}" for key in keys} <= set(words_of("en").entries)


@pytest.mark.parametrize("language", LANGUAGES)
def test_headers_of_one_list_are_different_words(language: str) -> None:
    words = words_of(language)
    columns = {key: text for key, text in words.entries.items() if key.startswith("column.")}
    assert len(set(columns.values())) == len(columns)


def test_colours_follow_tia_598() -> None:
    # 7 CFR 1755.200 (1995), (e)(9), table 7: twelve colours, then the same with a black stripe, yellow on black.
    words = words_of("en")
    for position in range(1, 145):
        assert words.colour(position) == colours.name(position)
    assert words_of("de").colour(1) == "blau"
    assert words_of("de").colour(20) == "schwarz + Strich gelb"


def test_numbers_are_written_as_the_language_does() -> None:
    assert words_of("en").number(1234567.5, 1) == "1,234,567.5"
    assert words_of("de").number(1234567.5, 1) == "1.234.567,5"
    assert words_of("en").number(999) == "999"


def test_forms_for_one_and_for_more() -> None:
    words = Words("en", {"number.thousands": ",", "number.decimal": ".", "t": "{n} tray|{n} trays"})
    assert words("t", n=1) == "1 tray"
    assert words("t", n=0) == "0 trays"
    assert words("t", n=1200) == "1,200 trays"


def test_values_are_not_read_as_texts() -> None:
    words = Words("en", {"number.thousands": ",", "number.decimal": ".", "t": "{name}"})
    assert words("t", name="{0} {x!r} |") == "{0} {x!r} |"


def test_lists_of_words() -> None:
    words = words_of("en")
    assert [words.listed(items) for items in ([], ["a"], ["a", "b"], ["a", "b", "c"])] == [
        "",
        "a",
        "a and b",
        "a, b and c",
    ]


def test_an_unknown_language_is_told() -> None:
    with pytest.raises(KeyError):
        words_of("xx")
