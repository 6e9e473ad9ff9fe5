"""tray_fibres: a tray holds no more splices and parked fibres than it has places."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING

from trayopt.domain.job import Job
from trayopt.rules.base import Breach, NoParameters, Post, Rule
from trayopt.rules.words import listed, several, trays_of
from trayopt.track.laid import Laid

if TYPE_CHECKING:
    from trayopt.rules.variables import Variables


class TrayFibres(Rule[NoParameters]):
    """Broken when splices + parked fibres of a tray place are above its tray's ``fibres``."""

    id = "tray_fibres"
    kind = "physical"
    subject = "tray place"
    statement = "splices and parked fibres are more than the tray has places for"
    why = "A tray has one place for each splice and each parked fibre; what is over has nowhere to lie."
    blamed = 2
    helped_by = frozenset({"trays", "tray_types", "divide_at", "box"})

    def check(self, job: Job, laid: Laid) -> Iterator[Breach]:
        """Count splices and parked fibres of every used tray place."""
        for place in laid.trays:
            tray = job.enclosure.tray_at(place)
            splices, parked = laid.splices(place), laid.parked(place)
            if splices + parked > tray.fibres:
                yield Breach(
                    str(place),
                    f"{place} holds {splices} splices and {parked} parked fibres; its tray has {tray.fibres} places",
                )

    def encode(self, job: Job, x: Variables, post: Post) -> None:
        """Bound the load of every place: a leg brings its unspliced fibres whole and its spliced ones by half."""
        for place in job.enclosure.places:
            post(x.load2_at_least(place) <= 2 * job.enclosure.tray_at(place).fibres, str(place))

    def say(self, job: Job, subject: str) -> str:
        """Say how many fibres the trays of a place or a stack hold, and how many splices the job has."""
        stack, trays = trays_of(job, subject)
        return (
            f"{subject}: {several(trays, 'tray')} of {stack.tray.fibres} {'holds' if trays == 1 else 'hold'} "
            f"{trays * stack.tray.fibres:,} fibres; {job.splices:,} splices are to be placed in all"
        )

    def short(self, job: Job) -> bool:
        """Whether all trays together hold too few fibres, by count."""
        return job.enclosure.fibres < job.splices or bool(wasted(job))

    def advise(self, job: Job, laid: Laid, subject: str) -> str:
        """Say what to change."""
        del job, laid
        return f"take legs out of {subject}, or divide their subunits into smaller legs"


def wasted(job: Job) -> list[str]:
    """Name trunks whose whole legs leave so much of each tray unused that the trays do not take them."""
    said = []
    for trunk in job.trunks:
        spliced = job.spliced_in(trunk)
        sizes = {s.fibres // of for s in trunk.subunits if job.spliced[s.trunk, s.number] for of in s.divisions}
        filled = {stack.id: _most(sizes, stack.tray.fibres) for stack in job.enclosure.stacks}
        room = sum(stack.positions * filled[stack.id] for stack in job.enclosure.stacks)
        if room < spliced:
            legs = f"whole legs of {trunk.id}, of {listed(sorted(sizes, reverse=True), 'or')} fibres"
            fill = listed([f"{most} fibres" for most in sorted(set(filled.values()))], "or")
            said.append(f"{legs}, fill a tray with {fill} at most: all trays take {room:,} of its {spliced:,}")
    return said


def _most(sizes: Iterable[int], room: int) -> int:
    """Give the most that pieces of some sizes, each as often as one likes, can fill of a room."""
    filled = {0}
    for total in range(1, room + 1):
        if any(total - size in filled for size in sizes):
            filled.add(total)
    return max(filled)
