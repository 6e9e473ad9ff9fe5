"""What always holds, told by its root: the facts of a job without which something could be kept that no plan keeps.

A fact is lifted from the job, and what could not be kept is tried again: a trunk that is divided at the tray alone, or at the
port, may be divided at the other place as well, a trunk may make other numbers of loops, a built pin is let go. What is said was
tried.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from trayopt.domain.base import DivideAt, remade
from trayopt.domain.finding import Group
from trayopt.domain.job import Job
from trayopt.domain.said import said
from trayopt.rules.slack_loops import SlackLoops
from trayopt.rules.words import chained, listed
from trayopt.solver.conflict.feasibility import Trials
from trayopt.solver.model.groups import Question

EFFORT = 2.0
"""Deterministic time for the whole model of each trial; one that is not settled by then counts as no."""
BOTH: tuple[DivideAt, ...] = ("tray", "port")
DIVIDED: dict[DivideAt, tuple[str, str]] = {
    "tray": (
        "{who} is divided at the tray alone (divide_at), so all legs of {whose} share a tube to one stack",
        "{who} are divided at the tray alone (divide_at), so all legs of a subunit share a tube to one stack",
    ),
    "port": (
        "{who} is divided at the port alone (divide_at), so each leg of {whose} takes a tube of its own",
        "{who} are divided at the port alone (divide_at), so each leg of a subunit takes a tube of its own",
    ),
}
LOOPS = "{who} may make no other number of loops than {loops} (loops)"
MOST = 12
"""Most facts that are lifted one by one; more are only lifted all together."""


@dataclass(frozen=True)
class Fact:
    """A fact of a job: whose it is, the forms that say it of one and of several, and what makes a job without it."""

    subject: str
    one: str
    several: str
    lift: Callable[[Job], Job]
    whose: str = ""
    loops: str = ""


def root(trials: Trials, held: frozenset[Group], musts: frozenset[Group], then: str) -> str:
    """Name the facts that exclude some groups, which no plan keeps; empty where none was found in time.

    Each fact that is enough to lift by itself is named; where none is, those that have to be lifted together. ``then`` is said
    of what comes of it, where the groups in ``musts`` can be kept beside.
    """
    facts = list(_facts(trials.question.job))
    kept = held | musts
    if facts and not _can(trials, kept, facts):
        kept, then = held, ""
    if not facts or (not then and not _can(trials, kept, facts)):
        return ""
    alone = [fact for fact in facts if _can(trials, kept, [fact])] if len(facts) <= MOST else []
    if alone:
        return chained(
            [_then("{facts}; without that {then}", [fact], then) for fact in alone[:2]], "{first}; or {then}"
        )
    needed = facts
    for fact in facts if len(facts) <= MOST else ():
        fewer = [other for other in needed if other is not fact]
        if len(fewer) > 1 and _can(trials, kept, fewer):
            needed = fewer
    return _then("{facts}; without these {then}", needed, then)


def _then(form: str, facts: Sequence[Fact], then: str) -> str:
    """Say which facts stand in the way, and what is possible without them."""
    return said(form, facts=_said(facts), then=then) if then else _said(facts)


def excluding(trials: Trials, held: frozenset[Group]) -> str:
    """Name the facts by which a small model excludes some groups; empty where it was not settled, or it takes none of them.

    That costs little beside ``root``, which finds a plan without them.
    """
    facts = list(_facts(trials.question.job))
    if not facts or _excluded(trials, held, ()) is not True or _excluded(trials, held, facts) is not False:
        return ""
    alone = [fact for fact in facts if _excluded(trials, held, [fact]) is False] if len(facts) <= MOST else []
    return chained([_said([fact]) for fact in alone[:2]], "{first}; or {then}") if alone else _said(facts)


def _excluded(trials: Trials, held: frozenset[Group], lifted: Sequence[Fact]) -> bool | None:
    changed = _without_facts(trials.question, lifted)
    return Trials(changed, trials.clock).excluded(held & frozenset(changed.groups))


def _without_facts(question: Question, lifted: Sequence[Fact]) -> Question:
    """Return the question of a job without some facts."""
    job = question.job
    for fact in lifted:
        job = fact.lift(job)
    return Question(job, question.expected, question.levels, question.kinds)


def _said(facts: Sequence[Fact]) -> str:
    """Say facts of one kind in one clause."""
    alike: dict[str, list[Fact]] = {}
    for fact in facts:
        alike.setdefault(f"{fact.several} {fact.loops}", []).append(fact)
    clauses = []
    for same in alike.values():
        who = same[0].subject if len(same) == 1 else listed([fact.subject for fact in same])
        form = same[0].one if len(same) == 1 else same[0].several
        clauses.append(said(form, who=who, whose=same[0].whose, loops=same[0].loops))
    return listed(clauses)


def _can(trials: Trials, held: frozenset[Group], lifted: Sequence[Fact]) -> bool:
    changed = _without_facts(trials.question, lifted)
    return Trials(changed, trials.clock).possible(held & frozenset(changed.groups), EFFORT) is True


def _facts(job: Job) -> Iterator[Fact]:
    most = SlackLoops().parameters(job).most
    for trunk in job.trunks:
        spliced = [s for s in trunk.subunits if job.spliced[s.trunk, s.number]]
        parted = [s.name for s in spliced if len(s.divisions) > 1]
        if trunk.divided_only_at is None or not trunk.cable.tubes or not parted:
            continue
        whose = parted[0] if len(parted) == 1 else said("a subunit")
        one, several = DIVIDED[trunk.divided_only_at]
        yield Fact(trunk.id, one, several, _trunk(trunk.id, divide_at=BOTH), whose)
    for trunk in job.trunks:
        others = tuple(range(1, most + 1))
        if any(job.spliced[s.trunk, s.number] for s in trunk.subunits) and not set(others) <= set(trunk.loops):
            loops = listed(sorted(set(trunk.loops)), "or")
            yield Fact(trunk.id, LOOPS, LOOPS, _trunk(trunk.id, loops=others), loops=loops)
    for pin in job.pins:
        if pin.built:
            yield Fact(pin.subject, "{who} is built as pinned", "{who} are built as pinned", _without(pin.subject))


def _trunk(name: str, **change: object) -> Callable[[Job], Job]:
    return lambda job: remade(
        job, trunks=tuple(remade(trunk, **change) if trunk.id == name else trunk for trunk in job.trunks)
    )


def _without(subject: str) -> Callable[[Job], Job]:
    return lambda job: remade(job, pins=tuple(pin for pin in job.pins if pin.subject != subject))
