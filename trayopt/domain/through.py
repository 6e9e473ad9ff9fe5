"""Trunks that go through the box: opened mid-span, they enter by one port and leave by another.

Once a job is read, such a trunk is two trunks of its list, one toward each side: cable ends that hold the tubes which are cut.
What is not cut passes from one port to the other and belongs to both.
"""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from trayopt.domain.base import Frozen, Id

TOWARD = ("in", "out")
"""Names of the two sides of a trunk that goes through, where the job gives none."""
Slack = Annotated[int, Field(ge=0, le=1_000_000)]


class Through(Frozen):
    """A trunk that goes through, by the ids of its two cable ends; the first one is where it enters.

    ``slack_mm`` is how much of the cable can be drawn into the box, and so the longest window that can be opened in its sheath.
    """

    trunk: Id
    ends: tuple[Id, Id]
    slack_mm: Slack | None = None

    def __str__(self) -> str:
        """Write its id."""
        return self.trunk


class ThroughKeys(Frozen):
    """Keys that a trunk that goes through has in a job file, beside those of every trunk."""

    through: bool = False
    toward: Annotated[tuple[Id, ...], Field(min_length=2, max_length=2)] = TOWARD
    cut: tuple[Annotated[int, Field(ge=1)], ...] = ()
    slack_mm: Slack | None = None


def end_names(trunk: str, toward: tuple[str, ...]) -> tuple[str, ...]:
    """Name the cable ends of a trunk: ``M.in`` and ``M.out``."""
    return tuple(f"{trunk}.{side}" for side in toward)
