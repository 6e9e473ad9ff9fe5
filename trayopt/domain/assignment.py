"""The decisions of a plan and nothing else: of trunks ways, divisions and ribbons, tray places of legs, ends of stacks."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import NamedTuple

from trayopt.domain.base import DivideAt, RibbonWord, Travel
from trayopt.domain.cablework import Leg
from trayopt.domain.hardware import Place


class Way(NamedTuple):
    """How a trunk runs: the port it enters, the way round it travels, its slack loops."""

    port: str
    travel: Travel
    loops: int


@dataclass(frozen=True)
class Assignment:
    """Ways by trunk (only trunks in the box), places by leg (only placed legs), the end in use by stack.

    ``divide_at`` tells by trunk where it is divided, ``ribbons`` what is done with its ribbons; for a trunk that one does not
    name, the first of its own list holds.
    """

    ways: Mapping[str, Way] = field(default_factory=dict)
    places: Mapping[Leg, Place] = field(default_factory=dict)
    ends: Mapping[str, str] = field(default_factory=dict)
    divide_at: Mapping[str, DivideAt] = field(default_factory=dict)
    ribbons: Mapping[str, RibbonWord] = field(default_factory=dict)
