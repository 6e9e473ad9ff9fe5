"""A whole batch: read what to run, run it, and write everything that is said of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

from trayopt.batches.engines import Engine, Pool
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
from trayopt.errors import InputError
from trayopt.formats.json_out import dump, write_whole
from trayopt.solver.model.cores import cores


@dataclass(frozen=True)
class Options:
    """How to run a batch.

    Parameters
    ----------
    settings
        How each job is solved.
    workers
        Processes on this machine; None for one a core.
    wall_limit_s
        End a job's process after so many seconds; None for ten times the time limit and two minutes more, 0 for never.
    memory_mb
        End a job's process when it holds more; None for its share of the machine, 0 for no limit.
    scheduler
        Address of the scheduler of a cluster, which then solves the jobs instead of this machine.
    resume
        Go on with the results that are there.
    retry_failed
        With ``resume``: run jobs again that failed.
    against
        An older folder of results to compare with.
    work
        Where workers find what to do with a job, as ``module:function``.
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
        """Fill in what a job may take."""
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
    workers: int | None = None,
    wall_limit_s: float | None = None,
    memory_mb: int | None = None,
    scheduler: str | None = None,
    resume: bool = False,
    retry_failed: bool = False,
    against: str | Path | None = None,
    observer: Observer | None = None,
) -> Summary:
    """Solve every job of some files and folders, each in a process of its own, and say what fits where.

    Parameters
    ----------
    paths
        Job files, sweeps, and folders that hold some.
    folder
        Where results, plans, tables and the page go.
    library
        Folders whose entries come before the models of trayopt, a later one before an earlier one.
    time_limit_s
        Most seconds a job, in the solver's deterministic time, which repeats exactly; None for no limit.
    gap, seed, goals, explain
        As for ``trayopt.solve``.
    workers
        Processes on this machine, one thread each; None for one a core.
    wall_limit_s
        End a job after so many seconds by the clock; None for ten times the time limit and two minutes more, 0 for never.
    memory_mb
        End a job that holds more MB; None for its share of the machine, 0 for no limit.
    scheduler
        Address of the scheduler of a dask cluster, which then solves the jobs instead of this machine.
    resume, retry_failed
        Go on with the results that are there; with ``resume``, run jobs again that failed.
    against
        An older folder of results to compare with.
    observer
        Is told how it goes on.

    Returns
    -------
    Summary
        ``jobs``, how many there are; ``counts`` by outcome; ``smallest``, the smallest box by mix; ``changes`` since the
        older results; ``digest``, which names the results.

    Raises
    ------
    InputError
        Where a path is none, there are results already and ``resume`` is not asked for, something cannot be written or
        read, or no worker can be had. Results so far are kept. What is wrong in a job is a line of the results.
    KeyboardInterrupt
        After what was done so far has been written and summed up.
    """
    settings = Settings(time_limit_s, gap, seed, tuple(goals) if goals is not None else None, explain)
    options = Options(
        settings=settings,
        workers=workers,
        wall_limit_s=wall_limit_s,
        memory_mb=memory_mb,
        scheduler=scheduler,
        resume=resume,
        retry_failed=retry_failed,
        against=None if against is None else Path(against),
    )
    manifest = read_manifest([Path(path) for path in paths], library)
    return run_batch(manifest, Path(folder), options, Tally() if observer is None else observer)


def run_batch(manifest: Manifest, folder: Path, options: Options, observer: Observer) -> Summary:
    """Run a batch and write its results.

    Parameters
    ----------
    manifest
        What to run.
    folder
        Where results, plans, tables and the page go.
    options
        How to run it.
    observer
        Is told how it goes on.

    Raises
    ------
    InputError
        Where there are results already and ``resume`` is not asked for, something cannot be written or read, or no
        worker can be had. Results so far are kept.
    KeyboardInterrupt
        After what was done so far has been written and summed up.
    """
    older = _older(options.against)
    if not options.resume and (folder / FILE).exists():
        hint = "go on with --resume, or name another folder with -o"
        raise InputError.one("there are results already", source=str(folder), hint=hint)
    with Writer(folder) as writer:
        engine = _engine(options)
        try:
            Run(manifest, writer, engine, options.settings, observer, options.retry_failed).go()
        except KeyboardInterrupt:
            engine.close()
            # Read again: the end may have come between the writing of a line and the note of it.
            sum_up(Results(folder), options, older)
            raise
        finally:
            engine.close()
        return sum_up(writer.results, options, older)


def sum_up(results: Results, options: Options, older: Results | None = None) -> Summary:
    """Write summary.json, summary.csv, summary.xlsx and index.html of the lines that are there."""
    folder = results.folder
    summary = summarize(results, older)
    write_csv(folder / "summary.csv", results)
    write_xlsx(folder / "summary.xlsx", results)
    write_html(folder / "index.html", results, summary, options.settings.plain(), str(options.against or ""))
    write_whole(folder / "summary.json", dump(summary.as_dict()))
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
