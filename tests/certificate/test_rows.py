"""The rows let in every plan: the best plans of tiny jobs, found by brute force, are among what they let in."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from itertools import permutations

import pytest

from benchmarks.mixes import named
from tests import oracle, strategies
from tests.build import Json, job_of
from tests.case_files import put
from tests.certificate.admitted import admitted, solvable
from tests.cli.run import ROOT
from tests.solver.tiny import drawn
from trayopt import load_job, solve
from trayopt.certificate.check import Leaf, Lemma, System, Wrong
from trayopt.certificate.places import Placed
from trayopt.certificate.rules import plans_of, unknown_keys
from trayopt.domain.base import remade
from trayopt.domain.plan import GoalName
from trayopt.solver.learn import learnt
from trayopt.solver.model.clock import Clock

BATCH = 15
STANDARD = ROOT / "models" / "standard"


def best_is_let_in(data: Json, seed: int) -> None:
    """Hold that rows know all that a tiny job says, and let in its best plan."""
    best = oracle.solve(data)
    assert best is not None
    job = job_of(data)
    assert not unknown_keys(job)
    assert admitted(job, dict(zip(oracle.GOALS, best.goals, strict=True))), f"seed {seed}: {best.goals}"


@pytest.mark.parametrize(
    "first", [pytest.param(first, marks=[pytest.mark.slow] * (first >= 30)) for first in range(0, 300, BATCH)]
)
def test_best_plans_are_let_in(first: int) -> None:
    for seed in range(first, first + BATCH):
        data = drawn(seed)
        best = oracle.solve(data)
        assert best is not None
        assert admitted(job_of(data), dict(zip(oracle.GOALS, best.goals, strict=True))), f"seed {seed}: {best.goals}"


@pytest.mark.parametrize(
    "first", [pytest.param(first, marks=[pytest.mark.slow] * (first >= 715)) for first in range(700, 850, BATCH)]
)
def test_best_plans_with_a_trunk_that_goes_through_are_let_in(first: int) -> None:
    for seed in range(first, first + BATCH):
        data = drawn(seed, through=1.0)
        best_is_let_in(data, seed)


@pytest.mark.parametrize(
    ("knob", "first"),
    [
        pytest.param(knob, first, marks=[pytest.mark.slow] * (first >= start + 8))
        for knob, start in (("mixed", 2000), ("ribbon_work", 2100))
        for first in range(start, start + 80, 8)
    ],
)
def test_best_plans_of_mixed_trays_and_worked_ribbons_are_let_in(knob: str, first: int) -> None:
    for seed in range(first, first + 8):
        data = drawn(seed, **{knob: 0.7})
        best_is_let_in(data, seed)


@pytest.mark.parametrize(
    "first", [pytest.param(first, marks=[pytest.mark.slow] * (first >= 3010)) for first in range(3000, 3100, 10)]
)
def test_best_plans_of_tubes_that_tie_trays_are_let_in(first: int) -> None:
    """No tray may be tied to another, and trays are scarce, so that rows say what opened tubes tie."""
    said = 0
    for seed in range(first, first + 10):
        data = drawn(seed, rules=0.0, stacks=1, positions=3, trunks=2, ribbons=6, at_port=0.2, tight=1.0)
        data["rules"] = {"tied_trays": {"level": "prefer", "trays": 1, "weight": 2}}
        best = oracle.solve(data)
        if best is None:  # what is built leaves no plan
            continue
        job = job_of(data)
        rows = plans_of(job, {"unplaced": 0}).rows
        said += any(name.startswith("opened tubes") or " ties " in name for name in rows)
        assert admitted(job, dict(zip(oracle.GOALS, best.goals, strict=True))), f"seed {seed}: {best.goals}"
    assert said


@pytest.mark.parametrize(
    "first", [pytest.param(first, marks=[pytest.mark.slow] * (first >= 4010)) for first in range(4000, 4100, 10)]
)
def test_best_plans_between_narrow_guides_are_let_in(first: int) -> None:
    """Guides are so narrow that their fill decides; it may be preferred, and tubes may be coiled or cut back."""
    said = 0
    for seed in range(first, first + 10):
        data = drawn(seed, rules=0.0, tight=1.0, at_port=0.6)
        for guide in data["enclosure"]["track"]["guides"]:
            guide["opening_mm2"] = max(1, guide["opening_mm2"] * (3 + seed % 3) // 5)
        data["rules"] = {"guide_fill": {"level": ("must", "prefer")[seed % 2]}}
        best = oracle.solve(data)
        if best is None:
            continue
        job = job_of(data)
        said += any(name.startswith(("fill of", "guide_fill")) for name in plans_of(job, {}).rows)
        assert admitted(job, dict(zip(oracle.GOALS, best.goals, strict=True))), f"seed {seed}: {best.goals}"
    assert said


@pytest.mark.parametrize(
    ("name", "given", "goal", "least"),
    [
        pytest.param("no-144-swapped-halves-wall-2x6", {}, "unplaced", 144, id="halves that would share a tray"),
        pytest.param(
            "2x864-16-against-12-decided-wall-2x10",
            {"unplaced": 0, "broken_must": 0},
            "broken_prefer",
            1,
            id="ribbons as they are, whose sleeves spread a tube over three trays",
        ),
        pytest.param(
            "no-2x864-16-against-12-sleeves-wall-2x6",
            {"unplaced": 288, "broken_must": 0},
            "broken_prefer",
            2,
            id="the same where splices stay out",
        ),
    ],
)
def test_what_the_rows_rule_out(name: str, given: dict[GoalName, int], goal: GoalName, least: int) -> None:
    """Plans that the rules rule out are not let in, and the best are."""
    job = load_job(ROOT / "models" / "standard" / f"{name}.yaml")
    for value, fits in ((least, False), (least + 1, True)):
        plans = plans_of(job, given)
        plans.below(goal, value)
        assert solvable(plans) == fits


@pytest.mark.parametrize(
    ("name", "given", "goal", "least"),
    [
        ("mix-6037-014", {"unplaced": 0, "broken_must": 0}, "broken_prefer", 6),
        ("mix-6037-020", {"unplaced": 0, "broken_must": 0, "broken_prefer": 4}, "legs", 15),
    ],
)
def test_legs_without_a_splice_keep_their_order(
    name: str, given: dict[GoalName, int], goal: GoalName, least: int
) -> None:
    """Tubes are opened whose parked legs have to lie between the others; their order keeps the others near each other."""
    job = load_job(named(name))
    for value, fits in ((least, False), (least + 1, True)):
        plans = plans_of(job, given, orders=True)
        plans.below(goal, value)
        assert solvable(plans) == fits


TORN: dict[GoalName, int] = {"unplaced": 0, "broken_must": 0, "broken_prefer": 4, "legs": 8, "trays": 4}


def torn(value: int) -> Placed:
    """Give the rows for plans of halves that are joined crosswise, so that a subunit is torn on each side."""
    plans = plans_of(load_job(STANDARD / "2x288-swapped-halves-wall-2x6.yaml"), TORN, orders=True)
    plans.below("crossings", value)
    return plans


def parked(value: int) -> Placed:
    """Give the rows for plans of tubes that are opened, with parked legs between the others."""
    plans = plans_of(
        load_job(named("mix-6037-020")), {"unplaced": 0, "broken_must": 0, "broken_prefer": 4}, orders=True
    )
    plans.below("legs", value)
    return plans


def test_legs_of_torn_subunits_cross_each_by_itself() -> None:
    """There are three crossings, not fewer."""
    assert not solvable(torn(3))
    assert solvable(torn(4))


@pytest.mark.parametrize(
    ("plans", "least", "of"),
    [
        pytest.param(torn, 3, lambda name, _: "crosses" in name or "turns off" in name, id="torn legs"),
        pytest.param(
            parked,
            15,
            lambda name, plans: any(not p.pieces and name.startswith(p.name) for p in plans.patterns),
            id="parked legs",
        ),
    ],
)
def test_proofs_that_use_rows_of_orders_wrongly_are_refused(
    plans: Callable[[int], Placed], least: int, of: Callable[[str, Placed], bool]
) -> None:
    """A proof of a bound is none of a higher one, nor with the lemmas on such legs turned round, nor without lemmas."""
    proof = learnt(plans(least), Clock())
    assert proof is not None
    plans(least).refute(proof)
    known, leaf = plans(least), proof[-1]
    turned = [
        Lemma([(name, -sign, value) for name, sign, value in node.bounds])
        if isinstance(node, Lemma) and any(of(name, known) for name, *_ in node.bounds)
        else node
        for node in proof
    ]
    assert turned != proof
    for value, forged in (
        (least + 1, proof),
        (least, turned),
        (least, [Lemma([]), leaf]),
        (least, [leaf]),
    ):
        with pytest.raises(Wrong, match=r"does not follow|prove nothing"):
            plans(value).refute(forged)


def near(seed: int) -> Json:
    """Draw a tiny job whose trays are scarce, so that legs which follow others do not all find room in the next tray."""
    return drawn(
        seed,
        rules=0.0,
        at_port=(0.9, 0.3)[seed % 2],
        tight=1.0,
        trunks=2,
        ribbons=6 if seed % 3 else 4,
        shape="shuffled",
        stacks=1 + seed % 2,
        positions=2 + (seed + 1) % 2,
    )


def rows_of_neighbours(system: System) -> list[str]:
    """Name the rows of patterns that ask for two neighbours."""
    return [name for name in system.rows if ":" in name and (" after " in name or " before " in name)]


@pytest.mark.parametrize("seed", [54, 90, 95, 147, 219, 235, 283, 340, 381])
def test_best_plans_of_legs_that_need_the_next_tray_are_let_in(seed: int) -> None:
    data = near(seed)
    assert rows_of_neighbours(plans_of(job_of(data), {"unplaced": 0}))
    best_is_let_in(data, seed)


def test_neighbours_that_cannot_share_a_tray_bound_the_length() -> None:
    """The job has a bound by them alone, whose proof is refused where they are left out or a higher one is claimed."""
    best = oracle.solve(near(340))
    assert best is not None
    values = dict(zip(oracle.GOALS, best.goals, strict=True))
    given: dict[GoalName, int] = {
        "unplaced": 0, "broken_must": 3, "broken_prefer": 3, "legs": 8, "trays": 3, "crossings": 5,
    }  # fmt: skip
    assert given.items() <= values.items()

    def plans(above: int = 0, *, leave_out: bool = False) -> System:
        system = plans_of(job_of(near(340)), given)
        system.below("leg_length_mm", values["leg_length_mm"] + above)
        for name in rows_of_neighbours(system) if leave_out else ():
            del system.rows[name]
        return system

    proof = learnt(plans(), Clock())
    assert proof is not None
    plans().refute(proof)
    assert solvable(plans(leave_out=True))
    for forged in (plans(leave_out=True), plans(50)):
        with pytest.raises(Wrong, match=r"does not follow|prove nothing"):
            forged.refute(proof)
    (row, *_) = rows_of_neighbours(plans())
    with pytest.raises(Wrong, match="a price below 0"):
        plans().refute([Leaf({row: Fraction(-1)})])


@pytest.mark.parametrize("seed", [69, 77, 79, 81, 169])
def test_best_plans_with_steps_where_splices_stay_out_are_let_in(seed: int) -> None:
    """Some subunits stay out, and the others do not all take turns."""
    data = drawn(seed, tight=1.0, stacks=2 + seed % 2, trunks=2, ribbons=6 if seed % 2 else 4, positions=1 + seed % 2)
    assert any(" next after " in name for name in plans_of(job_of(data), {}).rows)
    best_is_let_in(data, seed)


def test_steps_count_where_splices_stay_out() -> None:
    """Three of six subunits have a splice in a tray: on two stacks one takes no turn, or the stacks are uneven."""
    given: dict[GoalName, int] = {
        "unplaced": 1_680, "broken_must": 0, "broken_prefer": 0, "legs": 6, "trays": 3, "crossings": 0, "leg_length_mm": 25_500,
    }  # fmt: skip
    for value, fits in ((1, False), (2, True)):
        plans = plans_of(load_job(named("mix-6037-008")), given)
        plans.below("irregular", value)
        assert solvable(plans) == fits


@pytest.mark.parametrize("seed", [2, 11, 12, 18, 27])
def test_best_plans_of_torn_subunits_are_let_in(seed: int) -> None:
    """Trays are scarce and trunks are divided at the port, so that rows speak of the legs of subunits that may be torn."""
    data = drawn(seed, rules=0.0, at_port=0.9, tight=1.0, trunks=2, ribbons=4, shape="shuffled")
    data["rules"] = {"subunit_together": {"level": "prefer", "weight": 1} if seed % 3 else "off"}
    given: dict[GoalName, int] = {"unplaced": 0, "broken_prefer": 99, "legs": 99}
    assert any("turns off with" in name for name in plans_of(job_of(data), given, orders=True).names)
    best_is_let_in(data, seed)


def test_best_plans_of_every_order_of_subunits_that_fill_a_tray_each_are_let_in() -> None:
    """Four subunits on two stacks of two trays: which pairs can share a position depends on their stacks."""
    shared, crossings = 0, set()
    for joined in permutations(range(4)):
        data = strategies.worked_example()
        for i in (0, 1):
            put(data, f"trunks.{i}.cable.subunits.0", {"count": 4, "ribbons": 1, "ribbon_fibres": 12, "diameter_mm": 5})
            put(data, f"trunks.{i}.divide_at", ["tray"])
            put(data, f"enclosure.stacks.{i}.tray.fibres", 12)
            put(data, f"enclosure.stacks.{i}.tray.sleeves", 1)
        data["joins"] = [
            {"a": f"P:{12 * i + 1}-{12 * i + 12}", "b": f"Q:{12 * j + 1}-{12 * j + 12}"} for i, j in enumerate(joined)
        ]
        best = oracle.solve(data)
        assert best is not None
        values = dict(zip(oracle.GOALS, best.goals, strict=True))
        job = job_of(data)
        plans = plans_of(job, {"unplaced": 0, "broken_prefer": 99}, orders=True)
        shared += sum("share no tray" in name for name in plans.rows)
        assert admitted(job, values), joined
        crossings.add(values["crossings"])
    assert shared
    assert len(crossings) > 2


def test_the_window_of_a_trunk_that_goes_through_bounds_its_ways() -> None:
    """With 4 m of slack no two ends' ways make a window; the rows say so, and with 8 m they let in the best plan."""
    job = load_job(ROOT / "models" / "standard" / "288-through-tap-of-48-wall-2x6.yaml")
    (item,) = job.through
    for slack, fits in ((4000, False), (8000, True)):
        short = remade(job, through=(remade(item, slack_mm=slack),))
        assert solvable(plans_of(short, {"unplaced": 0, "broken_must": 0})) == fits


def test_a_plan_that_is_better_than_the_best_is_not_let_in() -> None:
    """The rows are no empty words: on the worked example they bound every goal but crossings at what the best plan has."""
    data = strategies.worked_example()
    best = oracle.solve(data)
    assert best is not None
    values = dict(zip(oracle.GOALS, best.goals, strict=True))
    for goal in ("broken_prefer", "legs", "trays", "leg_length_mm", "irregular"):
        step = 50 if goal == "leg_length_mm" else 1
        assert not admitted(job_of(data), values | {goal: values[goal] - step}), goal


@pytest.mark.parametrize(
    "name",
    [
        "2x288-swapped-halves-wall-2x6",
        "taps-of-48-wall-2x10",
        "576-through-ring-cut-wall-2x10",
        "288-through-second-branch-wall-2x6",
        *(
            pytest.param(name, marks=pytest.mark.slow)
            for name in (
                "hub-of-three-wall-2x6",
                "2x432-shuffled-wall-2x6",
                "2x576-half-built-wall-2x6",
                "2x864-wall-2x7-two-ends",
            )
        ),
    ],
)
def test_the_best_plan_of_a_standard_job_is_let_in(name: str) -> None:
    job = load_job(ROOT / "models" / "standard" / f"{name}.yaml")
    plan = solve(job, workers=1).plan
    values = {item.goal: item.value for item in plan.goals}
    for orders in (False, True):
        assert solvable(plans_of(job, values, orders=orders)), orders
