"""The decisions of a plan, and single changes of them: trays of legs, ways of trunks, divisions, ends of stacks."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace

from trayopt.domain.assignment import Way
from trayopt.domain.base import DivideAt, RibbonWord
from trayopt.domain.cablework import Leg, Subunit
from trayopt.domain.hardware import Place
from trayopt.domain.job import Job
from trayopt.domain.plan import Plan, PlanJob, PlanLeg, PlanSolver, PlanTrunk
from trayopt.domain.said import said
from trayopt.domain.trunk import Trunk
from trayopt.errors import InputError

Key = tuple[str, int]
"""A subunit by its trunk and number."""


@dataclass(frozen=True)
class Decisions:
    """The decisions of a plan.

    A subunit that is not in ``division`` is whole, a stack that is not in ``ends`` uses its first end, and the ribbon work
    of a trunk that is not in ``ribbons`` is not decided.
    """

    ways: Mapping[str, Way] = field(default_factory=dict)
    divide_at: Mapping[str, DivideAt] = field(default_factory=dict)
    division: Mapping[Key, int] = field(default_factory=dict)
    places: Mapping[Leg, Place] = field(default_factory=dict)
    ends: Mapping[str, str] = field(default_factory=dict)
    ribbons: Mapping[str, RibbonWord] = field(default_factory=dict)

    def legs(self, subunit: Subunit) -> tuple[Leg, ...]:
        """Return the legs of a subunit, placed or not."""
        return subunit.legs(self.division.get((subunit.trunk, subunit.number), 1))


def decisions_of(job: Job, plan: Plan) -> tuple[Decisions, int]:
    """Read the decisions of a plan; return them, and the number of rows about things that this job does not have."""
    ways: dict[str, Way] = {}
    divide_at: dict[str, DivideAt] = {}
    ribbons: dict[str, RibbonWord] = {}
    lost = 0
    for row in plan.trunks:
        if row.port is None or row.travel is None or row.loops is None:
            continue
        if row.trunk not in job.trunk_by_id or row.port not in job.enclosure.port_by_id:
            lost += 1
            continue
        ways[row.trunk] = Way(row.port, row.travel, row.loops)
        if row.divide_at is not None:
            divide_at[row.trunk] = row.divide_at
        if row.ribbons is not None and job.trunk_by_id[row.trunk].may_work_ribbons:
            ribbons[row.trunk] = row.ribbons
    division: dict[Key, int] = {}
    places: dict[Leg, Place] = {}
    ends: dict[str, str] = {}
    for leg_row in plan.legs:
        subunit = job.subunit_of_leg.get((leg_row.trunk, leg_row.subunit))
        whole = subunit is not None and leg_row.of in subunit.divisions and 1 <= leg_row.group <= leg_row.of
        if subunit is None or not whole or subunit.leg_span(subunit.leg(leg_row.group, leg_row.of)) != leg_row.fibres:
            lost += leg_row.stack is not None
            continue
        division.setdefault((leg_row.trunk, leg_row.subunit), leg_row.of)
        if leg_row.stack is None or leg_row.position is None:
            continue
        place = Place(leg_row.stack, leg_row.position)
        if place not in job.enclosure.place_rank or leg_row.trunk not in ways:
            lost += 1
            continue
        places[subunit.leg(leg_row.group, leg_row.of)] = place
        if leg_row.end in {end.id for end in job.enclosure.stack_by_id[place.stack].ends}:
            ends.setdefault(place.stack, leg_row.end)
    divided = {key: of for key, of in division.items() if of != 1}
    return Decisions(ways, divide_at, divided, places, ends, ribbons), lost


def fitted(job: Job, given: Decisions) -> tuple[Decisions, int]:
    """Return the decisions that still make sense in a changed job, and the number of the others."""
    return decisions_of(job, plan_of(job, given, trunks=given.ways))


def plan_of(job: Job, given: Decisions, *, trunks: Iterable[str] = ()) -> Plan:
    """Write decisions as a plan document without figures, which ``check`` fills in.

    Parameters
    ----------
    job, given
        The job, and the decisions.
    trunks
        Trunks that get a row in addition to the trunks of the job.
    """
    legs = []
    by_key: dict[Key, list[Leg]] = {}
    for leg in given.places:
        by_key.setdefault((leg.trunk, leg.subunit), []).append(leg)
    for subunit in job.subunits:
        placed = by_key.pop((subunit.trunk, subunit.number), [])
        of = given.division.get((subunit.trunk, subunit.number), 1)
        own = subunit.legs(of) if of in subunit.divisions else ()
        legs += [_row(job, given, leg, subunit.leg_span(leg)) for leg in own]
        legs += [_row(job, given, leg, "") for leg in placed if leg not in own]
    legs += [_row(job, given, leg, "") for rest in by_key.values() for leg in rest]
    inside = {leg.trunk for leg in given.places} | job.inside(given.places)
    rows = []
    for trunk in dict.fromkeys([*job.trunk_by_id, *trunks]):
        way = given.ways.get(trunk) if trunk in inside else None
        at = given.divide_at.get(trunk) if way is not None else None
        word = given.ribbons.get(trunk) if way is not None else None
        rows.append(
            PlanTrunk(
                trunk=trunk, port=way.port if way else None, travel=way.travel if way else None,
                loops=way.loops if way else None, divide_at=at, strip_mm=None, ribbons=word,
            )
        )  # fmt: skip
    return Plan(
        job=PlanJob(title=job.title, digest=job.digest), status="feasible", stopped="interrupted", goals=(),
        trunks=tuple(rows), legs=tuple(legs), trays=(), tied=(), crossings=(), broken=(), unplaced=(),
        solver=PlanSolver(version="none", seed=0, workers=0, deterministic_time=0.0),
    )  # fmt: skip


def _row(job: Job, given: Decisions, leg: Leg, fibres: str) -> PlanLeg:
    place = given.places.get(leg)
    end = None
    if place is not None:
        stack = job.enclosure.stack_by_id.get(place.stack)
        end = given.ends.get(place.stack) or (stack.ends[0].id if stack is not None else "")
    return PlanLeg(
        leg=str(leg), trunk=leg.trunk, subunit=leg.subunit, group=leg.group, of=leg.of, fibres=fibres,
        stack=place.stack if place else None, position=place.position if place else None, end=end,
        route_mm=None, entrance_mark_mm=None, cut_mm=None, tube_mm=None, idle=False,
    )  # fmt: skip


# -- changes ---------------------------------------------------------------------------------------------------------


def spliced_with(job: Job, given: Decisions, leg: Leg) -> frozenset[Leg]:
    """Return a leg with all legs that must share its tray, since they are spliced to it directly or through other legs."""
    return next((bunch for bunch in bunches(job, given) if leg in bunch), frozenset({leg}))


def bunches(job: Job, given: Decisions) -> list[frozenset[Leg]]:
    """Return the bunches: groups of legs that are spliced to each other, directly or through other legs, in the order of the job.

    They depend only on the divisions, so they are kept as long as legs are only moved.
    """
    known, key = job.once(_known_bunches), frozenset(given.division.items())
    if key not in known:
        known.clear()
        known[key] = _bunches(job, given)
    return known[key]


def _known_bunches(_: Job) -> dict[frozenset[tuple[Key, int]], list[frozenset[Leg]]]:
    return {}


def _bunches(job: Job, given: Decisions) -> list[frozenset[Leg]]:
    group: dict[Leg, set[Leg]] = {}
    for piece in job.pieces:
        sides = []
        for side in (piece.a, piece.b):
            subunit = job.trunk_by_id[side.trunk].subunit_of(side.first)
            of = given.division.get((subunit.trunk, subunit.number), 1)
            sides += [subunit.leg_of_fibre(side.first, of), subunit.leg_of_fibre(side.last, of)]
        one = group.setdefault(sides[0], {sides[0]})
        for leg in sides[1:]:
            other = group.setdefault(leg, {leg})
            if other is not one:
                one |= other
                for moved in other:
                    group[moved] = one
    return list(dict.fromkeys(frozenset(found) for found in group.values()))


def moved(job: Job, given: Decisions, legs: Iterable[Leg], place: Place | None) -> Decisions:
    """Put legs into a tray, or out of the box; a trunk that comes in takes the first way that it may take."""
    places, ways = dict(given.places), dict(given.ways)
    for leg in legs:
        if place is None:
            places.pop(leg, None)
        else:
            places[leg] = place
    for trunk in job.trunks:
        if trunk.id in job.inside(places) and trunk.id not in ways:
            ways[trunk.id] = _first_way(job, trunk)
    return replace(given, places=places, ways=ways)


def _first_way(job: Job, trunk: Trunk) -> Way:
    """Return the first way of a trunk: its first port, the natural direction from there, its fewest loops."""
    ports = trunk.allowed_ports(job.enclosure) or tuple(port.id for port in job.enclosure.ports)
    port = job.enclosure.port_by_id[ports[0]]
    natural = [travel for travel in trunk.travels if port.turns in {"both", travel}]
    return Way(port.id, (natural or list(trunk.travels))[0], min(trunk.loops))


def redivided(job: Job, given: Decisions, subunits: Iterable[Subunit], of: int) -> Decisions:
    """Divide subunits anew; each new leg lies where the old leg with its first fibre lay.

    Raises
    ------
    InputError
        If a subunit cannot be divided into ``of`` legs.
    """
    division, places = dict(given.division), dict(given.places)
    for subunit in subunits:
        if of not in subunit.divisions:
            allowed = ", ".join(map(str, subunit.divisions))
            raise InputError.one(
                said("{subunit} cannot be divided so", subunit=subunit.name),
                source="desk",
                found=str(of),
                allowed=said("{allowed} legs", allowed=allowed),
            )
        before = given.division.get((subunit.trunk, subunit.number), 1)
        at = {leg: places.pop(leg, None) for leg in subunit.legs(before)}
        division[subunit.trunk, subunit.number] = of
        for leg in subunit.legs(of):
            place = at[subunit.leg_of_fibre(subunit.leg_run(leg)[0], before)]
            if place is not None:
                places[leg] = place
    return replace(given, division=division, places=places)


def joined_subunits(job: Job, subunit: Subunit) -> list[Subunit]:
    """Return a subunit with the equal subunits that are spliced to it at equal fibres, which should be divided alike."""
    found = {subunit: None}
    for piece in job.pieces:
        sides = [job.trunk_by_id[side.trunk].subunit_of(side.first) for side in (piece.a, piece.b)]
        offsets = [side.first - part.first for side, part in zip((piece.a, piece.b), sides, strict=True)]
        alike = offsets[0] == offsets[1] and sides[0].fibres == sides[1].fibres
        if subunit in sides and alike and all(part.ribbons == subunit.ribbons for part in sides):
            found.update(dict.fromkeys(sides))
    return list(found)


def sent(given: Decisions, trunk: str, way: Way, at: DivideAt | None, word: RibbonWord | None = None) -> Decisions:
    """Lead a trunk another way, and change its place of division and its ribbon work if they are given."""
    divide_at, ribbons = dict(given.divide_at), dict(given.ribbons)
    if at is not None:
        divide_at[trunk] = at
    if word is not None:
        ribbons[trunk] = word
    return replace(given, ways={**given.ways, trunk: way}, divide_at=divide_at, ribbons=ribbons)


def entered(given: Decisions, stack: str, end: str) -> Decisions:
    """Let legs enter a stack by another end."""
    return replace(given, ends={**given.ends, stack: end})
