"""The clock of a solve: it knows the time limit, the effort and Ctrl-C."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from trayopt.domain.plan import Stopped

if TYPE_CHECKING:
    from ortools.sat.python.cp_model_helper import SatParameters


TOO_LITTLE = 0.01
"""Part of a limit in which nothing is begun any more: presolving alone would go far beyond it."""


class OutOfTime(Exception):  # noqa: N818 - nothing went wrong
    """The clock ran out while a model was made; what was found before stands."""


@dataclass
class Clock:
    """Watches one solve; ``limit_s`` is wall time, None for none.

    A reproducible solve has no wall clock: its ``effort`` is the solver's own deterministic time, which repeats exactly.
    """

    limit_s: float | None = None
    deterministic: bool = False
    started: float = field(default_factory=time.monotonic)
    effort: float = 0.0
    interrupted: bool = False
    most_effort: float | None = None
    """The effort at which the work under way is interrupted, to be continued later; None if it goes on to its end."""
    reserve: Callable[[], float] = field(default=lambda: 0.0)
    """The part of the limit that is kept for work after the search, as long as there is such work."""

    @property
    def seconds(self) -> float:
        """Wall time since the solve began."""
        return time.monotonic() - self.started

    @property
    def left(self) -> float | None:
        """What is left of the limit, in seconds or in deterministic time; None without a limit."""
        if self.limit_s is None:
            return None
        return max(0.0, self.limit_s - self.reserve() - self.spent)

    @property
    def spent(self) -> float:
        """What was spent, in seconds or in deterministic time."""
        return self.effort if self.deterministic else self.seconds

    @property
    def over(self) -> bool:
        """Whether nothing may be started any more."""
        left = self.left
        return (
            self.interrupted
            or self.turn_over
            or (left is not None and self.limit_s is not None and left <= TOO_LITTLE * self.limit_s)
        )

    @property
    def turn_over(self) -> bool:
        """Whether the work under way took all the effort of its turn."""
        return self.most_effort is not None and self.effort >= self.most_effort

    @contextmanager
    def turn(self, effort: float | None) -> Iterator[None]:
        """Limit the effort of some work; None for no limit."""
        before, self.most_effort = self.most_effort, None if effort is None else self.effort + effort
        try:
            yield
        finally:
            self.most_effort = before

    def share(self, part: float) -> float | None:
        """Return a part of the effort that is left of the turn under way; None if no turn is limited."""
        return None if self.most_effort is None else part * max(0.0, self.most_effort - self.effort)

    def limit(self, parameters: SatParameters, effort: float | None = None, slice_s: float | None = None) -> None:
        """Let a run of the solver take what is left, at most this deterministic time, and at most a slice of the limit's kind."""
        limits = [limit for limit in (self.left, slice_s) if limit is not None]
        efforts = [] if effort is None else [effort]
        if self.most_effort is not None:
            efforts.append(self.most_effort - self.effort)
        if self.deterministic:
            efforts += limits
        elif limits:
            parameters.max_time_in_seconds = max(0.01, min(limits))
        if efforts:
            parameters.max_deterministic_time = max(1e-6, min(efforts))

    def why(self) -> Stopped:
        """Say what stopped the solve."""
        return "interrupted" if self.interrupted else "time_limit"
