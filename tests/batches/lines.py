"""Lines of results for tests of what is made of them."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from trayopt.batches.changes import GOALS
from trayopt.batches.results import Results, Writer
from trayopt.batches.work import Settings
from trayopt.domain.sweep import FACTORS


def line(
    name: str, outcome: str = "fits", *, litres: float = 10.0, goals: tuple[int, ...] = (), **more: Any
) -> dict[str, Any]:
    """Make a line of a sweep's job whose name is ``sweep/enclosure/mix_joins``."""
    _, box, rest = name.split("/")
    mix, _, joins = rest.partition("_")
    values = dict.fromkeys(FACTORS, "") | {"enclosure": box, "mix": mix, "joins": joins or "through", "tray": "own"}
    made: dict[str, Any] = {"name": name, "values": values, "digest": name, "outcome": outcome, "why": ""}
    made |= {"settings": Settings().plain(), "key": name}
    made |= {"litres": litres, "places": 12, "capacity": 864, "splices": 288, "seconds": 0.5, "version": "0.1.0"}
    if outcome in {"fits", "fits_with_broken_preference", "not_settled", "does_not_fit"}:
        known = dict(zip(GOALS, goals or (0, 0, 0, 8, 4, 0, 26_188, 1), strict=True))
        made |= {"goals": known, "trays": 4, "tied": 2, "ends": 576, "status": "optimal", "plan": f"plans/{name}.json"}
        made |= {"plan_sha256": str(known)}
    return made | more


def results(folder: Path, *lines: dict[str, Any]) -> Results:
    """Write lines into a folder."""
    with Writer(folder) as writer:
        writer.append(list(lines))
    return Results(folder)
