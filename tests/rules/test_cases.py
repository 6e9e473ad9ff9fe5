"""Hand-worked cases of every rule (``tests/cases/README.md`` says how they are written)."""

from __future__ import annotations

import pytest

from tests import oracle
from tests.build import Json, assignment_of, claim_of, job_of
from tests.case_files import CASES, KNOWN, MORE, case_file, put
from tests.example_rule import EVERY
from tests.strategies import worked_example
from trayopt.domain.base import Travel
from trayopt.domain.job import Job
from trayopt.rules.registry import BY_ID
from trayopt.track.laid import Laid

pytestmark = pytest.mark.usefixtures("example_rule")
WAYS: dict[str, tuple[str, Travel, int]] = {"P": ("bl", "clockwise", 1), "Q": ("br", "counterclockwise", 1)}
LEGS = {"P:1-24": "left/1", "P:25-48": "left/2", "Q:1-24": "left/1", "Q:25-48": "left/2"}


def read(rule: str) -> list[Json]:
    """Read the cases of a rule."""
    return case_file(rule).cases


def data_of(case: Json) -> Json:
    """Give the job of a case as plain data."""
    data = worked_example()
    for path, value in case.get("set", {}).items():
        put(data, path, value)
    return data


def lay(case: Json, job: Job | None = None) -> Laid:
    """Lay the plan of a case, in its own job or in one that was made of it."""
    job = job or job_of(data_of(case))
    ways = {trunk: tuple(way) for trunk, way in case.get("ways", WAYS).items()}
    assignment = assignment_of(
        job, ways, case.get("legs", LEGS), case.get("ends"), case.get("divide_at"), case.get("ribbons")
    )
    claims = [claim_of(text) for text in case["claims"]] if "claims" in case else None
    return Laid(job, assignment, claims)


IDS = [rule.id for rule in EVERY]
EACH = [(rule, case) for rule in IDS for case in read(rule)]
ALL = [pytest.param(rule, case, id=f"{rule}: {case['name']}") for rule, case in EACH]
UNCLAIMED = [param for param, (_, case) in zip(ALL, EACH, strict=True) if "claims" not in case]


@pytest.mark.parametrize(("rule", "case"), ALL)
def test_case(rule: str, case: Json) -> None:
    laid = lay(case)
    found = list(BY_ID[rule].check(laid.job, laid))
    assert [breach.subject for breach in found] == case["broken"]
    if "says" in case:
        assert str(case["says"]) in found[0].because
    for breach in found:
        assert "\n" not in breach.because
        said = BY_ID[rule].say(laid.job, breach.subject)
        assert said.startswith(breach.subject)


@pytest.mark.parametrize(("rule", "case"), UNCLAIMED)
def test_the_oracle_reads_a_case_alike(rule: str, case: Json) -> None:
    data = data_of(case)
    entry = data["rules"].get(rule, {})
    kind = BY_ID[rule].kind
    if kind != "always":
        data["rules"][rule] = {**(entry if isinstance(entry, dict) else {}), "level": "must"}
    laid = lay(case)
    legs = {item.leg: item.place for items in laid.legs.values() for item in items}
    divided = {(leg.trunk, leg.subunit): leg.of for leg in legs}
    made = oracle.Decision(
        {t: (w.port, w.travel, w.loops) for t, w in laid.ways.items()},
        {t.id: tuple(divided.get((t.id, s.number), 1) for s in t.units) for t in laid.job.trunks},
        {(leg.trunk, leg.subunit, leg.group): (place.stack, place.position) for leg, place in legs.items()},
        {place.stack: laid.ends[place.stack] for place in legs.values()},
        dict(laid.divide_at),
        dict(laid.ribbons),
    )
    found = [subject for name, _, subject in oracle.judge(data, made).broken if name == BY_ID[rule].name]
    assert found == case["broken"]


@pytest.mark.parametrize("rule", IDS)
def test_every_rule_has_cases_that_pass_and_cases_that_fail(rule: str) -> None:
    cases = read(rule)
    assert any(case["broken"] for case in cases)
    assert any(not case["broken"] for case in cases)
    assert len({case["name"] for case in cases}) == len(cases)
    assert all(case.keys() <= KNOWN for case in cases)
    assert case_file(rule).more.keys() <= MORE


def test_every_case_file_is_of_a_rule() -> None:
    assert {path.stem for path in CASES.glob("*.yaml")} == set(IDS)
