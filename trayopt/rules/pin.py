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
from trayopt.domain.said import said
from trayopt.rules.base import Breach, NoParameters, Post, Rule
from trayopt.rules.words import joined, listed, ribbons_are, several
from trayopt.track.laid import Laid

if TYPE_CHECKING:
    from trayopt.rules.variables import Constraint, Decided, Variables


def _wanted(pin: LegPin | TrunkPin) -> str:
    """Say what a pin asks for."""
    if isinstance(pin, LegPin):
        asked: dict[str, object] = {"stack {value}": pin.stack, "position {value}": pin.position}
    else:
        asked = {
            "port {value}": pin.port, "travel {value}": pin.travel and said(pin.travel), "loops {value}": pin.loops,
            "divide_at {value}": pin.divide_at and said(pin.divide_at), "ribbons {value}": pin.ribbons,
        }  # fmt: skip
    parts = [said(form, value=value) for form, value in asked.items() if value is not None]
    form = "{pin} is built to {asked}" if pin.built else "{pin} is pinned to {asked}"
    return said(form, pin=pin.subject, asked=joined(parts) if parts else said("be placed"))


def _leg_differs(job: Job, laid: Laid, pin: LegPin) -> str:
    """Say how the plan differs from a pin of a leg; empty where it does not."""
    leg = job.pinned_leg(pin)
    of = laid.division.get((leg.trunk, leg.subunit))
    if of is None:
        return said("no leg of {leg_trunk}/{leg_subunit} has a tray", leg_trunk=leg.trunk, leg_subunit=leg.subunit)
    if of != leg.of:
        return said(
            "{leg_trunk}/{leg_subunit} is divided into {of}, not into {leg_of}",
            leg_trunk=leg.trunk,
            leg_subunit=leg.subunit,
            of=of,
            leg_of=leg.of,
        )
    place = laid.place_of.get(leg)
    if place is None:
        return said("{leg} has no tray", leg=leg)
    return "" if pin.admits(place) else said("{leg} lies in {place}", leg=leg, place=place)


def _trunk_differs(laid: Laid, pin: TrunkPin) -> str:
    """Say how the plan differs from a pin of a trunk; empty where it does not."""
    way = laid.ways.get(pin.trunk)
    if way is None:
        return said("{pin_trunk} stays outside", pin_trunk=pin.trunk)
    words = {
        "port": said("enters at {way_port}", way_port=way.port),
        "travel": said("travels {way_travel}", way_travel=said(way.travel)),
        "loops": said("makes {loops}", loops=several(way.loops, "loop")),
    }
    differs = [words[part] for part in pin.decision.differing(way)]
    at = laid.divide_at[pin.trunk]
    differs += [said("is divided at {at}", at=said(f"the {at}"))] * (pin.divide_at not in {None, at})
    word = laid.ribbons[pin.trunk]
    differs += [said("has its ribbons {word}", word=ribbons_are(word))] * (pin.ribbons not in {None, word})
    return said("{trunk} {differs}", trunk=pin.trunk, differs=joined(differs)) if differs else ""


def lies(job: Job, x: Variables, leg: Leg, places: Iterable[Place]) -> Constraint:
    """Require a leg to lie at one of some places; no plan has a leg that cannot be placed there."""
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
                yield Breach(pin.subject, said("{wanted}; {differs}", wanted=_wanted(pin), differs=differs))

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
        return next(
            (_wanted(pin) for pin in job.pins if pin.subject == subject),
            said("{subject}: nothing is pinned", subject=subject),
        )

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
