"""Lengths to cut and to strip: how long a leg is cut for its route, and how much jacket comes off its trunk."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Annotated, Any, Protocol

from pydantic import Field

from trayopt.domain.assignment import Way
from trayopt.domain.base import Frozen, ceil_to
from trayopt.domain.cablework import Leg
from trayopt.domain.job import Job

CUT_STEP_MM = 50


Millimetres = Annotated[int, Field(ge=0, le=100_000)]


class Placed(Protocol):
    """Anything with the leg and the route of a placed leg."""

    @property
    def leg(self) -> Leg: ...  # noqa: D102
    @property
    def route_mm(self) -> int: ...  # noqa: D102


class Opened(Protocol):
    """Anything with the length of a window in a sheath."""

    @property
    def length_mm(self) -> int: ...  # noqa: D102


class Lying(Protocol):
    """Anything with the job, the ways, the placed legs and the windows of a plan."""

    @property
    def job(self) -> Job: ...  # noqa: D102
    @property
    def ways(self) -> Mapping[str, Way]: ...  # noqa: D102
    @property
    def legs(self) -> Mapping[str, Sequence[Placed]]: ...  # noqa: D102
    @property
    def by_subunit(self) -> Mapping[tuple[str, int], Sequence[Placed]]: ...  # noqa: D102
    @property
    def window_at(self) -> Mapping[str, Opened]: ...  # noqa: D102


class Lengths(Frozen):
    """The lengths that are added to routes, in mm: the parameters of rule ``exposed``.

    Parameters
    ----------
    resplice_mm
        Length kept in the tray to splice again.
    allowance_mm
        Allowance for the lay, added once and once more for each loop. By default a job takes the difference between a turn at
        the outer edge of the widest guide and a turn in its middle (``Enclosure.outer_lay_mm``).
    least_mm, extra_loop_mm
        Least length to strip with one loop, and the length that each further loop adds.
    """

    resplice_mm: Millimetres = 120
    allowance_mm: Millimetres = 100
    least_mm: Millimetres = 3000
    extra_loop_mm: Millimetres = 1000

    def cut_mm(self, transition_mm: int, route_mm: int, loops: int) -> int:
        """Return the length at which a leg is cut, in mm from the end of the jacket, rounded up to ``CUT_STEP_MM``."""
        return ceil_to(transition_mm + route_mm + self.resplice_mm + self.allowance_mm * (1 + loops), CUT_STEP_MM)

    def strip_mm(self, cuts_mm: list[int], loops: int) -> int:
        """Return the length of jacket to take off a trunk, in mm: the longest cut, but no less than its loops need."""
        return max([*cuts_mm, self.least_mm + self.extra_loop_mm * (loops - 1)])

    def cut_of(self, laid: Lying, leg: Placed) -> int:
        """Return the length at which a placed leg is cut, in mm."""
        trunk = leg.leg.trunk
        return self.cut_mm(laid.job.trunk_by_id[trunk].transition_mm, leg.route_mm, laid.ways[trunk].loops)

    def strip_of(self, laid: Lying, trunk: str) -> int:
        """Return the length of jacket to take off a trunk in the box, in mm; if the trunk goes through, the window's length."""
        window = laid.window_at.get(trunk)
        if window is not None:
            return window.length_mm
        return self.strip_mm([self.cut_of(laid, leg) for leg in laid.legs[trunk]], laid.ways[trunk].loops)


def lengths_of(job: Job) -> Lengths:
    """Return the lengths that a job adds to routes."""
    setting = job.rules.get("exposed")
    given: Mapping[str, Any] = setting.parameters if setting else {}
    return Lengths.model_construct(None, **given)
