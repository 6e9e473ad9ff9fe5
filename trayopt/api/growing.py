"""F5: how much more a box can take in addition to its job."""

from __future__ import annotations

import time
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from trayopt.api.hardware import library_survey
from trayopt.domain.cable import Cable
from trayopt.domain.job import Job

if TYPE_CHECKING:
    from trayopt.domain.plan import Plan
    from trayopt.explainer.growth import By, Growth


def grow(
    job: Job,
    cable: Cable | str,
    *,
    to: str | None = None,
    by: By = "trunk",
    ways_out: int = 5,
    time_limit_s: float | None = 60.0,
    reproducible: bool = False,
    library: Sequence[Path] = (),
    job_file: str | None = None,
) -> Growth:
    """Find how many more trunks of a cable, or subunits of a trunk, a box can take, and what stops the next.

    Parameters
    ----------
    job
        The job; built pins stay, everything else may be decided anew.
    cable
        The cable of the new trunks, or its id in the library.
    to
        The trunk whose spare fibres are joined to the new trunks, from the lowest up. If it is None, new trunks come in pairs
        that are joined to each other fibre by fibre.
    by
        Whether to count trunks with all their fibres joined, or the joined subunits of a single trunk.
    ways_out
        Greatest number of ways out for the next trunk or subunit that give groups up. With 0, none are looked for.
    time_limit_s
        Most seconds, or with ``reproducible`` the solver's deterministic time. Results that are not settled by then say so.
    reproducible
        Work without the wall clock: the answer is the same byte for byte.
    library
        Folders with cables, trays and tube sets that are available in addition to the models of trayopt.
    job_file
        The name of the job's file, for the first line of its edits.

    Returns
    -------
    Growth
        ``fits`` is the number that fits, proven by the plan that ``grown_plan`` makes. ``settled`` says whether one more is
        proven not to fit. ``why`` has the rules that stop the next, with ways out.

    Raises
    ------
    InputError
        If there is no such cable or trunk, or a folder does not exist.
    """
    from trayopt.domain.hardware import Enclosure, Tray, TubeSet
    from trayopt.errors import InputError
    from trayopt.explainer.growth import Addition
    from trayopt.explainer.growth import grow as grow_job
    from trayopt.explainer.trying import Shelf
    from trayopt.explainer.why_not import Wishes
    from trayopt.formats.locate import describe
    from trayopt.formats.validate import did_you_mean
    from trayopt.library.soundness import sound
    from trayopt.solver.model.clock import Clock
    from trayopt.solver.model.in_time import margin

    began = time.monotonic()
    models = [entry.model for entry in library_survey(library).entries if sound(entry.model)]
    if isinstance(cable, str):
        known = {model.id: model for model in models if isinstance(model, Cable)}
        known |= {trunk.cable.id: trunk.cable for trunk in job.trunks}
        if cable not in known:
            hint = did_you_mean(cable, known) or "list them with: trayopt library list"
            raise InputError.one(
                "there is no such cable in the library", source="--cable", found=describe(cable), hint=hint
            )
        cable = known[cable]
    if to is not None and to not in job.trunk_by_id:
        names = list(job.trunk_by_id)
        hint = did_you_mean(to, names)
        raise InputError.one(
            "there is no such trunk", source="--to", found=describe(to), allowed=", ".join(names), hint=hint
        )
    shelf = Shelf(
        [model for model in models if isinstance(model, Tray)],
        [model for model in models if isinstance(model, TubeSet)],
        [model for model in models if isinstance(model, Enclosure)],
        None,
        job_file,
    )
    limit = time_limit_s if time_limit_s is None or reproducible else time_limit_s - margin(time_limit_s)
    clock = Clock(limit, deterministic=reproducible, started=began)
    return grow_job(job, Addition(cable, to, by), clock, Wishes(ways_out=ways_out, shelf=shelf))


def grown_plan(growth: Growth) -> Plan | None:
    """Make the plan of ``growth.job`` that proves how much fits; None if nothing is proven to fit."""
    from importlib.metadata import version

    from trayopt.checker import measure
    from trayopt.domain.plan import PlanSolver

    if growth.assignment is None:
        return None
    solver = PlanSolver(version=version("ortools"), seed=1, workers=1, deterministic_time=0.0)
    return measure(growth.job, growth.assignment, status="feasible", stopped="time_limit", bounds={}, solver=solver)
