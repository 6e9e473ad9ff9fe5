"""``trayopt solve``: the best plan of a job, and what is proven of it."""

from __future__ import annotations

import json
import os
import signal
import sys
import threading
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager, nullcontext
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from trayopt.cli.common import common
from trayopt.cli.exitcodes import Exit
from trayopt.cli.output import Output
from trayopt.cli.progress import Progress

if TYPE_CHECKING:
    from trayopt.api import Result
    from trayopt.domain.job import Job
    from trayopt.domain.plan import Plan
    from trayopt.solver.model.bound import Step


@click.command("solve", short_help="Find the best plan of a job, and prove it.")
@click.argument("job", metavar="JOB", type=click.Path(allow_dash=True))
@click.option("-o", "--output", "file", metavar="PLAN", help="Write the plan as JSON; - for stdout.")
@click.option(
    "--time-limit", "time_limit_s", type=click.FloatRange(min=0, min_open=True), metavar="S",
    help="Most seconds; with --reproducible the solver's own, which are alike on every machine.",
)  # fmt: skip
@click.option(
    "--gap", type=click.FloatRange(min=0, max=1), metavar="G",
    help="Leave a goal when it is proven to this part of its value, such as 0.05.",
)  # fmt: skip
@click.option(
    "--workers", type=click.IntRange(1, 64), metavar="N", help="Search threads; default 8, however many cores."
)
@click.option(
    "--seed", type=click.IntRange(0, 2**31 - 1), default=1, show_default=True, metavar="N", help="Random seed."
)
@click.option("--reproducible", is_flag=True, help="One thread and no clock: the same plan, byte for byte.")
@click.option("--start", metavar="PLAN", help="Begin with this plan: JSON, or a hand-made table in CSV or XLSX.")
@click.option("--goals", metavar="LIST", help="legs,crossings,leg_length_mm in another order.")
@click.option(
    "--trace", metavar="FILE", help="Write every bound and every better plan as a line of JSON; - for stdout."
)
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
    trace: str | None,
    without: tuple[str, ...],
) -> int:
    """Decide ports, travel, loops, divisions and trays for JOB all together, and prove that no plan is better.

    Ctrl-C ends the search and keeps the best plan so far; a second one gives up at once. The exit code is 0 for a plan
    that keeps every must and places every splice, 1 for any other, 3 where none was found in time.
    """
    from trayopt.api import load_job

    if reproducible and workers not in {None, 1}:
        raise click.UsageError("--reproducible is one thread: leave --workers out")
    if job == start == "-":
        raise click.UsageError("JOB and --start cannot both be stdin")
    if trace == file == "-":
        raise click.UsageError("the plan and --trace cannot both go to stdout")
    for target in (file, trace):
        _can_be_written(target)
    _known(without)
    loaded = load_job(job, library=output.library, warn=output.unusual)
    first = None if start is None else _start(output, loaded, start)
    options: dict[str, Any] = {} if workers is None else {"workers": workers}
    if goals is not None:
        options["goals"] = [name.strip() for name in goals.split(",") if name.strip()]
    result = _solve(
        output,
        loaded,
        time_limit_s=time_limit_s,
        gap=gap,
        seed=seed,
        reproducible=reproducible,
        start=first,
        trace=trace,
        without=without,
        **options,
    )
    _answer(output, loaded, result.plan, file)
    if result.plan.status == "none":
        return Exit.NOTHING
    return Exit.YES if result.complete else Exit.NO


def _solve(output: Output, job: Job, *, trace: str | None, **options: Any) -> Result:
    from trayopt.api import solve

    with Progress(output) as progress, _interruptible(progress), _traced(trace) as write:

        def watch(step: Step) -> None:
            progress.step(str(step))
            write(step)

        return solve(job, progress=progress, watch=watch, **options)


@contextmanager
def _traced(trace: str | None) -> Iterator[Callable[[Step], None]]:
    """Write steps of the trail as they come, so that what is known by then is there however the search ends."""
    if trace is None:
        yield lambda _: None
        return
    with nullcontext(sys.stdout) if trace == "-" else Path(trace).open("w", encoding="utf-8") as stream:

        def write(step: Step) -> None:
            stream.write(json.dumps(step.plain()) + "\n")
            stream.flush()

        yield write


def _known(without: Iterable[str]) -> None:
    """Refuse names that are those of no relaxation and no tactic."""
    from trayopt.errors import InputError
    from trayopt.formats.validate import did_you_mean

    if not without:
        return
    from trayopt.solver.search.parts import PARTS

    for name in without:
        if name not in PARTS:
            hint = did_you_mean(name, PARTS)
            raise InputError.one(
                "nothing of the search has this name",
                source="--without",
                found=name,
                allowed=", ".join(PARTS),
                hint=hint,
            )


def _answer(output: Output, job: Job, plan: Plan, file: str | None) -> None:
    """Write the plan where it is wanted, and tell it; where stdout takes the plan, its head goes to stderr."""
    from trayopt.cli.plan_words import head_lines
    from trayopt.formats.json_out import dump_rows, write_whole

    found = plan.status != "none"
    if file is not None and found:
        write_whole(file, dump_rows(plan.plain()))
    if file is not None and not found:
        output.warn(f"{file} is not written: there is no plan")
    if file == "-":
        output.note(head_lines(job, plan).rstrip())
    elif output.json:
        output.write(dump_rows(plan.plain()))
    elif output.quiet:
        output.write(head_lines(job, plan))
    else:
        _show(output, job, plan)
    if file not in {None, "-"} and found:
        output.note(f"{file} written")


def _show(output: Output, job: Job, plan: Plan) -> None:
    from trayopt.cli.plan_text import MOST_COLUMNS, plan_blocks, plan_text

    console = output.console()
    if console.is_terminal:
        console.width = min(console.width, MOST_COLUMNS)
        for block in plan_blocks(job, plan, whole=output.verbose):
            console.print(block)
    else:
        output.write(plan_text(job, plan, width=console.width, whole=output.verbose))


def _can_be_written(file: str | None) -> None:
    """Refuse a file that can never be written before anything is searched for it."""
    from trayopt.errors import InputError

    if file in {None, "-"}:
        return
    target = Path(str(file))
    if target.is_dir() or not target.parent.is_dir() or not os.access(target.parent, os.W_OK):
        raise InputError.one(
            "cannot be written",
            source=str(file),
            hint="name a file in a folder that is there and that you may write to",
        )


def _start(output: Output, job: Job, path: str) -> Plan:
    """Read the plan to begin with; a plan that nobody could build is told, as the search cannot use it."""
    from trayopt.checker import check
    from trayopt.errors import InputError
    from trayopt.review.opening import open_plan
    from trayopt.rules.judge import no_plan_breaks

    made, plan = open_plan(job, path)
    if plan is None:
        from trayopt.review.complete import completed_plan
        from trayopt.review.desk import review_table

        review = review_table(job, made)
        plan = completed_plan(review) or (review.report.plan if review.report is not None else None)
        if plan is None:
            raise InputError.one(
                "is no plan to begin with", source=path, hint=f"trayopt check says what is wrong with {path}"
            )
    stops = [found for found in check(job, plan, path).findings if no_plan_breaks(found)]
    if stops:
        output.warn(f"{path} is not begun with, as it cannot be built: {stops[0].because}")
    return plan


@contextmanager
def _interruptible(progress: Progress) -> Iterator[None]:
    """Let the first Ctrl-C end the search with what it has, and the second the whole process."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    asked = False

    def stop(*_: object) -> None:
        nonlocal asked
        if asked:
            progress.__exit__(None, None, None)
            os._exit(Exit.INTERRUPTED)
        asked = True
        progress.say("stopping with the best plan so far; Ctrl-C again gives up at once")
        raise KeyboardInterrupt

    before = signal.signal(signal.SIGINT, stop)
    try:
        yield
    except ImportError:
        if asked:  # a compiled module that is loaded just then says so of the interruption
            raise KeyboardInterrupt from None
        raise
    finally:
        signal.signal(signal.SIGINT, before)
