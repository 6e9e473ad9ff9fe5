"""The process that solves: it reads jobs from stdin and writes answers to stdout, each as a line of JSON.

It ends when stdin ends, even in the middle of a job, so that an owner that is killed leaves no child behind.
"""

from __future__ import annotations

import json
import os
import sys
import threading
import time
from collections.abc import Callable
from importlib import import_module
from queue import SimpleQueue
from typing import Any, BinaryIO

from trayopt.batches.memory import limit_address_space, resident_mb

Work = Callable[[dict[str, Any], dict[str, Any]], dict[str, Any]]


def main(arguments: list[str]) -> None:
    """Answer jobs until stdin ends.

    Parameters
    ----------
    arguments
        The function to call for a job, as ``module:function``, and the limit of memory in MB, 0 for no limit.
    """
    where, memory_mb = arguments[0], int(arguments[1])
    answers = _own_stdout()
    module, _, name = where.partition(":")
    home = import_module(module)
    work: Work = getattr(home, name)
    if memory_mb:
        limit_address_space(memory_mb)
    lines: SimpleQueue[bytes] = SimpleQueue()
    threading.Thread(target=_read, args=(lines,), daemon=True).start()
    getattr(home, "prepare", lambda: None)()
    while True:
        task = json.loads(lines.get())
        started = time.perf_counter()
        try:
            answer = work(task["job"], task["settings"])
        except MemoryError:
            answer = {"outcome": "failed", "failure": "memory"}
        answer["seconds"] = round(time.perf_counter() - started, 3)
        answer["resident_mb"] = resident_mb()
        answers.write(json.dumps(answer).encode() + b"\n")
        answers.flush()


def _own_stdout() -> BinaryIO:
    """Return stdout for answers alone; from now on, everything that libraries print there goes to stderr."""
    kept = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)
    return kept


def _read(lines: SimpleQueue[bytes]) -> None:
    for line in sys.stdin.buffer:
        lines.put(line)
    os._exit(0)


if __name__ == "__main__":
    main(sys.argv[1:])
