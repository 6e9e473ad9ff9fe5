"""The registry: every row of the table, and how a job's rules are read."""

from __future__ import annotations

from contextlib import ExitStack
from typing import Any

import pytest

from tests.build import job_of
from tests.example_rule import EVERY, StackTrunks
from tests.oracle import RULES as TABLE
from tests.strategies import worked_example
from trayopt.domain.base import remade
from trayopt.domain.job import Setting
from trayopt.review.columns import LEG_COLUMNS, NAMES, RUN_COLUMNS, SIDES
from trayopt.rules.registry import BY_ID, RULES, SETTABLE, fill, in_box, level_of, register, weight_of

BOX = job_of(worked_example()).enclosure
"""The box of the worked example: π × √1500 = 121.67, so that a turn allows 122 mm."""
pytestmark = pytest.mark.usefixtures("example_rule")


def usual(rule: str) -> dict[str, Any]:
    """Give the parameters of a rule in the table, with what follows from the box."""
    return {name: 122 if name == "allowance_mm" else value for name, value in TABLE[rule][3].items()}


def test_the_rules_stand_as_the_table_has_them() -> None:
    assert [rule.name for rule in RULES] == list(TABLE)
    for rule, (kind, level, weight, _) in zip(RULES, TABLE.values(), strict=True):
        assert rule.kind == kind
        assert rule.usual(BOX) == usual(rule.name)
        if kind != "always":
            assert (rule.id, rule.level, rule.weight) == (rule.name, level, weight)


@pytest.mark.parametrize("rule", EVERY, ids=lambda rule: rule.id)
def test_every_rule_says_what_it_is(rule: Any) -> None:
    assert rule.statement
    assert rule.why.endswith((".", "?"))
    assert rule.source
    assert rule.subject in {
        "leg", "subunit", "trunk", "through trunk", "stack", "tray place", "guide", "port", "pair of joins", "pin",
        "pair of trunks",
    }  # fmt: skip
    assert type(rule).__doc__


def test_cells_to_change_are_columns_that_tables_have() -> None:
    known = {*LEG_COLUMNS, *RUN_COLUMNS, *NAMES} | {f"{side} fibres" for side in SIDES} | set(SIDES)
    for rule in RULES:
        assert known.issuperset(rule.cells), rule.id
        assert known.issuperset(rule.way_cells), rule.id


def test_defaults_are_filled_in() -> None:
    settings, faults = fill({}, BOX)
    assert not faults
    assert list(settings) == list(SETTABLE)
    assert {rule: dict(setting.parameters) for rule, setting in settings.items() if setting.parameters} == {
        rule: usual(rule) for rule in TABLE if usual(rule)
    }
    assert settings["opposite_travel"] == Setting(level="prefer", weight=3)
    assert settings["subunit_together"].weight == 2
    assert settings["reserve"].level == "off"


def test_a_level_alone_or_in_a_mapping() -> None:
    settings, faults = fill(
        {
            "alternate_stacks": "must",
            "guide_fill": {"level": "must", "fill": 0.45},
            "tray_pair": {"level": "prefer", "weight": 3},
            "reach": {"bench_mm": 1800},
            "pin": {"weight": 7},
        },
        BOX,
    )
    assert not faults
    assert settings["alternate_stacks"].level == "must"
    assert settings["guide_fill"].parameters == {"fill": 0.45}
    assert settings["tray_pair"].weight == 3
    assert (settings["reach"].level, settings["reach"].parameters) == ("must", {"bench_mm": 1800})
    assert (settings["pin"].level, settings["pin"].weight) == ("must", 7)


def test_what_follows_from_the_box_is_filled_in_where_the_job_does_not_say() -> None:
    def allowance(raw: dict[str, object], box: Any = BOX) -> object:
        return fill(raw, box)[0]["exposed"].parameters["allowance_mm"]

    assert allowance({}) == allowance({"exposed": "off"}) == allowance({"exposed": {"least_mm": 2000}}) == 122
    assert allowance({"exposed": {"allowance_mm": 80}}) == 80
    # no box could be read: the rest is read all the same
    assert allowance({"exposed": {"least_mm": 2000}}, None) == 100


def test_another_box_brings_its_own_allowance_along() -> None:
    # π × 60 = 188.50
    wide = remade(
        BOX, track=remade(BOX.track, guides=(remade(BOX.track.guides[0], width_mm=60), *BOX.track.guides[1:]))
    )
    data = worked_example()
    assert in_box(job_of(data), wide).rules["exposed"].parameters["allowance_mm"] == 189
    data["rules"]["exposed"] = {"allowance_mm": 80}
    assert in_box(job_of(data), wide).rules["exposed"].parameters["allowance_mm"] == 80


def test_a_whole_number_stands_for_a_decimal() -> None:
    assert repr(fill({"guide_fill": {"fill": 1}}, BOX)[0]["guide_fill"].parameters["fill"]) == "1.0"


@pytest.mark.parametrize(
    ("raw", "path", "words"),
    [
        ({"guide_fil": "must"}, ("guide_fil",), "did you mean 'guide_fill'?"),
        ({"guide-fill": "must"}, ("guide-fill",), "did you mean 'guide_fill'?"),
        ({"whole_legs": "off"}, ("whole_legs",), "always holds"),
        ({"reach": "mus"}, ("reach",), "did you mean 'must'?"),
        ({"reach": {"level": "hard"}}, ("reach", "level"), "must, prefer, off"),
        ({"reach": {"level": False}}, ("reach", "level"), "quotes"),
        ({"reach": 3}, ("reach",), "neither a level nor a mapping"),
        ({"reach": None}, ("reach",), "neither a level nor a mapping"),
        ({"reach": ["must"]}, ("reach",), "neither a level nor a mapping"),
        ({"reach": {"bench": 1800}}, ("reach", "bench"), "did you mean 'bench_mm'?"),
        ({"reach": {"bench_mm": 1800.5}}, ("reach", "bench_mm"), "a whole number from 0"),
        ({"reach": {"bench_mm": "1800"}}, ("reach", "bench_mm"), "'1800'"),
        ({"reach": {"bench_mm": True}}, ("reach", "bench_mm"), "a whole number from 0"),
        ({"reach": {"bench_mm": -1}}, ("reach", "bench_mm"), "-1"),
        ({"tray_pair": {"bench_mm": 1}}, ("tray_pair", "bench_mm"), "level, weight"),
        ({"tray_pair": {"weight": 0}}, ("tray_pair", "weight"), "a whole number from 1"),
        ({"tray_pair": {"weight": True}}, ("tray_pair", "weight"), "a whole number from 1"),
        ({"tray_pair": {"weight": 1.0}}, ("tray_pair", "weight"), "a whole number from 1"),
        ({"guide_fill": {"fill": 0}}, ("guide_fill", "fill"), "above 0"),
        ({"guide_fill": {"fill": 1.01}}, ("guide_fill", "fill"), "up to 1"),
        ({"guide_fill": {"fill": float("nan")}}, ("guide_fill", "fill"), "nan"),
        ({"guide_fill": {"fill": True}}, ("guide_fill", "fill"), "a number"),
        ({"port_fill": {"more": float("inf")}}, ("port_fill", "more"), "inf"),
        ({"slack_loops": {"least": 3, "most": 2}}, ("slack_loops",), "least 3"),
        ({"slack_loops": {"most": 10}}, ("slack_loops", "most"), "up to 9"),
        ({"reserve": {"trays": -1}}, ("reserve", "trays"), "from 0"),
        ({"tied_trays": {"trays": 0}}, ("tied_trays", "trays"), "from 1"),
        ({"opened_tube": "must"}, ("opened_tube",), "'opened tube' always holds"),
        ({"breakout": {"trays": 1}}, ("breakout", "trays"), "level, weight"),
    ],
)
def test_faults_say_where_and_what(raw: dict[str, object], path: tuple[str, ...], words: str) -> None:
    settings, faults = fill(raw, BOX)
    (fault,) = faults
    assert fault.path == path
    assert words in " ".join((fault.message, fault.found, fault.allowed, fault.hint))
    assert settings == fill({}, BOX)[0]


def test_all_faults_at_once_in_the_order_of_the_file() -> None:
    _, faults = fill({"zebra": "must", "tray_pair": {"weight": 0, "more": 1}, "apart": "never"}, BOX)
    assert [fault.path for fault in faults] == [
        ("zebra",),
        ("tray_pair", "weight"),
        ("tray_pair", "more"),
        ("apart",),
    ]


def test_a_job_without_settings_has_the_defaults() -> None:
    assert level_of(BY_ID["reserve"], {}) == "off"
    assert weight_of(BY_ID["opposite_travel"], {}) == 3


def test_a_rule_is_registered_once_and_leaves_no_trace() -> None:
    with ExitStack() as registered, pytest.raises(ValueError, match="stack_trunks cannot be registered"):
        registered.enter_context(register(StackTrunks()))
    known = list(SETTABLE)

    class Other(StackTrunks):
        id = "other"

    def fail() -> None:
        with register(Other()):
            assert [*known, "other"] == SETTABLE
            assert fill({"other": "must"}, BOX)[0]["other"].level == "must"
            raise KeyError

    with pytest.raises(KeyError):
        fail()
    assert known == SETTABLE
    assert fill({"other": "must"}, BOX)[1][0].message == "no such rule"
