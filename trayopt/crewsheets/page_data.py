"""The data for the script of the page: the plan in short."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

from trayopt.crewsheets.book import Book
from trayopt.crewsheets.figures import place_name
from trayopt.crewsheets.geometry.front import Front
from trayopt.crewsheets.lists.reopen import disturbed, together
from trayopt.crewsheets.lists.strip import tube_name
from trayopt.crewsheets.marks import Marks
from trayopt.crewsheets.step_facts import counted, direct_of
from trayopt.crewsheets.steps import Step
from trayopt.crewsheets.units import Teller
from trayopt.domain import colours
from trayopt.pictures.svg import path_data

JS_WORDS = (
    "stored", "not_stored", "stripe", "stripes", "no_fibre", "seat", "tray", "sleeve", "partner", "parked", "nowhere",
    "step_of", "done", "routed", "laid", "tested", "next", "finished", "mark_of", "reading_of", "ahead", "batch_mean",
    "batch_over", "filtered", "no_length",
    "result.pass", "result.fail",
)  # fmt: skip


def page_data(book: Book, marks: Marks, steps: Sequence[Step], tell: Teller, plan_digest: str) -> dict[str, Any]:
    """Return the data for the script of the page."""
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
                "subunits": [[subunit.ribbons, subunit.ribbon_fibres] for subunit in trunk.units],
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
    """Write which trays are lifted, and which circuits are disturbed, to reach a tray."""
    over, others, felt = book.lifted(tray), together(book, tray), counted(disturbed(book, tray), tell)
    said = [] if book.states[tray] == "new" else [tell("tray.closed")]
    if others:
        name = place_name(book.trays[tray])
        said.append(tell("live.together", name=name, others=tell.words.listed(others)))
    if over:
        said.append(tell("live.lift", trays=", ".join(place_name(book.trays[i]) for i in over)))
    said.append(tell("live.disturbed", circuits=felt) if felt else tell("live.open"))
    return " ".join(said)


def embedded(data: object) -> str:
    """Write data as JSON for a script, escaped so that no text in it can end the script."""
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
