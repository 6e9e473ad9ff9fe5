"""What a person at a terminal sees while the solver works; elsewhere, with ``-v``, one plain line a goal."""

from __future__ import annotations

import time
from types import TracebackType
from typing import TYPE_CHECKING

from trayopt.cli.output import Output

if TYPE_CHECKING:
    from rich.live import Live
    from rich.text import Text


class Progress:
    """Takes seconds, goal, value and bound from the solver's threads and shows them on stderr.

    On a terminal one line is kept up to date, and disappears with the answer. With ``-v`` every goal leaves a line
    behind when the solver is done with it.
    """

    def __init__(self, output: Output) -> None:
        self._output = output
        self._began = time.monotonic()
        self._goal: str | None = None
        self._value: int | None = None
        self._bound: int | None = None
        self._live: Live | None = None

    def __enter__(self) -> Progress:
        """Begin to show."""
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
        """Show the last goal's line, and leave the terminal as it was."""
        self._done()
        self.close()

    def close(self) -> None:
        """Leave the terminal as it was."""
        if self._live is not None:
            self._live.stop()
            self._live = None

    def __call__(self, seconds: float, goal: str, value: int | None, bound: int | None) -> None:
        """Take what the solver knows of the goal in work."""
        del seconds
        if goal != self._goal:
            self._done()
            self._goal, self._value, self._bound = goal, None, None
        if value is not None:
            self._value = value if self._value is None else min(self._value, value)
        if bound is not None:
            self._bound = bound if self._bound is None else max(self._bound, bound)

    def say(self, message: str) -> None:
        """Print a line on stderr without breaking into the one that is kept up to date."""
        if self._live is not None:
            self._live.console.print(message, markup=False)
        else:
            self._output.note(message)

    def _done(self) -> None:
        if self._goal is None or not self._output.verbose or self._output.quiet:
            return
        self.say(self._words())

    def _words(self) -> str:
        return f"{self._seconds()}  {self._goal:<14}  {_number(self._value):>12}  bound {_number(self._bound):>12}"

    def _line(self) -> Text:
        from rich.text import Text

        if self._goal is None:
            doing = "looking for a first plan   (Ctrl-C stops)"
        else:
            doing = f"{self._goal} {_number(self._value)}, at least {_number(self._bound)}   (Ctrl-C keeps the best)"
        return Text(f"{self._seconds()}  {doing}", overflow="ellipsis", no_wrap=True, style="cyan")

    def _seconds(self) -> str:
        return f"{time.monotonic() - self._began:7.1f} s"


def _number(value: int | None) -> str:
    return "-" if value is None else f"{value:,}"
