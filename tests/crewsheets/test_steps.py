"""The order of work: stops where the crew must stop, trays from the back to the door, cautions where they belong."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from math import ceil

import pytest

from tests.crewsheets.plans import WORKED, built_in, grown, half, planned, ported, straight, tapped, thin, worked
from trayopt.api import load_job, solve
from trayopt.checker.claims import assignment_of
from trayopt.crewsheets.acts import Phase
from trayopt.crewsheets.hands import replay
from trayopt.crewsheets.order import acts_of
from trayopt.crewsheets.step_facts import guide_words
from trayopt.crewsheets.steps import CAUTIONS, Step
from trayopt.crewsheets.words import LANGUAGES, words_of
from trayopt.crewsheets.write import Options, Sheets
from trayopt.domain.assignment import Way
from trayopt.domain.base import remade
from trayopt.domain.cablework import Leg
from trayopt.domain.hardware import Place
from trayopt.domain.job import Job
from trayopt.domain.plan import Plan


def steps(case: str = "1728") -> tuple[Step, ...]:
    pairs: dict[str, Callable[[], tuple[Job, Plan]]] = {
        "1728": lambda: straight("2x1728-wall-3x8-port"),
        "1728 tied": lambda: straight("2x1728-wall-3x8"),
        "ported": ported,
        "tapped": tapped,
        "half": half,
        "worked": worked,
        "grown": grown,
        "432 built": lambda: built_in(straight("2x432-wall-2x6"), ["left/1", "right/1"]),
    }
    return Sheets(*pairs[case](), Options()).steps


def test_phases_come_in_the_order_of_the_trade() -> None:
    phases = list(dict.fromkeys(step.phase for step in steps()))
    assert phases == [
        "prepare", "identify", "release", "clamp", "strip", "units", "release_units", "part", "fit", "route", "mark",
        "take_off", "take_out", "divide", "splice", "lay", "test", "close",
    ]  # fmt: skip
    assert [phase for phase in phases if phase != "part"] == list(
        dict.fromkeys(step.phase for step in steps("1728 tied"))
    )


@pytest.mark.parametrize("case", ["1728", "1728 tied", "worked", "half", "tapped"])
def test_the_track_is_tried_trunk_by_trunk_with_the_stacks_standing(case: str) -> None:
    """A second trunk on the track would lie over the first, which could not come off again."""
    made = [
        (step.phase, step.trunk)
        for step in steps(case)
        if step.phase in {"fit", "route", "mark", "take_off", "take_out"}
    ]
    trunks = list(dict.fromkeys(trunk for _, trunk in made if trunk))
    each = [(phase, trunk) for trunk in trunks for phase in ("route", "mark", "take_off")]
    assert made == [("fit", None), *each, ("take_out", None)]


def test_all_trays_of_a_group_are_spliced_before_one_of_them_is_laid() -> None:
    _, plan = straight("2x1728-wall-3x8")
    made = steps("1728 tied")
    assert [len(group) for group in plan.tied] == [2] * 12
    names = [f"{tray.stack}/{tray.position}" for tray in plan.trays]
    work = [(step.phase, names[step.tray]) for step in made if step.tray is not None]
    # Group by group, the base first: both are spliced, then both are laid.
    assert work == [
        (phase, place)
        for group in sorted(plan.tied, key=lambda group: names.index(group[0]))
        for phase in ("splice", "lay")
        for place in group
    ]
    said = [step.lines for step in made if step.phase == "splice"]
    assert said[0][-1] == (
        "left/1 comes to the bench with left/2: the tubes of N1/1 and S1/1 are opened for them all. "
        "Splice all of these trays before one of them is laid."
    )


def test_each_traveller_goes_back_on_the_track_once() -> None:
    laid = [step for step in steps("tapped") if step.phase == "lay"]
    assert [step.lines[0].removeprefix("Put ").partition(" back")[0] for step in laid] == ["P/1, Q/1", "P/2"]


@pytest.mark.parametrize("case", ["1728", "half", "worked", "grown", "432 built"])
def test_no_jacket_and_no_tube_before_it_is_known_and_released(case: str) -> None:
    first: dict[str, Step] = {}
    for step in steps(case):
        first.setdefault(step.phase, step)
    for known, release, cuts in (("identify", "release", ["strip"]), ("units", "release_units", ["divide", "splice"])):
        if known not in first:
            assert case == "432 built"
            continue
        assert first[release].kind == "hold"
        assert "Released by" in first[release].lines[-1]
        assert first[known].number < first[release].number
        assert all(first[release].number < first[cut].number for cut in cuts)
    if "strip" in first:
        assert first["strip"].number < first["units"].number
    assert "Tubes that carry traffic stay closed" in " ".join(first["release_units"].lines)


def test_nothing_is_stacked_over_an_untested_batch() -> None:
    made = steps()
    laid: dict[int, list[int]] = {}
    tested: set[int] = set()
    for step in made:
        if step.phase == "test":
            assert step.kind == "gate"
            tested.add(step.batch or 0)
        elif step.phase in {"splice", "lay"}:
            laid.setdefault(step.batch or 0, []).append(step.tray or 0)
            assert tested == set(range(1, step.batch or 0))
    assert len(tested) == len(laid) == 6


def test_each_tray_is_laid_before_the_next_is_spliced() -> None:
    pairs = [(step.phase, step.tray) for step in steps() if step.tray is not None]
    assert pairs == [(phase, tray) for tray in range(24) for phase in ("splice", "lay")]


def test_trays_go_from_the_back_to_the_door() -> None:
    _, plan = straight("2x1728-wall-3x8")
    height: dict[str, int] = {}
    for step in steps():
        if step.phase == "lay":
            tray = plan.trays[step.tray or 0]
            assert tray.position == height.get(tray.stack, 0) + 1
            height[tray.stack] = tray.position


def test_every_caution_stands_where_it_belongs_and_once_a_phase() -> None:
    made = steps()
    for phase, cautions in CAUTIONS.items():
        told = [step.cautions for step in made if step.phase == phase]
        if phase in {"service", "open", "pass", "cut"}:  # nothing is in service here, and no trunk goes through
            assert told == []
            continue
        assert told[0] == cautions
        assert not any(told[1:])
    # The eleven points of usual practice are all told somewhere.
    assert {name for cautions in CAUTIONS.values() for name in cautions} == {
        "first", "confined", "live", "laser", "release", "uncut", "metal", "glass", "solvent", "gel", "blade", "cleave",
        "coil", "bend", "load", "ladder", "fire", "measured", "records", "limits", "passing",
    }  # fmt: skip


def test_dangers_are_named_for_what_they_are_and_where_they_come() -> None:
    """A confined space at the first step, not among solvents; invisible light, blades and flammable solvent where used."""
    said = {
        language: {name: words_of(language)(f"caution.{name}") for cautions in CAUTIONS.values() for name in cautions}
        for language in LANGUAGES
    }
    assert "confined" in steps()[0].cautions
    assert "Invisible laser light" in said["en"]["laser"]
    assert "Unsichtbares Laserlicht" in said["de"]["laser"]
    assert [name for name, text in said["en"].items() if "confined" in text.lower()] == ["confined"]
    assert [name for name, text in said["en"].items() if "flammable" in text] == ["gel", "solvent"]
    # Gel is cleaned off where a tube is opened, and a tube of a window is the first glass that is cut.
    where: dict[Phase, set[str]] = {
        "strip": {"blade", "gel"},
        "cut": {"blade", "glass", "laser", "live"},
        "part": {"blade", "gel"},
        "divide": {"blade", "gel"},
        "splice": {"cleave", "solvent", "laser"},
    }
    for phase, named in where.items():
        assert named <= set(CAUTIONS[phase]), phase


# --- what is built ------------------------------------------------------------------------------------------------------


def test_what_is_built_is_no_step() -> None:
    made = steps("grown")
    assert made[1].phase == "service"
    assert made[1].lines[:-1] == (
        "P is in service: do not open its jacket or its tubes, and leave its seal and its coils alone.",
        "Q is in service and gets new legs: its jacket is already off. Open only the tubes that the second release names.",
        "Q: its new legs need 2,600 mm of tube from where the jacket ends. Before any other step, measure one in its coil: "
        "if it is shorter, stop and ask.",
        "left/1: in service, and new legs come in. Open it only at its own hold point. Live circuits: east (12).",
        "right/2: in service, do not open. Live circuits: west (12).",
    )
    for phase, trunks in {
        "identify": "R",
        "release": "R",
        "clamp": "R",
        "strip": "R",
        "part": "",
        "mark": "QR",
        "route": "QR",
    }.items():
        assert {trunk for step in made if step.phase == phase for trunk in step.act.trunks} == set(trunks), phase
        lines = " ".join(line for step in made if step.phase == phase for line in step.lines)
        assert phase == "clamp" or not re.search(r"\bP\b", lines), phase
    trays = [(step.phase, step.tray) for step in made if step.tray is not None]
    _, plan = grown()
    names = [f"{tray.stack}/{tray.position}" for tray in plan.trays]
    assert [(phase, names[at]) for phase, at in trays] == [
        ("open", "left/1"), ("splice", "left/1"), ("lay", "left/1"),
        ("open", "right/1"), ("splice", "right/1"), ("lay", "right/1"),
    ]  # fmt: skip


def test_what_is_lifted_and_live_stands_at_a_hold_point() -> None:
    opened = [step for step in steps("grown") if step.phase == "open"]
    assert [step.kind for step in opened] == ["hold", "hold"]
    assert opened[0].lines[0] == (
        "In service in tray left/1 itself: P/1, Q/1.1. Live circuits: east (12). "
        "What leads to the tray comes off the track with it: note how it lies."
    )
    assert opened[1].lines[0] == "Lift right/2, do not open it. Live circuits on it: west (12)."
    assert "P:13-24: parked fibres of P/1, which is in service." in " ".join(
        line for step in steps("grown") for line in step.lines if step.phase == "release_units"
    )
    laid = next(step for step in steps("grown") if step.phase == "lay")
    assert laid.lines[:2] == (
        "Put R/1 back on the track as in the trial, under the straps of the guides; tie it down at the entrance.",
        "P/1, Q/1.1 are in service: put them back on the track as they lay.",
    )
    # The place under a live tray is tried on behind the hold point at which that tray is lifted.
    phases = [step.phase for step in steps("grown")]
    assert phases[phases.index("open", phases.index("open") + 1) :] == [
        "open", "fit", "route", "mark", "take_off", "route", "mark", "take_off", "take_out", "divide", "splice", "lay", "test",
        "close",
    ]  # fmt: skip
    assert steps("grown")[-3].lines[-1] == "Put right/2 back over it."


def test_a_unit_that_was_parted_with_a_leg_in_service_is_not_parted_again() -> None:
    """Q/1 was divided into four legs at the port: Q/1.1 and Q/1.2 carry traffic, Q/1.4 is spliced now, Q/1.3 stays."""
    made = Sheets(*grown(), Options())
    said = {step.phase: " ".join(step.lines) for step in made.steps}
    assert "part" not in said
    assert (
        "Q/1.4 was parted at the port before and lies in a tube of its own: find it by its label, and leave the port as it is. "
        "If it is not there, stop and ask."
    ) in said["units"]
    assert (
        "Q, unit 1: 12 fibres in 1 leg. In service in the same units: Q/1.1 (Q:1-12), Q/1.2 (Q:13-24). Live circuits: "
        "east (12), west (12). This release does not cover them: do not touch them."
    ) in said["release_units"]
    route = next(" ".join(step.lines) for step in made.steps if step.phase == "route" and step.trunk == "Q")
    assert "Tubes in service may lie over the coil. Live circuits: east (12), west (12)." in route
    assert "go to no tray" not in route
    assert not {"breakout kit", "tube over legs"} & {row[0] for row in made.tables["materials"].rows}
    assert list(replay(made.book, acts_of(made.book))) == []


def later(idle: str = "coiled", stack: str = "left") -> Sheets:
    """P/1 is in service with a quarter of Q; now half of P/2 is parted from it at the port and spliced to R."""
    data = {**WORKED, "rules": {"reach": "off"}}
    data["trunks"] = [{**trunk, "divide_at": "port", "idle": idle} for trunk in WORKED["trunks"]]
    data["trunks"].append({"id": "R", "cable": WORKED["trunks"][1]["cable"], "loops": [1], "divide_at": "port"})
    data["enclosure"] = json.loads(json.dumps(WORKED["enclosure"]))
    data["enclosure"]["ports"][1]["seals"] = [{"holes": 2, "least_mm": 8, "most_mm": 16}]
    data["joins"] = [
        {"a": "P:1-12", "b": "Q:1-12", "name": "east"},
        {"a": "P:25-36", "b": "R:1-12", "name": "west"},
    ]
    data["pins"] = [
        {"leg": "P:1-24", "stack": "left", "position": 1, "built": True},
        {"leg": "Q:1-12", "stack": "left", "position": 1, "built": True},
    ]
    job = load_job(data)
    new = Place(stack, 2 if stack == "left" else 1)
    places = {
        Leg("P", 1, 1, 1): Place("left", 1),
        Leg("Q", 1, 1, 4): Place("left", 1),
        Leg("P", 2, 1, 2): new,
        Leg("R", 1, 1, 4): new,
    }
    right = Way("br", "counterclockwise", 1)
    return Sheets(job, planned(job, {"P": Way("bl", "clockwise", 1), "Q": right, "R": right}, places), Options())


def test_what_comes_out_of_a_tube_that_is_parted_now_is_released_coiled_and_put_into_tubes() -> None:
    made = later()
    said = {(step.phase, step.trunk): " ".join(step.lines) for step in made.steps}
    assert (
        "P, unit 2: 12 fibres in 1 leg. P, unit 2: 1 more leg (12 fibres) comes out of its tube with them. It is not cut and "
        "goes to no tray. R, unit 1: 12 fibres in 1 leg. R, unit 1: 3 more legs (36 fibres) come out of their tubes with them."
    ) in said["release_units", None]
    assert "P/2.2 goes to no tray: coil it on the track, uncut." in said["route", "P"]
    assert "R/1.2 … R/1.4 go to no tray: coil them on the track, uncut." in said["route", "R"]
    (tube,) = [row for row in made.tables["materials"].rows if row[0] == "tube over legs"]
    marks, strip = made.marks.of, made.marks.strip
    length = marks["P/2.1"].tube_end + strip["P"] + marks["R/1.1"].tube_end + 3 * strip["R"]
    assert tube[3] == ceil(length / 100) / 10
    kits = [(row[2], row[1]) for row in made.tables["materials"].rows if row[0] == "breakout kit"]
    assert kits == [("P", "2 tubes"), ("R", "4 tubes")]
    assert list(replay(made.book, acts_of(made.book))) == []


def test_a_trunk_in_service_has_no_more_tube_than_it_was_stripped_for() -> None:
    """P/1 was cut to 2230 + 120 + 2 × 122 = 2594, so 2,600 mm; right/1 lies 142 mm further round, and left/2 11 mm further up."""
    for stack, least in (("right", 2700), ("left", 2600)):
        made = later(stack=stack)
        needed = made.marks.of["P/2.1"].cut
        assert needed > least
        said = " ".join(next(step.lines for step in made.steps if step.phase == "service"))
        assert (
            f"P: its new legs need {needed:,} mm of tube from where the jacket ends. Before any other step, measure one"
            in said
        )
        assert "P: that is more than its legs in service, which were cut to 2,600 mm." in said
        assert "cut back" not in said


def test_what_was_cut_back_is_looked_for_before_any_other_step() -> None:
    said = " ".join(next(step.lines for step in later("cut_back").steps if step.phase == "service"))
    assert (
        "P: the job says that fibres without a splice were cut back at the port. Before any other step, check that the new legs "
        "are there at all"
    ) in said
    assert "Q: the job says" not in said


@pytest.mark.parametrize("built", [("left/1",), ("left/1", "left/2", "right/1"), ("right/2", "left/4")])
def test_only_new_legs_and_trays_are_worked_on(built: tuple[str, ...]) -> None:
    job, plan = built_in(straight("2x432-wall-2x6"), built)
    made = Sheets(job, plan, Options())
    names = [f"{tray.stack}/{tray.position}" for tray in plan.trays]
    worked_on = {names[step.tray] for step in made.steps if step.tray is not None}
    assert worked_on == set(names) - set(built)
    live = {leg.leg for leg in plan.legs if f"{leg.stack}/{leg.position}" in built}
    new = {leg.leg for leg in plan.legs if leg.stack is not None} - live
    tables = made.tables
    assert set(tables["marks"].column("leg")) == new
    assert set(tables["labels"].column("name")) == new | worked_on
    for name in ("splices", "fibres", "tests", "labour_trays"):
        assert set(tables[name].column("tray")) == worked_on, name
    assert tables["strip"].rows == []
    by_item = {row[0]: row for row in tables["materials"].rows}
    assert by_item["splice tray"][3] == len(worked_on)
    assert by_item["splice sleeve"][3] == 6 * len(worked_on)
    assert not {"cable seal", "strain relief for a trunk", "breakout kit"} & set(by_item)
    assert sum(batch.fibres for batch in made.book.batches) == 72 * len(worked_on)
    # Reopening is about the box as it will be: every tray stands in it.
    assert set(tables["reopen"].column("tray")) == set(names)
    page = made.page()
    assert page.count("in service: do not open</strong>") == len(built)
    assert page.count('<article class="tray"') == len(worked_on)


def test_a_tray_in_service_that_comes_to_the_bench_with_others_stays_closed() -> None:
    """Trays that a tube ties are spliced together, save those in service, which are not spliced again."""
    job, plan = thin()
    laid, _ = assignment_of(job, plan)
    # The same, divided at the tray: a tube is opened for three trays.
    job = remade(job, trunks=tuple(remade(trunk, divide_at=("tray",)) for trunk in job.trunks))
    tied = planned(job, dict(laid.ways), dict(laid.places))
    first, second, third = tied.tied[0]
    for built, said in (
        ((first,), f"Splice {second} and {third} before one of them is laid. {first} is in service and stays closed."),
        ((first, second), f"{first} and {second} are in service and stay closed."),
        ((), "Splice all of these trays before one of them is laid."),
    ):
        made = Sheets(*built_in((job, tied), built), Options())
        lines = " ".join(next(step.lines for step in made.steps if step.title == f"Splice tray {third}"))
        assert said in lines
        assert ("Splice all of these trays" in lines) == (not built)


def test_a_box_in_which_all_is_built_has_no_work() -> None:
    job, plan = straight("2x432-wall-2x6")
    made = Sheets(*built_in((job, plan), [f"{tray.stack}/{tray.position}" for tray in plan.trays]), Options())
    assert [step.phase for step in made.steps] == ["prepare", "service", "close"]
    assert made.steps[-1].lines == ("Everything in this plan is built: there is nothing to do in the box.",)
    assert made.tables["tests"].rows == made.tables["labels"].rows[:0] == []
    assert "432 splices between built legs count as made" in " ".join(made.warnings())


def test_steps_carry_the_plans_own_figures() -> None:
    text = " ".join(line for step in steps("worked") for line in step.lines)
    # Spec section 10: both make one loop; the shortest way frees 1930 mm; strips are at least 3000 mm.
    assert "1 full loop of the track" in text
    assert "1,930 mm from the port" in text
    assert "P: take off 3,000 mm of jacket" in text
    assert "P, units 1 – 2: not divided (24 fibres); the tube ends past the tie-down." in text
    assert (
        "Q, unit 1: end the tube 150 mm before its first entrance. Divide what comes out into 2 legs of 2 ribbons (24 fibres)"
        in text
    )
    assert "1 tube is opened at trays: one end, 150 mm before its first entrance." in text
    assert "left/1 comes to the bench with left/2: the tube of Q/1 is opened for them all." in text


def test_what_is_divided_at_the_port_is_parted_before_it_goes_round() -> None:
    made = steps("ported")
    phases = [step.phase for step in made]
    assert phases.index("release_units") < phases.index("part") < phases.index("route")
    part = made[phases.index("part")]
    assert (part.trunk, part.lines) == (
        "Q", ("Q, unit 1: divide into 2 legs of 2 ribbons (24 fibres); each runs in a tube of the set from the port on.",),
    )  # fmt: skip
    assert "Q: 2 legs parted at the port; their tubes end at their marks." in made[phases.index("divide")].lines


def test_what_goes_over_the_cable_goes_on_before_the_clamp_and_straps_close_over_what_is_laid() -> None:
    made = {step.phase: " ".join(step.lines) for step in steps("worked")}
    assert made["clamp"].startswith("Before a clamp closes: nut, washer and grommet over the jacket")
    assert "Leave the straps of the guides open" in made["route"]
    assert "under the straps of the guides" in " ".join(
        line for step in steps("worked") if step.phase == "lay" for line in step.lines
    )
    assert "close every strap of the guides" in made["close"]
    splice = [step.lines for step in steps("worked") if step.phase == "splice"]
    assert "mark each ribbon or single fibre just past the sleeve holder, and cut there" in " ".join(splice[0])


def test_parked_legs_are_laid_marked_and_named() -> None:
    made = Sheets(*tapped(), Options())
    splice = [step for step in made.steps if step.phase == "splice"]
    assert splice[0].lines[0] == "1 sleeve, 12 splices; legs P/1, Q/1.1, Q/1.2."
    assert splice[0].lines[-1] == "Park without splicing: P:13-24, Q:13-24."
    assert splice[1].lines[-1] == "Park without splicing: P:37-48, Q:25-36."
    for name in ("marks", "labels"):
        column = {"marks": "leg", "labels": "name"}[name]
        assert {"Q/1.2", "Q/1.3"} <= set(made.tables[name].column(column))
    rows = dict(zip(made.tables["marks"].column("leg"), made.tables["marks"].column("note"), strict=True))
    assert {leg for leg, note in rows.items() if note} == {"Q/1.2", "Q/1.3"}
    page = made.page()
    # Two of 12: 24 ends, and two of 12 parked: 24 more, of 2 × 24.
    assert "12 splices, 24 fibres parked: 48 of 48 ends" in page


def test_a_tray_of_parked_legs_alone_has_nothing_to_splice_and_nothing_to_test() -> None:
    """Of Q's tube, opened for two trays, the second half is idle: left/2 holds nothing but it."""
    data = {**WORKED, "title": "parked", "joins": [{"a": "P:1-24", "b": "Q:1-24", "name": "east"}]}
    job = load_job(data)
    places = {
        Leg("P", 1, 1, 1): Place("left", 1),
        Leg("Q", 1, 1, 2): Place("left", 1),
        Leg("Q", 1, 2, 2): Place("left", 2),
    }
    ways = {"P": Way("bl", "clockwise", 1), "Q": Way("br", "counterclockwise", 1)}
    made = Sheets(job, planned(job, ways, places, {"Q": "tray"}), Options())
    (park,) = [step for step in made.steps if step.title == "Park in tray left/2"]
    assert park.lines[0] == "No splice; leg Q/1.2."
    assert park.lines[-1] == "Park without splicing: Q:25-48."
    assert [batch.trays for batch in made.book.batches] == [(0, 1)]
    assert replay(made.book, [step.act for step in made.steps]) == []
    assert len(made.tables["tests"].rows) == 2 * 24
    assert "0 splices, 24 fibres parked: 24 of 48 ends" in made.page()


def test_what_is_parked_idle_or_outside_is_told() -> None:
    text = " ".join(line for step in steps("half") for line in step.lines)
    assert "R stays outside" in text
    assert "Park without splicing: P:13-24." in text
    assert "4 splices of the job have no tray" in text
    assert "Q/1.2 … Q/1.4 go to no tray: coil them on the track, uncut." in text


@pytest.mark.parametrize(
    ("diameters", "holes"),
    [([21.0], 1), ([9.0], 2), ([12.0, 12.0], 2), ([7.0] * 3, 3), ([35.0], None), ([21.0, 21.0], None)],
)
def test_the_seal_with_the_fewest_holes_that_fits(diameters: list[float], holes: int | None) -> None:
    # wall-3x8: 1 hole 10–34 mm, 2 holes 8–20, 3 holes 6–15.
    job, _ = straight("2x1728-wall-3x8")
    seal = job.enclosure.ports[0].seal_for(diameters)
    assert (seal.holes if seal else None) == holes


def test_what_one_leg_parks_is_one_line() -> None:
    held = next(
        step
        for step in Sheets(*straight("2x576-half-built-wall-2x6"), Options()).steps
        if step.phase == "release_units"
    )
    assert [line for line in held.lines if "parked" in line] == [
        "N1:1-72: parked fibres of N1/1.1, which is in service.",
        "N1:73-144: parked fibres of N1/1.2, which is in service.",
        "N1:145-216: parked fibres of N1/2.1, which is in service.",
        "N1:217-288: parked fibres of N1/2.2, which is in service.",
    ]


def test_what_is_cut_back_is_released_by_name_cut_at_the_port_and_capped() -> None:
    """P/2 has no splice, and Q's other half at the port has none: neither is coiled."""
    data = {**WORKED, "trunks": [{**trunk, "idle": "cut_back"} for trunk in WORKED["trunks"]]}
    data["joins"] = [{"a": "P:1-24", "b": "Q:1-24", "name": "east"}]
    job = load_job(data)
    places = {Leg("P", 1, 1, 1): Place("left", 1), Leg("Q", 1, 1, 2): Place("left", 1)}
    ways = {"P": Way("bl", "clockwise", 1), "Q": Way("br", "counterclockwise", 1)}
    made = Sheets(job, planned(job, ways, places, {"Q": "port"}), Options())
    phases = ("release_units", "route")
    said = {phase: [line for step in made.steps if step.phase == phase for line in step.lines] for phase in phases}
    assert "P, unit 2: 24 fibres without a splice, cut back at the port." in said["release_units"]
    assert "Q, unit 1: 24 fibres without a splice, cut back at the port." in said["release_units"]
    for name in ("P/2", "Q/1.2"):
        assert f"{name} goes to no tray: cut it back at the port and cap it." in said["route"]
    assert not any("coil" in line for line in said["route"])
    caps = [row for row in made.tables["materials"].rows if row[0] == "cap for the end of a cut tube"]
    assert [(row[1], row[3]) for row in caps] == [("for a tube of 5 mm", 1), ("for a tube of 6 mm", 1)]
    assert list(replay(made.book, acts_of(made.book))) == []


@pytest.mark.parametrize("language", LANGUAGES)
def test_one_splice_and_one_guide_are_written_in_the_singular(language: str) -> None:
    job = load_job({**WORKED, "joins": [{"a": "P:1", "b": "Q:1"}]})
    made = Sheets(job, solve(job, workers=1).plan, Options(language=language))
    text = " ".join(line for step in made.steps for line in step.lines) + made.page()
    wrong = {"en": "fibres|splices|legs|guides|sleeves|trays", "de": "Fasern|Spleiße|Stränge|Führungen|Kassetten"}[
        language
    ]
    assert re.findall(rf"(?<![\d.,/])1 (?:{wrong})\b", text) == []
    assert {"en": "1 sleeve, 1 splice;", "de": "1 Spleißschutz, 1 Spleiß;"}[language] in text
    one, two = guide_words(["sse"], made.tell), guide_words(["e", "se"], made.tell)
    assert (one, two) == {
        "en": ("guide sse", "guides e → se"), "de": ("die Führung sse", "die Führungen e → se"),
    }[language]  # fmt: skip
