"""Progress of the solver: a live line on a terminal, and with ``-v`` a plain line for each bound and each better plan."""

from __future__ import annotations

import time
from collections.abc import Iterator
from types import TracebackType
from typing import TYPE_CHECKING

from trayopt.cli.output import Output

if TYPE_CHECKING:
    from rich.live import Live
    from rich.text import Text


class Progress:
    """Display of the solver's progress on stderr: seconds, goal, value and bound, which come from the solver's threads.

    On a terminal, one line is kept up to date, and disappears before the answer. With ``-v``, each step of the trail is printed
    as a line that stays.
    """

    def __init__(self, output: Output) -> None:
        self._output = output
        self._began = time.monotonic()
        self._goal: str | None = None
        self._out: int | None = None
        """Splices without a tray in the best plan; None if there is no plan yet."""
        self._value: int | None = None
        self._bound: int | None = None
        self._live: Live | None = None

    def __enter__(self) -> Progress:
        """Start the display."""
        if self._output.progress:
            from rich.live import Live

            self._live = Live(
                console=self._output.console(stderr=True),
                get_renderable=self._line,
                refresh_per_second=4,
                transient=True,
                redirect_stdout=False,
                redirect_stderr=False,
            )
            self._live.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """End the display."""
        self.close()

    def close(self) -> None:
        """End the display and leave the terminal as it was."""
        if self._live is not None:
            self._live.stop()
            self._live = None

    def __call__(self, seconds: float, goal: str, value: int | None, bound: int | None) -> None:
        """Take over the state of the search: the splices without a tray, and the current goal."""
        del seconds
        if goal == "unplaced":
            self._out = value
            if value == bound and self._goal != goal:
                return  # settled: another goal is in work
        if goal != self._goal:
            self._goal, self._value, self._bound = goal, None, None
        if value is not None:
            self._value = value if self._value is None else min(self._value, value)
        if bound is not None:
            self._bound = bound if self._bound is None else max(self._bound, bound)

    def step(self, line: str) -> None:
        """Print a step of the trail, with ``-v``."""
        if self._output.verbose and not self._output.quiet:
            self.say(line)

    def say(self, message: str) -> None:
        """Print a line on stderr without disturbing the live line."""
        if self._live is not None:
            self._live.console.print(message, markup=False)
        else:
            self._output.note(message)

    def _line(self) -> Text:
        from rich.text import Text

        width = 80 if self._live is None else self._live.console.width
        lines = [f"{self._seconds()}  {words}" for words in self._doing()]
        line = next((line for line in lines if len(line) <= width), lines[-1])
        return Text(line, overflow="ellipsis", no_wrap=True, style="cyan")

    def _doing(self) -> Iterator[str]:
        """Yield texts for the current state of the solver, the longest first."""
        if self._out is None:
            yield "looking for a first plan   (Ctrl-C stops)"
            return
        from trayopt.rules.words import several

        keeps, out = "   (Ctrl-C keeps the best)", f"{several(self._out, 'splice')} without a tray"
        least = "" if self._bound is None else f", at least {self._bound:,}"
        if self._goal == "unplaced":
            yield f"{out}{least}{keeps}"
        if self._out:
            keeps = f"   (Ctrl-C keeps the best: {out})"
        if self._goal is not None and self._goal != "unplaced" and self._value is not None:
            yield f"{self._goal} {self._value:,}{least}{keeps}"
            yield f"{self._goal} {self._value:,}{keeps}"
        yield f"at work{keeps}"

    def _seconds(self) -> str:
        return f"{time.monotonic() - self._began:7.1f} s"
