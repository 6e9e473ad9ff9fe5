"""Boxes as large as the outside examples need them."""

from __future__ import annotations

from collections.abc import Sequence

from tests.build import Json, assignment_of, job_of
from tests.strategies import worked_example
from trayopt.domain.job import Job
from trayopt.track.laid import Laid


def box(positions: int, trunks: Sequence[Json], joins: Sequence[Json], **tray: int) -> Job:
    """Build the box of the worked example with stacks of so many positions, other trunks and, in part, other trays."""
    data = worked_example()
    for stack in data["enclosure"]["stacks"]:
        stack["positions"] = positions
        stack["pitch_mm"] = 1
        stack["tray"] |= tray
    data["trunks"], data["joins"] = list(trunks), list(joins)
    return job_of(data)


def trunk(name: str, subunits: Sequence[Json], diameter_mm: float = 20, **given: object) -> Json:
    """Build a trunk of loose tubes."""
    cable = {"kind": "cable", "id": name, "construction": "loose_tube", "diameter_mm": diameter_mm}
    return {"id": name, "cable": cable | {"subunits": list(subunits)}, **given}


def fanned_out(rows: Sequence[Sequence[int]]) -> Laid:
    """Lay one trunk whose subunit i has a leg of one ribbon at each position of row i.

    Neighbouring legs of a subunit go to different stacks, so that none takes over the low of the one before it: the two
    columns of the drawing are the trunk's own order and the positions.
    """
    subunits = [{"count": 1, "ribbons": len(row), "ribbon_fibres": 2, "diameter_mm": 3} for row in rows]
    fibres = 2 * sum(len(row) for row in rows)
    trunks = [trunk("N", subunits, divide_at="port"), trunk("S", subunits, divide_at="port")]
    job = box(max(max(row) for row in rows), trunks, [{"a": f"N:1-{fibres}", "b": f"S:1-{fibres}"}])
    legs: dict[str, str] = {}
    for row in rows:
        for i, position in enumerate(row):
            first = 2 * len(legs) + 1
            legs[f"N:{first}-{first + 1}"] = f"{('left', 'right')[i % 2]}/{position}"
    return Laid(job, assignment_of(job, {"N": ("bl", "clockwise", 1)}, legs))
