"""A job in a smaller box: without the outer places that no plan of a kind can use.

Where no used place has an empty one under it, a stack is used up to a position no higher than the number of all used places.
There are not many of these: a leg with a splice shares its tray with a leg of another trunk, so that each used place has two
spliced legs, or a leg that is parked. So plans of at most so many legs all lie in a box whose stacks have no more positions
than that. A small job in a large cabinet is then a small model.

Nothing else looks at places that no plan uses but ``reserve``, which they keep: the smaller box is only made where it leaves
every stack its reserve, and that rule is off in it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from trayopt.domain.base import remade
from trayopt.domain.job import Job
from trayopt.rules.reserve import Reserve
from trayopt.solver.model.base import Key
from trayopt.solver.model.ways import Partings


def most_places(
    job: Job, divisions: Mapping[Key, Sequence[int]], *, divide_at: Partings | None = None, legs: int | None = None
) -> int:
    """Bound the used places of plans of these divisions that have so many legs at most.

    A subunit that is missing may have any division; ``divide_at`` narrows where trunks may be divided.
    """
    spliced = parked = 0
    for key in (key for key, runs in job.spliced.items() if runs):
        subunit = job.subunit_of_leg[key]
        number_of = {of: len(job.spliced_legs(subunit, of)) for of in divisions.get(key, subunit.divisions)}
        spliced += max(number_of.values(), default=0)
        if "tray" in (divide_at or {}).get(key[0], job.trunk_by_id[key[0]].divide_at):
            parked += max((of - number for of, number in number_of.items()), default=0)
    if legs is not None:
        parked = min(parked, legs)
        spliced = min(spliced, legs - parked)
    alone = any(join.a.trunk == join.b.trunk for join in job.joins)
    return parked + (spliced if alone else spliced // 2)


def smaller(job: Job, places: int) -> Job:
    """Return a job in a box with no more positions in a stack than there are used places; the job itself where it has no more.

    Its plans are those plans of the job that use so few places and keep ``no_empty_below``. Where a stack carries trays of
    several kinds, the outer ones may be used before all of the inner ones are, and the box stays as it is.
    """
    deepest = max([places, 1, *(pin.position or 0 for pin in job.leg_pins)])
    stacks = job.enclosure.stacks
    asked = Reserve().parameters(job).trays if job.rules[Reserve.id].level != "off" else 0
    if any(stack.trays for stack in stacks) or all(stack.positions <= deepest for stack in stacks):
        return job
    if asked and any(min(deepest, stack.positions) > stack.positions - asked for stack in stacks):
        return job
    lower = tuple(stack if stack.positions <= deepest else remade(stack, positions=deepest) for stack in stacks)
    rules = {**job.rules, Reserve.id: remade(job.rules[Reserve.id], level="off")}
    return remade(job, enclosure=remade(job.enclosure, stacks=lower), rules=rules)
