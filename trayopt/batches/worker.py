"""The owner's side of a solving process: it is asked to solve a job, and there is an answer in any case."""

from __future__ import annotations

import contextlib
import json
import os
import subprocess
import sys
import tempfile
import threading
import time
from dataclasses import dataclass
from queue import Empty, SimpleQueue
from typing import IO, Any

from trayopt.batches.answers import Answer, failed
from trayopt.batches.memory import resident_mb
from trayopt.batches.work import SOLVE

POLL_S = 0.1
MOST_JOBS = 500
"""After so many jobs a process is replaced by a new one, so that leaks cannot add up."""
TRIES = 2
"""How often a job is tried if its process ends by itself, since a lack of memory on the system may be the reason."""


@dataclass(frozen=True)
class Limits:
    """Limits of a job; beyond them its process is ended. 0 means no limit.

    Parameters
    ----------
    wall_s
        Seconds of wall time.
    memory_mb
        Memory that its process holds, in MB.
    work
        The function that the process calls for a job, as ``module:function``.
    """

    wall_s: float = 0
    memory_mb: int = 0
    work: str = SOLVE


class Stopped(Exception):  # noqa: N818 - nothing went wrong
    """The worker was told to stop during a job."""


class Worker:
    """A solving process, started when it is first needed and again after its end; for one thread at a time."""

    def __init__(self, limits: Limits) -> None:
        self.limits = limits
        self._process: subprocess.Popen[bytes] | None = None
        self._lines: SimpleQueue[bytes | None] = SimpleQueue()
        self._errors: IO[bytes] | None = None
        self._jobs = 0
        self._stopped = False

    def start(self) -> None:
        """Start the process, so that it is ready when the first job comes."""
        if self._stopped:
            raise Stopped
        self._errors = tempfile.TemporaryFile()  # noqa: SIM115 - closed with the process
        path = os.pathsep.join(part for part in sys.path if part)
        self._process = subprocess.Popen(
            [sys.executable, "-P", "-m", "trayopt.batches.child", self.limits.work, str(self.limits.memory_mb)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=self._errors,
            env={**os.environ, "PYTHONPATH": path},
            start_new_session=True,
        )
        if self._stopped:
            self._process.kill()
        self._lines = SimpleQueue()
        self._jobs = 0
        threading.Thread(target=_listen, args=(self._process.stdout, self._lines), daemon=True).start()

    def ask(self, job: dict[str, Any], settings: dict[str, Any]) -> Answer:
        """Let the process solve a job, and return the answer.

        Raises
        ------
        Stopped
            After ``stop``.
        """
        answer: Answer = {}
        for attempt in range(1, TRIES + 1):
            answer = self._once(job, settings)
            answer["attempts"] = attempt
            if answer.get("failure") != "crash":
                break
        return answer

    def stop(self) -> None:
        """End the process now, even in the middle of a job; may be called from another thread."""
        self._stopped = True
        process = self._process
        if process is not None:
            process.kill()

    def close(self) -> None:
        """End the process and release its resources."""
        process, self._process = self._process, None
        if process is None:
            return
        process.kill()
        process.wait()
        for stream in (process.stdin, process.stdout, self._errors):
            if stream is not None:
                with contextlib.suppress(OSError):
                    stream.close()

    def _once(self, job: dict[str, Any], settings: dict[str, Any]) -> Answer:
        if self._process is None:
            self.start()
        process = self._process
        assert process is not None
        assert process.stdin is not None
        started = time.monotonic()
        with contextlib.suppress(BrokenPipeError):
            process.stdin.write(json.dumps({"job": job, "settings": settings}).encode() + b"\n")
            process.stdin.flush()
        answer = self._wait(process, started)
        self._jobs += 1
        held = 2 * answer.pop("resident_mb", 0) > self.limits.memory_mb > 0
        if answer["outcome"] == "failed" or self._jobs >= MOST_JOBS or held:
            self.close()
        return answer

    def _wait(self, process: subprocess.Popen[bytes], started: float) -> Answer:
        most = 0
        limits = self.limits
        while True:
            try:
                line = self._lines.get(timeout=POLL_S)
            except Empty:
                most = max(most, resident_mb(process.pid))
                seconds = time.monotonic() - started
                if limits.memory_mb and most > limits.memory_mb:
                    process.kill()
                    return _timed(failed("memory", self._memory_words(most)), seconds)
                if limits.wall_s and seconds > limits.wall_s:
                    process.kill()
                    return _timed(failed("hang", f"no end after {limits.wall_s:g} s, its process was ended"), seconds)
                continue
            if self._stopped:
                raise Stopped
            if line is None:
                return _timed(self._ended(process, most), time.monotonic() - started)
            try:
                answer: Answer = json.loads(line)
            except ValueError:
                process.kill()
                return _timed(
                    failed("fault", "its process gave no answer that can be read"), time.monotonic() - started
                )
            if answer.get("failure") == "memory":
                answer |= failed("memory", self._memory_words(answer.get("resident_mb", 0)))
            return answer

    def _ended(self, process: subprocess.Popen[bytes], most_mb: int) -> Answer:
        """Return the answer for a process that ended by itself; near its limit of memory, it is taken as out of memory."""
        code = process.wait()
        limit = self.limits.memory_mb
        if limit and most_mb > 0.9 * limit:
            return failed("memory", self._memory_words(most_mb))
        return failed("crash", f"its process ended with {_ending(code)}{self._last_words()}")

    def _memory_words(self, held_mb: int) -> str:
        return f"out of memory: {held_mb:,} MB held, {self.limits.memory_mb:,} MB allowed"

    def _last_words(self) -> str:
        if self._errors is None:
            return ""
        size = self._errors.seek(0, os.SEEK_END)
        self._errors.seek(max(0, size - 2000))
        lines = self._errors.read().decode(errors="replace").split("\n")
        said = [line.strip() for line in lines if line.strip()]
        return f": {said[-1]}" if said else ""


def _listen(stream: IO[bytes], lines: SimpleQueue[bytes | None]) -> None:
    """Hand on the answers of a process; None after the last answer."""
    with contextlib.suppress(OSError, ValueError):
        for line in stream:
            if line.endswith(b"\n"):
                lines.put(line)
    lines.put(None)


def _ending(code: int) -> str:
    import signal

    if code >= 0:
        return f"code {code}"
    try:
        return f"signal {signal.Signals(-code).name}"
    except ValueError:
        return f"signal {-code}"


def _timed(answer: Answer, seconds: float) -> Answer:
    return {**answer, "seconds": round(seconds, 3)}
