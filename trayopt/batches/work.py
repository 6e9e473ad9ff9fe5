"""What is done with one job, in whichever process: solve it with one thread and say how it came out."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from functools import cache
from hashlib import sha256
from typing import Any

from trayopt.batches.answers import Answer, failed, of_plan, wrong_input

SOLVE = "trayopt.batches.work:solve_job"
"""Where workers find what they do with a job."""


@dataclass(frozen=True)
class Settings:
    """How every job of a batch is solved; part of what a result depends on.

    Parameters
    ----------
    time_limit_s
        Most of the solver's deterministic time, in seconds; it repeats exactly, wall time is some times as long.
    gap, seed, goals, explain
        As for ``trayopt.solve``.
    certificate
        Whether each plan gets its certificate; where not, it is no part of what the settings are.
    """

    time_limit_s: float | None = 60.0
    gap: float | None = None
    seed: int = 1
    goals: tuple[str, ...] | None = None
    explain: bool = True
    certificate: bool = False

    def plain(self) -> dict[str, Any]:
        """Return them as plain data."""
        data = {**asdict(self), "goals": list(self.goals) if self.goals is not None else None}
        if not self.certificate:
            del data["certificate"]
        return data

    def key(self, digest: str, title: str) -> str:
        """Name what a result depends on: the job, the title in its plan, these settings and the version of trayopt."""
        text = json.dumps([digest, title, self.plain(), *_versions()], sort_keys=True)
        return sha256(text.encode()).hexdigest()[:24]


@cache
def _versions() -> tuple[str, str]:
    """Versions of trayopt and of the solver, as far as it is installed here."""
    from importlib.metadata import PackageNotFoundError, version

    from trayopt import __version__

    try:
        return __version__, version("ortools")
    except PackageNotFoundError:
        return __version__, ""


def solve_job(job: dict[str, Any], settings: dict[str, Any]) -> Answer:
    """Solve a job that comes as its canonical JSON; what goes wrong inside of it is an answer too.

    Raises
    ------
    MemoryError
        If there is no more; the process is of no use then.
    """
    from trayopt.api import certify, solve
    from trayopt.domain.job import Job
    from trayopt.errors import InputError
    from trayopt.formats.json_out import dump_rows
    from trayopt.formats.locate import frozen
    from trayopt.rules.registry import refill

    try:
        read = refill(Job.model_validate(frozen(job)))
        result = solve(
            read,
            time_limit_s=settings["time_limit_s"],
            gap=settings["gap"],
            workers=1,
            seed=settings["seed"],
            reproducible=True,
            goals=settings["goals"],
            explain=settings["explain"],
        )
        answer = of_plan(read, result.plan, complete=result.complete)
        if settings.get("certificate") and result.plan.status != "none":
            answer["certificate"] = dump_rows(certify(read, result.plan, time_limit_s=None).plain())
        return answer
    except InputError as wrong:
        return wrong_input(wrong)
    except MemoryError:
        raise
    except Exception as fault:  # one job's fault is that job's answer
        return failed("fault", f"{type(fault).__name__}: {fault}")


def prepare() -> None:
    """Load what solving needs, while there is nothing to do yet."""
    import ortools.sat.python.cp_model  # noqa: F401

    import trayopt.api  # noqa: F401
