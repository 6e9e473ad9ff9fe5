"""Writes the certificate of a plan: looks for the trees that prove its bounds to the verifier, on the verifier's own rows."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from trayopt.certificate.check import GOAL, Leaf, Lemma, Split, System, TooMany, Tree
from trayopt.certificate.places import Placed
from trayopt.certificate.rules import plans_of, unknown_keys, with_orders
from trayopt.domain.base import remade
from trayopt.domain.certificate import WITH_LEMMAS, Argument, Certificate, CertificateGoal, CertificateNode
from trayopt.domain.job import Job
from trayopt.domain.plan import GoalName, PlanJob
from trayopt.solver.learn import Learner
from trayopt.solver.model import cp_sat
from trayopt.solver.model.clock import Clock
from trayopt.solver.refute import MOST_NODES, refutation

OF_PART = 0.2
"""Part of the time of a goal in which it is asked whether its rows let in a better plan, before a proof is looked for."""

ROUNDS = 2
"""Times that a goal is searched for a proof, if time is left."""
OF_LEMMAS = 0.3
"""Part of the time of a proof in which lemmas are learnt before a tree is looked for."""
OF_TREE = 0.3
"""Part of what is left of the time of a proof in which a tree is looked for, before more lemmas are learnt."""
LONGER = 1.5
"""A tree that was not found is looked for again if there is so many times the time."""


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
    goals: dict[GoalName, CertificateGoal] = {}
    given: dict[GoalName, int] = {}
    known = not unknown_keys(job)
    open_: list[_Open] = []
    for i, (goal, value) in enumerate(values.items()):
        goals[goal] = CertificateGoal(goal=goal, least=value, argument="not_below_zero" if value == 0 else "none")
        if value and known and bounds.get(goal) == value:
            left = _Open(goals[goal], job, dict(given))
            found = left.at_once(_part(clock, len(values) - i))
            goals[goal] = found or goals[goal]
            open_ += [] if found or left.plans is None else [left]
        given[goal] = value
    for _ in range(ROUNDS):  # what the others leave of the time belongs to the goals that are still open
        still = []
        for i, left in enumerate(open_):
            found = left.searched(_part(clock, len(open_) - i))
            goals[left.item.goal] = found or left.item
            still += [] if found else [left]
        open_ = still
    made = {"job": PlanJob(title=job.title, digest=job.digest), "goals": tuple(goals.values())}
    if any(node.lemma is not None for goal in goals.values() for node in goal.nodes):
        made["schema"] = WITH_LEMMAS
    return Certificate.model_validate(made)


def _part(clock: Clock, parts: float) -> Clock:
    """Return a clock for one of so many parts of what is left."""
    return Clock(None if clock.left is None else clock.left / parts)


class _Search:
    """The search for a proof on some rows, which can go on."""

    def __init__(self, plans: System, left_out: frozenset[str]) -> None:
        self.plans, self.left_out = plans, left_out
        self.let_in: bool | None = None
        self._learner: Learner | None = None
        self._tree_s = 0.0

    def ask(self, clock: Clock) -> bool | None:
        """Ask, if it is not known, whether the rows let something in, so that there is no proof; None if time is short."""
        if self.let_in is None:
            self.let_in = lets_in(self.plans, clock, self.left_out)
        return self.let_in

    def proof(self, clock: Clock) -> Tree | None:
        """Look, or go on looking, for a proof that the rows let nothing in; None where none is found."""
        self._learner = self._learner or Learner(self.plans, self.left_out)
        return self._learner.proof(_part(clock, 1 / OF_LEMMAS)) or self._tree(clock) or self._learner.proof(clock)

    def _tree(self, clock: Clock) -> Tree | None:
        """Look for a tree; it begins anew, so that it needs more time than before."""
        part = _part(clock, 1 / OF_TREE)
        if part.left is not None and part.left < LONGER * self._tree_s:
            return None
        self._tree_s = part.left or 0.0
        return refutation(self.plans, part, MOST_NODES, self.left_out)


@dataclass
class _Open:
    """A goal whose bound is proven, and an argument of it that the verifier takes, as far as one was looked for."""

    item: CertificateGoal
    job: Job
    given: Mapping[GoalName, int]
    plans: Placed | None = None
    """The rows; None where there are too many."""
    _searches: list[_Search] = field(default_factory=list)
    _ordered: list[_Search] | None = None
    """The searches on the rows with those of orders; None where none was begun."""

    def at_once(self, clock: Clock) -> CertificateGoal | None:
        """Prove the goal by a single leaf: by few rows, else by all rows."""
        try:
            self._state()
        except TooMany:
            return None
        if self.plans is None or self.item.goal not in self.plans.goals:
            return None
        stages = self._left_out(self.plans)
        self._searches = [_Search(self.plans, left_out) for left_out in stages]
        for i, left_out in enumerate(stages):
            tree = refutation(self.plans, _part(clock, len(stages) - i), 1, left_out)
            if tree is not None:
                return self._argued("prices", tree)
        return None

    def _state(self) -> None:
        """Make the rows, without those of orders."""
        self.plans = plans_of(self.job, self.given)
        if self.item.goal in self.plans.goals:
            self.plans.below(self.item.goal, self.item.least)

    def _left_out(self, plans: Placed) -> list[frozenset[str]]:
        """Return the rows to do without, in turn: those of patterns and lengths, then those of lengths, then none.

        A goal that counts patterns, or comes after the length, needs their rows, and one that counts lengths needs all.
        """
        if self.item.goal == "leg_length_mm":
            return [frozenset()]
        laid = {*plans.chosen.values(), *plans.at.values()}
        if not laid.isdisjoint(plans.rows[GOAL].terms) or "leg_length_mm" in self.given:
            return [plans.of_lengths, frozenset()]
        of_patterns = {name for name, row in plans.rows.items() if not laid.isdisjoint(row.terms)}
        return [plans.of_lengths | of_patterns, plans.of_lengths, frozenset()]

    def searched(self, clock: Clock) -> CertificateGoal | None:
        """Prove it by lemmas or by a tree: by few rows, else by all, else by those of the place of each pattern as well."""
        if self.plans is None:
            return None
        found, enough = self._proven(self._searches, clock, 2)
        if found is not None:
            return self._argued("prices", found)
        if enough or clock.over:
            return None
        if self._ordered is None:
            plans = plans_of(self.job, self.given)
            try:
                with_orders(plans)
            except TooMany:
                return None
            if self.item.goal not in plans.goals:
                return None
            plans.below(self.item.goal, self.item.least)
            self._ordered = [_Search(plans, left_out) for left_out in self._left_out(plans)[-2:]]
        found, _ = self._proven(self._ordered, clock, 1)
        return None if found is None else self._argued("prices_with_orders", found)

    def _proven(self, searches: list[_Search], clock: Clock, parts: int) -> tuple[Tree | None, bool]:
        """Return a proof on the first rows that may have one, and whether they are known to be enough.

        Where that is not known, the search takes one of so many parts of the time.
        """
        for search in searches:
            if not search.ask(_part(clock, 1 / OF_PART)):
                enough = search.let_in is False
                return search.proof(clock if enough else _part(clock, parts)), enough
        return None, False

    def _argued(self, argument: Argument, tree: Tree) -> CertificateGoal:
        names = {name for node in tree if isinstance(node, Lemma) for name, _, _ in node.bounds}
        places = {name: place for place, name in enumerate(sorted(names), start=1)}
        nodes = tuple(_node(node, places) for node in tree)
        return remade(self.item, argument=argument, numbers=tuple(places), nodes=nodes)


def lets_in(system: System, clock: Clock, left_out: frozenset[str] = frozenset()) -> bool | None:
    """Whether whole numbers meet all rows but those left out, so that no proof is there to be found; None if time is short."""
    model = cp_sat.CpModel()
    numbers = [model.new_int_var(least, most, "") for least, most in system.bounds]
    for row in (row for name, row in system.rows.items() if name not in left_out):
        total = sum(factor * numbers[number] for number, factor in row.terms.items())
        model.add(total == row.most if row.equal else total <= row.most)
    solver = cp_sat.CpSolver()
    solver.parameters.num_workers = 1
    clock.limit(solver.parameters)
    return {cp_sat.OPTIMAL: True, cp_sat.FEASIBLE: True, cp_sat.INFEASIBLE: False}.get(solver.solve(model))


def _node(node: Lemma | Split | Leaf, places: Mapping[str, int]) -> CertificateNode:
    if isinstance(node, Lemma):
        return CertificateNode(lemma=tuple((sign * places[name], value) for name, sign, value in node.bounds))
    if isinstance(node, Split):
        return CertificateNode(split=node.number, most=node.most)
    return CertificateNode(prices={name: str(price) for name, price in node.prices.items()})
