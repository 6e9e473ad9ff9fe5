"""A whole batch: the jobs are read and run, and the results and their summary are written."""

from __future__ import annotations

import contextlib
import json
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

from trayopt.batches.engines import Engine, Pool
from trayopt.batches.files import encoded, whole_file
from trayopt.batches.html import write_html
from trayopt.batches.manifest import Manifest, read_manifest
from trayopt.batches.memory import share_mb
from trayopt.batches.progress import Tally
from trayopt.batches.results import FILE, Results, Writer
from trayopt.batches.run import Observer, Run
from trayopt.batches.summary import Summary, summarize
from trayopt.batches.tables import write_csv, write_xlsx
from trayopt.batches.work import SOLVE, Settings
from trayopt.batches.worker import Limits
from trayopt.errors import Fault, InputError
from trayopt.solver.model.cores import cores


@dataclass(frozen=True)
class Options:
    """Options of a batch.

    Parameters
    ----------
    settings
        The settings with which each job is solved.
    workers
        Number of processes on this machine; None for one process on each core.
    wall_limit_s
        End a job's process after so many seconds; None for ten times the time limit and two minutes more, 0 for never.
    memory_mb
        End a job's process when it holds more; None for its share of the machine, 0 for no limit.
    scheduler
        Address of the scheduler of a cluster, which then solves the jobs instead of this machine.
    resume
        Continue with the existing results.
    retry_failed
        With ``resume``, run failed jobs again.
    against
        An older folder of results to compare with.
    work
        The function that workers call for a job, as ``module:function``.
    """

    settings: Settings = field(default_factory=Settings)
    workers: int | None = None
    wall_limit_s: float | None = None
    memory_mb: int | None = None
    scheduler: str | None = None
    resume: bool = False
    retry_failed: bool = False
    against: Path | None = None
    work: str = SOLVE

    def limits(self, workers: int) -> Limits:
        """Return the limits of a job, with the defaults filled in."""
        wall = self.wall_limit_s
        if wall is None:
            wall = 10 * self.settings.time_limit_s + 120 if self.settings.time_limit_s is not None else 0
        memory = share_mb(workers) if self.memory_mb is None else self.memory_mb
        return Limits(wall, memory, self.work)


def batch(
    paths: Sequence[str | Path],
    folder: str | Path,
    *,
    library: Sequence[Path] = (),
    time_limit_s: float | None = 60.0,
    gap: float | None = None,
    seed: int = 1,
    goals: Sequence[str] | None = None,
    explain: bool = True,
    certificate: bool = False,
    workers: int | None = None,
    wall_limit_s: float | None = None,
    memory_mb: int | None = None,
    scheduler: str | None = None,
    resume: bool = False,
    retry_failed: bool = False,
    against: str | Path | None = None,
    observer: Observer | None = None,
) -> Summary:
    """Solve many jobs, each with one thread, and write the results into a folder.

    The folder gets ``results.jsonl`` (a line for each job as it ends), ``plans/``, ``summary.csv``, ``summary.xlsx``,
    ``summary.json`` and ``index.html``. Every job gets a line, even after a crash or with wrong input.

    Parameters
    ----------
    paths
        Job files, sweeps, and folders that hold some.
    folder
        The folder for the results; it is made if it does not exist.
    library
        Folders whose entries come before the models of trayopt.
    time_limit_s
        Most seconds of the solver's deterministic time for each job; None for no limit.
    gap, seed, goals, explain
        As for ``trayopt.solve``.
    certificate
        Write the certificate of the bounds beside each plan, for ``verify``.
    workers
        Number of processes on this machine; None for one process on each core.
    wall_limit_s
        End a job after so many seconds by the clock; None for ten times the time limit and two minutes more, 0 for never.
    memory_mb
        End a job that holds more memory; None for its share of the machine, 0 for no limit.
    scheduler
        Address of the scheduler of a dask cluster, which then solves the jobs instead of this machine.
    resume
        Continue with the existing results: a job is solved only if it has no result with the same content, settings and
        versions. Jobs that are no longer among the paths do not count any more.
    retry_failed
        With ``resume``, run failed jobs again.
    against
        The folder of an older batch to compare with.
    observer
        Called with the progress of the run.

    Returns
    -------
    Summary
        Counts by outcome, the smallest enclosure for every mix, failures, and changes against the older batch.

    Raises
    ------
    InputError
        If there is nothing to run, the goals cannot be ordered so, there are results already and ``resume`` is false, a file
        cannot be written or read, or there is no worker. Results so far are kept and summed up.
    KeyboardInterrupt
        After an interruption, when the results so far have been written and summed up.
    """
    from trayopt.goals.registry import MOVABLE, order

    if goals is not None:
        try:
            goals = tuple(goal.id for goal in order(tuple(goals)) if goal.id in MOVABLE)
        except ValueError as wrong:
            raise InputError.one(str(wrong), source="--goals") from wrong
    options = Options(
        settings=Settings(time_limit_s, gap, seed, tuple(goals) if goals is not None else None, explain, certificate),
        workers=workers,
        wall_limit_s=wall_limit_s,
        memory_mb=memory_mb,
        scheduler=scheduler,
        resume=resume,
        retry_failed=retry_failed,
        against=Path(against) if against is not None else None,
    )
    manifest = read_manifest([Path(path) for path in paths], library)
    return run_batch(manifest, Path(folder), options, observer or Tally())


def run_batch(manifest: Manifest, folder: Path, options: Options, observer: Observer) -> Summary:
    """Run a batch whose manifest was read already, and write its results; see ``batch``."""
    older = _older(options.against)
    if not options.resume and (folder / FILE).exists():
        hint = "go on with --resume, or name another folder with -o"
        raise InputError.one("there are results already", source=str(folder), hint=hint)
    engine = _engine(options)
    try:
        with Writer(folder, recover=options.resume) as writer:
            try:
                Run(manifest, writer, engine, options.settings, observer, options.retry_failed).go()
            except BaseException:
                engine.close()
                with contextlib.suppress(InputError, OSError):  # the reason why the run ended is reported instead
                    sum_up(writer, manifest, options, older)
                raise
            notes = engine.notes()
            engine.close()
            return sum_up(writer, manifest, options, older, notes)
    finally:
        engine.close()


def sum_up(
    writer: Writer, manifest: Manifest, options: Options, older: Results | None = None, notes: Sequence[Fault] = ()
) -> Summary:
    """Write summary.json, summary.csv, summary.xlsx and index.html from the existing lines.

    ``notes`` are remarks on the workers that solved the jobs.
    """
    results = writer.settle()
    folder = results.folder
    summary = summarize(results, older)
    summary.left_out, summary.written_again = manifest.left_out, writer.written_again
    summary.unusual = (*manifest.unusual(), *notes)
    write_csv(folder / "summary.csv", results)
    write_xlsx(folder / "summary.xlsx", results)
    write_html(folder / "index.html", results, summary, str(options.against or ""))
    with whole_file(folder / "summary.json") as file:
        for piece in json.JSONEncoder(indent=2, ensure_ascii=False, allow_nan=False).iterencode(summary.as_dict()):
            file.write(encoded(piece))
        file.write(b"\n")
    return summary


def _older(folder: Path | None) -> Results | None:
    if folder is None:
        return None
    if not (folder / FILE).exists():
        hint = "name the folder that an earlier batch wrote with -o"
        raise InputError.one(f"there is no {FILE} in this folder", source=str(folder), hint=hint)
    return Results(folder)


def _engine(options: Options) -> Engine:
    if options.scheduler is not None:
        from trayopt.batches.cluster import Cluster

        limits = options.limits(1)
        if options.memory_mb is None:
            limits = Limits(limits.wall_s, -1, limits.work)
        return Cluster(options.scheduler, options.settings.plain(), limits)
    workers = options.workers or cores()
    return Pool(workers, options.settings.plain(), options.limits(workers))


__all__: Sequence[str] = ("Options", "batch", "run_batch", "sum_up")
