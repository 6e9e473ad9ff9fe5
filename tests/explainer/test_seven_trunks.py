"""Seven trunks in a box whose seals are too small for them: the cheap way out is found in the default time."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from tests.build import frozen
from trayopt.api import explain, load_job
from trayopt.formats.yaml_in import read_yaml

BOX: dict[str, Any] = read_yaml(Path("models/enclosures/wall-3x8.yaml")).data
ONE = {"holes": 1, "least_mm": 10, "most_mm": 34}
TWO = {"holes": 2, "least_mm": 8, "most_mm": 20}


@pytest.mark.slow
@pytest.mark.parametrize(
    ("seal", "cables", "said"),
    [(TWO, 1, "F fits none of them"), (ONE, 4, "no more than 1 of them at a time")],
)
def test_a_seal_conflict_of_seven_trunks_finds_its_cheap_way_out(seal: Any, cables: int, said: str) -> None:
    """A feeder of 24 mm and six branches of 19 mm at four ports: two a port leave the feeder out, one a port three branches."""
    ports = [{**port, "seals": [seal]} for port in BOX["ports"]]
    names = [f"B{i}" for i in range(1, 7)]
    job = load_job(
        frozen(
            {
                "schema": "trayopt/job/2",
                "title": "seven trunks",
                "enclosure": {**BOX, "ports": ports},
                "trunks": [
                    {"id": "F", "cable": "ribbon-576-6x96"},
                    *({"id": name, "cable": "ribbon-288-6x48"} for name in names),
                ],
                "joins": [
                    {"a": f"F:{96 * i + 1}-{96 * i + 48}", "b": f"{name}:1-48", "name": f"to-{name}"}
                    for i, name in enumerate(names)
                ],
            }
        )
    )
    made = explain(job)
    assert {(group.rule, group.subject) for group in made.conflicts[0].groups} == {
        ("port_seal", port["id"]) for port in ports
    }
    assert made.conflicts[0].minimal
    assert said in made.summary
    cheapest = made.ways_out[0]
    assert [(item.what, item.amount) for item in cheapest.add] == [("seal_holes", cables)]
    assert cheapest.least
    assert not cheapest.give_up
    assert {goal.goal: goal.value for goal in cheapest.goals}["unplaced"] == 0
