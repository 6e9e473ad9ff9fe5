"""The order of work: stops where the crew must stop, trays from the back to the door, cautions where they belong."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from tests.crewsheets.plans import built_in, grown, half, straight, worked
from trayopt.crewsheets.steps import CAUTIONS, Step
from trayopt.crewsheets.words import LANGUAGES, words_of
from trayopt.crewsheets.write import Options, Sheets
from trayopt.domain.job import Job
from trayopt.domain.plan import Plan


def steps(case: str = "1728") -> tuple[Step, ...]:
    pairs: dict[str, Callable[[], tuple[Job, Plan]]] = {
        "1728": lambda: straight("2x1728-wall-3x8"),
        "half": half,
        "worked": worked,
        "grown": grown,
        "432 built": lambda: built_in(straight("2x432-wall-2x6"), ["left/1", "right/1"]),
    }
    return Sheets(*pairs[case](), Options()).steps


def test_phases_come_in_the_order_of_the_trade() -> None:
    phases = list(dict.fromkeys(step.phase for step in steps()))
    assert phases == [
        "prepare", "identify", "release", "clamp", "strip", "units", "release_units", "route", "fit", "mark", "take_out",
        "divide", "splice", "lay", "test", "close",
    ]  # fmt: skip


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


def test_trays_go_from_the_base_outward() -> None:
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
        if phase in {"service", "open"}:
            assert told == []
            continue
        assert told[0] == cautions
        assert not any(told[1:])
    # The eleven points of usual practice are all told somewhere.
    assert {name for cautions in CAUTIONS.values() for name in cautions} == {
        "first", "confined", "live", "laser", "release", "uncut", "metal", "glass", "solvent", "gel", "blade", "cleave",
        "coil", "bend", "load", "ladder", "fire", "measured", "records", "limits",
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
    for phase, named in {"strip": {"blade", "gel"}, "divide": {"blade"}, "splice": {"cleave", "solvent"}}.items():
        assert named <= set(CAUTIONS[phase])  # type: ignore[index]


# --- what is built ------------------------------------------------------------------------------------------------------


def test_what_is_built_is_no_step() -> None:
    made = steps("grown")
    assert made[1].phase == "service"
    assert made[1].lines[:-1] == (
        "P is in service: do not open its jacket or its tubes, and leave its seal and its coils alone.",
        "Q is in service and gets new legs: its jacket is off already. Open only the tubes that the second release names.",
        "left/1: in service, and new legs come in. Open it only at its own hold point. Live circuits: east (12).",
        "right/2: in service, do not open. Live circuits: west (12).",
    )
    for phase, trunks in {
        "identify": "R",
        "release": "R",
        "clamp": "R",
        "strip": "R",
        "mark": "QR",
        "route": "QR",
    }.items():
        lines = [line for step in made if step.phase == phase for line in step.lines]
        named = {line[0] for line in lines if line[1:2] in {" ", ":"}} | {
            step.trunk for step in made if step.phase == phase and step.trunk
        }
        assert named == set(trunks), phase
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
    assert opened[0].lines[0] == "In the tray itself P/1, Q/1.1 are in service. Live circuits: east (12)."
    assert opened[1].lines[0] == "Lift right/2, do not open it. Live circuits on it: west (12)."
    assert "P:13-24: parked fibres of P/1, which is in service." in " ".join(
        line for step in steps("grown") for line in step.lines if step.phase == "release_units"
    )
    # The place under a live tray cannot be tried on before the hold point at which that tray is lifted.
    assert not [step for step in steps("grown") if step.phase in {"fit", "take_out"}]
    assert steps("grown")[-3].lines[-1] == "Put right/2 back over it."


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
    assert "P: 3,000 mm of jacket off" in text
    assert "P unit 1 – 2: stays whole, 24 fibres." in text
    assert "Q unit 1: in 2 legs of 2 ribbons (24 fibres)" in text


def test_what_is_parked_idle_or_outside_is_told() -> None:
    text = " ".join(line for step in steps("half") for line in step.lines)
    assert "R stays outside" in text
    assert "Park without splicing: P:13-24." in text
    assert "4 splices of the job have no tray" in text
    assert "coil" in text


@pytest.mark.parametrize(
    ("diameters", "holes"),
    [([21.0], 1), ([9.0], 2), ([12.0, 12.0], 2), ([7.0] * 3, 3), ([35.0], None), ([21.0, 21.0], None)],
)
def test_the_seal_with_the_fewest_holes_that_fits(diameters: list[float], holes: int | None) -> None:
    # wall-3x8: 1 hole 10–34 mm, 2 holes 8–20, 3 holes 6–15.
    job, _ = straight("2x1728-wall-3x8")
    seal = job.enclosure.ports[0].seal_for(diameters)
    assert (seal.holes if seal else None) == holes
