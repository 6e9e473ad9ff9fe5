"""Plans outlive versions: those of format 1 are taken over, and what a later version adds at its default changes no digest."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any, ClassVar

import pytest

from tests.build import frozen
from trayopt import check, load_job, sheets
from trayopt.checker import parse_document, read_document
from trayopt.crewsheets.write import fitting
from trayopt.domain.finding import Level
from trayopt.domain.job import Job
from trayopt.domain.plan import Plan
from trayopt.domain.trunk import Trunk
from trayopt.errors import Fault, InputError
from trayopt.formats.json_in import parse_model
from trayopt.rules import registry
from trayopt.rules.base import Breach, NoParameters, Rule
from trayopt.rules.reach import Reach, ReachParameters

FIRST = Path(__file__).parent / "plans_of_0_1_0"
"""Jobs and their plans as version 0.1.0 wrote them; nothing here is ever written again."""
FORMER = Path(__file__).parent / "plans_of_1"
"""The same of the last version that wrote plans of format 1."""
FILES = {path.stem: path for folder in (FIRST, FORMER) for path in sorted(folder.glob("*.json"))}
NAMES = list(FILES)
EXAMPLE = "2x576-wall-2x6-reserve"
TAPS = "taps-of-48-wall-2x10"
"""Its plan opens tubes of which one leg lies in no tray."""
FAIL = {TAPS, "no-2x864-wall-1x6-trays"}


def job_of(name: str, **changes: Any) -> Job:
    """Read a kept job, with some keys of it changed."""
    job = load_job(FILES[name].with_suffix(".yaml"))
    if not changes:
        return job
    rules = {rule: {"level": s.level, "weight": s.weight, **s.parameters} for rule, s in job.rules.items()}
    return load_job({**job.plain(), "rules": rules, **changes})


def plan_of(name: str, job: Job | None = None) -> Plan:
    return read_document(job or job_of(name), FILES[name])


def changed(name: str, **changes: Any) -> str:
    """Give the text of a kept plan with some keys changed."""
    return json.dumps(json.loads(FILES[name].read_text(encoding="utf-8")) | changes, indent=1)


def rows_of(name: str, key: str) -> Any:
    return json.loads(FILES[name].read_text(encoding="utf-8"))[key]


def test_there_are_plans_with_broken_preferences_with_unplaced_splices_and_with_rules_that_are_on_or_off() -> None:
    assert any(rows_of(name, "broken") for name in NAMES)
    assert any(rows_of(name, "unplaced") and rows_of(name, "explanation") for name in NAMES if "no-" in name)
    assert {job_of(name).rules["reserve"].level for name in NAMES} == {"off", "must"}
    assert {job_of(name).rules["alternate_stacks"].level for name in NAMES} == {"off", "prefer"}


@pytest.mark.parametrize("name", NAMES)
def test_a_plan_of_format_1_is_taken_over_where_things_lie_and_a_note_says_so(name: str) -> None:
    told: list[Fault] = []
    job, former = job_of(name), json.loads(FILES[name].read_text(encoding="utf-8"))
    plan = read_document(job, FILES[name], told.append)
    assert [(fault.source, fault.message) for fault in told] == [(str(FILES[name]), "the plan is written in format 1")]
    assert "nothing is proven about them" in told[0].hint
    assert plan.job.digest == former["job"]["digest"] != job.digest
    assert [(t.port, t.travel, t.loops) for t in plan.trunks] == [
        (t["port"], t["travel"], t["loops"]) for t in former["trunks"]
    ]
    where = {leg.leg: (leg.fibres, leg.stack, leg.position, leg.end) for leg in plan.legs}
    assert where == {x["leg"]: (x["fibres"], x["stack"], x["position"], x["end"]) for x in former["legs"]}
    assert (plan.status, {goal.bound for goal in plan.goals}) == ("feasible", {None})
    report = check(job, FILES[name])
    assert report.figures == ()
    assert report.passed == (name not in FAIL)


@pytest.mark.parametrize("name", sorted(FILES.keys() - {TAPS}))
def test_sheets_are_printed_of_a_plan_of_format_1(name: str, tmp_path: Path) -> None:
    told: list[Fault] = []
    assert "index.html" in sheets(job_of(name), FILES[name], warn=told.append).write(tmp_path)
    assert [fault.message for fault in told] == ["the plan is written in format 1"]


def test_a_plan_of_format_1_that_breaks_what_always_holds_today_is_told_and_no_sheets_are_printed() -> None:
    job = job_of(TAPS)
    found = check(job, FILES[TAPS]).at("always")
    assert [(item.rule, item.subject) for item in found] == [("opened_tube", f"N1/{i}") for i in (1, 2, 3)]
    with pytest.raises(InputError, match=r"the tube of N1/1 is opened at a tray and N1/1\.2 lies in none"):
        sheets(job, FILES[TAPS])


def test_where_a_trunk_was_divided_follows_from_the_tube_of_its_legs() -> None:
    name = "2x432-own-allowance-wall-2x6"
    assert [row.divide_at for row in plan_of(name).trunks] == ["tray", "port"]
    data = job_of(name).plain()
    for trunk in data["trunks"]:
        trunk["divide_at"] = ["tray", "port"]
    rules = {rule: {"level": s.level, "weight": s.weight, **s.parameters} for rule, s in job_of(name).rules.items()}
    open_ = load_job({**data, "rules": rules})
    assert [row.divide_at for row in plan_of(name, open_).trunks] == ["tray", "port"]
    legs = [leg | {"tube_mm": 99.0} for leg in rows_of(name, "legs")]
    plan = parse_document(open_, changed(name, legs=legs), "plan.json")
    assert [row.divide_at for row in plan.trunks] == ["tray", "tray"]


def test_subunits_without_tubes_were_divided_at_the_port_whatever_the_plan_took_for_granted() -> None:
    name = "2x288-without-tubes-wall-2x6"
    job = job_of(name)
    assert {leg["tube_mm"] for leg in rows_of(name, "legs")} == {subunit.diameter_mm for subunit in job.subunits}
    plan = plan_of(name)
    assert [row.divide_at for row in plan.trunks] == ["port", "port"]
    assert check(job, plan).findings == ()


def test_rows_of_format_1_that_cannot_stand_are_kept_for_the_check() -> None:
    job = job_of(EXAMPLE)
    first, *rest = rows_of(EXAMPLE, "legs")
    twice = first | {"stack": "right", "position": 6}
    report = check(job, parse_document(job, changed(EXAMPLE, legs=[first, twice, *rest]), "plan.json"))
    assert ("always", "whole_legs") in {(found.level, found.rule) for found in report.findings}
    assert [figure.path for figure in report.figures] == [f"legs[{first['leg']}]"]


def test_a_plan_of_format_1_with_what_the_job_does_not_have_is_refused() -> None:
    job = job_of(EXAMPLE)
    legs = [leg | {"stack": "attic"} if leg["stack"] else leg for leg in rows_of(EXAMPLE, "legs")]
    with pytest.raises(InputError, match="the enclosure has no such stack; found attic"):
        check(job, parse_document(job, changed(EXAMPLE, legs=legs), "plan.json"))


def test_faults_in_a_plan_of_format_1_have_their_place() -> None:
    text = changed(EXAMPLE, status="perhaps")
    with pytest.raises(InputError) as wrong:
        parse_document(job_of(EXAMPLE), text, "plan.json")
    (fault,) = wrong.value.faults
    line = next(i for i, row in enumerate(text.splitlines(), start=1) if "perhaps" in row)
    assert (fault.line, fault.found) == (line, "'perhaps'")


@pytest.mark.parametrize("name", NAMES)
def test_a_plan_of_format_1_passes_under_another_title(name: str) -> None:
    job = job_of(name, title="Another title")
    assert job.digest == job_of(name).digest
    assert check(job, plan_of(name)).figures == ()
    if name != TAPS:
        fitting(job, plan_of(name))


def test_a_plan_of_format_1_for_another_job_is_seen() -> None:
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
    again = registry.refill(Job.model_validate(frozen(job.plain())))
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
    data = plan_of(EXAMPLE).plain() | {"schema": "trayopt/plan/3", "shelves": [], "goals": []}
    with pytest.raises(InputError) as wrong:
        parse_document(job_of(EXAMPLE), json.dumps(data, indent=1), "plan.json")
    (fault,) = wrong.value.faults
    assert (fault.line, fault.column, fault.found, fault.allowed) == (2, 12, "trayopt/plan/3", "trayopt/plan/2")
    assert (
        fault.message == "this plan was written for a newer version of trayopt, whose format this version does not know"
    )
    assert fault.hint == "read it with that version, or solve the job again with this one"


@pytest.mark.parametrize("schema", ["trayopt/plan/0", "trayopt/job/3", "trayopt/plan/next", "2"])
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
