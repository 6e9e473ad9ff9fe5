"""The measured values of a box, and the sizes that are usual where nothing was measured."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal, NamedTuple

from trayopt.domain.hardware import (
    Tray,
)
from trayopt.errors import InputError

Side = Literal["bottom", "top", "left", "right"]
BASE_MM = 15
DOOR_MM = 30
OVER_MM = 20
RADII_MM = (38, 80)
"""Least and greatest radius of the track, in mm: 80 is ten times a tube of 8 mm.

No tube is bent below 38 (7 CFR 1755.200 (1995), (e)(4)(iv)).
"""
SEALS: tuple[tuple[int, float, float], ...] = ((1, 0.2, 0.64), (2, 0.16, 0.36), (4, 0.12, 0.24))
"""Seals: the number of holes, and the least and greatest cable diameter as parts of the bore (typical, by judgement)."""


class Others(NamedTuple):
    """Trays of another kind: their first and last position, the kind as the answer named it, and the tray."""

    positions: tuple[int, int]
    named: str
    tray: Tray


@dataclass(frozen=True)
class Measured:
    """The measured values of a box."""

    name: str
    size: tuple[float, float, float]
    stacks: int
    trays: int
    tray: Tray
    named: str
    mixed: Sequence[Others]
    ring: int
    guide: tuple[float, float] | None
    bores: Mapping[Side, Sequence[float]]

    @property
    def column(self) -> list[Tray]:
        """The tray at each position of a stack, from the back."""
        kinds = {p: other.tray for other in self.mixed for p in range(other.positions[0], other.positions[1] + 1)}
        return [kinds.get(position, self.tray) for position in range(1, self.trays + 1)]

    def refused(self, message: str, found: str, hint: str) -> InputError:
        """Return the error that says why there can be no such box."""
        return InputError.one(message, source=self.name, found=found, hint=hint)
