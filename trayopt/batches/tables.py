"""The results as a table with a row for each job: summary.csv and summary.xlsx."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from io import TextIOWrapper
from pathlib import Path
from typing import Any

from trayopt.batches.changes import GOALS
from trayopt.batches.files import whole_file
from trayopt.batches.outcomes import OUTCOMES
from trayopt.batches.pages import SAFETY
from trayopt.batches.results import Line, Results
from trayopt.batches.summary import mix_name
from trayopt.crewsheets.tables import guarded
from trayopt.domain.sweep import FACTORS
from trayopt.pictures.page import without_controls

OTHERS = tuple(factor for factor in FACTORS if factor not in {"enclosure", "mix"})
SETTINGS = ("time_limit_s", "gap", "seed", "goal_order", "explain")
COLUMNS = (
    *("name", "mix", "enclosure", *OTHERS, "outcome", "why", "status", *GOALS),
    *("tied", "places", "ends", "capacity", "fill", "splices", "litres", "seconds", "attempts"),
    *("same_as", "plan", "title", "source", "digest", "version", *SETTINGS),
)
HEADS = (*COLUMNS, f"Safety: {SAFETY}")
"""The headers. The last column is empty; its header is the line of safety, which a spreadsheet shows with the headers."""
WIDTHS = {"name": 44, "why": 60, "title": 30, "source": 30, "plan": 44, "mix": 20, "enclosure": 18, "outcome": 26}
TEXT = {"name", "mix", "enclosure", *OTHERS, "why", "title", "source", "plan", "same_as"}


def row(line: Line) -> list[Any]:
    """Return the cells of a line; None for an empty cell."""
    goals = line.get("goals") or {}
    settings = dict(line.get("settings") or {})
    settings["goal_order"] = ", ".join(settings.pop("goals", None) or ())
    cells = {**line, **line["values"], **settings, **goals, "mix": mix_name(line), "outcome": OUTCOMES[line["outcome"]]}
    fill = fill_of(line)
    if fill is not None:
        cells["fill"] = fill
    found = [cells.get(column) for column in COLUMNS]
    return [without_controls(cell) or None if isinstance(cell, str) else cell for cell in found]


def fill_of(line: Line) -> float | None:
    """Return the used part of all fibre ends that the trays of a box hold; None if it is not known."""
    return round(line["ends"] / (2 * line["capacity"]), 4) if line.get("capacity") and "ends" in line else None


def write_csv(path: Path, results: Results) -> None:
    """Write summary.csv; its last column is empty and has the line of safety as its header.

    Raises
    ------
    InputError
        If it cannot be written.
    """
    with whole_file(path) as raw:
        stream = TextIOWrapper(raw, encoding="utf-8-sig", newline="")
        writer = csv.writer(stream)
        writer.writerow(HEADS)
        for line in results.lines():
            writer.writerow([*(guarded(cell) if isinstance(cell, str) else cell for cell in row(line)), ""])
        stream.flush()
        stream.detach()


def write_xlsx(path: Path, results: Results) -> bool:
    """Write summary.xlsx; without openpyxl, remove the file of an earlier run and return False.

    Raises
    ------
    InputError
        If it cannot be written.
    """
    try:
        from openpyxl import Workbook
        from openpyxl.cell import WriteOnlyCell
        from openpyxl.styles import Font
        from openpyxl.utils import get_column_letter
    except ImportError:
        path.unlink(missing_ok=True)
        return False
    book = Workbook(write_only=True)
    sheet: Any = book.create_sheet("summary")
    sheet.freeze_panes = "B2"
    for number, column in enumerate(COLUMNS, start=1):
        sheet.column_dimensions[get_column_letter(number)].width = WIDTHS.get(column, 13)
    sheet.auto_filter.ref = f"A1:{get_column_letter(len(COLUMNS))}{len(results) + 1}"
    heads = []
    for column in HEADS:
        head = WriteOnlyCell(sheet, column)
        head.font = Font(bold=True)
        heads.append(head)
    sheet.append(heads)
    for cells in _cells(sheet, results):
        sheet.append(cells)
    with whole_file(path) as raw:
        book.save(raw)
    return True


def _cells(sheet: Any, results: Results) -> Iterator[list[Any]]:
    """Yield rows in which text never becomes a formula, and a plan is a link."""
    from openpyxl.cell import WriteOnlyCell

    for line in results.lines():
        cells = []
        for column, value in zip(COLUMNS, row(line), strict=True):
            cell = WriteOnlyCell(sheet, value)
            if isinstance(value, str):
                cell.data_type = "s"
            if column == "fill":
                cell.number_format = "0.0%"
            if column == "plan" and value:
                cell.hyperlink = line.get("page") or value
            cells.append(cell)
        yield cells
