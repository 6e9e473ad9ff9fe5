"""Sheets of trunks whose ribbons are split or made anew: three ribbons of 16 on four of 12, in one tray; counted by hand."""

from __future__ import annotations

from typing import Any

import pytest

from tests.crewsheets import plans
from trayopt.api import load_job
from trayopt.checker.measure import measure
from trayopt.crewsheets.page_rows import tray_row
from trayopt.crewsheets.tables import Table
from trayopt.crewsheets.write import Options, Sheets
from trayopt.domain.assignment import Assignment, Way
from trayopt.domain.cablework import Leg
from trayopt.domain.hardware import Place
from trayopt.domain.job import Job
from trayopt.domain.labour import Labour
from trayopt.domain.plan import Plan
from trayopt.domain.ranges import parse_run
from trayopt.rules.exposed import Exposed
from trayopt.track.labour import crew_minutes
from trayopt.track.laid import Laid

MINUTES = {"as_they_are": 6 * 8 + 5, "split": 4 * 8 + 3, "12": 4 * 8 + 4 * 6}
"""Six sleeves and five cuts; four sleeves and three cuts; four sleeves and four ribbons made."""


def sixteen_on_twelve(word: str) -> tuple[Job, Plan, Assignment]:
    """Lay both trunks into one tray."""
    data: dict[str, Any] = {**plans.WORKED}
    cables = [{**trunk["cable"], "subunits": []} for trunk in data["trunks"]]
    for cable, width, ribbons in zip(cables, (16, 12), (3, 4), strict=True):
        cable["subunits"] = [{"count": 1, "ribbons": ribbons, "ribbon_fibres": width, "diameter_mm": 5}]
    done = int(word) if word.isdigit() else word
    data["trunks"] = [{**trunk, "cable": cable} for trunk, cable in zip(data["trunks"], cables, strict=True)]
    data["trunks"][0]["ribbons"] = ["as_they_are", "split", 12]
    box = data["enclosure"]
    tray = {**box["stacks"][0]["tray"], "fibres": 48, "sleeves": 6}
    data["enclosure"] = {**box, "stacks": [{**stack, "tray": tray} for stack in box["stacks"]]}
    data["joins"] = [{"a": "P:1-48", "b": "Q:1-48", "name": "main"}]
    job = load_job(data)
    ways = {"P": Way("bl", "clockwise", 1), "Q": Way("br", "counterclockwise", 1)}
    places = {Leg("P", 1, 1, 1): Place("left", 1), Leg("Q", 1, 1, 1): Place("left", 1)}
    laid = Assignment(ways, places, {}, {}, {"P": done})  # type: ignore[dict-item]
    return job, measure(job, laid, status="feasible", stopped="gap", bounds={}, solver=plans.SOLVER), laid


def loose_on_ribbons(lang: str = "en") -> tuple[Job, Sheets, Assignment]:
    """Lay two tubes of 12 loose fibres and two ribbons of 12 into one tray."""
    data: dict[str, Any] = {**plans.WORKED}
    loose, ribbons = ({**trunk["cable"]} for trunk in data["trunks"])
    loose |= {
        "construction": "loose_tube",
        "subunits": [{"count": 2, "ribbons": 1, "ribbon_fibres": 12, "diameter_mm": 3}],
    }
    loose.pop("ribbon_mm", None)
    ribbons["subunits"] = [{"count": 1, "ribbons": 2, "ribbon_fibres": 12, "diameter_mm": 5}]
    data["trunks"] = [{**t, "cable": c} for t, c in zip(data["trunks"], (loose, ribbons), strict=True)]
    data["joins"] = [{"a": "P:1-24", "b": "Q:1-24", "name": "main"}]
    job = load_job(data)
    ways = {"P": Way("bl", "clockwise", 1), "Q": Way("br", "counterclockwise", 1)}
    places = dict.fromkeys((Leg("P", 1, 1, 1), Leg("P", 2, 1, 1), Leg("Q", 1, 1, 1)), Place("left", 1))
    laid = Assignment(ways, places)
    plan = measure(job, laid, status="feasible", stopped="gap", bounds={}, solver=plans.SOLVER)
    return job, Sheets(job, plan, Options(language=lang)), laid


@pytest.mark.parametrize("word", ["split", "12"])
def test_the_page_tells_colours_ribbon_by_ribbon(word: str) -> None:
    """The row of every fibre on the page says the place in its ribbon that the list of fibres says."""
    job, plan, _ = sixteen_on_twelve(word)
    made = Sheets(job, plan, Options())
    listed: dict[str, tuple[object, str]] = {}
    for row in rows(made.tables["fibres"]):
        listed |= {str(row[f"{side}_run"]): (row[f"{side}_ribbon"], str(row[f"{side}_fibre"])) for side in "ab"}
    sides = [side for sleeve in tray_row(made.book, 0, made.pictures, made.tell)["sleeves"] for side in sleeve["sides"]]
    shown: dict[str, tuple[object, str]] = {}
    for side in sides:
        run = parse_run(side["run"])
        ribbon = int(side["seat"].rpartition("ribbon ")[2].split()[0])
        shown |= {f"{run.trunk}:{run.first + i}": (ribbon, cell[1]) for i, cell in enumerate(side["cells"])}
    assert shown == listed
    assert len(shown) == 96


@pytest.mark.parametrize(
    ("lang", "said"), [("en", "P, units 1 – 2: put the loose fibres"), ("de", "P, Einheiten 1 – 2: die losen")]
)
def test_loose_fibres_are_made_into_ribbons_before_they_share_a_sleeve(lang: str, said: str) -> None:
    """Two sleeves, and two ribbons that are made."""
    job, made, laid = loose_on_ribbons(lang)
    free = Labour(**dict.fromkeys(Labour.model_fields, 0) | {"two_people_factor": 1})
    pace = free.model_copy(update={"ribbon_splice_min": 8.0, "ribbonise_min_per_ribbon": 6.0})
    assert crew_minutes(Laid(job, laid), Exposed().parameters(job), pace) == 2 * 8 + 2 * 6
    (splice,) = (step for step in made.steps if step.phase == "splice")
    assert splice.lines[0].startswith(said)
    matrix = [row for row in rows(made.tables["materials"]) if row["item"] == made.tell("material.matrix")]
    assert [row["needed"] for row in matrix] == [2]


def rows(table: Table) -> list[dict[str, object]]:
    return [dict(zip([column.key for column in table.columns], row, strict=True)) for row in table.rows]


def tables(word: str, lang: str = "en") -> dict[str, Table]:
    job, plan, _ = sixteen_on_twelve(word)
    return dict(Sheets(job, plan, Options(language=lang)).tables)


@pytest.mark.parametrize("word", MINUTES)
def test_minutes_are_those_of_sleeves_cuts_and_ribbons_made(word: str) -> None:
    job, _, laid = sixteen_on_twelve(word)
    free = Labour(**dict.fromkeys(Labour.model_fields, 0) | {"two_people_factor": 1})
    pace = free.model_copy(update={"ribbon_splice_min": 8.0, "split_min_per_cut": 1.0, "ribbonise_min_per_ribbon": 6.0})
    assert crew_minutes(Laid(job, laid), Exposed().parameters(job), pace) == MINUTES[word]


def test_a_sleeve_with_parts_of_two_ribbons_has_a_row_for_each() -> None:
    """Sleeve 2 takes fibres 13 to 16 of the first ribbon of 16, and 17 to 24 of the second."""
    found = [
        (row["sleeve"], row["a_run"], row["a_ribbon"], row["b_run"], row["b_ribbon"])
        for row in rows(tables("split")["splices"])
    ]
    assert found[:3] == [
        (1, "P:1-12", 1, "Q:1-12", 1),
        (2, "P:13-16", 1, "Q:13-16", 2),
        (2, "P:17-24", 2, "Q:17-24", 2),
    ]
    assert len(found) == 6
    fibres = rows(tables("split")["fibres"])
    assert [row["a_fibre"] for row in fibres[12:24]] == [13, 14, 15, 16, 1, 2, 3, 4, 5, 6, 7, 8]


@pytest.mark.parametrize(
    ("word", "splitters", "holders", "makers"),
    [
        ("as_they_are", {16, 12}, {16, 12}, set()),
        ("split", {16}, {16, 12}, set()),
        ("12", {16}, {12}, {12}),
    ],
)
def test_tools_and_materials_follow(word: str, splitters: set[int], holders: set[int], makers: set[int]) -> None:
    found = tables(word)
    by_tool: dict[object, set[int]] = {}
    for row in rows(found["tools"]):
        digits = "".join(c if c.isdigit() else " " for c in str(row["size"])).split()
        by_tool.setdefault(row["tool"], set()).update(int(digits[0]) for _ in digits[:1])
    assert by_tool.get("ribbon splitting tool", set()) == splitters
    assert by_tool["pair of fibre holders"] == holders
    assert by_tool.get("ribboniser for loose fibres", set()) == makers
    needed = [row["needed"] for row in rows(found["materials"]) if "made anew" in str(row["item"])]
    assert needed == ([4] if makers else [])


@pytest.mark.parametrize(
    ("word", "lang", "said"),
    [
        ("12", "en", "make 4 ribbons of 12 of them"),
        ("12", "de", "daraus 4 Bändchen zu 12 bilden"),
        ("split", "en", "P: split ribbons lengthwise at 3 edges"),
        ("split", "de", "an 3 Kanten der Länge nach teilen"),
        ("as_they_are", "en", "Q: split ribbons lengthwise at 2 edges, as the sleeves ask for"),
    ],
)
def test_the_step_says_what_is_done_first(word: str, lang: str, said: str) -> None:
    (how,) = [
        row["how"]
        for row in rows(tables(word, lang)["steps"])
        if "left/1" in str(row["what"]) and said in str(row["how"])
    ]
    assert str(how).index(said) < str(how).index(
        "4" if word != "as_they_are" else "6", str(how).index(said) + len(said)
    )


def test_what_the_strip_list_says_of_the_trunk() -> None:
    notes = {row["trunk"]: row["ribbons"] for row in rows(tables("12")["strip"])}
    assert notes["P"] == "re-ribbonised into 12"
    assert notes["Q"] == ""
