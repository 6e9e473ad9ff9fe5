"""Which groups can stand in a conflict, who is blamed first, and which of them a plan breaks: plain data, no solver.

Groups are (rule, subject) of rules at must, tray places merged by stack, pins that are not built one by one; a
trunk's own ``allowed_ports`` and ``allowed_travel``; decisions of a plan that is expected (``expected``); and, where
preferences are to be explained, the rules at prefer as well.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property

from trayopt.domain.assignment import Assignment, Way
from trayopt.domain.base import remade
from trayopt.domain.decision import Decision, EntersAt, GoesBy, RunAt
from trayopt.domain.finding import Group, Kind, Level
from trayopt.domain.job import Job
from trayopt.domain.trunk import Trunk
from trayopt.errors import SolverFault
from trayopt.rules.base import AnyRule
from trayopt.rules.judge import judge
from trayopt.rules.pin import Pinned
from trayopt.rules.registry import BY_ID, RULES
from trayopt.solver.model.decisions import Given, changes, divided_at, ribbons_of
from trayopt.track.laid import Laid

ALLOWED_PORTS = "allowed_ports"
ALLOWED_TRAVEL = "allowed_travel"
EXPECTED = "expected"
LIMITS = (ALLOWED_PORTS, ALLOWED_TRAVEL)


def merged(rule: AnyRule, subject: str) -> Group:
    """Return the group in which a subject counts: tray places are merged by stack."""
    return Group(rule.id, subject.partition("/")[0] if rule.subject == "tray place" else subject)


@dataclass(frozen=True)
class Question:
    """What is asked of a job: which groups can stand together while every splice is placed.

    Parameters
    ----------
    job
        The job.
    expected
        Decisions that are expected, each a group of its own.
    levels
        Levels whose rules are groups: must alone, or prefer as well. Other rules do not count at all.
    kinds
        Kinds of rules that are groups.
    """

    job: Job
    expected: Mapping[Group, Decision] = field(default_factory=dict)
    levels: tuple[Level, ...] = ("must",)
    kinds: tuple[Kind, ...] = ("physical", "practice")

    @cached_property
    def wide(self) -> Job:
        """The job with the limits of its trunks lifted: what they allowed is asked for by groups."""
        trunks = tuple(remade(trunk, ports="any", travel="either") for trunk in self.job.trunks)
        return remade(self.job, trunks=trunks)

    @cached_property
    def rules(self) -> tuple[AnyRule, ...]:
        """Every rule whose subjects are groups."""
        return tuple(r for r in RULES if r.kind in self.kinds and self.job.rules[r.id].level in self.levels)

    @cached_property
    def facts(self) -> frozenset[str]:
        """Subjects of pins that are built."""
        return frozenset(pin.subject for pin in self.job.pins if pin.built)

    @cached_property
    def groups(self) -> tuple[Group, ...]:
        """Every group, in the order in which they are blamed."""
        found = [*self.expected, *self._limits()]
        for rule in self.rules:
            subjects = dict.fromkeys(merged(rule, subject) for subject in subjects_of(self.job, rule))
            found += [group for group in subjects if not isinstance(rule, Pinned) or group.subject not in self.facts]
        return tuple(sorted(found, key=self._blame))

    @cached_property
    def by_rule(self) -> dict[str, frozenset[Group]]:
        """Groups of each rule."""
        return {rule.id: frozenset(group for group in self.groups if group.rule == rule.id) for rule in self.rules}

    def _limits(self) -> Iterator[Group]:
        """Yield the limits of trunks that exclude anything."""
        ports = len(self.job.enclosure.ports)
        for trunk in self.job.trunks:
            if len(trunk.allowed_ports(self.job.enclosure)) < ports:
                yield Group(ALLOWED_PORTS, trunk.id)
            if trunk.travel != "either":
                yield Group(ALLOWED_TRAVEL, trunk.id)

    def _blame(self, group: Group) -> tuple[int, int]:
        """Rank by blame: expectations, pins, limits, what the job itself asks for, practice, preferences, hardware."""
        if group.rule == EXPECTED:
            return 0, 0
        if group.rule == Pinned.id:
            return 1, 0
        if group.rule in LIMITS:
            return 2, 0
        rule, setting = BY_ID[group.rule], self.job.rules[group.rule]
        order = RULES.index(rule)
        if setting.level == "prefer":
            return 6, -setting.weight * 100 + order
        if rule.kind == "physical":
            return (3 if self._own(rule) else 5), rule.blamed * 100 + order
        return (3 if self._own(rule) or rule.asked_for else 4), order

    def _own(self, rule: AnyRule) -> bool:
        """Whether the job asks for more of a rule than its defaults."""
        return own_setting(self.job, rule)

    def wrong_ways(self, group: Group, ways: Iterable[Way]) -> list[Way]:
        """Return the ways that a limit excludes."""
        trunk = self.job.trunk_by_id[group.subject]
        if group.rule == ALLOWED_PORTS:
            allowed = trunk.allowed_ports(self.job.enclosure)
            return [way for way in ways if way.port not in allowed]
        return [way for way in ways if way.travel not in trunk.travels]

    def broken(self, assignment: Assignment) -> frozenset[Group]:
        """Return every group that a plan breaks, by a recount in plain data.

        Raises
        ------
        SolverFault
            Where the plan breaks what always holds, or leaves a splice without a tray.
        """
        laid = Laid(self.wide, assignment)
        found: set[Group] = set()
        for finding in judge(self.wide, laid):
            if finding.level == "always":
                raise SolverFault(
                    f"a plan of the conflict model breaks {finding.rule} {finding.subject}: {finding.because}"
                )
            if finding.level in self.levels:
                found.add(merged(BY_ID[finding.rule], finding.subject))
        if any(place is None for _, place in laid.piece_places):
            raise SolverFault("a plan of the conflict model leaves splices without a tray")
        for group in self.groups:
            if group.rule in LIMITS and (way := assignment.ways.get(group.subject)) is not None:
                if self.wrong_ways(group, [way]):
                    found.add(group)
            elif group.rule == EXPECTED and not meets(self.wide, self.expected[group], assignment):
                found.add(group)
        return frozenset(found)


def meets(job: Job, fact: Decision, assignment: Assignment) -> bool:
    """Whether a plan has an expected decision."""
    if isinstance(fact, RunAt):
        changed = changes(job, Given((fact,)), assignment)
        leg = job.trunk_by_id[fact.trunk].subunit_of(fact.first).leg_of_run(fact.first, fact.last)
        return not changed.legs and (not fact.leg or assignment.places.get(leg) == fact.place if leg else True)
    if isinstance(fact, GoesBy):
        way = assignment.ways.get(fact.trunk)
        divided = fact.divide_at in {None, divided_at(job, assignment, fact.trunk)}
        worked = fact.ribbons in {None, ribbons_of(job, assignment, fact.trunk)}
        return way is None or (fact.admits(way) and divided and worked)
    ends = assignment.ends.get(fact.stack, job.enclosure.stack_by_id[fact.stack].ends[0].id)
    return isinstance(fact, EntersAt) and ends == fact.end


def own_setting(job: Job, rule: AnyRule) -> bool:
    """Whether a job sets a rule stricter than, or otherwise than, its defaults."""
    setting = job.rules[rule.id]
    return setting.level != rule.level or dict(setting.parameters) != rule.usual(job.enclosure)


def subjects_of(job: Job, rule: AnyRule) -> Iterator[str]:
    """Return everything in a job that a rule can be broken for."""
    uncut = (unit.name for item in job.through for unit in job.trunk_by_id[item.ends[0]].passing)
    subjects = (*_of_kind(job, rule.subject), *(uncut if rule.of_uncut else ()))
    return (subject for subject in subjects if rule.applies(job, subject))


def _of_kind(job: Job, kind: str) -> Iterator[str]:
    """Yield all subjects of a kind, tray places by their stacks."""
    if kind == "tray place" or kind == "stack":
        yield from (stack.id for stack in job.enclosure.stacks)
    elif kind == "guide":
        yield from (guide.id for guide in job.enclosure.track.guides)
    elif kind == "port":
        yield from (port.id for port in job.enclosure.ports)
    elif kind == "trunk":
        yield from (trunk.id for trunk in job.trunks if _is_spliced(job, trunk))
    elif kind == "through trunk":
        yield from (item.trunk for item in job.through)
    elif kind == "subunit":
        yield from (s.name for s in job.subunits if job.spliced[s.trunk, s.number])
    elif kind == "pair of trunks":
        yield from (f"{a}+{b}" for a, b in job.joined_pairs)
    elif kind == "pair of joins":
        yield from (f"{a}+{b}" for entry in job.apart for a, b in entry.pairs)
    elif kind == "pin":
        yield from (pin.subject for pin in job.pins)
    else:
        raise AssertionError(f"no subjects are known for a rule about {kind}")


def _is_spliced(job: Job, trunk: Trunk) -> bool:
    return any(job.spliced[end.id, subunit.number] for end in job.ends_of(trunk) for subunit in end.subunits)
