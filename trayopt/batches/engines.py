"""The engines that solve jobs: a pool of processes on this machine, or the workers of a cluster."""

from __future__ import annotations

import threading
from collections.abc import Callable
from queue import SimpleQueue
from typing import Any, Protocol

from trayopt.batches.answers import Answer
from trayopt.batches.worker import Limits, Stopped, Worker
from trayopt.errors import Fault

Done = Callable[[Answer], None]
"""Function that is called with the answer to a job, from any thread."""
Json = dict[str, Any]


class Engine(Protocol):
    """Anything that takes jobs as plain data and calls back with answers."""

    def slots(self) -> int:
        """Return the number of jobs that the engine should have at a time, including jobs that wait for a worker."""

    def submit(self, name: str, job: Json, done: Done) -> None:
        """Take a job."""

    def close(self) -> None:
        """End everything now; jobs in work are dropped without an answer."""

    def lost(self) -> str:
        """Return the reason why no more answers will come; empty while the engine works."""

    def notes(self) -> list[Fault]:
        """Return remarks on the workers, for the end of the run."""


class Pool:
    """Processes on this machine, each with a thread that looks after it.

    Every process has one job at a time. So if a process dies, it is known which job it had, and no other job is lost with it.

    Parameters
    ----------
    workers
        Number of processes.
    settings
        The settings with which jobs are solved.
    limits
        The limits of a job.
    """

    def __init__(self, workers: int, settings: Json, limits: Limits) -> None:
        self.workers = [Worker(limits) for _ in range(workers)]
        self._settings = settings
        self._lost = ""
        self._tasks: SimpleQueue[tuple[Json, Done] | None] = SimpleQueue()
        self._threads = [threading.Thread(target=self._serve, args=(worker,), daemon=True) for worker in self.workers]
        for thread in self._threads:
            thread.start()

    def notes(self) -> list[Fault]:
        """Return an empty list: all processes are on this machine."""
        return []

    def slots(self) -> int:
        """Two jobs for each process: one in work, and one waiting."""
        return 2 * len(self.workers)

    def submit(self, name: str, job: Json, done: Done) -> None:
        """Take a job."""
        del name
        self._tasks.put((job, done))

    def close(self) -> None:
        """End all processes."""
        for worker in self.workers:
            worker.stop()
            self._tasks.put(None)
        for thread in self._threads:
            thread.join()

    def lost(self) -> str:
        """Return the reason why no process can be started, such as a full disk; a process that ends is started again."""
        return self._lost

    def _serve(self, worker: Worker) -> None:
        try:
            worker.start()
            while (task := self._tasks.get()) is not None:
                job, done = task
                done(worker.ask(job, self._settings))
        except Stopped:
            pass
        except OSError as wrong:
            self._lost = f"no process can be started: {wrong.strerror}"
        except Exception as fault:  # otherwise the run would wait forever for a thread that has ended
            self._lost = f"a fault of trayopt itself: {type(fault).__name__}: {fault}"
        worker.close()
