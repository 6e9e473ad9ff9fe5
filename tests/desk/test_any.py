"""Whatever is done on a desk: figures stay right, every step is undone, and the file says what the page says."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from trayopt.api import check, load_job
from trayopt.desk.acts import Wrong
from trayopt.desk.desk import Desk
from trayopt.errors import InputError

LEGS = [
    f"{trunk}/{subunit}{group}" for trunk in ("N1", "S1") for subunit in (1, 2, 3) for group in ("", ".1", ".2", ".4")
]
TRUNKS = st.sampled_from(["N1", "S1"])
ACTS = st.one_of(
    st.fixed_dictionaries(
        {"act": st.just("move"), "leg": st.sampled_from(LEGS), "alone": st.booleans()},
        optional={"stack": st.sampled_from(["left", "right"]), "position": st.integers(1, 6)},
    ),
    st.fixed_dictionaries(
        {
            "act": st.just("divide"), "trunk": TRUNKS, "subunit": st.integers(1, 3), "of": st.sampled_from([1, 2, 3, 4, 12]),
            "alone": st.booleans(),
        }
    ),
    st.fixed_dictionaries(
        {
            "act": st.just("way"), "trunk": TRUNKS, "port": st.sampled_from(["bottom-left", "side"]),
            "travel": st.sampled_from(["clockwise", "counterclockwise"]), "loops": st.integers(0, 3),
            "divide_at": st.sampled_from(["tray", "port"]),
        }
    ),
    st.fixed_dictionaries({"act": st.just("lock"), "leg": st.sampled_from(LEGS), "on": st.booleans()}),
    st.fixed_dictionaries({"act": st.just("lock"), "trunk": TRUNKS, "on": st.booleans()}),
    st.sampled_from([{"act": "undo"}, {"act": "redo"}]),
)  # fmt: skip
NOT_NEW = settings(max_examples=10, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])


@pytest.fixture
def fresh(folder: Path) -> Path:
    """Give the job's file, which each example finds as it was."""
    return folder / "job.yaml"


def tried(desk: Desk, request: dict[str, Any]) -> None:
    try:
        desk.act({"at": desk.state()["at"], **request})
    except (Wrong, InputError):
        return


@NOT_NEW
@given(acts=st.lists(ACTS, min_size=1, max_size=7))
def test_figures_stay_right_and_all_is_undone(fresh: Path, acts: list[dict[str, Any]]) -> None:
    desk = Desk(fresh)
    first = desk.state()["board"]
    for request in acts:
        tried(desk, request)
        job, report = desk.document.job, desk.document.report()
        assert job is not None
        assert report is not None
        assert desk.state()["faults"] == []
        assert check(job, report.plan).figures == ()
    for _ in acts:
        tried(desk, {"act": "undo"})
    assert desk.state()["board"] == first
    assert desk.state()["unsaved"] == [False, False]
    desk.keeping.drop()


@NOT_NEW
@given(
    text=st.text(max_size=12)
    | st.sampled_from(["12:24", "NO", "&a", "*a", "{a: 1}", "- x", "# x", "a: b", "!x", "|", "'", '"', "…"]),
    cell=st.sampled_from(
        [
            ("joins", "name"),
            ("joins", "a"),
            ("trunks", "cable"),
            ("trunks", "loops"),
            ("pins", "leg"),
            ("apart", "joins"),
        ]
    ),
)
def test_the_file_says_what_the_page_says(fresh: Path, text: str, cell: tuple[str, str]) -> None:
    before = fresh.read_bytes()
    desk = Desk(fresh)
    table, key = cell
    tried(desk, {"act": "cells", "table": table, "cells": [[0, key, text]]})
    tried(desk, {"act": "head", "key": "title", "text": text})
    said = [each["text"]["en"] for each in desk.state()["faults"]]
    tried(desk, {"act": "save", "over": True})
    try:
        job = load_job(fresh)
        found = []
        assert desk.document.job is not None
        assert job.digest == desk.document.job.digest
        assert job.title == desk.document.job.title
    except InputError as wrong:
        found = [str(fault) for fault in wrong.faults]
    assert found == said
    fresh.write_bytes(before)
