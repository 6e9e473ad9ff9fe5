"""The paces of a crew, in minutes for one person, and the cost above which a planner sees the price of a preference."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from trayopt.domain.base import Frozen

Minutes = Annotated[float, Field(ge=0, le=100_000, allow_inf_nan=False)]
DEAR_MIN = 120.0
"""The price of a preference is reported if keeping it costs more crew minutes than this: common practice, no source."""


class Labour(Frozen):
    """Paces in minutes for one person. All are estimates: the first two are common practice, the others judgement."""

    ribbon_splice_min: Minutes = 8
    single_splice_min: Minutes = 2
    split_min_per_cut: Minutes = 1
    ribbonise_min_per_ribbon: Minutes = 6
    separate_min_per_ribbon: Minutes = 4
    prepare_min: Minutes = 60
    clamp_min_per_trunk: Minutes = 20
    strip_min_per_trunk: Minutes = 20
    strip_min_per_metre: Minutes = 6
    identify_min_per_subunit: Minutes = 3
    route_min_per_tube_and_turn: Minutes = 1.5
    cut_back_min_per_tube: Minutes = 2
    fit_min_per_tray: Minutes = 2
    mark_min_per_leg: Minutes = 2
    take_off_min_per_tube: Minutes = 1
    take_out_min_per_tray: Minutes = 1
    divide_min_per_leg: Minutes = 4
    lay_min_per_tray: Minutes = 6
    test_min_per_fibre: Minutes = 1
    close_min: Minutes = 45
    two_people_factor: Annotated[float, Field(gt=0, le=1, allow_inf_nan=False)] = 0.6
    """Share of one person's time that two people need."""
