"""Mend and its limit: one clock for all of it, and what was found by then is given."""

from __future__ import annotations

import time
from dataclasses import replace
from importlib import import_module
from typing import Any

import pytest

from tests.review.test_mend import QUIET, changed, table
from trayopt.api import load_job
from trayopt.domain.decision import RunAt
from trayopt.domain.job import Job
from trayopt.goals.registry import measure_all
from trayopt.review.answers import no_plan
from trayopt.review.mend import mend
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.decisions import Weights
from trayopt.solver.repair.clash import Clash, Facts
from trayopt.solver.repair.nearest import nearest
from trayopt.solver.solve import Options
from trayopt.track.laid import Laid


def frozen(job: Job, good: str) -> Any:
    """Give a table in which rows are marked as built that no plan keeps."""
    head, *rows = good.replace("73-144,left,2", "73-144,left,3").splitlines()
    marked = [f"{row},{'yes' if ',left,' in row else ''}" for row in rows]
    return table(job, "\n".join([f"{head},built", *marked]))


def test_what_was_found_by_the_limit_is_given_whatever_is_under_way(good: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """A model that takes for ever to be made is left behind; the plan of the look before stands, not called proven."""
    job = load_job(changed(positions=5))
    given = table(job, good.replace("right,1", "right,5").replace("right,2", "right,6")).given()
    room = import_module("trayopt.solver.repair.nearest")
    look, made, seen = room._Search.look, room.kept_model, []

    def looked(self: Any, *rest: Any) -> Any:
        near = look(self, *rest)
        seen.append(near)
        return near

    def slow(*args: Any, **more: Any) -> Any:
        while any(seen):
            time.sleep(0.01)
        return made(*args, **more)

    whole = nearest(job, given, tuning=QUIET)
    monkeypatch.setattr(room._Search, "look", looked)
    monkeypatch.setattr(room, "kept_model", slow)
    found = nearest(job, given, clock=Clock(3.0), tuning=QUIET)
    assert found.assignment is not None
    assert found.weighed is not None
    assert whole.weighed is not None
    assert found.weighed >= whole.weighed
    assert not found.proven
    assert found.changes.weighed(Weights()) == found.weighed


def test_rows_in_each_others_way_are_looked_for_on_the_clock_of_the_mend(
    quay: Job, good: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    clocks: list[Clock] = []
    near, rows = import_module("trayopt.solver.repair.nearest"), import_module("trayopt.solver.repair.clash")
    nearest, clash = near.nearest, rows.clash

    def nearest_on(*args: Any, clock: Clock, **more: Any) -> Any:
        clocks.append(clock)
        return nearest(*args, clock=clock, **more)

    def clash_on(facts: Facts, *args: Any) -> Any:
        clocks.append(facts.clock)
        return clash(facts, *args)

    monkeypatch.setattr(near, "nearest", nearest_on)
    monkeypatch.setattr(rows, "clash", clash_on)
    mended = mend(quay, frozen(quay, good), limit_s=30)
    assert mended.clash
    assert clocks[-1] is clocks[-2]


def test_without_time_for_it_rows_in_each_others_way_are_not_called_needed(
    quay: Job, good: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(
        import_module("trayopt.solver.repair.clash"),
        "clash",
        lambda facts: Clash((0, len(facts.groups) - 1), False),
    )
    mended = mend(quay, frozen(quay, good), limit_s=30)
    assert not mended.clash_minimal
    assert "(the time was too short to say which)" in no_plan(mended)


def test_a_plan_that_the_first_look_found_is_not_lost_where_the_search_has_no_time(
    quay: Job, good: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A table of an unusual division: the search for its best plan ends at once, and the table is completed all the same."""
    room = import_module("trayopt.solver.repair.completing")
    search = room.solve

    def hasty(job: Job, options: Options) -> Any:
        return search(job, replace(options, time_limit_s=1e-6))

    monkeypatch.setattr(room, "solve", hasty)
    facts = [fact for _, some in table(quay, good).facts() for fact in some]
    found = room.complete(quay, facts, clock=Clock(30.0), tuning=QUIET)
    assert found.assignment is not None
    assert not found.impossible
    laid = Laid(quay, found.assignment)
    assert measure_all(laid)["unplaced"] == measure_all(laid)["broken_must"] == 0
    lies = {(leg.trunk, *quay.subunit(leg).leg_run(leg), place) for leg, place in found.assignment.places.items()}
    assert {(*fact.run, fact.place) for fact in facts if isinstance(fact, RunAt)} <= lies


def test_it_is_told_at_once_that_no_tray_takes_what_a_join_chains(monkeypatch: pytest.MonkeyPatch) -> None:
    """A join that meets no edge of ribbons chains all its legs: 280 splices in one tray of 72, in whatever legs."""
    cable = "ribbon-288-2x144"
    job = load_job(
        {
            "schema": "trayopt/job/2",
            "title": "a join beside the edges of ribbons",
            "enclosure": "wall-2x6",
            "trunks": [{"id": "N1", "cable": cable}, {"id": "W1", "cable": cable}],
            "joins": [{"a": "N1:1-280", "b": "W1:9-288"}],
        }
    )
    given = table(job, "trunk,fibres,stack,position\nN1,1-72,left,1\n")

    def nearest_(*_: Any, **__: Any) -> Any:
        raise AssertionError("a search was begun")

    monkeypatch.setattr("trayopt.solver.repair.nearest.nearest", nearest_)
    found = mend(job, given)
    assert found.impossible
    assert found.plan is None
