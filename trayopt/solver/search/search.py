"""The search on a job, from the first plan to the last proof: the tactics in their order, until the incumbent is proven."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from trayopt.domain.plan import Stopped
from trayopt.solver.heuristics.session import Session
from trayopt.solver.model.clock import OutOfTime
from trayopt.solver.model.incumbent import State
from trayopt.solver.search.lexicographic import Descent
from trayopt.solver.search.tactics import TACTICS
from trayopt.solver.search.work import Work


class Search:
    """One search on one job; takes what ``Session`` takes.

    ``enough`` is asked before each tactic whether what is known so far will do for whoever asks.
    """

    def __init__(self, *args: Any, enough: Callable[[State], bool] = lambda _: False, **kwargs: Any) -> None:
        self.enough = enough
        self.session = Session(*args, **kwargs)
        self.descent = Descent(self.session)
        self._work = Work(self.session, self.descent, Search)
        self._at = 0
        """The tactic that is under way."""

    @property
    def state(self) -> State:
        """The incumbent and the bounds."""
        return self.session.state

    @property
    def used(self) -> set[str]:
        """Relaxations and tactics that the search came to."""
        return self.session.used

    @property
    def empty(self) -> bool:
        """Whether it is proven that the job has no plan at all: only built pins can bring that about."""
        return self.session.empty

    def solve(self) -> tuple[State, Stopped]:
        """Search until everything is proven or the clock stops it; where its turn has ended, it is gone on with next time.

        The tactic that was under way then is begun again, with all that is known by now.
        """
        work = self._work
        work.done = False
        try:
            for at, tactic in enumerate(TACTICS[self._at :], self._at):
                self._at = at
                if self.enough(self.state):
                    break
                if tactic.applies(work) and self.session.on(tactic.name):
                    tactic.run(work)
                if self.session.clock.turn_over:
                    break
        except KeyboardInterrupt:  # between two runs of the solver, while a model is built
            self.session.clock.interrupted = True
        except OutOfTime:
            pass
        finally:
            self.descent.drop_ahead()
        state = self.state
        stopped: Stopped = "proven" if state.proven else "gap" if state.by_gap else self.session.clock.why()
        return state, stopped
