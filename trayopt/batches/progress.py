"""Progress of a run: finished jobs, rate, time left, last failures. It is live on a terminal, otherwise a line each minute."""

from __future__ import annotations

import time
from collections import Counter, deque
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from trayopt.batches.outcomes import OUTCOMES, WITHOUT_ANSWER
from trayopt.batches.results import Line

if TYPE_CHECKING:
    from rich.live import Live

EVERY_S = 60.0
FAILURES = 3
"""Number of last failures that stay on the screen."""
MOST_TOLD = 50
"""Greatest number of failures printed each minute; the end of the run prints them all."""


class Tally:
    """Counts finished jobs and works out rate and time left; jobs of earlier runs do not count for the rate."""

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self.total = 0
        self.before = 0
        self.counts: Counter[str] = Counter()
        self.failures: deque[str] = deque(maxlen=FAILURES)
        self._clock = clock
        self._started = clock()

    def begin(self, total: int) -> None:
        """Take over the total number of jobs."""
        self.total = total
        self._started = self._clock()

    def ended(self, line: Line, *, before: bool) -> None:
        """Count a finished job."""
        self.counts[line["outcome"]] += 1
        self.before += before
        if line["outcome"] in WITHOUT_ANSWER and not before:
            self.fail(f"{line['name']}: {line.get('why', '')}")

    def fail(self, words: str) -> None:
        """Keep the words of a failure among the last failures."""
        self.failures.append(words)

    def tick(self) -> None:
        """Do nothing, since there is no display."""

    @property
    def done(self) -> int:
        """Number of jobs that have a line."""
        return sum(self.counts.values())

    @property
    def rate(self) -> float:
        """Jobs per second in this run."""
        seconds = self._clock() - self._started
        return (self.done - self.before) / seconds if seconds > 0 else 0.0

    def words(self) -> str:
        """Write the state of the run in one line."""
        rate = self.rate
        share = 100 * self.done // self.total if self.total else 100
        left = f", {_span((self.total - self.done) / rate)} left" if rate and self.done < self.total else ""
        outcomes = ", ".join(f"{self.counts[key]:,} {words}" for key, words in OUTCOMES.items() if self.counts[key])
        speed = f"{rate:.1f} a second" if rate >= 1 else f"{60 * rate:.1f} a minute"
        return f"{self.done:,} of {self.total:,} jobs ({share} %), {speed}{left}: {outcomes or 'none yet'}"


class Lines(Tally):
    """Prints a line each minute, followed by the last failures."""

    def __init__(self, write: Callable[[str], None], clock: Callable[[], float] = time.monotonic) -> None:
        super().__init__(clock)
        self._write = write
        self._told = clock()
        self._untold: list[str] = []
        self._more = 0

    def fail(self, words: str) -> None:
        """Keep a failure until the next line is written."""
        if len(self._untold) < MOST_TOLD:
            self._untold.append(words)
        else:
            self._more += 1

    def tick(self) -> None:
        """Print the line, if a minute is over."""
        if self._clock() - self._told >= EVERY_S:
            self._told = self._clock()
            self._write(self.words())
            for words in self._untold:
                self._write(f"  failed: {words}")
            if self._more:
                self._write(f"  and {self._more:,} more failed")
            self._untold, self._more = [], 0


class Screen(Tally):
    """Shows the state of the run on the last lines of a terminal."""

    def __init__(self, console: Any) -> None:
        super().__init__()
        self._console = console
        self._live: Live | None = None

    def __enter__(self) -> Screen:
        from rich.live import Live

        self._live = Live(console=self._console, refresh_per_second=4, transient=True, get_renderable=self._shown)
        self._live.start()
        return self

    def __exit__(self, *_: object) -> None:
        if self._live is not None:
            self._live.stop()

    def _shown(self) -> Any:
        from rich.align import Align
        from rich.console import Group
        from rich.progress_bar import ProgressBar
        from rich.text import Text

        bar = ProgressBar(total=max(self.total, 1), completed=self.done, width=60)
        return Group(Align.left(bar), Text(self.words()), *(Text(f"failed: {failure}") for failure in self.failures))


def _span(seconds: float) -> str:
    """Write a time in seconds, minutes or hours."""
    if seconds < 90:
        return f"{seconds:.0f} s"
    minutes = round(seconds / 60)
    return f"{minutes} min" if minutes < 90 else f"{minutes // 60} h {minutes % 60:02} min"
