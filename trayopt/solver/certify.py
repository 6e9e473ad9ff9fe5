"""Finds the dual prices and splits that prove a bound to the verifier of certificates, on the verifier's own rows.

The linear relaxation of the rows is solved in floating point; its prices are rounded to fractions, and only a proof that the
verifier takes is kept.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import timedelta
from fractions import Fraction
from math import floor, inf
from typing import Any

from ortools.math_opt.python import mathopt

from trayopt.certificate.check import GOAL, Bounds, Leaf, Split, System, TooMany, Tree, Wrong
from trayopt.certificate.rules import plans_of, unknown_keys, with_orders
from trayopt.domain.base import remade
from trayopt.domain.certificate import Argument, Certificate, CertificateGoal, CertificateNode
from trayopt.domain.job import Job
from trayopt.domain.plan import GoalName, PlanJob
from trayopt.solver.model.clock import Clock

MOST_NODES = 2_000
"""A tree of more nodes than this is not looked for."""
FINEST = (12, 5_040, 10**9)
"""Greatest denominators of the prices, tried one after the other."""
NEAR = 1e-6
SOLVER = mathopt.SolverType.HIGHS
NONE = {mathopt.TerminationReason.INFEASIBLE, mathopt.TerminationReason.INFEASIBLE_OR_UNBOUNDED}
MOST_S = 20.0
"""Most seconds for one linear relaxation."""


class _Relaxation:
    """The linear relaxation of rows: the least of the goal, or of what rows miss at a cost of 1 a unit, and its prices."""

    def __init__(self, system: System, left_out: frozenset[str] = frozenset(), *, elastic: bool = False) -> None:
        self.system = system
        self.elastic, self.left_out = elastic, left_out
        self.model = mathopt.Model()
        self.numbers = [self.model.add_variable(lb=least, ub=most) for least, most in system.bounds]
        self.rows: dict[str, Any] = {}
        self._bounds: Bounds = list(system.bounds)
        self._of_rows: _Relaxation | None = None
        missed = []
        for name, row in system.rows.items():
            if name in left_out or (name == GOAL and not elastic):
                continue
            made = self.model.add_linear_constraint(lb=row.most if row.equal else -inf, ub=row.most)
            for number, factor in row.terms.items():
                made.set_coefficient(self.numbers[number], factor)
            for sign in ((-1, 1) if row.equal else (-1,)) if elastic else ():
                missed.append(self.model.add_variable(lb=0))
                made.set_coefficient(missed[-1], sign)
            self.rows[name] = made
        goal = system.rows.get(GOAL)
        self.allowed = goal.most if goal is not None and not elastic else 0
        terms = goal.terms.items() if goal is not None and not elastic else ()
        self.model.minimize(mathopt.LinearSum([*missed, *(factor * self.numbers[n] for n, factor in terms)]))
        self.solver = mathopt.IncrementalSolver(self.model, SOLVER)

    def solve(self, bounds: Bounds, clock: Clock) -> tuple[float, dict[str, float], list[float]] | None:
        """Give by how much the rows miss at least, the prices, and the numbers; None where no answer was found."""
        for number, (before, now) in enumerate(zip(self._bounds, bounds, strict=True)):
            if before != now:
                self.numbers[number].lower_bound, self.numbers[number].upper_bound = now
        self._bounds = list(bounds)
        most_s = timedelta(seconds=MOST_S if clock.left is None else max(0.0, min(clock.left, MOST_S)))
        result = self.solver.solve(params=mathopt.SolveParameters(time_limit=most_s))
        reason = result.termination.reason
        if reason in NONE and not self.elastic:
            self._of_rows = self._of_rows or _Relaxation(self.system, self.left_out, elastic=True)
            return self._of_rows.solve(bounds, clock)
        if reason != mathopt.TerminationReason.OPTIMAL or not result.has_dual_feasible_solution():
            return None
        found, values = result.dual_values(), result.variable_values()
        prices = {name: -found[row] for name, row in self.rows.items() if found[row]}
        if not self.elastic and GOAL in self.system.rows:
            prices[GOAL] = 1.0
        return result.objective_value() - self.allowed, prices, [values[number] for number in self.numbers]


def certify(
    job: Job, values: Mapping[GoalName, int], bounds: Mapping[GoalName, int | None], clock: Clock
) -> Certificate:
    """Write the certificate of a plan: of each goal whose bound is proven an argument, where one is found in the time.

    Parameters
    ----------
    job
        The job.
    values, bounds
        Of each goal of the plan, in the order in which they count.
    clock
        Its limit is shared out among the goals that are left.
    """
    goals: list[CertificateGoal] = []
    given: dict[GoalName, int] = {}
    known = not unknown_keys(job)
    for i, (goal, value) in enumerate(values.items()):
        part = None if clock.left is None else clock.left / (len(values) - i)
        item = CertificateGoal(goal=goal, least=value, argument="not_below_zero" if value == 0 else "none")
        if value and known and bounds.get(goal) == value:
            item = _argued(job, given, item, Clock(part)) or item
        goals.append(item)
        given[goal] = value
    return Certificate(job=PlanJob(title=job.title, digest=job.digest), goals=tuple(goals))


_Stage = tuple[Argument, frozenset[str], int]
"""An argument, rows that it does without, and most nodes of its tree."""


def _argued(job: Job, given: Mapping[GoalName, int], item: CertificateGoal, clock: Clock) -> CertificateGoal | None:
    """Find an argument of a goal that the verifier takes: by few rows, else by all, else by those of orders as well."""
    try:
        plans = plans_of(job, given)
    except TooMany:
        return None
    by_all: _Stage = ("prices", frozenset(), MOST_NODES)
    stages = [by_all, ("prices_with_orders", frozenset(), MOST_NODES)]
    if item.goal != "leg_length_mm" and "leg_length_mm" not in given:
        by_few: _Stage = ("prices", plans.of_lengths, MOST_NODES)
        stages = [(*by_few[:2], 1), (*by_all[:2], 1), by_few, *stages]
    for i, (argument, left_out, most_nodes) in enumerate(stages):
        if argument == "prices_with_orders":
            try:
                with_orders(plans)
            except TooMany:
                return None
        if item.goal not in plans.goals:
            continue
        plans.below(item.goal, item.least)
        part = None if clock.left is None else clock.left / (2 if most_nodes == 1 else len(stages) - i)
        tree = refutation(plans, Clock(part), most_nodes, left_out)
        if tree is not None:
            return remade(item, argument=argument, nodes=tuple(map(_node, tree)))
    return None


def _node(node: Split | Leaf) -> CertificateNode:
    if isinstance(node, Split):
        return CertificateNode(split=node.number, most=node.most)
    return CertificateNode(prices={name: str(price) for name, price in node.prices.items()})


def refutation(
    system: System, clock: Clock, most_nodes: int = MOST_NODES, left_out: frozenset[str] = frozenset()
) -> Tree | None:
    """Find a tree that the verifier takes as proof that no whole numbers meet all rows; None where none was found.

    Rows that are left out get no price.
    """
    relaxation = _Relaxation(system, left_out)
    names = {index: name for name, index in system.names.items()}
    tree: list[Split | Leaf] = []
    root: Bounds = list(system.bounds)
    open_: list[Bounds | None] = [root if system.tighten(root) else None]
    while open_:
        bounds = open_.pop()
        if bounds is None:
            tree.append(Leaf({}))
            continue
        if clock.over or len(tree) >= most_nodes:
            return None
        solved = relaxation.solve(bounds, clock)
        if solved is None:
            return None
        missed, prices, numbers = solved
        leaf = _leaf(system, bounds, prices, missed)
        if leaf is not None:
            tree.append(leaf)
            continue
        index = _split(system, numbers)
        if index is None:
            return None
        at = floor(numbers[index])
        least, most = bounds[index]
        tree.append(Split(names[index], at))
        for side in ((max(least, at + 1), most), (least, min(most, at))):
            inside = list(bounds)
            open_.append(inside if system.narrow(inside, index, side) else None)
    return tree


def _leaf(system: System, bounds: Bounds, prices: Mapping[str, float], missed: float) -> Leaf | None:
    """Round prices so that the verifier takes them."""
    if missed < NEAR:
        return None
    for finest in FINEST:
        made = {}
        for name, price in prices.items():
            rounded = Fraction(price).limit_denominator(finest)
            if rounded and (rounded > 0 or system.rows[name].equal):
                made[name] = rounded
        try:
            system.leaf(1, Leaf(made), bounds)
        except Wrong:
            continue
        return Leaf(made)
    return None


def _split(system: System, numbers: Sequence[float]) -> int | None:
    """Choose the number to split by: of high rank, and far from whole; None where all are whole."""
    off = {
        i: system.ranks[i] * abs(value - round(value))
        for i, value in enumerate(numbers)
        if abs(value - round(value)) > NEAR
    }
    return max(off, key=off.__getitem__, default=None)
