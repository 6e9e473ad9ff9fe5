"""Parked legs that a table leaves out: the idle legs of opened tubes, taken from the plan that completes it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from trayopt.domain.assignment import Assignment
from trayopt.domain.cablework import Leg
from trayopt.domain.ranges import Run
from trayopt.review.handmade import Entry, Handmade
from trayopt.track.laid import Laid


def bare_legs(laid: Laid) -> Iterator[Leg]:
    """Yield the idle legs of opened tubes that lie in no tray."""
    job = laid.job
    for trunk, number in laid.by_subunit:
        subunit = job.subunit_of_leg[trunk, number]
        if laid.opened(subunit):
            for leg in subunit.legs(laid.division[trunk, number]):
                if leg not in laid.place_of and not job.spliced_fibres(leg):
                    yield leg


def with_parked(made: Handmade, done: Assignment) -> Handmade:
    """Add the parked legs of the completing plan to a table that gives a tray for every spliced leg of their tubes."""
    job = made.job
    told = {(entry.run, entry.place) for entry in made.placed}
    beside: dict[tuple[str, int], bool] = {}
    for leg, place in done.places.items():
        if job.spliced_fibres(leg):
            run = Run(leg.trunk, *job.subunit(leg).leg_run(leg))
            key = (leg.trunk, leg.subunit)
            beside[key] = beside.get(key, True) and (run, place) in told
    runs = {entry.run for entry in made.placed}
    added = []
    for leg, place in done.places.items():
        run = Run(leg.trunk, *job.subunit(leg).leg_run(leg))
        if not job.spliced_fibres(leg) and run not in runs and beside.get((leg.trunk, leg.subunit), False):
            added.append(Entry(run, place, None, ()))
    return replace(made, entries=[*made.entries, *added])
