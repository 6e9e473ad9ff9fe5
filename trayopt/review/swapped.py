"""Two rows with swapped trays: one finding with the rows to swap replaces all findings that follow from the swap."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace
from itertools import combinations
from typing import NamedTuple

from trayopt.checker import assignment_of_claims, check_laid
from trayopt.domain.hardware import Place
from trayopt.domain.job import Job
from trayopt.review.cells import Cells
from trayopt.review.gaps import unnamed
from trayopt.review.handmade import Entry, Handmade, Line
from trayopt.review.remarks import FAILING, Remark, rows_text
from trayopt.review.rows import figure_remarks, row_remarks
from trayopt.review.splices import entries_of
from trayopt.rules.judge import judge
from trayopt.rules.opened_tube import OpenedTube
from trayopt.rules.registry import BY_ID
from trayopt.track.laid import Laid

MOST_PAIRS = 200
SOON_S = 5.0
"""Most seconds for the question whether a table with two rows swapped can be completed."""
SLEEVES, LENGTHS = "trays and sleeves", "trays and cut lengths"


def folded(job: Job, made: Handmade, laid: Laid, remarks: Sequence[Remark]) -> list[Remark]:
    """Replace all findings that come from two rows with swapped trays by a single finding.

    Parameters
    ----------
    job, made, laid
        The job, the table of legs or of splices, and the plan as it lies.
    remarks
        The findings. They are returned unchanged unless swapping the trays of two rows removes every failing finding and makes
        no new one.
    """
    failing = [remark for remark in remarks if remark.level in FAILING]
    if len(failing) < 2 or any(remark.level == "damage" or _is_own(remark) for remark in failing):
        return list(remarks)
    clash = any(remark.level == "clash" for remark in failing)
    numbers = {line.number for remark in failing for line in remark.lines}
    trays = {remark.subject for remark in failing if _is_of_tray(remark)}
    for one, other in _pairs(made, numbers):
        if not trays <= {str(one.place), str(other.place)}:
            continue
        for what in ("trays",) if one.beside == other.beside else ("trays", SLEEVES if made.splices else LENGTHS):
            back = _swapped(job, made, one, other, beside=what != "trays")
            if _mended(job, back, laid) and not (clash and not _completes(job, back)):
                return [_swap(one, other, what, failing), *(remark for remark in remarks if remark not in failing)]
    return list(remarks)


class _Row(NamedTuple):
    """A row that gives a tray: what lies there, the tray, the line, and the figure beside it: a sleeve, or a cut length."""

    what: str
    place: Place
    line: Line
    beside: int | None = None


def _is_own(remark: Remark) -> bool:
    """Whether a wrong figure is the row's own fault; only sleeves and cut lengths can be wrong because of a wrong tray."""
    return remark.level == "figure" and remark.rule not in {"sleeve", "cut_mm"}


def _is_of_tray(remark: Remark) -> bool:
    """Whether a finding stays as long as the rows of its tray do."""
    rule = BY_ID.get(remark.rule)
    return rule is not None and rule.subject == "tray place" and not rule.kept_by_more and not rule.of_divisions


def _pairs(made: Handmade, numbers: Collection[int]) -> list[tuple[_Row, _Row]]:
    """Return pairs of rows of findings in different trays; if they are many, only rows that differ from their neighbours."""
    if made.shape == "legs":
        rows = [
            _Row(str(entry.run), entry.place, entry.lines[0], entry.cut)
            for entry in made.placed
            if entry.place is not None and entry.lines
        ]
    else:
        rows = [_Row(str(row.a), row.place, row.line, row.sleeve) for row in made.splices if row.place is not None]
    places: list[Place | None] = [None, *(row.place for row in rows), None]
    odd = [row.place not in {places[i], places[i + 2]} for i, row in enumerate(rows)]
    named = [i for i, row in enumerate(rows) if row.line.number in numbers]
    for chosen in (named, [i for i in named if odd[i]]):
        pairs = [(rows[i], rows[k]) for i, k in combinations(chosen, 2) if rows[i].place != rows[k].place]
        if len(pairs) <= MOST_PAIRS:
            return pairs
    return []


def _swapped(job: Job, made: Handmade, one: _Row, other: _Row, *, beside: bool) -> Handmade:
    """Return the table with the trays of two rows swapped, and with ``beside`` also their sleeves or cut lengths."""

    def entry(item: Entry) -> Entry:
        if not item.lines or item.lines[0] not in ends:
            return item
        new = other if item.lines[0] == one.line else one
        return item._replace(place=new.place, end=ends[new.line], cut=new.beside if of_legs and beside else item.cut)

    of_legs = made.shape == "legs"
    entries = made.runs or made.entries
    ends = {item.lines[0]: item.end for item in entries if {*item.lines[:1]} & {one.line, other.line}}
    changed = [entry(item) for item in entries]
    if of_legs:
        return replace(made, entries=changed)
    partner = {one.line: other, other.line: one}
    splices = [
        row
        if row.line not in partner
        else row._replace(place=partner[row.line].place, sleeve=partner[row.line].beside if beside else row.sleeve)
        for row in made.splices
    ]
    found = replace(made, entries=changed, runs=changed, splices=splices)
    found.entries = entries_of(found, Cells(job))
    return found


def _mended(job: Job, made: Handmade, laid: Laid) -> bool:
    """Whether nothing fails in a table."""
    claims = made.claims
    swapped = assignment_of_claims(job, laid.ways, claims, laid.divide_at, laid.ribbons)
    lies = Laid(job, replace(swapped, ends={**laid.ends, **swapped.ends}), claims)
    if any(place is None for _, place in lies.piece_places):
        return False
    of_legs = made.shape == "legs"
    # A list of splices has no rows for parked legs.
    if any(found.level in FAILING and (of_legs or found.rule != OpenedTube.id) for found in judge(job, lies)):
        return False
    if of_legs:
        return not any(item.cut for item in made.placed) or not figure_remarks(job, made, lies, check_laid(lies).plan)
    return not (row_remarks(job, made, lies) or unnamed(job, made, lies))


def _completes(job: Job, made: Handmade) -> bool:
    """Whether it is shown soon that what a table leaves open can be completed with the rest as it is."""
    from trayopt.solver.model.clock import Clock
    from trayopt.solver.repair.clash import Facts

    groups = [facts for _, facts in made.facts()]
    return Facts(job, groups, Clock(SOON_S)).possible(frozenset(range(len(groups)))) is True


def _swap(one: _Row, other: _Row, what: str, failing: Sequence[Remark]) -> Remark:
    lines = tuple(sorted((one.line, other.line), key=lambda line: line.number))
    rows = rows_text(line.number for line in lines)
    cells = tuple(line.cell("position", "tray", "stack") for line in lines)
    follows = ", ".join(dict.fromkeys(f"{remark.rule} {remark.subject}" for remark in failing))
    level = "always" if any(remark.level == "always" for remark in failing) else failing[0].level
    found = (
        f"{one.what} in {one.place} and {other.what} in {other.place} are swapped; "
        f"this explains everything that fails: {follows}"
    )
    allowed = f"{one.what} in {other.place}, {other.what} in {one.place}"
    numbers = " and ".join(str(line.number) for line in lines)
    return Remark("swapped", level, rows, lines, cells, found, allowed, f"swap the {what} of rows {numbers}")
