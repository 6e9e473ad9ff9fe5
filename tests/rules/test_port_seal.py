"""port_seal and the bore: cables that pass it two by two may still not pass it all together."""

from __future__ import annotations

from typing import Any

import pytest

from tests.build import assignment_of, job_of
from tests.strategies import worked_example
from trayopt import api
from trayopt.domain.hardware import Port
from trayopt.rules.registry import BY_ID
from trayopt.track.laid import Laid


def port(bore_mm: float, **seal: Any) -> Port:
    seals = ({"holes": 9, "least_mm": 1, "most_mm": bore_mm, **seal},)
    return Port.model_validate({"id": "p", "x_mm": 0, "y_mm": 0, "guide": "g", "bore_mm": bore_mm, "seals": seals})


@pytest.mark.parametrize(
    ("diameters", "passes"),
    [
        ([20.0], True), ([20.1], False), ([10.0, 10.0], True), ([10.0, 10.1], False), ([12.0, 8.0, 2.0], True),
        # 4 × 9² = 324, 5 × 9² = 405 > 20² = 400; 4 × 10² = 400 is the limit (hand-worked).
        ([9.0] * 4, True), ([9.0] * 5, False), ([10.0] * 4, True), ([10.0] * 5, False),
    ],
)  # fmt: skip
def test_what_passes_a_bore_of_20_mm(diameters: list[float], passes: bool) -> None:
    assert port(20).passes(diameters) is passes
    assert (port(20).seal_for(diameters) is not None) is passes


@pytest.mark.parametrize(("bore_mm", "unplaced"), [(20.2, 0), (20.0, 12), (17.0, 48)])
def test_the_model_counts_squares_as_the_check_does(bore_mm: float, unplaced: int) -> None:
    """Five trunks of 9 mm, two of them 18 mm side by side: of 20 mm the bore takes four, of 17 mm one."""
    data = worked_example()
    thin = {**data["trunks"][1]["cable"], "diameter_mm": 9}
    thin["subunits"] = [{"count": 1, "ribbons": 1, "ribbon_fibres": 12, "diameter_mm": 5}]
    thick = {
        **data["trunks"][0]["cable"],
        "subunits": [{"count": 5, "ribbons": 1, "ribbon_fibres": 12, "diameter_mm": 5}],
    }
    data["trunks"] = [
        {"id": "B", "cable": thick, "ports": ["br"], "loops": [1], "divide_at": "port"},
        *({"id": f"A{i}", "cable": thin, "ports": ["bl"], "loops": [1]} for i in range(1, 6)),
    ]
    data["joins"] = [{"a": f"B:{12 * i + 1}-{12 * i + 12}", "b": f"A{i + 1}:1-12"} for i in range(5)]
    data["enclosure"]["ports"][0] |= {"bore_mm": bore_mm, "seals": [{"holes": 5, "least_mm": 5, "most_mm": 16}]}
    data["rules"] = {"guide_fill": "off", "reach": "off"}
    result = api.solve(job_of(data), explain=False)
    assert result.plan.value("unplaced") == unplaced
    assert result.plan.status == "optimal"


@pytest.mark.parametrize(("bore_mm", "unplaced"), [(21, 0), (20.9, 48)])
def test_the_model_keeps_two_trunks_apart_that_are_too_wide_together(bore_mm: float, unplaced: int) -> None:
    """12 mm and 9 mm are 21 mm side by side, though their squares alone would pass 15 mm."""
    data = worked_example()
    for i, diameter_mm in enumerate((12, 9)):
        data["trunks"][i]["cable"]["diameter_mm"] = diameter_mm
        data["trunks"][i]["ports"] = ["bl"]
    data["enclosure"]["ports"][0] |= {"bore_mm": bore_mm, "seals": [{"holes": 2, "least_mm": 5, "most_mm": 16}]}
    data["rules"] = {"reach": "off"}
    result = api.solve(job_of(data), explain=False)
    assert (result.plan.status, result.plan.value("unplaced")) == ("optimal", unplaced)


@pytest.mark.parametrize(("bore_mm", "fit"), [(26, True), (25.9, False)])
def test_no_seal_is_advised_where_the_bore_is_too_narrow(bore_mm: float, fit: bool) -> None:
    """P of 14 mm and Q of 12 mm come in at one port whose seal has one hole."""
    data = worked_example()
    data["enclosure"]["ports"][0]["bore_mm"] = bore_mm
    job = job_of(data)
    ways = {"P": ("bl", "clockwise", 1), "Q": ("bl", "counterclockwise", 1)}
    laid = Laid(job, assignment_of(job, ways, {"P:1-24": "left/1", "Q:1-24": "left/1"}))
    (breach,) = BY_ID["port_seal"].check(job, laid)
    said = BY_ID["port_seal"].advise(job, laid, breach.subject)
    assert "bring one of P and Q in" in said
    assert ("fit a seal to bl" in said) is fit
