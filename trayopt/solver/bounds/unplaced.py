"""A bound on the splices that stay without a tray: which splices can be placed at all, on which stack, no trays named.

It holds for every plan, whatever its divisions, because physical rules at must and what always holds bind in each:

* Trays hold so many fibre ends in all, and those of a stack no more than theirs.
* A subunit of a trunk that is divided at the tray alone lies on one stack whole, or not at all: whole in one leg, or opened, all
  its legs in trays. Its parked fibres take room as its splices do, and their positions do not fall along it. Where such
  subunits close a ring, all positions on it are equal: it lies in one tray, or stays out; where they lead from one leg of a
  subunit to the next, in two. Rings are found in the answer itself and forbidden, so many times; what is left is a bound at
  any time.
* Ways and guides take so many tubes, coiled ones among them: they are counted by stack, by class of like subunits.
"""

from __future__ import annotations

from collections.abc import Sequence

from trayopt.domain.cablework import Subunit
from trayopt.domain.job import Job
from trayopt.rules.tray_fibres import TrayFibres
from trayopt.rules.variables import Expression
from trayopt.solver.bounds.rings import Block, Ring, blocks_of, overfull_rings
from trayopt.solver.bounds.stack_counts import StackCounts
from trayopt.solver.bounds.tray_room import without_room
from trayopt.solver.model import cp_sat
from trayopt.solver.model.base import Key
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.groups import Question
from trayopt.solver.model.interruptible import FOUND, solve_one, whole_bound
from trayopt.solver.model.literals import Literals, linear, total
from trayopt.solver.model.ways import Partings

EFFORT = 2.0
"""Most deterministic time for one answer."""
MOST_BLOCKS = 500
"""Most blocks for which rings are looked for: with more, only the room of all trays is counted."""
ROUNDS = 30
"""Most times that rings are looked for."""


def out_by_stack_counts(job: Job, clock: Clock) -> int:
    """Bound the splices without a tray by what ways, guides and stacks take of each class of subunits."""
    counts = StackCounts(Question(job, kinds=("physical",)), all_placed=False)
    counts.hold_all()
    counts.minimize(counts.unplaced())
    status, solver = solve_one(counts.cp, clock, EFFORT)
    return whole_bound(solver.best_objective_bound) if status in FOUND else 0


def out_of_trays(job: Job, clock: Clock, *, divide_at: Partings | None = None) -> int:
    """Bound the splices without a tray by the room of trays and stacks, and by rings.

    ``divide_at`` narrows where trunks may be divided; one that may be at the port counts as if it was.
    """
    least = without_room(job)
    at_tray = {t.id for t in job.trunks if tuple((divide_at or {}).get(t.id, t.divide_at)) == ("tray",)}
    if job.rules[TrayFibres.id].level != "must" or not at_tray or len(blocks := blocks_of(job)) > MOST_BLOCKS:
        return least
    box = _Box(job, blocks, at_tray)
    room = max(tray.fibres for tray in job.enclosure.trays)
    for _ in range(ROUNDS):
        if clock.over:
            break
        box.cp.minimize(linear(job.splices - total(box.placed)))
        status, solver = solve_one(box.cp, clock, EFFORT)
        if status not in FOUND:
            break
        least = max(least, whole_bound(solver.best_objective_bound))
        placed = [solver.value(number) for number in box.placed]
        rings = overfull_rings(job, box.together, room, placed)
        if not rings or status != cp_sat.OPTIMAL:
            break
        for ring in rings:
            box.forbid(ring)
    return least


class _Box(Literals):
    """Blocks of splices and subunits on the stacks of a box."""

    def __init__(self, job: Job, blocks: Sequence[Block], at_tray: set[str]) -> None:
        super().__init__()
        self.job = job
        self.blocks = blocks
        self.at_tray = at_tray
        self._on: dict[Key, list[cp_sat.IntVar]] = {}
        self.placed: list[Expression] = []
        """How many splices of each block are placed."""
        stacks = job.enclosure.stacks
        loads: list[list[Expression]] = [[] for _ in stacks]
        for block in blocks:
            whole = [key for key in block.keys if key[0] in at_tray]
            here: list[Expression]
            if whole:
                here = [block.splices * literal for literal in self._whole(whole[0], loads)]
                for other in whole[1:]:
                    for one, same in zip(self._whole(whole[0], loads), self._whole(other, loads), strict=True):
                        self.require(one == same)
            else:
                here = [self.number(block.splices, "") for _ in stacks]
                self.require(total(here) <= block.splices)
            for number, load in zip(here, loads, strict=True):
                load.append(2 * number)
            self.placed.append(total(here))
        for stack, load in zip(stacks, loads, strict=True):
            self.require(total(load) <= 2 * sum(tray.fibres for tray in stack.by_position))

    def _whole(self, key: Key, loads: list[list[Expression]]) -> list[cp_sat.IntVar]:
        """Return a literal a stack for a subunit that is placed whole; its parked fibres are part of the loads."""
        if key not in self._on:
            subunit = self.job.subunit_of_leg[key]
            self._on[key] = [self.literal(f"{subunit.name} on {stack.id}") for stack in self.job.enclosure.stacks]
            self.cp.add_at_most_one(self._on[key])
            parked = subunit.fibres - self.job.spliced_fibres(subunit.leg(1, 1))
            for literal, load in zip(self._on[key], loads, strict=True):
                load.append(parked * literal)
        return self._on[key]

    def together(self, subunit: Subunit) -> bool:
        """Whether a subunit always keeps together."""
        return subunit.trunk in self.at_tray

    def forbid(self, ring: Ring) -> None:
        """Leave a ring out: each of its subunits is placed whole or not at all, and with it the next one round."""
        first = ring.subunits[0]
        self.require(total(self._on[first.trunk, first.number]) <= 0)
