"""Hands on the ring: no step of any plan needs what is buried or out of reach, and a wrong order is caught."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.crewsheets.plans import (
    STANDARD,
    book,
    built_in,
    crossed,
    gone,
    grown,
    half,
    hostile,
    ported,
    replanned,
    straight,
    tapped,
    worked,
)
from trayopt.api import load_job, solve
from trayopt.crewsheets import order
from trayopt.crewsheets.acts import Act
from trayopt.crewsheets.book import Book
from trayopt.crewsheets.hands import replay
from trayopt.crewsheets.order import acts_of, wanted
from trayopt.crewsheets.settings import Settings, TestSettings
from trayopt.crewsheets.write import Options, Sheets
from trayopt.domain.base import remade
from trayopt.domain.job import Job
from trayopt.domain.plan import Plan

MOST_FIBRES = 1728
SMALL = Settings(tests=TestSettings(batch_fibres=1))
CASES: dict[str, Callable[[], tuple[Job, Plan]]] = {
    "worked": worked,
    "worked at the port": ported,
    "half": half,
    "hostile": hostile,
    "tapped": tapped,
    "tapped at the port": lambda: tapped(at_port=True),
    "crossed": crossed,
    "crossed at the port": lambda: crossed("port"),
    "grown": grown,
    "gone through": gone,
    "gone through, a tube cut for both sides": lambda: gone("both"),
    "gone through, nothing uncut": lambda: gone("whole"),
    "gone through, one tube cut before": lambda: built_in(gone("whole"), ["left/1"]),
    "all built": lambda: built_in(worked(), ["left/1", "left/2"]),
    "432": lambda: straight("2x432-wall-2x6"),
    "432, base built": lambda: built_in(straight("2x432-wall-2x6"), ["left/1", "left/2", "right/1"]),
    "432, outside built": lambda: built_in(straight("2x432-wall-2x6"), ["left/3", "left/4"]),
    "432, one of two tied built": lambda: built_in(straight("2x432-wall-2x6"), ["left/1"]),
    "432, the outer of two tied built": lambda: built_in(straight("2x432-wall-2x6"), ["left/2", "left/3", "left/4"]),
    "864 at the port, outside built": lambda: built_in(straight("2x864-wall-3x8-port"), ["left/4", "middle/2"]),
    "6912": lambda: straight("2x6912-cabinet-4x24"),
}


@cache
def opened(case: str) -> Book:
    return book(CASES[case](), SMALL)


def standard() -> list[str]:
    """Give the standard jobs that are solved in seconds."""
    found = []
    for path in sorted(STANDARD.glob("*.yaml")):
        if max(trunk.cable.fibres for trunk in load_job(path).trunks) <= MOST_FIBRES:
            found.append(path.stem)
    return found


@pytest.mark.parametrize(
    "name", [pytest.param(name, marks=[pytest.mark.slow] * (i % 6 > 0)) for i, name in enumerate(standard())]
)
def test_the_steps_of_every_standard_job_can_be_done(name: str) -> None:
    job = load_job(Path(STANDARD / f"{name}.yaml"))
    plan = solve(job, time_limit_s=20, workers=2, explain=False).plan
    assert plan.status != "none"
    made = Sheets(job, plan, Options())
    assert replay(made.book, [step.act for step in made.steps]) == []


@pytest.mark.parametrize("case", CASES)
def test_the_steps_of_plans_laid_by_hand_can_be_done(case: str) -> None:
    for settings in (Settings(), SMALL):
        made = Sheets(*CASES[case](), Options(settings=settings))
        acts = [step.act for step in made.steps]
        assert replay(made.book, acts) == []
        assert {i for act in acts if act.phase == "lay" for i in act.trays} == set(made.book.work_trays)
        assert {i for act in acts if act.phase == "splice" for i in act.trays} == set(made.book.work_trays)


@pytest.mark.parametrize("case", [case for case in CASES if case not in {"all built", "6912"}])
def test_every_act_is_needed(case: str) -> None:
    """Without any one of its acts the work cannot be done; what opens the box and what closes it are asked for by nobody."""
    acts = acts_of(opened(case))
    for i, act in enumerate(acts):
        if act.phase not in {"prepare", "close"}:
            assert replay(opened(case), [*acts[:i], *acts[i + 1 :]]) != [], act


@given(st.data())
def test_the_order_is_found_whatever_order_the_acts_are_listed_in(data: st.DataObject) -> None:
    case = data.draw(st.sampled_from(["worked", "worked at the port", "tapped", "half"]))
    shuffled = data.draw(st.permutations(list(wanted(opened(case)))))
    listed: Callable[[Book], Sequence[Act]] = lambda _: shuffled  # noqa: E731
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(order, "wanted", listed)
        found = acts_of(opened(case))
    assert sorted(map(str, found)) == sorted(map(str, shuffled))
    assert replay(opened(case), found) == []


# --- wrong orders, each by hand -----------------------------------------------------------------------------------------


def moved(acts: list[Act], phase: str, before: str, *, nth: int = 0, to: int = 0) -> list[Act]:
    """Put the nth act of a phase before the ``to``-th act of another one."""
    act = [act for act in acts if act.phase == phase][nth]
    goal = [act for act in acts if act.phase == before][to]
    left = [other for other in acts if other is not act]
    at = left.index(goal)
    return [*left[:at], act, *left[at:]]


WRONG: dict[str, tuple[str, str, Callable[[list[Act]], list[Act]]]] = {
    "a tray is laid before the one that is tied to it is spliced": (
        "worked", "ties left/1 left/2", lambda acts: moved(acts, "lay", "splice", to=1),
    ),
    "a tube of which a tray is laid is to come to the bench": (
        "worked", "on_track Q/1", lambda acts: moved(acts, "lay", "splice", to=1),
    ),
    "both trunks lie on the track before the first comes off": (
        "worked", "buried P/1 Q/1", lambda acts: moved(acts, "route", "mark", nth=1),
    ),
    "legs are divided on the track": (
        "worked", "on_track Q/1", lambda acts: moved(acts, "divide", "take_off", to=1),
    ),
    "a trunk is routed before its stacks stand": (
        "worked", "no_stack P/1 left/1", lambda acts: moved(acts, "route", "fit"),
    ),
    "trays are taken out before a trunk is marked": (
        "worked", "unmarked Q/1", lambda acts: moved(acts, "take_out", "mark", to=1),
    ),
    "a trunk is marked off the track": (
        "worked", "off_track P/1", lambda acts: moved(acts, "mark", "route"),
    ),
    "a tray is spliced in its stack": (
        "worked", "not_at_bench left/1", lambda acts: moved(acts, "splice", "take_out"),
    ),
    "a tray is spliced before its legs are divided": (
        "worked", "undivided P/1", lambda acts: moved(acts, "splice", "divide"),
    ),
    "a tray is laid before it is spliced": (
        "worked", "unspliced left/1", lambda acts: moved(acts, "lay", "splice"),
    ),
    "the outer tray is laid first": (
        "worked at the port", "buries left/2 left/1",
        lambda acts: moved(moved(acts, "splice", "lay", nth=1), "lay", "lay", nth=1),
    ),
    "the inner tray is laid under the outer one": (
        "worked at the port", "buried left/1 left/2",
        lambda acts: moved(moved(acts, "splice", "lay", nth=1), "lay", "lay", nth=1),
    ),
    "a batch is laid over before it is tested": (
        "worked at the port", "untested left/2 left/1", lambda acts: moved(acts, "lay", "test", nth=1),
    ),
    "a trunk is routed before it is parted at the port": (
        "worked at the port", "whole Q/1.1", lambda acts: moved(acts, "part", "close"),
    ),
    "a jacket comes off before its release": (
        "worked", "unsigned P release", lambda acts: moved(acts, "strip", "release"),
    ),
    "a jacket comes off before the trunk is clamped": (
        "worked", "unclamped P", lambda acts: moved(acts, "strip", "clamp"),
    ),
    "a release is signed before the cable is known": (
        "worked", "unknown P", lambda acts: moved(acts, "release", "identify"),
    ),
    "units are looked for under the jacket": (
        "worked", "jacket P", lambda acts: moved(acts, "units", "strip"),
    ),
    "tubes are released before they are known": (
        "worked", "unknown Q", lambda acts: moved(acts, "release_units", "units"),
    ),
    "tubes are opened before their release": (
        "worked", "unsigned Q/1 release_units", lambda acts: moved(acts, "divide", "release_units"),
    ),
    "the box is closed with a tray at the bench": (
        "worked", "not_there left/2", lambda acts: moved(acts, "close", "lay", to=1),
    ),
    "the box is closed before the last test": (
        "worked", "untested close left/1", lambda acts: moved(acts, "close", "test"),
    ),
    "a tray in service is opened before its hold point": (
        "grown", "unsigned left/1 open 0", lambda acts: moved(acts, "splice", "open"),
    ),
    "a tray goes under one in service before its hold point": (
        "grown", "buried right/1 right/2", lambda acts: moved(acts, "fit", "open"),
    ),
    "work begins before it is known what is in service": (
        "grown", "unsigned identify service", lambda acts: moved(acts, "identify", "service"),
    ),
    "a tray is tried on twice": (
        "worked", "taken left/1", lambda acts: [act for act in acts for _ in range(1 + (act.phase == "fit"))],
    ),
}  # fmt: skip


@pytest.mark.parametrize("wrong", WRONG)
def test_a_wrong_order_is_caught(wrong: str) -> None:
    case, told, change = WRONG[wrong]
    acts = acts_of(opened(case))
    assert replay(opened(case), acts) == []
    found = {" ".join(part for part in trouble if part) for _, trouble in replay(opened(case), change(acts))}
    assert told in found


def test_a_leg_that_is_too_short_for_the_bench_is_told_before_the_work_begins() -> None:
    """P/1 frees 1930 mm (spec, section 10); at a bench of 2000 mm no order of work brings left/1 there."""
    job, plan = worked()
    reach = job.rules["reach"]
    setting = remade(reach, level="prefer", parameters={"bench_mm": 2000})
    pair = replanned(remade(job, rules={**job.rules, "reach": setting}), plan, job)
    made = Sheets(*pair, Options())
    found = replay(made.book, [step.act for step in made.steps])
    assert [(trouble.what, trouble.by) for _, trouble in found] == [
        ("P/1 (left/1)", "1930 / 2000 mm"), ("P/2 (left/2)", "1941 / 2000 mm"),
    ]  # fmt: skip
    told = [line for line in made.warnings() if "does not reach the bench" in line]
    assert len(told) == 2
    assert "Splice tray left/1" in told[0]
    assert told[0] in made.page()
    # Where the rule is off nobody carries trays to a bench.
    off = replanned(remade(job, rules={**job.rules, "reach": remade(setting, level="off")}), plan, job)
    assert not [line for line in Sheets(*off, Options()).warnings() if "bench" in line]


def test_an_act_of_a_tray_of_which_the_tube_lies_on_the_track_is_caught_once_it_is_laid_again() -> None:
    """All is built as it should be, then one of two tied trays is to be spliced again."""
    acts = acts_of(opened("worked"))
    splice = next(act for act in acts if act.phase == "splice")
    found = replay(opened("worked"), [*acts, replace(splice)])
    assert {trouble.kind for _, trouble in found} == {"not_at_bench", "on_track"}
