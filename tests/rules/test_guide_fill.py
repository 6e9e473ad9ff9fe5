"""guide_fill in the model: tubes of the set travel only where a trunk is divided at the port."""

from __future__ import annotations

import pytest

from tests.build import assignment_of, job_of
from tests.case_files import put
from tests.goals.test_encoded import counted, held
from tests.strategies import worked_example
from trayopt.domain.base import DivideAt
from trayopt.goals.registry import BY_ID
from trayopt.solver.model.posting import Policy, build


@pytest.mark.parametrize("all_placed", [True, False])
@pytest.mark.parametrize(("at", "fits"), [("tray", True), ("port", False)])
def test_own_tubes_pass_a_guide_that_tubes_of_the_set_would_fill(at: DivideAt, fits: bool, all_placed: bool) -> None:
    """Both trunks have one tube of 6 mm, twice 36 of diameter² a pass, and in two legs twice two tubes of 8 mm: 256."""
    data = worked_example()
    for i in (0, 1):
        put(data, f"trunks.{i}.cable.subunits.0", {"count": 1, "ribbons": 4, "ribbon_fibres": 12, "diameter_mm": 6})
    data["tubes"]["tubes"] = [{"bore_mm": 7, "diameter_mm": 8, "least_radius_mm": 60}]
    for guide in data["enclosure"]["track"]["guides"]:
        guide["opening_mm2"] = 240  # half of it takes 152 of diameter²
    data["rules"] = {"reach": "off", "bend_radius": "off"}
    job = job_of(data)
    ways = {"P": ("bl", "clockwise", 1), "Q": ("br", "counterclockwise", 1)}
    legs = {f"{trunk}:{run}": place for trunk in "PQ" for run, place in (("1-24", "left/1"), ("25-48", "left/2"))}
    model = build(job, Policy(), all_placed=all_placed)
    held(model, assignment_of(job, ways, legs, {"left": "top"}, {"P": at, "Q": at}))
    assert (counted(model, BY_ID["legs"]) == 4) is fits
