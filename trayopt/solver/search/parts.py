"""Every part of the search that can be left out by its name: relaxations and tactics."""

from __future__ import annotations

from trayopt.solver.bounds.registry import names
from trayopt.solver.search.tactics import TACTICS

PARTS: tuple[str, ...] = (*names(), *(tactic.name for tactic in TACTICS))
