"""guide_fill in the model: tubes of the set travel only where a trunk is divided at the port."""

from __future__ import annotations

import pytest

from tests.build import job_of
from tests.case_files import put
from tests.strategies import worked_example
from trayopt import api


@pytest.mark.parametrize(("at", "unplaced"), [(["tray", "port"], 0), (["tray"], 0), (["port"], 48)])
def test_own_tubes_pass_a_guide_that_tubes_of_the_set_would_fill(at: list[str], unplaced: int) -> None:
    """Both trunks have one tube of 6 mm, twice 36 of diameter² a pass, and in two legs twice two tubes of 8 mm: 256."""
    data = worked_example()
    for i in (0, 1):
        put(data, f"trunks.{i}.cable.subunits.0", {"count": 1, "ribbons": 4, "ribbon_fibres": 12, "diameter_mm": 6})
        put(data, f"trunks.{i}.divide_at", at)
    data["tubes"]["tubes"] = [{"bore_mm": 7, "diameter_mm": 8, "least_radius_mm": 60}]
    for guide in data["enclosure"]["track"]["guides"]:
        guide["opening_mm2"] = 240  # half of it takes 152 of diameter²
    data["rules"] = {"reach": "off", "bend_radius": "off"}
    plan = api.solve(job_of(data), explain=False, workers=1).plan
    assert (plan.status, plan.value("unplaced")) == ("optimal", unplaced)
