"""What the set partition is asked: least preferences, legs, used places, length and irregularity, and which divisions are left.

All answers are of plans that place every splice, and keep every must save so many as are let go.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

from trayopt.domain.job import Job
from trayopt.domain.plan import GoalName
from trayopt.rules.variables import Constraint, Expression
from trayopt.solver.bounds.division import Divider
from trayopt.solver.bounds.kind_counts import EFFORT, AtPlaces, Limits
from trayopt.solver.bounds.outline import STRICT
from trayopt.solver.bounds.set_partition import SetPartition
from trayopt.solver.model import cp_sat
from trayopt.solver.model.base import Divisions, Key
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.interruptible import FOUND, one_worker, solve_interruptible, solve_one, whole_bound
from trayopt.solver.model.literals import linear, lit, total
from trayopt.solver.model.posting import Policy
from trayopt.solver.model.ways import Partings

WEIGHT_EFFORT = 2.0
"""Most deterministic time for the bound on preferences."""
SOFT = Policy()
"""Musts may be let go, as preferences are."""
MOST_COUNTS = 2000
"""Most kinds times places for a bound on the length: with more of them, no answer comes soon."""

MOST_KEPT = 2
"""Questions of places that are kept to go on with: a search asks of all divisions and of those of a model in turn."""


@dataclass(frozen=True)
class Answer:
    """What the set partition says of a goal.

    Parameters
    ----------
    bound
        Least value; None where there is no such plan.
    proven
        Whether the partition has no lower value than ``bound``, or has none at all.
    divisions
        The divisions of the best choice of bunches; None if no choice was found in time, or divisions were not asked for.
    """

    bound: int | None
    proven: bool
    divisions: Divisions | None = None


class Placed(NamedTuple):
    """A bound on a goal of places, and counts that meet it; None where they are not proven to be the best."""

    bound: int
    best: AtPlaces | None = None


class FirstGoals:
    """The set partition of plans of some divisions, made once, and asked for the first goals.

    ``divide_at`` narrows where trunks may be divided in such plans. Where bunches are too many, bounds are those that were known.
    """

    def __init__(
        self,
        divider: Divider,
        divisions: Divisions,
        clock: Clock,
        *,
        divide_at: Partings | None = None,
        policy: Policy = STRICT,
    ) -> None:
        self._divider, self._divisions, self._clock, self._divide_at = divider, divisions, clock, divide_at
        self._policy = policy
        self._answers: dict[tuple[GoalName, int | None, int], tuple[float, Answer]] = {}
        self.most_musts = 0
        """Most broken musts of the plans that are asked for, where the policy lets musts go."""

    @cached_property
    def _partition(self) -> SetPartition | None:
        made = SetPartition(
            self._divider, self._divisions, self._clock, trays=False, policy=self._policy, divide_at=self._divide_at
        )
        return made if made.listed else None

    def musts(self, least: int, effort: float = WEIGHT_EFFORT) -> int | None:
        """Bound the broken musts from below; None where there is no plan at all. ``least`` is a bound that is known."""
        if self._partition is None:
            return least
        broken = self._partition.broken("must")
        answer = self._ask("broken_must", None, broken, broken >= least, effort, level=0)
        return None if answer.bound is None else max(least, answer.bound)

    def weight(self, least: int, effort: float = WEIGHT_EFFORT) -> int | None:
        """Bound the weight of broken preferences from below; None where there is no plan. ``least`` is a bound that is known."""
        if self._partition is None or isinstance(broken := self._partition.broken("prefer"), int):
            return least
        known = self._known_weight
        answer = (
            known if known is not None else self._ask("broken_prefer", least, broken, broken >= least, effort, level=0)
        )
        return None if answer.bound is None else max(least, answer.bound)

    @property
    def _known_weight(self) -> Answer | None:
        """The proven answer on the weight of broken preferences, with as few broken musts as are asked for."""
        answers = (
            answer
            for (goal, _, musts), (_, answer) in self._answers.items()
            if goal == "broken_prefer" and musts == self.most_musts and answer.proven
        )
        return next(answers, None)

    @property
    def weighs(self) -> bool:
        """Whether the bound on the weight of broken preferences is what closed patterns break."""
        return self._partition is not None and (
            isinstance(self._partition.broken("prefer"), int) or self._known_weight is not None
        )

    def legs(self, weight: int | None, effort: float = EFFORT) -> Answer:
        """Bound the legs of plans that break preferences of at most this weight, or of any where none is given."""
        if self._partition is None:
            return Answer(0, proven=False)
        kept = True if weight is None else self._partition.broken("prefer") <= weight
        return self._ask("legs", weight, self._partition.encoded("legs"), kept, effort, level=1)

    def _few_musts(self, partition: SetPartition) -> Constraint:
        """Hold the musts that are let go to the most of the plans that are asked for."""
        return partition.broken("must") <= self.most_musts

    def _ask(
        self, goal: GoalName, limit: int | None, value: Expression, held: Constraint, effort: float, *, level: int
    ) -> Answer:
        """Minimise a goal under a condition, unless that was asked before with no less effort, or is proven.

        Cores raise the bound, which here most often is that of the linear relaxation.
        """
        asked = (goal, limit, 0 if goal == "broken_must" else self.most_musts)
        spent, answer = self._answers.get(asked, (0.0, Answer(0, proven=False)))
        partition = self._partition
        if partition is None or answer.proven or effort <= spent:
            return answer
        divided = self._divided(partition)
        cp = partition.cp.clone()
        for condition in (held, goal == "broken_must" or self._few_musts(partition)):
            if condition is not True:
                cp.add(condition)
        cp.minimize(linear(value))
        solver = one_worker(self._clock, effort, linearization_level=level)
        solver.parameters.optimize_with_core = True
        status = solve_interruptible(solver, cp, self._clock)
        if status == cp_sat.INFEASIBLE:
            answer = Answer(None, proven=True)
        else:
            divisions = None
            if status in FOUND:
                divisions = {
                    key: tuple(of for of in open_ if solver.boolean_value(divided[key, of]))
                    for key, open_ in self._divisions.items()
                }
            bound = max(0, whole_bound(solver.best_objective_bound))
            answer = Answer(bound, status == cp_sat.OPTIMAL, divisions)
        self._answers[asked] = effort, answer
        return answer

    def narrowed(
        self, weight: int, legs: int, among: Divisions, known: Divisions | None = None, effort: float = EFFORT
    ) -> Divisions:
        """Return the divisions that some plan of so few legs and preferences broken may have; all where time is up.

        The partition is asked for the most divisions that no answer has had yet, until there are none: what it never has, no plan
        has. ``among`` are those that are open, ``known`` some choice that meets both. No question takes more than ``effort``.
        """
        partition = self._partition
        if partition is None:
            return among
        divided = self._divided(partition)
        held = (
            partition.broken("prefer") <= weight,
            partition.encoded("legs") <= legs,
            self._few_musts(partition),
        )
        seen = {(key, of) for key, of_ in (known or {}).items() for of in of_}
        while unseen := [divided[key, of] for key, of_ in among.items() for of in of_ if (key, of) not in seen]:
            cp = partition.cp.clone()
            for condition in (*held, total(unseen) >= 1):
                if condition is not True:
                    cp.add(condition)
            cp.maximize(linear(total(unseen)))
            status, solver = solve_one(cp, self._clock, effort, linearization_level=0, probes=False)
            if status == cp_sat.INFEASIBLE and seen:
                break
            if status not in FOUND:
                return among
            seen |= {pair for pair, literal in divided.items() if solver.boolean_value(literal)}
        return {key: tuple(of for of in open_ if (key, of) in seen) for key, open_ in among.items()}

    def _divided(self, partition: SetPartition) -> dict[tuple[Key, int], cp_sat.IntVar]:
        """Return the literal of each division."""
        return {
            (key, of): lit(partition.divided(self._divider.job.subunit_of_leg[key], of))
            for key, open_ in self._divisions.items()
            for of in open_
        }


class _Asked(NamedTuple):
    """Of which plans a goal of places was asked."""

    divider: Divider
    divisions: Divisions
    musts: int
    weight: int
    divide_at: Partings | None
    fewest: int
    limits: Limits

    def goes_on(self, before: _Asked) -> bool:
        """Whether these plans are among those of which was asked before: what was made for those then has to hold only more."""
        return (
            self.divider is before.divider
            and (self.divisions, self.divide_at) == (before.divisions, before.divide_at)
            and (self.musts, self.weight) == (before.musts, before.weight)
            and self.fewest >= before.fewest
            and all(
                most is None or ((now := self.limits.get(goal)) is not None and now <= most)
                for goal, most in before.limits.items()
            )
        )


def _last_asked(job: Job) -> list[tuple[_Asked, SetPartition]]:
    """Return what was asked last of a job: goals follow each other, each over plans that are as good in those before."""
    del job
    return []


def placed_bound(
    goal: GoalName,
    divider: Divider,
    divisions: Divisions,
    weight: int,
    fewest: int,
    limits: Limits,
    clock: Clock,
    *,
    divide_at: Partings | None = None,
    musts: int = 0,
    effort: float = EFFORT,
) -> Placed:
    """Bound a goal that asks at which places legs lie, over plans that break at most so many musts, and preferences of a weight.

    ``goal`` is trays, leg_length_mm or irregular. ``fewest`` are legs that every such plan has, ``limits`` what those have at
    most of which is asked. 0 where there are too many counts, or no such plan.
    """
    asked = _Asked(divider, divisions, musts, weight, divide_at, fewest, limits)
    kept = divider.job.once(_last_asked)
    before = next((pair for pair in kept if asked.goes_on(pair[0])), None)
    partition = before[1] if before else _kept(divider, divisions, musts, weight, clock, divide_at=divide_at)
    if partition is None or partition.size > MOST_COUNTS:
        return Placed(0)
    kept[:] = [(asked, partition), *(pair for pair in kept if pair is not before)][:MOST_KEPT]
    partition.require(partition.encoded("legs") >= fewest)
    partition.hold_goals(limits)
    partition.minimize(partition.encoded(goal))
    status, solver = partition.ask(clock, effort)
    if status == cp_sat.INFEASIBLE:
        return Placed(0)
    best = partition.at_places(solver.value) if status == cp_sat.OPTIMAL else None
    return Placed(max(0, whole_bound(solver.best_objective_bound)), best)


def _kept(
    divider: Divider,
    divisions: Divisions,
    musts: int,
    weight: int,
    clock: Clock,
    *,
    divide_at: Partings | None,
) -> SetPartition | None:
    """Make the set partition of plans that break no more musts and preferences; None where bunches are too many."""
    policy = SOFT if musts else STRICT
    partition = SetPartition(divider, divisions, clock, trays=True, policy=policy, divide_at=divide_at)
    partition.require(partition.broken("must") <= musts)
    partition.hold_preferences(weight)
    return partition if partition.listed else None
