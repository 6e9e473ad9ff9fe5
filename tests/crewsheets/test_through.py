"""Sheets of trunks that go through: what is cut, what is capped, and what passes uncut."""

from __future__ import annotations

from typing import Any

import pytest

from tests.crewsheets.plans import STANDARD, gone
from trayopt.api import load_job, solve
from trayopt.cli.plan_words import window_words
from trayopt.crewsheets.acts import Act
from trayopt.crewsheets.hands import replay
from trayopt.crewsheets.html import hardware_notes
from trayopt.crewsheets.order import acts_of
from trayopt.crewsheets.passing import spans
from trayopt.crewsheets.write import Options, Sheets
from trayopt.domain.base import remade


def sheets(*joined: str, language: str = "en", **keys: Any) -> Sheets:
    """Lay the sheets of the worked example with P going through."""
    return Sheets(*gone(*joined, **keys), Options(language=language))


def lines(made: Sheets, phase: str) -> list[str]:
    """Give what the steps of a phase say."""
    return [line for step in made.steps if step.phase == phase for line in step.lines]


def test_the_release_names_exactly_the_tubes_that_are_cut() -> None:
    said = lines(sheets(), "release_units")
    assert "P: tube 1 is cut (24 fibres), and no other." in said
    assert "P: tube 2 passes uncut; this release does not cover it." in said
    whole = lines(sheets("whole"), "release_units")
    assert "P: tubes 1 – 2 are cut (48 fibres), and no others." in whole
    assert not any("uncut" in line for line in whole)


def test_a_cable_that_goes_through_is_identified_once_with_both_sides() -> None:
    made = sheets()
    said = lines(made, "identify")
    assert [line.split(" ")[0] for line in said] == ["P", "Q"]
    assert "goes through" in said[0]
    assert "which side is P.in and which is P.out, and label both sides" in said[0]
    assert any("P 280 mm, Q 240 mm" in note for note in hardware_notes(made.book, made.tell))


@pytest.mark.parametrize("joined", [(), ("both",)])
def test_no_step_but_that_which_lays_it_speaks_of_an_uncut_tube(joined: tuple[str, ...]) -> None:
    made = sheets(*joined)
    named = {leg for act in acts_of(made.book) for name in act.travellers for leg in made.book.travellers[name].legs}
    assert {leg.subunit for leg in named if leg.trunk.startswith("P")} == {1}
    assert not any(str(row[1]).startswith(("P.in/2", "P.out/2")) for row in made.tables["marks"].rows)
    assert not any(label.name.startswith(("P.in/2", "P.out/2")) for label in made.labels)


def test_the_window_is_opened_once_and_its_tubes_are_counted_once() -> None:
    """4,200 mm: see tests/cases/sheath_window.yaml."""
    made = sheets()
    assert [line for line in lines(made, "strip") if line.startswith("P")] == [
        "P: open a window of 4,200 mm in the sheath between ports bl and br: one ring cut at each end, one slit between them. "
        "Leave the tubes in it whole."
    ]
    assert [line for line in lines(made, "units") if line.startswith("P")] == [
        "P: 2 units, 48 fibres; count the colours, read the print, label each. Do not open any."
    ]
    strip = made.tables["strip"]
    assert [row[:1] + row[7:8] for row in strip.rows] == [("P.in", 4200), ("P.out", 4200), ("Q", 3000)]


def test_a_cut_is_placed_and_what_is_spliced_to_nothing_is_capped() -> None:
    """P.out/1 keeps what the window of 4,200 mm has beside the leg of 2,600 mm; its loop takes 64 + 1328 + 122 mm, so 1,550."""
    assert lines(sheets(), "cut") == [
        "P tube 1: cut 1,600 mm from where the jacket ends at P.out; cap and label that end, and coil it on the track "
        "from port br counterclockwise, 1 full loop. The rest leads to P.in."
    ]
    assert lines(sheets("both"), "cut") == [
        "P tube 1: cut 2,600 mm from where the jacket ends at P.in; both ends lead to trays."
    ]
    by_name = lines(sheets(cut=(2,)), "cut")
    assert by_name[1] == (
        "P tube 2: cut 2,600 mm from where the jacket ends at P.out; cap and label both ends, and coil each on the track on its "
        "own side: from port bl clockwise, 1 full loop; from port br counterclockwise, 1 full loop."
    )


def test_what_neither_end_can_reach_a_tray_with_is_taken_out_of_the_window() -> None:
    """To right/2, and so to left/2 from the other side: 64 + 522 + 1328 + 159 + 13 + 300 + 120 + 2 x 122 mm, so 2,750."""
    made = sheets("both", "three", cut=(2,))
    (item,) = made.book.passing
    assert (item.window_mm, [cut[1:] for cut in item.cuts]) == (
        5650, [("P.in", 2600, (), 0), ("P.out", 2750, ("P.in", "P.out"), 2750)],
    )  # fmt: skip
    assert lines(made, "cut")[1].startswith(
        "P tube 2: cut 2,750 mm from where the jacket ends at P.out, and 2,750 mm from where it ends at P.in; "
        "what lies between has no room on the track and is taken out. Cap and label both ends"
    )


def test_a_cable_without_a_free_end_is_drawn_in_and_sealed_all_round() -> None:
    made = sheets()
    assert lines(made, "clamp")[1].startswith("P goes through and has no free end: draw 4,200 mm of it in")
    seals = [row[2] for row in made.tables["materials"].rows if row[0] == made.tell("material.seal")]
    assert seals == ["bl; opens to go round P.in", "br; opens to go round P.out"]


def test_no_span_of_legs_reaches_over_a_tube_that_passes() -> None:
    """P.in/1 and P.in/3 are legs, P/2 passes between them."""
    made = sheets("apart")
    assert "1, 3" in next(line for line in lines(made, "release_units") if line.startswith("P.in"))
    assert [line.partition(")")[0] for line in lines(made, "mark") if "P.in" in line] == ["2 legs (P.in/1, P.in/3"]
    assert any("2 tubes of 5 mm (P.in/1, P.in/3)" in line for line in lines(made, "route"))


@pytest.mark.parametrize(("language", "said"), [("en", "capped ends alone"), ("de", "nur abgedeckte Enden")])
def test_the_box_says_of_an_end_without_a_leg_that_its_ends_are_capped(language: str, said: str) -> None:
    texts = [text.text for text in sheets(language=language).pictures["front"].texts]
    assert [text.rpartition(", ")[2] for text in texts if text.startswith("P.out: ")] == [said]
    both = sheets("both", language=language).pictures["front"].texts
    assert not any(said in text.text for text in both)


@pytest.mark.parametrize(
    ("joined", "said"),
    [
        ((), "P: a window of 4,200 mm in its sheath; tube 1 is cut; 2 passes uncut, in 2 loops"),
        (("whole",), "; tubes 1-2 are cut, and none passes uncut"),
    ],
)
def test_a_plan_says_of_one_tube_and_of_several_what_becomes_of_them(joined: tuple[str, ...], said: str) -> None:
    _, plan = gone(*joined)
    assert next(window_words(row) for row in plan.through).endswith(said)


def caps(made: Sheets) -> list[tuple[Any, ...]]:
    """Give the caps that are drawn from the store: size and number."""
    return [row[1:4:2] for row in made.tables["materials"].rows if str(row[0]).startswith("cap")]


def test_caps_are_drawn_for_every_end_that_is_stored() -> None:
    assert caps(sheets()) == [("for a tube of 5 mm", 1)]
    assert caps(sheets("both")) == []
    assert caps(sheets(cut=(2,))) == [("for a tube of 5 mm", 3)]


def test_what_passes_uncut_is_laid_first_and_the_reopen_sheet_says_what_lies_over_it() -> None:
    made = sheets()
    assert lines(made, "pass")[1] == (
        "From port bl clockwise, 2 full loops of the track, then on through guides sw → nw → n → ne → se to port br."
    )
    assert made.tables["passing"].rows == [
        ("P", "2", 4200, 2, "sw → nw → n → ne → se", "Q/1, P.in/1, capped end P.out/1")
    ]
    assert "an uncut tube may carry live light" in made.files()["passing.csv"].decode().splitlines()[0]
    assert "passing" not in sheets("whole").tables
    assert [label.lines for label in made.labels if label.kind == "uncut"] == [
        ("P: 2", "UNCUT, may be live", "2 loops in the box")
    ] * 2


def test_every_capped_end_has_a_label_at_its_cap_and_where_it_begins() -> None:
    made = [label for label in sheets(cut=(2,)).labels if label.kind == "capped"]
    assert [(label.name, label.end) for label in made] == [
        (name, end) for name in ("P.out/1", "P.in/2", "P.out/2") for end in ("cap", "clamp")
    ]
    assert made[0].lines == ("P.out/1", "P.out:1-24", "CAPPED END, not spliced")
    assert not [label for label in sheets("both").labels if label.kind == "capped"]


def test_what_lies_over_what_passes_is_named_by_what_it_is() -> None:
    german = sheets(cut=(2,), language="de")
    assert "passing" not in german.tables, "nothing passes"
    (row,) = sheets(language="de").tables["passing"].rows
    assert str(row[-1]).endswith("verschlossenes Ende P.out/1")


@pytest.mark.parametrize("language", ["en", "de"])
def test_a_caution_says_that_it_may_carry_light(language: str) -> None:
    made = sheets(language=language)
    assert "passing" in next(step for step in made.steps if step.phase == "pass").cautions
    assert made.tell("caution.passing") in made.page()
    assert made.tell("reopen.passing") in made.page()


@pytest.mark.parametrize(
    ("left_out", "kind"),
    [("pass", "loose"), ("cut", "uncut"), ("units", "unknown"), ("strip", "jacket"), ("release_units", "unsigned")],
)
def test_hands_miss_what_is_left_out(left_out: str, kind: str) -> None:
    book = sheets().book
    acts = [act for act in acts_of(book) if act.phase != left_out]
    assert kind in {trouble.kind for _, trouble in replay(book, acts)}


def test_nothing_is_cut_before_what_passes_is_laid() -> None:
    book = sheets().book
    acts = acts_of(book)
    phases = [act.phase for act in acts]
    one, other = phases.index("pass"), phases.index("cut")
    acts[one], acts[other] = acts[other], acts[one]
    assert next((number - 1, trouble.kind) for number, trouble in replay(book, acts)) == (one, "unsigned")
    late = [act for act in acts_of(book) if act.phase != "pass"]
    late.insert(other, Act("pass", ("P.in", "P.out")))
    assert [(number, trouble.kind) for number, trouble in replay(book, late)] == [(other, "loose")]


def test_a_window_longer_than_the_slack_stands_first_on_the_page() -> None:
    made = sheets(slack_mm=4000)
    assert (
        "P: the window in its sheath would be 4,200 mm; only 4,000 mm of its cable can be drawn in." in made.warnings()
    )
    assert "4,000 mm can be drawn in" in str(made.tables["strip"].rows[0][-1])


def test_numbers_in_runs() -> None:
    assert spans([5, 1, 2, 3, 9]) == "1 – 3, 5, 9"


def test_a_window_in_service_is_measured_before_tubes_of_it_get_new_legs() -> None:
    """The second branch asks for 8,700 mm, where the tap had a window of 6,900 mm; nothing new, nothing to measure."""
    second = load_job(STANDARD / "288-through-second-branch-wall-2x6.yaml")
    said = lines(Sheets(second, solve(second, reproducible=True).plan, Options()), "service")
    assert any(line.startswith("M1: the plan counts on a window of 8,700 mm in its sheath.") for line in said)
    first = remade(second, trunks=second.trunks[:-1], joins=second.joins[:1])
    assert not any(
        "window" in line for line in lines(Sheets(first, solve(first, reproducible=True).plan, Options()), "service")
    )
