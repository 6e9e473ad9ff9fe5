"""F5: open the plan that is passed to a use case, as a document or as a file."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from trayopt.domain.job import Job

if TYPE_CHECKING:
    from trayopt.domain.plan import Plan
    from trayopt.errors import Fault
    from trayopt.review.handmade import Handmade


def opened(
    job: Job, plan: Plan | str | Path, *, lenient: bool = False, readable: bool = False
) -> tuple[Handmade, Plan | None]:
    """Return the decisions of a plan document or table, and the document if it is one."""
    from trayopt.domain.plan import Plan
    from trayopt.review.opening import open_plan, open_readable
    from trayopt.review.plans import handmade_of, of_this_job

    if isinstance(plan, Plan):
        if readable:
            of_this_job(job, plan, "<plan>")
        return handmade_of(job, plan, "<plan>"), plan
    return open_readable(job, plan) if readable else open_plan(job, plan, lenient=lenient)


def document_of(
    job: Job, plan: Plan | str | Path, hint: str, warn: Callable[[Fault], None] | None = None
) -> tuple[Plan, str]:
    """Return a plan document of a job, and its name in errors; a table is refused."""
    from trayopt.checker import read_document
    from trayopt.domain.plan import Plan
    from trayopt.errors import InputError

    if isinstance(plan, Plan):
        return plan, "<plan>"
    if str(plan).lower().endswith((".csv", ".xlsx")):
        command = f"{hint}: trayopt check JOB {plan} -o plan.json"
        raise InputError.one("this is a table, not a plan", source=str(plan), allowed="JSON", hint=command)
    return read_document(job, plan, warn), str(plan)
