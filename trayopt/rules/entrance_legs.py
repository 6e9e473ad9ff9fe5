"""entrance_legs: no more legs enter a tray by one entrance than it has room for."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from trayopt.domain.base import TRAVELS
from trayopt.domain.job import Job
from trayopt.domain.said import said
from trayopt.rules.base import Breach, NoParameters, Post, Rule
from trayopt.rules.words import listed, several, trays_of
from trayopt.track.laid import Laid

if TYPE_CHECKING:
    from trayopt.rules.variables import Variables


class EntranceLegs(Rule[NoParameters]):
    """Broken when legs of one tray that travel the same way are more than its ``entrance_legs``."""

    id = "entrance_legs"
    kind = "physical"
    subject = "tray place"
    statement = "more legs of a tray travel the same way than its entrance takes"
    why = "Legs that travel the same way come in by the same entrance, and an entrance has room for only so many tubes."
    blamed = 5
    helped_by = frozenset({"trays", "tray_types", "divide_at", "box"})
    of_divisions = True
    by_travel = True

    def check(self, job: Job, laid: Laid) -> Iterator[Breach]:
        """Count the legs of every used tray place by their direction of travel."""
        for place, legs in laid.trays.items():
            most = job.enclosure.tray_at(place).entrance_legs
            travels = [laid.ways[leg.trunk].travel for leg in legs]
            counts = [(travels.count(travel), travel) for travel in TRAVELS if travels.count(travel) > most]
            if counts:
                text = listed([said("{legs} {travel}", legs=several(n, "leg"), travel=said(way)) for n, way in counts])
                yield Breach(
                    str(place),
                    said(
                        "{text} enter {place}; an entrance of its tray takes {legs}",
                        text=text,
                        place=place,
                        legs=several(most, "leg"),
                    ),
                )

    def encode(self, job: Job, x: Variables, post: Post) -> None:
        """Count legs by direction of travel, at the places where there can be too many at all."""
        for place in job.enclosure.places:
            most = job.enclosure.tray_at(place).entrance_legs
            if x.most_legs_at(place) <= most:
                continue
            for travel in TRAVELS:
                counted = []
                for trunk in job.trunks:
                    legs, travels = x.legs_at(trunk, place), x.travels(trunk, travel)
                    if isinstance(travels, int):
                        counted.append(travels * legs)
                        continue
                    number = x.number(sum(s.ribbons for s in trunk.subunits), f"{trunk.id} {travel} at {place}")
                    x.require(number >= legs, travels)
                    counted.append(number)
                post(sum(counted) <= most, str(place))

    def say(self, job: Job, subject: str) -> str:
        """Say how many legs an entrance takes."""
        takes = listed(
            [
                said("of tray {tray} takes {legs}", tray=tray.id, legs=several(tray.entrance_legs, "leg"))
                for tray in trays_of(job, subject)
            ]
        )
        return said(
            "{subject}: an entrance {takes}, and all legs that travel the same way use the same one",
            subject=subject,
            takes=takes,
        )

    def advise(self, job: Job, laid: Laid, subject: str) -> str:
        """Say what brings fewer legs through an entrance."""
        del job, laid
        return (
            f"move legs out of {subject}, divide into fewer and larger legs, or let a trunk travel the other way round"
        )
