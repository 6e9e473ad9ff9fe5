"""Faults of whole tables: a table of another job, and the order in which faults are told."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from itertools import groupby

from trayopt.domain.job import Job
from trayopt.domain.said import said
from trayopt.errors import InputError
from trayopt.formats.cells import MOST_COLUMNS, Cell, CellFault
from trayopt.formats.locate import describe
from trayopt.formats.validate import did_you_mean


def another_job(job: Job, strange: list[Cell]) -> InputError:
    """Return the error, in one line, that a table is about other trunks than the job."""
    names = list(dict.fromkeys(cell.text for cell in strange))
    near = next(filter(None, (did_you_mean(name, job.trunk_by_id) for name in names)), "")
    return InputError(
        [
            strange[0].spot.fault(
                said("no trunk of this table is in the job"),
                found=", ".join(describe(name) for name in names[:12]),
                allowed=", ".join(list(job.trunk_by_id)[:20]),
                hint=near or said("name the job that the table was made for"),
            )
        ]
    )


def in_file_order(faults: Sequence[CellFault], strays: Collection[tuple[str, int]]) -> list[CellFault]:
    """Return faults in the order of the file, each once; not those in rows (sheet and line) that are no part of the plan."""
    found = sorted(faults, key=_in_sheet)
    if found and found[0].row.raw is None:
        found.sort(key=lambda item: item.row.sheet)
    if strays:
        found = [item for item in found if (item.row.sheet, item.row.line) not in strays]
    return [item for item, _ in groupby(found)]


def _in_sheet(item: CellFault) -> int:
    """Sort key of faults of one sheet: by row, then by column."""
    return item.row.line * MOST_COLUMNS + item.telling.column
