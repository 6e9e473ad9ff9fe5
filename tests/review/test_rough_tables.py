"""Whatever stands in a table, the review ends with findings or with an error of input, and can be written out."""

from __future__ import annotations

import csv
import json
import random
import re
from io import StringIO

import pytest

from tests.review.corpus import scenario
from trayopt.errors import InputError
from trayopt.review.desk import Review, review_table
from trayopt.review.html import review_html
from trayopt.review.marked import marked_workbook
from trayopt.review.mend import mend
from trayopt.review.reading import parse_handmade
from trayopt.review.text import review_text

TRUNKS = ["QUAY", "QUAY", "EAST", "WEST", "quay", "NORTH", ""]
FIBRES = [
    "1-72", "73-144", "1-144", "145-288", "217-288", "1-24", "25-48", "1-12", "13-24", "7", "0-5", "288",
    "1-1000000", "blue", "blue/orange/1-12", "orange/1-6/all", "1/1/1", "72-1", "12-Jan", "1,72", "all", "-",
    "\u2013", "",
]  # fmt: skip
PLACES = ["left/1", "left/2", "right/1", "right/6", "right/7", "left", "middle/1", "1", "left/1/2", ""]
PORTS = ["bottom-left", "bottom-right", "side", "Bottom-Left", "cellar", "", "", ""]
TRAVELS = ["cw", "ccw", "clockwise", "round", "", "", ""]
NUMBERS = ["1", "2", "3", "6", "0", "99", "-1", "1.0", "1,5", "x", "", "", "999999999999"]
LEGS = ["trunk", "fibres", "tray", "port", "travel", "loops", "end", "cut", "built"]
RUNS = [
    *(f"{side} {part}" for side in ("from", "to") for part in ("trunk", "tube", "ribbon", "fibres")),
    "tray",
    "sleeve",
]


def table(columns: list[str], rows: list[dict[str, str]]) -> str:
    """Write a table of some columns."""
    stream = StringIO()
    writer = csv.DictWriter(stream, columns, restval="")
    writer.writeheader()
    writer.writerows(rows)
    return stream.getvalue()


def rough(rng: random.Random) -> str:
    """Make a table of cells that are mostly wrong."""
    columns = rng.choice([LEGS, RUNS])
    pools = {"trunk": TRUNKS, "tray": PLACES, "port": PORTS, "travel": TRAVELS, "end": ["top", "", "side"]}
    pools |= dict.fromkeys(("fibres", "tube", "ribbon"), FIBRES) | {"built": ["", "x"]}
    rows = [
        {column: rng.choice(pools.get(column.split()[-1], NUMBERS)) for column in columns}
        for _ in range(rng.randint(1, 12))
    ]
    return table(columns, rows)


def readable(rng: random.Random) -> str:
    """Make a table that can be read and is mostly nonsense: runs of any length in any tray, splices of any fibres."""
    places = ["left/1", "left/2", "left/3", "right/1", "right/2", "right/5", ""]
    rows: dict[str, dict[str, str]] = {}
    if rng.random() < 0.5:
        for _ in range(rng.randint(1, 14)):
            trunk, most = rng.choice([("QUAY", 288), ("EAST", 144), ("WEST", 144)])
            length = rng.choice([1, 6, 12, 24, 36, 48, 72, 100, 144])
            first = rng.choice([1, 13, 73, 145, 49, 2])
            run = f"{first}-{min(first + length - 1, most)}"
            if first <= most:
                rows[f"{trunk}:{run}"] = {"trunk": trunk, "fibres": run, "tray": rng.choice(places)}
        return table(LEGS, list(rows.values()))
    at = {"QUAY": 1, "EAST": 1, "WEST": 1}
    while at["QUAY"] < 264 and at["WEST"] <= 144:
        other = "EAST" if at["QUAY"] <= 144 and rng.random() < 0.9 else "WEST"
        length = min(rng.choice([12, 12, 24, 36, 72, 5]), 289 - at["QUAY"], 145 - at[other])
        row = {"from trunk": "QUAY", "to trunk": other, "tray": rng.choice(places)}
        for side, trunk in (("from", "QUAY"), ("to", other)):
            row[f"{side} fibres"] = f"{at[trunk]}-{at[trunk] + length - 1}"
            at[trunk] += length
        rows[row["from fibres"]] = row
    return table(RUNS, list(rows.values()))


@pytest.mark.parametrize("seed", range(30))
def test_a_rough_table_ends_in_findings_at_their_places(seed: int) -> None:
    made = parse_handmade(scenario(), rough(random.Random(seed)).encode(), "rough.csv")
    assert made.faults
    assert all(fault.line > 1 and fault.column for fault in made.faults)
    review = review_table(scenario(), made, complete_s=2)
    assert not review.passed
    assert sum(remark.level == "damage" for remark in review.remarks) >= len({fault.message for fault in made.faults})
    written(review)


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("trunk", "colour", r"there is no column '(from )?trunk'"),
        ("QUAY|EAST|WEST|quay|NORTH", "DOCK", "no trunk of this table is in the job"),
    ],
)
def test_a_rough_table_of_something_else_is_refused(old: str, new: str, says: str, seed: int) -> None:
    text = re.sub(old, new, rough(random.Random(seed)))
    with pytest.raises(InputError, match=says) as wrong:
        review_table(scenario(), parse_handmade(scenario(), text.encode(), "rough.csv"), complete_s=2)
    assert all(fault.source == "rough.csv" and fault.line for fault in wrong.value.faults)


@pytest.mark.parametrize("seed", [pytest.param(seed, marks=[pytest.mark.slow] * (seed >= 8)) for seed in range(16)])
def test_a_readable_table_is_judged_whatever_it_says(seed: int) -> None:
    made = parse_handmade(scenario(), readable(random.Random(seed)).encode(), "nonsense.csv")
    assert made.faults == []
    review = review_table(scenario(), made, complete_s=2)
    assert not review.passed
    written(review)


@pytest.mark.parametrize("seed", [pytest.param(seed, marks=[pytest.mark.slow] * (seed >= 2)) for seed in range(4)])
def test_nonsense_is_mended_to_a_plan(seed: int) -> None:
    text = readable(random.Random(seed))
    mended = mend(scenario(), parse_handmade(scenario(), text.encode(), "nonsense.csv", lenient=True), limit_s=30)
    assert mended.plan is not None
    assert mended.weighed is not None


def written(review: Review) -> None:
    """Write a review in every form."""
    json.dumps(review.as_dict())
    assert review_text(review)
    assert review_html(review)
    assert marked_workbook(review)
