"""Describing trays and sets of tubes by their labels. Assumed values are typical, by judgement, as in ``models/README.md``."""

from __future__ import annotations

from collections.abc import Mapping
from math import floor
from typing import Any

from trayopt.domain.hardware import Tray, Tube, TubeSet
from trayopt.formats.yaml_out import flow
from trayopt.library.starters.draft import Draft, Line, assumed, measured

STORAGE_RADIUS_MM = 30
"""Least storage radius of G.652.D fibre: the radius at which its bending loss is given (ITU-T G.652 (11/2016), table 2)."""
LEAST_INSIDE_MM = 700
"""A fibre below 600 mm does not reach a splicer (common practice, no source); 100 mm more are for splices that fail."""
RADII_MM = (38, 76)
"""The usual range of the least radius of buffer tubes, in mm (7 CFR 1755.200 (1995), (e)(4)(iv))."""


def tray_starter(name: str, answers: Mapping[str, Any]) -> Draft:
    """Describe a tray."""
    fibres, sleeve = answers["fibres"], answers["sleeve"]
    width, length, height = answers["size"]
    tray = Tray(
        id=name,
        fibres=fibres,
        sleeves=-(-fibres // sleeve),
        sleeve_fibres=sleeve,
        entrance_legs=max(4, -(-fibres // 12)),
        height_mm=height,
        size_mm=(width, length),
        inside_mm=max(LEAST_INSIDE_MM, floor(2 * (width + length))),
        min_radius_mm=min(STORAGE_RADIUS_MM, floor(min(width, length) / 2)),
    )
    return Draft(
        tray,
        f"Splice tray for {fibres} fibres.",
        (
            Line("kind: tray"),
            Line(f"id: {flow(name)}"),
            measured(f"fibres: {fibres}"),
            assumed(f"sleeves: {tray.sleeves}", f"{fibres} fibres by {sleeve}"),
            measured(f"sleeve_fibres: {sleeve}"),
            assumed(f"entrance_legs: {tray.entrance_legs}", "one for each 12 fibres, and at least 4"),
            measured(f"height_mm: {flow(height)}"),
            measured(f"size_mm: {flow(tray.size_mm)}", "width, length"),
            assumed(f"inside_mm: {tray.inside_mm}", f"once round the tray, and at least {LEAST_INSIDE_MM}"),
            assumed(
                f"min_radius_mm: {flow(tray.min_radius_mm)}",
                f"{STORAGE_RADIUS_MM}, at which G.652 gives the bending loss of fibre, if the tray is wide enough",
            ),
        ),
    )


def tubes_starter(name: str, answers: Mapping[str, Any]) -> Draft:
    """Describe a set of tubes."""
    tubes = tuple(
        Tube(bore_mm=bore, diameter_mm=outer, least_radius_mm=usual_radius_mm(outer))
        for bore, outer in answers["tubes"]
    )
    rows = [
        line
        for tube in tubes
        for line in (
            measured(f"  - bore_mm: {flow(tube.bore_mm)}"),
            measured(f"    diameter_mm: {flow(tube.diameter_mm)}"),
            assumed(f"    least_radius_mm: {flow(tube.least_radius_mm)}", RADIUS_NOTE),
        )
    ]
    return Draft(
        TubeSet(id=name, tubes=tubes),
        "Tubes for legs that are divided at the port.",
        (Line("kind: tubes"), Line(f"id: {flow(name)}"), Line("tubes:"), *rows),
    )


RADIUS_NOTE = f"10 x the diameter, but {RADII_MM[0]} to {RADII_MM[1]}, the usual radii of tubes (7 CFR 1755.200)"


def usual_radius_mm(diameter_mm: float) -> float:
    """Return ten times a diameter, within the usual radii of tubes."""
    return round(min(max(10 * diameter_mm, RADII_MM[0]), RADII_MM[1]), 1)
