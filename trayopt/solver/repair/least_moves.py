"""A bound on how many given legs have to move, from a small model of trays alone.

Ribbons that are spliced to each other lie in one tray in every plan, whatever the divisions are. The model knows such bundles
of ribbons, idle ribbons that may be parked, what the trays hold, and the order of the legs of a subunit that is divided at the
tray; it knows nothing of tubes, ways and guides. What it proves to be the least holds for every plan that keeps every must.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping
from itertools import chain, combinations
from typing import NamedTuple

from trayopt.domain.decision import Decision, RunAt
from trayopt.domain.hardware import Place
from trayopt.domain.job import Job
from trayopt.domain.tied import tied
from trayopt.rules.tray_fibres import TrayFibres
from trayopt.rules.tray_sleeves import TraySleeves
from trayopt.solver.model import cp_sat
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.decisions import Given, lying_in
from trayopt.solver.model.interruptible import FOUND, solve_one, whole_bound

Ribbon = tuple[str, int, int]
"""Trunk, subunit and ribbon."""
EFFORT = 10.0
"""Most deterministic time for this bound."""

_Load = Callable[[Place], Mapping[int, int]]
_Room = Callable[[Place], int]


class LeastMoves(NamedTuple):
    """What the legs that move weigh at least, and which runs move where the trays are all that counts."""

    bound: int
    moved: tuple[RunAt, ...]


def least_moves(
    job: Job, given: Given, fixed: Iterable[Decision], weight: int, clock: Clock, part: float = 1.0
) -> LeastMoves:
    """Bound from below what the legs that move weigh in sum, and guess which legs these are.

    Parameters
    ----------
    job, given
        The job, and the decisions to stay near to.
    fixed
        What is built: runs in it lie where they are.
    weight
        What one moved leg weighs.
    clock, part
        What may be spent, and the part of it that is for this; where it runs out the bound is what is proven by then.
    """
    model = _Trays(job)
    runs = given.in_job(job).runs
    gone = [run for run in runs if run.place not in job.enclosure.place_rank]
    stays = {run: model.cp.new_bool_var(str(run.run)) for run in runs if run.place in job.enclosure.place_rank}
    for run, literal in stays.items():
        for bundle in model.bundles_of(run):
            model.cp.add_implication(literal, model.at(bundle, run.place))
    known = [
        fact
        for fact in fixed
        if isinstance(fact, RunAt) and fact.trunk in job.trunk_by_id and fact.place in job.enclosure.place_rank
    ]
    for fact in known:
        for bundle in model.bundles_of(fact):
            model.cp.add_bool_or([model.at(bundle, fact.place)])
    model.hold()
    moved = cp_sat.LinearExpr.sum([~literal for literal in stays.values()])
    model.cp.minimize(weight * (moved + len(gone)))
    status, solver = solve_one(model.cp, clock, EFFORT, part=part)
    if status not in FOUND:
        return LeastMoves(0, runs)
    bound = max(0, whole_bound(solver.best_objective_bound))
    return LeastMoves(bound, (*gone, *(run for run, literal in stays.items() if not solver.boolean_value(literal))))


class _Trays:
    """Bundles of ribbons and the trays in which they may stay."""

    def __init__(self, job: Job) -> None:
        self.job = job
        self.cp = cp_sat.CpModel()
        self._bundle = _bundles(job)
        self._at: dict[tuple[int, Place], cp_sat.IntVar] = {}

    def at(self, bundle: int, place: Place) -> cp_sat.IntVar:
        """Whether a bundle lies at a place; only places that something asks for are known."""
        if (bundle, place) not in self._at:
            self._at[bundle, place] = self.cp.new_bool_var(f"{bundle} at {place}")
        return self._at[bundle, place]

    def bundles_of(self, run: RunAt) -> set[int]:
        """Return the bundles that hold the fibres that tell where a run lies."""
        return {self._bundle[_ribbon(self.job, run.trunk, fibre)] for fibre in lying_in(self.job, run)}

    def hold(self) -> None:
        """Hold bundles to one place each, trays to what they take, and subunits divided at the tray to their order."""
        by_bundle: dict[int, list[cp_sat.IntVar]] = defaultdict(list)
        by_place: dict[Place, list[int]] = defaultdict(list)
        for (bundle, place), literal in self._at.items():
            by_bundle[bundle].append(literal)
            by_place[place].append(bundle)
        for literals in by_bundle.values():
            self.cp.add_at_most_one(literals)
        for rule, load, room in self._loads():
            if self.job.rules[rule].level == "must":
                for place, bundles in by_place.items():
                    held = sum(load(place)[bundle] * self._at[bundle, place] for bundle in bundles)
                    self.cp.add(held <= room(place))
        for before, after in self._torn():
            self.cp.add_bool_or([~before, ~after])

    def _loads(self) -> Iterator[tuple[str, _Load, _Room]]:
        ends: dict[int, int] = defaultdict(int)
        for (trunk, number, _), bundle in self._bundle.items():
            ends[bundle] += self.job.subunit_of_leg[trunk, number].ribbon_fibres
        sleeves: dict[int, dict[int, int]] = defaultdict(lambda: defaultdict(int))
        sizes = {tray.sleeve_fibres for tray in self.job.enclosure.trays}
        for run in self.job.sleeve_runs:
            bundle = self._bundle[_ribbon(self.job, run.a.trunk, run.a.first)]
            for size in sizes:
                sleeves[size][bundle] += run.sleeves(size)
        tray = self.job.enclosure.tray_at
        yield TrayFibres.id, lambda _: ends, lambda place: 2 * tray(place).fibres
        yield TraySleeves.id, lambda place: sleeves[tray(place).sleeve_fibres], lambda place: tray(place).sleeves

    def _torn(self) -> Iterator[tuple[cp_sat.IntVar, cp_sat.IntVar]]:
        """Yield pairs that no subunit divided at the tray can have: each further ribbon lies no nearer to the base."""
        places: dict[int, list[Place]] = defaultdict(list)
        for bundle, place in self._at:
            places[bundle].append(place)
        for subunit in self.job.subunits:
            if self.job.trunk_by_id[subunit.trunk].divided_only_at != "tray":
                continue
            own = [
                (ribbon, self._bundle[key])
                for ribbon in range(1, subunit.ribbons + 1)
                if (key := (subunit.trunk, subunit.number, ribbon)) in self._bundle
            ]
            for (first, one), (second, other) in combinations(own, 2):
                for here in places[one]:
                    for there in places[other]:
                        rise = there.position - here.position
                        if one != other and (here.stack != there.stack or not 0 <= rise <= second - first):
                            yield self._at[one, here], self._at[other, there]


def _ribbon(job: Job, trunk: str, fibre: int) -> Ribbon:
    subunit = job.trunk_by_id[trunk].subunit_of(fibre)
    return trunk, subunit.number, subunit.ribbon_of(fibre)


def _bundles(job: Job) -> Mapping[Ribbon, int]:
    """Return every ribbon that may lie in a tray the number of its bundle: the ribbons that splices bind to one tray."""
    pairs = [
        (_ribbon(job, piece.a.trunk, piece.a.first), _ribbon(job, piece.b.trunk, piece.b.first)) for piece in job.pieces
    ]
    parked = (
        (subunit.trunk, subunit.number, ribbon)
        for subunit in job.subunits
        if job.spliced[subunit.trunk, subunit.number] and "tray" in job.trunk_by_id[subunit.trunk].divide_at
        for ribbon in range(1, subunit.ribbons + 1)
    )
    return tied(chain(chain.from_iterable(pairs), parked), pairs)
