"""Settles the divisions by a small model of their own, before any tray is chosen.

Everything here is a relaxation of plans that place every splice: it holds for each of them, whatever their trays.

* Each subunit has one of its useful divisions (``useful_divisions.py``).
* Divided at the tray, all legs of a subunit lie in trays, spliced or parked; divided at the port, those with a splice.
* Take pieces of a join that go on from each other on both sides. Two neighbours in such a chain are in one tray unless both
  sides are cut between them, for a leg that goes over the edge holds both. So of a window of the chain that no tray can hold,
  at least one inner edge is cut on both sides.
* Legs of trunks that are not joined to each other share no splice, so each of them brings its own fibre ends into a tray, those
  of the fibres that it is spliced to, and a sleeve for each run of its splices; no run goes on into another leg. Of all
  trunks together each leg brings its own ends. Rounding functions of bin packing (dual feasible functions: x to the floor of
  (k+1)x/C over k, and x itself where that is whole) turn sizes into shares of a tray. No tray holds shares of more than one
  tray, so their sum is at most the number of trays. The sum of all ends is at most what all trays hold.

The least number of legs under these is a bound on the goal ``legs``; where a plan reaches it, every division that no plan
of so few legs uses can be dropped.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

from trayopt.domain.base import DivideAt
from trayopt.domain.hardware import Tray
from trayopt.domain.job import Job
from trayopt.domain.splicing import Piece
from trayopt.rules.tray_fibres import TrayFibres
from trayopt.rules.tray_sleeves import TraySleeves
from trayopt.rules.variables import Expression, Literal
from trayopt.solver.bounds.useful_divisions import UsefulDivisions
from trayopt.solver.model import cp_sat
from trayopt.solver.model.base import Key
from trayopt.solver.model.interruptible import FOUND, new_solver
from trayopt.solver.model.literals import linear, total

EFFORT = 2.0
"""Most deterministic time for one question."""
SOON = 0.05
"""Most deterministic time for a question that asks for as many divisions as possible."""
ROUNDINGS = range(1, 7)
"""Rounding functions that turn what shares a tray into a share of it."""
FEW = 3
"""If an answer has fewer divisions than this, the others are asked for one by one: it takes longer to prove that
several are impossible together.
"""


@dataclass(frozen=True)
class Settled:
    """Divisions of least legs, and how few legs that is."""

    divisions: Mapping[Key, Sequence[int]]
    legs: int


class Divider(UsefulDivisions):
    """The division model of a job: choices among its useful divisions, each answer searched for once."""

    def _use(self, where: Mapping[Key, Mapping[int, tuple[DivideAt, ...]]]) -> None:
        super()._use(where)
        self._settled: dict[bool, Settled | None] = {}
        self._within: dict[tuple[int, bool], dict[Key, tuple[int, ...]]] = {}

    def settle(self, *, alike: bool = False) -> Settled | None:
        """Find divisions of least legs, like subunits alike where that costs none; None if there are none at all.

        With ``alike`` only divisions that keep ``same_division`` count. Either is searched for once.
        """
        if alike not in self._settled:
            self._settled[alike] = self._settle(alike=alike)
        return self._settled[alike]

    def _settle(self, *, alike: bool) -> Settled | None:
        if self.hopeless:
            return None
        model, divided = self._model(alike=alike)
        legs = self._legs(divided)
        model.minimize(1000 * legs + total(self._uses(model, divided, alike=False)))
        solver = _solver()
        status = solver.solve(model)
        if status == cp_sat.INFEASIBLE:
            return None
        if status != cp_sat.OPTIMAL:
            return Settled(self.open, 0)
        chosen = {
            key: tuple(of for of, x in options.items() if solver.boolean_value(x)) for key, options in divided.items()
        }
        return Settled(chosen, sum(self._count(key, of) for key, (of,) in chosen.items()))

    def _uses(
        self, model: cp_sat.CpModel, divided: Mapping[Key, Mapping[int, cp_sat.IntVar]], *, alike: bool
    ) -> list[cp_sat.IntVar]:
        """Make a literal for each k that a class of like subunits uses; with ``alike`` a class uses one."""
        found: list[cp_sat.IntVar] = []
        for trunk in self.job.trunks:
            classes: dict[tuple[int, int], list[Key]] = {}
            for subunit in trunk.subunits:
                if (key := (trunk.id, subunit.number)) in self.open:
                    classes.setdefault((subunit.ribbons, subunit.ribbon_fibres), []).append(key)
            for keys in classes.values():
                uses = {of: model.new_bool_var("") for key in keys for of in self.open[key]}
                for key in keys:
                    for of in self.open[key]:
                        model.add_implication(divided[key][of], uses[of])
                if alike:
                    model.add_exactly_one(list(uses.values()))
                found += uses.values()
        return found

    def within(self, legs: int, *, alike: bool = False) -> dict[Key, tuple[int, ...]]:
        """Return every division that a choice of at most this many legs uses; all divisions if that is not settled soon."""
        if (legs, alike) not in self._within:
            self._within[legs, alike] = self._seen(legs, alike=alike)
        return self._within[legs, alike]

    def _seen(self, legs: int, *, alike: bool) -> dict[Key, tuple[int, ...]]:
        """Ask for choices of so few legs with divisions that none had before, with many of them where those are found soon."""
        model, divided = self._model(alike=alike)
        model.add(self._legs(divided) <= legs)
        seen: dict[Key, set[int]] = {key: set() for key in self.open}
        many = True
        while unseen := [x for key, options in divided.items() for of, x in options.items() if of not in seen[key]]:
            solver, status = _one_of(model, unseen, most=many)
            if many and (status not in FOUND or sum(map(solver.boolean_value, unseen)) < FEW):
                many = False
                continue
            if status == cp_sat.INFEASIBLE:
                break
            if status not in FOUND:
                return dict(self.open)
            for key, options in divided.items():
                seen[key] |= {of for of, x in options.items() if solver.boolean_value(x)}
        return {key: tuple(of for of in self.open[key] if of in seen[key]) for key in self.open}

    def only(self, divisions: Mapping[Key, Sequence[int]], legs: int, *, alike: bool = False) -> bool:
        """Whether every choice of at most this many legs uses the given divisions only."""
        model, divided = self._model(alike=alike)
        model.add(self._legs(divided) <= legs)
        others = [x for key, options in divided.items() for of, x in options.items() if of not in divisions[key]]
        return not others or _one_of(model, others, most=False)[1] == cp_sat.INFEASIBLE

    def _legs(self, divided: Mapping[Key, Mapping[int, cp_sat.IntVar]]) -> Expression:
        return total(self._count(key, of) * x for key, options in divided.items() for of, x in options.items())

    def _model(self, *, alike: bool) -> tuple[cp_sat.CpModel, dict[Key, dict[int, cp_sat.IntVar]]]:
        model = cp_sat.CpModel()
        return model, self.post(model, alike=alike)

    def post(self, model: cp_sat.CpModel, *, alike: bool) -> dict[Key, dict[int, cp_sat.IntVar]]:
        """Put the divisions into a model with all that is known of them: a literal for each k of each spliced subunit."""
        divided = {key: {of: model.new_bool_var("") for of in open_} for key, open_ in self.open.items()}
        for options in divided.values():
            model.add_exactly_one(list(options.values()))
        cuts: dict[tuple[Piece, Piece], Literal] = {}

        def cut(before: Piece, after: Piece) -> Literal:
            """Literal of an edge that is cut on both sides; 1 if both are edges of subunits."""
            if (before, after) not in cuts:
                sides = [
                    self._side_cut(divided, a.trunk, a.last, b.first)
                    for a, b in ((before.a, after.a), (before.b, after.b))
                ]
                sides = [side for side in sides if side is not None]
                literal: Literal = 1
                if sides:
                    literal = model.new_bool_var("")
                    for side in sides:
                        model.add(literal <= side)
                cuts[before, after] = literal
            return cuts[before, after]

        if alike:
            self._uses(model, divided, alike=True)
        self._pack(model, divided)
        for window in self._windows:
            edges = [cut(before, after) for before, after in pairwise(window)]
            if not any(isinstance(edge, int) for edge in edges):
                model.add_bool_or(edges)
        return divided

    def _pack(self, model: cp_sat.CpModel, divided: Mapping[Key, Mapping[int, cp_sat.IntVar]]) -> None:
        """Let the shares of trays that legs take be no more than there are trays."""
        trays = self.job.enclosure.trays
        most_ends, most_sleeves = (2 * max(tray.fibres for tray in trays), max(tray.sleeves for tray in trays))
        largest = max(tray.sleeve_fibres for tray in trays)
        chosen = [(key, of, x) for key, options in divided.items() for of, x in options.items()]
        legs = {(key, of): self._fewest_legs(key, of) for key, of, _ in chosen}
        needs = {choice: [self._needs(leg, largest) for leg in found] for choice, found in legs.items()}
        for apart in unjoined(self.job):
            mine = [(needs[key, of], x) for key, of, x in chosen if key[0] in apart]
            if TrayFibres.id in self.must:
                self._share_trays(model, [([ends for ends, _ in need], x) for need, x in mine], most_ends)
            if TraySleeves.id in self.must:
                self._share_trays(model, [([sleeves for _, sleeves in need], x) for need, x in mine], most_sleeves)
        if TrayFibres.id in self.must:
            own = [([self.job.ends(leg) for leg in legs[key, of]], x) for key, of, x in chosen]
            self._share_trays(model, own, most_ends)
            room = 2 * self.job.enclosure.fibres
            model.add(total(sum(sizes) * x for sizes, x in own) <= room)

    def _share_trays(self, model: cp_sat.CpModel, sizes: Sequence[tuple[Sequence[int], Literal]], room: int) -> None:
        """Let what is chosen take no more trays than there are, where no tray holds more than ``room``."""
        trays = sum(stack.positions for stack in self.job.enclosure.stacks)
        for k in ROUNDINGS:
            shares = total(sum(share_of_tray(size, room, k) for size in found) * x for found, x in sizes)
            model.add(shares <= trays * k * room)

    def _side_cut(
        self, divided: Mapping[Key, Mapping[int, cp_sat.IntVar]], trunk: str, last: int, first: int
    ) -> Expression | None:
        """Sum of the divisions of a subunit that cut between two neighbouring fibres; None at the edge of the subunit."""
        subunit = self.job.trunk_by_id[trunk].subunit_of(last)
        if first > subunit.last:
            return None
        offset = first - subunit.first
        return total(x for of, x in divided[trunk, subunit.number].items() if offset % (subunit.fibres // of) == 0)

    @cached_property
    def _windows(self) -> list[tuple[Piece, ...]]:
        """For each piece, the shortest chain that begins with it and fits no tray."""
        trays = self.job.enclosure.trays
        found = []
        for chain in _chains(self.job.pieces):
            end = 0
            for start in range(len(chain)):
                end = max(end, start + 1)
                while end <= len(chain) and any(self._fits(tray, *_load(chain[start:end], tray)) for tray in trays):
                    end += 1
                if end > len(chain):
                    break
                found.append(tuple(chain[start:end]))
        return [window for window in found if len(window) > 1]


def unjoined(job: Job) -> list[frozenset[str]]:
    """Return sets of trunks that are not joined to each other: one from each trunk on, then by those with the most splices.

    They come in the order of the trunks, so that models made from them are the same in every process.
    """
    joined: dict[str, set[str]] = {trunk.id: set() for trunk in job.trunks}
    for a, b in job.joined_pairs:
        joined[a].add(b)
        joined[b].add(a)
    weight = {trunk.id: job.spliced_in(trunk) for trunk in job.trunks}
    found: dict[frozenset[str], None] = {}
    for first in joined:
        chosen = {first}
        for name in sorted(joined, key=lambda trunk: -weight[trunk]):
            if not joined[name] & chosen:
                chosen.add(name)
        found[frozenset(chosen)] = None
    return list(found)


def share_of_tray(size: int, room: int, k: int) -> int:
    """Share of a tray with so much room that a leg takes, in parts of 1 / (k × room): a dual feasible function."""
    if size * (k + 1) % room == 0:
        return size * k
    return size * (k + 1) // room * room


def _chains(pieces: Sequence[Piece]) -> list[list[Piece]]:
    """Cut the sequence of pieces wherever a piece does not continue the piece before it on both sides."""
    chains: list[list[Piece]] = []
    for piece in pieces:
        last = chains[-1][-1] if chains else None
        goes_on = (
            last is not None
            and last.a.trunk == piece.a.trunk
            and last.b.trunk == piece.b.trunk
            and last.a.last + 1 == piece.a.first
            and last.b.last + 1 == piece.b.first
        )
        if goes_on:
            chains[-1].append(piece)
        else:
            chains.append([piece])
    return chains


def _load(chain: Sequence[Piece], tray: Tray) -> tuple[int, int]:
    """Fibre ends and sleeves that a chain needs at least; pieces of one run of a sleeve count by their splices together."""
    splices = sum(piece.count for piece in chain)
    return 2 * splices, -(-splices // tray.sleeve_fibres)


def _one_of(
    model: cp_sat.CpModel, literals: Sequence[Literal], *, most: bool
) -> tuple[cp_sat.CpSolver, cp_sat.CpSolverStatus]:
    """Ask for a choice in which at least one of these literals holds, or as many as are found soon."""
    trial = model.clone()
    trial.add(linear(total(literals)) >= 1)
    if most:
        trial.maximize(linear(total(literals)))
    solver = _solver(SOON if most else EFFORT)
    return solver, solver.solve(trial)


def _solver(effort: float = EFFORT) -> cp_sat.CpSolver:
    solver = new_solver()
    solver.parameters.max_deterministic_time = effort
    return solver
