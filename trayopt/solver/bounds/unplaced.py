"""A bound on the splices that stay without a tray: which splices can be placed at all, on which stack, no trays named.

It holds for every plan, whatever its divisions, because physical rules at must and what always holds bind in each:

* Trays hold so many fibres in all, and those of a stack no more than theirs.
* The placed splices of a subunit divided at the tray lie on one stack, and their positions do not fall along it. Where such
  subunits close a ring, all positions on it are equal: its placed splices lie in one tray, or one of its blocks stays out
  whole. Rings are found in the answer itself and forbidden, so many times; what is left is a bound at any time.
* Ways and guides take so many tubes, coiled ones among them: they are counted by stack, by class of like subunits.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from ortools.sat.python import cp_model

from trayopt.domain.cablework import Subunit
from trayopt.domain.job import Job
from trayopt.rules.tray_fibres import TrayFibres
from trayopt.solver.bounds.rings import Block, Ring, blocks_of, overfull_rings
from trayopt.solver.bounds.stack_counts import StackCounts
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.groups import Question
from trayopt.solver.model.interruptible import FOUND, solve_one, whole_bound
from trayopt.solver.model.literals import Literals, linear, total

EFFORT = 2.0
"""Most deterministic time for one answer."""
MOST_BLOCKS = 500
"""Of more blocks than this only the room of all trays is counted."""
ROUNDS = 30
"""So many times rings are looked for."""


def without_room(job: Job) -> int:
    """Count the splices for which all trays together have no place, where that is a must."""
    if job.rules[TrayFibres.id].level != "must":
        return 0
    return max(0, job.splices - job.enclosure.fibres)


def out_by_stack_counts(job: Job, clock: Clock) -> int:
    """Bound the splices without a tray by what ways, guides and stacks take of each class of subunits."""
    counts = StackCounts(Question(job, kinds=("physical",)), all_placed=False)
    counts.hold_all()
    counts.cp.minimize(counts.unplaced())
    status, solver = solve_one(counts.cp, clock, EFFORT)
    return whole_bound(solver.best_objective_bound) if status in FOUND else 0


def out_of_trays(job: Job, clock: Clock) -> int:
    """Bound the splices without a tray by the room of trays and stacks, and by rings."""
    least = without_room(job)
    at_tray = {trunk.id for trunk in job.trunks if trunk.divide_at == "tray"}
    if job.rules[TrayFibres.id].level != "must" or not at_tray or len(blocks := blocks_of(job)) > MOST_BLOCKS:
        return least
    box = _Box(job, blocks, at_tray)
    room = max(stack.tray.fibres for stack in job.enclosure.stacks)
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
        if not rings or status != cp_model.OPTIMAL:
            break
        for ring in rings:
            box.forbid(ring, room)
    return least


class _Box(Literals):
    """Blocks of splices on the stacks of a box."""

    def __init__(self, job: Job, blocks: Sequence[Block], at_tray: set[str]) -> None:
        super().__init__()
        self.blocks = blocks
        self.at_tray = at_tray
        self.inside = [self.literal(f"{block} is placed") for block in blocks]
        self.placed: list[Any] = []
        stacks = job.enclosure.stacks
        on: dict[tuple[str, int], list[Any]] = {}
        loads: list[list[Any]] = [[] for _ in stacks]
        for block, inside in zip(blocks, self.inside, strict=True):
            here = [self.literal("") for _ in stacks]
            self.require(total(here) == inside)
            numbers = [self.number(block.splices, "") for _ in stacks]
            for number, literal, load in zip(numbers, here, loads, strict=True):
                self.require(number <= block.splices * literal)
                self.require(number >= literal)
                load.append(number)
            self.placed.append(total(numbers))
            for trunk, subunit, _ in (block.a, block.b):
                if trunk in at_tray:
                    if (trunk, subunit) not in on:
                        on[trunk, subunit] = [self.literal("") for _ in stacks]
                        self.cp.add_exactly_one(on[trunk, subunit])
                    for literal, stack in zip(here, on[trunk, subunit], strict=True):
                        self.cp.add_implication(literal, stack)
        for stack, load in zip(stacks, loads, strict=True):
            self.require(total(load) <= stack.positions * stack.tray.fibres)

    def together(self, subunit: Subunit) -> bool:
        """Whether a subunit always keeps together."""
        return subunit.trunk in self.at_tray

    def forbid(self, ring: Ring, room: int) -> None:
        """Let a ring lie in one tray, or leave a block of it out whole."""
        over = sum(self.blocks[at].splices for at in ring.blocks) - room
        out = total(self.no(self.inside[at]) for at in ring.blocks)
        self.require(total(self.placed[at] for at in ring.blocks) <= room + over * out)
