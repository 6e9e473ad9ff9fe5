"""Trunks that go through the box: they are opened mid-span, enter by one port and leave by another.

A job that was read lists such a trunk as two trunks, one toward each side. Each of them is a cable end that holds the cut tubes.
Uncut tubes pass from one port to the other and belong to both ends.
"""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from trayopt.domain.base import Frozen, Id

TOWARD = ("in", "out")
"""Names of the two sides of a trunk that goes through, where the job gives none."""
Slack = Annotated[int, Field(ge=0, le=1_000_000)]


class Through(Frozen):
    """A trunk that goes through the box, with the ids of its two cable ends; the trunk enters at the first end.

    ``slack_mm`` is the length of cable that can be drawn into the box, which limits the window in the sheath.
    """

    trunk: Id
    ends: tuple[Id, Id]
    slack_mm: Slack | None = None

    def __str__(self) -> str:
        """Write the id of the trunk."""
        return self.trunk


class ThroughKeys(Frozen):
    """Further keys, in a job file, of a trunk that goes through the box."""

    through: bool = False
    toward: Annotated[tuple[Id, ...], Field(min_length=2, max_length=2)] = TOWARD
    cut: tuple[Annotated[int, Field(ge=1)], ...] = ()
    slack_mm: Slack | None = None


def end_names(trunk: str, toward: tuple[str, ...]) -> tuple[str, ...]:
    """Name the cable ends of a trunk: ``M.in`` and ``M.out``."""
    return tuple(f"{trunk}.{side}" for side in toward)
