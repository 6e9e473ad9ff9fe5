"""The file of a measured box, line by line: what was measured, and from what the rest was assumed."""

from __future__ import annotations

from collections.abc import Iterator

from trayopt.domain.hardware import (
    Enclosure,
    Port,
    Stack,
)
from trayopt.formats.yaml_out import flow
from trayopt.library.starters.draft import Line, assumed, measured
from trayopt.library.starters.measured import BASE_MM, DOOR_MM, OVER_MM, RADII_MM, SEALS, Measured


def box_lines(given: Measured, box: Enclosure) -> Iterator[Line]:
    """Yield the lines of the file of a box."""
    low, high = box.track.z_mm
    width = box.track.guides[0].width_mm
    yield Line(
        "# Coordinates in mm: x to the right, y up, seen from the door, from the lower left corner; z from the back."
    )
    yield Line("kind: enclosure")
    yield Line(f"id: {flow(box.id)}")
    yield measured(f"size_mm: {flow(box.size_mm)}", "width, height, depth inside")
    yield Line("track:")
    yield assumed(
        f"  z_mm: {flow((low, high))}",
        f"from the trays' base to {OVER_MM} over the last, {DOOR_MM} under the door",
    )
    yield assumed(
        f"  min_radius_mm: {flow(box.track.min_radius_mm)}",
        f"{RADII_MM[1]}, ten times a tube of 8 mm, or what the entrances leave",
    )
    yield Line(
        f"  # The ring lies {given.ring} mm from the side walls (measured), and was put as far from the top and the bottom."
    )
    yield Line("  # Guides clockwise: at the corners, between stacks, and on the other sides one for each 300 mm.")
    if given.guide:
        yield assumed(
            "  guides:", f"their places; widths and openings are measured, {given.guide[0]:g} x {given.guide[1]:g} mm"
        )
    else:
        wide = f"{width:g} mm, their distance from walls or trays"
        yield assumed("  guides:", f"their places, and their openings: {wide}, times {high - low} mm deep")
    for guide in box.track.guides:
        yield Line(f"    - {flow(guide.model_dump(include={'id', 'x_mm', 'y_mm', 'opening_mm2', 'width_mm'}))}")
    yield Line("ports:")
    for port in box.ports:
        yield from _port_lines(port)
    yield Line("stacks:")
    for stack in box.stacks:
        yield from _stack_lines(given, stack)


def _port_lines(port: Port) -> Iterator[Line]:
    yield Line(f"  - id: {flow(port.id)}")
    yield assumed(f"    x_mm: {port.x_mm}", "ports of a wall are spread evenly over it")
    yield assumed(f"    y_mm: {port.y_mm}", "likewise")
    yield assumed(f"    guide: {port.guide}", "the nearest one")
    yield measured(f"    bore_mm: {flow(port.bore_mm)}")
    yield assumed(f"    turns: {port.turns}", "up the near side from below, along the top from above; else both")
    parts = ", ".join(f"{holes}: {least:g} to {most:g}" for holes, least, most in SEALS)
    yield assumed("    seals:", f"cables as parts of the bore, by holes: {parts}")
    for seal in port.seals:
        yield Line(f"      - {flow(seal.model_dump())}")


def _stack_lines(given: Measured, stack: Stack) -> Iterator[Line]:
    yield Line(f"  - id: {flow(stack.id)}")
    yield measured(f"    tray: {flow(given.named)}")
    yield measured(f"    positions: {stack.positions}")
    yield assumed(
        f"    at_mm: {flow(stack.at_mm)}", "stacks stand evenly apart; half of the spare height is above them"
    )
    yield assumed(f"    base_z_mm: {stack.base_z_mm}", f"{BASE_MM} for the bracket, where the box is deep enough")
    yield assumed(f"    pitch_mm: {stack.pitch_mm}", "the tray's height and 1, where the box is deep enough")
    yield from _range_lines(given, stack)
    yield assumed("    ends:", "from above, an eighth of the width in, and a bend off the guide")
    end = stack.ends[0]
    yield Line(f"      - id: {end.id}")
    yield Line(f"        clockwise: {flow(end.clockwise.model_dump())}")
    yield Line(f"        counterclockwise: {flow(end.counterclockwise.model_dump())}")


def _range_lines(given: Measured, stack: Stack) -> Iterator[Line]:
    """Yield the lines for trays of other kinds."""
    if stack.trays:
        yield Line("    trays:", "of other kinds, each on a range of positions")
    for other, made in zip(given.mixed, stack.trays, strict=True):
        yield measured(f"      - positions: {flow(other.positions)}")
        yield measured(f"        tray: {flow(other.named)}")
        yield assumed(f"        pitch_mm: {made.pitch_mm}", "the tray's height and 1, where the box is deep enough")
