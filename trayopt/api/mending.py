"""F5: find the plan that keeps every must and differs least from a given plan."""

from __future__ import annotations

import time
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from trayopt.api.plans import opened
from trayopt.domain.job import Job

if TYPE_CHECKING:
    from trayopt.domain.hardware import Place
    from trayopt.domain.plan import Plan
    from trayopt.review.mend import Mended
    from trayopt.solver.model.decisions import Weights


def mend(
    job: Job,
    plan: Plan | str | Path,
    *,
    built: str | Iterable[Place] = (),
    weights: Weights | Mapping[str, int] | None = None,
    time_limit_s: float = 60.0,
    workers: int = 2,
    seed: int = 1,
) -> Mended:
    """Find the plan that keeps every must and differs least from a given plan, and prove that no other changes less.

    Parameters
    ----------
    job
        The job as it is now, as ``load_job`` returns it.
    plan
        The given plan, or its file in JSON, CSV or XLSX; it may have been made before the job changed.
    built
        Trays in which everything is spliced and stays: places, or text such as ``left/1-4,right/1-4``. Rows of a table that are
        marked as built also stay.
    weights
        The weight of a change by kind: legs, travel, ends, partings, ribbons, ports, splits, loops. A kind that is left out has
        its default weight.
    time_limit_s
        Most seconds, including the time to read the files and to write the answer.
    workers, seed
        Search threads, and the seed of their random choices.

    Returns
    -------
    Mended
        ``plan`` is the plan; None if none was found. ``impossible`` says whether it is proven that there is none. ``moves`` lists
        the moves in an order in which they can be made. ``weighed`` is the weight of all changes, and ``bound`` the least weight
        that is proven.

    Raises
    ------
    InputError
        If the file cannot be read, a cell is damaged, or there is no such tray or kind of change.
    SolverFault
        If the plan that was found fails its own check.
    """
    from trayopt.review.mend import mend as nearest
    from trayopt.review.mend import parse_built

    began = time.monotonic()
    stay = parse_built(job, built) if isinstance(built, str) else built
    made, document = opened(job, plan, lenient=True)
    weighed = _weights(weights)
    reading = time.monotonic() - began
    return nearest(
        job, made, document=document, built=stay, weights=weighed, limit_s=time_limit_s, workers=workers, seed=seed,
        answer_s=reading, began=began,
    )  # fmt: skip


def _weights(given: Weights | Mapping[str, int] | None) -> Weights:
    """Return the weight of each kind of change; a kind that is left out has its default weight."""
    from dataclasses import fields

    from trayopt.errors import InputError
    from trayopt.solver.model.decisions import Weights

    if given is None or isinstance(given, Weights):
        return given or Weights()
    kinds = [field.name for field in fields(Weights)]
    for kind, weight in given.items():
        if kind not in kinds or isinstance(weight, bool) or not isinstance(weight, int) or weight < 0:
            allowed = f"whole numbers from 0, by kind: {', '.join(kinds)}"
            raise InputError.one("weights cannot be used", source="weights", found=f"{kind}={weight}", allowed=allowed)
    return Weights(**given)
