"""The straightforward model: every split, every place, every preference open, one boolean a crossing; goal after goal.

It has the same rules and goals as trayopt, the same goals in the same order, and the solver's own default search with as
many workers; what it lacks is structure: no outline, no division first, no bounds, no shared crossings, no constructive plan.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from benchmarks.journal import GOAL_ORDER, Journal
from trayopt.goals.registry import BY_ID

if TYPE_CHECKING:
    from trayopt.domain.plan import GoalName
    from trayopt.solver.model.model import Model


def plain_model(journal: Journal) -> Model:
    """Build the model with nothing taken for granted."""
    from trayopt.solver.model.posting import Policy, build

    return build(journal.job, Policy(), all_placed=False)


def solve(journal: Journal, *, seed: int = 1, workers: int = 8) -> None:
    """Minimise goal after goal; what was reached is held and is the start of the next."""
    from trayopt.solver.model import cp_sat
    from trayopt.solver.model.run import read

    class Seen(cp_sat.SolutionCallback):
        def __init__(self, goal: GoalName) -> None:
            super().__init__()
            self.goal = goal

        def on_solution_callback(self) -> None:
            journal.note(self.goal, round(self.objective_value), None)

    model = plain_model(journal)
    for goal in GOAL_ORDER:
        expression = BY_ID[goal].encode(journal.job, model)
        if isinstance(expression, int):
            journal.bound(goal, expression)
            continue
        if journal.left <= 0:
            return
        model.require(expression >= 0)  # known of every goal; without it the search goes on below a plan of 0
        model.minimize(expression)
        solver = cp_sat.CpSolver()
        solver.parameters.num_workers = workers
        solver.parameters.random_seed = seed
        solver.parameters.max_time_in_seconds = max(0.01, journal.left)
        solver.best_bound_callback = lambda bound, goal=goal: journal.note(goal, None, _up(bound))
        status = solver.solve(model.cp, Seen(goal))
        if status not in {cp_sat.OPTIMAL, cp_sat.FEASIBLE}:
            return
        value = round(solver.objective_value)
        journal.offer(read(model, solver))
        journal.bound(goal, _up(solver.best_objective_bound))
        model.cp.clear_objective()
        model.require(expression <= value)
        model.cp.clear_hints()
        for index, number in enumerate(solver.response_proto.solution):
            model.cp.add_hint(model.cp.get_int_var_from_proto_index(index), number)


def _up(bound: float) -> int:
    """Round a bound up: every goal is whole."""
    return -int(-(bound - 1e-6) // 1)
