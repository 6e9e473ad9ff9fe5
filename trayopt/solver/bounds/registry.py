"""The relaxations by name, with the goals that each bounds; a search can leave out each of them by its name."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from trayopt.domain.plan import GoalName


@dataclass(frozen=True)
class Relaxation:
    """A relaxation: its name, the file in which it is made, and the goals that it bounds."""

    name: str
    file: str
    goals: tuple[GoalName, ...]


RELAXATIONS: tuple[Relaxation, ...] = (
    Relaxation("tray_room", "tray_room", ("unplaced", "trays")),
    Relaxation("rings", "unplaced", ("unplaced",)),
    Relaxation("stack_counts", "stack_counts", ("unplaced",)),
    Relaxation("placed_patterns", "placed_patterns", ("unplaced", "trays")),
    Relaxation("outline", "outline", ("broken_must", "broken_prefer")),
    Relaxation("division", "division", ("unplaced", "broken_prefer", "legs")),
    Relaxation("segments", "segments", ("unplaced", "broken_must", "broken_prefer", "legs")),
    Relaxation(
        "set_partition",
        "set_partition",
        ("unplaced", "broken_must", "broken_prefer", "legs", "trays", "leg_length_mm", "irregular"),
    ),
    Relaxation("opposite_orders", "opposite_orders", ("crossings",)),
    Relaxation("strand_places", "strand_places", ("irregular",)),
    Relaxation("pattern_counts", "pattern_counts", ("trays", "leg_length_mm", "irregular")),
    Relaxation("round_counts", "round_counts", ("trays", "leg_length_mm", "irregular")),
    Relaxation("place_counts", "place_counts", ("trays", "leg_length_mm")),
    Relaxation(
        "settled_segments",
        "settled_segments",
        ("unplaced", "broken_must", "broken_prefer", "legs", "trays", "crossings", "leg_length_mm", "irregular"),
    ),
)


def names() -> Iterator[str]:
    """Return the names of all relaxations."""
    return (relaxation.name for relaxation in RELAXATIONS)
