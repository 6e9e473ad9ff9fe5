"""tray_fibres: a tray holds no more fibre ends than its places take: two a splice, one a parked fibre."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING

from trayopt.domain.job import Job
from trayopt.domain.said import said
from trayopt.rules.base import Breach, NoParameters, Post, Rule
from trayopt.rules.words import listed, several, trays_of
from trayopt.track.laid import Laid

if TYPE_CHECKING:
    from trayopt.rules.variables import Variables


class TrayFibres(Rule[NoParameters]):
    """Broken when 2 × splices + parked fibres of a tray place are above 2 × its tray's ``fibres``."""

    id = "tray_fibres"
    kind = "physical"
    subject = "tray place"
    statement = "the fibre ends, two a splice and one a parked fibre, are more than twice the tray's fibres"
    why = "A tray has room for two fibre ends at each splice; any more have nowhere to lie."
    blamed = 2
    helped_by = frozenset({"trays", "tray_types", "divide_at", "box"})
    of_ways = False

    def check(self, job: Job, laid: Laid) -> Iterator[Breach]:
        """Count the fibre ends of every used tray place."""
        for place in laid.trays:
            tray = job.enclosure.tray_at(place)
            splices, parked = laid.splices(place), laid.parked(place)
            ends = laid.ends_at(place)
            if ends > 2 * tray.fibres:
                yield Breach(
                    str(place),
                    said(
                        "{place} holds {splices} and {parked}, {ends} fibre ends; its tray takes {most}",
                        place=place,
                        splices=several(splices, "splice"),
                        parked=several(parked, "parked fibre"),
                        ends=ends,
                        most=2 * tray.fibres,
                    ),
                )

    def encode(self, job: Job, x: Variables, post: Post) -> None:
        """Bound the fibre ends of every place: each fibre of a leg is one, spliced or parked."""
        for place in job.enclosure.places:
            post(x.ends_at_least(place) <= 2 * job.enclosure.tray_at(place).fibres, str(place))

    def say(self, job: Job, subject: str) -> str:
        """Say how many fibres the trays of a place or a stack hold, and how many splices the job has."""
        trays = trays_of(job, subject)
        kinds = listed(
            [
                said("{trays} of {tray_fibres}", trays=several(count, "tray"), tray_fibres=tray.fibres)
                for tray, count in trays.items()
            ]
        )
        return said(
            "{subject}: {kinds} holds {fibres:,} fibres; {splices:,} splices are to be placed in all|"
            "{subject}: {kinds} hold {fibres:,} fibres; {splices:,} splices are to be placed in all",
            subject=subject,
            kinds=kinds,
            n=trays.total(),
            fibres=sum(count * tray.fibres for tray, count in trays.items()),
            splices=job.splices,
        )

    def short(self, job: Job) -> bool:
        """Whether all trays together hold too few fibres, by count."""
        return job.enclosure.fibres < job.splices or bool(wasted(job))

    def advise(self, job: Job, laid: Laid, subject: str) -> str:
        """Say what to change."""
        del job, laid
        return f"take legs out of {subject}, or divide their subunits into smaller legs"


def wasted(job: Job) -> list[str]:
    """Name trunks whose whole legs leave so much of each tray unused that the trays do not take them.

    That is said of trunks whose subunits are spliced in every fibre or in none: a leg that is spliced in part brings fewer ends.
    """
    found: list[str] = []
    for trunk in job.trunks:
        spliced = job.spliced_in(trunk)
        if spliced < sum(s.fibres for s in trunk.subunits if job.spliced[s.trunk, s.number]):
            continue
        sizes = {s.fibres // of for s in trunk.subunits if job.spliced[s.trunk, s.number] for of in s.divisions}
        filled = {tray: _most(sizes, tray.fibres) for tray in job.enclosure.trays}
        room = sum(filled[tray] for stack in job.enclosure.stacks for tray in stack.by_position)
        if room < spliced:
            legs = said(
                "whole legs of {trunk}, of {sizes} fibres",
                trunk=trunk.id,
                sizes=listed(sorted(sizes, reverse=True), "or"),
            )
            fill = listed([said("{most} fibres", most=most) for most in sorted(set(filled.values()))], "or")
            found.append(
                said(
                    "{legs}, fill a tray with {fill} at most: all trays take {room:,} of its {spliced:,}",
                    legs=legs,
                    fill=fill,
                    room=room,
                    spliced=spliced,
                )
            )
    return found


def _most(sizes: Iterable[int], room: int) -> int:
    """Return the most that pieces of some sizes, each as often as one likes, can fill of a room."""
    filled = {0}
    for total in range(1, room + 1):
        if any(total - size in filled for size in sizes):
            filled.add(total)
    return max(filled)
