"""Solving on an existing cluster: its workers solve the jobs with a copy of this trayopt, which is sent to them."""

from __future__ import annotations

import contextlib
import logging
import tempfile
import threading
import time
import zipfile
from collections.abc import Callable, Iterator, Mapping
from dataclasses import asdict
from hashlib import sha256
from pathlib import Path
from typing import Any
from uuid import uuid4

from trayopt.batches.answers import Answer, failed
from trayopt.batches.engines import Done, Json
from trayopt.batches.memory import share_mb
from trayopt.batches.worker import Limits, Worker
from trayopt.errors import Fault, InputError

CONNECT_S = 30.0
RETRIES = 2
"""How often a job that ended in an exception is tried again. Jobs of a lost worker are run again by the scheduler itself."""

_workers: dict[int, Worker] = {}
"""The solving process of each thread, on a machine of the cluster."""


def run_task(job: Json, settings: Json, limits: Limits) -> Answer:
    """Solve a job on a machine of the cluster, in a process of its own that can be ended.

    Parameters
    ----------
    job, settings
        Both as plain data.
    limits
        The limits of a job; a negative ``memory_mb`` stands for the share of a thread in the machine that runs it.
    """
    if limits.memory_mb < 0:
        limits = Limits(limits.wall_s, share_mb(_threads()), limits.work)
    worker = _workers.get(threading.get_ident())
    if worker is None or worker.limits != limits:
        if worker is not None:
            worker.close()
        worker = _workers[threading.get_ident()] = Worker(limits)
    return worker.ask(job, settings)


def errand() -> Callable[[Json, Json, Json], Answer]:
    """Return the function that a scheduler hands on to its workers.

    It is a nested function, so that it is sent with its code: the scheduler unpacks every task and has no trayopt.
    """

    def run_there(job: Json, settings: Json, limits: Json) -> Answer:
        from trayopt.batches.cluster import run_task
        from trayopt.batches.worker import Limits

        return run_task(job, settings, Limits(**limits))

    return run_there


def solver_mark(resource: str, wanted: str) -> Any:
    """Return a plugin that marks the workers that have the solver, including workers that join later.

    A worker without the solver never gets a job: it would fail fast, and so take one job after another. As in ``errand``,
    the class is sent with its code, since a worker unpacks it before it has trayopt.

    Parameters
    ----------
    resource
        Name of the mark; a worker has one mark for each thread, and a job takes one mark.
    wanted
        The version of ortools that a worker must have. Other versions find other plans, and the key of a result names its
        version.
    """
    from distributed.diagnostics.plugin import WorkerPlugin

    class SolverMark(WorkerPlugin):
        async def setup(self, worker: Any) -> None:
            from importlib import import_module
            from importlib.metadata import version

            try:
                for name in ("pydantic", "networkx", "ortools.sat.python.cp_model"):
                    import_module(name)
                if version("ortools") != wanted:
                    return
            except Exception:  # with any fault of a package, this worker cannot solve
                return
            if worker.status.name == "running":
                await worker.set_resources(**{resource: worker.state.nthreads})
            else:  # it tells the scheduler when it is ready
                worker.state.total_resources[resource] = worker.state.nthreads
                worker.state.available_resources[resource] = worker.state.nthreads

        async def teardown(self, worker: Any) -> None:
            if resource in worker.state.total_resources and worker.status.name == "running":
                await worker.set_resources(**{resource: 0})

    return SolverMark()


def stop_tasks() -> None:
    """End all solving processes of this machine."""
    while _workers:
        _workers.popitem()[1].stop()


class Cluster:
    """The workers behind the scheduler at an address.

    A job is sent as its canonical JSON, which contains everything that it refers to. So a worker needs no library of
    hardware, only the dependencies of trayopt.

    Parameters
    ----------
    address
        The address of the scheduler, such as ``tcp://10.0.0.1:8786``.
    settings
        The settings with which jobs are solved.
    limits
        The limits of a job; a negative ``memory_mb`` is worked out on each machine.

    Raises
    ------
    InputError
        If ``distributed`` is not installed, no scheduler answers or its workers cannot run trayopt.
    """

    def __init__(self, address: str, settings: Json, limits: Limits) -> None:
        try:
            from distributed import Client
        except ImportError as missing:
            hint = "pip install trayopt[cluster]"
            raise InputError.one("distributed is needed for --scheduler and is not installed", hint=hint) from missing
        self._address = address
        # ``lost`` and ``notes`` say the same in a sentence, without the traceback of a connection
        logging.getLogger("distributed.client").setLevel(logging.CRITICAL)
        try:
            connect: Any = Client
            self._client = connect(address, timeout=CONNECT_S, set_as_default=False)
        except (OSError, ValueError, TypeError, ImportError) as wrong:
            hint = "start one with: dask scheduler"
            raise InputError.one(f"no scheduler answers: {wrong}", source=address, hint=hint) from wrong
        self._resource = f"trayopt-{uuid4().hex[:12]}"
        self._settings = settings
        self._limits = asdict(limits)
        self._errand = errand()
        self._futures: dict[str, Any] = {}
        self._closed = False
        self._forgotten = False
        self._slots = (0.0, 0)
        try:
            self._send_library()
        except BaseException:
            self._client.close()
            raise

    def slots(self) -> int:
        """Two jobs for each thread of the workers that are connected now."""
        asked, found = self._slots
        if time.monotonic() - asked > 1:
            with contextlib.suppress(OSError, RuntimeError):
                found = 2 * sum(self._client.nthreads().values())
            self._slots = (time.monotonic(), found)
        return found

    def submit(self, name: str, job: Json, done: Done) -> None:
        """Take a job."""
        key = f"trayopt-{sha256(name.encode()).hexdigest()[:12]}-{time.monotonic_ns()}"
        future = self._client.submit(
            *(self._errand, job, self._settings, self._limits),
            key=key,
            pure=False,
            retries=RETRIES,
            resources={self._resource: 1},
        )
        self._futures[key] = future
        future.add_done_callback(lambda ended: self._ended(key, ended, done))

    def close(self) -> None:
        """End the jobs in work, and leave the cluster as it was."""
        if self._closed:
            return
        self._closed = True
        with contextlib.suppress(Exception):
            if self.lost():
                raise OSError
            self._client.cancel(list(self._futures.values()), force=True)
            self._client.run(stop_tasks, on_error="ignore")
            self._client.unregister_worker_plugin(self._resource)
        self._client.close(timeout=5)

    def notes(self) -> list[Fault]:
        """Return a note on each worker that was refused, including workers that joined late."""
        with contextlib.suppress(Exception):
            found = self._client.run(solver_there, on_error="return")
            return [Fault(self._address, 0, 0, text) for text in _other_solvers(found)]
        return []

    def lost(self) -> str:
        """Return a sentence if the scheduler is gone; otherwise an empty text."""
        there = self._client.status in {"running", "connecting", "newly-connected"} and not self._forgotten
        return "" if there else "the scheduler is gone, or has forgotten the jobs that it had"

    def _ended(self, key: str, future: Any, done: Done) -> None:
        """Hand on the answer of a job. A cancelled job has none: a scheduler that was started again has forgotten the job."""
        self._futures.pop(key, None)
        if self._closed:
            return
        if future.status in {"cancelled", "lost"}:
            self._forgotten = True
            return
        error = future.exception() if future.status == "error" else None
        if error is None:
            done(future.result())
        elif type(error).__name__ == "KilledWorker":
            done(failed("crash", f"the workers that had it were lost, one after the other: {error}"))
        else:
            done(failed("fault", f"{type(error).__name__}: {error}"))

    def _send_library(self) -> None:
        """Send this trayopt to every worker, now and later, and check that it runs there."""
        from distributed.diagnostics.plugin import UploadFile

        with tempfile.TemporaryDirectory() as folder:
            path = _packed(Path(folder))
            self._client.register_plugin(UploadFile(str(path)), name=path.stem)
        try:
            self._client.wait_for_workers(1, timeout=CONNECT_S)
        except TimeoutError as wrong:
            hint = "start some with: dask worker " + self._address
            raise InputError.one("the scheduler has no workers", source=self._address, hint=hint) from wrong
        self._client.register_plugin(solver_mark(self._resource, solver_version()), name=self._resource)
        found = self._client.run(solver_there, on_error="return")
        wrongs = [answer for answer in found.values() if isinstance(answer, BaseException)]
        if wrongs and len(wrongs) == len(found):
            hint = "install it on every worker: trayopt itself is sent along, what it depends on is not"
            raise InputError.one(f"the workers lack a package: {wrongs[0]}", source=self._address, hint=hint)
        others = _other_solvers(found)
        if len(others) + len(wrongs) == len(found):
            hint = f"install ortools {solver_version()} on the workers, or the workers' version here"
            raise InputError.one(f"no worker can solve: {others[0]}", source=self._address, hint=hint)


def solver_version() -> str:
    """Return the version of ortools on this machine."""
    from importlib.metadata import version

    return version("ortools")


def solver_there() -> str:
    """Import everything that solving needs, and return the version of ortools; raise ImportError if something is missing."""
    from importlib import import_module
    from importlib.metadata import version

    for name in ("pydantic", "networkx", "ortools.sat.python.cp_model"):
        import_module(name)
    return version("ortools")


def _other_solvers(found: Mapping[str, Any]) -> list[str]:
    """Return a sentence for each worker that is refused because of another version of the solver."""
    mine = solver_version()
    return [
        f"{worker} is given no job: ortools {answer} is there, and {mine} here, which may come to another plan"
        for worker, answer in found.items()
        if isinstance(answer, str) and answer != mine
    ]


def _threads() -> int:
    """Return the greatest number of jobs at a time on this machine: its cores, or the threads of this worker if they are more."""
    from distributed import get_worker

    from trayopt.solver.model.cores import cores

    return max(cores(), int(get_worker().state.nthreads))


def _packed(folder: Path) -> Path:
    """Pack this package into an archive that is named by a digest of its content."""
    files = sorted(_own_files())
    name = sha256()
    for inside, raw in files:
        name.update(inside.encode() + b"\0" + raw)
    path = folder / f"trayopt-{name.hexdigest()[:16]}.zip"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as pack:
        for inside, raw in files:
            pack.writestr(inside, raw)
    return path


def _own_files() -> Iterator[tuple[str, bytes]]:
    """Yield the files of this package with their paths, from a folder or from an archive."""
    from importlib.resources import files
    from importlib.resources.abc import Traversable

    def below(here: Traversable, at: str) -> Iterator[tuple[str, bytes]]:
        for entry in here.iterdir():
            if entry.is_dir() and entry.name not in {"__pycache__", "_models"}:
                yield from below(entry, f"{at}/{entry.name}")
            elif entry.is_file() and not entry.name.endswith(".pyc"):
                yield f"{at}/{entry.name}", entry.read_bytes()

    yield from below(files("trayopt"), "trayopt")
