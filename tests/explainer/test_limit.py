"""The limit of an explanation: what is known by then is told, whatever is under way."""

from __future__ import annotations

import time
from importlib import import_module
from typing import Any

import pytest

from trayopt.api import explain, load_job


def test_the_conflict_is_told_though_a_way_out_takes_for_ever(monkeypatch: pytest.MonkeyPatch) -> None:
    job = load_job("models/standard/no-2x864-wall-1x6-trays.yaml")
    room = import_module("trayopt.explainer.why_not")
    way_out = room.way_out
    seen: list[Any] = []

    def slow(*args: Any) -> Any:
        while seen:
            time.sleep(0.01)
        way = way_out(*args)
        seen.append(way)
        return way

    monkeypatch.setattr(room, "way_out", slow)
    made = explain(job, time_limit_s=12)
    assert made.conflicts
    assert made.out_of_time
    assert [way for way in seen if way is not None] == list(made.ways_out)
    assert "The time ran out before everything was looked at" in made.summary
