"""F5: judge plans: check a plan document, review a hand-made plan, compare two plans."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from trayopt.api.plans import document_of, opened
from trayopt.domain.job import Job

if TYPE_CHECKING:
    from trayopt.checker import Report
    from trayopt.domain.plan import Plan
    from trayopt.errors import Fault
    from trayopt.review.compare import Pair
    from trayopt.review.desk import Review


def check(job: Job, plan: Plan | str | Path, *, warn: Callable[[Fault], None] | None = None) -> Report:
    """Check a plan document against its job: every rule, and every figure in the plan.

    Parameters
    ----------
    job
        The job, as ``load_job`` returns it.
    plan
        The plan, or its file in JSON (``-`` for standard input); see ``judge`` for tables.
    warn
        Called with a warning if the file is of a former format, of which only ways and places are taken over.

    Returns
    -------
    Report
        ``passed`` is the verdict. ``findings`` lists the broken rules with their subjects. ``unplaced`` is the number of splices
        without a tray. ``figures`` compares the figures of the plan with the right ones. ``plan`` is the plan with every figure
        corrected.

    Raises
    ------
    InputError
        If the plan cannot be read, or names something that the job does not have.
    """
    from trayopt.checker import check as check_document

    document, source = document_of(job, plan, "make a plan of it, or judge it as it is", warn)
    return check_document(job, document, source)


def judge(job: Job, plan: Plan | str | Path, *, best: bool | None = None, time_limit_s: float = 20.0) -> Review:
    """Judge a plan that somebody made, a document or a table, as a reviewer does: row by row, and against the best plan.

    Parameters
    ----------
    job
        The job, as ``load_job`` returns it.
    plan
        The plan, or its file: a plan in JSON, or a table in CSV or XLSX (``-`` for standard input).
    best
        Whether to search for the best plan and compare with it. None means: only for tables.
    time_limit_s
        Most seconds for the best plan, and the same again to complete a table.

    Returns
    -------
    Review
        ``passed`` is the verdict. ``damaged`` says whether there are cells that cannot be read. ``remarks`` lists the remarks,
        each with its place in the table. ``goals`` holds the value of each goal. ``report`` is the report of ``check``; None if
        cells are damaged.

    Raises
    ------
    InputError
        If the file is neither a plan nor a table, or the plan names something that the job does not have.
    """
    from trayopt.review.desk import review_plan, review_table

    made, document = opened(job, plan)
    best_s = time_limit_s if (document is None if best is None else best) else None
    if document is None:
        return review_table(job, made, complete_s=time_limit_s, best_s=best_s)
    return review_plan(job, document, made.source, best_s=best_s, notes=made.notes)


def compare(job: Job, a: Plan | str | Path, b: Plan | str | Path, *, time_limit_s: float = 20.0) -> Pair:
    """Compare two plans of a job: their goals, the trunks and legs that differ, and their findings.

    Parameters
    ----------
    job
        The job, as ``load_job`` returns it.
    a, b
        Two plans, or their files in JSON, CSV or XLSX.
    time_limit_s
        Most seconds to complete a table.

    Returns
    -------
    Pair
        ``as_dict()`` returns the comparison as plain data, with lengths in mm; ``a`` and ``b`` are the two reviews.

    Raises
    ------
    InputError
        If a file cannot be read, a cell is damaged, or a plan names something that the job does not have.
    """
    from trayopt.review.compare import compare as pair

    return pair(job, *(judge(job, plan, best=False, time_limit_s=time_limit_s) for plan in (a, b)))
