"""What ways out print is put into the job file as its text says; the changed job then keeps what was promised."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from tests.build import job_of
from tests.cli.run import trayopt as run
from tests.explainer.applying import applied, read, write
from tests.explainer.helped import HELPED, bigger_trays, deeper_box, soft_tubes, stiff_tubes
from tests.explainer.planted import PLANTED, box, job, pair, pin, trunk
from trayopt.api import carry_out, check, explain, library_survey, load_job, solve
from trayopt.domain.explanation import WayOut
from trayopt.domain.hardware import Enclosure, Tray, TubeSet
from trayopt.domain.job import Job
from trayopt.explainer.trying import Shelf
from trayopt.explainer.way_words import ADDED
from trayopt.explainer.why_not import Proven, Wishes, trials_of, why_not
from trayopt.formats.yaml_out import flow
from trayopt.solver.model.clock import Clock

pytestmark = pytest.mark.usefixtures("example_rule")

Json = dict[str, Any]
STANDARD = Path("models/standard")
GIVEN_UP = "give up"
JOBS: list[tuple[str, Json, Shelf, str]] = [
    *((name, made, Shelf(), added[0][0]) for name, made, added in HELPED),
    *((planted.name, planted.job(), Shelf(), GIVEN_UP) for planted in PLANTED),
    ("a tray of the next size", pair(enclosure=box(positions=1, fibres=23)), bigger_trays(24), "tray"),
    ("another box of the library", pair(enclosure=box(positions=1, fibres=12)), deeper_box(), "box"),
    ("another tube set", stiff_tubes(), soft_tubes(), "tubes"),
    (
        "pins of trunks",
        pair(enclosure=box(), pins=[{"trunk": "P", "port": "bl", "loops": 1}, pin("P:1-24", "left", 2)]),
        Shelf(),
        GIVEN_UP,
    ),
    (
        "a second box with pins and names",
        job(
            [trunk(name) for name in "PQRS"],
            [("P:1-24", "Q:1-24", "a b"), ("R:1-24", "S:1-24", 'c "d" #')],
            enclosure=box(positions=1, fibres=24),
            apart=[{"joins": ["a b", 'c "d" #'], "scope": "tray"}],
            pins=[pin("R:1-12", "left", 1)],
        ),
        Shelf(),
        "enclosure",
    ),
]
"""A name, the job, what is at hand, and a kind of edit that is among the ways out."""
USUAL = {
    *{kind: i for i, (*_, kind) in enumerate(JOBS)}.values(),
    *[i for i, job in enumerate(JOBS) if job[3] == GIVEN_UP][::4],
}
"""A job of each kind of edit, and every fourth in which something is given up."""


def test_there_is_a_job_for_every_kind_of_edit() -> None:
    assert {kind for *_, kind in JOBS} == set(ADDED) | {GIVEN_UP}


def library_of(shelf: Shelf, folder: Path) -> list[Path]:
    """Write what is at hand into a folder, as a user has it."""
    entries: list[Tray | TubeSet | Enclosure] = [*shelf.trays, *shelf.tubes, *shelf.boxes]
    for entry in entries:
        (folder / f"{entry.id}.yaml").write_text(write(entry.model_dump(mode="json")), encoding="utf-8")
    return [folder]


def keeps_its_promise(way: WayOut, jobs: list[Job]) -> None:
    """Solve the changed jobs; hold their goals to the values and bounds that the way out states."""
    results = [solve(made, reproducible=True, time_limit_s=5, explain=False) for made in jobs]
    assert all(result.complete for result in results)
    found = [sum(values) for values in zip(*([goal.value for goal in r.plan.goals] for r in results), strict=True)]
    assert found <= [goal.value for goal in way.goals]
    for value, goal in zip(found, way.goals, strict=True):
        if goal.bound is not None:
            assert value >= goal.bound
        if value != goal.value:
            break


@pytest.mark.parametrize(
    ("made", "shelf", "kind"),
    [pytest.param(*case[1:], id=case[0], marks=[pytest.mark.slow] * (i not in USUAL)) for i, case in enumerate(JOBS)],
)
def test_every_edit_leads_to_what_was_promised(made: Json, shelf: Shelf, kind: str, tmp_path: Path) -> None:
    path, library = tmp_path / "job.yaml", library_of(shelf, tmp_path)
    path.write_text(write(made), encoding="utf-8")
    proven: list[Proven] = []
    ways = why_not(trials_of(job_of(made), Clock()), Wishes(ways_out=20, shelf=shelf, proven=proven.append)).ways_out
    assert [item.way for item in proven] == list(ways)
    assert kind in {item.what for way in ways for item in way.add} | {GIVEN_UP for way in ways if way.give_up}
    for i, way in enumerate(ways):
        jobs = [load_job(file, library=library) for file in applied(path, way.edit, {})]
        keeps_its_promise(way, jobs)
        carried_out(proven[i], path, jobs, tmp_path / f"out-{i}", library)


def carried_out(proven: Proven, path: Path, jobs: list[Job], folder: Path, library: list[Path]) -> None:
    """Carry out a way out; what is written is what a person makes of the edit by hand, and the plan keeps what it promised."""
    before = path.read_bytes()
    written = carry_out(path, proven, folder, library=library)
    assert path.read_bytes() == before
    made = [load_job(folder / job, library=library) for job, _ in written]
    assert [job.digest for job in made] == [job.digest for job in jobs]
    reports = [check(job, folder / plan) for job, (_, plan) in zip(made, written, strict=True)]
    assert all(report.passed for report in reports)
    values = [[goal.value for goal in report.plan.goals] for report in reports]
    assert [sum(each) for each in zip(*values, strict=True)] == [goal.value for goal in proven.way.goals]
    hardware = [
        file for file in folder.iterdir() if file.suffix == ".yaml" and file.name not in {job for job, _ in written}
    ]
    assert library_survey(library, hardware).errors == []


@pytest.mark.parametrize(
    "name",
    ["no-2x864-wall-1x6-trays", pytest.param("no-1728-of-6912-port-seal-wall-3x8", marks=pytest.mark.slow)],
)
def test_a_box_of_the_library_is_copied_and_changed(name: str, tmp_path: Path) -> None:
    path = tmp_path / "job.yaml"
    path.write_text((STANDARD / f"{name}.yaml").read_text(encoding="utf-8"), encoding="utf-8")
    way = explain(load_job(path), ways_out=1).ways_out[0]
    assert "enclosure: wall-" in way.edit
    (changed,) = applied(
        path, way.edit, {e.model.id: e.path for e in library_survey().entries if e.kind == "enclosure"}
    )
    done = run("solve", changed, "--time-limit", "20", "-q")
    assert done.returncode == 0
    copies = list(tmp_path.glob("*-changed.yaml"))
    assert bool(copies) == ("trayopt library show" in way.edit)
    for copy in copies:
        done = run("library", "validate", copy)
        assert (done.returncode, "the id is not the file's name" in done.stdout) == (0, False), done.stdout


@pytest.mark.parametrize("name", ["boxes/small.yaml", "a box, of ours.yaml"])
def test_the_change_of_a_box_that_is_named_by_path_goes_into_its_file(name: str, tmp_path: Path) -> None:
    """As the command line prints it, and pasted into the file that it names; nothing else is changed."""
    made = pair(enclosure=box(positions=1, fibres=12))
    path, file = tmp_path / "job.yaml", tmp_path / name
    file.parent.mkdir(exist_ok=True)
    file.write_text(write({"kind": "enclosure", **made["enclosure"]}), encoding="utf-8")
    path.write_text(write({**made, "enclosure": name}), encoding="utf-8")
    done = run("explain", path, "--format", "json")
    assert done.returncode == 1, done.stderr
    ways = json.loads(done.stdout)["ways_out"]
    way = next(way for way in ways if [item["what"] for item in way["add"]] == ["trays"])
    assert way["edit"].splitlines()[0] == f"---  # {name}"
    before = path.read_text("utf-8")
    (changed,) = applied(path, way["edit"], {})
    assert read(changed.read_text("utf-8")) == read(before)
    assert run("solve", path, "-q").returncode == 0


@pytest.mark.parametrize(
    "value", [1, 2.5, 7400.0, 1234567.0, "x y", "no", "12:24", "a: b", '"', "\u2028", "🙂", "", None, True]
)
def test_values_read_back_as_they_are(value: object) -> None:
    assert read(flow({"a": [value]})) == {"a": [value]}
