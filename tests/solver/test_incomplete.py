"""Where not every must can be kept, good plans are found on small models before those of all divisions are asked."""

from __future__ import annotations

import pytest

from tests import oracle
from tests.build import job_of
from tests.explainer.planted import box, cable, job, pin, trunk
from trayopt.domain.plan import GoalName
from trayopt.goals.registry import order
from trayopt.solver.heuristics.session import Session
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.run import Tuning
from trayopt.solver.search.incomplete import few_legs
from trayopt.solver.search.lexicographic import Descent
from trayopt.solver.search.search import Search
from trayopt.solver.search.work import Work

GOALS: tuple[GoalName, ...] = tuple(goal.id for goal in order())


@pytest.mark.parametrize("all_placed", [True, False])
def test_a_plan_of_many_legs_is_bettered_among_those_of_least_legs(*, all_placed: bool) -> None:
    """Three trunks that cannot all travel opposite ways: a plan with a leg too many breaks a preference more than the best."""
    trunks = [trunk(name, cable("twos", subunits=2)) for name in "PQR"]
    joins = [("P:1-24", "Q:1-24"), ("Q:25-48", "R:1-24"), ("P:25-48", "R:25-48")]
    made = job(trunks, joins, enclosure=box(positions=3, fibres=48), rules={"opposite_travel": "must"})
    finer = Search(job_of(made | {"pins": [pin("P:1-12", "left", 1), pin("P:13-24", "left", 2)]}), GOALS, Clock())
    start = finer.solve()[0].best
    best = oracle.solve(made)
    assert best is not None
    session = Session(job_of(made), GOALS, Clock(), tuning=Tuning(workers=1), start=start)
    before = [session.state.value(goal) for goal in GOALS]
    few_legs(Work(session, Descent(session), Search), all_placed=all_placed)
    after = [session.state.value(goal) for goal in GOALS]
    assert before[3] > after[3] == best.goals[3]
    assert before[2] > after[2] == best.goals[2]
    assert after[:2] == list(best.goals[:2])
