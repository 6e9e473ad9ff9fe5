"""Faults of whole tables: a table of another job, and the order in which faults are told."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from itertools import groupby

from trayopt.domain.job import Job
from trayopt.domain.said import said
from trayopt.errors import Fault, InputError
from trayopt.formats.cells import Cell
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


def _in_file_order(fault: Fault) -> tuple[int, int, str, Fault]:
    """Sort key of faults: by row, then by column."""
    if fault.line:  # in a text; faults in a workbook have a cell instead
        return fault.line, fault.column, "", fault
    letters = fault.where.rstrip("0123456789")
    return int(fault.where[len(letters) :] or 0), len(letters), letters, fault


def told_faults(faults: Sequence[Fault], strays: Collection[tuple[int, int, str]]) -> list[Fault]:
    """Return faults in the order of the file, each once, without those in rows that are not part of the plan."""
    # faults in a text are sorted by line, then by column
    by = None if all([fault.line for fault in faults]) else _in_file_order
    found = sorted(faults, key=by)
    if strays:
        found = [f for f in found if (f.line, f.column, f.where) not in strays]
    return [fault for fault, _ in groupby(found)]
