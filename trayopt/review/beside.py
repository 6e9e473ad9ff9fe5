"""Lists of splices on other sheets of a workbook of legs; all sheets together make one plan."""

from __future__ import annotations

from collections.abc import Sequence

from trayopt.domain.said import said
from trayopt.formats.cells import CellFault, Telling
from trayopt.formats.tables_in import Table
from trayopt.review.by_fibre import ByFibre
from trayopt.review.cells import MEND_ONE, Cells
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
    reader = RowReader(listed, cells, headers, table.damage)
    for row in table.rows:
        reader.row(row)
    listed.runs = listed.entries
    listed.entries = entries_of(listed, cells)
    legs = ByFibre((entry for entry in placed if entry.place is not None), lambda entry: entry.run)
    for run in listed.runs:
        other = next((leg for leg in legs.over(run.run) if leg.place != run.place), None)
        if other is not None and run.place is not None:
            _contradict(cells, run, other)
    made.entries += [entry for entry in listed.entries if entry.place is not None and not legs.over(entry.run)]
    made.ways.update({trunk: way for trunk, way in listed.ways.items() if trunk not in made.ways})
    made.beside.append(listed)


def _contradict(cells: Cells, run: Entry, leg: Entry) -> None:
    spots = run.lines[0].spots
    cell = next(spots.cell(column) for column in PLACES if column in spots)
    text = said("{run} is spliced in one tray, and its leg lies in another", run=run.run)
    at = leg.lines[0].cell(*PLACES)
    telling = Telling(cell.column, str(run.place), text, hint=MEND_ONE, beside=at, other=str(leg.place))
    cells.faults.append(CellFault(cell.row, telling))
