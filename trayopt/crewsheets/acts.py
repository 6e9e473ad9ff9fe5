"""Acts: the work of one step as plain data, by its phase and the things that it concerns."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Phase = Literal[
    "prepare", "service", "identify", "release", "clamp", "strip", "units", "pass", "release_units", "cut", "part", "fit",
    "route", "mark", "take_off", "take_out", "divide", "open", "splice", "lay", "test", "close",
]  # fmt: skip
"""Phases of the work. ``part`` is the division at the port, ``divide`` the division at the trays. For trunks that go through,
``pass`` lays the uncut tubes, and ``cut`` cuts the others."""


@dataclass(frozen=True)
class Act:
    """An act: its trunks by id, trays by index, travellers by name, and the number of its test batch.

    With ``coiled``, the subunits of the trunk that go to no tray are first coiled on the track, or cut back at the port.
    """

    phase: Phase
    trunks: tuple[str, ...] = ()
    trays: tuple[int, ...] = ()
    travellers: tuple[str, ...] = ()
    batch: int | None = None
    coiled: bool = False
