"""A process that has trayopt loaded, and forks for each command: the command is a process of its own that has nothing to load.

Standard streams, folder, environment and arguments are those of the caller. What a command loads, how it starts and how it takes
signals is tested with ``python -m trayopt``.
"""

from __future__ import annotations

import atexit
import gc
import json
import os
import pkgutil
import socket
import subprocess
import sys
import tempfile
from contextlib import ExitStack
from functools import cache
from importlib import import_module
from pathlib import Path
from typing import IO

ROOT = Path(__file__).parents[2]


class Server:
    """Owns the process that forks, for as long as the tests run."""

    def __init__(self) -> None:
        self._line, other = socket.socketpair()
        with other:
            self._process = subprocess.Popen(
                [sys.executable, "-m", "tests.cli.preloaded", str(other.fileno())],
                pass_fds=[other.fileno()], stdin=subprocess.DEVNULL, cwd=ROOT,
                env={**os.environ, "PYTHONPATH": str(ROOT)},
            )  # fmt: skip
        self._answers = self._line.makefile("r")
        atexit.register(self._end)

    def run(
        self, arguments: list[str], stdin: bytes, folder: Path, environment: dict[str, str]
    ) -> tuple[int, bytes, bytes]:
        """Run one command; gives its exit code and what it wrote."""
        with ExitStack() as stack:
            streams: list[IO[bytes]] = [stack.enter_context(tempfile.TemporaryFile()) for _ in range(3)]
            streams[0].write(stdin)
            streams[0].seek(0)
            asked = json.dumps([arguments, str(folder), environment]).encode()
            socket.send_fds(self._line, [len(asked).to_bytes(8)], [stream.fileno() for stream in streams])
            self._line.sendall(asked)
            code = int(self._answers.readline())
            for stream in streams:
                stream.seek(0)
            return code, streams[1].read(), streams[2].read()

    def _end(self) -> None:
        self._answers.close()
        self._line.close()
        self._process.wait()


@cache
def server() -> Server:
    """Give the server of this process."""
    return Server()


def load() -> None:
    """Load all that commands load when they are asked for something."""
    for room in (
        "trayopt.cli",
        "trayopt.api",
        "trayopt.solver",
        "trayopt.review",
        "trayopt.crewsheets",
        "trayopt.explainer",
    ):
        for module in pkgutil.walk_packages(import_module(room).__path__, f"{room}."):
            import_module(module.name)
    import_module("trayopt.api").library_survey()  # what is parsed of the library is known to every command
    gc.collect()
    gc.freeze()


def serve(line: socket.socket) -> None:
    """Fork for every command that is asked for, until nobody can ask any more."""
    while True:
        size, streams, *_ = socket.recv_fds(line, 8, 3)
        if not size:
            return
        asked = line.recv(int.from_bytes(size), socket.MSG_WAITALL)
        child = os.fork()
        if not child:
            line.close()
            become(streams, *json.loads(asked))
        for stream in streams:
            os.close(stream)
        _, status = os.waitpid(child, 0)
        line.sendall(b"%d\n" % os.waitstatus_to_exitcode(status))


def become(streams: list[int], arguments: list[str], folder: str, environment: dict[str, str]) -> None:
    """Become the process of a command, and do not come back."""
    from trayopt.cli import main

    for number, stream in enumerate(streams):
        os.dup2(stream, number)
        os.close(stream)
    sys.stdin = os.fdopen(0, closefd=False)
    sys.stdout = os.fdopen(1, "w", closefd=False)
    sys.stderr = os.fdopen(2, "w", buffering=1, errors="backslashreplace", closefd=False)
    os.environ.clear()
    os.environ.update(environment)
    os.chdir(folder)
    sys.argv = ["trayopt", *arguments]
    main(arguments)


if __name__ == "__main__":
    load()
    serve(socket.socket(fileno=int(sys.argv[1])))
