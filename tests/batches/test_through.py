"""Sweeps and summaries know trunks that go through."""

from __future__ import annotations

from pathlib import Path

from tests.strategies import worked_example
from trayopt import batch, load_job
from trayopt.batches.answers import mix_of
from trayopt.formats.json_out import dump_rows

SWEEP = """schema: trayopt/sweep/2
title: A tap from a trunk that goes through
enclosures: [small.yaml, large.yaml]
mixes:
  - name: tap
    trunks:
      - {id: M1, cable: loose-tube-144-12x12, through: true, toward: [west, east], slack_mm: 9000}
      - {id: B1, cable: loose-tube-144-12x12}
    joins:
      - name: tap of 24
        joins: [{a: "M1.east:1-24", b: "B1:1-24"}]
  - name: all of it
    trunks:
      - {id: M1, cable: loose-tube-144-12x12, through: true, toward: [west, east]}
      - {id: B1, cable: loose-tube-144-12x12}
rules:
  - {name: near, rules: {reach: {bench_mm: 1500}}}
"""


def box(name: str, positions: int) -> str:
    """Write the box of the worked example with so many positions, wide guides and seals for two cables each."""
    found = worked_example()["enclosure"] | {"kind": "enclosure", "id": name, "size_mm": [400, 500, 150]}
    for stack in found["stacks"]:
        stack["positions"] = positions
    for guide in found["track"]["guides"]:
        guide["opening_mm2"] = 4000
        guide["width_mm"] = 40
    for port in found["ports"]:
        port["seals"] = [{"holes": 2, "least_mm": 8, "most_mm": 16}]
    return dump_rows(found)


def test_a_sweep_over_boxes_and_the_smallest_one(tmp_path: Path) -> None:
    """24 fibres go into either box; all 144, joined with the end where the trunk enters, into the large one alone."""
    (tmp_path / "sweep.yaml").write_text(SWEEP, encoding="utf-8")
    for name, positions in (("small", 1), ("large", 4)):
        (tmp_path / f"{name}.yaml").write_text(box(name, positions), encoding="utf-8")
    made = batch([tmp_path / "sweep.yaml"], tmp_path / "out", time_limit_s=20, workers=1)
    assert {(found.mix, found.box.enclosure if found.box else None) for found in made.smallest} == {
        ("tap", "small"),
        ("all of it", "large"),
    }
    assert made.proven == 4


def test_a_trunk_that_goes_through_is_one_of_a_mix() -> None:
    data = worked_example()
    data["trunks"][0] |= {"through": True, "ports": ["bl", "br"]}
    data["joins"] = [{"a": "P.in:1-24", "b": "Q:1-24"}]
    assert mix_of(load_job(data)) == "48 through + 48"
