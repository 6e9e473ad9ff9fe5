"""Trunks that go through, as job files write them and as jobs hold them."""

from __future__ import annotations

import copy
from pathlib import Path
from typing import Any

import pytest

from tests.strategies import worked_example
from trayopt import load_job
from trayopt.errors import InputError
from trayopt.library.job_out import as_file

STANDARD = Path(__file__).parents[2] / "models" / "standard"
RING = STANDARD / "576-through-ring-cut-wall-2x10.yaml"


def gone(**keys: Any) -> dict[str, Any]:
    """Give the worked example with P going through, in at bl and out at br, and its first subunit spliced to Q."""
    data = worked_example()
    data["trunks"][0] |= {"through": True, "ports": ["bl", "br"]} | keys
    data["enclosure"]["ports"][1]["seals"] = [{"holes": 2, "least_mm": 8, "most_mm": 16}]
    data["joins"] = [{"a": "P.in:1-24", "b": "Q:1-24"}]
    return data


def test_an_entry_is_read_as_two_ends() -> None:
    job = load_job(gone(slack_mm=4200))
    assert [trunk.id for trunk in job.trunks] == ["P.in", "P.out", "Q"]
    assert [trunk.ports for trunk in job.trunks[:2]] == [("bl",), ("br",)]
    assert [trunk.uncut for trunk in job.trunks] == [(2,), (2,), ()]
    assert [(item.trunk, item.ends, item.slack_mm) for item in job.through] == [("P", ("P.in", "P.out"), 4200)]
    assert [unit.name for unit in job.trunks[1].subunits] == ["P.out/1"]
    assert [unit.name for unit in job.trunks[1].passing] == ["P.out/2"]
    assert job.trunks[0].subunit_of(30).number == 2


def test_what_is_said_of_each_side() -> None:
    keys = {
        "travel": ["clockwise", "either"],
        "loops": [[1], [1, 2]],
        "divide_at": [["tray"], ["tray", "port"]],
        "cut": [2],
    }
    one, other = load_job(
        gone(**keys, toward=["near", "far"]) | {"joins": [{"a": "P.near:1-24", "b": "Q:1-24"}]}
    ).trunks[:2]
    assert (one.id, one.travel, one.loops, one.divide_at, one.uncut) == ("P.near", "clockwise", (1,), ("tray",), ())
    assert (other.id, other.travel, other.loops, other.divide_at) == ("P.far", "either", (1, 2), ("tray", "port"))


def test_a_job_is_the_same_however_it_is_written() -> None:
    """What is said by side, the job as it is resolved, and its file with everything inline."""
    plain = load_job(gone())
    sides = {
        "travel": ["clockwise", "clockwise"],
        "loops": [[1], [1]],
        "transition_mm": [0, 0],
        "ports": [["bl"], ["br"]],
    }
    assert load_job(gone(**sides)).digest == load_job(gone(travel="clockwise", loops=[1])).digest
    assert load_job(as_file(plain)).digest == plain.digest
    ring = load_job(RING)
    assert load_job(as_file(ring)).digest == ring.digest
    assert load_job(gone(slack_mm=9000)).digest != plain.digest


def test_a_job_without_the_key_keeps_its_digest() -> None:
    """From a version that did not know trunks that go through; ``through: false`` says no more than nothing."""
    data = worked_example()
    assert load_job(data).digest == "46b9c1418b8ddbd52fba2df43c12a5132fc042202db499f3a0e8c0438d379031"
    assert load_job(data | {"rules": data["rules"] | {"sheath_window": "prefer"}}).digest == load_job(data).digest
    silent = copy.deepcopy(data)
    silent["trunks"][0]["through"] = False
    assert load_job(silent).digest == load_job(data).digest


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"through": [{"trunk": "P", "ends": ["P.in", "P.out"]}]}, "needs two trunks of its own as its ends"),
        ({"through": [{"trunk": "P", "ends": ["P", "Q"]}]}, "are not of one cable with the same tubes uncut"),
    ],
)
def test_ends_of_a_resolved_job_go_together(change: dict[str, Any], message: str) -> None:
    with pytest.raises(InputError, match=message):
        load_job(worked_example() | change)


def test_uncut_tubes_belong_to_a_trunk_that_goes_through() -> None:
    data = worked_example()
    data["trunks"][0]["uncut"] = [2]
    with pytest.raises(InputError, match="does not go through the box"):
        load_job(data)
