"""index.html: a page that shows what fits where. It is self-contained, apart from the plans that it opens."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from trayopt.batches.changes import WAYS
from trayopt.batches.files import encoded, whole_file
from trayopt.batches.outcomes import FITTING, MARKS, OUTCOMES
from trayopt.batches.pages import pieces
from trayopt.batches.results import Line, Results
from trayopt.batches.summary import Summary, conflict_words, mix_name, variant, variant_key
from trayopt.batches.tables import fill_of
from trayopt.domain.sweep import FACTORS

HERE = "@@data@@"
"""Placeholder in the page for the data, which are written piece by piece."""
SHORT = {  # for a cell; the details are below the table
    "fits": "fits",
    "fits_with_broken_preference": "fits",
    "not_settled": "not settled",
    "does_not_fit": "does not fit",
    "no_plan": "no plan yet",
    "wrong_input": "wrong job",
    "failed": "failed",
}
OTHERS = tuple(factor for factor in FACTORS if factor not in {"enclosure", "mix"})


def write_html(path: Path, results: Results, summary: Summary, against: str = "") -> None:
    """Write the page of a batch.

    Raises
    ------
    InputError
        If it cannot be written.
    """
    with whole_file(path) as stream:
        for piece in _page(summary, against):
            head, here, tail = piece.partition(HERE)
            stream.write(encoded(head))
            for part in _data(results) if here else ():
                stream.write(encoded(_inside_script(part)))
            stream.write(encoded(tail))


def _page(summary: Summary, against: str) -> Iterator[str]:
    from markupsafe import Markup

    return pieces(
        "index.html",
        data=Markup(HERE),
        summary=summary,
        words=OUTCOMES,
        outcomes=[
            {"id": outcome, "mark": MARKS[outcome], "words": words, "count": summary.counts[outcome]}
            for outcome, words in OUTCOMES.items()
        ],
        ways=[(way, summary.ways[way]) for way in WAYS if summary.ways[way]],
        settings=[(_settings_words(settings), jobs) for settings, jobs in summary.settings],
        against=against,
    )


def _settings_words(settings: dict[str, Any]) -> str:
    """Write the settings with which a job was solved."""
    limit, gap, goals = settings["time_limit_s"], settings["gap"], settings["goals"]
    words = [f"up to {limit:g} s of the solver's own time" if limit is not None else "no time limit"]
    words += [f"seed {settings['seed']}"]
    words += [f"gap {gap:g}"] if gap is not None else []
    words += [f"goals in the order {', '.join(goals)}"] if goals else []
    words += [] if settings["explain"] else ["no conflict looked for"]
    return ", ".join(words)


def _data(results: Results) -> Iterator[str]:
    """Yield the data of the page as pieces of one JSON document: factors, boxes, rows, and a cell for every job."""
    boxes: dict[str, dict[str, Any]] = {}
    rows: dict[str, tuple[int, list[str]]] = {}
    names: Counter[int] = Counter()
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
        row, _ = rows.setdefault(variant_key(line), (len(rows), _row(line)))
        names[row] += 1
        splices[row] = max(splices.get(row, 0), line.get("splices", 0))
        yield ("" if first else ",\n") + _compact(_cell(line, list(boxes).index(box), row))
        first = False
    rest = {
        "boxes": list(boxes.values()),
        "rows": [
            [*_named(row, 0 if any(row[2:]) else names[number]), splices[number]] for number, row in rows.values()
        ],
        "marks": MARKS,
        "short": SHORT,
        "words": OUTCOMES,
        "fitting": FITTING,
        "factors": OTHERS,
    }
    yield f"\n],{_compact(rest)[1:]}"


def _row(line: Line) -> list[str]:
    """Return the heads of a row: mix, variant in words, and the values of the other factors."""
    return [mix_name(line), variant(line), *(line["values"].get(factor, "") for factor in OTHERS)]


def _named(row: list[str], jobs: int) -> list[Any]:
    """Return the heads of a row; a row of several job files names the first and the number of the others."""
    return [row[0], f"{row[1]} and {jobs - 1:,} more", *row[2:]] if jobs > 1 else [*row]


def _cell(line: Line, box: int, row: int) -> list[Any]:
    goals = line.get("goals") or {}
    fill = fill_of(line) if goals else None
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
        conflict_words(line),
    ]


def _compact(value: object) -> str:
    return json.dumps(value, ensure_ascii=False, separators=(",", ":"))


def _inside_script(text: str) -> str:
    """Escape JSON so that it cannot end the script element around it."""
    return text.replace("<", "\\u003c").replace("\u2028", "\\u2028").replace("\u2029", "\\u2029")
