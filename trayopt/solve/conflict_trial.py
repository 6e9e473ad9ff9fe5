"""Trials: can these groups stand together while every splice is placed? Each answer is proven, and all are remembered.

Both directions are tried where they are cheapest. A model in which the trays of each stack are merged excludes much at once,
and says which groups are enough for that; a model with one division a subunit finds plans fast; only what neither settles is
asked of the whole model. A plan is recounted in plain data, and answers every later trial of groups that it keeps.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import cached_property

from ortools.sat.python import cp_model

from trayopt.domain.assignment import Assignment
from trayopt.domain.finding import Group
from trayopt.domain.job import Job
from trayopt.solve.conflict_groups import Question, remade
from trayopt.solve.conflict_model import Divisions, guarded, holding
from trayopt.solve.divide import Divider
from trayopt.solve.run import Tuning, run
from trayopt.solve.stop import Clock

QUICK = 4.0
"""Deterministic time for a look at a model that cannot settle a trial by itself in one of the directions."""

Groups = frozenset[Group]


@dataclass(frozen=True)
class Kept:
    """A plan that places every splice, and the groups that it breaks."""

    assignment: Assignment
    broken: Groups


@dataclass
class Trials:
    """Trials of one question; ``clock`` ends them."""

    question: Question
    clock: Clock = field(default_factory=Clock)
    plans: list[Kept] = field(default_factory=list)
    refuted: list[Groups] = field(default_factory=list)

    def offer(self, assignment: Assignment) -> Kept:
        """Remember a plan that places every splice."""
        kept = Kept(assignment, self.question.broken(assignment))
        self.plans.append(kept)
        return kept

    def refute(self, groups: Iterable[Group]) -> None:
        """Remember groups that are proven not to stand together."""
        self.refuted.append(frozenset(groups))

    def plan(self, held: Groups) -> Kept | None:
        """Give a known plan that keeps these groups."""
        return next((kept for kept in self.plans if not kept.broken & held), None)

    def core(self, held: Groups) -> Groups | None:
        """Give the smallest known part of these groups that cannot stand together."""
        return min((found for found in self.refuted if found <= held), key=len, default=None)

    def possible(self, held: Groups) -> bool | None:
        """Tell whether some plan keeps these groups; None where the clock ran out before that was settled."""
        if self.plan(held) is not None:
            return True
        if self.core(held) is not None:
            return False
        for attempt in (self._merged, self._settled, self._whole):
            if self.clock.over:
                return None
            answer = attempt(held)
            if answer is not None:
                return answer
        return None

    # -- merged trays ------------------------------------------------------------------------------------------------

    @cached_property
    def _relaxed(self) -> tuple[cp_model.CpModel, dict[Group, cp_model.IntVar]]:
        model = guarded(self.question)
        return model.cp, model.guards

    def _merged(self, held: Groups) -> bool | None:
        """Ask the model of merged trays, which can only say no."""
        cp, guards = self._relaxed
        on = {guards[group].index: group for group in self.question.groups if group in held and group in guards}
        cp.clear_assumptions()
        cp.add_assumptions([guards[group] for group in on.values()])
        status, core = assumed(cp, self.clock, QUICK)
        if status != cp_model.INFEASIBLE:
            return None
        self.refute(on[i] for i in core if i in on)
        return False

    # -- the whole box -----------------------------------------------------------------------------------------------

    def _settled(self, held: Groups) -> bool | None:
        """Look for a plan with the divisions of least legs; where no division is of use there is none."""
        divider = Divider(bound_job(self.question, held))
        settled = None if divider.hopeless else divider.settle()
        if settled is None:
            self.refute(held)
            return False
        return self._look(held, settled.divisions, QUICK) or None

    def _whole(self, held: Groups) -> bool | None:
        """Ask for a plan with any division that can be of use."""
        return self._look(held, Divider(bound_job(self.question, held)).open, None)

    def _look(self, held: Groups, divisions: Divisions, effort: float | None) -> bool | None:
        model = holding(self.question, held, divisions)
        outcome = run(model, self.clock, Tuning(workers=1, seed=1, effort=effort))
        if outcome.assignment is not None:
            kept = self.offer(outcome.assignment)
            if kept.broken & held:
                raise AssertionError(f"the model's plan breaks what it was to keep: {sorted(kept.broken & held)}")
            return True
        if outcome.proven and effort is None:
            self.refute(held)
        return False if outcome.proven and effort is None else None


def assumed(cp: cp_model.CpModel, clock: Clock, most: float | None = None) -> tuple[int, list[int]]:
    """Solve a model under its assumptions; give the status, and where it is infeasible which of them are enough for that."""
    solver = cp_model.CpSolver()
    p = solver.parameters
    p.num_workers, p.random_seed, p.symmetry_level = 1, 1, 1
    p.catch_sigint_signal = False
    if most is not None:
        p.max_deterministic_time = most
    if clock.left is not None:
        p.max_time_in_seconds = max(0.01, clock.left)
    status = solver.solve(cp)
    core = solver.sufficient_assumptions_for_infeasibility() if status == cp_model.INFEASIBLE else []
    return status, list(core)


def bound_job(question: Question, held: Groups) -> Job:
    """Give the job in which only rules all of whose groups are held are musts: what it excludes, these groups exclude."""
    rules = {
        name: setting
        if question.by_rule.get(name) and question.by_rule[name] <= held
        else setting.model_copy(update={"level": "off"})
        for name, setting in question.wide.rules.items()
    }
    rules = {
        name: setting.model_copy(update={"level": "must"}) if setting.level != "off" else setting
        for name, setting in rules.items()
    }
    return remade(question.wide, rules=rules)
