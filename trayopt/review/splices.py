"""Making legs from rows of splice runs: the least division of each subunit that puts every leg in one tray."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import partial
from itertools import pairwise

from trayopt.domain.assignment import Assignment
from trayopt.domain.cablework import Subunit
from trayopt.domain.hardware import Place
from trayopt.domain.job import Job
from trayopt.domain.ranges import Run
from trayopt.domain.said import Said, said
from trayopt.formats.cells import CellFault, Telling
from trayopt.review.by_fibre import ByFibre
from trayopt.review.cells import Cells
from trayopt.review.handmade import Entry, Handmade, Line
from trayopt.review.odd import side_columns

FIBRES = ("from fibres", "from", "from seat")
"""Columns that name the fibres of a side, the most exact first."""


def entries_of(made: Handmade, cells: Cells) -> list[Entry]:
    """Make the legs of a table of splice runs; runs that do not fit equal groups of whole ribbons stay as they are."""
    job = made.job
    by_subunit: dict[tuple[str, int], list[Entry]] = {}
    for entry in made.entries:
        for part in _parts(job, entry):
            subunit = job.trunk_by_id[part.run.trunk].subunit_of(part.run.first)
            by_subunit.setdefault((part.run.trunk, subunit.number), []).append(part)
    found: list[Entry] = []
    for subunit in (unit for trunk in job.trunks for unit in trunk.units):
        runs = sorted(by_subunit.get((subunit.trunk, subunit.number), ()), key=lambda entry: entry.run)
        _overlaps(runs, made.sides, cells)
        found += _legs(job, subunit, runs, finest=bool(made.lost))
    return found


def entries_by(made: Handmade, assignment: Assignment) -> list[Entry]:
    """Return the legs of a plan as the entries of a table of splice runs, for legs that its rows give a tray."""
    job = made.job
    placed = ByFibre((entry for entry in made.runs if entry.place is not None), lambda entry: entry.run)
    found = []
    for leg, place in assignment.places.items():
        run = Run(leg.trunk, *job.subunit(leg).leg_run(leg))
        inside = [entry for entry in placed.over(run) if entry.place == place]
        if inside:
            found.append(_one(inside, run))
    return found


def _parts(job: Job, entry: Entry) -> Iterable[Entry]:
    """Cut a run at the edges of subunits."""
    trunk = job.trunk_by_id[entry.run.trunk]
    first = entry.run.first
    if entry.run.last <= trunk.subunit_of(first).last:
        yield entry
        return
    while first <= entry.run.last:
        last = min(entry.run.last, trunk.subunit_of(first).last)
        yield Entry(Run(trunk.id, first, last), entry.place, entry.end, entry.lines, entry.built, leg=False)
        first = last + 1


def _overlaps(runs: Sequence[Entry], sides: dict[Line, tuple[str, str]], cells: Cells) -> None:
    """Report rows that splice a fibre again."""
    furthest: Entry | None = None
    for entry in runs:
        if furthest is not None and entry.run.first <= furthest.run.last:
            one, other = furthest.lines[0], entry.lines[0]
            line, before = (one, other) if one.number > other.number else (other, one)
            columns = side_columns(FIBRES, entry.run.trunk, line, sides)
            cell = line.spots.cell(next(key for key in columns if key in line.spots))
            words = partial(_again, entry.run, furthest.run.last, before)
            cells.faults.append(CellFault(cell.row, Telling(cell.column, None, words, hint=said("every fibre once"))))
        if furthest is None or entry.run.last > furthest.run.last:
            furthest = entry


def _again(run: Run, last: int, before: Line) -> Said:
    both = Run(run.trunk, run.first, min(run.last, last))
    return said("{run} is spliced in {line} already", run=both, line=before.words)


def _legs(job: Job, subunit: Subunit, runs: Sequence[Entry], *, finest: bool) -> list[Entry]:
    """Group the runs of a subunit into the legs of the least division that fits them; if none fits, join runs that touch.

    With ``finest``, for tables with unread rows, the finest division is taken: it claims no fibres that those rows may name.
    """
    if not runs:
        return []
    if subunit in job.trunk_by_id[subunit.trunk].passing:
        return _joined(runs, ())
    spliced = job.spliced[subunit.trunk, subunit.number]
    fits = [of for of in subunit.divisions if _fits(subunit, runs, of)]
    whole = [of for of in fits if _decided(subunit, runs, of, spliced)]
    if not fits:
        return _joined(runs, spliced)
    of = max(fits) if finest else min(whole or fits, key=lambda k: (_parked(subunit, k, spliced), k))
    found = []
    by_fibre = ByFibre(runs, lambda entry: entry.run)
    for leg in subunit.legs(of):
        run = Run(subunit.trunk, *subunit.leg_run(leg))
        inside = by_fibre.over(run)
        if inside:
            found.append(_one(inside, run))
    return found


def _parked(subunit: Subunit, of: int, spliced: Sequence[tuple[int, int]]) -> int:
    """Count the fibres without a splice that a division brings into trays."""
    size = subunit.fibres // of
    touched = {
        group
        for first, last in spliced
        for group in range((first - subunit.first) // size, (last - subunit.first) // size + 1)
    }
    return len(touched) * size - sum(last - first + 1 for first, last in spliced)


def _fits(subunit: Subunit, runs: Sequence[Entry], of: int) -> bool:
    """Whether each group of a division lies in at most one tray."""
    places: dict[int, Place | None] = {}
    for entry in runs:
        one, other = (subunit.leg_of_fibre(fibre, of).group for fibre in entry.run[1:])
        for group in range(one, other + 1):
            if places.setdefault(group, entry.place) != entry.place:
                return False
    return True


def _decided(subunit: Subunit, runs: Sequence[Entry], of: int, spliced: Sequence[tuple[int, int]]) -> bool:
    """Whether the rows name, for each group, either all of its spliced fibres or none."""
    size = subunit.fibres // of
    want, have = [0] * of, [0] * of
    for counts, spans in ((want, spliced), (have, [(entry.run.first, entry.run.last) for entry in runs])):
        for first, last in spans:
            for group in range((first - subunit.first) // size, (last - subunit.first) // size + 1):
                start = subunit.first + group * size
                counts[group] += min(last, start + size - 1) - max(first, start) + 1
    return all(there in {0, asked} for there, asked in zip(have, want, strict=True))


def _joined(runs: Sequence[Entry], spliced: Sequence[tuple[int, int]]) -> list[Entry]:
    """Join neighbouring runs in one tray if no spliced fibre lies between them."""
    groups: list[list[Entry]] = [[runs[0]]]
    for before, entry in pairwise(runs):
        gap = range(before.run.last + 1, entry.run.first)
        open_ = any(first < gap.stop and last >= gap.start for first, last in spliced) if gap else False
        if before.place == entry.place and not open_:
            groups[-1].append(entry)
        else:
            groups.append([entry])
    return [_one(group, Run(group[0].run.trunk, group[0].run.first, group[-1].run.last)) for group in groups]


def _one(entries: Sequence[Entry], run: Run) -> Entry:
    lines: dict[Line, None] = dict.fromkeys(line for entry in entries for line in entry.lines)
    ends = [entry.end for entry in entries if entry.end is not None]
    end = ends[0] if ends else None
    return Entry(run, entries[0].place, end, tuple(lines), any(entry.built for entry in entries), leg=False)
