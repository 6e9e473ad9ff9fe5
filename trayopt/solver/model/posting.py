"""Puts the rules into a model: hard, as groups that may be let go at a price, or as groups under a guard."""

from __future__ import annotations

import logging
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import chain
from typing import Literal

from trayopt.domain.assignment import Way
from trayopt.domain.finding import Group
from trayopt.domain.hardware import Place
from trayopt.domain.job import Job
from trayopt.rules.base import AnyRule, Post
from trayopt.rules.pin import Pinned
from trayopt.rules.registry import RULES
from trayopt.rules.variables import Boolean, CannotSay, Constraint, Variables
from trayopt.solver.model.base import Base, Key
from trayopt.solver.model.capacity_cuts import burdens, cut_capacity
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.cp_sat import ConstraintProto
from trayopt.solver.model.literals import OnStack, Tag
from trayopt.solver.model.model import Model
from trayopt.solver.model.ways import Partings

Mode = Literal["hard", "soft", "guard", "free"]
log = logging.getLogger(__name__)


@dataclass(frozen=True)
class Policy:
    """How the rules enter a model.

    ``must`` is for practice rules at must, ``physical`` for physical rules at must, ``prefer`` for any rule at prefer:
    ``hard`` (no plan of the model breaks one), ``soft`` (each subject has a literal that lets it go), ``guard`` (each group
    of an explanation holds while its guard does) or ``free`` (left out). Always rules and built pins are hard; pins that are
    built can be put under a guard of their own as well, with ``built``. Preferences in ``kept`` are hard in any case: no plan of
    which is asked can pay for breaking one.
    """

    must: Mode = "soft"
    prefer: Mode = "soft"
    physical: Mode = "hard"
    built: Mode = "hard"
    kept: frozenset[str] = frozenset()

    def mode(self, job: Job, rule: AnyRule) -> Mode:
        """Return the mode of one rule in a job."""
        if rule.kind == "always":
            return "hard"
        level = job.rules[rule.id].level
        if level == "off":
            return "free"
        if level == "must":
            return self.physical if rule.kind == "physical" else self.must
        return "hard" if rule.id in self.kept else self.prefer


def build(
    job: Job,
    policy: Policy,
    *,
    all_placed: bool,
    divisions: Mapping[Key, Sequence[int]] | None = None,
    ways: Mapping[str, Sequence[Way]] | None = None,
    divide_at: Partings | None = None,
    clock: Clock | None = None,
    cuts: bool = True,
) -> Model:
    """Make the model of a job with all its rules, without a goal; ``cuts`` says beside what each tray holds at least.

    Raises
    ------
    OutOfTime
        Where a clock is given and over.
    """
    kept = {rule.id for rule in RULES if policy.mode(job, rule) == "hard"}
    model = Model(
        job, divisions=divisions, kept=kept, ways=ways, divide_at=divide_at, all_placed=all_placed, clock=clock
    )
    let_speak(model, lambda _: model, policy)
    if cuts:
        cut_capacity(model, model.kept, *burdens(model))
    decide(model)
    return model


def decide(model: Model) -> None:
    """Make every literal that a solution is read from, whether a rule asked for it or not.

    A literal that is made after the search has no value in its solution.
    """
    for trunk in model.job.trunks:
        for way in model.ways(trunk):
            model.goes(trunk, way)
        for at in model.divide_options(trunk):
            model.divided_at(trunk, at)
        for word in trunk.ribbons:
            model.ribboned(trunk, word)
    model.make_ends()


def let_speak(model: Base, voice_for: Callable[[AnyRule], Variables | None], policy: Policy) -> set[str]:
    """Let every rule that a policy does not leave out speak to a model; give those that bind hard in it by their ids.

    Parameters
    ----------
    voice_for
        What answers a rule: the model itself, or the voice of a relaxation; a rule that asks for what that cannot say is left
        out. None for a rule that the model has a reading of its own for, which is not asked.
    """
    job = model.job
    built = frozenset(pin.subject for pin in job.pins if pin.built)
    hard = set()
    for rule in RULES:
        mode = policy.mode(job, rule)
        facts = built if isinstance(rule, Pinned) else frozenset()
        if mode == "free" and not facts:
            continue
        x = voice_for(rule)
        if x is not None and speaks(rule, model, x, Poster(model, rule, mode, facts, policy.built)) and mode == "hard":
            hard.add(rule.id)
    return hard


def speaks(rule: AnyRule, model: Base, x: Variables, post: Post) -> bool:
    """Let a rule speak to a model, or leave it out of it as a whole; tells whether it spoke.

    Nothing of a rule that is left out stays posted. To leave one out is sound for what only bounds: fewer constraints, more
    plans.
    """
    posted: list[range] = []
    constraints = model.cp.proto.constraints
    let_go, guards = set(model.let_go), set(model.guards)

    def posting(constraint: Constraint, subject: str, when: tuple[Boolean | int, ...] = ()) -> None:
        before = len(constraints)
        post(constraint, subject, when)
        posted.append(range(before, len(constraints)))

    try:
        rule.encode(model.job, x, posting)
    except CannotSay as unsaid:
        log.debug("%s leaves out %s: %s", type(model).__name__, rule.id, unsaid)
        for index in chain.from_iterable(posted):
            constraints[index].copy_from(ConstraintProto())
        for made, known in ((model.let_go, let_go), (model.guards, guards)):
            for group in made.keys() - known:
                index = made.pop(group).index
                model.cp.proto.variables[index].name = ""
                model.tags.pop(index, None)
        return False
    return True


class Poster:
    """Posts the constraints of one rule into a model; ``facts`` are subjects with a mode of their own."""

    def __init__(
        self, model: Base, rule: AnyRule, mode: Mode, facts: frozenset[str] = frozenset(), facts_mode: Mode = "hard"
    ) -> None:
        self.model, self.rule, self.mode = model, rule, mode
        self.facts, self.facts_mode = facts, facts_mode

    def __call__(self, constraint: Constraint, subject: str, when: tuple[Boolean | int, ...] = ()) -> None:
        """Post one constraint for (rule, subject)."""
        if constraint is True:
            return
        mode = self.facts_mode if subject in self.facts else self.mode
        if mode == "hard":
            self.model.require(constraint, *when)
        elif mode == "soft":
            group = Group(self.rule.id, subject)
            if group not in self.model.let_go:
                self.model.let_go[group] = self.model.literal(f"without {group}", _tag(self.rule, subject))
            self.model.require(constraint, ~self.model.let_go[group], *when)
        elif mode == "guard":
            self.model.require(constraint, guard(self.model, group_of(self.rule, subject)), *when)


def _tag(rule: AnyRule, subject: str) -> Tag:
    """Return the tag of a subject: which stack or tray place it is, where it is one."""
    stack, _, position = subject.partition("/")
    if rule.subject == "tray place":
        return "without", rule.id, Place(stack, int(position))
    return "without", rule.id, OnStack(subject) if rule.subject == "stack" else subject


def group_of(rule: AnyRule, subject: str) -> Group:
    """Return the group of an explanation in which a subject counts: tray places are merged by stack."""
    return Group(rule.id, subject.partition("/")[0] if rule.subject == "tray place" else subject)


def guard(model: Base, group: Group) -> Boolean:
    """Return the literal that holds a group, made on demand."""
    if group not in model.guards:
        model.guards[group] = model.literal(f"hold {group}")
    return model.guards[group]
