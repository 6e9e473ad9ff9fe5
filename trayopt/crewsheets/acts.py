"""What hands do in one step: the phase and what it is about, as plain data."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Phase = Literal[
    "prepare", "service", "identify", "release", "clamp", "strip", "units", "pass", "release_units", "cut", "part", "fit",
    "route", "mark", "take_off", "take_out", "divide", "open", "splice", "lay", "test", "close",
]  # fmt: skip
"""Parts of the work. ``part`` is the division at the port, ``divide`` the one at the trays. Of trunks that go through, ``pass``
lays what is not cut, and ``cut`` cuts the tubes that are."""


@dataclass(frozen=True)
class Act:
    """One act: trunks by id, trays by index, what goes round the track by name, and the number of a test batch.

    ``coiled`` tells that before anything else what of the trunk goes to no tray is coiled on the track.
    """

    phase: Phase
    trunks: tuple[str, ...] = ()
    trays: tuple[int, ...] = ()
    travellers: tuple[str, ...] = ()
    batch: int | None = None
    coiled: bool = False
