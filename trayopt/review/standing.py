"""The state of the box before a mend: where fibres lie, how long legs were cut, and which splices a change breaks."""

from __future__ import annotations

from bisect import bisect_right
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from trayopt.domain.assignment import Assignment, Way
from trayopt.domain.cablework import Leg
from trayopt.domain.decision import RunAt
from trayopt.domain.hardware import Place
from trayopt.domain.job import Job
from trayopt.rules.exposed import TRY_MM, Exposed
from trayopt.solver.model.decisions import Changes, Given, parked_leg, spliced_in
from trayopt.track.routes import routes_of


@dataclass
class Kept:
    """The length of a leg in its new tray: ``left_mm`` is left to splice again, or None if it is not known.

    ``broken`` says that the mend breaks its splices, which uses up one try.
    """

    left_mm: int | None
    broken: bool

    @property
    def tries(self) -> int | None:
        """How often the leg can be spliced again in its new tray; None if it is not known."""
        return None if self.left_mm is None else max(0, self.left_mm - TRY_MM * self.broken) // TRY_MM


@dataclass
class Standing:
    """The splices in trays before a mend, by place and join, and the splices that a new plan breaks.

    A splice exists if both of its fibres lie in one tray. It is broken if one of its trunks is led another way or divided
    elsewhere, or one of its subunits is divided anew; otherwise both legs and the sleeve can be carried to another tray together.
    Fibres that the job does not join, or does not have, may have been spliced in an earlier job. Unless they stay parked, they
    count as broken circuits of their trunk.
    """

    job: Job
    given: Given
    assignment: Assignment
    differs: Changes
    cuts: Mapping[RunAt, int] = field(default_factory=dict)
    """Known lengths at which given legs were cut, in mm."""

    def __post_init__(self) -> None:
        self._runs: dict[str, list[RunAt]] = {}
        for item in sorted(self.given.runs, key=lambda item: (item.first, item.last)):
            self._runs.setdefault(item.trunk, []).append(item)
        self._firsts = {trunk: [item.first for item in runs] for trunk, runs in self._runs.items()}
        self.at: dict[Place, Counter[str]] = {}
        self.breaking: dict[Place, Counter[str]] = {}
        self._broken: set[tuple[str, int]] = set()
        for join in self.job.joins:
            for i in range(join.a.count):
                a, b = (join.a.trunk, join.a.first + i), (join.b.trunk, join.b.first + i)
                place = self.place(*a)
                if place is None or place != self.place(*b):
                    continue
                self.at.setdefault(place, Counter())[join.name] += 1
                if self._anew(*a) or self._anew(*b):
                    self.breaking.setdefault(place, Counter())[join.name] += 1
                    self._broken |= {a, b}
        for item in self.given.runs:
            if not lies(self.job, item, self.assignment):
                for counts in (self.at, self.breaking):
                    counts.setdefault(item.place, Counter())[f"circuits of {item.trunk}"] += item.last - item.first + 1

    def place(self, trunk: str, fibre: int) -> Place | None:
        """Return the tray in which a fibre lies; None if no run gives one."""
        runs = self._runs.get(trunk, ())
        i = bisect_right(self._firsts.get(trunk, ()), fibre) - 1
        return runs[i].place if i >= 0 and runs[i].last >= fibre else None

    def _anew(self, trunk: str, fibre: int) -> bool:
        differs = self.differs
        subunit = self.job.trunk_by_id[trunk].subunit_of(fibre)
        led = {*differs.travel, *differs.ports, *differs.loops, *differs.partings, *differs.ribbons}
        return trunk in led or subunit.name in differs.splits

    def kept(self, leg: Leg) -> Kept | None:
        """Return the length of a leg in its new tray; None for a leg that lay in no tray before."""
        first, last = self.job.subunit(leg).leg_run(leg)
        before = [item for item in self._runs.get(leg.trunk, ()) if item.first <= last and item.last >= first]
        if not before:
            return None
        broken = any((leg.trunk, fibre) in self._broken for fibre in range(first, last + 1))
        now = self._cut_mm(
            leg.trunk, self.assignment.ways[leg.trunk], self.assignment.places[leg], self.assignment.ends
        )
        old = [self._old_mm(item) for item in before]
        lengths = [length for length in old if length is not None]
        if now is None or len(lengths) < len(old):
            return Kept(None, broken)
        return Kept(Exposed().parameters(self.job).resplice_mm + min(lengths) - now, broken)

    def _old_mm(self, item: RunAt) -> int | None:
        if item in self.cuts:
            return self.cuts[item]
        way = self.given.ways.get(item.trunk)
        if way is None or way.port is None or way.travel is None or way.loops is None:
            return None
        return self._cut_mm(item.trunk, Way(way.port, way.travel, way.loops), item.place, self.given.ends)

    def _cut_mm(self, trunk: str, way: Way, place: Place, ends: Mapping[str, str]) -> int | None:
        """Return the length at which a leg is cut, in mm; None if the box lacks its place, port or end."""
        box = self.job.enclosure
        if place not in box.place_rank or way.port not in box.port_by_id:
            return None
        known = [end.id for end in box.stack_by_id[place.stack].ends]
        end = ends.get(place.stack, known[0])
        if end not in known:
            return None
        route = routes_of(self.job).route_mm(way, place, end)
        return Exposed().parameters(self.job).cut_mm(self.job.trunk_by_id[trunk].transition_mm, route, way.loops)


def lies(job: Job, item: RunAt, assignment: Assignment) -> bool:
    """Whether a run exists in the job and stays in the trays, because it has a joined fibre or is parked."""
    trunk = job.trunk_by_id.get(item.trunk)
    if trunk is None or item.last > trunk.cable.fibres:
        return False
    return bool(spliced_in(job, item)) or parked_leg(job, item) in assignment.places


def counted(counts: Iterable[Mapping[str, int]]) -> dict[str, int]:
    """Add up splices by join."""
    total: Counter[str] = Counter()
    for item in counts:
        total.update(item)
    return dict(total)
