"""Ctrl-C and other requests to end a run: the one place that handles them.

Until there is something to keep, a request ends the run at once. A command that searches *keeps*: from then on a request ends its
search, and the run goes on to its answer. Requests that come together count as one, as when a terminal and a parent process both
pass one on. Another Ctrl-C some time later gives up.
"""

from __future__ import annotations

import contextlib
import os
import signal
import sys
import threading
import time
from collections.abc import Callable, Iterator
from types import FrameType
from typing import Final

INTERRUPTED: Final = 130
TERMINATED: Final = 143
TOGETHER_S = 1.0
"""Requests within so many seconds count as one."""
NAMES: Final = {"SIGINT": "Ctrl-C", "SIGTERM": "SIGTERM", "SIGHUP": "SIGHUP"}


class Stopping:
    """The requests to end this run, and their handling."""

    def __init__(self) -> None:
        self.asked: str | None = None
        """Name of the first signal that asked the run to end; None if there was no request."""
        self.search = threading.Event()
        """Event that is set when a search should end."""
        self._at = 0.0
        self._told: Callable[[str], None] | None = None
        self._give_up: Callable[[], None] | None = None

    @property
    def code(self) -> int:
        """Return the exit code of a run that has nothing to keep."""
        return INTERRUPTED if self.asked == "SIGINT" else TERMINATED

    @contextlib.contextmanager
    def heard(self) -> Iterator[None]:
        """Handle signals inside the block; a SIGHUP that a parent process has set to be ignored stays ignored."""
        if threading.current_thread() is not threading.main_thread():
            yield
            return
        before = {}
        for name in NAMES:
            number = getattr(signal, name, None)
            if number is not None and not (name == "SIGHUP" and signal.getsignal(number) == signal.SIG_IGN):
                before[number] = signal.signal(number, self._hear)
        sys.unraisablehook = self._swallowed
        try:
            yield
        finally:
            sys.unraisablehook = sys.__unraisablehook__
            for number, handler in before.items():
                signal.signal(number, handler)

    @contextlib.contextmanager
    def keeping(
        self, told: Callable[[str], None], give_up: Callable[[], None] | None = None
    ) -> Iterator[threading.Event]:
        """Inside the block, a request ends only the search: ``told`` tells the reader, ``give_up`` restores the terminal.

        Yield the event that is set when the search should end. The work after the search is never interrupted.
        """
        self.obey()
        self._told, self._give_up = told, give_up
        try:
            yield self.search
        finally:
            self._told, self._give_up = _nothing_to_tell, None

    def obey(self) -> None:
        """End the run if a request was lost, because a module treated the exception as a fault of its own."""
        if self.asked is not None:
            raise KeyboardInterrupt

    def _swallowed(self, found: sys.UnraisableHookArgs) -> None:
        """Ignore a request in code that cannot raise exceptions; ``obey`` acts on it later."""
        if self.asked is None or found.exc_type is not KeyboardInterrupt:
            sys.__unraisablehook__(found)

    def _hear(self, number: int, frame: FrameType | None) -> None:
        del frame
        name, now = signal.Signals(number).name, time.monotonic()
        if self.asked is not None:
            if name == "SIGINT" and now - self._at > TOGETHER_S:
                if self._told is None:
                    raise KeyboardInterrupt
                if self._give_up is not None:
                    with contextlib.suppress(Exception):
                        self._give_up()
                os._exit(INTERRUPTED)
            return
        self.asked, self._at = name, now
        self.search.set()
        if self._told is None:
            raise KeyboardInterrupt
        with contextlib.suppress(Exception):  # a stream that is gone or in use must not cost the plan
            self._told(name)


def _nothing_to_tell(_: str) -> None:
    """Do nothing: the search is over, and the answer is on its way."""


STOPPING = Stopping()
"""The requests to this process."""
