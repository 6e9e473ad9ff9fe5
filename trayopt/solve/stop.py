"""When to stop: a time limit, a gap, or Ctrl-C. One clock a solve."""

from __future__ import annotations

import time
from dataclasses import dataclass, field

from trayopt.domain.plan import Stopped


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

    @property
    def seconds(self) -> float:
        """Wall time since the solve began."""
        return time.monotonic() - self.started

    @property
    def left(self) -> float | None:
        """What is left of the limit, in seconds or in deterministic time; None without a limit."""
        if self.limit_s is None:
            return None
        return max(0.0, self.limit_s - self.spent)

    @property
    def spent(self) -> float:
        """What was spent, in seconds or in deterministic time."""
        return self.effort if self.deterministic else self.seconds

    @property
    def over(self) -> bool:
        """Whether nothing may be started any more."""
        left = self.left
        return self.interrupted or (left is not None and left <= 0)

    def why(self) -> Stopped:
        """Say what stopped the solve."""
        return "interrupted" if self.interrupted else "time_limit"
