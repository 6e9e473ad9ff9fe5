"""The order of work: stops where the crew must stop, trays from the base outward, cautions where they belong."""

from __future__ import annotations

import pytest

from tests.crewsheets.plans import half, straight, worked
from trayopt.crewsheets.steps import CAUTIONS, Step, seal_of
from trayopt.crewsheets.write import Options, Sheets


def steps(case: str = "1728") -> tuple[Step, ...]:
    job, plan = straight("2x1728-wall-2x12") if case == "1728" else half() if case == "half" else worked()
    return Sheets(job, plan, Options()).steps


def test_phases_come_in_the_order_of_the_trade() -> None:
    phases = list(dict.fromkeys(step.phase for step in steps()))
    assert phases == [
        "prepare", "clamp", "strip", "identify", "release", "route", "fit", "mark", "take_out", "divide", "splice",
        "lay", "test", "close",
    ]  # fmt: skip


def test_no_cut_before_the_release() -> None:
    made = steps()
    release = next(step for step in made if step.phase == "release")
    assert release.kind == "hold"
    assert all(step.number > release.number for step in made if step.phase in {"divide", "splice"})


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
    _, plan = straight("2x1728-wall-2x12")
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
        assert told[0] == cautions
        assert not any(told[1:])
    # The eleven points of usual practice are all told somewhere.
    assert {name for cautions in CAUTIONS.values() for name in cautions} == {
        "first", "live", "release", "uncut", "metal", "glass", "vapour", "blade", "coil", "load", "ladder", "fire",
        "measured", "records", "limits",
    }  # fmt: skip


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
    [([20.0], 1), ([9.0], 2), ([12.0, 12.0], 2), ([7.0] * 4, 4), ([33.0], None), ([20.0, 20.0], None)],
)
def test_the_seal_with_the_fewest_holes_that_fits(diameters: list[float], holes: int | None) -> None:
    # wall-2x12: 1 hole 10–32 mm, 2 holes 8–18, 4 holes 6–12.
    job, _ = straight("2x1728-wall-2x12")
    seal = seal_of(job.enclosure.ports[0], diameters)
    assert (seal.holes if seal else None) == holes
