"""A bound on the splices that stay without a tray: which pieces of joins can be placed, on which stack, with no trays named.

It holds for every plan, whatever its divisions, because physical rules at must and what always holds bind in each:

* Trays hold so many fibres in all, and those of a stack no more than theirs.
* The placed pieces of a subunit divided at the tray lie on one stack, and their positions do not fall along it. Where such
  subunits close a ring, all positions on it are equal: its placed splices lie in one tray, or one of its pieces stays out
  whole. Rings are found in the answer itself and forbidden one by one.
"""

from __future__ import annotations

from typing import Any

from ortools.sat.python import cp_model

from trayopt.domain.cablework import Subunit
from trayopt.domain.job import Job
from trayopt.solve.interruptible import FOUND, solve_one
from trayopt.solve.literals import Literals, total
from trayopt.solve.rings import Ring, overfull_rings, sides
from trayopt.solve.stop import Clock

EFFORT = 2.0
"""Most deterministic time for one answer."""
MOST_PIECES = 2_000
"""Of more pieces than this only the room of all trays is counted."""


def without_room(job: Job) -> int:
    """Count the splices for which all trays together have no place, where that is a must."""
    if job.rules["tray_fibres"].level != "must":
        return 0
    return max(0, job.splices - job.enclosure.fibres)


def least_unplaced(job: Job, clock: Clock) -> int:
    """Bound the splices without a tray over all plans of a job."""
    least = without_room(job)
    at_tray = {trunk.id for trunk in job.trunks if trunk.divide_at == "tray"}
    if job.rules["tray_fibres"].level != "must" or not at_tray or len(job.pieces) > MOST_PIECES:
        return least
    box = _Box(job, at_tray)
    room = max(stack.tray.fibres for stack in job.enclosure.stacks)
    while not clock.over:
        box.cp.minimize(job.splices - total(box.placed))
        status, solver = solve_one(box.cp, clock, EFFORT)
        if status not in FOUND:
            break
        least = max(least, int(-(-(solver.best_objective_bound - 1e-6) // 1)))
        placed = [solver.value(number) for number in box.placed]
        rings = overfull_rings(job, box.together, room, placed)
        if not rings or status != cp_model.OPTIMAL:
            break
        for ring in rings:
            box.forbid(ring, room)
    return least


class _Box(Literals):
    """Pieces of joins on the stacks of a box."""

    def __init__(self, job: Job, at_tray: set[str]) -> None:
        super().__init__()
        self.job = job
        self.at_tray = at_tray
        self.inside = [self.literal(f"{piece} is placed") for piece in job.pieces]
        self.placed: list[Any] = []
        stacks = job.enclosure.stacks
        on: dict[tuple[str, int], list[Any]] = {}
        loads: list[list[Any]] = [[] for _ in stacks]
        for piece, inside in zip(job.pieces, self.inside, strict=True):
            here = [self.literal("") for _ in stacks]
            self.require(total(here) == inside)
            numbers = [self.number(piece.count, "") for _ in stacks]
            for number, literal, load in zip(numbers, here, loads, strict=True):
                self.require(number <= piece.count * literal)
                self.require(number >= literal)
                load.append(number)
            self.placed.append(total(numbers))
            for trunk, number_of, _ in sides(job, piece):
                if trunk in at_tray:
                    if (trunk, number_of) not in on:
                        on[trunk, number_of] = [self.literal("") for _ in stacks]
                        self.cp.add_exactly_one(on[trunk, number_of])
                    for literal, stack in zip(here, on[trunk, number_of], strict=True):
                        self.cp.add_implication(literal, stack)
        for stack, load in zip(stacks, loads, strict=True):
            self.require(total(load) <= stack.positions * stack.tray.fibres)

    def together(self, subunit: Subunit) -> bool:
        """Whether a subunit always keeps together."""
        return subunit.trunk in self.at_tray

    def forbid(self, ring: Ring, room: int) -> None:
        """Let a ring lie in one tray, or leave a piece of it out whole."""
        over = sum(self.job.pieces[at].count for at in ring.pieces) - room
        out = total(self.no(self.inside[at]) for at in ring.pieces)
        self.require(total(self.placed[at] for at in ring.pieces) <= room + over * out)
