"""Reading a hand-made table of either shape for a job: its decisions, and all of its damage."""

from __future__ import annotations

from pathlib import Path

from trayopt.domain.job import Job
from trayopt.domain.said import said
from trayopt.formats.cells import Cell, CellFault, Row, Telling
from trayopt.formats.locate import describe
from trayopt.formats.source import read_bytes, source_name
from trayopt.formats.tables_in import MOST_BYTES, Table, parse_loose_table
from trayopt.review.beside import read_beside
from trayopt.review.cells import Cells
from trayopt.review.columns import Headers, headers_of, headers_of_ways, is_plan, is_read, is_splices, is_ways
from trayopt.review.handmade import Handmade, Line, Unread
from trayopt.review.merged import merged_cells
from trayopt.review.row_reader import RowReader
from trayopt.review.sleeves import tell_ribbons
from trayopt.rules.words import listed

SAVE_AGAIN = said("unmerge the cells and fill in every one")


def read_handmade(job: Job, path: str | Path, *, lenient: bool = False) -> Handmade:
    """Read a CSV or XLSX table from a file, or from standard input for ``-``.

    Parameters
    ----------
    job, path
        The job, and the file.
    lenient
        Whether the job may have changed since; names that it does not have are then not damage.

    Raises
    ------
    InputError
        If the file cannot be read, its headers are not those of a plan, or the job has none of its trunks. Damage of single
        cells is in ``faults`` of the result.
    """
    return parse_handmade(job, read_bytes(path, MOST_BYTES), source_name(path), lenient=lenient)


def parse_handmade(job: Job, raw: bytes, source: str, *, lenient: bool = False) -> Handmade:
    """Read a table as ``read_handmade`` does, from the bytes of its file."""
    table = parse_loose_table(raw, source, is_read, is_plan, lambda head: is_ways(head) or is_splices(head))
    if is_splices(table.head.texts):
        table.leave([other for other in table.more if is_splices(other.head.texts)])
    headers = headers_of(table, ribbons=any(trunk.may_work_ribbons for trunk in job.trunks))
    made = Handmade(
        job,
        source,
        headers.shape,
        raw=raw if table.text is None else table.text.encode(),
        separator=table.head.separator,
        columns=headers.said(),
        sheet=table.sheet,
        head=table.head.line,
        notes=_notes(table),
    )
    merged = _merged(table)
    cells = Cells(job, lenient=lenient)
    reader = RowReader(made, cells, headers, [*table.damage, *(item for item, _ in merged)])
    made.unread += _columns(table, headers, made)
    for row in table.rows:
        reader.row(row)
    legs = made.entries.copy()
    for other in table.more:
        if is_splices(other.head.texts):
            read_beside(made, other, cells, legs)
            continue
        of_ways = RowReader(made, cells, headers_of_ways(other), other.damage)
        for row in other.rows:
            of_ways.row(row)
    made.lost += [number for _, rows in merged for number in rows]
    made.unread += [_beside(cell) for cell in table.beside]
    reader.finish()
    tell_ribbons(made)
    return made


def _notes(table: Table) -> list[str]:
    """Return the notes on a file as a whole."""
    found = []
    if table.encoding:
        doubt = "" if table.encoding.startswith("UTF") else ": see whether names with letters beyond a to z are right"
        found.append(f"the file is not UTF-8 text; it was read as {table.encoding}{doubt}")
    for what, splices in (("the ways of trunks", False), ("splices", True)):
        names = [describe(other.sheet) for other in table.more if is_splices(other.head.texts) == splices]
        if names:
            found.append(f"{what} are read on {listed(names)} too")
    if table.other_sheets:
        others = ", ".join(describe(name) for name in table.other_sheets[:12])
        more = f" and {len(table.other_sheets) - 12} more" if len(table.other_sheets) > 12 else ""
        found.append(f"sheet {describe(table.sheet)} is read; not read: {others}{more}")
    if table.above:
        lines = [str(row.line) for row in table.above]
        rows = f"row {lines[0]}" if len(lines) == 1 else f"rows {lines[0]} to {lines[-1]}"
        first = next(text for text in table.above[0].texts if text)
        found.append(f"the headers are in row {table.head.line}; {rows} above them not read: {describe(first)}")
    return found


def _columns(table: Table, headers: Headers, made: Handmade) -> list[Unread]:
    """Return the unread columns that hold figures; unread columns with words are only named in ``passed_over``."""
    found = []
    for column in headers.unread:
        texts = [row.texts[column.index] for row in table.rows if column.index < len(row.texts)]
        filled = [text for text in texts if text]
        if not filled:
            continue
        name = f"column {describe(column.header)}" if column.header else "a column without a header"
        made.passed_over.append(column.header or name)
        if column.known:
            continue
        figure = next((text for text in filled if any(char.isdigit() for char in text)), None)
        if figure is None:
            continue
        spot = table.head.spot_of(column.index)
        cell = spot.where or f"{spot.line}:{spot.column}"
        words = f"{name} is not read, and holds figures, such as {describe(figure)}"
        mend = column.hint or "name it as one of the columns that are read, or leave it as a note"
        found.append(Unread(Line(table.head.line), cell, column.header or cell, words, mend))
    return found


def _beside(cell: Cell) -> Unread:
    spot = cell.spot
    words = f"a cell without a header over it is not read: {describe(cell.text)}"
    number = spot.line or int("".join(filter(str.isdigit, spot.where)))
    at = spot.where or f"{spot.line}:{spot.column}"
    return Unread(Line(number), at, at, words, "write a header over it, or leave it as a note")


def _merged(table: Table) -> list[tuple[CellFault, range]]:
    """Return a fault for merged cells below the headers, each with the rows that lost their value."""
    return [
        (
            CellFault(Row(table.source, rows.start, []), Telling(column, ref, said("merged cells"), hint=SAVE_AGAIN)),
            rows,
        )
        for column, ref, rows in merged_cells(table.merged, len(table.head.texts))
        if rows.stop > table.head.line + 1
    ]
