"""pin: what is decided or already built stays as it is."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING

from trayopt.domain.base import remade
from trayopt.domain.cablework import Leg
from trayopt.domain.decision import GoesBy
from trayopt.domain.hardware import Place
from trayopt.domain.job import Job
from trayopt.domain.pins import LegPin, TrunkPin
from trayopt.rules.base import Breach, NoParameters, Post, Rule
from trayopt.rules.words import listed, ribbons_are
from trayopt.track.laid import Laid

if TYPE_CHECKING:
    from trayopt.rules.variables import Constraint, Decided, Variables


def _wanted(pin: LegPin | TrunkPin) -> str:
    """Say what a pin asks for."""
    stands = "is built" if pin.built else "is pinned"
    if isinstance(pin, LegPin):
        asked: dict[str, object] = {"stack": pin.stack, "position": pin.position}
    else:
        asked = {key: getattr(pin, key) for key in ("port", "travel", "loops", "divide_at", "ribbons")}
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
    return "" if pin.admits(place) else f"{leg} lies in {place}"


def _trunk_differs(laid: Laid, pin: TrunkPin) -> str:
    """Say how the plan differs from a pin of a trunk; empty where it does not."""
    way = laid.ways.get(pin.trunk)
    if way is None:
        return f"{pin.trunk} stays outside"
    words = {"port": f"enters at {way.port}", "travel": f"travels {way.travel}", "loops": f"makes {way.loops} loops"}
    differs = [words[part] for part in pin.decision.differing(way)]
    at = laid.divide_at[pin.trunk]
    differs += [f"is divided at the {at}"] * (pin.divide_at not in {None, at})
    word = laid.ribbons[pin.trunk]
    differs += [f"has its ribbons {ribbons_are(word)}"] * (pin.ribbons not in {None, word})
    return f"{pin.trunk} {', '.join(differs)}" if differs else ""


def lies(job: Job, x: Variables, leg: Leg, places: Iterable[Place]) -> Constraint:
    """Ask for a leg at one of some places; a leg that cannot be placed lies nowhere."""
    subunit = job.subunit(leg)
    known = leg.of in x.divisions(subunit) and leg in x.legs(subunit, leg.of)
    return sum(x.at(leg, place) for place in places) >= 1 if known else False


def goes_by(job: Job, x: Decided, decided: GoesBy) -> Iterator[Constraint]:
    """Ask for what is decided of a trunk: one of the ways that are left, and where it is divided."""
    trunk = job.trunk_by_id[decided.trunk]
    yield sum(x.goes(trunk, way) for way in x.ways(trunk) if decided.admits(way)) >= 1
    if decided.divide_at is not None:
        open_ = decided.divide_at in x.divide_options(trunk)
        yield x.divided_at(trunk, decided.divide_at) >= 1 if open_ else False


class Pinned(Rule[NoParameters]):
    """Broken when the plan differs from the pin, or does not place it."""

    id = "pin"
    kind = "practice"
    subject = "pin"
    statement = "the plan differs from the pin, or does not place it"
    why = "The plan must not reopen what a work order says, or what is already on the wall."
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
                post(lies(job, x, job.pinned_leg(pin), job.places_of(pin)), pin.subject)
            else:
                for asked in goes_by(job, x, pin.decision):
                    post(asked, pin.subject)
                if pin.ribbons is not None:
                    post(x.ribboned(job.trunk_by_id[pin.trunk], pin.ribbons) >= 1, pin.subject)

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
