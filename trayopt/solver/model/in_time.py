"""Work in a thread of its own, so that whoever waits for it goes on when time is up, with what was found by then.

The work is asked to end first, by its clock. What does not look at the clock in time, a long count or a run of the solver that
does not stop, is ended by an exception that is raised inside of it, and left behind where that does not reach it either.
"""

from __future__ import annotations

import ctypes
import sys
import threading
import time
from collections.abc import Callable
from typing import Final, Generic, TypeVar

from trayopt.solver.model.clock import Clock, OutOfTime

T = TypeVar("T")

THREAD: Final = "trayopt search"
"""Name of every thread that works on a search."""
LOOK_S = 0.05
"""Seconds between two looks at the clock, for the caller that waits."""
MARGIN_PART, MOST_MARGIN_S = 0.03, 0.5
"""How long before the limit the clock of the work ends: the solver ends a little late."""
LEAST_S = 0.5
"""No work is ended from outside before: a search that is stopped at once still gives its first plan."""
UNWIND_S = 0.25
"""Time for work to end once the exception was raised."""
HEEDED_S = 3.0
"""Time for work to end by itself once it was interrupted: a run of the solver gives what it has."""


def margin(limit_s: float) -> float:
    """Return the seconds of a limit that are kept for ending."""
    return min(MOST_MARGIN_S, MARGIN_PART * limit_s)


def left_behind() -> bool:
    """Whether some search still runs: a process that ends does not wait for it."""
    return any(thread.name == THREAD for thread in threading.enumerate())


class _Work(Generic[T]):
    """Work under way."""

    def __init__(self, work: Callable[[], T]) -> None:
        self.result: T | None = None
        self.error: BaseException | None = None
        self.ended = threading.Event()
        self._work = work
        self._closing = threading.Lock()
        self._closed = True
        self._late = False
        self._hook: _Unraisable | None = None
        self._thread = threading.Thread(target=self._run, name=THREAD, daemon=True)
        self._thread.start()

    def _run(self) -> None:
        try:
            try:
                self._begin()
                self.result = self._work()
            except BaseException as error:
                self.error = error
            self._close()
        except OutOfTime as error:  # raised between the last line of the work and this one
            self.error = self.error or error
        finally:
            if self._hook is not None:
                self._hook.take_out()
            self.ended.set()

    def _begin(self) -> None:
        """Let exceptions be raised in the thread from here on; an end that came before, on a busy machine, is raised at once."""
        with self._closing:
            self._closed = False
            late = self._late
        if late:
            raise OutOfTime

    def _close(self) -> None:
        """Let no exception be raised in the thread from here on; one that is on its way comes here at the latest.

        It is waited for rather than taken back: CPython 3.11 never lowers the flag of an exception that was taken back,
        so that all code of the process is slower from then on, and code that is traced (coverage, a debugger) hangs.
        """
        with self._closing:
            self._closed = True
        _step()

    def end(self) -> None:
        """Raise ``OutOfTime`` inside of the work, at its next step in Python."""
        with self._closing:
            if self._thread.ident is None or self._closed:
                self._late = True
            else:
                self._hook = self._hook or _Unraisable()
                _raise_in(self._thread.ident, OutOfTime)


def _raise_in(thread: int, error: type[BaseException]) -> None:
    """Have an exception raised in a thread at its next step in Python."""
    ctypes.pythonapi.PyThreadState_SetAsyncExc(ctypes.c_ulong(thread), ctypes.py_object(error))


def _step() -> None:
    """Take steps in Python, each of which raises what was to be raised in this thread."""
    for _ in range(2):
        pass


def in_time(work: Callable[[], T], clock: Clock, stop: threading.Event | None = None) -> T | None:
    """Do some work, at the latest until its clock's limit and its margin are over.

    Parameters
    ----------
    work
        What to do; it looks at the clock now and then, and gives what it has once that is over.
    clock
        Its limit is when the work is to end; Ctrl-C goes on it, and so does ``stop``.
    stop
        Set by somebody else to end the work.

    Returns
    -------
    The result of the work; None where it did not end in time.
    """
    until = None
    if clock.limit_s is not None and not clock.deterministic:
        until = clock.started + max(LEAST_S, clock.limit_s + margin(clock.limit_s))
    under_way = _Work(work)
    told = False
    while not _ended(under_way, clock, LOOK_S):
        if stop is not None and stop.is_set():
            clock.interrupted = True
        if clock.interrupted and not told:
            told = True
            until = min(until or float("inf"), time.monotonic() + HEEDED_S)
        if until is not None and time.monotonic() > until:
            under_way.end()
            _ended(under_way, clock, UNWIND_S)
            break
    if not under_way.ended.is_set():
        return None
    if _ran_out(under_way.error):
        return None
    if under_way.error is not None:
        raise under_way.error
    return under_way.result


class _Unraisable:
    """A hook for exceptions that Python cannot pass on, such as those inside ``__del__``: it keeps ``OutOfTime`` off stderr.

    It stands before whatever hook there is, from when work is ended until its thread is at its end. Hooks of other work may come
    before it meanwhile; then it goes when they go, and until then passes on whatever it hears.
    """

    def __init__(self) -> None:
        self.before = sys.unraisablehook
        self.out = False
        sys.unraisablehook = self

    def __call__(self, unraisable: sys.UnraisableHookArgs) -> None:
        """Report any other exception as before."""
        if self.out or not issubclass(unraisable.exc_type, OutOfTime):
            self.before(unraisable)

    def take_out(self) -> None:
        """Put back the hook that was there before."""
        self.out = True
        while isinstance(sys.unraisablehook, _Unraisable) and sys.unraisablehook.out:
            sys.unraisablehook = sys.unraisablehook.before


def _ran_out(error: BaseException | None) -> bool:
    """Whether an error is ``OutOfTime``, or came about where others heard it: it may be raised in any line of any module."""
    while error is not None and not isinstance(error, OutOfTime):
        error = error.__cause__ or error.__context__
    return error is not None


def _ended(under_way: _Work[T], clock: Clock, seconds: float) -> bool:
    try:
        return under_way.ended.wait(seconds)
    except KeyboardInterrupt:
        clock.interrupted = True
        return under_way.ended.is_set()
