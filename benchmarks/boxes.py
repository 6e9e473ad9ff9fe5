"""Boxes and cables as large as the cases need them: generic, invented, and sound by the library's own checks.

A box is a row of stacks with the entrances at their top. All lengths are millimetres; the proportions are those of the
cabinets in ``models/enclosures``, and every size is typical, without a source.
"""

from __future__ import annotations

from typing import Any, NamedTuple

Json = dict[str, Any]

EDGE, PITCH_X, STACK_Y = 80, 235, 650
"""From the side to the first guide, from stack to stack, and where the trays begin above the bottom."""


class TrayType(NamedTuple):
    """A tray of the library with what a box must know of it."""

    id: str
    width: int
    length: int
    height: int


RIBBON_72 = TrayType("ribbon-72", 120, 300, 10)
RIBBON_144 = TrayType("ribbon-144", 140, 320, 15)
SINGLE_12 = TrayType("single-12", 100, 220, 8)


def cabinet(stacks: int, positions: int, tray: TrayType, *, ports: int = 4, bore_mm: int = 63) -> Json:
    """Build a cabinet.

    Parameters
    ----------
    stacks, positions, tray
        What stands in it.
    ports
        Ports, an even number: half of them below and half above, each at a guide of its own as far as there are guides.
    bore_mm
        Bore of the ports, in mm.
    """
    pitch = tray.height + 1
    depth = max(180, 15 + (positions - 1) * pitch + tray.height + 20)
    band = [20, depth // 2]
    width = 2 * EDGE + stacks * PITCH_X
    top = STACK_Y + tray.length
    height = top + 250
    opening = 100 * (band[1] - band[0])  # calculated: guides 100 mm wide, as deep as the band
    xs = [EDGE + i * PITCH_X for i in range(stacks + 1)]
    corners = {0, stacks}
    above = [_guide(f"t{i}", x, top + (110 if i in corners else 140), opening) for i, x in enumerate(xs)]
    below = [_guide(f"b{i}", x, 140 if i in corners else 110, opening) for i, x in enumerate(xs)]
    right = [_guide(f"r{i}", xs[-1], y, opening) for i, y in enumerate((750, 450))]
    left = [_guide(f"l{i}", xs[0], y, opening) for i, y in enumerate((450, 750))]
    return {
        "kind": "enclosure",
        "id": f"cabinet-{stacks}x{positions}-{tray.id}",
        "size_mm": [width, height, depth],
        "track": {"z_mm": band, "min_radius_mm": 80, "guides": [*above, *right, *reversed(below), *left]},
        "ports": _ports(ports, bore_mm, xs, width, height),
        "stacks": [
            {
                "id": f"s{i + 1}",
                "tray": tray.id,
                "positions": positions,
                "at_mm": [xs[i] + 75, STACK_Y],
                "base_z_mm": 15,
                "pitch_mm": pitch,
                "ends": [
                    {
                        "id": "top",
                        "clockwise": {"guide": f"t{i}", "x_mm": xs[i] + 75 + tray.width, "y_mm": top},
                        "counterclockwise": {"guide": f"t{i + 1}", "x_mm": xs[i] + 75, "y_mm": top},
                    }
                ],
            }
            for i in range(stacks)
        ],
    }


def _guide(name: str, x: int, y: int, opening_mm2: int) -> Json:
    return {"id": name, "x_mm": x, "y_mm": y, "opening_mm2": opening_mm2}


def _ports(number: int, bore_mm: int, xs: list[int], width: int, height: int) -> list[Json]:
    """Set the ports along the bottom and the top; those in the left half of the bottom turn clockwise by nature."""
    made: list[Json] = []
    a_side = number // 2
    for side, y in (("bottom", 0), ("top", height)):
        for i in range(a_side):
            x = width * (2 * i + 1) // (2 * a_side)
            nearest = min(range(len(xs)), key=lambda j: (abs(xs[j] - x), j))
            from_left = 2 * i + 1 < a_side
            clockwise = from_left == (side == "bottom")
            made.append(
                {
                    "id": f"{side}-{i + 1}",
                    "x_mm": x,
                    "y_mm": y,
                    "guide": f"{side[0]}{nearest}",
                    "bore_mm": bore_mm,
                    "turns": "both" if 2 * i + 1 == a_side else "clockwise" if clockwise else "counterclockwise",
                    "seals": [
                        {"holes": 1, "least_mm": 10, "most_mm": bore_mm - 15},
                        {"holes": 2, "least_mm": 8, "most_mm": (bore_mm - 10) // 2},
                        {"holes": 4, "least_mm": 6, "most_mm": (bore_mm - 10) // 3},
                    ],
                }
            )
    return made


def bundles(subunits: int, ribbons: int = 12, diameter_mm: float = 4.0) -> Json:
    """Build a cable of bundles of partly bonded ribbons of 12.

    Its own diameter is calculated: the bundles fill 0.65 of what the jacket leaves.
    """
    return {
        "kind": "cable",
        "id": f"bundles-{subunits}x{12 * ribbons}",
        "construction": "partly_bonded_ribbon",
        "tubes": True,
        "diameter_mm": round(4 + (subunits * diameter_mm**2 / 0.65) ** 0.5, 1),
        "fibre": "G.657.A1",
        "coating_mm": 0.2,
        "subunits": [
            {
                "count": subunits,
                "ribbons": ribbons,
                "ribbon_fibres": 12,
                "diameter_mm": diameter_mm,
                "least_radius_mm": 50,
            }
        ],
    }


def loose_tubes(tubes: int) -> Json:
    """Build a cable of loose tubes of 12 fibres; its diameter is calculated as for bundles."""
    return {
        "kind": "cable",
        "id": f"tubes-{tubes}x12",
        "construction": "loose_tube",
        "diameter_mm": round(4 + (tubes * 2.4**2 / 0.65) ** 0.5, 1),
        "subunits": [{"count": tubes, "ribbons": 1, "ribbon_fibres": 12, "diameter_mm": 2.4, "least_radius_mm": 38}],
    }


def ribbons_of_12(*groups: tuple[int, int]) -> Json:
    """Build a cable of tubes with flat ribbons of 12, from groups of (subunits, fibres in each)."""
    tubes = {96: 6.5, 108: 7.0, 144: 8.0}
    square = sum(count * tubes[fibres] ** 2 for count, fibres in groups)
    return {
        "kind": "cable",
        "id": "ribbon-" + "-".join(f"{count}x{fibres}" for count, fibres in groups),
        "construction": "ribbon",
        "diameter_mm": round(4 + (square / 0.65) ** 0.5, 1),
        "ribbon_mm": [3.22, 0.36],
        "subunits": [
            {
                "count": count,
                "ribbons": fibres // 12,
                "ribbon_fibres": 12,
                "diameter_mm": tubes[fibres],
                "least_radius_mm": 50,
            }
            for count, fibres in groups
        ],
    }
