"""``trayopt solve``: find the best plan of a job, and say what is proven about it."""

from __future__ import annotations

import json
import sys
import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager, nullcontext
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from trayopt.cli.common import common
from trayopt.cli.completing import FILE
from trayopt.cli.exitcodes import Exit
from trayopt.cli.keeping import find_out, kept
from trayopt.cli.output import Output
from trayopt.cli.progress import Progress
from trayopt.cli.stopping import STOPPING
from trayopt.domain.labour import DEAR_MIN

if TYPE_CHECKING:
    from threading import Event

    from trayopt.api import Habits, Result
    from trayopt.domain.job import Job
    from trayopt.domain.plan import Plan
    from trayopt.solver.model.bound import Step

ROOM, ROOM_A_SUBUNIT = 16_384, 2_048
"""Approximate size of a plan in bytes: without subunits, and for each subunit."""
CERTIFY_S = 60.0
"""Most seconds of the search for arguments."""
LOOK_PART, LOOK_S, LEAST_LOOK_S = 0.5, 3.0, 0.2
"""Most time for a look at preferences: a part of the search's time, but at least LOOK_S; below LEAST_LOOK_S it is left out."""


@click.command("solve", short_help="Find the best plan of a job, and prove it.")
@click.argument("job", metavar="JOB", type=click.Path(allow_dash=True))
@click.option("-o", "--output", "file", metavar="PLAN", type=FILE, help="Write the plan as JSON; - for stdout.")
@click.option(
    "--time-limit", "time_limit_s", type=click.FloatRange(min=0, min_open=True), metavar="S",
    help="Time limit in seconds for the whole command, including the reasons; with --reproducible, seconds of the "
    "solver's own clock, the same on every machine.",
)  # fmt: skip
@click.option(
    "--gap", type=click.FloatRange(min=0, max=1), metavar="G",
    help="Stop work on a goal once its bound is within this fraction of its value, such as 0.05.",
)  # fmt: skip
@click.option(
    "--workers",
    type=click.IntRange(1, 64),
    metavar="N",
    help="Search threads; default 8, whatever the number of cores.",
)
@click.option(
    "--seed", type=click.IntRange(0, 2**31 - 1), default=1, show_default=True, metavar="N", help="Random seed."
)
@click.option("--reproducible", is_flag=True, help="One thread and no clock: the same plan, byte for byte.")
@click.option(
    "--start", metavar="PLAN", type=FILE, help="Begin with this plan: JSON, or a hand-made table in CSV or XLSX."
)
@click.option(
    "--goals",
    metavar="LIST",
    help="legs, trays, crossings, leg_length_mm, or some of them, in another order: trays,legs.",
)
@click.option(
    "--price-minutes", type=click.FloatRange(min=0), default=DEAR_MIN, show_default=True, metavar="M",
    help="Name every preference that would cost more than so many crew minutes to keep (common practice, no source).",
)  # fmt: skip
@click.option(
    "--trace",
    metavar="FILE",
    type=FILE,
    help="Write every bound and every better plan as a line of JSON; - for stdout.",
)
@click.option(
    "--certificate", metavar="FILE", type=FILE,
    help="Write a certificate: with it, check --certificate checks the bounds without the solver. Takes at most a minute more.",
)  # fmt: skip
@click.option("--without", metavar="NAME", multiple=True, hidden=True, help="Leave a relaxation or a tactic out.")
@common
def command(
    output: Output,
    job: str,
    file: str | None,
    time_limit_s: float | None,
    gap: float | None,
    workers: int | None,
    seed: int,
    reproducible: bool,
    start: str | None,
    goals: str | None,
    price_minutes: float,
    trace: str | None,
    certificate: str | None,
    without: tuple[str, ...],
) -> int:
    """Decide ports, travel, loops, divisions and trays for JOB all together, and prove that no plan is better.

    Goals count in their order: a plan is better if it is better on the first goal on which the two differ.

    Ctrl-C and SIGTERM end the search and keep the best plan so far; another Ctrl-C, a second later, gives up at once.
    The exit code is 0 for a plan that keeps every must and places every splice, 1 for any other plan, 3 if none was found
    in time. If PLAN cannot be written, the plan goes to stdout.
    """
    from trayopt.api import load_job

    if reproducible and workers not in {None, 1}:
        raise click.UsageError("--reproducible uses one thread: leave --workers out")
    if job == start == "-":
        raise click.UsageError("JOB and --start cannot both be stdin")
    if trace == file == "-":
        raise click.UsageError("the plan and --trace cannot both go to stdout")
    if certificate == "-" and "-" in {file, trace}:
        raise click.UsageError("the plan, --trace and --certificate cannot go to stdout together")
    for target in (file, trace, certificate):
        find_out(target)
    _known(without)
    loaded = load_job(job, library=output.library, warn=output.unusual)
    find_out(file, ROOM + ROOM_A_SUBUNIT * len(loaded.subunits))
    first = None if start is None else _start(output, loaded, start)
    options: dict[str, Any] = {} if workers is None else {"workers": workers}
    if goals is not None:
        options["goals"] = [name.strip() for name in goals.split(",") if name.strip()]
    _load()
    if time_limit_s is not None and not reproducible:
        time_limit_s = output.left(time_limit_s)
    with (
        Progress(output) as progress,
        _traced(trace) as write,
        STOPPING.keeping(_told(progress), progress.close) as stop,
    ):

        def watch(step: Step) -> None:
            progress.step(str(step))
            write(step)

        result = _solve(
            loaded,
            progress=progress,
            watch=watch,
            stop=stop,
            time_limit_s=time_limit_s,
            gap=gap,
            seed=seed,
            reproducible=reproducible,
            start=first,
            without=without,
            **options,
        )
        found = _habits(output, loaded, result.plan, price_minutes, time_limit_s, stop, reproducible=reproducible)
    if not _answer(output, loaded, result.plan, file, found):
        return Exit.INPUT
    if result.plan.status == "none":
        return Exit.NOTHING
    if certificate is not None:
        _certify(output, loaded, result.plan, certificate, limited=not reproducible)
    return Exit.YES if result.complete else Exit.NO


def _certify(output: Output, job: Job, plan: Plan, file: str, *, limited: bool) -> None:
    """Write the certificate of a plan, and say which goals have no argument."""
    from trayopt.api import certify
    from trayopt.formats.json_out import dump_rows, write_whole

    made = certify(job, plan, time_limit_s=CERTIFY_S if limited else None)
    write_whole(file, dump_rows(made.plain()))
    without = [item.goal for item in made.goals if item.argument == "none"]
    if file != "-":
        rest = f"; without an argument for {', '.join(without)}" if without else ", with an argument for every goal"
        output.note(f"{file} written{rest}")


@contextmanager
def _traced(trace: str | None) -> Iterator[Callable[[Step], None]]:
    """Write each step of the trail at once, so that the file is complete however the search ends."""
    if trace is None:
        yield lambda _: None
        return
    with nullcontext(sys.stdout) if trace == "-" else Path(trace).open("w", encoding="utf-8") as stream:

        def write(step: Step) -> None:
            stream.write(json.dumps(step.plain()) + "\n")
            stream.flush()

        yield write


def _known(without: Iterable[str]) -> None:
    """Raise InputError for names that belong to no relaxation and no tactic."""
    from trayopt.errors import InputError
    from trayopt.formats.validate import did_you_mean

    if not without:
        return
    from trayopt.solver.search.parts import PARTS

    for name in without:
        if name not in PARTS:
            hint = did_you_mean(name, PARTS)
            raise InputError.one(
                "no part of the search has this name",
                source="--without",
                found=name,
                allowed=", ".join(PARTS),
                hint=hint,
            )


def _load() -> None:
    """Load the modules of a search before there is anything to keep, so that a request to end still ends the run at once."""
    for name in ("trayopt.checker", "trayopt.solver.solve"):
        import_module(name)


def _solve(job: Job, **options: Any) -> Result:
    from trayopt.api import solve

    return solve(job, **options)


def _habits(
    output: Output,
    job: Job,
    plan: Plan,
    minutes: float,
    limit_s: float | None,
    stop: Event,
    *,
    reproducible: bool,
) -> Habits | None:
    """Look at the preferences of a plan in the time that is left; None if none is left, or nobody would read the result."""
    from trayopt.api import habits
    from trayopt.api.pricing import usual_effort

    if output.quiet or plan.status == "none" or plan.stopped == "interrupted" or stop.is_set():
        return None
    if reproducible:
        left = None if limit_s is None else limit_s - plan.solver.deterministic_time
        effort = usual_effort(plan) if left is None else min(usual_effort(plan), left)
        return None if effort < LEAST_LOOK_S else habits(job, plan, more_than_min=minutes, effort=effort, stop=stop)
    spent = time.monotonic() - output.began
    most = max(LOOK_S, LOOK_PART * spent)
    left = most if limit_s is None else min(most, limit_s - spent)
    return None if left < LEAST_LOOK_S else habits(job, plan, more_than_min=minutes, time_limit_s=left, stop=stop)


def _told(progress: Progress) -> Callable[[str], None]:
    """Return the function that tells the reader what a request to end does."""

    def say(name: str) -> None:
        again = "; Ctrl-C again gives up at once" if name == "SIGINT" else ""
        heard = "" if name == "SIGINT" else f"{name}: "
        progress.say(f"{heard}stopping with the best plan so far{again}")

    return say


def _answer(output: Output, job: Job, plan: Plan, file: str | None, habits: Habits | None) -> bool:
    """Write the plan and print the answer; if the plan goes to stdout, the head of the answer goes to stderr.

    Return whether the named file was written; if it could not be written, the plan went to stdout.
    """
    from trayopt.cli.plan_words import head_lines
    from trayopt.formats.json_out import dump_rows, write_whole

    found = plan.status != "none"
    document = dump_rows(plan.plain())
    if file is not None and not found:
        output.warn(f"{file} is not written: there is no plan")
    if file is not None and found and not kept(output, file, lambda: write_whole(file, document), lambda: document):
        output.note(head_lines(job, plan).rstrip())
        return False
    if habits is not None and (file == "-" or output.json):
        for line in habits.dear:
            output.note(line)
    if file == "-":
        output.note(head_lines(job, plan).rstrip())
    elif output.json:
        output.write(document)
    elif output.quiet:
        output.write(head_lines(job, plan))
    else:
        _show(output, job, plan, habits)
    if file not in {None, "-"} and found:
        output.note(f"{file} written")
    return True


def _show(output: Output, job: Job, plan: Plan, habits: Habits | None) -> None:
    from trayopt.cli.plan_text import MOST_COLUMNS, plan_blocks, plan_text

    console = output.console()
    if console.is_terminal:
        console.width = min(console.width, MOST_COLUMNS)
        for block in plan_blocks(job, plan, whole=output.verbose, habits=habits):
            console.print(block)
    else:
        output.write(plan_text(job, plan, width=console.width, whole=output.verbose, habits=habits))


def _start(output: Output, job: Job, path: str) -> Plan:
    """Read the plan to begin with; warn if nobody could build it, since the search cannot use such a plan."""
    from trayopt.checker import check
    from trayopt.errors import InputError
    from trayopt.review.opening import open_plan
    from trayopt.rules.judge import no_plan_breaks

    made, plan = open_plan(job, path)
    for note in made.notes:
        output.note(f"{path}: {note}")
    if plan is None:
        from trayopt.review.complete import completed_plan
        from trayopt.review.desk import review_table

        review = review_table(job, made)
        plan = completed_plan(review) or (review.report.plan if review.report is not None else None)
        if plan is None:
            raise InputError.one(
                "cannot be used as a starting plan",
                source=path,
                hint=f"trayopt check says what is wrong with {path}",
            )
    stops = [found for found in check(job, plan, path).findings if no_plan_breaks(found)]
    if stops:
        output.warn(f"{path} is not used as a start, because it cannot be built: {stops[0].because}")
    return plan
