"""The figures of a plan: lengths, and the load of guides, trays and entrances, each with its limit."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import pi
from typing import Any

from trayopt.domain.base import TRAVELS
from trayopt.domain.hardware import Place, Stack, Tray
from trayopt.domain.job import Job
from trayopt.rules.guide_fill import GuideFill
from trayopt.rules.tied_trays import TiedTrays
from trayopt.track.laid import Laid


@dataclass(frozen=True)
class Figure:
    """A figure; ``allowed`` is its greatest allowed value, or None if nothing limits it."""

    name: str
    unit: str
    value: float
    allowed: float | None = None


def figures(job: Job, laid: Laid) -> list[Figure]:
    """Measure everything apart from the goals: lengths by trunk, loads by guide, trays and entrances by stack."""
    found = []
    for trunk, legs in laid.legs.items():
        routes = [leg.route_mm for leg in legs]
        if routes:
            found.append(Figure(f"longest leg of {trunk}", "mm", max(routes)))
            found.append(Figure(f"shortest leg of {trunk}", "mm", min(routes)))
    for window in laid.windows:
        slack = window.through.slack_mm
        found.append(Figure(f"window in the sheath of {window.through}", "mm", window.length_mm, slack))
    fill = GuideFill().parameters(job).fill
    for guide in job.enclosure.track.guides:
        area = sum(times * pi * item.diameter_mm**2 / 4 for item, times in laid.passes(guide.id))
        found.append(
            Figure(f"fill of guide {guide.id}", "%", round(100 * area / guide.opening_mm2, 1), round(100 * fill, 1))
        )
    for stack in job.enclosure.stacks:
        places = [place for place in laid.trays if place.stack == stack.id]
        found.append(Figure(f"trays used on {stack.id}", "trays", len(places), stack.positions))
        for tray in stack.kinds:
            found += _of_kind(laid, stack, tray, [place for place in places if laid.tray(place) == tray])
    most = TiedTrays().parameters(job).trays
    tied = max(map(len, laid.tied), default=min(1, len(laid.trays)))
    found.append(Figure("most trays tied to each other", "trays", tied, most))
    return found


def as_dicts(items: list[Figure], best: list[Figure] | None) -> list[dict[str, Any]]:
    """Return figures as plain data, each with the same figure of the best plan."""
    of_best = {item.name: item.value for item in best or ()}
    return [
        {
            "figure": item.name,
            "unit": item.unit,
            "value": item.value,
            "allowed": item.allowed,
            "best": of_best.get(item.name),
        }
        for item in items
    ]


def _of_kind(laid: Laid, stack: Stack, tray: Tray, places: Sequence[Place]) -> Iterator[Figure]:
    """Yield the figures of the fullest trays of one kind on a stack."""
    on = stack.id if len(stack.kinds) == 1 else f"{stack.id}, {tray.id}"
    yield Figure(f"fullest tray on {on}", "ends", max(map(laid.ends_at, places), default=0), 2 * tray.fibres)
    sleeves = max((laid.sleeves(place) for place in places), default=0)
    yield Figure(f"most sleeves in a tray on {on}", "sleeves", sleeves, tray.sleeves)
    through = (
        sum(laid.ways[leg.trunk].travel == travel for leg in laid.trays[place])
        for place in places
        for travel in TRAVELS
    )
    yield Figure(f"most legs through an entrance on {on}", "legs", max(through, default=0), tray.entrance_legs)
