"""Soundness of hardware: an error if it cannot be built as described, a warning if a size is unusual."""

from __future__ import annotations

from collections.abc import Iterator

from trayopt.domain.base import EPSILON
from trayopt.domain.cable import Cable
from trayopt.domain.hardware import Enclosure, Tray, TubeSet
from trayopt.domain.job import Job
from trayopt.domain.said import said
from trayopt.library.box_soundness import box_remarks
from trayopt.library.remark import Path, Remark, unusual

USUAL_INSIDE_MM = 600
"""A ribbon shorter than this does not reach a splicer (common practice, no source)."""
USUAL_TUBE_RADIUS_MM = 38
"""Least radius of buffer tubes: usually 38 mm to 76 mm (7 CFR 1755.200 (1995), (e)(4)(iv))."""
CABLE_FILL = 0.70
JACKET_MM = 4
"""Tubes fit into a cable if the sum of their diameter² is at most 0.70 × (outer diameter - 4)² (by judgement)."""
DIAMETERS_MM = {
    144: (10, 17), 288: (13, 20), 432: (16, 22), 576: (17, 25), 864: (18, 28), 1152: (20, 29), 1728: (23, 33),
    2880: (26, 33), 3456: (28, 36), 6912: (29, 40),
}  # fmt: skip
"""Usual outer diameters by number of fibres (common practice, no source)."""


def remarks(entry: Tray | Enclosure | Cable | TubeSet) -> Iterator[Remark]:
    """Yield the errors and warnings about an entry. Faults that its model refuses already are not among them."""
    if isinstance(entry, Tray):
        yield from _tray(entry)
    elif isinstance(entry, Enclosure):
        yield from box_remarks(entry)
    elif isinstance(entry, Cable):
        yield from _cable(entry)
    else:
        yield from _tubes(entry)


def sound(entry: Tray | Enclosure | Cable | TubeSet) -> bool:
    """Whether an entry can be built as described."""
    return not any(remark.level == "error" for remark in remarks(entry))


def _tray(tray: Tray) -> Iterator[Remark]:
    if 2 * tray.min_radius_mm > min(tray.size_mm):
        found = said(
            "{min_radius_mm:g} mm in a tray {size_mm:g} mm wide",
            min_radius_mm=tray.min_radius_mm,
            size_mm=min(tray.size_mm),
        )
        yield Remark("error", ("min_radius_mm",), said("no turn of this radius fits into the tray"), found)
    if tray.sleeves * tray.sleeve_fibres < tray.fibres:
        held = f"{tray.sleeves} × {tray.sleeve_fibres} = {tray.sleeves * tray.sleeve_fibres}"
        message = said("the sleeves cannot take the tray's {fibres} fibres", fibres=tray.fibres)
        values = (("fibres", tray.fibres), ("found", held))
        yield Remark(
            "warning", ("sleeves",), message, held, said("{fibres} or more", fibres=tray.fibres), "sleeves", values
        )
    if tray.inside_mm < USUAL_INSIDE_MM:
        allowed = said("usually {least_inside_mm} mm or more", least_inside_mm=USUAL_INSIDE_MM)
        message, figures = said("too short to reach a splicer"), (("found", tray.inside_mm), ("least", USUAL_INSIDE_MM))
        yield Remark(
            "warning",
            ("inside_mm",),
            message,
            said("{inside_mm} mm", inside_mm=tray.inside_mm),
            allowed,
            "inside",
            figures,
        )
    yield from unusual(("min_radius_mm",), tray.min_radius_mm, 5, 60)
    yield from unusual(("height_mm",), tray.height_mm, 3, 40)
    yield from unusual(("size_mm",), min(tray.size_mm), 50, 600)
    yield from unusual(("size_mm",), max(tray.size_mm), 50, 600)


def _tubes(tubes: TubeSet) -> Iterator[Remark]:
    for i, tube in enumerate(tubes.tubes):
        if tube.bore_mm >= tube.diameter_mm:
            found = said(
                "bore {bore_mm:g} mm, diameter {diameter_mm:g} mm", bore_mm=tube.bore_mm, diameter_mm=tube.diameter_mm
            )
            yield Remark("error", ("tubes", i, "bore_mm"), said("the bore is not smaller than the tube"), found)
        yield from _tube_radius(("tubes", i), tube.radius_mm, given=tube.least_radius_mm is not None)


def _tube_radius(path: Path, radius_mm: float, *, given: bool) -> Iterator[Remark]:
    if given and radius_mm < USUAL_TUBE_RADIUS_MM:
        allowed = said("usually {least_tube_radius_mm} mm or more", least_tube_radius_mm=USUAL_TUBE_RADIUS_MM)
        message, values = said("least_radius_mm is unusual"), (("found", radius_mm), ("least", USUAL_TUBE_RADIUS_MM))
        yield Remark(
            "warning",
            (*path, "least_radius_mm"),
            message,
            said("{radius_mm:g} mm", radius_mm=radius_mm),
            allowed,
            "tube_radius",
            values,
        )


def _cable(cable: Cable) -> Iterator[Remark]:
    square = sum(group.count * group.diameter_mm**2 for group in cable.subunits)
    room = CABLE_FILL * max(cable.diameter_mm - JACKET_MM, 0) ** 2
    if square > room + EPSILON:
        found = said("sum of diameter² {square:g} mm²", square=square)
        allowed = said(
            "{cable_fill:g} × ({diameter_mm:g} - {jacket_mm})² = {room:g} mm²",
            cable_fill=CABLE_FILL,
            diameter_mm=cable.diameter_mm,
            jacket_mm=JACKET_MM,
            room=room,
        )
        yield Remark("error", ("subunits",), said("the subunits do not fit into the cable"), found, allowed)
    for i, group in enumerate(cable.subunits):
        path: Path = ("subunits", i)
        needed = cable.bore_mm(group.ribbons, group.ribbon_fibres)
        if needed > group.diameter_mm + EPSILON:
            what = said("the stack of ribbons") if cable.flat else said("the bundle of fibres")
            found = said(
                "{needed:.2f} mm across in a tube of {diameter_mm:g} mm", needed=needed, diameter_mm=group.diameter_mm
            )
            yield Remark(
                "error", (*path, "diameter_mm"), said("{what} does not fit into its subunit", what=what), found
            )
        if cable.ribbon_mm is not None and cable.flat and cable.ribbon_mm[0] < group.ribbon_fibres * 0.2:
            found = said(
                "{ribbon_mm:g} mm for {ribbon_fibres} fibres",
                ribbon_mm=cable.ribbon_mm[0],
                ribbon_fibres=group.ribbon_fibres,
            )
            message = said("the ribbon is narrower than its fibres")
            values = (("found", cable.ribbon_mm[0]), ("fibres", group.ribbon_fibres))
            yield Remark("warning", ("ribbon_mm",), message, found, "", "ribbon", values)
        yield from _tube_radius(path, group.radius_mm, given=group.least_radius_mm is not None)
    if cable.construction == "central_tube" and sum(group.count for group in cable.subunits) > 1:
        yield Remark(
            "warning", ("subunits",), said("a central tube cable usually has one subunit"), kind="central_tube"
        )
    counts = sorted(DIAMETERS_MM)
    below = [count for count in counts if count <= cable.fibres]
    above = [count for count in counts if count >= cable.fibres]
    if below and above:
        yield from unusual(("diameter_mm",), cable.diameter_mm, DIAMETERS_MM[below[-1]][0], DIAMETERS_MM[above[0]][1])


def of_job(job: Job) -> Iterator[tuple[str, Remark]]:
    """Yield the remarks on all hardware that a job uses, each entry once, with the id of the entry."""
    entries: list[Tray | Enclosure | Cable | TubeSet] = [job.enclosure, *job.enclosure.trays]
    entries += [job.tubes, *(trunk.cable for trunk in job.trunks)]
    told: set[tuple[str, Remark]] = set()
    for entry in {id(entry): entry for entry in entries}.values():
        for remark in remarks(entry):
            if (entry.id, remark) not in told:
                told.add((entry.id, remark))
                yield entry.id, remark
