"""Parts of the page that are in no list: a tray with its sleeves, and the record of a test batch."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from html import escape
from typing import Any

from trayopt.crewsheets.book import Book
from trayopt.crewsheets.figures import Sleeve, place_name
from trayopt.crewsheets.readings import Readings
from trayopt.crewsheets.step_facts import counted, parked_of, tied_words
from trayopt.crewsheets.units import Teller
from trayopt.domain import colours
from trayopt.domain.ranges import Run
from trayopt.pictures.base import Picture

ACROSS = 12
"""Number of fibres side by side in the table of sleeves."""


def tray_row(book: Book, index: int, pictures: Mapping[str, Picture], tell: Teller) -> dict[str, Any]:
    """Return the data of a tray; sleeves in service appear only by their circuits."""
    row, kind = book.trays[index], book.hardware(book.trays[index])
    sleeves = book.work_sleeves[index]
    circuits = counted(book.circuits(index), tell)
    if book.states[index] == "closed":
        return {"name": place_name(row), "closed": True, "circuits": circuits}
    says = tell(
        "tray.says",
        batch=book.batch_of[index],
        splices=tell("count.splices", n=book.spliced_in(index)),
        parked=tell("count.parked", n=row.ends - 2 * book.spliced_in(index)),
        ends=row.ends,
        of_ends=2 * kind.fibres,
        sleeves=row.sleeves,
        of_sleeves=kind.sleeves,
        circuits=circuits,
    )
    served = ""
    if book.states[index] == "opened":
        live = ", ".join(leg.leg for leg in book.tray_legs[index] if leg.leg in book.built)
        circuits_in = counted(book.live([index]), tell) or tell("step.service.none")
        served = tell("tray.served", legs=live, circuits=circuits_in)
    return {
        "name": place_name(row),
        "closed": False,
        "served": served,
        "tied": tied_words(book, tell, index),
        "number": index + 1,
        "says": says,
        "batch": book.batch_of[index],
        "splices": book.spliced_in(index),
        "parked_fibres": row.ends - 2 * book.spliced_in(index),
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
                    for part in book.in_ribbons(sleeve)
                    for start in range(0, part[0].count, ACROSS)
                    for run in part
                ],
            }
            for sleeve in sleeves
        ],
    }


def _side(book: Book, run: Run, start: int, tell: Teller) -> dict[str, Any]:
    """Return one side of a sleeve, twelve fibres from ``start``: its run, its seat in words, and a cell for every fibre."""
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


def batch_rows(book: Book, readings: Readings, tell: Teller) -> Iterator[dict[str, Any]]:
    """Yield the record of every batch: its number, its trays, and its rows."""
    from markupsafe import Markup

    for batch in book.batches:
        rows = "".join(
            _sleeve_head(book, group, len(readings.waves))
            + "".join(_test_row(book, readings, sleeve, i, tell) for sleeve in group for i in range(sleeve.a.count))
            for tray in batch.trays
            for group in _headed(book.work_sleeves[tray])
        )
        trays = ", ".join(place_name(book.trays[i]) for i in batch.trays)
        yield {"number": batch.number, "trays": trays, "rows": Markup(rows)}


def _headed(sleeves: Iterable[Sleeve]) -> list[list[Sleeve]]:
    """Return the sleeves of a tray in groups with one head each: up to twelve single fibres in a row are one."""
    groups: list[list[Sleeve]] = []
    for sleeve in sleeves:
        if groups and _goes_on(groups[-1], sleeve):
            groups[-1].append(sleeve)
        else:
            groups.append([sleeve])
    return groups


def _goes_on(group: Sequence[Sleeve], sleeve: Sleeve) -> bool:
    last = group[-1]
    follows = all(
        (other.trunk, other.first) == (run.trunk, run.last + 1)
        for run, other in ((last.a, sleeve.a), (last.b, sleeve.b))
    )
    return follows and last.a.count == sleeve.a.count == 1 and len(group) < ACROSS


def _sleeve_head(book: Book, group: Sequence[Sleeve], waves: int) -> str:
    """Return the head of the rows of some sleeves, for paper and narrow screens, where the rows do not repeat these words."""
    first, last = group[0], group[-1]
    numbers = f"{first.number}" if first is last else f"{first.number} – {last.number}"
    a, b = (Run(one.trunk, one.first, other.last) for one, other in ((first.a, last.a), (first.b, last.b)))
    said = escape(f"{place_name(book.trays[first.tray])} · {numbers}: {a} × {b}")
    return f'<tr class="sleeve-head"><th colspan="{4 + 3 * waves}" scope="colgroup">{said}</th></tr>\n'


def _test_row(book: Book, readings: Readings, sleeve: Sleeve, i: int, tell: Teller) -> str:
    """Return a row of the test record as HTML, made without a template because there are thousands of rows."""
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
