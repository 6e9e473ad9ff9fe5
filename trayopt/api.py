"""F5: the use cases, one call each: load a job, solve it, check a plan, explain; the commands are a thin shell."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from threading import Event
from typing import TYPE_CHECKING, Any

from trayopt.domain.job import Job

if TYPE_CHECKING:
    from trayopt.checker import Report
    from trayopt.domain.explanation import Explanation
    from trayopt.domain.plan import Plan
    from trayopt.explainer.costs import Costs
    from trayopt.library.entries import Entry, Survey
    from trayopt.solver.model.clock import Clock
    from trayopt.solver.model.decisions import Given
    from trayopt.solver.solve import Progress


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


def json_schema(kind: str) -> dict[str, Any]:
    """Give the JSON Schema (draft 2020-12) of a kind of file, rules and their parameters included.

    Raises
    ------
    InputError
        For a kind that there is not.
    """
    from trayopt.errors import InputError
    from trayopt.formats import schema
    from trayopt.formats.validate import did_you_mean
    from trayopt.rules.registry import BY_ID, SETTABLE

    if kind not in schema.KINDS:
        hint = did_you_mean(kind, schema.KINDS)
        raise InputError.one(
            f"there is no schema of {kind!r}", source="schema", allowed=", ".join(schema.KINDS), hint=hint
        )
    entries = {}
    for name in SETTABLE:
        rule = BY_ID[name]
        parameters = rule.Parameters.model_json_schema().get("properties", {})
        words = f"{rule.kind}, default {rule.level}; broken when {rule.statement} ({rule.subject})"
        entries[name] = schema.rule_entry(parameters, words)
    return schema.schema(kind, entries)


def library_survey(folders: Sequence[Path] = (), files: Sequence[Path] | None = None) -> Survey:
    """Read and validate every entry of the library and of the user's folders, or only some files.

    Raises
    ------
    InputError
        Where a folder is none.
    """
    from trayopt.library.entries import survey
    from trayopt.library.find import Library

    return survey(Library(folders), files)


def library_entries(name: str, kind: str | None = None, folders: Sequence[Path] = ()) -> list[Entry]:
    """Give the entries with an id, the first that is found of each kind.

    Raises
    ------
    InputError
        Where there is none, or what it is found in is wrong.
    """
    from trayopt.library.entries import find_entries
    from trayopt.library.find import Library

    return find_entries(Library(folders), name, kind)


@dataclass(frozen=True)
class Result:
    """What solving a job came to: the plan document, checked, and what the check said of it."""

    plan: Plan
    report: Report

    @property
    def complete(self) -> bool:
        """Whether every splice is placed and every must is kept."""
        return self.plan.status != "none" and self.report.passed


def solve(
    job: Job,
    *,
    time_limit_s: float | None = None,
    gap: float | None = None,
    workers: int = 8,
    seed: int = 1,
    reproducible: bool = False,
    start: Plan | None = None,
    goals: Sequence[str] | None = None,
    progress: Progress | None = None,
    explain: bool = True,
    stop: Event | None = None,
) -> Result:
    """Find the best plan of a job, and check it before it is given out.

    Parameters
    ----------
    job
        The job, as ``load_job`` gives it.
    time_limit_s
        Most seconds for all of it; with ``reproducible`` in the solver's deterministic time instead of wall time.
    gap
        Leave a goal when value - bound is at most this part of the value.
    workers, seed
        Search threads, and the seed of their random choices.
    reproducible
        One worker and no wall clock: the same plan byte for byte.
    start
        A plan to begin with.
    goals
        legs, crossings and leg_length_mm in another order.
    progress
        Called with seconds, goal, value and bound.
    explain
        Whether to look for the first conflict where splices stay unplaced or musts are broken, for at most
        ``EXPLAIN_S`` seconds, which are part of the limit.
    stop
        Set from another thread or a handler of signals, it ends the search with the best plan so far, as Ctrl-C does.

    Raises
    ------
    InputError
        Where built pins contradict each other, or ``start`` is no plan of the job, or the goals cannot be ordered so.
    SolverFault
        Where the plan fails its own check.
    """
    from trayopt.checker import assignment_of, check, measure
    from trayopt.errors import InputError, SolverFault
    from trayopt.goals.registry import order
    from trayopt.solver.model.clock import Clock
    from trayopt.solver.model.in_time import margin
    from trayopt.solver.solve import Options
    from trayopt.solver.solve import solve as search

    first = assignment_of(job, start, "<start>")[0] if start is not None else None
    try:
        order(goals)
    except ValueError as wrong:
        raise InputError.one(str(wrong), source="--goals") from wrong
    limit = time_limit_s if time_limit_s is None or reproducible else time_limit_s - margin(time_limit_s)
    clock = Clock(limit, deterministic=reproducible)
    reserve = min(EXPLAIN_S, EXPLAIN_PART * limit) if explain and limit is not None else 0.0
    options = Options(
        limit, gap, workers, seed, reproducible, first, tuple(goals) if goals is not None else None, reserve
    )
    found = search(job, options, progress, stop)
    plan = measure(
        job,
        found.assignment,
        status=found.status,
        stopped=found.stopped,
        bounds=found.bounds,
        solver=found.solver,
        goal_order=found.order,
    )
    if explain:
        clock.effort = found.solver.deterministic_time
        plan = _with_conflict(job, plan, clock, stop)
    report = check(job, plan, "<own plan>")
    broken = report.at("always") if plan.status != "none" else ()
    if report.figures or broken:
        wrong_parts = [str(item) for item in (*report.figures, *broken)]
        raise SolverFault("the plan fails its own check: " + "; ".join(wrong_parts))
    return Result(plan, report)


EXPLAIN_S = 10.0
"""Most seconds in which solve looks for the first conflict, in deterministic time where the plan is to be reproducible."""
EXPLAIN_PART = 0.2
"""Most of a limit that is kept for it, as long as no plan is known that needs no explanation."""


def _with_conflict(job: Job, plan: Plan, clock: Clock, stop: Event | None) -> Plan:
    """Let a plan that leaves splices unplaced or musts broken say the first conflict; ``clock`` is that of the whole."""
    from trayopt.explainer.explaining import explain_short
    from trayopt.solver.model.clock import Clock
    from trayopt.solver.model.in_time import in_time

    if plan.stopped == "interrupted" or clock.over:
        return plan
    limit = EXPLAIN_S if clock.left is None else min(EXPLAIN_S, clock.left)
    rest = Clock(limit, deterministic=clock.deterministic)
    made = in_time(lambda: explain_short(job, plan, rest), rest, stop)
    return plan if made is None else plan.model_copy(update={"explanation": made.plain()})


def explain(
    job: Job,
    expected: Plan | Given | None = None,
    *,
    best: Plan | None = None,
    conflicts: int = 1,
    ways_out: int = 5,
    time_limit_s: float | None = 60.0,
    reproducible: bool = False,
    costs: Costs | None = None,
    library: Sequence[Path] = (),
    box_file: str | None = None,
) -> Explanation:
    """Say why: conflicts and ways out of them, what holds the best plan up, and what became of an expected one.

    Parameters
    ----------
    job
        The job, as ``load_job`` gives it.
    expected
        A plan that was expected: a plan document, or the decisions of a hand-made table.
    best
        The best plan, where it is known; it is searched for where it is needed and is not.
    conflicts
        Most conflicts; no two of them share a group.
    ways_out
        Most sets of groups to give up; what can be added comes beside them. With 0 no ways out are looked for.
    time_limit_s
        Most seconds; with ``reproducible`` in the solver's deterministic time. What is not proven by then is said not to be.
    reproducible
        No wall clock: the same explanation byte for byte.
    costs
        What ways out cost, to order them.
    library
        Folders with trays and tube sets that are at hand beside the models of trayopt.
    box_file
        The file of the job's own box, as the job names it (``box_file_of``), for edits of that file.
    """
    from trayopt.domain.hardware import Enclosure, Tray, TubeSet
    from trayopt.explainer.adding import Shelf
    from trayopt.explainer.costs import Costs
    from trayopt.explainer.expected import given_of
    from trayopt.explainer.explaining import explain as explain_job
    from trayopt.explainer.why_not import Wishes
    from trayopt.solver.model.clock import Clock
    from trayopt.solver.model.decisions import Given

    models = [entry.model for entry in library_survey(library).entries]
    shelf = Shelf(
        [model for model in models if isinstance(model, Tray)],
        [model for model in models if isinstance(model, TubeSet)],
        [model for model in models if isinstance(model, Enclosure)],
        box_file,
    )
    wishes = Wishes(conflicts, ways_out, costs or Costs(), shelf)
    given = expected if expected is None or isinstance(expected, Given) else given_of(job, expected)
    return explain_job(job, Clock(time_limit_s, deterministic=reproducible), wishes, given=given, plan=best)


def check(job: Job, plan: Plan) -> Report:
    """Check a plan document against its job: every rule, and every figure that it claims.

    Raises
    ------
    InputError
        Where the plan speaks of what the job does not have.
    """
    from trayopt.checker import check as judge

    return judge(job, plan)
