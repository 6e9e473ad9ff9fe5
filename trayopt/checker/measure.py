"""The plan document of an assignment: every figure of spec section 7, from plain data."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from trayopt.domain.assignment import Assignment
from trayopt.domain.cablework import Leg, Subunit
from trayopt.domain.hardware import Place
from trayopt.domain.job import Job
from trayopt.domain.plan import (
    GoalName,
    Plan,
    PlanBroken,
    PlanGoal,
    PlanJob,
    PlanLeg,
    PlanSolver,
    PlanSplice,
    PlanThrough,
    PlanTray,
    PlanTrunk,
    PlanUnplaced,
    Status,
    Stopped,
)
from trayopt.domain.ranges import Run
from trayopt.goals.crossings import crossing_pairs
from trayopt.goals.registry import order
from trayopt.rules.exposed import Exposed
from trayopt.rules.judge import judge
from trayopt.track.laid import Laid, LaidLeg


def measure(
    job: Job,
    assignment: Assignment,
    *,
    status: Status,
    stopped: Stopped,
    bounds: Mapping[GoalName, int | None],
    solver: PlanSolver,
    goal_order: Sequence[str] | None = None,
    by: Mapping[GoalName, str | None] | None = None,
) -> Plan:
    """Write the whole plan document of an assignment.

    Parameters
    ----------
    job, assignment
        The job, and legs that its subunits can be divided into, at places that its enclosure has.
    status, stopped, bounds, solver
        Statements of the search about itself; ``bounds`` has only goals with a bound.
    goal_order
        Order of the goals where it is not the usual one (see ``trayopt.goals.registry.order``).
    by
        The author of each bound, if it is known.

    Raises
    ------
    ValueError
        Where the goals cannot be ordered so.
    KeyError
        Where a trunk has a placed leg and no way, or a place does not exist.
    """
    laid = Laid(job, assignment)
    return document(laid, status=status, stopped=stopped, bounds=bounds, solver=solver, goal_order=goal_order, by=by)


def document(
    laid: Laid,
    *,
    status: Status,
    stopped: Stopped,
    bounds: Mapping[GoalName, int | None],
    solver: PlanSolver,
    goal_order: Sequence[str] | None = None,
    by: Mapping[GoalName, str | None] | None = None,
) -> Plan:
    """Write the whole plan document of a plan as it lies; see ``measure``."""
    job = laid.job
    return Plan(
        job=PlanJob(title=job.title, digest=job.digest),
        status=status,
        stopped=stopped,
        goals=tuple(
            PlanGoal(goal=goal.id, value=goal.measure(job, laid), bound=bounds.get(goal.id), by=(by or {}).get(goal.id))
            for goal in order(goal_order)
        ),
        trunks=tuple(_trunks(laid)),
        through=tuple(_through(laid)),
        legs=tuple(leg_row(laid, leg) for leg in legs_of(laid)),
        trays=tuple(_trays(laid)),
        tied=tuple(tuple(map(str, group)) for group in laid.tied),
        crossings=tuple(crossing_pairs(laid)),
        broken=tuple(
            PlanBroken(rule=found.rule, level=found.level, subject=found.subject, because=found.because)
            for found in judge(job, laid)
        ),
        unplaced=tuple(PlanUnplaced(a=str(a), b=str(b)) for a, b in unplaced_runs(laid)),
        solver=solver,
    )


def legs_of(laid: Laid) -> Iterator[Leg]:
    """Yield every leg of every trunk; a subunit without a placed leg is one leg."""
    for subunit in laid.job.subunits:
        yield from subunit.legs(laid.division.get((subunit.trunk, subunit.number), 1))


def leg_row(laid: Laid, leg: Leg) -> PlanLeg:
    """Write one leg, placed or not."""
    subunit = laid.job.subunit(leg)
    placed = _placed(laid, leg)
    return PlanLeg(
        leg=str(leg),
        trunk=leg.trunk,
        subunit=leg.subunit,
        group=leg.group,
        of=leg.of,
        fibres=subunit.leg_span(leg),
        stack=placed.place.stack if placed else None,
        position=placed.place.position if placed else None,
        end=placed.end if placed else None,
        route_mm=placed.route_mm if placed else None,
        entrance_mark_mm=laid.job.trunk_by_id[leg.trunk].transition_mm + placed.free_mm if placed else None,
        cut_mm=Exposed().parameters(laid.job).cut_of(laid, placed) if placed else None,
        tube_mm=_tube_mm(laid, subunit, leg.of) if placed else None,
        idle=laid.job.spliced_fibres(leg) == 0,
    )


def unplaced_runs(laid: Laid) -> list[tuple[Run, Run]]:
    """Return the longest runs within a join whose splices have no tray, in the order of the joins."""
    runs: list[tuple[Run, Run]] = []
    before = -1
    for piece, place in laid.piece_places:
        if place is not None:
            before = -1
        elif before == piece.join:
            a, b = runs[-1]
            runs[-1] = Run(a.trunk, a.first, piece.a.last), Run(b.trunk, b.first, piece.b.last)
        else:
            runs.append((piece.a, piece.b))
            before = piece.join
    return runs


def parked_runs(laid: Laid, place: Place) -> list[Run]:
    """Return the longest runs of unspliced fibres of the legs in a tray, by trunk, then fibre."""
    runs: list[Run] = []
    for leg in laid.trays.get(place, ()):
        at, last = laid.job.subunit(leg).leg_run(leg)
        spliced = laid.job.spliced[leg.trunk, leg.subunit]
        for start, end in (*spliced, (last + 1, last + 1)):
            free = min(start - 1, last)
            if at <= free:
                if runs and runs[-1].trunk == leg.trunk and runs[-1].last + 1 == at:
                    runs[-1] = Run(leg.trunk, runs[-1].first, free)
                else:
                    runs.append(Run(leg.trunk, at, free))
            at = max(at, end + 1)
    return runs


def sleeve_pieces(laid: Laid, place: Place) -> Iterator[tuple[Run, Run]]:
    """Yield what lies in each sleeve of a tray, in the order of their numbers."""
    size = laid.tray(place).sleeve_fibres
    for run in laid.sleeve_runs[place]:
        yield from run.cut(size)


def _placed(laid: Laid, leg: Leg) -> LaidLeg | None:
    """Return a leg as it lies; None where it has no tray."""
    return next((item for item in laid.by_subunit.get((leg.trunk, leg.subunit), ()) if item.leg == leg), None)


def _tube_mm(laid: Laid, subunit: Subunit, of: int) -> float | None:
    goes = laid.traveller(subunit, of)
    return None if goes is None else goes.diameter_mm


def _trunks(laid: Laid) -> Iterator[PlanTrunk]:
    for trunk in laid.job.trunks:
        way = laid.ways.get(trunk.id)
        yield PlanTrunk(
            trunk=trunk.id,
            port=way.port if way else None,
            travel=way.travel if way else None,
            loops=way.loops if way else None,
            divide_at=laid.divide_at.get(trunk.id),
            ribbons=laid.ribbons.get(trunk.id) if trunk.may_work_ribbons else None,
            strip_mm=Exposed().parameters(laid.job).strip_of(laid, trunk.id) if way else None,
        )


def _through(laid: Laid) -> Iterator[PlanThrough]:
    for item in laid.job.through:
        window = laid.window_at.get(item.ends[0])
        trunk = laid.job.trunk_by_id[item.ends[0]]
        yield PlanThrough(
            trunk=item.trunk,
            ends=item.ends,
            window_mm=window.length_mm if window else None,
            loops=window.loops if window and trunk.uncut else None,
            cut=tuple(unit.number for unit in trunk.subunits),
            uncut=trunk.uncut,
        )


def _trays(laid: Laid) -> Iterator[PlanTray]:
    for place in laid.trays:
        splices = tuple(
            PlanSplice(sleeve=number, a=str(a), b=str(b))
            for number, (a, b) in enumerate(sleeve_pieces(laid, place), start=1)
        )
        yield PlanTray(
            stack=place.stack,
            position=place.position,
            ends=laid.ends_at(place),
            sleeves=len(splices),
            splices=splices,
            parked=tuple(str(run) for run in parked_runs(laid, place)),
        )
