"""``trayopt batch``: solve many jobs, and answer what fits where, at what cost."""

from __future__ import annotations

import signal
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from trayopt.cli.common import common
from trayopt.cli.completing import Named
from trayopt.cli.exitcodes import Exit
from trayopt.cli.output import Output, table
from trayopt.rules.words import several

if TYPE_CHECKING:
    from collections.abc import Iterator

    from trayopt.batches.manifest import Manifest
    from trayopt.batches.progress import Tally
    from trayopt.batches.summary import Summary


@click.command("batch", short_help="Solve many jobs, and show what fits where.")
@click.argument("paths", metavar="PATH...", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("-o", "folder", metavar="DIR", type=Named("dir", Path), help="Folder of the results.")
@click.option("--resume", is_flag=True, help="Continue with the existing results: solve only what is missing.")
@click.option("--retry-failed", is_flag=True, help="With --resume: run failed jobs again.")
@click.option("--against", metavar="DIR", type=Named("dir", Path), help="Show what changed since these results.")
@click.option(
    "--time-limit",
    metavar="S",
    type=click.FloatRange(min=0.001),
    default=60.0,
    show_default=True,
    help="Time limit in seconds for each job, in the solver's own time, which repeats exactly.",
)
@click.option("--wall-limit", metavar="S", type=click.FloatRange(min=0), help="End a job after S seconds by the clock.")
@click.option(
    "--memory", metavar="MB", type=click.IntRange(min=0), help="End a job that holds more memory; 0 for no limit."
)
@click.option(
    "--gap",
    metavar="G",
    type=click.FloatRange(min=0),
    help="Stop work on a goal once its bound is within this fraction of its value.",
)
@click.option("--seed", metavar="N", type=int, default=1, show_default=True, help="Random seed.")
@click.option(
    "--goals",
    metavar="NAMES",
    help="legs, trays, crossings, leg_length_mm, or some of them, in another order, with commas.",
)
@click.option(
    "--workers",
    metavar="N",
    type=click.IntRange(min=1),
    help="Processes, each with one thread; by default one for each core.",
)
@click.option("--no-explain", is_flag=True, help="Look for no conflict if a job does not fit: faster, but says less.")
@click.option("--certificate", is_flag=True, help="Write beside each plan the certificate of its bounds, for check.")
@click.option("--scheduler", metavar="ADDRESS", help="Run on the dask cluster behind this scheduler.")
@click.option("--list", "names_only", is_flag=True, help="Only print the names of the jobs.")
@click.option("--show", metavar="NAME", help="Only print one job as a job file, for solve, explain or sheets.")
@common
def command(
    output: Output,
    paths: tuple[Path, ...],
    folder: Path | None,
    names_only: bool,
    show: str | None,
    against: Path | None,
    resume: bool,
    retry_failed: bool,
    **rest: Any,
) -> int:
    """Solve every job of the PATHs: job files, sweeps, and folders that hold some.

    DIR gets results.jsonl, with a line for each job as it ends; plans/; summary.csv, .xlsx and .json; and index.html,
    the table of mixes and enclosures.

    A job that crashes, hangs, needs too much memory or cannot be read is one line of the results. After a stop
    of any kind --resume goes on; jobs that are no longer among the PATHs do not count. Exit 0 if every job fits,
    1 if some do not (with --against: if some came out worse), 2 if some are wrong, 3 if some are not settled,
    4 if some failed.
    """
    if names_only or show is not None:
        return _printed(output, paths, show)
    if folder is None:
        raise click.UsageError("Missing option '-o': the folder of the results.")
    from trayopt.batches.batch import batch

    goals = rest["goals"]
    try:
        with _terminated(), _observer(output) as observer:
            summary = batch(
                paths,
                folder,
                library=output.library,
                time_limit_s=rest["time_limit"],
                gap=rest["gap"],
                seed=rest["seed"],
                goals=[name.strip() for name in goals.split(",") if name.strip()] if goals is not None else None,
                explain=not rest["no_explain"],
                certificate=rest["certificate"],
                workers=rest["workers"],
                wall_limit_s=rest["wall_limit"],
                memory_mb=rest["memory"],
                scheduler=rest["scheduler"],
                resume=resume,
                retry_failed=retry_failed,
                against=against,
                observer=observer,
            )
    except KeyboardInterrupt:
        output.warn(f"stopped: {observer.words()}; go on with --resume")
        return Exit.INTERRUPTED
    if not (Path(folder) / "summary.xlsx").exists():
        from trayopt.formats.xlsx_in import not_written

        output.warn(not_written("summary.xlsx"))
    output.answer(summary.as_dict, lambda: _text(summary, folder), lambda: _head(summary))
    _notices(output, summary, folder)
    return _exit(summary)


def _printed(output: Output, paths: tuple[Path, ...], show: str | None) -> int:
    """Print the names of all jobs, or one job; a sweep with faults has no jobs."""
    from trayopt.batches.manifest import read_manifest
    from trayopt.errors import InputError

    manifest = read_manifest(paths, output.library)
    if show is not None:
        output.write(_shown(manifest, show))
        return Exit.YES
    for item in manifest.items():
        output.write(item.name)
    if wrong := manifest.wrong():
        output.faults(InputError(wrong))
        return Exit.INPUT
    return Exit.YES


def _notices(output: Output, summary: Summary, folder: Path) -> None:
    """Print warnings about unusual input and about every job without an answer."""
    for fault in summary.unusual:
        output.unusual(fault)
    for failure in summary.failures:
        output.warn(f"{failure.name}: {failure.why}")
    more = summary.counts["wrong_input"] + summary.counts["failed"] - len(summary.failures)
    if more > 0:
        output.warn(f"and {several(more, 'more job')} without an answer: see {folder / 'summary.csv'}")
    if summary.written_again:
        output.warn("results.jsonl was taken away or changed during the run; it was written again, nothing is lost")
    if summary.left_out:
        count = len(summary.left_out)
        files = "1 YAML file was" if count == 1 else f"{count:,} YAML files were"
        where = "" if output.verbose else "; -v names them" if count > 1 else "; -v names it"
        output.note(f"{files} left out, being neither a job nor a sweep{where}")
        for path in summary.left_out:
            output.detail(f"  {path}")


def _shown(manifest: Manifest, name: str) -> str:
    """Write one job as a job file with everything that it refers to."""
    from difflib import get_close_matches

    from trayopt.errors import InputError
    from trayopt.formats.json_out import dump
    from trayopt.library.job_out import as_file

    found = next((item for item in manifest.items() if item.name == name), None)
    if found is not None:
        return dump(as_file(found.job()))
    near = get_close_matches(name, (item.name for item in manifest.items()), 1, 0)
    hint = f"did you mean {near[0]!r}?" if near else ""
    raise InputError.one(f"there is no job {name!r}", source="--show", hint=hint or "see --list")


@contextmanager
def _observer(output: Output) -> Iterator[Tally]:
    """Show progress: live on a terminal, as a line each minute elsewhere, and not at all when quiet."""
    from trayopt.batches.progress import Lines, Screen, Tally

    if output.progress:
        with Screen(output.console(stderr=True)) as screen:
            yield screen
    else:
        yield Tally() if output.quiet else Lines(output.note)


@contextmanager
def _terminated() -> Iterator[None]:
    """Treat SIGTERM, which a queue system sends, like Ctrl-C: the finished jobs are summed up."""

    def interrupt(*_: object) -> None:
        raise KeyboardInterrupt

    before = signal.signal(signal.SIGTERM, interrupt)
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, before)


def _exit(summary: Summary) -> int:
    from trayopt.batches.outcomes import OPEN

    counts = summary.counts
    if counts["failed"]:
        return Exit.FAULT
    if counts["wrong_input"]:
        return Exit.INPUT
    if any(counts[outcome] for outcome in OPEN):
        return Exit.NOTHING
    no = summary.worse if summary.changes is not None else counts["does_not_fit"]
    return Exit.NO if no else Exit.YES


def _head(summary: Summary) -> str:
    from trayopt.batches.outcomes import OUTCOMES

    parts = [f"{summary.counts[key]:,} {words}" for key, words in OUTCOMES.items() if summary.counts[key]]
    return f"{several(summary.jobs, 'job')}: {', '.join(parts) or 'none'}"


def _text(summary: Summary, folder: Path) -> str:
    from trayopt.batches.changes import WAYS
    from trayopt.formats.locate import printable

    rows = []
    for found in summary.smallest:
        box = found.box
        how = [found.variant] if found.variant else []
        how += [f"not settled: {', '.join(found.not_settled)}"] if found.not_settled else []
        said = (box.enclosure, f"{box.litres:,.1f}", f"{box.trays} of {box.places}") if box else ("", "", "")
        none = "none yet" if found.not_settled else "none that was tried"
        rows.append((found.mix, said[0] or none, *said[1:], "; ".join(how)))
    text = table(("mix", "smallest enclosure", "litres", "trays", "how"), rows, right=(2, 3))
    if summary.changes is not None:
        told = [f"{count:,} {way}" for way in WAYS if (count := summary.ways[way])]
        text += f"\nsince the older results: {', '.join(told) or 'nothing changed'}\n"
        text += "".join(
            f"  {change.way}: {change.name}: {change.before} -> {change.after}\n"
            for change in summary.changes
            if change.way in {"worse", "gone"}
        )
    return f"{text}\n{_head(summary)}\nresults {summary.digest[:16]}; see {printable(str(folder / 'index.html'))}\n"
