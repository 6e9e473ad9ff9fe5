"""Costs of ways out: read from the command line, and what is wrong there told all at once."""

from __future__ import annotations

import json

import pytest

from tests.cli.run import trayopt as run
from trayopt.errors import InputError
from trayopt.explainer.costs import MOST_COST, Costs, cost_names, costs_of

PINNED = "models/standard/unmet-pins-2x288-wall-2x6.yaml"


def test_what_is_not_named_keeps_its_default() -> None:
    assert costs_of([]) == Costs()
    assert costs_of(["trays=7", " pin = 0 "]) == Costs(trays=7, pin=0)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("tray=3", "there is no cost 'tray'; allowed: pin, .*did you mean 'trays'"),
        ("=3", "there is no cost an empty text; allowed: "),
        ("seal", "the cost of seal cannot be used; found no =; allowed: .*such as seal=8"),
        ("seal=", "found an empty text"),
        ("seal=-1", "found '-1'; allowed: a whole number from 0 to 1,000,000"),
        ("seal=1.5", "found '1.5'"),
        ("seal=٣", "found '٣'"),
        (f"seal={MOST_COST + 1}", "found '1000001'"),
        ("seal=" + "9" * 5000, "found '999.*[.]{3}'"),
    ],
)
def test_wrong_names_and_numbers_say_what_is_allowed(text: str, words: str) -> None:
    with pytest.raises(InputError, match=words):
        costs_of([text])


def test_all_that_is_wrong_is_told_at_once() -> None:
    with pytest.raises(InputError) as wrong:
        costs_of(["tray=3", "pin=1", "pin=2", "seal=x"])
    assert len(wrong.value.faults) == 3


def test_the_command_takes_costs_and_names_them_in_its_help() -> None:
    helped = run("explain", "--help").stdout
    assert all(f"{name}={getattr(Costs(), name)}" in " ".join(helped.split()) for name in cost_names())
    wrong = run("explain", PINNED, "--cost", "tray=3", "--format", "json")
    assert wrong.returncode == 2
    assert json.loads(wrong.stderr)["errors"][0]["hint"] == "did you mean 'trays'?"


def test_costs_of_the_command_order_the_ways_out() -> None:
    done = run("explain", PINNED, "--format", "json", "--ways-out", "2", "--cost", "pin=17")
    assert {way["cost"] for way in json.loads(done.stdout)["ways_out"]} == {17}
