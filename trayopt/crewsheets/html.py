"""The page: everything of one plan in one file that needs no network."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from functools import cache
from html import escape
from importlib.resources import files
from math import ceil, hypot
from typing import TYPE_CHECKING, Any

from trayopt.crewsheets.book import Book, Sleeve, place_name
from trayopt.crewsheets.geometry.front import Front
from trayopt.crewsheets.lists.labels import Label
from trayopt.crewsheets.lists.reopen import disturbed, lifted
from trayopt.crewsheets.lists.strip import tube_name
from trayopt.crewsheets.marks import Marks
from trayopt.crewsheets.readings import Readings
from trayopt.crewsheets.steps import Step, counted, direct_of, parked_of
from trayopt.crewsheets.tables import Column, Table, shown
from trayopt.crewsheets.units import Teller
from trayopt.domain import colours
from trayopt.domain.ranges import Run
from trayopt.library.soundness import of_job
from trayopt.pictures.base import Picture
from trayopt.pictures.svg import path_data, style, svg_text

if TYPE_CHECKING:
    from jinja2 import Template

TITLE_IN_MARGIN = 48
"""Characters of a title that stand in the margin of a printed page."""
ACROSS = 12
"""Fibres side by side in the table of sleeves."""
STRIP_ON_PAGE = ("trunk", "port", "travel", "loops", "diameter", "transition", "strip", "exposed", "note")
MARKS_ON_PAGE = (
    "leg", "label", "loops", "tube", "entrance_mark", "tube_mark", "ribbon_mark", "cut", "measured", "correction",
    "note",
)  # fmt: skip
BATCHES_ON_PAGE = (
    "batch", "trays", "splices", "far_ends", "waves", "limit", "batch_limit", "ready", "batch_mean", "result", "tested_by",
)  # fmt: skip
"""Columns that the page shows; limits and their sources stand above the list, a leg's label says fibres and tray."""
JS_WORDS = (
    "stored", "not_stored", "stripe", "stripes", "no_fibre", "seat", "tray", "sleeve", "partner", "parked", "nowhere",
    "step_of", "done", "routed", "laid", "tested", "next", "finished", "mark_of", "reading_of", "ahead", "batch_mean",
    "batch_over", "filtered", "no_length",
    "result.pass", "result.fail",
)  # fmt: skip


@cache
def _template() -> Template:
    from jinja2 import Environment, StrictUndefined
    from markupsafe import Markup

    made = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)
    made.policies["json.dumps_kwargs"] = {"sort_keys": True, "ensure_ascii": False}
    made.globals["svg"] = lambda picture: Markup(svg_text(picture))
    source = files("trayopt.crewsheets").joinpath("templates", "index.html.j2").read_text(encoding="utf-8")
    return made.from_string(source)


def page_text(
    book: Book,
    marks: Marks,
    readings: Readings,
    steps: Sequence[Step],
    tables: Mapping[str, Table],
    pictures: Mapping[str, Picture],
    labels: Sequence[Label],
    tell: Teller,
    *,
    parts: Sequence[str],
    plan_digest: str,
    codes: bool,
) -> str:
    """Write the page with these parts."""
    from markupsafe import Markup

    title = book.job.title or tell("page.untitled")
    script = files("trayopt.crewsheets").joinpath("templates", "page.js").read_text(encoding="utf-8")
    tints = "".join(f".k{i}{{--k:{colours.RGB[name]}}}" for i, name in enumerate(colours.COLOURS, start=1))
    return _template().render(
        tell=tell,
        title=title,
        css=Markup(
            files("trayopt.crewsheets").joinpath("templates", "page.css").read_text(encoding="utf-8")
            + style()
            + tints
            + _margins(book, title, tell, plan_digest)
            + _wave_names(readings)
        ),
        script=Markup(script),
        data=Markup(_embedded(_data(book, marks, steps, tell, plan_digest))),
        parts=parts,
        facts=_facts(book, tell),
        warnings=[*warnings_of(book, marks, tell), *hardware_notes(book, tell)],
        steps=steps,
        tables=tables,
        strip_page=tables["strip"].only(STRIP_ON_PAGE) if "strip" in tables else None,
        batches_page=tables["batches"].only(BATCHES_ON_PAGE) if "batches" in tables else None,
        marks_page=_marks_on_page(tables["marks"]) if "marks" in tables else None,
        header=lambda column: column.header(tell.words, tell.units),
        show=lambda cell, column: _shown(cell, column, tell),
        pictures=[picture for name, picture in pictures.items() if not name.startswith("tray-")],
        trays=[_tray(book, i, pictures, tell) for i in range(len(book.trays))] if "splices" in parts else [],
        closed=tell("tray.closed"),
        batches=list(_batches(book, readings, tell)) if "tests" in parts else [],
        waves=book.settings.tests.wavelengths_nm,
        limit=tell.words.number(book.settings.tests.limit_db, 2),
        limit_source=book.settings.tests.limit_source,
        mean=tell.words.number(book.settings.tests.batch_mean_db, 2),
        mean_source=book.settings.tests.batch_mean_source,
        labels=[_label(label, codes, tell) for label in labels] if "labels" in parts else [],
        job_digest=book.plan.job.digest[:16],
        plan_digest=plan_digest[:16],
        example=str(book.sleeves[0].a).partition("-")[0] if book.sleeves else "",
    )


def _margins(book: Book, title: str, tell: Teller, plan_digest: str) -> str:
    """Write what stands in the margins of every printed page: job, plan, page of pages, and a line of safety."""
    name = f"{title if len(title) <= TITLE_IN_MARGIN else title[: TITLE_IN_MARGIN - 1] + '…'}"
    marks = tell("page.foot", job=book.plan.job.digest[:16], plan=plan_digest[:16])
    page, of = tell("page.of").split("|")
    return (
        f"@page{{@top-left{{content:{css_text(name)}}}@top-right{{content:{css_text(marks)}}}"
        f"@bottom-left{{content:{css_text(tell('safety.page'))}}}"
        f"@bottom-right{{content:{css_text(page)} counter(page) {css_text(of)} counter(pages)}}}}"
    )


def _wave_names(readings: Readings) -> str:
    """Name the cells of a reading where the record has no head: on a narrow screen."""
    names = [
        f"table.tests td:nth-of-type({3 * i + k})::before{{content:{css_text(text)}}}"
        for i, wave in enumerate(readings.waves)
        for k, text in ((3, f"{wave} A→B "), (4, "B→A "), (5, "⌀ "))
    ]
    return f"@media screen and (max-width:600px){{{''.join(names)}}}"


def css_text(text: str) -> str:
    """Write a string of a style sheet that no text in it can break out of."""
    return '"' + "".join(char if char.isalnum() and char.isascii() else f"\\{ord(char):x} " for char in text) + '"'


def warnings_of(book: Book, marks: Marks, tell: Teller) -> Iterator[str]:
    """Say what a crew must know before it begins: what has no tray, what is broken, what does not fit."""
    unplaced = sum(Run(*_parts(item.a)).count for item in book.plan.unplaced)
    if unplaced:
        runs = ", ".join(f"{item.a} × {item.b}" for item in book.plan.unplaced)
        yield tell("warning.unplaced", n=unplaced, runs=runs)
    for item in book.plan.broken:
        if item.level != "prefer":
            yield tell("warning.broken", rule=item.rule, subject=item.subject, because=item.because)
    if book.built_trunks:
        yield tell("warning.service", n=len(book.built_trunks), trunks=tell.words.listed(sorted(book.built_trunks)))
    made = sum(sleeve.a.count for sleeve in book.sleeves if book.made(sleeve))
    if made:
        yield tell("warning.made", n=made)
    for trunk in book.new_trunks:
        if trunk.exposed_mm is not None and marks.strip[trunk.id] > trunk.exposed_mm:
            yield tell(
                "warning.exposed",
                trunk=trunk.id,
                length=tell.cut(marks.strip[trunk.id]),
                exposed=tell.length(trunk.exposed_mm),
            )
    doubtful = [mark.leg for mark in marks.of.values() if mark.doubt]
    if doubtful:
        yield tell("warning.doubt", n=len(doubtful), legs=", ".join(doubtful))


LOAD_RADIUS = 20
"""Least bend radius of a cable under load by its diameter, where its maker asks for no more (7 CFR 1755.200)."""


def hardware_notes(book: Book, tell: Teller) -> Iterator[str]:
    """Say what is unusual about the hardware, and how tight the trunks themselves may be bent.

    The plan knows no bend of a trunk but the one that a jacket makes at its port's guide, where it reaches so far.
    """
    for entry, remark in of_job(book.job):
        sides = "; ".join(text for text in (remark.found, remark.allowed) if text)
        said = f"{remark.message} ({sides})" if sides else remark.message
        yield tell("warning.hardware", entry=entry, said=said)
    radii = []
    for trunk in book.new_trunks:
        port = book.job.enclosure.port_by_id[book.ways[trunk.id].port or ""]
        guide = next(guide for guide in book.job.enclosure.track.guides if guide.id == port.guide)
        spur = ceil(hypot(port.x_mm - guide.x_mm, port.y_mm - guide.y_mm))
        least = ceil(LOAD_RADIUS * trunk.cable.diameter_mm)
        radii.append(f"{trunk.id} {tell.cut(least)}")
        track = book.job.enclosure.track.min_radius_mm
        if -trunk.transition_mm > spur and track < least:
            yield tell(
                "warning.jacket_bend",
                trunk=trunk.id,
                inside=tell.length(-trunk.transition_mm),
                guide=guide.id,
                track=tell.size(track),
                least=tell.cut(least),
            )
    if radii:
        yield tell("warning.bend", radii=", ".join(radii))


def _parts(run: str) -> tuple[str, int, int]:
    trunk, _, span = run.rpartition(":")
    first, _, last = span.partition("-")
    return trunk, int(first), int(last or first)


def _marks_on_page(table: Table) -> Table:
    """Give the mark list with the columns that the page shows; without corrections and notes where there are none."""
    empty = {key for key in ("correction", "note") if not any(table.column(key))}
    return table.only([key for key in MARKS_ON_PAGE if key not in empty])


def _facts(book: Book, tell: Teller) -> list[tuple[str, str]]:
    number = tell.words.number
    enclosure = book.job.enclosure
    figures = {
        "box": enclosure.id,
        "trunks": number(len(book.trunks)),
        "legs": number(len(book.all_legs)),
        "trays": f"{number(len(book.trays))} / {number(len(enclosure.places))}",
        "splices": number(sum(sleeve.a.count for sleeve in book.sleeves)),
        "sleeves": number(len(book.sleeves)),
        "batches": number(len(book.batches)),
        "crossings": number(len(book.plan.crossings)),
        "status": tell(f"status.{book.plan.status}"),
    }
    return [(tell(f"fact.{key}"), value) for key, value in figures.items()]


def _shown(cell: Any, column: Column, tell: Teller) -> str:
    if column.key in {"needed", "spare", "total", "diameter"}:
        return tell.words.number(cell, 0 if cell == int(cell) else 1)
    return shown(cell, column, tell.units, tell.words)


def _tray(book: Book, index: int, pictures: Mapping[str, Picture], tell: Teller) -> dict[str, Any]:
    """One tray; of what is in service in it nothing but its circuits."""
    row, kind = book.trays[index], book.hardware(book.trays[index])
    sleeves = book.work_sleeves[index]
    circuits = counted(book.circuits(index))
    if book.states[index] == "closed":
        return {"name": place_name(row), "closed": True, "circuits": circuits}
    says = tell(
        "tray.says",
        batch=book.batch_of[index],
        fibres=row.fibres,
        of_fibres=kind.fibres,
        sleeves=row.sleeves,
        of_sleeves=kind.sleeves,
        circuits=circuits,
    )
    served = ""
    if book.states[index] == "opened":
        live = ", ".join(leg.leg for leg in book.tray_legs[index] if leg.leg in book.built)
        served = tell("tray.served", legs=live, circuits=counted(book.live([index])) or tell("step.service.none"))
    return {
        "name": place_name(row),
        "closed": False,
        "served": served,
        "number": index + 1,
        "says": says,
        "batch": book.batch_of[index],
        "fibres": row.fibres,
        "used": row.sleeves,
        "legs": ", ".join(leg.leg for leg in book.tray_legs[index]),
        "circuits": circuits,
        "picture": pictures[f"tray-{place_name(row)}"],
        "across": min(ACROSS, max((sleeve.a.count for sleeve in sleeves), default=1)),
        "trunks": list(dict.fromkeys(leg.trunk for leg in book.tray_legs[index])),
        "parked": ", ".join(parked_of(book, index)),
        "sleeves": [
            {
                "number": sleeve.number,
                "sides": [
                    _side(book, run, start, tell)
                    for start in range(0, sleeve.a.count, ACROSS)
                    for run in (sleeve.a, sleeve.b)
                ],
            }
            for sleeve in sleeves
        ],
    }


def _side(book: Book, run: Run, start: int, tell: Teller) -> dict[str, Any]:
    """One side of a sleeve, twelve fibres from ``start``: its run, its seat in words, and a cell for every fibre."""
    part = Run(run.trunk, run.first + start, min(run.last, run.first + start + ACROSS - 1))
    seat = book.seat(part.trunk, part.first)
    colour = tell.words.colour
    words = tell(
        "tray.seat",
        subunit=seat.subunit,
        subunit_colour=colour(seat.subunit),
        ribbon=seat.ribbon,
        ribbon_colour=colour(seat.ribbon),
    )
    fibres = range(seat.fibre, seat.fibre + part.count)
    return {
        "run": str(part),
        "seat": words,
        "cells": [(f"k{(i - 1) % 12 + 1}", str(i), colours.short(i)) for i in fibres],
    }


def _batches(book: Book, readings: Readings, tell: Teller) -> Iterator[dict[str, Any]]:
    from markupsafe import Markup

    for batch in book.batches:
        rows = "".join(
            _sleeve_head(book, sleeve, len(readings.waves))
            + "".join(_test_row(book, readings, sleeve, i, tell) for i in range(sleeve.a.count))
            for tray in batch.trays
            for sleeve in book.work_sleeves[tray]
        )
        trays = ", ".join(place_name(book.trays[i]) for i in batch.trays)
        yield {"number": batch.number, "trays": trays, "rows": Markup(rows)}


def _sleeve_head(book: Book, sleeve: Sleeve, waves: int) -> str:
    """Head of a sleeve's rows, where there is no room for what each row says of it: on paper and on a narrow screen."""
    said = escape(f"{place_name(book.trays[sleeve.tray])} · {sleeve.number}: {sleeve.a} × {sleeve.b}")
    return f'<tr class="sleeve-head"><th colspan="{4 + 3 * waves}" scope="colgroup">{said}</th></tr>\n'


def _test_row(book: Book, readings: Readings, sleeve: Sleeve, i: int, tell: Teller) -> str:
    """One row of the test record as HTML; written by hand because there are thousands."""
    a, b = (sleeve.a.trunk, sleeve.a.first + i), (sleeve.b.trunk, sleeve.b.first + i)
    left, right = escape(f"{a[0]}:{a[1]}"), escape(f"{b[0]}:{b[1]}")
    cells, results = [], []
    for wave in readings.waves:
        reading = readings.at(*a, wave)
        results.append("open" if reading is None else readings.result(reading))
        figures = (reading.a_to_b, reading.b_to_a, reading.mean) if reading else (None, None, None)
        cells += ["" if figure is None else str(figure.normalize() + 0) for figure in figures]
    result = "fail" if "fail" in results else "open" if "open" in results else "pass"
    said = "" if result == "open" else tell(f"result.{result}")
    mark = ' class="fail"' if result == "fail" else ""
    middle = "".join(f"<td>{cell}</td>" for cell in cells)
    place = escape(place_name(book.trays[sleeve.tray]))
    return (
        f'<tr data-a="{left}" data-b="{right}"><th scope="row">{left}</th><td>{right}</td><td>{place} · {sleeve.number}</td>'
        f"{middle}<td{mark}>{escape(said)}</td></tr>\n"
    )


def _label(label: Label, codes: bool, tell: Teller) -> dict[str, Any]:
    from markupsafe import Markup

    code = ""
    if codes:
        import segno

        code = Markup(segno.make_qr(label.code, error="m").svg_inline(scale=2, border=2, omitsize=True))
    return {"lines": label.lines, "end": tell(f"label.end.{label.end}"), "code": code}


def _data(book: Book, marks: Marks, steps: Sequence[Step], tell: Teller, plan_digest: str) -> dict[str, Any]:
    """Give what the page's script works with."""
    index = {trunk.id: i for i, trunk in enumerate(book.job.trunks)}
    front = Front(book)
    ways: dict[tuple[str, str | None, str | None], int] = {}
    paths: list[str] = []
    legs = []
    for leg in book.all_legs:
        key = leg.trunk, leg.stack, leg.end
        if key not in ways:
            ways[key] = len(paths)
            paths.append(path_data(front.way(leg)))
        run, way, mark = book.run(leg), book.ways[leg.trunk], marks.of[leg.leg]
        says = tell(
            "live.leg.built" if leg.leg in book.built else "live.leg.says",
            n=way.loops or 0,
            port=way.port,
            travel=tell(f"travel.{way.travel}"),
            guides=" → ".join(direct_of(book, leg.leg)),
            tube=tube_name(book, tell, leg.leg),
            entrance=tell.length(mark.entrance),
            cut=tell.cut(mark.cut),
        )
        legs.append(
            {
                "leg": leg.leg,
                "trunk": index[leg.trunk],
                "first": run.first,
                "last": run.last,
                "tray": book.tray_of(leg),
                "way": ways[key],
                "says": says,
            }
        )
    words = {f"js.{key}": tell.words.entries[f"js.{key}"] for key in JS_WORDS}
    return {
        "plan": plan_digest[:16],
        "words": {**words, "colours": [tell(f"colour.{name}") for name in colours.COLOURS]},
        "trunks": [
            {
                "id": trunk.id,
                "inside": trunk.id in book.ways,
                "subunits": [[subunit.ribbons, subunit.ribbon_fibres] for subunit in trunk.subunits],
            }
            for trunk in book.job.trunks
        ],
        "legs": legs,
        "ways": paths,
        "trays": [
            {"name": place_name(tray), "state": book.states[i], "reopen": _reopen(book, i, tell)}
            for i, tray in enumerate(book.trays)
        ],
        "routed": [index[trunk.id] for trunk in book.trunks if trunk.id in book.built_trunks],
        "sleeves": [
            [s.tray, s.number, index[s.a.trunk], s.a.first, index[s.b.trunk], s.b.first, s.a.count]
            for s in book.sleeves
        ],
        "steps": [
            {
                "phase": step.phase,
                "title": step.title,
                "trunk": index[step.trunk] if step.trunk else None,
                "tray": step.tray,
            }
            for step in steps
        ],
        "batches": len(book.batches),
        "waves": list(book.settings.tests.wavelengths_nm),
        "limit": book.settings.tests.limit_db,
        "batch_limit": book.settings.tests.batch_mean_db,
    }


def _reopen(book: Book, tray: int, tell: Teller) -> str:
    """Say what is lifted, and which circuits are disturbed, to reach a tray."""
    over = lifted(book, tray)
    served = "" if book.states[tray] == "new" else f"{tell('tray.closed')} "
    if not over:
        return served + tell("live.open")
    trays = ", ".join(place_name(book.trays[i]) for i in over)
    return served + tell("live.lift", trays=trays, circuits=counted(disturbed(book, tray)))


def _embedded(data: object) -> str:
    """Write data as JSON that no text in it can break out of."""
    text = json.dumps(data, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    for char, code in (
        ("&", "\\u0026"),
        ("<", "\\u003c"),
        (">", "\\u003e"),
        ("\u2028", "\\u2028"),
        ("\u2029", "\\u2029"),
    ):
        text = text.replace(char, code)
    return text
