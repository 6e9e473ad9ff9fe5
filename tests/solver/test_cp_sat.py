"""Models and searches of the solver's own words against those of OR-tools' module: the same rows, the same answers."""

from __future__ import annotations

import subprocess
import sys
from typing import Any

import pytest
from ortools.sat.python import cp_model

from trayopt.solver.model import cp_sat

MODULES = (cp_sat, cp_model)


def knapsack(module: Any, *, most: bool) -> Any:
    """Make a model with every kind of row, hint and goal."""
    model = module.CpModel()
    x = [model.new_bool_var(f"x{i}") for i in range(5)]
    number = model.new_int_var(0, 9, "number")
    model.add(module.LinearExpr.weighted_sum(x, [2, 3, 4, 5, 6]) + number <= 11)
    model.add(number >= 1).only_enforce_if([x[0]])
    model.add_linear_constraint(x[0] + x[1] + x[2], 1, 2)
    model.add_linear_expression_in_domain(number + 0, module.Domain.from_values([0, 1, 4, 9]))
    model.add_bool_or([x[0], ~x[3]])
    model.add_bool_or([x[0], ~x[3], x[1], True])
    model.add_bool_and([~x[4]])
    model.add_at_most_one([x[1], x[2]])
    model.add(x[0] + ~x[1] + 2 * number - 5 != 3)
    model.add(2 * x[0] + x[0] >= x[1] - 7).only_enforce_if([~x[2], x[3]])
    model.add(number + model.new_constant(4) == 2 * model.new_constant(4))
    model.add_exactly_one([x[0], x[1], x[2]])
    model.add_implication(x[3], x[0])
    model.add(True)
    model.add_hint(~x[1], 1)
    model.add_hint(x[0], 1)
    goal = 3 * x[0] + 2 * x[3] - number + 7
    if most:
        model.maximize(goal)
    else:
        model.minimize(goal)
    return model


@pytest.mark.parametrize("most", [False, True])
def test_models_are_the_same(most: bool) -> None:
    """A model says the same rows in both, and so does its clone."""
    ours, theirs = (knapsack(module, most=most) for module in MODULES)
    assert str(ours.proto) == str(theirs.proto)
    assert str(ours.clone().proto) == str(ours.proto)
    assert ours.validate() == ""
    assert ours.has_objective()
    ours.clear_objective()
    assert not ours.has_objective()


def test_what_is_decided_first_is_the_same() -> None:
    """Literals and their negations are decided in the same order, by the same values."""
    ours, theirs = (knapsack(module, most=False) for module in MODULES)
    literals = [ours.get_bool_var_from_proto_index(0), ~ours.get_bool_var_from_proto_index(3)]
    ours.decide_first(literals, 1)
    ours.decide_first(literals[:1], 0)
    same = [theirs.get_bool_var_from_proto_index(0), ~theirs.get_bool_var_from_proto_index(3)]
    theirs.add_decision_strategy(same, cp_model.CHOOSE_FIRST, cp_model.SELECT_MAX_VALUE)
    theirs.add_decision_strategy(same[:1], cp_model.CHOOSE_FIRST, cp_model.SELECT_MIN_VALUE)
    assert str(ours.proto) == str(theirs.proto)
    solver = cp_sat.CpSolver()
    solver.parameters.search_branching = cp_sat.FIXED_SEARCH
    assert solver.solve(ours) == cp_sat.OPTIMAL


@pytest.mark.parametrize("most", [False, True])
def test_answers_are_the_same(most: bool) -> None:
    """Both come to the same optimum, bound and solution."""
    found = []
    for module in MODULES:
        model, solver = knapsack(module, most=most), module.CpSolver()
        solver.parameters.num_workers = 1
        status = solver.solve(model)
        number = model.get_int_var_from_proto_index(5)
        literal = model.get_bool_var_from_proto_index(3)
        found.append(
            (
                status,
                solver.objective_value,
                solver.best_objective_bound,
                list(solver.response_proto.solution),
                solver.value(number + 2 * literal),
                solver.boolean_value(~literal),
            )
        )
    assert found[0] == found[1]
    assert found[0][0] == cp_sat.OPTIMAL


def test_a_goal_may_be_a_number() -> None:
    """A goal without a variable is its own optimum."""
    model, solver = cp_sat.CpModel(), cp_sat.CpSolver()
    model.new_bool_var("x")
    model.maximize(5)
    assert solver.solve(model) == cp_sat.OPTIMAL
    assert solver.objective_value == 5


def test_assumptions() -> None:
    """Assumptions that cannot hold together are named; a constraint that is plainly false denies everything."""
    model, solver = cp_sat.CpModel(), cp_sat.CpSolver()
    x, y, z = (model.new_bool_var(name) for name in "xyz")
    model.add_bool_or([~x, ~y])
    model.add_assumptions([z, x, y])
    solver.parameters.num_workers = 1
    assert solver.solve(model) == cp_sat.INFEASIBLE
    assert set(solver.sufficient_assumptions_for_infeasibility()) == {x.index, y.index}
    model.add(False)
    assert solver.solve(model) == cp_sat.INFEASIBLE


def test_each_solution_is_heard_of() -> None:
    """A callback reads value, bound and literals of each solution, the last of which is the best."""

    class Heard(cp_sat.SolutionCallback):
        def __init__(self) -> None:
            super().__init__()
            self.values: list[tuple[float, int, bool]] = []

        def on_solution_callback(self) -> None:
            assert self.best_objective_bound >= self.objective_value
            assert len(self.response_proto.solution) == len(model.proto.variables)
            literal = model.get_bool_var_from_proto_index(0)
            self.values.append((self.objective_value, self.value(7 * literal), self.boolean_value(literal)))

    model, solver, heard = knapsack(cp_sat, most=True), cp_sat.CpSolver(), Heard()
    assert solver.solve(model, heard) == cp_sat.OPTIMAL
    assert heard.values[-1] == (solver.objective_value, 7, True)


def test_what_is_wrong_is_said() -> None:
    """A number without a variable, and one of a variable that is not 0/1, are refused; nothing is read before a search."""
    model = knapsack(cp_sat, most=True)
    with pytest.raises(ValueError, match="no variable has the number 60"):
        model.get_int_var_from_proto_index(60)
    with pytest.raises(TypeError, match="variable 5 is not a 0/1 variable"):
        model.get_bool_var_from_proto_index(5)
    with pytest.raises(RuntimeError, match="nothing was solved yet"):
        cp_sat.CpSolver().boolean_value(1)


def test_a_search_loads_no_tables() -> None:
    """A whole search comes without pandas and numpy, which take about as long to load as many a search."""
    code = """
import sys
from trayopt import load_job, solve
assert solve(load_job("models/standard/worked-example.yaml")).plan.status == "optimal"
assert not {"pandas", "numpy"} & set(sys.modules)
"""
    subprocess.run([sys.executable, "-c", code], check=True)


def test_hints_of_the_first_variables_are_those_one_by_one() -> None:
    """Values in the order of the variables say what a hint for each of them says; there are none without a variable."""
    ours, theirs = (knapsack(module, most=False) for module in MODULES)
    for model in (ours, theirs):
        model.clear_hints()
    ours.hint_first([1, 0, 0, 1])
    for index, value in enumerate([1, 0, 0, 1]):
        theirs.add_hint(theirs.get_int_var_from_proto_index(index), value)
    assert str(ours.proto) == str(theirs.proto)
    with pytest.raises(ValueError, match="no variable has the number 98"):
        ours.hint_first([0] * 99)
