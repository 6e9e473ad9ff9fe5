"""Assumptions about what a table leaves open, so that the rest can be judged: ways, places of division, and ribbon work."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import islice, pairwise, product, starmap
from math import prod

from trayopt.checker import assignment_of_claims
from trayopt.domain.assignment import Assignment, Way
from trayopt.domain.base import TRAVELS, DivideAt, RibbonWord
from trayopt.domain.decision import GoesBy
from trayopt.domain.finding import Finding
from trayopt.domain.hardware import Place
from trayopt.domain.job import Job
from trayopt.domain.trunk import Trunk
from trayopt.review.handmade import Handmade
from trayopt.rules.judge import judge, judge_ways
from trayopt.track.laid import Claim, Laid
from trayopt.track.routes import leg_key

MOST_TRIES = 64


def assumed(job: Job, made: Handmade) -> Assignment:
    """Return the assignment that a table makes; open ways, places of division and ribbon work are chosen to break the least."""
    claims = made.claims
    divide_at = assumed_divide_at(job, made.divide_at, claims)
    ways = assumed_ways(job, {trunk: made.way(trunk) for trunk in made.ways}, claims, divide_at)
    return assignment_of_claims(job, ways, claims, divide_at, assumed_ribbons(job, made, divide_at, ways))


def assumed_ribbons(
    job: Job, made: Handmade, divide_at: Mapping[str, DivideAt], ways: Mapping[str, Way]
) -> dict[str, RibbonWord]:
    """Return the ribbon work: as told, or, where the job leaves it open, the least work among the kinds that break least."""
    told, claims = made.ribbons, made.claims
    open_ = {trunk.id: trunk.ribbons for trunk in job.ribbons_open if trunk.id not in told}
    if not open_:
        return dict(told)

    def worth(words: dict[str, RibbonWord]) -> tuple[int, int]:
        return _broken(job, judge(job, Laid(job, assignment_of_claims(job, ways, claims, divide_at, words), claims)))

    tries = islice(product(*open_.values()), MOST_TRIES)
    return min(({**told, **dict(zip(open_, words, strict=True))} for words in tries), key=worth)


def _broken(job: Job, found: Sequence[Finding]) -> tuple[int, int]:
    """Return the number of failing findings, and the weight of the broken preferences."""
    weights = sum(job.rules[item.rule].weight for item in found if item.level == "prefer")
    return sum(item.level in {"always", "must"} for item in found), weights


def assumed_divide_at(job: Job, told: Mapping[str, DivideAt], claims: Sequence[Claim]) -> dict[str, DivideAt]:
    """Return the place of division of every trunk that has a claim.

    A place that the table names holds, and then the only place in a trunk's own list. Any other trunk is taken as divided at the
    tray if its legs lie as the rule "divided at the tray" requires, and at the port otherwise.
    """
    found: dict[str, DivideAt] = {}
    open_: list[str] = []
    for trunk in dict.fromkeys(claim.trunk for claim in claims):
        only = told.get(trunk) or job.trunk_by_id[trunk].divided_only_at
        if only is None:
            open_.append(trunk)
        else:
            found[trunk] = only
    places = assignment_of_claims(job, {}, claims, dict.fromkeys(open_, "tray")).places
    by_subunit: dict[tuple[str, int], list[Place]] = {}
    for leg in sorted(places, key=leg_key):
        by_subunit.setdefault((leg.trunk, leg.subunit), []).append(places[leg])
    parted = {trunk for (trunk, _), along in by_subunit.items() if not all(starmap(_next, pairwise(along)))}
    return found | {trunk: "port" if trunk in parted else "tray" for trunk in open_}


def _next(before: Place, place: Place) -> bool:
    """Whether a leg may lie at a place if the leg before it in its tube lies at ``before``."""
    return place.stack == before.stack and place.position - before.position in {0, 1}


def assumed_ways(
    job: Job, decided: dict[str, GoesBy], claims: Sequence[Claim], divide_at: Mapping[str, DivideAt]
) -> dict[str, Way]:
    """Return a complete way for every trunk with a claim; open parts of a way are chosen to break the least."""
    claimed = {claim.trunk for claim in claims}
    trunks = [trunk for trunk in job.trunks if claimed & {end.id for end in job.ends_of(trunk)}]
    options = {trunk.id: _options(job, trunk, decided.get(trunk.id, GoesBy(trunk.id))) for trunk in trunks}
    chosen = {trunk: ways[0] for trunk, ways in options.items()}
    open_ = [trunk for trunk, ways in options.items() if len(ways) > 1]
    if not open_:
        return chosen

    lies = Laid(job, assignment_of_claims(job, chosen, claims, divide_at), claims)

    def worth(ways: dict[str, Way]) -> tuple[int, int, int]:
        laid = lies.going(ways)
        return *_broken(job, judge_ways(job, laid)), sum(item.route_mm for legs in laid.legs.values() for item in legs)

    if prod(len(options[trunk]) for trunk in open_) <= MOST_TRIES:
        tries = [{**chosen, **dict(zip(open_, ways, strict=True))} for ways in product(*(options[t] for t in open_))]
        return min(tries, key=worth)
    for _ in range(2):
        for trunk in open_:
            chosen = min(({**chosen, trunk: way} for way in options[trunk]), key=worth)
    return chosen


def _options(job: Job, trunk: Trunk, decided: GoesBy) -> list[Way]:
    """Return the ways that a trunk may take; decided parts hold even against the limits of the trunk."""
    ports = [decided.port] if decided.port is not None else list(trunk.allowed_ports(job.enclosure))
    travels = [decided.travel] if decided.travel is not None else list(trunk.travels)
    loops = [decided.loops] if decided.loops is not None else sorted(set(trunk.loops))
    found = [Way(port, travel, count) for port in ports for travel in travels for count in loops]
    return found or [Way(job.enclosure.ports[0].id, TRAVELS[0], loops[0])]
