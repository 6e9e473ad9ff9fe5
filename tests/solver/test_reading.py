"""A solution is read where it has values: every literal of a decision is in the model before the search."""

from __future__ import annotations

import pytest

from tests.build import job_of
from tests.solver.tiny import drawn
from trayopt.errors import SolverFault
from trayopt.solver.conflict.guarded_model import holding
from trayopt.solver.model import cp_sat
from trayopt.solver.model.groups import Question
from trayopt.solver.model.interruptible import FOUND, new_solver
from trayopt.solver.model.posting import Policy, build
from trayopt.solver.model.run import read


@pytest.mark.parametrize("expression", ["literal", "negation", "sum"])
def test_what_was_made_after_the_search_has_no_value(expression: str) -> None:
    cp = cp_sat.CpModel()
    before = cp.new_bool_var("before")
    cp.add(before == 1)
    solver = new_solver()
    solver.solve(cp)
    assert solver.boolean_value(before)
    assert solver.value(2 * before + 3) == 5
    after = cp.new_bool_var("after")
    with pytest.raises(SolverFault, match="after"):
        solver.value({"literal": after, "negation": ~after, "sum": before + after}[expression])
    with pytest.raises(SolverFault, match="after"):
        solver.boolean_value(after)


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("held", [True, False])
def test_to_read_a_solution_makes_no_literal(seed: int, held: bool) -> None:
    """Also in a model of no rules at all, in which nothing has asked for ways, ends or ribbons."""
    job = job_of(drawn(seed))
    model = (
        holding(Question(job), frozenset()) if held else build(job, Policy("free", "free", "free"), all_placed=False)
    )
    made = len(model.cp.proto.variables)
    solver = new_solver()
    if solver.solve(model.cp) in FOUND:
        read(model, solver)
    assert len(model.cp.proto.variables) == made
