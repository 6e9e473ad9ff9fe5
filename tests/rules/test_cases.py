"""Hand-worked cases of every rule (``tests/cases/README.md`` says how they are written)."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from ruamel.yaml import YAML

from tests.build import Json, assignment_of, claim_of, job_of
from tests.strategies import worked_example
from trayopt.domain.base import Travel
from trayopt.rules.registry import BY_ID
from trayopt.track.laid import Laid

CASES = Path(__file__).parents[1] / "cases"
WAYS: dict[str, tuple[str, Travel, int]] = {"P": ("bl", "clockwise", 1), "Q": ("br", "counterclockwise", 1)}
LEGS = {"P:1-24": "left/1", "P:25-48": "left/2", "Q:1-24": "left/1", "Q:25-48": "left/2"}


def read(rule: str) -> list[Json]:
    """Read the cases of a rule."""
    cases = YAML(typ="safe", pure=True).load(CASES / f"{rule}.yaml")
    assert isinstance(cases, list)
    return cases


def put(data: Any, path: str, value: Any) -> None:
    """Set a value at a dotted path; a list may grow by one."""
    *steps, last = path.split(".")
    for step in steps:
        data = data[int(step)] if isinstance(data, list) else data[step]
    if not isinstance(data, list):
        data[last] = value
    elif int(last) == len(data):
        data.append(value)
    else:
        data[int(last)] = value


def lay(case: Json) -> Laid:
    """Lay the plan of a case."""
    data = worked_example()
    for path, value in case.get("set", {}).items():
        put(data, path, value)
    job = job_of(data)
    ways = {trunk: tuple(way) for trunk, way in case.get("ways", WAYS).items()}
    assignment = assignment_of(job, ways, case.get("legs", LEGS), case.get("ends"))
    claims = [claim_of(text) for text in case["claims"]] if "claims" in case else None
    return Laid(job, assignment, claims)


ALL = [pytest.param(rule, case, id=f"{rule}: {case['name']}") for rule in BY_ID for case in read(rule)]


@pytest.mark.parametrize(("rule", "case"), ALL)
def test_case(rule: str, case: Json) -> None:
    laid = lay(case)
    found = list(BY_ID[rule].check(laid.job, laid))
    assert [breach.subject for breach in found] == case["broken"]
    if "says" in case:
        assert case["says"] in found[0].because
    for breach in found:
        assert "\n" not in breach.because
        said = BY_ID[rule].say(laid.job, breach.subject)
        assert said.startswith(breach.subject)


@pytest.mark.parametrize("rule", BY_ID)
def test_every_rule_has_cases_that_pass_and_cases_that_fail(rule: str) -> None:
    cases = read(rule)
    assert any(case["broken"] for case in cases)
    assert any(not case["broken"] for case in cases)
    assert len({case["name"] for case in cases}) == len(cases)
    known = {"name", "set", "ways", "legs", "ends", "claims", "broken", "says"}
    assert all(case.keys() <= known for case in cases)


def test_every_case_file_is_of_a_rule() -> None:
    assert {path.stem for path in CASES.glob("*.yaml")} == set(BY_ID)
