"""Trunks that go through the box, for the sheets: the window, its cut and capped tubes, and its uncut tubes."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from typing import NamedTuple

from trayopt.domain.assignment import Way
from trayopt.domain.cablework import Subunit
from trayopt.domain.job import Job
from trayopt.domain.plan import Plan, PlanLeg, PlanThrough, PlanTrunk
from trayopt.track.lengths import lengths_of
from trayopt.track.window import Passage, capped_mm, farthest_mm


class Cut(NamedTuple):
    """A tube that is cut in this work: its number, the place of the cut, and the ends that are capped.

    ``length_mm`` is the length along the tube from the end of the jacket at ``end``. If both ends are capped, there may be
    a second cut at ``other_mm`` from the end of the jacket at the other end, because the piece between the cuts has no room
    on the track. ``other_mm`` is 0 if a single cut makes both ends.
    """

    unit: int
    end: str
    length_mm: int
    capped: tuple[str, ...]
    other_mm: int = 0


class Passing(NamedTuple):
    """A trunk that goes through the box and is in it."""

    trunk: str
    ends: tuple[str, str]
    window_mm: int
    slack_mm: int | None
    loops: int
    guides: tuple[str, ...]
    uncut: tuple[Subunit, ...]
    cuts: tuple[Cut, ...]
    new: bool

    @property
    def numbers(self) -> str:
        """Numbers of the uncut tubes, as text: ``2, 4 – 6``."""
        return spans([unit.number for unit in self.uncut])

    @property
    def name(self) -> str:
        """The name of the uncut tubes on the track."""
        return f"{self.trunk}/{self.numbers}"


class Inside(NamedTuple):
    """The contents of the box: ways and placed legs by trunk, names of built legs, and built trunks."""

    ways: Mapping[str, PlanTrunk]
    legs: Mapping[str, Sequence[PlanLeg]]
    built: Collection[str]
    built_trunks: Collection[str]


def passing_of(job: Job, plan: Plan, inside: Inside) -> tuple[Passing, ...]:
    """Return the trunks that go through and are in the box, in the order of the job."""
    found = []
    slack = {item.trunk: item.slack_mm for item in job.through}
    for row in plan.through:
        if row.window_mm is None:
            continue
        enters, leaves = (inside.ways[end] for end in row.ends)
        through = next(item for item in job.through if item.trunk == row.trunk)
        way = Way(enters.port or "", enters.travel or "clockwise", 0)
        passage = Passage(job, through, way, leaves.port or "", lengths_of(job))
        units = job.trunk_by_id[row.ends[0]].passing
        new = row.ends[0] not in inside.built_trunks
        found.append(
            Passing(
                row.trunk, row.ends, row.window_mm, slack[row.trunk], row.loops or 0, passage.direct, units,
                tuple(_cuts(job, inside, row, new=new)), new,
            )
        )  # fmt: skip
    return tuple(found)


def _cuts(job: Job, inside: Inside, row: PlanThrough, *, new: bool) -> list[Cut]:
    """Return the tubes that this work cuts: all cut tubes of a new trunk, or the cut tubes without a built leg of another."""
    ends, found = row.ends, []
    for unit in row.cut:
        legs = {end: [leg for leg in inside.legs[end] if leg.subunit == unit] for end in ends}
        both = [leg for some in legs.values() for leg in some]
        if not new and (not both or any(leg.leg in inside.built for leg in both)):
            continue
        needs = {end: max((leg.cut_mm or 0 for leg in legs[end]), default=0) for end in ends}
        capped = tuple(end for end in ends if not legs[end])
        if not capped:
            found.append(Cut(unit, ends[0], needs[ends[0]], ()))
            continue
        window, made = row.window_mm or sum(needs.values()), capped[-1]
        least = {end: needs[end] or _capped_mm(job, inside, end)[0] for end in ends}
        length = _stored_mm(job, inside, made, window - sum(mm for end, mm in least.items() if end != made))
        rest = _stored_mm(job, inside, capped[0], window - length) if len(capped) > 1 else 0
        found.append(Cut(unit, made, min(length, window), capped, rest if length + rest < window else 0))
    return found


def _stored_mm(job: Job, inside: Inside, end: str, room: int) -> int:
    """Return the length at which the end of a cut tube is capped, in mm.

    It is the length to the farthest tray, so that the end can be spliced later, but no more than the window has, and no less than
    the loops take.
    """
    least, most = _capped_mm(job, inside, end)
    return max(least, min(most, room))


def _capped_mm(job: Job, inside: Inside, end: str) -> tuple[int, int]:
    """Return the length of a capped end in its loops, and the length of a leg to the farthest tray, in mm."""
    row, lengths = inside.ways[end], lengths_of(job)
    way = Way(row.port or "", row.travel or "clockwise", row.loops or 0)
    least = capped_mm(job, end, way, lengths)
    return least, max(least, farthest_mm(job, job.trunk_by_id[end], way, lengths))


def spans(numbers: list[int]) -> str:
    """Write numbers as runs: ``2, 4 – 6``."""
    runs: list[list[int]] = []
    for number in sorted(numbers):
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    return ", ".join(str(run[0]) if len(run) == 1 else f"{run[0]} – {run[-1]}" for run in runs)


def cut_before(passing: Sequence[Passing], end: str, subunits: Sequence[Subunit]) -> set[int]:
    """Return the tubes of an end that were cut before this work."""
    item = next((item for item in passing if end in item.ends), None)
    if item is None or item.new:
        return set()
    return {unit.number for unit in subunits} - {cut.unit for cut in item.cuts}
