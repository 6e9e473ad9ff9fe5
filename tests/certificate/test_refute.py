"""Trees that are found for rows of jobs: small ones, as splits are tried before one is taken."""

from __future__ import annotations

import pytest

from tests.cli.run import ROOT
from trayopt import load_job
from trayopt.certificate.check import Bounds, Leaf, System, Wrong
from trayopt.certificate.rules import plans_of
from trayopt.domain.certificate import CertificateGoal
from trayopt.domain.plan import GoalName
from trayopt.solver.certify import _Open, lets_in
from trayopt.solver.learn import Learner
from trayopt.solver.linear import Relaxation, Solved
from trayopt.solver.model.clock import Clock
from trayopt.solver.refute import refutation


@pytest.mark.slow
def test_the_least_broken_preferences_of_subunits_that_do_not_match_take_few_splits() -> None:
    """Where the number farthest from whole is split, 300 nodes are not enough."""
    plans = plans_of(load_job(ROOT / "models/standard/2x432-mixed-against-144.yaml"), {"unplaced": 0, "broken_must": 0})
    plans.below("broken_prefer", 3)
    tree = refutation(plans, Clock(), 60, plans.of_lengths)
    assert tree is not None
    plans.refute(tree)


@pytest.mark.slow
def test_guides_that_are_over_full_take_few_splits() -> None:
    """Each trunk alone fills a guide that all its legs pass; without rows that say so 60 s were not enough."""
    job = load_job(ROOT / "models/standard/what-if-2x864-guide-fill-wall-2x6.yaml")
    plans = plans_of(job, {"unplaced": 0, "broken_must": 0})
    plans.below("broken_prefer", 6)
    tree = refutation(plans, Clock(), 200)
    assert tree is not None
    plans.refute(tree)


def test_preferences_of_a_large_box_are_refuted_without_rows_of_patterns() -> None:
    """Both trunks of 6,912 fibres break out at the port, or their tubes tie three trays: that needs no patterns."""
    job = load_job(ROOT / "models/standard/2x6912-cabinet-3x24.yaml")
    item = CertificateGoal(goal="broken_prefer", least=2, argument="none")
    found = _Open(item, job, {"unplaced": 0, "broken_must": 0}).at_once(Clock())
    assert found is not None
    (leaf,) = found.nodes
    assert leaf.prices is not None
    assert all(" on " not in name and " at " not in name for name in leaf.prices)


def shuffled_whole() -> System:
    """Give the rows for plans of twelve shuffled subunits, one a tray, that are as good as the best but more regular."""
    job = load_job(ROOT / "models/standard/2x1728-shuffled-whole.yaml")
    given: dict[GoalName, int] = {
        "unplaced": 0, "broken_must": 0, "broken_prefer": 0, "legs": 24, "trays": 12, "crossings": 16, "leg_length_mm": 98_400,
    }  # fmt: skip
    plans = plans_of(job, given, orders=True)
    plans.below("irregular", 1)
    return plans


def test_subunits_that_fill_a_tray_each_share_a_position_on_different_stacks_only() -> None:
    """Alternating subunits leave too few pairs that can share a position; without these rows no tree was found in 60 s."""
    plans = shuffled_whole()
    tree = refutation(plans, Clock(), 20)
    assert tree is not None
    plans.refute(tree)
    no_tray = {name for name in plans.rows if "share no tray" in name}
    forged = [
        Leaf({name: price for name, price in node.prices.items() if name not in no_tray})
        if isinstance(node, Leaf)
        else node
        for node in tree
    ]
    assert forged != tree
    with pytest.raises(Wrong, match="prove nothing"):
        plans.refute(forged)
    raised = next(name for node in tree if isinstance(node, Leaf) for name in node.prices if name in no_tray)
    forged = [
        Leaf({**node.prices, raised: -node.prices[raised]})
        if isinstance(node, Leaf) and raised in node.prices
        else node
        for node in tree
    ]
    with pytest.raises(Wrong, match="a price below 0"):
        plans.refute(forged)


def test_rows_that_prove_nothing_alone_are_not_tried(monkeypatch: pytest.MonkeyPatch) -> None:
    """Trees and lemmas are looked for only on rows that let in no better plan."""
    job = load_job(ROOT / "models/standard/worked-example.yaml")
    left = _Open(
        CertificateGoal(goal="broken_prefer", least=1, argument="none"), job, {"unplaced": 0, "broken_must": 0}
    )
    tried: list[frozenset[str]] = []
    learnt: list[frozenset[str]] = []

    class Lost(Learner):
        """A search for lemmas that finds none."""

        def __init__(self, system: System, left_out: frozenset[str]) -> None:
            learnt.append(left_out)

        def proof(self, clock: Clock) -> None:
            """Find nothing."""
            del clock

    monkeypatch.setattr("trayopt.solver.certify.refutation", lambda *asked: tried.append(asked[-1]))
    monkeypatch.setattr("trayopt.solver.certify.Learner", Lost)
    assert left.at_once(Clock(20.0)) is None
    stages = [*tried]
    tried.clear()
    assert left.searched(Clock(20.0)) is None
    system = plans_of(job, left.given)
    system.below("broken_prefer", 1)
    enough = next(left_out for left_out in stages if not lets_in(system, Clock(), left_out))
    assert learnt == [enough]  # the fewest rows that let nothing in, whose search goes on
    assert {*tried} == {enough}


class Silent(Relaxation):
    """A relaxation that gives no answer, as where its time is over."""

    def solve(self, bounds: Bounds, clock: Clock) -> Solved | None:
        """Give no answer."""
        del bounds, clock
        return None


def test_without_an_answer_of_the_relaxation_bounds_alone_choose_the_splits(monkeypatch: pytest.MonkeyPatch) -> None:
    """Twice three numbers are never odd together, which bounds of single numbers do not tell."""
    system = System()
    numbers = [system.number(name, 3) for name in "abc"]
    system.row("odd", [(2, n) for n in numbers], 7, equal=True)
    monkeypatch.setattr("trayopt.solver.refute.Relaxation", Silent)
    tree = refutation(system, Clock())
    assert tree is not None
    assert len(tree) > 1
    system.refute(tree)
