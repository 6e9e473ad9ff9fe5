"""irregular: how far a plan is from stacks that are filled strictly in turn and to one height."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from itertools import pairwise
from typing import TYPE_CHECKING

from trayopt.domain.job import Job
from trayopt.domain.trunk import Trunk
from trayopt.goals.base import Goal
from trayopt.track.laid import Laid

if TYPE_CHECKING:
    from trayopt.rules.variables import Expression, Literal, Variables


def first_stacks(laid: Laid, trunk: Trunk) -> list[str]:
    """Return the stack of the first placed leg with a splice, for each subunit of a trunk that has one, in order."""
    found = []
    for subunit in trunk.subunits:
        legs = laid.by_subunit.get((trunk.id, subunit.number), ())
        spliced = [item.place.stack for item in legs if laid.job.spliced_fibres(item.leg)]
        found += spliced[:1]
    return found


class Irregular(Goal):
    """Subunits of lead trunks that are not on the next stack in turn, and how uneven the stacks in use are."""

    id = "irregular"
    unit = "steps"
    statement = (
        "subunits of lead trunks that do not lie on the stack that follows the one of the subunit before, "
        "and the most less the fewest used places of the stacks in use"
    )

    def measure(self, job: Job, laid: Laid) -> int:
        """Walk the subunits of every lead trunk, and compare the heights of the stacks in use."""
        stacks = [stack.id for stack in job.enclosure.stacks]
        follows = dict(zip(stacks, stacks[1:] + stacks[:1], strict=True))
        walks = [first_stacks(laid, trunk) for trunk in laid.trunks() if trunk.id in job.lead_trunks]
        steps = sum(follows[before] != after for walk in walks for before, after in pairwise(walk))
        heights = Counter(place.stack for place in laid.trays).values()
        return steps + (max(heights) - min(heights) if heights else 0)

    def encode(self, job: Job, x: Variables) -> Expression:
        """Count wrong steps trunk by trunk, and bound the heights of the stacks in use from above and below."""
        steps = [step for trunk in job.trunks if trunk.id in job.lead_trunks for step in _steps(x, trunk)]
        return sum(steps) + _unevenness(x)


def _next_stack(stacks: Sequence[str]) -> dict[str, str]:
    """Return the stack that follows each, cyclically; a single stack follows itself."""
    return dict(zip(stacks, [*stacks[1:], stacks[0]], strict=True))


def _steps(x: Variables, trunk: Trunk) -> list[Literal]:
    """Make a literal for each step of a trunk's walk that does not go on to the next stack.

    Legs with splices share their subunit's first stack with all legs of it: the tube of an opened subunit ends at one stack,
    and a leg without a splice is in the box in no other subunit.
    """
    stacks = [stack.id for stack in x.job.enclosure.stacks]
    if len(stacks) == 1:
        return []
    follows = _next_stack(stacks)
    steps: list[Literal] = []
    last: dict[str, Literal] = dict.fromkeys(stacks, 0)
    for subunit in trunk.subunits:
        placed = x.has_placed(subunit)
        if isinstance(placed, int) and not placed:
            continue
        here = {stack: x.first_on(subunit, stack) for stack in stacks}
        known = [stack for stack in stacks if not isinstance(last[stack], int) or last[stack]]
        if known:
            steps.append(x.literal(f"{subunit.name} out of turn"))
        for stack in known:
            x.clause(x.no(last[stack]), x.no(placed), here[follows[stack]], steps[-1])
        if isinstance(placed, int):
            last = here
            continue
        now = {stack: x.literal(f"{trunk.id} up to {subunit.number} on {stack}") for stack in stacks}
        for stack in stacks:
            x.clause(x.no(here[stack]), now[stack])
            x.clause(x.no(last[stack]), placed, now[stack])
            x.clause(x.no(now[stack]), here[stack], last[stack])
            x.clause(x.no(now[stack]), x.no(placed), here[stack])
        last = now
    return steps


def _unevenness(x: Variables) -> Expression:
    """Return the most less the fewest used places of the stacks in use."""
    stacks = x.job.enclosure.stacks
    if len(stacks) == 1:
        return 0
    deepest = max(stack.positions for stack in stacks)
    most, fewest = x.number(deepest, "highest stack"), x.number(deepest, "lowest stack in use")
    x.require(fewest <= most)
    for stack in stacks:
        used = [x.used(place) for place in x.job.enclosure.places if place.stack == stack.id]
        height = x.trays_on(stack.id)
        x.require(most >= height)
        x.require(fewest <= height, x.any_of(*used))
    return most - fewest
