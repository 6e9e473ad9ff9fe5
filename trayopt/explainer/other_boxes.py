"""Ways out with other boxes: a larger box of the library, or two boxes of the same kind that share the trunks."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations

from trayopt.domain.base import remade
from trayopt.domain.hardware import Enclosure
from trayopt.domain.job import Job
from trayopt.explainer.changes import Added, Change
from trayopt.explainer.trying import Trying
from trayopt.rules.registry import in_box


def other_box(on: Trying) -> Iterator[Change]:
    """Take the box of the library with the fewest trays that is enough."""
    able = [box for box in on.shelf.boxes if box.id != on.job.enclosure.id and has_all_named(on.job, box)]
    for box in sorted(able, key=lambda box: (len(box.places), box.id)):
        job = in_box(on.job, box)
        if on.prover.possible(job):
            yield Change(job, on.costs.box, add=(Added("box", on.job.enclosure.id, box.id),))
            return


def two_boxes(on: Trying) -> Iterator[Change]:
    """Share the trunks out to two boxes of the same kind; trunks that are joined stay together."""
    parts = joined_sets(on.job)
    for size in range(1, len(parts) // 2 + 1):
        for moved in combinations(range(len(parts) - 1, -1, -1), size):
            there = frozenset(trunk for i in moved for trunk in parts[i])
            here = frozenset(on.job.trunk_by_id) - there
            one, other = (only(on.job, trunks) for trunks in (here, there))
            if on.prover.possible(one) and on.prover.possible(other):
                added = (Added("enclosure", on.job.enclosure.id, ", ".join(sorted(there))),)
                yield Change(one, on.costs.enclosure, add=added, others=(other,))
                return


def has_all_named(job: Job, box: Enclosure) -> bool:
    """Whether a box has every port and tray place that a job names."""
    ports = {port for trunk in job.trunks if trunk.ports != "any" for port in trunk.ports}
    ports |= {pin.port for pin in job.trunk_pins if pin.port is not None}
    stacks = {pin.stack for pin in job.leg_pins if pin.stack is not None}
    deepest = max(stack.positions for stack in box.stacks)
    return (
        ports <= set(box.port_by_id)
        and stacks <= set(box.stack_by_id)
        and all(
            (pin.position or 1) <= (box.stack_by_id[pin.stack].positions if pin.stack else deepest)
            for pin in job.leg_pins
        )
    )


def joined_sets(job: Job) -> list[tuple[str, ...]]:
    """Return the sets of trunks that joins connect, or that go through, each in the order of the list."""
    root = {trunk.id: trunk.id for trunk in job.trunks}
    for a, b in (*job.joined_pairs, *(item.ends for item in job.through)):
        old, new = root[b], root[a]
        root = {trunk: new if of == old else of for trunk, of in root.items()}
    sets: dict[str, list[str]] = {}
    for trunk in job.trunks:
        sets.setdefault(root[trunk.id], []).append(trunk.id)
    return [tuple(trunks) for trunks in sets.values()]


def only(job: Job, trunks: frozenset[str]) -> Job:
    """Return the job of some of its trunks, with what concerns them."""
    joins = tuple(join for join in job.joins if join.a.trunk in trunks)
    names = {join.name for join in joins}
    apart = []
    for entry in job.apart:
        left = tuple(name for name in entry.joins if name in names)
        if len(left) > 1:
            apart.append(remade(entry, joins=left))
    return remade(
        job,
        trunks=tuple(trunk for trunk in job.trunks if trunk.id in trunks),
        through=tuple(item for item in job.through if item.ends[0] in trunks),
        joins=joins,
        apart=tuple(apart),
        pins=tuple(pin for pin in job.pins if (pin.leg.trunk if hasattr(pin, "leg") else pin.trunk) in trunks),
    )
