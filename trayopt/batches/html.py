"""index.html: what fits where, as one page with nothing outside of it but the plans that it opens."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from trayopt.batches.answers import FITTING, MARKS, OUTCOMES
from trayopt.batches.files import whole_file
from trayopt.batches.pages import render, text_of
from trayopt.batches.results import Line, Results
from trayopt.batches.summary import WAYS, Summary, mix_name, variant
from trayopt.domain.sweep import FACTORS

HERE = "@@data@@"
"""Stands in the page where the data go, which are written piece by piece."""
SHORT = {  # in a cell, where what else there is to say stands below
    "fits": "fits",
    "fits_with_broken_preference": "fits",
    "not_settled": "not settled",
    "does_not_fit": "does not fit",
    "no_plan": "no plan yet",
    "wrong_input": "wrong job",
    "failed": "failed",
}
OTHERS = tuple(factor for factor in FACTORS if factor not in {"enclosure", "mix"})


def write_html(path: Path, results: Results, summary: Summary, settings: dict[str, Any], against: str = "") -> None:
    """Write the page.

    Raises
    ------
    InputError
        Where it cannot be written.
    """
    head, _, tail = _page(summary, settings, against).partition(HERE)
    with whole_file(path) as stream:
        stream.write(head.encode())
        for piece in _data(results):
            stream.write(_inside_script(piece).encode())
        stream.write(tail.encode())


def _page(summary: Summary, settings: dict[str, Any], against: str) -> str:
    from markupsafe import Markup

    return render(
        "index.html",
        script=Markup(text_of("index.js")),
        data=Markup(HERE),
        summary=summary,
        outcomes=[
            {"id": outcome, "mark": MARKS[outcome], "words": words, "count": summary.counts[outcome]}
            for outcome, words in OUTCOMES.items()
        ],
        ways=[(way, count) for way in WAYS if (count := sum(change.way == way for change in summary.changes or ()))],
        settings=settings,
        against=against,
    )


def _data(results: Results) -> Iterator[str]:
    """Give the data of the page as pieces of one JSON document: factors, boxes, rows and, of every job, a cell."""
    boxes: dict[str, dict[str, Any]] = {}
    rows: dict[tuple[str, ...], int] = {}
    splices: dict[int, int] = {}
    yield '{"cells":[\n'
    first = True
    for line in results.lines():
        box = line["values"].get("enclosure", "")
        known = boxes.setdefault(box, {"id": box})
        for key in ("litres", "places", "capacity"):
            if key in line and line["values"].get("tray", "") in {"", "own"}:
                known[key] = line[key]
            elif key in line:
                known.setdefault(key, line[key])
        row = rows.setdefault(_row(line), len(rows))
        splices[row] = max(splices.get(row, 0), line.get("splices", 0))
        yield ("" if first else ",\n") + _compact(_cell(line, list(boxes).index(box), row))
        first = False
    rest = {
        "boxes": list(boxes.values()),
        "rows": [[*key[1:], splices[number]] for key, number in rows.items()],
        "marks": MARKS,
        "short": SHORT,
        "words": OUTCOMES,
        "fitting": FITTING,
        "factors": OTHERS,
    }
    yield f"\n],{_compact(rest)[1:]}"


def _row(line: Line) -> tuple[str, ...]:
    """Give what names a row: everything of a job but its box; then mix, the rest in words, the values of the others."""
    values = line["values"]
    name = str(line["name"])
    sweep, _, rest = name.partition("/")
    key = f"{sweep}//{rest.partition('/')[2]}" if values.get("joins") else name
    return key, mix_name(line), variant(line), *(values.get(factor, "") for factor in OTHERS)


def _cell(line: Line, box: int, row: int) -> list[Any]:
    goals = line.get("goals") or {}
    capacity = line.get("capacity") or 0
    fill = round(line["fibres"] / capacity, 4) if capacity and "fibres" in line and goals else None
    return [
        row,
        box,
        line["outcome"],
        line.get("trays"),
        goals.get("legs"),
        goals.get("crossings"),
        goals.get("leg_length_mm"),
        line.get("seconds"),
        fill,
        goals.get("broken_prefer"),
        line.get("status") == "optimal",
        line.get("why", ""),
        line.get("page") or line.get("plan", ""),
        line["name"],
    ]


def _compact(value: object) -> str:
    return json.dumps(value, ensure_ascii=False, separators=(",", ":"))


def _inside_script(text: str) -> str:
    """Keep JSON from ending the element that it stands in."""
    return text.replace("<", "\\u003c").replace("\u2028", "\\u2028").replace("\u2029", "\\u2029")
