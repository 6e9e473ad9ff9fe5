"""The page: all sheets of a plan in one file that needs no network."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from functools import cache
from importlib.resources import files
from math import ceil, hypot
from typing import TYPE_CHECKING, Any

from trayopt.crewsheets.book import Book
from trayopt.crewsheets.hands import replay
from trayopt.crewsheets.lists.labels import Label
from trayopt.crewsheets.lists.tests import source_words
from trayopt.crewsheets.marks import Marks
from trayopt.crewsheets.page_data import embedded, page_data
from trayopt.crewsheets.page_rows import batch_rows, tray_row
from trayopt.crewsheets.readings import Readings
from trayopt.crewsheets.step_facts import trial_note
from trayopt.crewsheets.steps import Step
from trayopt.crewsheets.tables import Column, Table, shown
from trayopt.crewsheets.units import Teller
from trayopt.domain import colours
from trayopt.domain.ranges import Run
from trayopt.library.remark import Remark
from trayopt.library.soundness import of_job
from trayopt.pictures.base import Picture
from trayopt.pictures.page import content_policy, page_world
from trayopt.pictures.svg import style, svg_text

if TYPE_CHECKING:
    from jinja2 import Template

TITLE_IN_MARGIN = 48
"""Greatest number of characters of a title in the margin of a printed page."""
STRIP_ON_PAGE = ("trunk", "port", "travel", "loops", "diameter", "transition", "strip", "exposed", "divide_at", "note")
MARKS_ON_PAGE = (
    "leg", "label", "loops", "tube", "entrance_mark", "tube_mark", "protection", "ribbon_mark", "cut", "measured", "correction",
    "note",
)  # fmt: skip
BATCHES_ON_PAGE = (
    "batch", "trays", "splices", "far_ends", "waves", "limit", "batch_limit", "ready", "batch_mean", "result", "tested_by",
)  # fmt: skip
"""Columns that the page shows; limits and their sources are above the list, and the label of a leg has its fibres and tray."""


@cache
def _template() -> Template:
    from markupsafe import Markup

    made = page_world(lstrip_blocks=True)
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
    """Return the page with the chosen parts."""
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
        policy=content_policy(script),
        script=Markup(script),
        data=Markup(embedded(page_data(book, marks, steps, tell, plan_digest))),
        parts=parts,
        facts=_facts(book, tell),
        warnings=[*warnings_of(book, marks, steps, tell), *hardware_notes(book, tell)],
        steps=steps,
        trial=trial_note(marks, tell),
        tables=tables,
        strip_page=tables["strip"].only(STRIP_ON_PAGE) if "strip" in tables else None,
        batches_page=tables["batches"].only(BATCHES_ON_PAGE) if "batches" in tables else None,
        marks_page=_marks_on_page(tables["marks"]) if "marks" in tables else None,
        header=lambda column: column.header(tell.words, tell.units),
        show=lambda cell, column: _shown(cell, column, tell),
        pictures=[picture for name, picture in pictures.items() if not name.startswith("tray-")],
        trays=[tray_row(book, i, pictures, tell) for i in book.build] if "splices" in parts else [],
        closed=tell("tray.closed"),
        batches=list(batch_rows(book, readings, tell)) if "tests" in parts else [],
        waves=book.settings.tests.wavelengths_nm,
        limit=tell.words.number(book.settings.tests.limit_db, 2),
        limit_source=source_words(book.settings.tests.limit_source, tell),
        mean=tell.words.number(book.settings.tests.batch_mean_db, 2),
        mean_source=source_words(book.settings.tests.batch_mean_source, tell),
        labels=[_label(label, codes, tell) for label in labels] if "labels" in parts else [],
        job_digest=book.plan.job.digest[:16],
        plan_digest=plan_digest[:16],
        example=str(book.sleeves[0].a).partition("-")[0] if book.sleeves else "",
    )


def _margins(book: Book, title: str, tell: Teller, plan_digest: str) -> str:
    """Return the style of the margins of printed pages: job, plan, page number, and a line of safety."""
    name = f"{title if len(title) <= TITLE_IN_MARGIN else title[: TITLE_IN_MARGIN - 1] + '…'}"
    marks = tell("page.foot", job=book.plan.job.digest[:16], plan=plan_digest[:16])
    page, of = tell("page.of").split("|")
    return (
        f"@page{{@top-left{{content:{css_text(name)}}}@top-right{{content:{css_text(marks)}}}"
        f"@bottom-left{{content:{css_text(tell('safety.page'))}}}"
        f"@bottom-right{{content:{css_text(page)} counter(page) {css_text(of)} counter(pages)}}}}"
    )


def _wave_names(readings: Readings) -> str:
    """Return the style that names the cells of a reading on a narrow screen, where the record has no head."""
    names = [
        f"table.tests td:nth-of-type({3 * i + k})::before{{content:{css_text(text)}}}"
        for i, wave in enumerate(readings.waves)
        for k, text in ((3, f"{wave} A→B "), (4, "B→A "), (5, "⌀ "))
    ]
    return f"@media screen and (max-width:600px){{{''.join(names)}}}"


def css_text(text: str) -> str:
    """Write a text as a string of a style sheet, escaped so that it cannot end the string."""
    return '"' + "".join(char if char.isalnum() and char.isascii() else f"\\{ord(char):x} " for char in text) + '"'


def warnings_of(book: Book, marks: Marks, steps: Sequence[Step], tell: Teller) -> Iterator[str]:
    """Yield what a crew must know before it begins: splices without a tray, broken rules, and things that do not fit."""
    unplaced = sum(Run(*_parts(item.a)).count for item in book.plan.unplaced)
    if unplaced:
        runs = ", ".join(f"{item.a} × {item.b}" for item in book.plan.unplaced)
        yield tell("warning.unplaced", n=unplaced, runs=runs)
    alike: dict[tuple[str, str], list[str]] = {}  # what is said of a group of trays is said once
    for item in book.plan.broken:
        if item.level != "prefer":
            alike.setdefault((item.rule, item.because), []).append(item.subject)
    for (rule, because), subjects in alike.items():
        yield tell("warning.broken", rule=rule, subject=tell.words.listed(subjects), because=because)
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
    for gone in book.passing:
        if gone.slack_mm is not None and gone.window_mm > gone.slack_mm:
            length, slack = tell.cut(gone.window_mm), tell.length(gone.slack_mm)
            yield tell("warning.window", trunk=gone.trunk, length=length, slack=slack)
    for number, trouble in replay(book, [step.act for step in steps]):
        yield tell(
            "warning.hands", step=number, title=steps[number - 1].title,
            said=tell(f"trouble.{trouble.kind}", what=trouble.what, by=trouble.by),
        )  # fmt: skip
    doubtful = [mark.leg for mark in marks.of.values() if mark.doubt]
    if doubtful:
        yield tell("warning.doubt", n=len(doubtful), legs=", ".join(doubtful))


LOAD_RADIUS = 20
"""Least bend radius of a cable as a multiple of its diameter, unless its maker asks for more.

7 CFR 1755.200 (1995), (e)(4)(iii).
"""


def hardware_notes(book: Book, tell: Teller) -> Iterator[str]:
    """Yield what is unusual about the hardware, and the least bend radius of the trunks themselves.

    The plan knows only one bend of a trunk: the bend of the jacket at the guide of its port, if the jacket reaches so far.
    """
    for entry, remark in of_job(book.job):
        yield tell("warning.hardware", entry=entry, said=_said(remark, tell))
    radii: dict[str, str] = {}
    cables = {end: item.trunk for item in book.passing for end in item.ends}
    for trunk in book.new_trunks:
        port = book.job.enclosure.port_by_id[book.ways[trunk.id].port or ""]
        guide = next(guide for guide in book.job.enclosure.track.guides if guide.id == port.guide)
        spur = ceil(hypot(port.x_mm - guide.x_mm, port.y_mm - guide.y_mm))
        least = ceil(LOAD_RADIUS * trunk.cable.diameter_mm)
        radii[cables.get(trunk.id, trunk.id)] = tell.cut(least)
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
        yield tell("warning.bend", radii=", ".join(f"{name} {least}" for name, least in radii.items()))


def _said(remark: Remark, tell: Teller) -> str:
    """Write a warning in the language of the sheets. An error stays English; a job that was read has none."""
    if remark.kind:
        values = {name: tell.words.shortest(value) for name, value in remark.values}
        if "travel" in values:
            values["travel"] = tell(f"travel.{values['travel']}")
        return tell(f"remark.{remark.kind}", **values)
    sides = "; ".join(text for text in (remark.found, remark.allowed) if text)
    return f"{remark.message} ({sides})" if sides else remark.message


def _parts(run: str) -> tuple[str, int, int]:
    trunk, _, span = run.rpartition(":")
    first, _, last = span.partition("-")
    return trunk, int(first), int(last or first)


def _marks_on_page(table: Table) -> Table:
    """Return the mark list with the columns that the page shows: protection, corrections and notes only if a leg has some."""
    empty = {key for key in ("protection", "correction", "note") if not any(table.column(key))}
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


def _label(label: Label, codes: bool, tell: Teller) -> dict[str, Any]:
    from markupsafe import Markup

    code = ""
    if codes:
        import segno

        code = Markup(segno.make_qr(label.code, error="m").svg_inline(scale=2, border=2, omitsize=True))
    return {"lines": label.lines, "end": tell(f"label.end.{label.end}"), "code": code}
