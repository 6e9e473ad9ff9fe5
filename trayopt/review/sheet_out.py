"""Writing tables in CSV or XLSX, as ``check`` and ``mend`` read them: an empty table to fill in, or a plan."""

from __future__ import annotations

import csv
from collections.abc import Sequence
from io import BytesIO, StringIO
from pathlib import Path
from typing import TYPE_CHECKING, Any

from trayopt.domain.base import DIVIDE_AT, RibbonWord
from trayopt.domain.hardware import trays_in_words
from trayopt.domain.job import Job
from trayopt.domain.plan import Plan
from trayopt.domain.trunk import ribbon_rank
from trayopt.errors import InputError
from trayopt.formats.json_out import dump_rows, write_whole
from trayopt.review.cautions import TABLE
from trayopt.review.columns import LEG_COLUMNS
from trayopt.rules.words import listed, ribbons_are

if TYPE_CHECKING:
    from openpyxl.worksheet.worksheet import Worksheet

Rows = list[list[str | int | None]]
WIDTHS = {
    "trunk": 10, "fibres": 14, "stack": 12, "position": 10, "port": 16, "travel": 18, "loops": 8, "divide_at": 10,
    "ribbons": 13, "end": 10, "cut": 10, "built": 8,
}  # fmt: skip


def columns_of(job: Job) -> tuple[str, ...]:
    """Return the columns of a table for a job; ribbon work has a column only if the job allows some."""
    worked = any(trunk.may_work_ribbons for trunk in job.trunks)
    return tuple(column for column in LEG_COLUMNS if worked or column != "ribbons")


def empty_rows(job: Job) -> Rows:
    """Return a row, without a tray, for every subunit with a spliced fibre."""
    rows: Rows = []
    for trunk in job.trunks:
        for subunit in trunk.subunits:
            if job.spliced[trunk.id, subunit.number]:
                rows.append([trunk.id, f"{subunit.first}-{subunit.last}", *[None] * (len(columns_of(job)) - 2)])
    return rows


def plan_rows(job: Job, plan: Plan) -> Rows:
    """Return a row for every placed leg of a plan."""
    ways, columns = {row.trunk: row for row in plan.trunks}, columns_of(job)
    rows: Rows = []
    for leg in plan.legs:
        if leg.stack is not None:
            way = ways[leg.trunk]
            cells = {
                "trunk": leg.trunk, "fibres": leg.fibres, "stack": leg.stack, "position": leg.position, "port": way.port,
                "travel": way.travel, "loops": way.loops, "divide_at": way.divide_at, "ribbons": way.ribbons,
                "end": leg.end, "cut": leg.cut_mm, "built": None,
            }  # fmt: skip
            rows.append([cells[column] for column in columns])
    return rows


def write_table(path: str | Path, job: Job, rows: Rows, *, safety: str = "") -> None:
    """Write a table of legs as CSV or XLSX, by the ending of the name; whole or not at all.

    ``safety`` becomes the header of an empty last column, as in the lists of the crew.

    Raises
    ------
    InputError
        If the name has another ending, openpyxl is missing, or the file cannot be written.
    """
    kind = Path(path).suffix.lower()
    if kind == ".xlsx":
        write_whole(path, workbook(job, rows, safety=safety))
    elif kind == ".csv" or str(path) == "-":
        stream = StringIO()
        writer = csv.writer(stream, lineterminator="\n")
        last = [""] * bool(safety)
        writer.writerows([[*columns_of(job), *filter(None, [safety])], *([*row, *last] for row in rows)])
        write_whole(path, stream.getvalue())
    else:
        raise InputError.one("a table is CSV or XLSX", source=str(path), allowed="a name ending in .csv or .xlsx")


def workbook(job: Job, rows: Rows, *, safety: str = "") -> bytes:
    """Make a workbook: the table, with drop-down lists of the box's parts, and a sheet of notes on how to fill it in.

    ``safety`` as in ``write_table``.
    """
    try:
        from openpyxl import Workbook
        from openpyxl.styles import Font
    except ImportError as missing:
        hint = "pip install trayopt[xlsx], or write CSV"
        raise InputError.one("openpyxl is needed to write XLSX and is not installed", hint=hint) from missing
    book = Workbook()
    sheet: Any = book.active
    sheet.title = "plan"
    columns = columns_of(job)
    sheet.append(list(columns))
    for row in rows:
        sheet.append(row)
    for i, column in enumerate(columns):
        letter = sheet.cell(1, i + 1).column_letter
        sheet.column_dimensions[letter].width = WIDTHS[column]
        sheet.cell(1, i + 1).font = Font(bold=True)
    if safety:
        sheet.cell(1, len(columns) + 1, safety).font = Font(bold=True)
    last = max(len(rows) + 1, 200)
    for number in range(2, last + 1):
        sheet.cell(number, columns.index("fibres") + 1).number_format = "@"
    sheet.freeze_panes = "A2"
    _choices(book.create_sheet("lists"), sheet, job, last)
    notes = book.create_sheet("notes")
    notes.column_dimensions["A"].width = 110
    for line in notes_of(job):
        notes.append([line])
    stream = BytesIO()
    book.save(stream)
    return stream.getvalue()


def _choices(lists: Worksheet, sheet: Worksheet, job: Job, last: int) -> None:
    """Write the possible choices to a sheet of their own, and add drop-down lists to the table."""
    from openpyxl.utils import get_column_letter
    from openpyxl.worksheet.datavalidation import DataValidation

    box = job.enclosure
    ends = list(dict.fromkeys(end.id for stack in box.stacks for end in stack.ends))
    deepest = max(stack.positions for stack in box.stacks)
    loops = sorted({count for trunk in job.trunks for count in trunk.loops})
    choices: dict[str, Sequence[str | int]] = {
        "trunk": list(job.trunk_by_id),
        "stack": [stack.id for stack in box.stacks],
        "position": list(range(1, deepest + 1)),
        "port": [port.id for port in box.ports],
        "travel": ["clockwise", "counterclockwise"],
        "loops": loops,
        "divide_at": list(DIVIDE_AT),
        "end": ends,
        "built": ["yes"],
    }
    worked: list[RibbonWord] = sorted({word for trunk in job.trunks for word in trunk.ribbons}, key=ribbon_rank)
    choices["ribbons"] = worked
    columns = columns_of(job)
    choices = {column: values for column, values in choices.items() if column in columns}
    for i, (column, values) in enumerate(choices.items(), start=1):
        lists.cell(1, i, column)
        for j, value in enumerate(values, start=2):
            lists.cell(j, i, value)
        letter = get_column_letter(i)
        rule = DataValidation(type="list", formula1=f"lists!${letter}$2:${letter}${len(values) + 1}", allow_blank=True)
        rule.errorTitle, rule.error = column, f"choose one of the list: {', '.join(map(str, values[:8]))}"
        sheet.add_data_validation(rule)
        target = get_column_letter(columns.index(column) + 1)
        rule.add(f"{target}2:{target}{last}")


def notes_of(job: Job) -> list[str]:
    """Return notes on how to fill in the table, with the trunks, ports and trays of the job."""
    lines = [
        job.title or "splice plan",
        "",
        "One row a leg: trunk, fibres of the leg, and the tray it lies in (stack and position; 1 is at the base).",
        "A subunit is kept whole or divided into equal legs of whole ribbons: add rows as needed, fibres as 1-72.",
        "Fibres may also be written by tube, ribbon and fibre, in numbers or colours: blue/1-6/all, orange/green/1-12.",
        "Both sides of a splice lie in one tray. Port, travel, loops and divide_at are the trunk's: one row of it is enough.",
        "divide_at is tray (the tubes go all the way and are opened there) or port (each leg in a tube of its own). Legs of an",
        "opened tube that are spliced to nothing are parked: give them a row as well, in one of its trays or the next.",
        *(
            ["ribbons is the trunk's too: as_they_are, split, or the width of the ribbons that are made anew."]
            if "ribbons" in columns_of(job)
            else []
        ),
        "The column cut is the length in mm at which a leg is cut; it is checked where it is filled in.",
        "Write yes under built where the leg is spliced already. Rows without a tray are left open.",
        "Other columns and sheets are kept. The fibres column is text: leave it so, or 1-12 becomes a date.",
        "",
        "Trunks",
    ]
    for trunk in job.trunks:
        groups = ", ".join(
            f"{group.count} x {group.ribbons} ribbons of {group.ribbon_fibres}" for group in trunk.cable.subunits
        )
        ports = ", ".join(trunk.allowed_ports(job.enclosure))
        places = listed([f"the {at}" for at in trunk.divide_at], "or")
        worked = listed([ribbons_are(word) for word in trunk.ribbons], "or")
        lines.append(
            f"{trunk.id}: {trunk.cable.fibres} fibres in subunits of {groups}; divided at {places}; "
            f"ports {ports or 'none'}; travel {trunk.travel}; loops {', '.join(map(str, sorted(set(trunk.loops))))}"
            + (f"; ribbons {worked}" if trunk.may_work_ribbons else "")
        )
    lines += ["", "Joins", *(f"{join.name}: {join.a} to {join.b}" for join in job.joins[:500])]
    lines += ["", "Stacks"]
    for stack in job.enclosure.stacks:
        takes = ", others ".join(
            f"{2 * tray.fibres} fibre ends, {tray.sleeves} sleeves of {tray.sleeve_fibres}, "
            f"{tray.entrance_legs} legs an entrance"
            for tray in stack.kinds
        )
        ends = ", ".join(end.id for end in stack.ends)
        kinds = f", from the base {trays_in_words(stack)}" if len(stack.kinds) > 1 else ""
        lines.append(f"{stack.id}: positions 1 to {stack.positions}{kinds}; a tray takes {takes}; ends: {ends}")
    return lines


def write_plan(path: str | Path, job: Job, plan: Plan) -> None:
    """Write a plan as a table if the name ends in .csv or .xlsx, and as a plan document otherwise."""
    if Path(path).suffix.lower() in {".csv", ".xlsx"}:
        write_table(path, job, plan_rows(job, plan), safety=TABLE)
    else:
        write_whole(path, dump_rows(plan.plain()))
