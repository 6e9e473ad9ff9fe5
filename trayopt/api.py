"""F5: the use cases, one call each: load a job, solve it, check a plan, explain; the commands are a thin shell."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from threading import Event
from typing import TYPE_CHECKING, Any

from trayopt.domain.job import Job

if TYPE_CHECKING:
    from trayopt.checker import Report
    from trayopt.crewsheets.book import Book
    from trayopt.crewsheets.lengths import Units
    from trayopt.crewsheets.record import Record
    from trayopt.crewsheets.settings import Settings
    from trayopt.crewsheets.write import Options as SheetOptions
    from trayopt.crewsheets.write import Sheets
    from trayopt.domain.assignment import Assignment
    from trayopt.domain.explanation import Explanation
    from trayopt.domain.hardware import Place
    from trayopt.domain.labour import Labour
    from trayopt.domain.plan import Plan
    from trayopt.domain.prices import Prices
    from trayopt.errors import Fault
    from trayopt.explainer.costs import Costs
    from trayopt.explainer.why_not import Proven
    from trayopt.library.entries import Entry, Survey
    from trayopt.review.compare import Pair
    from trayopt.review.desk import Review
    from trayopt.review.handmade import Handmade
    from trayopt.review.mend import Mended
    from trayopt.solver.model.bound import Step
    from trayopt.solver.model.clock import Clock
    from trayopt.solver.model.decisions import Given, Weights
    from trayopt.solver.prove import Proof
    from trayopt.solver.solve import Progress


def load_job(
    source: str | Path | Mapping[str, Any], *, library: Sequence[Path] = (), warn: Callable[[Fault], None] | None = None
) -> Job:
    """Read a job with everything that it refers to.

    Parameters
    ----------
    source
        A job file, ``-`` for standard input, or the job as a mapping with the keys of a job file.
    library
        Folders whose entries come before the models of trayopt, a later one before an earlier one.
    warn
        Told what is unusual about the hardware that the job uses, each thing once.

    Returns
    -------
    Job
        With references resolved and defaults filled in.

    Raises
    ------
    InputError
        With every fault of every file, sorted; hardware that cannot be built is one.
    """
    from trayopt.library.job import read_job
    from trayopt.rules.registry import fill

    return read_job(source, library, fill_rules=fill, warn=warn)


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
        entries[name] = schema.rule_entry(name, parameters, words)
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
    """Give the entries with an id, the first that is found of each kind; or the entry of a file ending in ``.yaml``.

    Raises
    ------
    InputError
        Where there is none, or what it is found in is wrong.
    """
    from trayopt.library.entries import file_entry, find_entries
    from trayopt.library.find import Library

    if name.endswith(".yaml"):
        return [file_entry(Library(folders), Path(name), kind)]
    return find_entries(Library(folders), name, kind)


def hardware_picture(source: str | Path, kind: str | None = None, folders: Sequence[Path] = ()) -> str:
    """Draw hardware before there is a plan, in SVG: with its sizes and names, and what of it is only assumed.

    Parameters
    ----------
    source
        The id of an entry; or a file ending in ``.yaml``: an entry, or a job, whose box is drawn with its trunks.
    kind
        The kind of an entry whose id stands for several.
    folders
        Folders whose entries come before the models of trayopt.

    Raises
    ------
    InputError
        Where there is no such entry, more than one, or its file is wrong.
    """
    from trayopt.errors import InputError
    from trayopt.library.assumed import assumed
    from trayopt.library.find import Library
    from trayopt.library.job import box_path_of, is_job
    from trayopt.pictures.hardware import Doubts
    from trayopt.pictures.hardware import hardware_picture as drawn
    from trayopt.pictures.job import job_picture
    from trayopt.pictures.svg import svg_file

    if str(source).endswith(".yaml") and is_job(source):
        job = load_job(source, library=folders)
        path = box_path_of(source, Library(folders))
        return svg_file(job_picture(job, Doubts(assumed(*path) if path is not None else ())))
    found = library_entries(str(source), kind, folders)
    if len(found) > 1:
        kinds = ", ".join(entry.kind for entry in found)
        raise InputError.one("a picture shows one entry", source=str(source), found=kinds, hint="choose with --kind")
    return svg_file(drawn(found[0].model, Doubts(assumed(found[0].path))))


def hardware_page(entries: Sequence[Entry], warnings: Sequence[Fault] = ()) -> str:
    """Write a page in HTML, with nothing outside of it, that shows entries of the library with their pictures."""
    from trayopt.library.assumed import assumed
    from trayopt.pictures.catalogue import Shown, catalogue_page
    from trayopt.pictures.hardware import Doubts
    from trayopt.pictures.hardware import hardware_picture as drawn

    unusual: dict[str, list[str]] = {}
    for fault in warnings:
        unusual.setdefault(fault.source, []).append(str(fault))
    shown = [
        Shown(
            entry.kind, entry.model.id, entry.summary, str(entry.path),
            drawn(entry.model, Doubts(assumed(entry.path))), unusual.get(str(entry.path), ()),
        )
        for entry in entries
    ]  # fmt: skip
    return catalogue_page(shown)


def new_hardware(kind: str, file: str | Path, answers: Mapping[str, str], *, library: Sequence[Path] = ()) -> str:
    """Write the file of a box, a cable, a tray or a set of tubes from what a tape and a label give.

    Parameters
    ----------
    kind
        enclosure, cable, tray or tubes.
    file
        Where it is to stand: its name is the id of the entry, and a tray that is given as a path is relative to it.
    answers
        By the names of the questions, each as a person writes it, with sizes in mm.
    library
        Folders in which the tray of a box is looked for before the models of trayopt.

    Returns
    -------
    str
        YAML that ``library validate`` passes; beside every value it says whether it was measured or assumed.

    Raises
    ------
    InputError
        Where an answer is missing or cannot be read, or what is described cannot be built.
    """
    from trayopt.errors import InputError
    from trayopt.formats.locate import describe
    from trayopt.library.find import KINDS, Library
    from trayopt.library.starters import starter

    chosen = next((each for each in KINDS if each == kind), None)
    if chosen is None:
        raise InputError.one("there is no such kind", source="new", found=describe(kind), allowed=", ".join(KINDS))
    name = "mine" if str(file) == "-" else Path(file).stem
    return starter(chosen, name, answers, Library(library), Path(file).parent)


def measuring_sheet() -> str:
    """Draw a page to print, in SVG, that says what to measure of a box, and where."""
    from trayopt.domain.hardware import Enclosure
    from trayopt.library.find import Library
    from trayopt.library.resolve import Resolver
    from trayopt.library.starters.questions import QUESTIONS
    from trayopt.pictures.measuring import SAMPLE, Asked
    from trayopt.pictures.measuring import measuring_sheet as drawn
    from trayopt.pictures.svg import svg_file

    sample = Resolver(Library()).entry("enclosure", SAMPLE)
    assert isinstance(sample, Enclosure)
    asked = {kind: [Asked(each.name, each.asks, each.example) for each in found] for kind, found in QUESTIONS.items()}
    return svg_file(drawn(asked, sample))


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
    watch: Callable[[Step], None] | None = None,
    without: Iterable[str] = (),
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
        legs, trays, crossings and leg_length_mm, or some of them, in the order in which they count.
    progress
        Called with seconds, goal, value and bound.
    watch
        Called with each step of the trail: a better plan, or a better bound with its author and what it takes for granted.
    without
        Names of relaxations and tactics of the search that are left out.
    explain
        Whether to look for the first conflict where splices stay unplaced or musts are broken, for at most
        ``EXPLAIN_S`` seconds, which are part of the limit.
    stop
        Set from another thread or a handler of signals, it ends the search with the best plan so far, as Ctrl-C does.

    Returns
    -------
    Result
        ``plan``, the plan document with lengths in mm, and ``report``, what its check says of it.

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
        limit, gap, workers, seed, reproducible, first, tuple(goals) if goals is not None else None,
        frozenset(without), reserve,
    )  # fmt: skip
    found = search(job, options, progress, watch, stop)
    plan = measure(
        job,
        found.assignment,
        status=found.status,
        stopped=found.stopped,
        bounds=found.bounds,
        solver=found.solver,
        goal_order=found.order,
        by=found.by,
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
    """Say why: conflicts and ways out of them, what holds the best plan up, and what became of an expected one.

    Parameters
    ----------
    job
        The job, as ``load_job`` gives it.
    expected
        A plan that was expected, its file in JSON, CSV or XLSX, or decisions alone.
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
    job_file
        The name of the job's file, which edits say at their head.
    proven
        Told each way out that changes the job, with what proved it; ``carry_out`` takes that.

    Returns
    -------
    Explanation
        ``summary``, the answer in a few sentences; ``conflicts``, each with its groups, and whether it is proven to be
        minimal; ``ways_out``, the cheapest first, each with its edit; ``plain()`` gives all of it as plain data.

    Raises
    ------
    InputError
        Where the expected plan cannot be read, or a folder is none.
    """
    from trayopt.domain.hardware import Enclosure, Tray, TubeSet
    from trayopt.explainer.adding import Shelf
    from trayopt.explainer.costs import Costs
    from trayopt.explainer.expected import given_of
    from trayopt.explainer.explaining import explain as explain_job
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
    wishes = Wishes(conflicts, ways_out, costs or Costs(), shelf, proven)
    given: Given | None
    if isinstance(expected, str | Path):
        given = _opened(job, expected, readable=True)[0].given()
    else:
        given = expected if expected is None or isinstance(expected, Given) else given_of(job, expected)
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
        The way out, as ``explain`` told it.
    folder
        Where everything is written, all or nothing; files of the same names are written over.
    library
        The folders with which the job was read.

    Returns
    -------
    list
        For each box the name of its job file and of its plan, both in the folder.

    Raises
    ------
    InputError
        Where a file cannot be read or written, or one of them would take the place of what it is a copy of.
    SolverFault
        Where what was written does not make the job that was proven.
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
    """Whether two jobs are the same, the name of the box left out: a box that is changed has a name of its own."""
    from trayopt.domain.base import remade

    return remade(job, enclosure=remade(job.enclosure, id=expected.enclosure.id)).digest == expected.digest


def _plan_of(job: Job, assignment: Assignment, proven: Proven) -> Plan:
    """Write the plan that proved a way out; bounds that were proven for several boxes together are those of no plan."""
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


def prices(
    job: Job,
    best: Plan | None = None,
    *,
    time_limit_s: float | None = 60.0,
    reproducible: bool = False,
    pace: Labour | None = None,
) -> Prices | None:
    """Price the preferences of a job: legs, trays, metres and crew minutes of the best plan with each, and without it.

    Parameters
    ----------
    job
        The job, as ``load_job`` gives it.
    best
        The best plan, where it is known; it is searched for where it is not.
    time_limit_s
        Most seconds; with ``reproducible`` in the solver's deterministic time. A price that is not proven by then says so.
    reproducible
        No wall clock: the same prices.
    pace
        Minutes of each kind of work; the usual ones of the sheets where None.

    Returns
    -------
    Prices or None
        None where no plan is known that places every splice and keeps every must: ``explain`` says why.

    Raises
    ------
    InputError
        Where ``best`` speaks of what the job does not have.
    """
    from trayopt.checker import assignment_of
    from trayopt.domain.labour import Labour
    from trayopt.explainer.prices import Known
    from trayopt.explainer.prices import prices as price_all
    from trayopt.solver.model.clock import Clock

    clock = Clock(time_limit_s, deterministic=reproducible)
    if best is None:
        limit = None if time_limit_s is None else PRICE_PART * time_limit_s
        best = solve(job, time_limit_s=limit, reproducible=reproducible, explain=False).plan
        clock.effort += best.solver.deterministic_time
    if best.status == "none" or best.value("unplaced") or best.value("broken_must"):
        return None
    known = Known(assignment_of(job, best)[0], proven=best.status == "optimal")
    return price_all(job, known, clock, pace or Labour())


PRICE_PART = 0.4
"""Part of the time in which the best plan is searched for whose preferences are priced."""


@dataclass(frozen=True)
class Habits:
    """What is worth a word about the preferences of a plan that is whole.

    ``dear`` says in a line each which of them cost more crew minutes than was asked, or may, where that was not settled.
    ``never`` gives the root of each broken one that no plan of the job keeps, by rule and subject.
    """

    dear: tuple[str, ...] = ()
    never: Mapping[tuple[str, str], str] = field(default_factory=dict)


def habits(
    job: Job,
    plan: Plan,
    *,
    more_than_min: float | None = None,
    time_limit_s: float | None = None,
    reproducible: bool = False,
    pace: Labour | None = None,
    stop: Event | None = None,
) -> Habits:
    """Look at the preferences of a plan for what is worth a word: those that are dear, and those that no plan can keep.

    Parameters
    ----------
    job, plan
        The job and its plan; of one that is not whole nothing is said.
    more_than_min
        Crew minutes that keeping a preference may cost without a word; the usual number where None.
    time_limit_s, reproducible
        Most seconds, or with ``reproducible`` the solver's deterministic time; what is not found by then is not said.
    pace
        Minutes of each kind of work; the usual ones of the sheets where None.
    stop
        Set from another thread or a handler of signals, it ends the look.

    Raises
    ------
    InputError
        Where the plan speaks of what the job does not have.
    """
    from trayopt.checker import assignment_of
    from trayopt.domain.labour import DEAR_MIN, Labour
    from trayopt.explainer.never import never_kept
    from trayopt.explainer.price_words import price_line, unsettled_line
    from trayopt.explainer.prices import Known
    from trayopt.explainer.prices import prices as price_all
    from trayopt.solver.model.clock import Clock
    from trayopt.solver.model.in_time import in_time

    if plan.status == "none" or plan.value("unplaced") or plan.value("broken_must"):
        return Habits()
    best = assignment_of(job, plan)[0]
    half = None if time_limit_s is None else time_limit_s / 2
    first = Clock(half, deterministic=reproducible)
    never = in_time(lambda: never_kept(job, best, first), first, stop) or ()
    clock = Clock(time_limit_s, reproducible, first.started, first.effort)
    known, limit = Known(best, proven=plan.status == "optimal"), DEAR_MIN if more_than_min is None else more_than_min
    found = in_time(lambda: price_all(job, known, clock, pace or Labour(), more_than=limit, stop=stop), clock, stop)
    dear: tuple[str, ...] = ()
    if found is not None:
        dear = tuple(price_line(price, found.best) for price in found.priced)
        if not dear and found.open and found.best.minutes - found.least_minutes > limit:
            dear = (unsettled_line(found),)
    return Habits(dear, {(item.rule, item.subject): item.root for item in never})


def check(job: Job, plan: Plan | str | Path, *, warn: Callable[[Fault], None] | None = None) -> Report:
    """Check a plan document against its job: every rule, and every figure that it claims.

    Parameters
    ----------
    job
        The job, as ``load_job`` gives it.
    plan
        The plan, or its file in JSON (``-`` for standard input); see ``judge`` for tables.
    warn
        Told where the file is of a former format: only where things lie is taken over of it.

    Returns
    -------
    Report
        ``passed``; ``findings``, the broken rules with their subjects; ``unplaced``, the number of splices without a
        tray; ``figures``, what the plan states and what is right; ``plan``, the plan with every figure right.

    Raises
    ------
    InputError
        Where the plan cannot be read, or speaks of what the job does not have.
    """
    from trayopt.checker import check as check_document

    document, source = _document(job, plan, "make a plan of it, or judge it as it is", warn)
    return check_document(job, document, source)


def judge(job: Job, plan: Plan | str | Path, *, best: bool | None = None, time_limit_s: float = 20.0) -> Review:
    """Judge a plan that somebody made, a document or a table, as a reviewer does: with its rows, and beside the best.

    Parameters
    ----------
    job
        The job, as ``load_job`` gives it.
    plan
        The plan, or its file: a plan in JSON, or a table in CSV or XLSX (``-`` for standard input).
    best
        Whether to look for the best plan and to compare with it; where it is None, for tables only.
    time_limit_s
        Most seconds for the best plan, and as many for what a table leaves open.

    Returns
    -------
    Review
        ``passed``; ``damaged``, whether there are cells that cannot be read; ``remarks``, each with its place in the
        table; ``goals``, value by goal; ``report``, as ``check`` gives it, None where cells are damaged.

    Raises
    ------
    InputError
        Where the file is neither a plan nor a table, or the plan speaks of what the job does not have.
    """
    from trayopt.review.desk import review_plan, review_table

    made, document = _opened(job, plan)
    best_s = time_limit_s if (document is None if best is None else best) else None
    if document is None:
        return review_table(job, made, complete_s=time_limit_s, best_s=best_s)
    return review_plan(job, document, made.source, best_s=best_s, notes=made.notes)


@dataclass(frozen=True)
class Proofs:
    """What became of the bounds of a plan: an answer for each goal, and the plan that refutes one."""

    answers: tuple[Proof, ...]
    plan: Plan | None = None

    @property
    def refuted(self) -> bool:
        """Whether there is a plan that is better than a bound says."""
        return self.plan is not None

    @property
    def confirmed(self) -> bool:
        """Whether every bound that the plan states was proven again."""
        return all(proof.answer in {"confirmed", "nothing claimed"} for proof in self.answers)

    def as_dict(self) -> dict[str, Any]:
        """Give it as plain data."""
        return {
            "schema": "trayopt/proof/1",
            "confirmed": self.confirmed,
            "refuted": self.refuted,
            "goals": [proof.plain() for proof in self.answers],
            "plan": None if self.plan is None else self.plan.plain(),
        }


def prove(
    job: Job,
    plan: Plan | str | Path,
    *,
    time_limit_s: float | None = 60.0,
    workers: int = 8,
    seed: int = 1,
    progress: Progress | None = None,
    warn: Callable[[Fault], None] | None = None,
) -> Proofs:
    """Prove the bounds of a plan again: ask for each goal for a plan below its bound, as good in the goals before.

    The question goes to a plain model of the rules, in which neither the relaxation that proved the bound nor any other
    has a part.

    Parameters
    ----------
    job
        The job, as ``load_job`` gives it.
    plan
        The plan, or its file in JSON; what it says of values is not believed.
    time_limit_s
        Most seconds for all goals together, shared out among those that are left; None for no limit.
    workers, seed
        Search threads, and the seed of their random choices.
    progress
        Called with seconds, goal, value and the bound that is proven so far.
    warn
        Told where the file is of a former format: nothing is claimed then.

    Returns
    -------
    Proofs
        ``answers``, for each goal ``confirmed``, ``refuted``, ``not settled`` (in the time, or for the size of the model),
        ``not asked`` (behind a goal that is refuted) or ``nothing claimed``; ``plan``, the plan that refutes a bound.

    Raises
    ------
    InputError
        Where the plan cannot be read, speaks of what the job does not have, holds no plan, or could not be built.
    SolverFault
        Where the plain model gives a plan that is not better by a recount.
    """
    from trayopt.checker import assignment_of, measure
    from trayopt.checker.checking import lay
    from trayopt.errors import InputError
    from trayopt.goals.registry import measure_all, order
    from trayopt.rules.judge import judge as judged
    from trayopt.rules.judge import no_plan_breaks
    from trayopt.solver.model.clock import Clock
    from trayopt.solver.model.run import Tuning
    from trayopt.solver.prove import Claim
    from trayopt.solver.prove import prove as asked

    document, source = _document(job, plan, "make a plan of it, for a table states no bounds", warn)
    laid = lay(job, document, source)
    stops = [found for found in judged(job, laid) if no_plan_breaks(found)]
    if document.status == "none" or stops:
        found = stops[0].because if stops else "the search was stopped before it found a plan"
        raise InputError.one("there is no plan here whose bounds could be proven", source=source, found=found)
    try:
        names = [goal.id for goal in order([item.goal for item in document.goals])]
    except ValueError as wrong:
        raise InputError.one(str(wrong), source=source) from wrong
    values, said = measure_all(laid), {item.goal: item for item in document.goals}
    claims = [
        Claim(name, values[name], item.bound if item else None, item.by if item else None)
        for name in names
        for item in (said.get(name),)
    ]
    clock, tuning = Clock(time_limit_s), Tuning(workers=workers, seed=seed)
    answers = tuple(asked(job, assignment_of(job, document, source)[0], claims, clock, tuning, progress))
    better = next((proof.better for proof in answers if proof.better is not None), None)
    if better is None:
        return Proofs(answers)
    solver = document.solver.model_copy(update={"seed": seed, "workers": workers, "deterministic_time": clock.effort})
    refuting = measure(job, better, status="feasible", stopped="gap", bounds={}, solver=solver, goal_order=names)
    return Proofs(answers, refuting)


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
        The job as it is now, as ``load_job`` gives it.
    plan
        The given plan, or its file in JSON, CSV or XLSX; it may have been made before the job changed.
    built
        Trays in which everything is spliced and stays: places, or text such as ``left/1-4,right/1-4``. Rows of a table
        that are marked as built stay as well.
    weights
        What each change counts, by kind: legs, travel, ends, partings, ports, splits, loops; a kind that is left out keeps
        its own.
    time_limit_s
        Most seconds, reading and answer included.
    workers, seed
        Search threads, and the seed of their random choices.

    Returns
    -------
    Mended
        ``plan``, None where none was found; ``impossible``, whether it is proven that there is none; ``moves``, in the
        order in which they can be made; ``weighed``, the weight of all changes, and ``bound``, the least that is proven.

    Raises
    ------
    InputError
        Where the file cannot be read, a cell is damaged, or there is no such tray or kind of change.
    SolverFault
        Where the plan found fails its own check.
    """
    from trayopt.review.mend import mend as nearest
    from trayopt.review.mend import parse_built

    began = time.monotonic()
    stay = parse_built(job, built) if isinstance(built, str) else built
    made, document = _opened(job, plan, lenient=True)
    weighed = _weights(weights)
    reading = time.monotonic() - began
    return nearest(
        job, made, document=document, built=stay, weights=weighed, limit_s=time_limit_s, workers=workers, seed=seed,
        answer_s=reading, began=began,
    )  # fmt: skip


def compare(job: Job, a: Plan | str | Path, b: Plan | str | Path, *, time_limit_s: float = 20.0) -> Pair:
    """Hold two plans of a job against each other: goals, trunks and legs that differ, and findings.

    Parameters
    ----------
    job
        The job, as ``load_job`` gives it.
    a, b
        Two plans, or their files in JSON, CSV or XLSX.
    time_limit_s
        Most seconds for what a table leaves open.

    Returns
    -------
    Pair
        ``as_dict()`` gives the comparison as plain data, with lengths in mm; ``a`` and ``b`` are the two reviews.

    Raises
    ------
    InputError
        Where a file cannot be read, a cell is damaged, or a plan speaks of what the job does not have.
    """
    from trayopt.review.compare import compare as pair

    return pair(job, *(judge(job, plan, best=False, time_limit_s=time_limit_s) for plan in (a, b)))


def sheets(
    job: Job,
    plan: Plan | str | Path,
    *,
    only: Sequence[str] = (),
    units: Units = "metric",
    language: str = "en",
    settings: Settings | str | Path | None = None,
    measured: Mapping[str, int] | str | Path | None = None,
    codes: bool = False,
    warn: Callable[[Fault], None] | None = None,
) -> Sheets:
    """Make everything that the crew, the store and the file need of a plan.

    Parameters
    ----------
    job
        The job, as ``load_job`` gives it.
    plan
        A plan of this job with every figure right, or its file in JSON.
    only
        Parts to make: box, steps, strip, splices, tests, materials, labels, labour, reopen; all where none is named.
    units
        Units of the lengths that are printed: ``metric`` or ``feet``.
    language
        ``en`` or ``de``.
    settings
        Spares, paces and test limits, or their YAML file.
    measured
        Measured entrance marks in mm by leg, or their table in CSV or XLSX.
    codes
        Whether every label gets a QR code.
    warn
        Told where the plan's file is of a former format: only where things lie is taken over of it.

    Returns
    -------
    Sheets
        ``write(folder)`` writes every file and gives their names; ``page()`` is the page alone, ``tables`` are the lists
        by name.

    Raises
    ------
    InputError
        Where a file cannot be read, a part, unit or language is unknown, or the plan is of another job, holds no plan,
        breaks a rule that always holds, or states a wrong figure.
    """
    from trayopt.crewsheets.book import Book
    from trayopt.crewsheets.write import Sheets, fitting

    options = _sheet_options(only, units, language, settings, codes)
    document, source = _document(job, plan, "make a plan of it, for sheets are printed of a plan", warn)
    fitting(job, document, source)
    marks = _measured(measured, Book(job, document, options.settings))
    return Sheets(job, document, options, measured=marks)


def record(
    job: Job,
    plan: Plan | str | Path,
    readings: str | Path,
    *,
    only: Sequence[str] = (),
    units: Units = "metric",
    language: str = "en",
    settings: Settings | str | Path | None = None,
    measured: Mapping[str, int] | str | Path | None = None,
    codes: bool = False,
    warn: Callable[[Fault], None] | None = None,
) -> Record:
    """Judge the readings of a plan against the limit, batch by batch, and find what is to be spliced again.

    Parameters
    ----------
    job, plan, only, units, language, settings, measured, codes, warn
        As for ``sheets``.
    readings
        The test record filled in, or a table in CSV or XLSX with the columns fibre, wavelength_nm, a_to_b_db, b_to_a_db
        and, if wanted, resplices; losses in dB.

    Returns
    -------
    Record
        ``passed``, whether every batch passed; ``batches()``, ``again()`` and ``as_built()`` as plain data;
        ``write(folder)`` writes the as-built plan and the filled-in sheets.

    Raises
    ------
    InputError
        As for ``sheets``, and where a reading is of no splice of the plan, or is no loss.
    """
    from trayopt.crewsheets.book import Book
    from trayopt.crewsheets.readings import read_readings
    from trayopt.crewsheets.record import Record
    from trayopt.crewsheets.write import fitting

    options = _sheet_options(only, units, language, settings, codes)
    document, source = _document(job, plan, "make a plan of it, for readings belong to a plan", warn)
    fitting(job, document, source)
    book = Book(job, document, options.settings)
    read = read_readings(str(readings), book)
    return Record(job, document, read, options, measured=_measured(measured, book))


def _opened(
    job: Job, plan: Plan | str | Path, *, lenient: bool = False, readable: bool = False
) -> tuple[Handmade, Plan | None]:
    """Give what a plan of either kind decides, and its document where it is one."""
    from trayopt.domain.plan import Plan
    from trayopt.review.opening import open_plan, open_readable
    from trayopt.review.plans import handmade_of

    if isinstance(plan, Plan):
        return handmade_of(job, plan, "<plan>"), plan
    return open_readable(job, plan) if readable else open_plan(job, plan, lenient=lenient)


def _document(
    job: Job, plan: Plan | str | Path, hint: str, warn: Callable[[Fault], None] | None = None
) -> tuple[Plan, str]:
    """Give the plan document of a job, and what it is called in errors; a table is refused."""
    from trayopt.checker import read_document
    from trayopt.domain.plan import Plan
    from trayopt.errors import InputError

    if isinstance(plan, Plan):
        return plan, "<plan>"
    if str(plan).lower().endswith((".csv", ".xlsx")):
        command = f"{hint}: trayopt check JOB {plan} -o plan.json"
        raise InputError.one("this is a table, and no plan", source=str(plan), allowed="JSON", hint=command)
    return read_document(job, plan, warn), str(plan)


def _measured(given: Mapping[str, int] | str | Path | None, book: Book) -> Mapping[str, int] | None:
    from trayopt.crewsheets.marks import read_measured

    return read_measured(str(given), book) if isinstance(given, str | Path) else given


def _weights(given: Weights | Mapping[str, int] | None) -> Weights:
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


def _sheet_options(
    only: Sequence[str], units: Units, language: str, settings: Settings | str | Path | None, codes: bool
) -> SheetOptions:
    from trayopt.crewsheets.settings import Settings, read_settings
    from trayopt.crewsheets.words import LANGUAGES
    from trayopt.crewsheets.write import PARTS
    from trayopt.crewsheets.write import Options as SheetOptions
    from trayopt.errors import InputError

    for what, given, allowed in (
        *(("part", name, tuple(PARTS)) for name in only),
        ("unit", units, ("metric", "feet")),
        ("language", language, LANGUAGES),
    ):
        if given not in allowed:
            raise InputError.one(
                f"there is no such {what}", source="sheets", found=str(given), allowed=", ".join(allowed)
            )
    read = settings if isinstance(settings, Settings) else Settings() if settings is None else read_settings(settings)
    return SheetOptions(only=tuple(only), language=language, units=units, codes=codes, settings=read)
