"""A plan that was expected: what of it cannot stand together, or what it costs against the best, and where."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from trayopt.domain.assignment import Assignment
from trayopt.domain.cablework import Leg
from trayopt.domain.decision import Decision, EntersAt, GoesBy
from trayopt.domain.explanation import ConflictSaid, ExpectedSaid, GroupName, WayOut
from trayopt.domain.finding import Group
from trayopt.domain.job import Job
from trayopt.domain.ranges import span
from trayopt.domain.said import said as said_as
from trayopt.explainer.preferences import costs
from trayopt.explainer.proof import goal_values
from trayopt.explainer.words import conflict_said
from trayopt.goals.crossings import crossing_pairs
from trayopt.goals.registry import measure_all
from trayopt.rules.judge import judge
from trayopt.rules.words import listed, ribbons_are, several
from trayopt.solver.conflict.feasibility import Trials
from trayopt.solver.conflict.minimal import Conflict, conflicts, corrections
from trayopt.solver.conflict.prices import price
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.decisions import Given, standing
from trayopt.solver.model.groups import EXPECTED, Question
from trayopt.track.laid import Laid

MOST_DIFFERENCES = 12


def facts_of(job: Job, given: Given) -> dict[Group, Decision]:
    """Return each expected decision as a group of its own, ports, travel and loops of a trunk one by one."""
    inside = given.in_job(job)
    found: dict[Group, Decision] = {}
    for way in inside.ways.values():
        if way.port is not None:
            found[_group(f"{way.trunk} by {way.port}")] = GoesBy(way.trunk, port=way.port)
        if way.travel is not None:
            found[_group(f"{way.trunk} {way.travel}")] = GoesBy(way.trunk, travel=way.travel)
        if way.loops is not None:
            found[_group(f"{way.trunk} with {several(way.loops, 'loop')}")] = GoesBy(way.trunk, loops=way.loops)
        if way.divide_at is not None and _parts(job, inside, way.trunk):
            found[_group(f"{way.trunk} divided at the {way.divide_at}")] = GoesBy(way.trunk, divide_at=way.divide_at)
        if way.ribbons is not None:
            said = f"{way.trunk} with its ribbons {ribbons_are(way.ribbons)}"
            found[_group(said)] = GoesBy(way.trunk, ribbons=way.ribbons)
    for item in inside.runs:
        found[_group(f"{item.trunk}:{span(item.first, item.last)} in {item.place}")] = item
    for stack, end in inside.ends.items():
        if len(job.enclosure.stack_by_id[stack].ends) > 1:
            found[_group(f"{stack} by its {end}")] = EntersAt(stack, end)
    return found


def _parts(job: Job, given: Given, trunk: str) -> bool:
    """Whether a trunk that may be divided at either place has runs that make a part of a subunit."""
    subunits = job.trunk_by_id[trunk].subunits
    open_ = job.trunk_by_id[trunk].divided_only_at is None
    return open_ and any((given.division(job, subunit) or 1) > 1 for subunit in subunits)


def _group(text: str) -> Group:
    return Group(EXPECTED, text)


def expected(
    job: Job, given: Given, best: Assignment | None, clock: Clock, most: int, ways: int
) -> tuple[ExpectedSaid, tuple[ConflictSaid, ...], tuple[WayOut, ...]]:
    """Force what is expected, and say what becomes of it.

    Parameters
    ----------
    job, given
        The job, and the decisions that are expected.
    best
        The best plan of the job; None where there is none that places every splice and keeps every must.
    clock
        When to stop.
    most, ways
        Most conflicts and most ways out.
    """
    question = Question(job, facts_of(job, given))
    trials = Trials(question, clock)
    if best is not None:
        trials.offer(best)
    whole = _completed(job, given)
    if whole is not None:
        trials.offer(whole)
    held = frozenset(question.groups)
    answer = trials.possible(held)
    if answer is not True:
        found = conflicts(trials, most) if answer is False else []
        said = tuple(conflict_said(trials, one) for one in found)
        return ExpectedSaid(possible=answer, cost=None, differences=()), said, _ways_out(job, trials, found, ways)
    plan = trials.plan(held)
    if plan is None or best is None:
        return ExpectedSaid(possible=True, cost=None, differences=()), (), ()
    paid = price(question, question.expected, plan.assignment, clock, beside=(best,))
    cost = costs(measure_all(Laid(job, best)), paid)
    differences = tuple(_differences(job, paid.assignment, best))
    return ExpectedSaid(possible=True, cost=cost, differences=differences), (), ()


def _completed(job: Job, given: Given) -> Assignment | None:
    """Return the expected plan itself, where it is whole: every splice placed, every trunk with its way."""
    places = standing(job, given)
    ways, inside = given.whole_ways, job.inside(places)
    if not inside <= ways.keys() or any(place not in job.enclosure.place_rank for place in places.values()):
        return None
    if any(way.port not in job.enclosure.port_by_id for way in ways.values()):
        return None
    divided = {trunk: at for trunk, at in given.partings.items() if trunk in inside}
    worked = {trunk: word for trunk, word in given.ribbons.items() if trunk in inside}
    made = Assignment({t: way for t, way in ways.items() if t in inside}, places, dict(given.ends), divided, worked)
    laid = Laid(Question(job).wide, made)
    if any(place is None for _, place in laid.piece_places):
        return None
    if any(finding.level == "always" for finding in judge(Question(job).wide, laid)):
        return None
    return made


def _ways_out(job: Job, trials: Trials, found: Sequence[Conflict], most: int) -> tuple[WayOut, ...]:
    """Say which expectations to give up: the smallest sets."""
    if not found:
        return ()
    dropped = corrections(trials, [frozenset(one.groups) for one in found], most, lambda _: 1, trials.question.expected)
    made = []
    for groups in dropped:
        plan = trials.plan(frozenset(trials.question.groups) - groups)
        if plan is None:
            continue
        ordered = sorted(groups, key=trials.question.groups.index)
        made.append(
            WayOut(
                give_up=tuple(GroupName(rule=group.rule, subject=group.subject) for group in ordered),
                edit="\n".join(f"do not expect {group.subject}" for group in ordered),
                goals=goal_values(measure_all(Laid(job, plan.assignment))),
                cost=len(groups),
            )
        )
    return tuple(made)


def _differences(job: Job, mine: Assignment, best: Assignment) -> Iterator[str]:
    """Say which preferences, divisions, crossings and lengths make the difference between two plans."""
    one, other = Laid(job, mine), Laid(job, best)
    crossed = set(crossing_pairs(other))
    known = {(found.rule, found.subject) for found in judge(job, other)}
    yield from _some(
        [
            said_as("{rule} {subject}: {because}", rule=found.rule, subject=found.subject, because=found.because)
            for found in judge(job, one)
            if (found.rule, found.subject) not in known
        ],
        "broken rule",
    )
    for trunk in job.trunks:
        more = len(one.legs.get(trunk.id, ())) - len(other.legs.get(trunk.id, ()))
        if more > 0:
            yield said_as("{trunk} has {legs} more than in the best plan", trunk=trunk.id, legs=several(more, "leg"))
    yield from _some(
        [said_as("{g} crosses {h}", g=g, h=h) for g, h in crossing_pairs(one) if (g, h) not in crossed], "crossing"
    )
    lengths = {item.leg: item.route_mm for legs in other.legs.values() for item in legs}
    longer: list[tuple[int, Leg]] = [
        (item.route_mm - lengths[item.leg], item.leg)
        for legs in one.legs.values()
        for item in legs
        if item.route_mm > lengths.get(item.leg, item.route_mm)
    ]
    if longer:
        longer.sort(key=lambda entry: (-entry[0], entry[1]))
        worst = listed([said_as("{leg} by {more:,} mm", leg=leg, more=more) for more, leg in longer[:MOST_DIFFERENCES]])
        yield said_as(
            "{n:,} leg is longer than in the best plan: {worst}|{n:,} legs are longer than in the best plan: {worst}",
            n=len(longer), worst=worst,
        )  # fmt: skip


def _some(lines: Sequence[str], what: str) -> Iterator[str]:
    yield from lines[:MOST_DIFFERENCES]
    if len(lines) > MOST_DIFFERENCES:
        yield said_as("and {more}", more=several(len(lines) - MOST_DIFFERENCES, f"{what} more", f"{what}s more"))
