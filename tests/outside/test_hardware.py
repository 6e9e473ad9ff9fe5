"""Ribbon stacks, conduits and bends against worked figures."""

from __future__ import annotations

import pytest

from tests.build import assignment_of, job_of
from tests.outside.boxes import trunk
from tests.strategies import worked_example
from trayopt.domain.hardware import Tube, TubeSet, flat_bore_mm
from trayopt.rules.base import Breach
from trayopt.rules.registry import BY_ID
from trayopt.track.laid import Laid

RIBBON_MM = (3.22, 0.36)
"""Greatest width and height of a ribbon of 12, as in models/README.md: common practice, no source."""


@pytest.mark.parametrize(
    ("ribbons", "diagonal"),
    # 12 ribbons 4.32 x 3.22 mm, 18 ribbons 6.48 x 3.22, 6 ribbons 2.16 x 3.22 (calculated from the greatest sizes)
    [(6, 3.877), (12, 5.388), (18, 7.236)],
)
def test_ribbon_stacks(ribbons: int, diagonal: float) -> None:
    needed = flat_bore_mm(ribbons, RIBBON_MM)
    assert needed == pytest.approx(diagonal, abs=5e-4)
    fits = TubeSet(id="t", tubes=(Tube(bore_mm=diagonal + 0.001, diameter_mm=9),))
    tight = TubeSet(id="t", tubes=(Tube(bore_mm=diagonal - 0.001, diameter_mm=9),))
    assert fits.for_bore(needed) is not None
    assert tight.for_bore(needed) is None


def overfull(cables: int, outer_mm: float, bore_mm: float) -> list[Breach]:
    """Draw so many trunks of one diameter into one port, and give what rule port_fill finds."""
    data = worked_example()
    group = [{"count": 1, "ribbons": 1, "ribbon_fibres": 12, "diameter_mm": 3}]
    names = [f"T{i}" for i in range(cables)]
    data["trunks"] = [trunk(name, group, outer_mm) for name in (*names, "other")]
    data["enclosure"]["ports"][0]["bore_mm"] = bore_mm
    data["joins"] = [{"a": f"{name}:1", "b": f"other:{i + 1}"} for i, name in enumerate(names)]
    job = job_of(data)
    ways = {name: ("bl", "clockwise", 1) for name in names}
    legs = {f"{name}:1-12": "left/1" for name in names}
    return list(BY_ID["port_fill"].check(job, Laid(job, assignment_of(job, ways, legs))))


@pytest.mark.parametrize(
    ("cables", "outer_mm", "bore_mm", "percent", "kept"),
    # NFPA 70 (2014), "National Electrical Code", chapter 9, table 1: 53 % for one cable, 31 % for two, 40 % for more; rows
    # calculated as n (d / D)^2
    [
        (1, 25, 50, 25.00, True),
        (2, 25, 50, 50.00, False),
        (1, 32, 50, 40.96, True),
        (1, 25, 32, 61.04, False),
        (3, 16, 50, 30.72, True),
        (3, 18.3, 50, 40.19, False),
        (6, 12, 50, 34.56, True),
        (7, 12, 50, 40.32, False),
    ],
)
def test_conduits(cables: int, outer_mm: float, bore_mm: float, percent: float, kept: bool) -> None:
    found = overfull(cables, outer_mm, bore_mm)
    assert (not found) == kept
    if found:
        assert f"{percent:g} %" in found[0].because


@pytest.mark.parametrize(
    ("count", "ratio"),
    # greatest outer diameter to bore by the same table: root of (fill / n) (calculated)
    [(1, 0.7280), (2, 0.3937), (3, 0.3651), (4, 0.3162), (6, 0.2582), (12, 0.1826)],
)
def test_the_greatest_cable_of_a_conduit(count: int, ratio: float) -> None:
    assert not overfull(count, 100 * (ratio - 1e-4), 100)
    assert overfull(count, 100 * (ratio + 1e-4), 100)


@pytest.mark.parametrize(("tubes", "kept"), [(183, True), (184, False)])
def test_the_most_tubes_of_a_guide(tubes: int, kept: bool) -> None:
    # NFPA 70 (2005), "National Electrical Code", 392.9(B), as quoted: signal cables fill at most 50 % of a ladder tray, so
    # 183 cables of 1/2 inch fit into 18 x 4 inches (36 / 0.19635 = 183.34, calculated)
    data = worked_example()
    for guide in data["enclosure"]["track"]["guides"]:
        guide["opening_mm2"] = 18 * 25.4 * 4 * 25.4 if guide["id"] == "se" else 100_000
    group = {"ribbons": 1, "ribbon_fibres": 2}
    many, one = [group | {"count": tubes, "diameter_mm": 12.7}], [group | {"count": 1, "diameter_mm": 0.1}]
    data["trunks"] = [trunk("N", many, divide_at="tray"), trunk("S", one, divide_at="tray")]
    data["joins"] = [{"a": "N:1-2", "b": "S:1-2"}]
    job = job_of(data)
    ways = {"N": ("bl", "clockwise", 1), "S": ("br", "counterclockwise", 1)}
    laid = Laid(job, assignment_of(job, ways, {"N:1-2": "left/1", "S:1-2": "left/1"}))
    assert sum(times for item, times in laid.passes("se") if item.diameter_mm == 12.7) == tubes
    assert [found.subject for found in BY_ID["guide_fill"].check(job, laid)] == ([] if kept else ["se"])


def too_tight(track_mm: float, **tube: float) -> list[Breach]:
    """Lay a leg in its subunit's own tube round a track of some radius, and give what rule bend_radius finds."""
    data = worked_example()
    data["enclosure"]["track"]["min_radius_mm"] = track_mm
    group = [{"count": 1, "ribbons": 1, "ribbon_fibres": 12} | tube]
    data["trunks"] = [trunk(name, group, divide_at="tray") for name in ("N", "S")]
    data["joins"] = [{"a": "N:1-12", "b": "S:1-12"}]
    job = job_of(data)
    ways = {"N": ("bl", "clockwise", 1), "S": ("br", "counterclockwise", 1)}
    laid = Laid(job, assignment_of(job, ways, {"N:1-12": "left/1", "S:1-12": "left/1"}))
    return list(BY_ID["bend_radius"].check(job, laid))


@pytest.mark.parametrize(
    ("diameter_mm", "radius_mm"),
    # ten times the diameter: ICEA S-87-640 (2000), "Optical Fiber Outside Plant Communications Cable; Technical
    # Requirements", scope, standard minimum bend diameters: 20 x the outer diameter where a cable is
    # installed; taken for a tube too
    [(12.5, 125), (8, 80), (5, 50)],
)
def test_a_tube_at_rest(diameter_mm: float, radius_mm: float) -> None:
    assert not too_tight(radius_mm, diameter_mm=diameter_mm)
    assert {found.subject for found in too_tight(radius_mm - 0.1, diameter_mm=diameter_mm)} == {"N/1", "S/1"}


@pytest.mark.parametrize(
    ("diameter_mm", "radius_mm"),
    # a cable may ask for 15 times, 25 mm for 375 and 32 mm for 480: Federal Standard 1037C (1996), "Glossary of
    # Telecommunication Terms", entry "minimum bend radius", note 3 (the multiples calculated)
    [(25, 375), (32, 480)],
)
def test_a_maker_may_ask_for_more(diameter_mm: float, radius_mm: float) -> None:
    asked = {"diameter_mm": diameter_mm, "least_radius_mm": radius_mm}
    assert not too_tight(radius_mm, **asked)
    assert too_tight(radius_mm - 0.1, **asked)
    assert not too_tight(radius_mm - 0.1, diameter_mm=diameter_mm)


@pytest.mark.parametrize(
    ("fibre", "radius_mm"),
    # least radii at which macrobending loss is given: ITU-T G.657 (11/2016), "Characteristics of a bending-loss insensitive
    # single-mode optical fibre and cable", tables of clause 8, A1 10, A2 and B2 7.5, B3 5 mm; ITU-T G.652 (11/2016),
    # "Characteristics of a single-mode optical fibre and cable", table 2, D 30 mm
    [("G.652.D", 30), ("G.657.A1", 10), ("G.657.A2", 7.5), ("G.657.B2", 7.5), ("G.657.B3", 5)],
)
def test_fibre_classes(fibre: str, radius_mm: float) -> None:
    found = {}
    for tray_mm in (radius_mm, radius_mm - 0.1):
        data = worked_example()
        for stack in data["enclosure"]["stacks"]:
            stack["tray"]["min_radius_mm"] = tray_mm
        for item in data["trunks"]:
            item["cable"]["fibre"] = fibre
        job = job_of(data)
        ways = {"P": ("bl", "clockwise", 1), "Q": ("br", "counterclockwise", 1)}
        legs = {"P:1-24": "left/1", "Q:1-24": "left/1"}
        laid = Laid(job, assignment_of(job, ways, legs))
        found[tray_mm] = sorted(item.subject for item in BY_ID["fibre_bend"].check(job, laid))
    assert found == {radius_mm: [], radius_mm - 0.1: ["P/1", "Q/1"]}
