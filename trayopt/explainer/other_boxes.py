"""Jobs in other boxes: whether a box has all that a job names, and what is left of a job that is shared out."""

from __future__ import annotations

from trayopt.domain.base import remade
from trayopt.domain.hardware import Enclosure
from trayopt.domain.job import Job


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
    """Give the sets of trunks that joins connect, or that go through, each in the order of the list."""
    root = {trunk.id: trunk.id for trunk in job.trunks}
    for a, b in (*job.joined_pairs, *(item.ends for item in job.through)):
        old, new = root[b], root[a]
        root = {trunk: new if of == old else of for trunk, of in root.items()}
    sets: dict[str, list[str]] = {}
    for trunk in job.trunks:
        sets.setdefault(root[trunk.id], []).append(trunk.id)
    return [tuple(trunks) for trunks in sets.values()]


def only(job: Job, trunks: frozenset[str]) -> Job:
    """Give the job of some of its trunks, with what concerns them."""
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
