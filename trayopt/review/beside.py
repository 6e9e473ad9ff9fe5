"""Lists of splices on other sheets of a workbook of legs; all sheets together make one plan."""

from __future__ import annotations

from collections.abc import Sequence

from trayopt.domain.said import said
from trayopt.formats.locate import Spot
from trayopt.formats.tables_in import Table
from trayopt.review.cells import Cells
from trayopt.review.columns import headers_of
from trayopt.review.handmade import Entry, Handmade
from trayopt.review.row_reader import RowReader
from trayopt.review.splices import entries_of

PLACES = ("tray", "position", "stack")


def read_beside(made: Handmade, table: Table, cells: Cells, placed: Sequence[Entry]) -> None:
    """Read a list of splices into ``made.beside``, and compare the trays of its rows with the trays of the legs.

    A splice in another tray than its leg is a contradiction, which is reported at both cells. A leg without a tray gets the
    tray of its splices.
    """
    ribbons = any(trunk.may_work_ribbons for trunk in made.job.trunks)
    headers = headers_of(table, ribbons=ribbons)
    listed = Handmade(made.job, made.source, headers.shape, sheet=table.sheet, head=table.head.line)
    reader = RowReader(listed, cells, headers, table.faults)
    for row in table.rows:
        reader.row(row)
    listed.runs = listed.entries
    listed.entries = entries_of(listed, cells)
    by_trunk: dict[str, list[Entry]] = {}
    for entry in placed:
        by_trunk.setdefault(entry.run.trunk, []).append(entry)
    for run in listed.runs:
        other = next((entry for entry in _over(run, by_trunk) if entry.place != run.place), None)
        if other is not None and run.place is not None:
            _contradict(cells, made, run, other)
    made.entries += [entry for entry in listed.entries if entry.place is not None and not any(_over(entry, by_trunk))]
    made.ways.update({trunk: way for trunk, way in listed.ways.items() if trunk not in made.ways})
    made.beside.append(listed)


def _over(entry: Entry, by_trunk: dict[str, list[Entry]]) -> list[Entry]:
    """Return the legs that have a tray and hold fibres of a run."""
    one = entry.run
    return [
        item
        for item in by_trunk.get(one.trunk, ())
        if item.place is not None and item.run.first <= one.last and item.run.last >= one.first
    ]


def _contradict(cells: Cells, made: Handmade, run: Entry, leg: Entry) -> None:
    here, there = run.lines[0], leg.lines[0]
    spot = next((here.spots[column] for column in PLACES if column in here.spots), Spot(made.source))
    at = there.cell(*PLACES)
    apart = said("{run} is spliced in one tray, and its leg lies in another", run=run.run)
    text = said("two cells contradict each other: {message}", message=apart)
    both = said("{one} against {other}", one=f"'{run.place}'", other=f"'{leg.place}'")
    hint = said("mend the one that is wrong")
    fault = spot.fault(text, found=said("{found} in {at}", found=both, at=at), hint=hint)
    cells.faults.append(fault)
    cells.also[fault] = (at,)
