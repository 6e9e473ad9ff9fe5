"""Lengths to cut and to strip: what a leg needs beside its route, and how much jacket a trunk loses by it."""

from __future__ import annotations

from typing import NamedTuple

from trayopt.domain.base import ceil_to
from trayopt.track.laid import Laid, LaidLeg

CUT_STEP_MM = 50


class Lengths(NamedTuple):
    """What is added to routes, in mm.

    Parameters
    ----------
    resplice_mm
        Kept in the tray to splice again.
    allowance_mm
        Allowed once, and once more a loop.
    least_mm, extra_loop_mm
        Least length to strip with one loop, and what each loop more adds to it.
    """

    resplice_mm: int
    allowance_mm: int
    least_mm: int
    extra_loop_mm: int

    def cut_mm(self, transition_mm: int, route_mm: int, loops: int) -> int:
        """Length at which a leg is cut, from the jacket's end, rounded up to ``CUT_STEP_MM``."""
        return ceil_to(transition_mm + route_mm + self.resplice_mm + self.allowance_mm * (1 + loops), CUT_STEP_MM)

    def strip_mm(self, cuts_mm: list[int], loops: int) -> int:
        """Length of jacket to take off a trunk: the greatest cut, and at least what the loops ask for."""
        return max([*cuts_mm, self.least_mm + self.extra_loop_mm * (loops - 1)])

    def cut_of(self, laid: Laid, leg: LaidLeg) -> int:
        """Length at which a placed leg is cut, in mm."""
        trunk = leg.leg.trunk
        return self.cut_mm(laid.job.trunk_by_id[trunk].transition_mm, leg.route_mm, laid.ways[trunk].loops)

    def strip_of(self, laid: Laid, trunk: str) -> int:
        """Length of jacket to take off a trunk in the box, in mm."""
        return self.strip_mm([self.cut_of(laid, leg) for leg in laid.legs[trunk]], laid.ways[trunk].loops)
