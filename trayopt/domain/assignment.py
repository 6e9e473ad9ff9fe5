"""The decisions of a plan: each trunk's way, place of division and ribbon work, each leg's tray place, and each stack's end."""

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
    """The decisions of a plan.

    Parameters
    ----------
    ways
        The way of each trunk; only trunks that are in the box.
    places
        The tray place of each leg; only legs that are placed.
    ends
        The end at which legs enter each stack.
    divide_at
        Where each trunk is divided; a trunk that is not named here is divided at the first place of its own list.
    ribbons
        What is done with the ribbons of each trunk; for a trunk that is not named here, the first work of its own list.
    """

    ways: Mapping[str, Way] = field(default_factory=dict)
    places: Mapping[Leg, Place] = field(default_factory=dict)
    ends: Mapping[str, str] = field(default_factory=dict)
    divide_at: Mapping[str, DivideAt] = field(default_factory=dict)
    ribbons: Mapping[str, RibbonWord] = field(default_factory=dict)
