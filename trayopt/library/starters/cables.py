"""Describing cables by their labels. Assumed values are typical, by judgement, as in ``models/README.md``."""

from __future__ import annotations

from collections.abc import Mapping
from math import floor, sqrt
from typing import Any

from trayopt.domain.cable import FLAT, Cable, SubunitGroup
from trayopt.domain.hardware import flat_bore_mm, round_bore_mm
from trayopt.errors import InputError
from trayopt.formats.yaml_out import flow
from trayopt.library.soundness import CABLE_FILL, JACKET_MM
from trayopt.library.starters.draft import Draft, Line, assumed, measured
from trayopt.library.starters.trays import RADIUS_NOTE, usual_radius_mm

RIBBON_FIBRE_MM, RIBBON_EDGE_MM, RIBBON_HEIGHT_MM = 0.23, 0.46, 0.36
"""Width of a flat ribbon: the line through 2.30 mm for 8 fibres and 3.22 mm for 12 (common practice, no source)."""
COATING_MM = 0.25
WALL_MM = {True: 2.6, False: 1.2}
"""How much wider a tube is than its contents, for flat ribbons (True) and for round bundles (typical, by judgement)."""


def cable_starter(name: str, answers: Mapping[str, Any]) -> Draft:
    """Describe a cable.

    Raises
    ------
    InputError
        If the subunits do not fit into the cable.
    """
    construction, diameter = answers["construction"], answers["diameter"]
    count, ribbons, width = answers["subunits"], answers["ribbons"], answers["width"]
    flat = construction in FLAT
    ribbon = (round(RIBBON_FIBRE_MM * width + RIBBON_EDGE_MM, 2), RIBBON_HEIGHT_MM)
    inside = flat_bore_mm(ribbons, ribbon) if flat else round_bore_mm(ribbons * width, COATING_MM)
    room = floor(10 * sqrt(CABLE_FILL / count) * max(diameter - JACKET_MM, 0)) / 10
    if room < inside:
        held = "ribbons" if flat else "fibres"
        raise InputError.one(
            f"{count} subunits with {ribbons} x {width} {held} do not fit into a cable of {diameter:g} mm",
            source=name,
            found=f"{inside:.2f} mm across in each, {room:g} mm of room",
            hint="read the label again: the diameter is that of the whole cable, in mm",
        )
    tube = min(room, round(inside + WALL_MM[flat], 1))
    group = SubunitGroup(
        count=count, ribbons=ribbons, ribbon_fibres=width, diameter_mm=tube, least_radius_mm=usual_radius_mm(tube)
    )
    cable = Cable(
        id=name,
        construction=construction,
        diameter_mm=diameter,
        fibre=answers["fibre"],
        ribbon_mm=ribbon if flat else None,
        coating_mm=COATING_MM,
        subunits=(group,),
    )
    if cable.fibres > 100_000:
        raise InputError.one("the cable has too many fibres", source=name, found=f"{cable.fibres:,}", allowed="100,000")
    across = (
        assumed(
            f"ribbon_mm: {flow(ribbon)}",
            f"{RIBBON_FIBRE_MM:g} x fibres + {RIBBON_EDGE_MM:g}, and the height of a ribbon",
        )
        if flat
        else assumed(f"coating_mm: {COATING_MM:g}", "a coated fibre of the usual size")
    )
    wall = f"{inside:.2f} for what lies in it and {WALL_MM[flat]:g} for its wall, or what the cable leaves"
    return Draft(
        cable,
        f"Cable of {cable.fibres:,} fibres.",
        (
            Line("kind: cable"),
            Line(f"id: {flow(name)}"),
            measured(f"construction: {construction}"),
            measured(f"diameter_mm: {flow(diameter)}"),
            measured(f"fibre: {cable.fibre}"),
            across,
            Line("subunits:"),
            measured(f"  - count: {count}"),
            measured(f"    ribbons: {ribbons}"),
            measured(f"    ribbon_fibres: {width}"),
            assumed(f"    diameter_mm: {flow(tube)}", wall),
            assumed(f"    least_radius_mm: {flow(group.least_radius_mm)}", RADIUS_NOTE),
        ),
    )
