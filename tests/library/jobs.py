"""A small job as a mapping, to be bent by tests."""

from __future__ import annotations

from typing import Any

from trayopt import load_job
from trayopt.domain.job import Job
from trayopt.errors import InputError


def mapping(**changes: Any) -> dict[str, Any]:
    """Give a job of two trunks of 288 in a box of 864, with some keys changed."""
    job: dict[str, Any] = {
        "schema": "trayopt/job/2",
        "enclosure": "wall-2x6",
        "trunks": [{"id": "N1", "cable": "ribbon-288-2x144"}, {"id": "S1", "cable": "ribbon-288-2x144"}],
        "joins": [{"a": "N1:1-288", "b": "S1:1-288"}],
    }
    return {**job, **changes}


def job(**changes: Any) -> Job:
    """Load it."""
    return load_job(mapping(**changes))


def faults(**changes: Any) -> list[str]:
    """Load it and give what is wrong; empty where nothing is."""
    try:
        job(**changes)
    except InputError as wrong:
        return [str(fault) for fault in wrong.faults]
    return []
