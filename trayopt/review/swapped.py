"""Two rows that have each other's tray: one finding and the rows to swap, in place of all that follows from it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import combinations

from trayopt.checker import assignment_of_claims
from trayopt.domain.finding import Finding
from trayopt.domain.job import Job
from trayopt.review.handmade import Entry, Handmade
from trayopt.review.remarks import FAILING, Remark, rows_text
from trayopt.rules.judge import judge
from trayopt.track.laid import Claim, Laid

MOST_PAIRS = 200


def folded(job: Job, made: Handmade, laid: Laid, remarks: Sequence[Remark]) -> list[Remark]:
    """Put one finding in the place of all those that two rows with each other's tray bring about.

    Parameters
    ----------
    job, made, laid
        The job, the table, and the plan as it lies.
    remarks
        What was found; given back as they are, unless swapping the trays of two rows of legs takes every failing
        finding away and makes no new one.
    """
    failing = [remark for remark in remarks if remark.level in FAILING]
    if made.shape != "legs" or len(failing) < 2 or {remark.level for remark in failing} & {"damage", "figure", "clash"}:
        return list(remarks)
    numbers = {line.number for remark in failing for line in remark.lines}
    rows = [entry for entry in made.placed if entry.lines and entry.lines[0].number in numbers]
    pairs = [(one, other) for one, other in combinations(rows, 2) if one.place != other.place]
    if len(pairs) > MOST_PAIRS:
        return list(remarks)
    for one, other in pairs:
        if _mended(job, made, laid, one, other):
            return [_swap(one, other, failing), *(remark for remark in remarks if remark not in failing)]
    return list(remarks)


def _mended(job: Job, made: Handmade, laid: Laid, one: Entry, other: Entry) -> bool:
    """Whether nothing fails any more once two rows have changed their trays."""
    claims: list[Claim] = []
    for entry in made.placed:
        taken = other if entry is one else one if entry is other else entry
        assert taken.place is not None
        claims.append(Claim(*entry.run, taken.place, taken.end))
    swapped = assignment_of_claims(job, laid.ways, claims, laid.divide_at)
    lies = Laid(job, replace(swapped, ends={**laid.ends, **swapped.ends}), claims)
    if any(place is None for _, place in lies.piece_places):
        return False
    return not any(_fails(found) for found in judge(job, lies))


def _fails(found: Finding) -> bool:
    return found.level in FAILING


def _swap(one: Entry, other: Entry, failing: Sequence[Remark]) -> Remark:
    lines = tuple(sorted((one.lines[0], other.lines[0]), key=lambda line: line.number))
    rows = rows_text(line.number for line in lines)
    cells = tuple(line.cell("position", "tray", "stack") for line in lines)
    follows = ", ".join(dict.fromkeys(f"{remark.rule} {remark.subject}" for remark in failing))
    level = "always" if any(remark.level == "always" for remark in failing) else failing[0].level
    found = (
        f"{one.run} in {one.place} and {other.run} in {other.place} have each other's tray; "
        f"all that fails follows from it: {follows}"
    )
    allowed = f"{one.run} in {other.place}, {other.run} in {one.place}"
    numbers = " and ".join(str(line.number) for line in lines)
    return Remark("swapped", level, rows, lines, cells, found, allowed, f"swap the trays of rows {numbers}")
