"""Who solves the jobs: a pool of processes on this machine, or the workers of a cluster."""

from __future__ import annotations

import threading
from collections.abc import Callable
from queue import SimpleQueue
from typing import Any, Protocol

from trayopt.batches.answers import Answer
from trayopt.batches.worker import Limits, Stopped, Worker
from trayopt.errors import Fault

Done = Callable[[Answer], None]
"""Called with the answer to a job, from whichever thread."""
Json = dict[str, Any]


class Engine(Protocol):
    """Takes jobs as plain data and calls back with answers."""

    def slots(self) -> int:
        """How many jobs it is good for it to have at a time, those that wait for a worker included."""

    def submit(self, name: str, job: Json, done: Done) -> None:
        """Take a job."""

    def close(self) -> None:
        """End everything now; what is in work is dropped without an answer."""

    def lost(self) -> str:
        """Why no more answers are to come; empty while all is well."""

    def notes(self) -> list[Fault]:
        """Return what is to be told of those who solve, at the end of the run."""


class Pool:
    """Processes of this machine, one thread each to look after them.

    Every process is asked by itself and has one job at a time, so that it is known which job a process that died had in
    hand: no other job is lost with it.

    Parameters
    ----------
    workers
        Number of processes.
    settings
        How jobs are solved.
    limits
        What a job may take.
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
        """Return nothing: all processes are of this machine."""
        return []

    def slots(self) -> int:
        """Two jobs a process: one in work, and one at hand."""
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
        """Say why no process can be started, such as a full disk; one that ends is started again."""
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
        except Exception as fault:  # a thread that ends in silence would be waited for without end
            self._lost = f"a fault of trayopt itself: {type(fault).__name__}: {fault}"
        worker.close()
