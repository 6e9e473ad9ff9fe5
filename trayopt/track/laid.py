"""An assignment as it lies in the box: the view on which every rule and goal works, from plain data and routes alone."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cached_property
from typing import NamedTuple

from trayopt.domain.assignment import Assignment, Way
from trayopt.domain.base import DivideAt, RibbonWord
from trayopt.domain.cablework import Leg, Subunit
from trayopt.domain.finding import Finding
from trayopt.domain.hardware import Place, Tray
from trayopt.domain.job import Job
from trayopt.domain.splicing import Piece, SleeveRun, sleeve_runs
from trayopt.domain.tied import tied
from trayopt.domain.trunk import Trunk
from trayopt.track.lengths import lengths_of
from trayopt.track.routes import Routes, Traveller, leg_key, routes_of
from trayopt.track.window import Window, window_of


class LaidLeg(NamedTuple):
    """A placed leg; lengths in mm."""

    leg: Leg
    place: Place
    end: str
    route_mm: int
    free_mm: int


class Traffic(NamedTuple):
    """A tube that passes guides: its trunk and subunit, its loops, and the guides of its direct way (empty if it is coiled)."""

    trunk: str
    subunit: int
    diameter_mm: float
    loops: int
    direct: tuple[str, ...]


class Strand(NamedTuple):
    """A traveller of a trunk: an own tube with all its placed legs, or one leg; and the least and the most low of its legs."""

    name: str
    legs: tuple[Leg, ...]
    least_low: int
    most_low: int


class Claim(NamedTuple):
    """A row of a plan: the tray place and the end for a run of fibres of a trunk. The run need not be a proper leg."""

    trunk: str
    first: int
    last: int
    place: Place
    end: str | None


class Laid:
    """The view of one assignment in its box.

    ``claims`` are the rows of a plan as they were written, including runs that cannot be legs. The rules "whole legs", "equal
    groups" and "one end", which always hold, look at them. Without claims, the legs of the assignment are the claims.

    Notes
    -----
    A trunk without a placed leg is outside and appears in no mapping here. Both ends of a trunk that goes through are in the box
    as soon as either has a placed leg. Every mapping keeps the order of the job.
    A stack without an end in ``assignment.ends`` uses its first end.
    """

    def __init__(self, job: Job, assignment: Assignment, claims: Sequence[Claim] | None = None) -> None:
        self.job = job
        self._claims = claims
        self.routes: Routes = routes_of(job)
        self.ends: dict[str, str] = {
            stack.id: assignment.ends.get(stack.id, stack.ends[0].id) for stack in job.enclosure.stacks
        }
        self.ways: dict[str, Way] = {}
        """Ways of the trunks in the box."""
        self.divide_at: dict[str, DivideAt] = {}
        """Where the trunks in the box are divided (see ``Trunk.place_of_division``)."""
        self.ribbons: dict[str, RibbonWord] = {}
        """The ribbon work of the trunks in the box."""
        self.legs: dict[str, list[LaidLeg]] = {}
        """Placed legs of each trunk in the box, by subunit, then group."""
        self.trays: dict[Place, list[Leg]] = {}
        """Legs in each used tray place, in place order; inside a tray by trunk, subunit, group."""
        self.place_of: dict[Leg, Place] = {}
        self.findings: list[Finding] | None = None
        """The findings of the rules; the judge fills them in once."""

        by_trunk: dict[str, list[Leg]] = {}
        for leg in assignment.places:
            by_trunk.setdefault(leg.trunk, []).append(leg)
        contents: dict[Place, list[Leg]] = {}
        inside = job.inside(assignment.places)
        for trunk in job.trunks:
            if trunk.id not in inside:
                continue
            legs = sorted(by_trunk.get(trunk.id, ()), key=leg_key)
            way = assignment.ways[trunk.id]
            self.ways[trunk.id] = way
            said = assignment.divide_at.get(trunk.id)
            self.divide_at[trunk.id] = trunk.place_of_division((leg.of for leg in legs), said)
            self.ribbons[trunk.id] = assignment.ribbons.get(trunk.id, trunk.ribbons[0])
            laid = self.legs[trunk.id] = []
            for leg in legs:
                place = assignment.places[leg]
                end = self.ends[place.stack]
                free = self.routes.free_mm(way, place, end)
                laid.append(LaidLeg(leg, place, end, free + self.tray(place).inside_mm, free))
                contents.setdefault(place, []).append(leg)
                self.place_of[leg] = place
        for place in job.enclosure.places:
            if place in contents:
                self.trays[place] = contents[place]

    def going(self, ways: Mapping[str, Way]) -> Laid:
        """Return the view of the same legs in the same trays with other ways of trunks; what does not depend on ways is kept."""
        other = Laid(self.job, Assignment(ways, self.place_of, self.ends, self.divide_at, self.ribbons), self._claims)
        for name in ("division", "piece_places", "sleeve_runs", "tied"):
            other.__dict__[name] = getattr(self, name)
        return other

    def tray(self, place: Place) -> Tray:
        """Return the tray type at a place."""
        return self.job.enclosure.tray_at(place)

    def trunks(self) -> list[Trunk]:
        """Return the trunks in the box, in the order of the list of trunks."""
        return [trunk for trunk in self.job.trunks if trunk.id in self.ways]

    @cached_property
    def claims(self) -> list[Claim]:
        """The rows of the plan; if none were given, a row for each leg of the assignment."""
        if self._claims is not None:
            return list(self._claims)
        return [
            Claim(leg.trunk, *self.job.subunit(leg).leg_run(leg), item.place, item.end)
            for laid in self.legs.values()
            for item in laid
            for leg in (item.leg,)
        ]

    @cached_property
    def division(self) -> dict[tuple[str, int], int]:
        """The number of legs of every subunit with a placed leg, by (trunk, subunit)."""
        return {(item.leg.trunk, item.leg.subunit): item.leg.of for laid in self.legs.values() for item in laid}

    @cached_property
    def by_subunit(self) -> dict[tuple[str, int], list[LaidLeg]]:
        """Placed legs by (trunk, subunit), in order of group."""
        found: dict[tuple[str, int], list[LaidLeg]] = {}
        for laid in self.legs.values():
            for item in laid:
                found.setdefault((item.leg.trunk, item.leg.subunit), []).append(item)
        return found

    def leg_at(self, trunk: str, fibre: int) -> Leg | None:
        """Return the placed leg that holds a fibre of a trunk; None if it has no tray."""
        subunit = self.job.trunk_by_id[trunk].subunit_of(fibre)
        of = self.division.get((trunk, subunit.number))
        if of is None:
            return None
        leg = subunit.leg_of_fibre(fibre, of)
        return leg if leg in self.place_of else None

    def place_at(self, trunk: str, fibre: int) -> Place | None:
        """Return the tray place of a fibre; None if the fibre has no tray."""
        leg = self.leg_at(trunk, fibre)
        return None if leg is None else self.place_of[leg]

    @cached_property
    def piece_places(self) -> list[tuple[Piece, Place | None]]:
        """Every piece of the joins with the place of its splices; None unless both sides lie in the same tray."""
        found: list[tuple[Piece, Place | None]] = []
        for piece in self.job.pieces:
            at = self.place_at(piece.a.trunk, piece.a.first)
            same = at is not None and at == self.place_at(piece.b.trunk, piece.b.first)
            found.append((piece, at if same else None))
        return found

    @cached_property
    def sleeve_runs(self) -> dict[Place, list[SleeveRun]]:
        """Runs of splices in each used tray place, by trunk of side a, then fibre."""
        found: dict[Place, list[Piece]] = {place: [] for place in self.trays}
        for piece, at in self.piece_places:
            if at is not None:
                found[at].append(piece)
        return {place: list(sleeve_runs(here, self.job.trunk_by_id, self.ribbons)) for place, here in found.items()}

    def splices(self, place: Place) -> int:
        """Count the splices in a tray place."""
        return sum(run.count for run in self.sleeve_runs.get(place, ()))

    def ends_at(self, place: Place) -> int:
        """Count the fibre ends in a tray place: two for each splice, one for each parked fibre."""
        return 2 * self.splices(place) + self.parked(place)

    def opened(self, subunit: Subunit) -> bool:
        """Whether the own tube of a subunit is opened at a tray: the subunit is divided there, and one of its legs is placed."""
        of = self.division.get((subunit.trunk, subunit.number), 1)
        return of > 1 and self.divide_at[subunit.trunk] == "tray"

    @cached_property
    def tied(self) -> list[list[Place]]:
        """Groups of two or more places that opened tubes tie to each other, in place order."""
        pairs = []
        for (trunk, number), laid in self.by_subunit.items():
            if self.opened(self.job.subunit_of_leg[trunk, number]):
                pairs += [(laid[0].place, item.place) for item in laid[1:]]
        groups: dict[int, list[Place]] = {}
        for place, group in tied(self.trays, pairs).items():
            groups.setdefault(group, []).append(place)
        return [group for group in groups.values() if len(group) > 1]

    def parked(self, place: Place) -> int:
        """Count the unspliced fibres of the legs in a tray place."""
        total = 0
        for leg in self.trays.get(place, ()):
            first, last = self.job.subunit(leg).leg_run(leg)
            total += last - first + 1 - self.job.spliced_fibres(leg)
        return total

    def sleeves(self, place: Place) -> int:
        """Count the sleeves in a tray place."""
        size = self.tray(place).sleeve_fibres
        return sum(run.sleeves(size) for run in self.sleeve_runs.get(place, ()))

    @cached_property
    def lows(self) -> dict[Leg, int]:
        """The low of every placed leg (spec, section 6, goal 5)."""
        found: dict[Leg, int] = {}
        for laid in self.by_subunit.values():
            before: LaidLeg | None = None
            for item in laid:
                follows = (
                    before is not None
                    and before.place.stack == item.place.stack
                    and item.place.position - before.place.position in {0, 1}
                )
                found[item.leg] = found[before.leg] if follows and before is not None else item.place.position
                before = item
        return found

    def traveller(self, subunit: Subunit, of: int) -> Traveller | None:
        """Return what travels for the placed legs of a subunit that is divided into ``of`` legs."""
        trunk = self.job.trunk_by_id[subunit.trunk]
        return self.routes.traveller(trunk, subunit, of, self.divide_at.get(trunk.id, trunk.divide_at[0]))

    def strands(self, trunk: str) -> list[Strand]:
        """Return the travellers that carry the placed legs of a trunk, by subunit, then group."""
        found = []
        for subunit in self.job.trunk_by_id[trunk].subunits:
            legs = [item.leg for item in self.by_subunit.get((trunk, subunit.number), ())]
            own = legs and self.job.trunk_by_id[trunk].own_tube_travels(legs[0].of, self.divide_at[trunk])
            for name, some in [(subunit.name, legs)] if own else [(str(leg), [leg]) for leg in legs]:
                lows = [self.lows[leg] for leg in some]
                found.append(Strand(name, tuple(some), min(lows), max(lows)))
        return found

    @cached_property
    def windows(self) -> list[Window]:
        """The windows in the sheaths of trunks that go through and are in the box, in the order of the job."""
        found = (window_of(self, item, lengths_of(self.job)) for item in self.job.through)
        return [window for window in found if window is not None]

    @cached_property
    def window_at(self) -> dict[str, Window]:
        """The window of each cable end of a trunk that goes through."""
        return {end: window for window in self.windows for end in window.through.ends}

    @cached_property
    def traffic(self) -> list[Traffic]:
        """Everything that passes guides (spec, section 4), without legs for which the set has no tube."""
        found: list[Traffic] = []
        for trunk in self.trunks():
            way = self.ways[trunk.id]
            for subunit in trunk.subunits:
                laid = self.by_subunit.get((trunk.id, subunit.number), [])
                if not laid:
                    if trunk.idle == "coiled":
                        found.append(Traffic(trunk.id, subunit.number, subunit.diameter_mm, way.loops, ()))
                    continue
                of = laid[0].leg.of
                goes = self.traveller(subunit, of)
                if goes is None:
                    continue
                for item in laid[:1] if goes.own else laid:
                    direct = self.routes.direct(way, item.place.stack, item.end)
                    found.append(Traffic(trunk.id, subunit.number, goes.diameter_mm, way.loops, direct))
                if trunk.idle == "coiled" and not goes.own:
                    found += [Traffic(trunk.id, subunit.number, goes.diameter_mm, way.loops, ())] * (of - len(laid))
        for window in self.windows:
            end = window.through.ends[0]
            for unit in self.job.trunk_by_id[end].passing:
                found.append(Traffic(end, unit.number, unit.diameter_mm, window.loops, window.direct))
        return found

    def cut_back(self, trunk: Trunk) -> int:
        """Return how many tubes of a trunk are cut back at the port: those of its legs without a tray, if it says so."""
        if trunk.idle != "cut_back":
            return 0
        tubes = 0
        for subunit in trunk.subunits:
            laid = self.by_subunit.get((trunk.id, subunit.number), [])
            goes = self.traveller(subunit, laid[0].leg.of) if laid else None
            tubes += 1 if not laid else 0 if goes is None or goes.own else laid[0].leg.of - len(laid)
        return tubes

    def passes(self, guide: str) -> list[tuple[Traffic, int]]:
        """Return everything that passes a guide, and how often it passes."""
        return [(item, times) for item in self.traffic if (times := item.loops + (guide in item.direct)) > 0]
