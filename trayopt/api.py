"""F5: the use cases, one call each: load a job, solve it, check a plan, explain; the commands are a thin shell."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from trayopt.domain.job import Job


def load_job(source: str | Path | Mapping[str, Any], *, library: Sequence[Path] = ()) -> Job:
    """Read a job with everything that it refers to.

    Parameters
    ----------
    source
        A job file, ``-`` for standard input, or the job as a mapping with the keys of a job file.
    library
        Folders whose entries come before the models of trayopt, a later one before an earlier one.

    Returns
    -------
    Job
        With references resolved and defaults filled in.

    Raises
    ------
    InputError
        With every fault of every file, sorted.
    """
    from trayopt.library.job import read_job
    from trayopt.rules.registry import fill

    return read_job(source, library, fill_rules=fill)
