"""The nearest good plan: what is built stays, every must is kept, and as little as can be is changed."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

from trayopt.checker import measure
from trayopt.domain.hardware import Place
from trayopt.domain.job import Job
from trayopt.domain.plan import Plan, PlanSolver
from trayopt.errors import InputError, SolverFault
from trayopt.review.handmade import Handmade
from trayopt.review.moves import Move, move_list
from trayopt.review.remarks import rows_text
from trayopt.solver.model.decisions import Changes, EntersAt, Fact, Given, RunAt, Weights

SCHEMA = "trayopt/mend/1"
_BUILT = re.compile(r"\s*(?P<stack>[^/,]+?)\s*/\s*(?P<first>\d{1,4})(?:\s*[-\u2013]\s*(?P<last>\d{1,4}))?\s*")


@dataclass(frozen=True)
class Mended:
    """The answer of a mend; ``plan`` is None where none was found, and ``impossible`` tells that there is none.

    ``clash`` are the built rows that are in each other's way, as text, where they are the reason.
    """

    job: Job
    given: Given
    plan: Plan | None
    changes: Changes = field(default_factory=Changes)
    weights: Weights = field(default_factory=Weights)
    weighed: int | None = None
    bound: int | None = None
    moves: tuple[Move, ...] = ()
    impossible: bool = False
    clash: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def proven(self) -> bool:
        """Whether it is proven that no plan which keeps every must has fewer weighed changes."""
        return self.weighed is not None and self.weighed == self.bound

    def as_dict(self) -> dict[str, Any]:
        """Give the answer as plain data."""
        changed = self.changes
        return {
            "schema": SCHEMA,
            "job": {"title": self.job.title, "digest": self.job.digest},
            "found": self.plan is not None,
            "impossible": self.impossible,
            "changes": {
                "legs": [
                    {"fibres": str(item.run), "from": str(item.place), "to": self._now(item)} for item in changed.legs
                ],
                "travel": list(changed.travel),
                "ends": list(changed.ends),
                "ports": list(changed.ports),
                "splits": list(changed.splits),
                "loops": list(changed.loops),
            },
            "weights": {name: getattr(self.weights, name) for name in changed.counts()},
            "weighed": self.weighed,
            "bound": self.bound,
            "proven": self.proven,
            "moves": [move.as_dict() for move in self.moves],
            "clash": list(self.clash),
            "notes": list(self.notes),
            "goals": [] if self.plan is None else [{"goal": g.goal, "value": g.value} for g in self.plan.goals],
        }

    def _now(self, item: RunAt) -> list[str]:
        """Give the trays in which the fibres of a given run lie now."""
        found: dict[str, None] = {}
        for leg in self.plan.legs if self.plan is not None else ():
            first, _, last = leg.fibres.partition("-")
            overlaps = int(first) <= item.last and int(last or first) >= item.first
            if leg.trunk == item.trunk and leg.stack is not None and overlaps:
                found[f"{leg.stack}/{leg.position}"] = None
        return list(found)


def parse_built(job: Job, text: str) -> set[Place]:
    """Read ``left/1-4,right/1-4`` as tray places.

    Raises
    ------
    InputError
        Where it is written otherwise, or the box has no such tray.
    """
    found: set[Place] = set()
    for part in filter(str.strip, text.split(",")):
        match = _BUILT.fullmatch(part)
        if match is None:
            raise InputError.one(
                f"built trays cannot be read: {part!r}", source="--built", allowed="left/1-4,right/1-4"
            )
        first, last = int(match["first"]), int(match["last"] or match["first"])
        places = {Place(match["stack"], position) for position in range(first, last + 1)}
        strange = sorted(str(place) for place in places - set(job.enclosure.place_rank))
        if strange or not places:
            stacks = ", ".join(f"{stack.id}/1-{stack.positions}" for stack in job.enclosure.stacks)
            raise InputError.one(
                "the box has no such tray", source="--built", found=strange[0] if strange else part, allowed=stacks
            )
        found |= places
    return found


def mend(
    job: Job,
    made: Handmade,
    *,
    built: Iterable[Place] = (),
    weights: Weights | None = None,
    limit_s: float = 60.0,
    workers: int = 2,
    seed: int = 1,
) -> Mended:
    """Find the plan that keeps every must, keeps what is built, and differs least from a given plan.

    Parameters
    ----------
    job, made
        The job as it is now, and the plan, which may have been made before the job changed.
    built
        Trays in which everything is spliced; rows marked as built count as well. Their legs, the ways of their trunks
        and the ends of their stacks stay.
    weights
        What each change counts.
    limit_s
        Most seconds of search.

    Raises
    ------
    InputError
        Where cells of the table are damaged.
    """
    from trayopt.solver.bounds.outline import is_hopeless
    from trayopt.solver.model.clock import Clock
    from trayopt.solver.model.run import Tuning
    from trayopt.solver.repair.clash import clash
    from trayopt.solver.repair.nearest import nearest

    if made.faults:
        raise InputError(made.faults)
    weights, given = weights or Weights(), made.given()
    groups = _built(made, set(built))
    fixed = [fact for _, facts in groups for fact in facts]
    clock, tuning = Clock(limit_s), Tuning(workers=workers, seed=seed)
    notes = tuple(str(fault) for fault in made.gone)
    if is_hopeless(job, clock):
        return Mended(job, given, None, weights=weights, impossible=True, notes=notes)
    found = nearest(job, given, fixed, weights=weights, clock=clock, tuning=tuning)
    if found.assignment is None:
        names: tuple[str, ...] = ()
        if found.impossible and groups:
            culprits = clash(job, [facts for _, facts in groups], clock=Clock(limit_s), tuning=tuning)
            names = () if culprits is None else tuple(groups[i][0] for i in culprits.groups)
        return Mended(job, given, None, weights=weights, impossible=found.impossible, clash=names, notes=notes)
    solver = PlanSolver(version=_version(), seed=seed, workers=workers, deterministic_time=round(clock.effort, 6))
    plan = measure(
        job,
        found.assignment,
        status="feasible",
        stopped="gap",
        bounds={"unplaced": 0, "broken_must": 0},
        solver=solver,
    )
    if plan.value("unplaced") or plan.value("broken_must") or any(item.level == "always" for item in plan.broken):
        raise SolverFault("the nearest plan fails its own check")
    moves = tuple(move_list(job, given, found.assignment))
    return Mended(
        job, given, plan, found.changes, weights, found.weighed, found.bound, moves, impossible=False, notes=notes
    )


def _built(made: Handmade, places: set[Place]) -> list[tuple[str, list[Fact]]]:
    """Give the facts of what is built: rows with their legs, then the ways of their trunks."""
    groups: list[tuple[str, list[Fact]]] = []
    trunks: dict[str, None] = {}
    for entry in made.placed:
        if entry.place is None or not (entry.built or entry.place in places):
            continue
        facts: list[Fact] = [RunAt(*entry.run, entry.place, entry.leg)]
        if entry.end is not None:
            facts.append(EntersAt(entry.place.stack, entry.end))
        rows = rows_text(line.number for line in entry.lines if not line.path)
        groups.append((f"{entry.run} in {entry.place}{f' ({rows})' if rows else ''}", facts))
        trunks[entry.run.trunk] = None
    for trunk in trunks:
        if trunk in made.ways:
            way = made.way(trunk)
            words = " ".join(str(part) for part in way[1:3] if part is not None)
            loops = "" if way.loops is None else f", {way.loops} loops"
            groups.append((f"{trunk} by {words}{loops}", [way]))
    return groups


def _version() -> str:
    from importlib.metadata import version

    return version("ortools")
