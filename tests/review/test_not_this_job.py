"""Plans that cannot be built on: damaged tables and plans of another job are refused by every command, in clear words."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from tests.build import frozen
from tests.cli.run import trayopt
from tests.review.corpus import EXPECTED, TABLES
from trayopt.checker import check
from trayopt.domain.job import Job
from trayopt.errors import InputError
from trayopt.formats.json_in import read_plan
from trayopt.review.opening import open_plan, open_readable
from trayopt.rules.registry import refill

JOB = TABLES / "quay.yaml"
STANDARD = Path(__file__).parents[2] / "models" / "standard"
DAMAGED = sorted(name for name in EXPECTED if EXPECTED[name]["exit"] == 2)


@pytest.fixture(scope="module")
def plan(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Give a plan document of the scenario."""
    file = tmp_path_factory.mktemp("plans") / "plan.json"
    assert trayopt("check", JOB, TABLES / "good-plain.csv", "--no-best", "-q", "-o", file).returncode == 0
    return file


@pytest.fixture(scope="module")
def strange(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Give a plan document of the worked example."""
    file = tmp_path_factory.mktemp("plans") / "strange.json"
    assert trayopt("solve", STANDARD / "worked-example.yaml", "-q", "-o", file).returncode == 0
    return file


@pytest.mark.parametrize("name", DAMAGED)
def test_who_builds_on_a_plan_refuses_a_damaged_table_as_check_does(quay: Job, name: str) -> None:
    with pytest.raises(InputError) as refused:
        open_readable(quay, TABLES / name)
    wanted = EXPECTED[name].get("errors") or [row for row in EXPECTED[name]["findings"] if row[0] == "damage"]
    assert len(refused.value.faults) == len(wanted)


def test_explain_ends_with_2_on_cells_that_cannot_be_read() -> None:
    for name in ("damage-dates.csv", "damage-names.csv"):
        done = trayopt("explain", JOB, TABLES / name, "-q", "--time-limit", "10")
        assert done.returncode == 2
        assert done.stdout == ""
        assert f"{name}:" in done.stderr


@pytest.mark.parametrize("command", ["check", "explain", "compare", "mend", "solve"])
def test_a_plan_of_another_job_is_one_line(command: str, plan: Path, strange: Path) -> None:
    more: dict[str, list[str | Path]] = {"compare": [plan, strange], "solve": ["--start", strange]}
    plans = more.get(command, [strange])
    done = trayopt(command, JOB, *plans)
    assert done.returncode == 2
    assert done.stdout == ""
    assert done.stderr.count("\n") == 1
    assert "this plan was made for another job" in done.stderr
    assert "Worked example" in done.stderr


def _without_a_trunk(data: dict[str, Any]) -> None:
    data["trunks"] = [row for row in data["trunks"] if row["id"] != "WEST"]
    data["joins"] = [row for row in data["joins"] if "WEST" not in row["b"]]


def _shorter_stacks(data: dict[str, Any]) -> None:
    for stack in data["enclosure"]["stacks"]:
        stack["positions"] = 1


def _other_ports(data: dict[str, Any]) -> None:
    for port in data["enclosure"]["ports"]:
        port["id"] += "-new"


@pytest.mark.parametrize("change", [_without_a_trunk, _shorter_stacks, _other_ports])
def test_a_plan_that_no_longer_fits_is_one_line_and_can_be_mended(quay: Job, plan: Path, change: Any) -> None:
    data = quay.plain()
    change(data)
    changed = Job.model_validate(frozen(data))
    with pytest.raises(InputError) as refused:
        open_plan(changed, plan)
    assert len(refused.value.faults) == 1
    assert "trayopt mend takes over what still fits" in str(refused.value)
    assert open_plan(changed, plan, lenient=True)[0].entries


def test_a_plan_of_this_job_that_was_spoilt_is_told_part_by_part(quay: Job, plan: Path, tmp_path: Path) -> None:
    data = json.loads(plan.read_text())
    for row in data["legs"][:3]:
        row["stack"] = "nowhere"
    spoilt = tmp_path / "spoilt.json"
    spoilt.write_text(json.dumps(data))
    with pytest.raises(InputError) as refused:
        open_plan(quay, spoilt)
    assert [fault.where for fault in refused.value.faults] == [f"legs[{i}].stack" for i in range(3)]


@pytest.mark.parametrize("title", ["", "the quay, as built", "x" * 500])
def test_a_changed_title_leaves_a_plan_as_good_as_it_was(quay: Job, plan: Path, title: str, tmp_path: Path) -> None:
    retitled = refill(Job.model_validate(frozen({**quay.plain(), "title": title})))
    assert retitled.digest == quay.digest
    assert check(retitled, read_plan(plan)).figures == ()
    assert open_readable(retitled, plan)[0].entries
    spoilt = json.loads(plan.read_text())
    spoilt["job"]["digest"] = "0" * 64
    file = tmp_path / "spoilt.json"
    file.write_text(json.dumps(spoilt))
    assert "job.digest" in {item.path for item in check(retitled, read_plan(file)).figures}


def test_sheets_and_explain_take_a_plan_from_before_the_title_changed(plan: Path, tmp_path: Path) -> None:
    job = tmp_path / "retitled.yaml"
    job.write_text(JOB.read_text().replace("title: quay cabinet", "title: harbour"))
    assert trayopt("sheets", job, plan, "-o", tmp_path / "sheets", "-q").returncode == 0
    assert trayopt("check", job, plan, "-q").returncode == 0
    done = trayopt("explain", job, plan, "-q")
    assert done.returncode == 0
    assert "another job" not in done.stderr
