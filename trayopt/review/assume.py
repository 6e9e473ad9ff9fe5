"""Chooses the way that breaks least for trunks of which a table says nothing, so that the rest can be judged."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import product
from math import prod

from trayopt.checker import assignment_of_claims
from trayopt.domain.assignment import Way
from trayopt.domain.base import TRAVELS
from trayopt.domain.job import Job, Trunk
from trayopt.rules.judge import judge
from trayopt.solver.model.decisions import GoesBy
from trayopt.track.laid import Claim, Laid

MOST_TRIES = 64


def assumed_ways(job: Job, decided: dict[str, GoesBy], claims: Sequence[Claim]) -> dict[str, Way]:
    """Give every trunk that has a claim a whole way: what is decided as it is, what is open as it breaks least."""
    trunks = [trunk for trunk in job.trunks if any(claim.trunk == trunk.id for claim in claims)]
    options = {trunk.id: _options(job, trunk, decided.get(trunk.id, GoesBy(trunk.id))) for trunk in trunks}
    chosen = {trunk: ways[0] for trunk, ways in options.items()}
    open_ = [trunk for trunk, ways in options.items() if len(ways) > 1]
    if not open_:
        return chosen

    def worth(ways: dict[str, Way]) -> tuple[int, int, int]:
        laid = Laid(job, assignment_of_claims(job, ways, claims), claims)
        found = judge(job, laid)
        weights = sum(job.rules[item.rule].weight for item in found if item.level == "prefer")
        hard = sum(item.level in {"always", "must"} for item in found)
        return hard, weights, sum(item.route_mm for legs in laid.legs.values() for item in legs)

    if prod(len(options[trunk]) for trunk in open_) <= MOST_TRIES:
        tries = [{**chosen, **dict(zip(open_, ways, strict=True))} for ways in product(*(options[t] for t in open_))]
        return min(tries, key=worth)
    for _ in range(2):
        for trunk in open_:
            chosen = min(({**chosen, trunk: way} for way in options[trunk]), key=worth)
    return chosen


def _options(job: Job, trunk: Trunk, decided: GoesBy) -> list[Way]:
    """Give the ways that a trunk may take: what is decided holds, even against its own limits."""
    ports = [decided.port] if decided.port is not None else list(trunk.allowed_ports(job.enclosure))
    travels = [decided.travel] if decided.travel is not None else list(trunk.travels)
    loops = [decided.loops] if decided.loops is not None else sorted(set(trunk.loops))
    found = [Way(port, travel, count) for port in ports for travel in travels for count in loops]
    return found or [Way(job.enclosure.ports[0].id, TRAVELS[0], loops[0])]
