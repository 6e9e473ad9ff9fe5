"""Plans outlive versions: those of 0.1.0 still pass, and what a later version adds at its default changes no digest."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any, ClassVar

import pytest

from tests.build import frozen
from trayopt import check, load_job
from trayopt.crewsheets.write import Options, Sheets, fitting
from trayopt.domain.finding import Level
from trayopt.domain.job import Job, Trunk
from trayopt.domain.plan import Plan
from trayopt.errors import InputError
from trayopt.formats.json_in import parse_model, read_plan
from trayopt.rules import registry
from trayopt.rules.base import Breach, NoParameters, Rule
from trayopt.rules.reach import Reach, ReachParameters

KEPT = Path(__file__).parent / "plans_of_0_1_0"
"""Jobs and their plans as version 0.1.0 wrote them; nothing here is ever written again."""
NAMES = sorted(path.stem for path in KEPT.glob("*.json"))
EXAMPLE = "2x576-wall-2x6-reserve"


def job_of(name: str, **changes: Any) -> Job:
    """Read a kept job, with some keys of it changed."""
    job = load_job(KEPT / f"{name}.yaml")
    if not changes:
        return job
    rules = {rule: {"level": s.level, "weight": s.weight, **s.parameters} for rule, s in job.rules.items()}
    return load_job({**job.plain(), "rules": rules, **changes})


def plan_of(name: str) -> Plan:
    return read_plan(KEPT / f"{name}.json")


def test_there_are_plans_with_broken_preferences_with_unplaced_splices_and_with_rules_that_are_on_or_off() -> None:
    plans = [plan_of(name) for name in NAMES]
    assert any(plan.broken for plan in plans)
    assert any(plan.unplaced and plan.explanation for plan in plans)
    assert {job_of(name).rules["reserve"].level for name in NAMES} == {"off", "must"}
    assert {job_of(name).rules["alternate_stacks"].level for name in NAMES} == {"off", "prefer"}


@pytest.mark.parametrize("name", NAMES)
def test_a_plan_of_0_1_0_still_passes(name: str, tmp_path: Path) -> None:
    job, plan = job_of(name), plan_of(name)
    assert plan.job.digest != job.digest
    report = check(job, plan)
    assert report.figures == ()
    assert report.passed == (plan.value("unplaced") == 0)
    fitting(job, plan)
    assert "index.html" in Sheets(job, plan, Options()).write(tmp_path)


@pytest.mark.parametrize("name", NAMES)
def test_a_plan_of_0_1_0_passes_under_another_title(name: str) -> None:
    job = job_of(name, title="Another title")
    assert job.digest == job_of(name).digest
    assert check(job, plan_of(name)).figures == ()
    fitting(job, plan_of(name))


def test_a_plan_of_0_1_0_for_another_job_is_seen() -> None:
    job = job_of(EXAMPLE, rules={"reserve": "must", "reach": {"bench_mm": 1990}})
    assert [figure.path for figure in check(job, plan_of(EXAMPLE)).figures] == ["job.digest"]
    with pytest.raises(InputError, match="another job"):
        fitting(job, plan_of(EXAMPLE))


def test_a_rule_at_off_has_no_part_in_the_digest() -> None:
    rules = {"reserve": "must", "port_fill": {"level": "off", "one": 0.5}}
    assert job_of(EXAMPLE, rules=rules).digest == job_of(EXAMPLE).digest
    assert job_of(EXAMPLE, rules={"reserve": "off"}).digest != job_of(EXAMPLE).digest


class Later(Rule[NoParameters]):
    """A rule that a later version adds."""

    id = "later"
    kind = "practice"
    level: ClassVar[Level] = "off"
    subject = "trunk"
    statement = "nothing that this version knows of"
    why = "Later versions know more."

    def check(self, job: Job, laid: Any) -> Iterator[Breach]:
        """Find nothing."""
        yield from ()

    def encode(self, job: Job, x: Any, post: Any) -> None:
        """Ask for nothing."""

    def say(self, job: Job, subject: str) -> str:
        """Say nothing of a subject."""
        return subject


@pytest.mark.parametrize("name", NAMES)
def test_a_rule_that_is_added_at_off_changes_nothing(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    before, rule = job_of(name).digest, Later()
    monkeypatch.setattr(registry, "RULES", (*registry.RULES, rule))
    monkeypatch.setitem(registry.BY_ID, rule.id, rule)
    monkeypatch.setattr(registry, "SETTABLE", (*registry.SETTABLE, rule.id))
    job = job_of(name)
    assert job.rules["later"].level == "off"
    assert job.digest == before
    assert check(job, plan_of(name)).figures == ()
    monkeypatch.setattr(Later, "level", "prefer")
    assert job_of(name).digest != before


class LaterReach(ReachParameters):
    """The parameters of reach with one that a later version adds."""

    spare_mm: int = 0


@pytest.mark.parametrize("name", NAMES)
def test_a_parameter_that_is_added_with_a_default_changes_nothing(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    before = job_of(name).digest
    monkeypatch.setattr(Reach, "Parameters", LaterReach)
    job = job_of(name)
    assert job.rules["reach"].parameters["spare_mm"] == 0
    assert job.digest == before
    assert check(job, plan_of(name)).figures == ()
    again = registry.refill(Job.model_validate_json(json.dumps(job.plain())))
    assert again.digest == before
    assert job_of(name, rules={"reach": {"spare_mm": 1}}).digest != job_of(name, rules={}).digest


class LaterTrunk(Trunk):
    """A trunk with a key that a later version adds."""

    armoured: bool = False


class LaterJob(Job):
    """A job with keys that a later version adds, at its top and deep in it."""

    trunks: tuple[LaterTrunk, ...]
    floor: int | None = None


@pytest.mark.parametrize("name", NAMES)
def test_a_key_that_is_added_with_a_default_changes_nothing(name: str) -> None:
    job = job_of(name)
    data = job.plain()
    later = registry.refill(LaterJob.model_validate(frozen(data)))
    assert later.plain()["trunks"][0]["armoured"] is False
    assert later.digest == job.digest
    assert check(later, plan_of(name)).figures == ()
    data["trunks"][0]["armoured"] = True
    assert registry.refill(LaterJob.model_validate(frozen(data))).digest != job.digest
    assert registry.refill(LaterJob.model_validate(frozen(job.plain() | {"floor": 3}))).digest != job.digest


def test_a_plan_of_a_newer_format_is_refused_with_one_sentence() -> None:
    data = plan_of(EXAMPLE).plain() | {"schema": "trayopt/plan/2", "tied": [], "goals": []}
    with pytest.raises(InputError) as wrong:
        parse_model(json.dumps(data, indent=1), "plan.json", Plan)
    (fault,) = wrong.value.faults
    assert (fault.line, fault.column, fault.found, fault.allowed) == (2, 12, "trayopt/plan/2", "trayopt/plan/1")
    assert (
        fault.message == "this plan was written for a newer version of trayopt, whose format this version does not know"
    )
    assert fault.hint == "read it with that version, or solve the job again with this one"


@pytest.mark.parametrize("schema", ["trayopt/plan/0", "trayopt/job/2", "trayopt/plan/next", "2"])
def test_a_format_that_is_not_newer_is_no_newer_one(schema: str) -> None:
    with pytest.raises(InputError) as wrong:
        parse_model(json.dumps(plan_of(EXAMPLE).plain() | {"schema": schema}), "plan.json", Plan)
    assert [fault.message for fault in wrong.value.faults] == ["schema is not allowed"]


def test_a_job_of_a_newer_format_is_refused_with_one_sentence() -> None:
    with pytest.raises(InputError) as wrong:
        load_job({"schema": "trayopt/job/7", "boxes": [], "trunks": 3})
    (fault,) = wrong.value.faults
    assert (
        fault.message == "this job was written for a newer version of trayopt, whose format this version does not know"
    )
