"""Trials: can these groups stand together while every splice is placed? Each answer is proven, and all are remembered.

Both directions are tried where they are cheapest. Counts of the whole box need no model. Counts by stack exclude much
at once; where they balance, their draft of divisions and ways is what the whole model tries first. A model in which the
trays of each stack are merged excludes what hangs on which leg is spliced to which. Only what none of them settles is
asked of the whole model. A plan is recounted in plain data, and answers every later trial of groups that it keeps.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from functools import cached_property

from trayopt.domain.assignment import Assignment
from trayopt.domain.base import remade
from trayopt.domain.cablework import Subunit
from trayopt.domain.finding import Group
from trayopt.domain.job import Job
from trayopt.errors import SolverFault
from trayopt.rules.registry import BY_ID
from trayopt.rules.subunit_together import SubunitTogether
from trayopt.rules.tray_fibres import TrayFibres
from trayopt.rules.variables import Expression
from trayopt.solver.bounds.class_counts import Draft
from trayopt.solver.bounds.division import Divider
from trayopt.solver.bounds.rings import Ring, overfull_rings
from trayopt.solver.bounds.segments import Segments
from trayopt.solver.bounds.stack_counts import StackCounts
from trayopt.solver.conflict.guarded_model import guarded, holding
from trayopt.solver.conflict.hitting_sets import CorrectionModel, Cost
from trayopt.solver.heuristics.completion import RelaxedModel
from trayopt.solver.model import cp_sat
from trayopt.solver.model.base import Base
from trayopt.solver.model.clock import Clock, OutOfTime
from trayopt.solver.model.groups import ALLOWED_PORTS, ALLOWED_TRAVEL, Question
from trayopt.solver.model.interruptible import FOUND, one_worker, solve_interruptible, solve_one
from trayopt.solver.model.literals import linear
from trayopt.solver.model.model import Model
from trayopt.solver.model.posting import Policy
from trayopt.solver.model.run import read

GLANCE = 1.0
"""Deterministic time for a look at a model that need not settle a trial."""
BLINK = 0.1
"""Least deterministic time to ask which groups are enough: without an answer the search goes on with all of them."""
AGAIN = 20
"""To ask which groups are enough for a refutation may take this many times as long as the refutation: each group fewer
saves a question.
"""
FEW = 16
"""Most groups that are tried one by one: to ask which of so few are enough costs more."""
LAYOUT = 30.0
"""Most deterministic time for blocks at places."""
LOOK = 4.0
"""Deterministic time for a search with few divisions open, before all are."""

Groups = frozenset[Group]


@dataclass(frozen=True)
class Kept:
    """A plan that places every splice, and the groups that it breaks."""

    assignment: Assignment
    broken: Groups


@dataclass
class Trials:
    """Trials of one question; ``clock`` ends them, and ``most`` bounds the deterministic time for the whole model."""

    question: Question
    clock: Clock = field(default_factory=Clock)
    most: float | None = None
    plans: list[Kept] = field(default_factory=list)
    refuted: list[Groups] = field(default_factory=list)
    _rings: dict[Groups, list[Ring]] = field(default_factory=dict)

    def offer(self, assignment: Assignment) -> Kept:
        """Remember a plan that places every splice."""
        kept = Kept(assignment, self.question.broken(assignment))
        self.plans.append(kept)
        return kept

    def refute(self, groups: Iterable[Group]) -> None:
        """Remember groups that are proven not to stand together."""
        self.refuted.append(frozenset(groups))

    def plan(self, held: Groups) -> Kept | None:
        """Return a known plan that keeps these groups."""
        return next((kept for kept in self.plans if not kept.broken & held), None)

    def core(self, held: Groups) -> Groups | None:
        """Return the smallest known part of these groups that cannot stand together."""
        return min((found for found in self.refuted if found <= held), key=len, default=None)

    def broken(self, held: Groups) -> Groups | None:
        """Return the groups that a known plan breaks that keeps these; None where none is known."""
        kept = self.plan(held)
        return None if kept is None else kept.broken

    def possible(self, held: Groups, most: float | None = None) -> bool | None:
        """Whether some plan keeps these groups; None if that was not settled in time.

        ``most`` bounds the deterministic time for the whole model, as ``self.most`` does.
        """
        if self.plan(held) is not None:
            return True
        if self.core(held) is not None:
            return False
        for attempt in (
            self._by_room,
            self._ringed,
            self._counted,
            self._strict,
            self._merged,
            self._settled,
            self._blocked,
        ):
            if self.clock.over:
                return None
            answer = attempt(held)
            if answer is not None:
                return answer
        return None if self.clock.over else self._whole(held, most)

    def excluded(self, held: Groups) -> bool | None:
        """Whether a small model excludes these groups, without a search for a plan; None if that was not settled."""
        if self.plan(held) is not None:
            return False
        if self.core(held) is not None or self._ringed(held) is False:
            return True
        open_ = True
        for name in ("_stack_counts", "_guarded"):
            status = None if self.clock.over else self._glance(getattr(self, name), held, None)[0]
            if status == cp_sat.INFEASIBLE:
                self.refute(held)
                return True
            open_ = open_ and status in FOUND
        return False if open_ else None

    def dropping(self, cost: Cost, among: Groups) -> CorrectionModel:
        """Return the model that says which of some groups to give up first."""
        return CorrectionModel(self._stack_counts, self.question.groups, cost, among)

    # -- relaxations: they say no, and which groups are enough for it ------------------------------------------------

    @cached_property
    def _stack_counts(self) -> StackCounts:
        return StackCounts(self.question)

    @cached_property
    def _guarded(self) -> Model:
        return guarded(self.question)

    @cached_property
    def _short(self) -> list[Groups]:
        """Groups of each rule that no plan keeps, by a count of the whole box."""
        question = self.question
        return [groups for rule, groups in question.by_rule.items() if groups and BY_ID[rule].short(question.wide)]

    def _by_room(self, held: Groups) -> bool | None:
        """Count the whole box, which takes no model."""
        for groups in self._short:
            if groups <= held:
                self.refute(groups)
                return False
        return None

    def _ringed(self, held: Groups) -> bool | None:
        """Look for subunits that keep together in a ring that no tray holds: whatever their divisions, that excludes them."""
        job = self.question.wide
        rooms = {Group(TrayFibres.id, stack.id) for stack in job.enclosure.stacks}
        if not rooms <= held:
            return None
        tied = frozenset(group for group in held if group.rule == SubunitTogether.id)
        if tied not in self._rings:
            most = max(tray.fibres for tray in job.enclosure.trays)
            self._rings[tied] = overfull_rings(
                job, lambda s: job.trunk_by_id[s.trunk].divided_only_at == "tray" or _together(s) in tied, most
            )
        for ring in self._rings[tied]:
            self.refute(rooms | {_together(subunit) for subunit in ring.subunits} & tied)
        return False if self._rings[tied] else None

    def _counted(self, held: Groups) -> bool | None:
        """Ask the counts by stack; where they balance, look for a plan after their draft."""
        counts = self._stack_counts
        status, solver = self._glance(counts, held, counts.all_legs_count())
        if status == cp_sat.INFEASIBLE:
            self.refute(self._enough(counts, held, solver.response_proto.deterministic_time))
            return False
        if status not in FOUND:
            return None
        return self._look(held, counts.draft(solver.value), GLANCE) or None

    def _merged(self, held: Groups) -> bool | None:
        """Ask the model of merged trays."""
        status, solver = self._glance(self._guarded, held, None)
        if status != cp_sat.INFEASIBLE:
            return None
        self.refute(self._enough(self._guarded, held, solver.response_proto.deterministic_time))
        return False

    def _glance(
        self, model: Base, held: Groups, goal: Expression | None
    ) -> tuple[cp_sat.CpSolverStatus, cp_sat.CpSolver]:
        """Solve a guarded model with these groups held hard."""
        cp = model.cp.clone()
        for group in self.question.groups:
            if group in held and group in model.guards:
                cp.add(cp.get_bool_var_from_proto_index(model.guards[group].index) == 1)
        if goal is not None and not isinstance(goal, int):
            cp.minimize(linear(goal))
        return solve_one(cp, self.clock, GLANCE)

    def _enough(self, model: Base, held: Groups, took: float) -> Groups:
        """Ask a guarded model without a plan which of these groups are enough for that; all, where it does not tell.

        ``took`` is the deterministic time of the refutation, in which all guards were settled.
        """
        if len(held) <= FEW:
            return held
        on = {
            model.guards[group].index: group
            for group in self.question.groups
            if group in held and group in model.guards
        }
        cp = model.cp.clone()
        cp.add_assumptions([cp.get_bool_var_from_proto_index(index) for index in on])
        status, solver = solve_one(cp, self.clock, min(GLANCE, max(BLINK, AGAIN * took)))
        if status != cp_sat.INFEASIBLE:
            return held
        return frozenset(on[i] for i in solver.sufficient_assumptions_for_infeasibility() if i in on)

    # -- the whole box -----------------------------------------------------------------------------------------------

    def _strict(self, held: Groups) -> bool | None:
        """Look for a plan with the divisions that would do if each rule were held for all its groups."""
        divider = Divider(bound_job(self.question, held, whole=False))
        settled = None if divider.hopeless else divider.settle()
        return None if settled is None else self._look(held, Draft(settled.divisions, {}), LOOK) or None

    def _settled(self, held: Groups) -> bool | None:
        """Look for a plan with the divisions of least legs; where no division is of use there is none."""
        divider = Divider(bound_job(self.question, held))
        settled = None if divider.hopeless else divider.settle()
        if settled is None:
            self.refute(held)
            return False
        return self._look(held, Draft(settled.divisions, {}), LOOK) or None

    def _blocked(self, held: Groups) -> bool | None:
        """Ask blocks at tray places; where they can be laid out, look for a plan that is divided so, first with that layout."""
        divider = Divider(bound_job(self.question, held))
        try:
            blocks = Segments(divider, divider.open, Policy("hard", "free"), all_placed=True, clock=self.clock)
        except OutOfTime:
            return None
        layouts = RelaxedModel(blocks, self.clock)
        if not layouts.made:
            return None
        solver = one_worker(self.clock, min(x for x in (self.most, LAYOUT) if x is not None), linearization_level=1)
        status = solve_interruptible(solver, blocks.cp, self.clock)
        if status == cp_sat.INFEASIBLE:
            self.refute(held)
            return False
        if status not in FOUND:
            return None
        layout = layouts.read(solver)
        return self._look(held, Draft(layout.divisions, {}), LOOK, laid=lambda model: layouts.hold(model, layout)) or (
            self._look(held, Draft(layout.divisions, {}), LOOK) or None
        )

    def _whole(self, held: Groups, most: float | None) -> bool | None:
        """Ask for a plan with any division that can be of use: no is a proof."""
        effort = min((x for x in (most, self.most) if x is not None), default=None)
        return self._look(held, Draft(Divider(bound_job(self.question, held)).open, {}), effort, whole=True)

    def _look(
        self,
        held: Groups,
        draft: Draft,
        effort: float | None,
        *,
        whole: bool = False,
        laid: Callable[[Model], cp_sat.CpModel] | None = None,
    ) -> bool | None:
        """Look for a plan after a draft; one that leaves nothing out (``whole``) can say no as well.

        ``laid`` gives a copy of the model that is held to a layout.
        """
        model = holding(self.question, held, draft.divisions, draft.ways)
        status, solver = solve_one(model.cp if laid is None else laid(model), self.clock, effort)
        if status in FOUND:
            kept = self.offer(read(model, solver))
            if kept.broken & held:
                wrong = ", ".join(map(str, sorted(kept.broken & held)))
                raise SolverFault(f"a plan breaks what its model keeps: {wrong}")
            return True
        if status == cp_sat.INFEASIBLE and whole:
            self.refute(held)
            return False
        return None


def _together(subunit: Subunit) -> Group:
    return Group(SubunitTogether.id, subunit.name)


def bound_job(question: Question, held: Groups, *, whole: bool = True) -> Job:
    """Return the job with the limits of trunks that are held, and only rules held for all their groups at must.

    What it excludes, the groups exclude.

    With ``whole`` off rules are musts that are held for any of their groups: it excludes more than the groups do.
    """
    rules = {}
    own = question.job.trunk_by_id
    trunks = [
        remade(
            trunk,
            ports=own[trunk.id].ports if Group(ALLOWED_PORTS, trunk.id) in held else trunk.ports,
            travel=own[trunk.id].travel if Group(ALLOWED_TRAVEL, trunk.id) in held else trunk.travel,
        )
        for trunk in question.wide.trunks
    ]
    for name, setting in question.wide.rules.items():
        groups = question.by_rule.get(name, frozenset())
        binds = bool(groups) and groups <= held if whole else bool(groups & held)
        rules[name] = remade(setting, level="must" if binds else "off")
    return remade(question.wide, rules=rules, trunks=tuple(trunks))
