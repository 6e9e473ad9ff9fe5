"""pin: what is decided or already built stays as it is."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from trayopt.domain.base import remade
from trayopt.domain.job import Job, LegPin, TrunkPin
from trayopt.rules.base import Breach, NoParameters, Post, Rule
from trayopt.rules.words import listed
from trayopt.track.laid import Laid

if TYPE_CHECKING:
    from trayopt.rules.variables import Variables


def _wanted(pin: LegPin | TrunkPin) -> str:
    """Say what a pin asks for."""
    stands = "is built" if pin.built else "is pinned"
    if isinstance(pin, LegPin):
        asked: dict[str, object] = {"stack": pin.stack, "position": pin.position}
    else:
        asked = {"port": pin.port, "travel": pin.travel, "loops": pin.loops, "divide_at": pin.divide_at}
    parts = [f"{key} {value}" for key, value in asked.items() if value is not None]
    return f"{pin.subject} {stands} to {', '.join(parts) or 'be placed'}"


def _leg_differs(job: Job, laid: Laid, pin: LegPin) -> str:
    """Say how the plan differs from a pin of a leg; empty where it does not."""
    leg = job.pinned_leg(pin)
    of = laid.division.get((leg.trunk, leg.subunit))
    if of is None:
        return f"no leg of {leg.trunk}/{leg.subunit} has a tray"
    if of != leg.of:
        return f"{leg.trunk}/{leg.subunit} is divided into {of}, not into {leg.of}"
    place = laid.place_of.get(leg)
    if place is None:
        return f"{leg} has no tray"
    kept = pin.stack in {None, place.stack} and pin.position in {None, place.position}
    return "" if kept else f"{leg} lies in {place}"


def _trunk_differs(laid: Laid, pin: TrunkPin) -> str:
    """Say how the plan differs from a pin of a trunk; empty where it does not."""
    way = laid.ways.get(pin.trunk)
    if way is None:
        return f"{pin.trunk} stays outside"
    differs = [f"enters at {way.port}"] * (pin.port not in {None, way.port})
    differs += [f"travels {way.travel}"] * (pin.travel not in {None, way.travel})
    differs += [f"makes {way.loops} loops"] * (pin.loops not in {None, way.loops})
    at = laid.divide_at[pin.trunk]
    differs += [f"is divided at the {at}"] * (pin.divide_at not in {None, at})
    return f"{pin.trunk} {', '.join(differs)}" if differs else ""


class Pinned(Rule[NoParameters]):
    """Broken when the plan differs from the pin, or does not place it."""

    id = "pin"
    kind = "practice"
    subject = "pin"
    statement = "the plan differs from the pin, or does not place it"
    why = "What stands in the work order, or on the wall, is not decided again."
    cost = "pin"

    def check(self, job: Job, laid: Laid) -> Iterator[Breach]:
        """Compare every pin with the plan, those that are built among them."""
        for pin in job.pins:
            differs = _leg_differs(job, laid, pin) if isinstance(pin, LegPin) else _trunk_differs(laid, pin)
            if differs:
                yield Breach(pin.subject, f"{_wanted(pin)}; {differs}")

    def encode(self, job: Job, x: Variables, post: Post) -> None:
        """Ask for the pinned leg at one of its places, and for what a trunk's pin leaves of its ways and divisions."""
        for pin in job.pins:
            if isinstance(pin, LegPin):
                leg = job.pinned_leg(pin)
                subunit = job.subunit(leg)
                known = leg.of in x.divisions(subunit) and leg in x.legs(subunit, leg.of)
                places = job.places_of(pin) if known else ()
                post(sum(x.at(leg, place) for place in places) >= 1, pin.subject)
            else:
                trunk = job.trunk_by_id[pin.trunk]
                ways = [
                    way
                    for way in x.ways(trunk)
                    if pin.port in {None, way.port}
                    and pin.travel in {None, way.travel}
                    and pin.loops in {None, way.loops}
                ]
                post(sum(x.goes(trunk, way) for way in ways) >= 1, pin.subject)
                if pin.divide_at is not None:
                    open_ = pin.divide_at in x.divide_options(trunk)
                    post((x.divided_at(trunk, pin.divide_at) if open_ else 0) >= 1, pin.subject)

    def say(self, job: Job, subject: str) -> str:
        """Say what the pin asks for."""
        return next((_wanted(pin) for pin in job.pins if pin.subject == subject), f"{subject}: nothing is pinned")

    def without(self, job: Job, subject: str) -> Job:
        """Take the pin out."""
        return remade(job, pins=tuple(pin for pin in job.pins if pin.built or pin.subject != subject))

    def advise(self, job: Job, laid: Laid, subject: str) -> str:
        """Say where the pin puts it."""
        del laid
        for pin in job.leg_pins:
            if pin.subject == subject:
                places = listed(job.places_of(pin)[:4], "or") or "its place"
                return f"put {subject} in {places}, or take the pin out of the job"
        return f"keep to the pin of {subject}, or take it out of the job"
