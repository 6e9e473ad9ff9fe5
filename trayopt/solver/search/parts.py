"""Every part of the search that can be left out by its name: relaxations and tactics."""

from __future__ import annotations

from trayopt.solver.bounds.registry import names

PARTS: tuple[str, ...] = (*names(),)
