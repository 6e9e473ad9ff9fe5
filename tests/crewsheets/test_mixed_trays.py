"""Sheets of a stack with trays of two kinds: three of 72 for ribbons under two of 36 for single fibres; counted by hand."""

from __future__ import annotations

import re
from functools import cache

import pytest

from tests.crewsheets.plans import STANDARD, planned
from trayopt.api import load_job
from trayopt.crewsheets.geometry.side import side_picture
from trayopt.crewsheets.page_rows import batch_rows
from trayopt.crewsheets.write import Options, Sheets
from trayopt.domain.assignment import Way
from trayopt.domain.cablework import Leg
from trayopt.domain.hardware import Place


@cache
def sheets(language: str = "en") -> Sheets:
    """Lay subunits 1 to 3 into the trays for ribbons, halved, and the halves of the fourth into those for single fibres."""
    job = load_job(STANDARD / "mixed-trays-288-separated.yaml")
    ways = {"N1": Way("bottom-left", "clockwise", 2), "S1": Way("bottom-right", "counterclockwise", 2)}
    places = {
        Leg(trunk, unit, group, 2): Place("stack", unit if unit < 4 else 3 + group)
        for trunk in ways
        for unit in (1, 2, 3, 4)
        for group in (1, 2)
    }
    return Sheets(job, planned(job, ways, places), Options(language=language))


def steps(what: str) -> list[str]:
    return [line for step in sheets().steps if what in step.title for line in step.lines]


def test_ribbons_are_separated_in_the_steps_of_the_outer_trays_alone() -> None:
    for position in (4, 5):
        said = steps(f"Splice tray stack/{position}")
        assert "N1: separate 3 ribbons into single fibres, each kept in its order." in said
        assert "S1: separate 3 ribbons into single fibres, each kept in its order." in said
        assert any(line.startswith("36 sleeves, 36 splices") for line in said)
    for position in (1, 2, 3):
        said = steps(f"Splice tray stack/{position}")
        assert not any("separate" in line for line in said)
        assert any(line.startswith("6 sleeves, 72 splices") for line in said)


def test_store_and_tools_are_those_of_both_kinds() -> None:
    rows = {(str(row[0]), str(row[1])): row[3] for row in sheets().tables["materials"].rows}
    assert rows["splice sleeve", "for 1 fibre"] == 72
    assert rows["splice sleeve", "for 12 fibres"] == 18
    assert (rows["splice tray", "ribbon-72"], rows["splice tray", "single-36"]) == (3, 2)
    tools = {str(row[0]) for row in sheets().tables["tools"].rows}
    assert {"single-fibre splicer, stripper and cleaver", "ribbon splitting tool"} <= tools


def test_the_record_has_a_head_for_twelve_single_fibres_and_one_for_each_ribbon() -> None:
    made = sheets()
    (batch,) = batch_rows(made.book, made.readings, made.tell)
    heads = re.findall(r'class="sleeve-head">.*?>([^<]*)</th>', str(batch["rows"]))
    assert heads[17:] == [
        "stack/3 · 6: N1:205-216 × S1:205-216",
        *(
            f"stack/{place} · {i} – {i + 11}: N1:{first + i}-{first + i + 11} × S1:{first + i}-{first + i + 11}"
            for place, first in ((4, 216), (5, 252))
            for i in (1, 13, 25)
        ),
    ]
    assert str(batch["rows"]).count("data-a=") == 288


@pytest.mark.parametrize("language", ["en", "de"])
def test_the_side_picture_says_what_each_kind_takes_and_nothing_is_cut_off(language: str) -> None:
    made = sheets(language)
    picture = side_picture(made.book, made.tell)
    assert [text.full for text in picture.texts if text.full and text.full != text.text] == []
    assert any(text.text.endswith("144 · 6 / 72 · 36") for text in picture.texts)
