"""The work on one job, in any process: it is solved with one thread, and the answer is made."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from functools import cache
from hashlib import sha256
from typing import Any

from trayopt.batches.answers import Answer, failed, of_plan, wrong_input
from trayopt.version import __version__

SOLVE = "trayopt.batches.work:solve_job"
"""The function that workers call for a job."""


@dataclass(frozen=True)
class Settings:
    """The settings with which every job of a batch is solved; they are part of the key of a result.

    Parameters
    ----------
    time_limit_s
        Most seconds of the solver's deterministic time, which repeats exactly; wall time is a few times as long.
    gap, seed, goals, explain
        As for ``trayopt.solve``.
    certificate
        Whether each plan gets its certificate; if false, the plain settings do not mention it.
    """

    time_limit_s: float | None = 60.0
    gap: float | None = None
    seed: int = 1
    goals: tuple[str, ...] | None = None
    explain: bool = True
    certificate: bool = False

    def plain(self) -> dict[str, Any]:
        """Return the settings as plain data."""
        data = {**asdict(self), "goals": list(self.goals) if self.goals is not None else None}
        if not self.certificate:
            del data["certificate"]
        return data

    def key(self, digest: str, title: str) -> str:
        """Return the key of a result, a digest of all that it depends on: job, title, settings, and versions."""
        text = json.dumps([digest, title, self.plain(), *_versions()], sort_keys=True)
        return sha256(text.encode()).hexdigest()[:24]


@cache
def _versions() -> tuple[str, str]:
    """Return the versions of trayopt and of the solver; the latter is empty if the solver is not installed."""
    from importlib.metadata import PackageNotFoundError, version

    try:
        return __version__, version("ortools")
    except PackageNotFoundError:
        return __version__, ""


def solve_job(job: dict[str, Any], settings: dict[str, Any]) -> Answer:
    """Solve a job that is given as its canonical JSON; a fault inside it becomes an answer.

    Raises
    ------
    MemoryError
        If there is no more memory; the process cannot be used any more.
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
    """Load everything that solving needs, before the first job comes."""
    import trayopt.api
    import trayopt.solver.model.cp_sat  # noqa: F401
