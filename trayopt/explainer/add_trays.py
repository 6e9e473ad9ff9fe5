"""Ways out that add trays, or put larger ones in."""

from __future__ import annotations

from collections.abc import Iterator

from trayopt.domain.base import remade
from trayopt.domain.hardware import Tray
from trayopt.domain.job import Job
from trayopt.explainer.amounts import growing
from trayopt.explainer.changes import Added, Change
from trayopt.explainer.trying import Trying

MORE_TRAYS = 4
"""The greatest factor by which a stack is made deeper."""


def trays(on: Trying) -> Iterator[Change]:
    """Make a stack deeper, or all stacks where each then needs fewer trays than one stack alone."""
    stacks = on.job.enclosure.stacks
    choices: list[tuple[int, ...]] = [(i,) for i in range(len(stacks))]
    if len(stacks) > 1:
        choices.append(tuple(range(len(stacks))))
    fewest = None
    for chosen in choices:

        def make(more: int, chosen: tuple[int, ...] = chosen) -> Job:
            deeper = list(stacks)
            for i in chosen:
                deeper[i] = remade(stacks[i], positions=stacks[i].positions + more)
            return on.with_box(stacks=tuple(deeper))

        deepest = (MORE_TRAYS - 1) * max(stacks[i].positions for i in chosen)
        room = next((more - 1 for more in range(1, deepest + 1) if on.is_unsound(make(more))), deepest)
        more = growing(on.enough(make), room) if room else None
        if more is None or (len(chosen) > 1 and fewest is not None and more >= fewest):
            continue
        fewest = more if fewest is None else min(fewest, more)
        added = tuple(Added("trays", stacks[i].id, more) for i in chosen)
        yield Change(make(more), on.costs.trays * more * len(chosen), add=added)


def tray_types(on: Trying) -> Iterator[Change]:
    """Yield changes to the next larger tray types of the library, in one stack, or in all where none is enough in one."""
    stacks = on.job.enclosure.stacks
    choices: list[tuple[int, ...]] = [(i,) for i in range(len(stacks))]
    if len(stacks) > 1:
        choices.append(tuple(range(len(stacks))))
    enough = set()
    for chosen in choices:
        for tray in _larger(on, stacks[chosen[0]].tray):
            if len(chosen) > 1 and tray.id in enough:
                break
            changed = list(stacks)
            for i in chosen:
                changed[i] = remade(stacks[i], tray=tray)
            job = on.with_box(stacks=tuple(changed))
            if on.is_unsound(job) or not on.prover.possible(job):
                continue
            added = tuple(Added("tray", stacks[i].id, tray.id) for i in chosen)
            yield Change(job, on.costs.tray_type * len(chosen), add=added)
            enough.add(tray.id)
            break


def _larger(on: Trying, now: Tray) -> list[Tray]:
    """Return the trays of the library that hold more, the smallest first."""
    found = [
        tray
        for tray in on.shelf.trays
        if (tray.fibres, tray.sleeves) != (now.fibres, now.sleeves)
        and tray.fibres >= now.fibres
        and tray.sleeves >= now.sleeves
    ]
    return sorted(found, key=lambda tray: (tray.fibres, tray.sleeves, tray.id))
