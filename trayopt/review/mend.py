"""Mending: the nearest plan in which everything built stays, every must is kept, and as little as possible changes."""

from __future__ import annotations

import re
import time
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from typing import Any

from trayopt.checker import check, measure
from trayopt.checker.report import Difference
from trayopt.domain.assignment import Assignment
from trayopt.domain.decision import Decision, EntersAt, RunAt
from trayopt.domain.hardware import Place
from trayopt.domain.job import Job
from trayopt.domain.plan import Plan, PlanSolver
from trayopt.domain.said import joined, said
from trayopt.errors import InputError, SolverFault
from trayopt.review.handmade import Handmade
from trayopt.review.moves import Beside, Move, move_list, way_words
from trayopt.review.remarks import rows_text
from trayopt.rules.words import ribbons_are, several
from trayopt.solver.model.decisions import Changes, Given, Weights
from trayopt.track.laid import Laid

SCHEMA = "trayopt/mend/1"
LEAST_PART = 0.5
"""Part of the limit that the search always has."""
_BUILT = re.compile(r"\s*(?P<stack>[^/,]+?)\s*/\s*(?P<first>\d{1,4})(?:\s*[-\u2013]\s*(?P<last>\d{1,4}))?\s*")


@dataclass(frozen=True)
class Mended:
    """The result of a mend.

    ``plan`` is None if no plan was found; ``impossible`` says that there is none. ``clash`` lists the built rows that
    conflict, as text, if they are the reason, and ``clash_minimal`` says whether each of them is needed for the conflict.
    ``beside`` holds the changes that are not weighed, ``figures`` the other wrong statements of the given plan. ``strange``
    counts its cells that name something that the job does not have.
    """

    job: Job
    given: Given
    plan: Plan | None
    changes: Changes = field(default_factory=Changes)
    weights: Weights = field(default_factory=Weights)
    weighed: int | None = None
    bound: int | None = None
    moves: tuple[Move, ...] = ()
    beside: Beside = field(default_factory=Beside)
    figures: tuple[str, ...] = ()
    strange: int = 0
    impossible: bool = False
    clash: tuple[str, ...] = ()
    clash_minimal: bool = True
    notes: tuple[str, ...] = ()

    @property
    def proven(self) -> bool:
        """Whether it is proven that no plan which keeps every must has fewer weighed changes."""
        return self.weighed is not None and self.weighed == self.bound

    def as_dict(self) -> dict[str, Any]:
        """Return the result as plain data."""
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
                "partings": list(changed.partings),
                "ribbons": list(changed.ribbons),
                "ports": list(changed.ports),
                "splits": list(changed.splits),
                "loops": list(changed.loops),
            },
            "beside": self.beside.as_dict(),
            "figures": list(self.figures),
            "weights": {name: getattr(self.weights, name) for name in changed.counts()},
            "weighed": self.weighed,
            "bound": self.bound,
            "proven": self.proven,
            "moves": [move.as_dict() for move in self.moves],
            "clash": list(self.clash),
            "clash_minimal": self.clash_minimal if self.clash else None,
            "notes": list(self.notes),
            "goals": [] if self.plan is None else [{"goal": g.goal, "value": g.value} for g in self.plan.goals],
        }

    def _now(self, item: RunAt) -> list[str]:
        """Return the trays in which the fibres of a given run lie in the new plan."""
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
        If the text cannot be read, or the box has no such tray.
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
    document: Plan | None = None,
    built: Iterable[Place] = (),
    weights: Weights | None = None,
    limit_s: float = 60.0,
    workers: int = 2,
    seed: int = 1,
    answer_s: float = 0.0,
    began: float | None = None,
) -> Mended:
    """Find the plan that keeps every must and everything built, and differs least from a given plan.

    Parameters
    ----------
    job, made
        The job as it is now, and the plan, which may have been made before the job changed.
    document
        The plan document, if the plan is one; its figures are compared with the right figures.
    built
        Trays in which everything is spliced; rows marked as built also count. Their legs, the ways of their trunks and the ends
        of their stacks stay.
    weights
        The weight of each kind of change.
    limit_s, answer_s
        Most seconds, and the part of them that is kept to measure the new plan and to sort the moves.
    began
        The start of the limit, by the monotonic clock; None if it starts with this call.

    Raises
    ------
    InputError
        If cells of the table are damaged.
    """
    began = time.monotonic() if began is None else began
    from trayopt.solver.bounds.preference_bounds import is_hopeless
    from trayopt.solver.model.clock import Clock
    from trayopt.solver.model.in_time import in_time, margin
    from trayopt.solver.model.run import Tuning
    from trayopt.solver.repair.clash import Facts, clash
    from trayopt.solver.repair.nearest import nearest

    if made.damage:
        raise InputError(made.faults)
    weights = weights or Weights()
    given = replace(made.given(), ends=_usual_ends(made))
    groups = _built(made, set(built))
    fixed = [fact for _, facts in groups for fact in facts]
    search_s = max(limit_s - margin(limit_s) - answer_s, LEAST_PART * limit_s)
    clock, tuning = Clock(search_s, started=began), Tuning(workers=workers, seed=seed)
    notes = (*made.notes, *map(str, made.gone))
    if in_time(lambda: is_hopeless(job, clock), clock):
        return Mended(job, given, None, weights=weights, impossible=True, notes=notes)
    found = nearest(job, given, fixed, weights=weights, clock=clock, tuning=tuning)
    if found.assignment is None:
        names, minimal = tuple(name for name, _ in groups) if found.impossible else (), False
        if found.impossible and groups:
            facts = Facts(job, [facts for _, facts in groups], clock)
            culprits = in_time(lambda: clash(facts), clock)
            if culprits is not None:
                names, minimal = tuple(groups[i][0] for i in culprits.groups), culprits.minimal
        return Mended(
            job,
            given,
            None,
            weights=weights,
            impossible=found.impossible,
            clash=names,
            clash_minimal=minimal,
            notes=notes,
        )
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
    laid = Laid(job, found.assignment)
    moves, beside = move_list(job, given, found.assignment, _entered(made, laid), _cuts(made))
    return Mended(
        job,
        given,
        plan,
        found.changes,
        weights,
        found.weighed,
        found.bound,
        tuple(moves),
        beside,
        _figures(job, made, laid, plan, document),
        len(made.gone),
        impossible=False,
        notes=(*notes, *_untold(given, found.assignment)),
    )


def _usual_ends(made: Handmade) -> dict[str, str]:
    """Return the end at which most rows of each stack enter; the first of several with equal counts."""
    counts: dict[str, Counter[str]] = {}
    for entry in made.placed:
        if entry.place is not None and entry.end is not None:
            counts.setdefault(entry.place.stack, Counter())[entry.end] += 1
    return {stack: count.most_common(1)[0][0] for stack, count in counts.items()}


def _entered(made: Handmade, laid: Laid) -> list[RunAt]:
    """Return the runs that enter their stack at another end than its usual end."""
    usual = _usual_ends(made)
    return [
        RunAt(*entry.run, entry.place, entry.leg)
        for entry in made.placed
        if entry.place is not None and entry.end is not None and entry.end != usual[entry.place.stack]
    ]


def _cuts(made: Handmade) -> dict[RunAt, int]:
    """Return the lengths at which runs were cut, as far as the table gives them."""
    return {
        RunAt(*entry.run, entry.place, entry.leg): entry.cut
        for entry in made.placed
        if entry.place is not None and entry.cut is not None
    }


def _figures(job: Job, made: Handmade, laid: Laid, plan: Plan, document: Plan | None) -> tuple[str, ...]:
    """List wrong statements of a plan that no move mends: joins and sleeves of rows, lengths of legs that stay, figures."""
    from trayopt.review.rows import figure_remarks, row_remarks

    if document is not None:
        try:
            wrong = check(job, document).figures
        except InputError:
            return ()
        if document.job.digest != job.digest:  # figures of a job that has changed since are not faults of the plan
            wrong = tuple(item for item in wrong if _of_a_row_that_stays(item))
        return tuple(map(str, wrong))
    where = {(leg.trunk, leg.fibres): (leg.stack, leg.position) for leg in plan.legs}
    stays = {
        entry.lines
        for entry in made.placed
        if entry.place is not None and where.get((entry.run.trunk, str(entry.run).partition(":")[2])) == entry.place
    }
    remarks = [remark for remark in row_remarks(job, made, laid) if remark.rule != "idle"]
    remarks += [remark for remark in figure_remarks(job, made, laid, plan) if remark.lines in stays]
    return tuple(f"{remark.rows}: {remark.found}; {remark.mend}" for remark in remarks)


def _of_a_row_that_stays(figure: Difference) -> bool:
    """Whether a figure belongs to a leg, a trunk or a tray that both jobs have."""
    of_a_row = figure.path.startswith(("legs[", "trunks[", "trays["))
    return of_a_row and figure.claimed is not None and figure.right is not None


def _untold(given: Given, assignment: Assignment) -> tuple[str, ...]:
    """Return notes on the ways that the given plan leaves open, with the ways of the new plan."""
    notes = []
    for trunk in dict.fromkeys(item.trunk for item in given.runs):
        told, now = given.ways.get(trunk), assignment.ways.get(trunk)
        if now is not None and (told is None or None in told[:4]):
            notes.append(f"the plan does not give the whole way of {trunk}; it is read as {way_words(now)}")
    return tuple(notes)


def _built(made: Handmade, places: set[Place]) -> list[tuple[str, list[Decision]]]:
    """Return the built decisions, grouped under a text: rows with their legs, then the ways of their trunks."""
    groups: list[tuple[str, list[Decision]]] = []
    trunks: dict[str, None] = {}
    for entry in made.placed:
        if entry.place is None or not (entry.built or entry.place in places):
            continue
        facts: list[Decision] = [RunAt(*entry.run, entry.place, entry.leg)]
        if entry.end is not None:
            facts.append(EntersAt(entry.place.stack, entry.end))
        rows = rows_text(line.number for line in entry.lines if not line.path)
        there: str = said("{run} in {place}", run=entry.run, place=entry.place)
        groups.append((said("{there} ({rows})", there=there, rows=rows) if rows else there, facts))
        trunks[entry.run.trunk] = None
    for trunk in trunks:
        if trunk in made.ways:
            way = made.way(trunk)
            words = joined([*filter(None, (way.port, way.travel and said(way.travel)))], " ")
            told: list[str] = [said("{trunk} by {way}", trunk=trunk, way=words) if words else trunk]
            told += [] if way.loops is None else [several(way.loops, "loop")]
            if way.divide_at is not None:
                told.append(said("divided at the tray") if way.divide_at == "tray" else said("divided at the port"))
            told += [] if way.ribbons is None else [said("its ribbons {word}", word=ribbons_are(way.ribbons))]
            groups.append((joined(told), [way]))
    return groups


def _version() -> str:
    from importlib.metadata import version

    return version("ortools")
