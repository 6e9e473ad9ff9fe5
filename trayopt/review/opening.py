"""Opening a plan: a plan document or a hand-made table; the content says which."""

from __future__ import annotations

from pathlib import Path

from trayopt.checker import parse_document
from trayopt.domain.job import Job
from trayopt.domain.plan import Plan
from trayopt.errors import Fault, InputError
from trayopt.formats.json_in import MOST_BYTES
from trayopt.formats.source import decode, read_bytes, source_name
from trayopt.review.handmade import Handmade


def open_plan(job: Job, path: str | Path, *, lenient: bool = False) -> tuple[Handmade, Plan | None]:
    """Read a plan from a file, or from standard input for ``-``.

    Parameters
    ----------
    job, path
        The job, and the file: a plan document in JSON, or a table in CSV or XLSX.
    lenient
        Whether the job may have changed since the plan was made.

    Returns
    -------
    tuple
        The decisions of the plan, and the plan document, or None for a table.

    Raises
    ------
    InputError
        If the file is neither, or is a plan of another job.
    """
    raw, source = read_bytes(path, MOST_BYTES), source_name(path)
    if raw.lstrip(b"\xef\xbb\xbf \t\r\n").startswith((b"{", b"[")):
        from trayopt.review.plans import handmade_of, of_this_job

        notes: list[Fault] = []
        plan = parse_document(job, decode(raw, source), source, notes.append)
        of_this_job(job, plan, source, lenient=lenient)
        made = handmade_of(job, plan, source)
        made.notes += [f"{fault.message}; {fault.hint}" for fault in notes]
        return made, plan
    from trayopt.review.reading import parse_handmade

    return parse_handmade(job, raw, source, lenient=lenient), None


def open_readable(job: Job, path: str | Path) -> tuple[Handmade, Plan | None]:
    """Read a plan as ``open_plan`` does, for callers that cannot show its damage, and so refuse it.

    Raises
    ------
    InputError
        As ``open_plan``, and with every cell that cannot be read.
    """
    made, plan = open_plan(job, path)
    if made.damage:
        raise InputError(made.faults)
    return made, plan
