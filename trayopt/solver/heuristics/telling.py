"""The progress of a search, told while it runs."""

from __future__ import annotations

from collections.abc import Callable

from trayopt.domain.plan import GoalName
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.incumbent import State

Progress = Callable[[float, GoalName, int | None, int | None], None]
"""Is called with the seconds since the start, a goal, its value and its bound."""


class Telling:
    """Tells the progress of a search: the splices without a tray, and the first goal that is not proven.

    Parameters
    ----------
    state
        The best plan and the bounds of the search.
    clock
        The clock of the search.
    progress
        The function that is told; None if nobody listens.
    """

    def __init__(self, state: State, clock: Clock, progress: Progress | None) -> None:
        self.state = state
        self.clock = clock
        self.progress = progress
        self._out_told: tuple[int, int | None] | None = None
        """The number of splices without a tray, and its bound, as they were told last."""

    @property
    def wanted(self) -> bool:
        """Whether somebody listens."""
        return self.progress is not None

    def __call__(self, goal: GoalName | None = None, value: int | None = None, bound: int | None = None) -> None:
        """Tell what is known; ``value`` and ``bound`` are what a running search of the solver knows of ``goal``."""
        state = self.state
        if self.progress is None or state.best is None:
            return
        vector, bounds = dict(zip(state.order, state.vector, strict=True)), state.bounds
        out = (vector["unplaced"], bounds.get("unplaced"))
        if out != self._out_told:
            self._out_told = out
            self.progress(self.clock.seconds, "unplaced", *out)
        first = next((name for name in state.order if bounds.get(name) != vector[name]), None)
        if first is None or first == "unplaced":
            return
        values = [vector[first], *([value] if goal == first and value is not None else [])]
        known = [found for found in (bounds.get(first), bound if goal == first else None) if found is not None]
        self.progress(self.clock.seconds, first, min(values), max(known, default=None))
