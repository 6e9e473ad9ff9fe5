"""The report of a check: broken rules, splices without a tray, and wrong figures."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

from trayopt.domain.finding import Finding
from trayopt.domain.plan import Plan


@dataclass(frozen=True)
class Difference:
    """A wrong figure of a plan; None stands for a missing figure.

    ``path`` names rows by what they are about: ``legs[N1/3.2].cut_mm``, ``trays[left/3].splices[1].a``.
    """

    path: str
    claimed: Any
    right: Any

    def __str__(self) -> str:
        """Write as in answers."""
        return f"{self.path}: the plan says {figure_text(self.claimed)}, right is {figure_text(self.right)}"


@dataclass(frozen=True)
class Report:
    """The answer of a check.

    Parameters
    ----------
    findings
        Broken rules at every level, in the order of the rules.
    unplaced
        Number of splices without a tray.
    figures
        Wrong figures, by the specification; none for a plan that came without figures.
    plan
        The plan with every figure as it should be.
    """

    findings: tuple[Finding, ...]
    unplaced: int
    figures: tuple[Difference, ...]
    plan: Plan

    @property
    def passed(self) -> bool:
        """Whether every splice has a tray, no must is broken and every figure is right."""
        return not self.unplaced and not self.figures and all(found.level == "prefer" for found in self.findings)

    def at(self, *levels: str) -> tuple[Finding, ...]:
        """Return the findings at these levels."""
        return tuple(found for found in self.findings if found.level in levels)

    def as_dict(self) -> dict[str, Any]:
        """Return the report as plain data for ``--format json``."""
        return {
            "schema": "trayopt/report/1",
            "passed": self.passed,
            "unplaced": self.unplaced,
            "findings": [asdict(found) for found in self.findings],
            "figures": [asdict(difference) for difference in self.figures],
            "plan": self.plan.plain(),
        }


def figure_text(value: Any) -> str:
    """Write a figure of a plan document for a reader: a row as its keys and values, a list as its length."""
    if value is None:
        return "nothing"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, dict):
        parts = [f"{key} {_held(part)}" for key, part in value.items() if part is not None]
        return ", ".join(parts) or "an empty row"
    if isinstance(value, list | tuple):
        return ", ".join(map(figure_text, value)) or "nothing"
    return str(value)


def _held(part: Any) -> str:
    if isinstance(part, list | tuple) and any(isinstance(item, dict) for item in part):
        return f"({len(part)} rows)" if len(part) > 1 else "(1 row)"
    return figure_text(part)
