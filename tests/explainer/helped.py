"""Jobs that the least of one kind of help leads out of, and what is at hand for it."""

from __future__ import annotations

from typing import Any

from tests.build import job_of
from tests.explainer.planted import (
    box,
    cable,
    job,
    many,
    one_port,
    pair,
    pin,
    tied_by_a_tube,
    torn_apart,
    trunk,
    with_guide,
)
from trayopt.domain.hardware import TubeSet
from trayopt.explainer.trying import Shelf

Json = dict[str, Any]


def bigger_trays(fibres: int) -> Shelf:
    """Give a shelf with a tray for so many fibres."""
    tray = job_of(pair()).enclosure.stacks[0].tray
    return Shelf(trays=[tray.model_copy(update={"id": f"tray-{fibres}", "fibres": fibres})])


def deeper_box() -> Shelf:
    """Give a shelf with the box of the jobs, deeper, under another id."""
    found = job_of(pair(enclosure=box(positions=4))).enclosure
    return Shelf(boxes=[found.model_copy(update={"id": "deeper"})])


def stiff_tubes() -> Json:
    """Give a job whose tubes are stiffer than its track bends; a pin asks for them."""
    made = job([trunk("P", divide_at="port"), trunk("Q")], [("P:1-24", "Q:1-24")], pins=[pin("P:1-12", "left", 1)])
    made["tubes"]["tubes"] = [{"bore_mm": 3.8, "diameter_mm": 5, "least_radius_mm": 90}]
    return made


def soft_tubes() -> Shelf:
    """Give a shelf with tubes that bend to less."""
    tube = {"bore_mm": 3.8, "diameter_mm": 5.0, "least_radius_mm": 40.0}
    return Shelf(tubes=[TubeSet.model_validate({"id": "soft", "tubes": (tube,)})])


def twelve_on_eight() -> Json:
    """Give a job of ribbons of 12 on ribbons of 8: as they are, 24 splices take four sleeves, and the tray has three."""
    trunks = [trunk("P", cable("twelve")), trunk("Q", cable("eight", ribbons=3, ribbon_fibres=8))]
    return job(trunks, [("P:1-24", "Q:1-24")], enclosure=box(positions=1, sleeves=3))


HELPED: list[tuple[str, Json, list[tuple[str, str, object]]]] = [
    ("trays", pair(enclosure=box(positions=1, fibres=12)), [("trays", "left", 1)]),
    ("ribbons", twelve_on_eight(), [("ribbons", "Q", 12)]),
    ("seal", pair(enclosure=one_port(seals=many(1))), [("seal_holes", "bl", 2)]),
    ("exposed", job([trunk("P", exposed_mm=2000), trunk("Q")], [("P:1-24", "Q:1-24")]), [("exposed_mm", "P", 3000)]),
    (
        "slack",  # one tube, cut: 2,600 mm to a tray and 1,550 mm capped (tests/cases/sheath_window.yaml)
        job(
            [trunk("P", through=True, slack_mm=1000), trunk("Q")],
            [("P.in:1-24", "Q:1-24")],
            enclosure=one_port(seals=many(3)),
        ),
        [("slack_mm", "P", 4150)],
    ),
    (
        "bench",
        job([trunk("P"), trunk("Q", loops=[2])], [("P:1-24", "Q:1-24")], rules={"reach": {"bench_mm": 2700}}),
        [("bench_mm", "reach", 2350)],
    ),
    (
        "loops",
        job([trunk("P"), trunk("Q", loops=[2])], [("P:1-24", "Q:1-24")], rules={"reach": {"bench_mm": 2700}}),
        [("loops", "P", 2)],
    ),
    ("guide", with_guide(pair(), "n", 60), [("opening_mm2", "n", 160)]),
    (
        "divide at the port",
        job(
            [trunk("P"), trunk("Q")],
            [("P:1-12", "Q:13-24"), ("P:13-24", "Q:1-12")],
            enclosure=box(positions=2, fibres=12),
            rules={"no_empty_below": "off"},
        ),
        [("divide_at", "P", "tray or port")],
    ),
    ("divide at the port for fewer tied trays", tied_by_a_tube(), [("divide_at", "P", "tray or port")]),
    ("divide at the port alone", torn_apart(), [("divide_at", "P", "port")]),
    (
        "larger port",
        pair(enclosure=one_port(bore_mm=20, seals=[{"holes": 2, "least_mm": 5, "most_mm": 18}])),
        [("bore_mm", "bl", 24)],
    ),
    ("larger port and another seal", pair(enclosure=one_port(bore_mm=20, seals=[])), [("bore_mm", "bl", 24)]),
    (
        "second box",
        job(
            [trunk(name) for name in "PQRS"],
            [("P:1-24", "Q:1-24"), ("R:1-24", "S:1-24")],
            enclosure=box(positions=1, fibres=24),
        ),
        [("enclosure", "box-2x2", "R, S")],
    ),
]
"""A name, the job, and what is added to it as (what, subject, amount)."""
