"""F5: explain a job, and carry out a way out."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from trayopt.api.hardware import library_survey
from trayopt.api.judging import check
from trayopt.api.plans import opened
from trayopt.api.reading import load_job
from trayopt.domain.job import Job

if TYPE_CHECKING:
    from trayopt.domain.assignment import Assignment
    from trayopt.domain.explanation import Explanation
    from trayopt.domain.plan import Plan
    from trayopt.explainer.costs import Costs
    from trayopt.explainer.why_not import Proven
    from trayopt.solver.model.decisions import Given


def explain(
    job: Job,
    expected: Plan | Given | str | Path | None = None,
    *,
    best: Plan | None = None,
    conflicts: int = 1,
    ways_out: int = 5,
    time_limit_s: float | None = 60.0,
    reproducible: bool = False,
    costs: Costs | None = None,
    library: Sequence[Path] = (),
    box_file: str | None = None,
    job_file: str | None = None,
    proven: Callable[[Proven], None] | None = None,
) -> Explanation:
    """Explain a job: its conflicts and ways out of them, what limits the best plan, and whether an expected plan is possible.

    Parameters
    ----------
    job
        The job, as ``load_job`` returns it.
    expected
        A plan that was expected, its file in JSON, CSV or XLSX, or only some decisions.
    best
        The best plan, if it is known; otherwise it is searched for when it is needed.
    conflicts
        Greatest number of conflicts; no two of them share a group.
    ways_out
        Greatest number of ways out that give groups up; ways out that add something are not counted. With 0, none are looked for.
    time_limit_s
        Most seconds, or with ``reproducible`` the solver's deterministic time. Results that are not proven by then say so.
    reproducible
        Work without the wall clock: the explanation is the same byte for byte.
    costs
        The costs by which ways out are sorted.
    library
        Folders with trays and tube sets that are available in addition to the models of trayopt.
    box_file
        The file of the job's own box, as the job names it (``box_file_of``), for edits of that file.
    job_file
        The name of the job's file, for the first line of its edits.
    proven
        Called with each way out that changes the job, and its proof, which ``carry_out`` takes.

    Returns
    -------
    Explanation
        ``summary`` is the answer in a few sentences. ``conflicts`` lists the conflicts, each with its groups and whether it is
        proven to be minimal. ``ways_out`` lists the ways out, the cheapest first, each with its edit. ``plain()`` returns
        everything as plain data.

    Raises
    ------
    InputError
        If the expected plan cannot be read, or a folder does not exist.
    """
    from trayopt.domain.hardware import Enclosure, Tray, TubeSet
    from trayopt.explainer.costs import Costs
    from trayopt.explainer.explaining import explain as explain_job
    from trayopt.explainer.trying import Shelf
    from trayopt.explainer.why_not import Wishes
    from trayopt.library.soundness import sound
    from trayopt.solver.model.clock import Clock
    from trayopt.solver.model.decisions import Given
    from trayopt.solver.model.in_time import margin

    began = time.monotonic()
    models = [entry.model for entry in library_survey(library).entries if sound(entry.model)]
    shelf = Shelf(
        [model for model in models if isinstance(model, Tray)],
        [model for model in models if isinstance(model, TubeSet)],
        [model for model in models if isinstance(model, Enclosure)],
        box_file,
        job_file,
    )
    wishes = Wishes(conflicts, ways_out, costs or Costs(), shelf, proven=proven)
    given = (
        expected if expected is None or isinstance(expected, Given) else opened(job, expected, readable=True)[0].given()
    )
    limit = time_limit_s if time_limit_s is None or reproducible else time_limit_s - margin(time_limit_s)
    return explain_job(job, Clock(limit, deterministic=reproducible, started=began), wishes, given=given, plan=best)


def carry_out(
    source: str | Path, proven: Proven, folder: str | Path, *, library: Sequence[Path] = ()
) -> list[tuple[str, str]]:
    """Carry out a way out: write the changed job, the hardware and tables that it names, and the plan that proved it.

    Parameters
    ----------
    source
        The job file that was explained; it stays as it is.
    proven
        The way out, as ``explain`` handed it to ``proven``.
    folder
        The folder for all files. Either all of them are written or none; files of the same names are overwritten.
    library
        The folders with which the job was read.

    Returns
    -------
    list
        For each box, the names of its job file and of its plan, both in the folder.

    Raises
    ------
    InputError
        If a file cannot be read or written, or would overwrite the file of which it is a copy.
    SolverFault
        If the written files do not make the job that was proven.
    """
    from tempfile import TemporaryDirectory

    from trayopt.errors import InputError, SolverFault
    from trayopt.explainer.applying import Files
    from trayopt.formats.folder_out import write_folder_whole
    from trayopt.formats.json_out import dump_rows
    from trayopt.library.find import Library

    files = Files(Path(source), proven, Library(library))
    for name, origin in files.origins():
        if (Path(folder) / name).resolve() == origin:
            hint = "name another folder: the job and its hardware stay as they are"
            raise InputError.one("this would be written over what it is a copy of", source=str(origin), hint=hint)
    written = []
    with TemporaryDirectory() as name:
        write_folder_whole(name, files.made, files.jobs[-1])
        for file, expected, assignment in zip(files.jobs, proven.jobs, proven.plans, strict=True):
            job = load_job(Path(name) / file, library=library)
            plan = _plan_of(job, assignment, proven)
            if not _alike(job, expected) or not check(job, plan).passed:
                raise SolverFault("what was written is not the job that was proven")
            document = f"{Path(file).stem}-plan.json"
            files.made[document] = dump_rows(plan.plain()).encode()
            written.append((file, document))
    write_folder_whole(folder, files.made, written[-1][1])
    return written


def _alike(job: Job, expected: Job) -> bool:
    """Whether two jobs are the same except for the id of the box, since a changed box has an id of its own."""
    from trayopt.domain.base import remade

    return remade(job, enclosure=remade(job.enclosure, id=expected.enclosure.id)).digest == expected.digest


def _plan_of(job: Job, assignment: Assignment, proven: Proven) -> Plan:
    """Make the plan that proved a way out; it has no bounds if they were proven for several boxes together."""
    from importlib.metadata import version

    from trayopt.checker import measure
    from trayopt.domain.plan import PlanSolver

    goals = proven.way.goals if len(proven.jobs) == 1 else ()
    bounds = {goal.goal: goal.bound for goal in goals}
    optimal = bool(goals) and all(goal.proven for goal in goals)
    solver = PlanSolver(version=version("ortools"), seed=1, workers=1, deterministic_time=0.0)
    return measure(
        job, assignment, status="optimal" if optimal else "feasible", stopped="proven" if optimal else "time_limit",
        bounds=bounds, solver=solver,
    )  # fmt: skip
