"""``trayopt solve``: exit codes, files, streams, what it says, and how it is stopped."""

from __future__ import annotations

import contextlib
import json
import os
import pty
import re
import select
import subprocess
import sys
from collections.abc import Iterator
from importlib import import_module
from pathlib import Path
from typing import Any

import pytest

from benchmarks.boxes import SINGLE_12, cabinet, loose_tubes
from benchmarks.cases import shuffle
from tests.build import job_of, plan_of
from tests.cli.run import ROOT, loaded, trayopt
from tests.strategies import worked_example
from trayopt import load_job
from trayopt.api import solve
from trayopt.cli import app
from trayopt.cli.exitcodes import Exit
from trayopt.cli.output import Output
from trayopt.cli.plan_text import plan_text
from trayopt.cli.plan_words import head_lines, way_out_words
from trayopt.cli.progress import Progress
from trayopt.domain.job import Job
from trayopt.domain.plan import Plan, PlanBroken
from trayopt.formats.json_in import read_plan
from trayopt.solver.model.bound import COMPLETE, Bound, Step

STANDARD = ROOT / "models" / "standard"
EXAMPLE = STANDARD / "worked-example.yaml"
NOT_LOADED = {"ortools", "pandas", "numpy", "networkx", "rich", "jinja2", "openpyxl", "distributed"}


@pytest.fixture(scope="module")
def plans() -> dict[str, tuple[Job, Plan]]:
    """Solve a few jobs that are quick."""
    names = ("2x288-wall-1x12-single", "hub-of-three-wall-2x6", "2x864-wall-2x7-two-ends")
    jobs = {name: load_job(STANDARD / f"{name}.yaml") for name in names} | {"unmet": job_of(unmet())}
    return {name: (job, solve(job).plan) for name, job in jobs.items()}


@pytest.fixture(scope="module")
def example() -> tuple[Job, Plan]:
    job = load_job(EXAMPLE)
    return job, solve(job, workers=1).plan


def unmet() -> dict[str, Any]:
    """Give a tiny job whose pins want two legs apart that are spliced to each other."""
    data = worked_example()
    data["pins"] = [
        {"leg": "P:1-24", "stack": "left", "position": 1},
        {"leg": "Q:1-24", "stack": "right", "position": 1},
    ]
    return data


# -- exit codes, files and streams -------------------------------------------------------------------------------------


def beside(stderr: str) -> str:
    """Take away what is told of the example's trays, which are too short for a splicer."""
    lines = stderr.splitlines(keepends=True)
    told = [line for line in lines if "too short to reach a splicer" in line]
    assert len(told) == 2
    assert all(line.startswith("warning: ") for line in told)
    return "".join(line for line in lines if line not in told)


def test_a_complete_plan(tmp_path: Path) -> None:
    path = tmp_path / "plan.json"
    done = trayopt("solve", EXAMPLE, "-o", path, "--reproducible")
    assert done.returncode == Exit.YES
    assert beside(done.stderr) == f"{path} written\n"
    assert "Proven optimal: every splice has a tray, every must is kept" in done.stdout
    plan = read_plan(path)
    assert [item.value for item in plan.goals] == [0, 0, 1, 4, 2, 0, 10_750, 1]
    assert trayopt("check", EXAMPLE, path, "-q").returncode == Exit.YES
    as_json = trayopt("solve", EXAMPLE, "--reproducible", "--format", "json")
    assert (as_json.returncode, beside(as_json.stderr)) == (Exit.YES, "")
    assert as_json.stdout == path.read_text(encoding="utf-8")


def test_the_plan_on_stdout_and_its_head_on_stderr() -> None:
    done = trayopt("solve", "-", "-o", "-", "--workers", "1", stdin=EXAMPLE.read_bytes())
    assert done.returncode == Exit.YES
    assert json.loads(done.stdout)["schema"] == "trayopt/plan/2"
    assert beside(done.stderr).startswith("Proven optimal: ")


def test_a_plan_that_breaks_a_must_ends_in_1(tmp_path: Path) -> None:
    job, path = tmp_path / "job.yaml", tmp_path / "plan.json"
    job.write_text(json.dumps(unmet()), encoding="utf-8")
    done = trayopt("solve", job, "-o", path, "-q")
    assert done.returncode == Exit.NO
    assert done.stdout.startswith("Proven optimal, but not complete: every splice has a tray, 1 must broken")
    assert done.stdout.splitlines()[3:] == ["tied: left/1 and left/2"]
    assert read_plan(path).value("broken_must") == 1


def test_stopped_before_a_first_plan_ends_in_3_and_leaves_the_file(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """There is no plan then that could break a must, and nothing is said of one."""
    from trayopt.solver.model.incumbent import State
    from trayopt.solver.search.search import Search

    monkeypatch.setattr(Search, "solve", lambda search: (State(search.state.order), "time_limit"))
    path = tmp_path / "plan.json"
    path.write_text("the plan of yesterday")
    with pytest.raises(SystemExit) as end:
        app.main(["solve", str(STANDARD / "unmet-pins-2x288-wall-2x6.yaml"), "-o", str(path)])
    captured = capsys.readouterr()
    assert end.value.code == Exit.NOTHING
    assert captured.out.splitlines()[-1] == "No plan: stopped by the time limit before a first one was found."
    assert captured.err == f"warning: {path} is not written: there is no plan\n"
    assert path.read_text() == "the plan of yesterday"


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["nowhere.yaml"], "nowhere.yaml: "),
        ([str(EXAMPLE), "--goals", "legs,lengths"], "--goals: goals cannot be ordered as legs, lengths; allowed: legs"),
        (
            [str(EXAMPLE), "-o", "nowhere/plan.json"],
            "nowhere/plan.json: cannot be written: No such file or directory; name a file in a folder",
        ),
        ([str(EXAMPLE), "-o", "models"], "models: cannot be written: it is a folder; "),
        ([str(EXAMPLE), "--start", "README.md"], "README.md:1:1: there is no column"),
        ([str(EXAMPLE), "--reproducible", "--workers", "2"], "--reproducible uses one thread"),
        ([str(EXAMPLE), "--time-limit", "0"], "--time-limit"),
        ([str(EXAMPLE), "--gap", "-1"], "--gap"),
        (["-", "--start", "-"], "cannot both be stdin"),
        ([], "Missing argument 'JOB'"),
    ],
)
def test_wrong_input_ends_in_2(
    arguments: list[str], said: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(ROOT)
    with pytest.raises(SystemExit) as end:
        app.main(["solve", *arguments])
    captured = capsys.readouterr()
    assert (end.value.code, captured.out) == (Exit.INPUT, "")
    assert said in captured.err


def test_a_plan_that_fails_its_own_check_ends_in_4(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    check = import_module("trayopt.checker")

    def wrong(*arguments: Any, **named: Any) -> Plan:
        plan: Plan = measure(*arguments, **named)
        return plan.model_copy(update={"trays": plan.trays[:-1]})

    measure = check.measure
    monkeypatch.setattr(check, "measure", wrong)
    with pytest.raises(SystemExit) as end:
        app.main(["solve", str(EXAMPLE), "--workers", "1", "-o", str(tmp_path / "plan.json")])
    captured = capsys.readouterr()
    assert (end.value.code, captured.out) == (Exit.FAULT, "")
    assert "the plan fails its own check: trays" in captured.err
    assert not list(tmp_path.iterdir())


def test_a_start(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A plan to begin with may be a document or a table; one that nobody could build is told."""
    path = tmp_path / "plan.json"
    table = tmp_path / "plan.csv"
    table.write_text("trunk,fibres,stack,position\nP,1-24,left,1\nP,25-48,left,2\nQ,1-24,left,1\nQ,25-48,left,2\n")
    impossible = tmp_path / "impossible.csv"
    impossible.write_text("trunk,fibres,stack,position\nP,1-24,left,1\nP,25-48,left,1\nQ,1-24,left,1\nQ,25-48,left,1\n")
    for start, warned in ((path, False), (table, False), (impossible, True)):
        given = ["--start", str(start)] if start.exists() else []
        with pytest.raises(SystemExit) as end:
            app.main(["solve", str(EXAMPLE), "--workers", "1", "-q", "-o", str(path), *given])
        captured = capsys.readouterr()
        assert end.value.code == Exit.YES, captured.err
        assert ("is not used as a start, because it cannot be built" in captured.err) == warned


def test_a_job_without_joins_is_not_called_optimal_without_a_word(tmp_path: Path) -> None:
    job, plan = tmp_path / "job.yaml", tmp_path / "plan.json"
    data = worked_example()
    data["joins"] = []
    data.pop("pins", None)
    job.write_text(json.dumps(data), "utf-8")
    done = trayopt("solve", job, "-o", plan)
    assert done.returncode == Exit.YES
    warned = "the job has no joins: nothing is spliced, and no tray is needed\n"
    assert warned in done.stderr
    for words in (
        ("check", job, plan),
        ("explain", job),
        ("sheets", job, plan, "-o", tmp_path / "sheets"),
        ("mend", job, plan),
    ):
        assert warned in trayopt(*words).stderr, words[0]
    assert "the job has no joins, so nothing is spliced" in trayopt("explain", job).stdout
    assert "\nNothing to plan: the job has no joins" in done.stdout
    assert "optimal" not in done.stdout
    assert "no joins" not in trayopt("solve", EXAMPLE, "-q").stderr


def test_what_a_proof_says() -> None:
    """Another plan may be better on a later goal: that of an earlier one decides."""
    job = load_job(STANDARD / "2x432-shuffled-wall-2x6.yaml")
    plan = solve(job).plan
    assert plan.status == "optimal"
    text = " ".join(plan_text(job, plan).split())
    assert "and no plan is better on the first goal on which the two differ." in text
    assert "any goal" not in text


# -- what it says ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("width", [80, 120])
def test_it_fits(width: int, plans: dict[str, tuple[Job, Plan]]) -> None:
    for job, plan in plans.values():
        text = plan_text(job, plan, width=width, whole=True)
        lines = text.splitlines()
        assert max(map(len, lines)) <= width
        assert all(line == line.rstrip() for line in lines)
        for place in (f"{tray.stack}/{tray.position}" for tray in plan.trays):
            assert len([line for line in lines if line.startswith(f"{place} ")]) == 1
        for row in plan.legs:
            assert f"{row.leg} " in text
        assert f"{plan.value('leg_length_mm'):,}" in text
        assert "the measured length govern" in text
        assert "Local codes" in text.replace("\n", " ")


def test_a_wider_page_has_no_more_lines(plans: dict[str, tuple[Job, Plan]]) -> None:
    for job, plan in plans.values():
        assert plan_text(job, plan, width=120).count("\n") <= plan_text(job, plan, width=80).count("\n")


def test_ids_are_wrapped_and_never_cut() -> None:
    data = worked_example()
    names = {"P": "north-trunk-of-the-old-exchange-building-number-seven", "Q": "q" * 64}
    text = json.dumps(data)
    for old, new in names.items():
        text = text.replace(f'"{old}"', f'"{new}"').replace(f'"{old}:', f'"{new}:')
    data = json.loads(text.replace('"left"', '"the-stack-on-the-left-hand-side-of-the-box"'))
    job = job_of(data)
    plan = solve(job, workers=1).plan
    for width in (80, 120):
        written = plan_text(job, plan, width=width, whole=True)
        assert "…" not in written
        assert max(map(len, written.splitlines())) <= width
        assert written.count("q") >= 64 * 4


def test_three_legs_in_a_row_are_told_by_the_first_and_the_last() -> None:
    job = load_job(STANDARD / "two-pairs-of-144-wall-1x6.yaml")
    text = plan_text(job, solve(job).plan)
    assert re.search(r"N1/\d+ … N1/\d+ \(\d+-\d+\)", text)
    assert max(map(len, text.splitlines())) <= 80


def test_an_answer_that_is_not_proven_says_so(example: tuple[Job, Plan]) -> None:
    job, plan = example
    goals = [goal.model_copy(update={"bound": 3 if goal.goal == "legs" else None}) for goal in plan.goals[3:]]
    plan = plan.model_copy(update={"status": "feasible", "stopped": "time_limit", "goals": (*plan.goals[:3], *goals)})
    text = " ".join(plan_text(job, plan).split())
    assert "Feasible, not proven: every splice has a tray, every must is kept. Stopped by the time limit;" in text
    assert "legs has a gap of 1 (25 %): 4 found, at least 3." in text
    assert "legs 4 3 open by 1 trays 2 - open crossings 0 - open" in text
    assert head_lines(job, plan).startswith("Feasible, not proven: ")


def test_where_trunks_are_divided_what_is_parked_and_which_trays_are_tied() -> None:
    job = load_job(STANDARD / "taps-of-48-wall-2x10.yaml")
    plan = solve(job).plan
    assert not plan.tied
    data = plan.plain() | {"tied": [["left/1", "left/2", "left/3"], ["right/1", "right/2"]]}
    data["trunks"][0]["divide_at"] = "port"
    of_two = next(leg for leg in data["legs"] if leg["stack"] is not None)
    of_two["idle"] = True
    text = " ".join(plan_text(job, plan_of(data), whole=True).split())
    assert re.search(r"N1 \S+ (counter)?clockwise \d [\d,]+ .*? at the port", text)
    assert f"{of_two['leg']} ({of_two['fibres']}, parked)" in text
    assert "tied: left/1, left/2 and left/3 tied: right/1 and right/2" in text
    assert "tied: left/1, left/2 and left/3, tied: right/1 and right/2" in head_lines(job, plan_of(data))


def test_goals_may_be_named_in_part(tmp_path: Path) -> None:
    path = tmp_path / "plan.json"
    done = trayopt("solve", EXAMPLE, "-o", path, "--goals", "crossings,trays", "--workers", "1")
    assert done.returncode == Exit.YES
    order = [item.goal for item in read_plan(path).goals]
    assert order[3:7] == ["crossings", "trays", "legs", "leg_length_mm"]


@pytest.mark.parametrize("command", ["check", "compare", "mend", "explain", "sheets", "solve"])
def test_a_plan_of_format_1_is_taken_over_with_a_note(command: str, tmp_path: Path) -> None:
    kept = ROOT / "tests" / "checker" / "plans_of_0_1_0"
    job, plan = kept / "worked-example.yaml", kept / "worked-example.json"
    options = {
        "check": ("check", job, plan), "compare": ("compare", job, plan, plan), "mend": ("mend", job, plan),
        "explain": ("explain", job, plan, "--ways-out", "0"), "sheets": ("sheets", job, plan, "-o", tmp_path / "out"),
        "solve": ("solve", job, "--start", plan, "--workers", "1"),
    }  # fmt: skip
    done = trayopt(*options[command])
    assert done.returncode == Exit.YES, done.stderr
    assert (
        "the plan is written in format 1; its places, ways, ends and divisions are taken over"
        in done.stdout + done.stderr
    )


def test_what_is_broken_and_without_a_tray(plans: dict[str, tuple[Job, Plan]], example: tuple[Job, Plan]) -> None:
    text = " ".join(plan_text(*plans["unmet"]).split())
    assert "Musts that this plan breaks pin " in text
    assert "is pinned to stack" in text
    text = " ".join(plan_text(*example).split())
    assert "Preferences that this plan breaks alternate_stacks P/2 up to P/2, subunits of P are spread as" in text
    text = " ".join(plan_text(*plans["hub-of-three-wall-2x6"]).split())
    assert re.search(r"opposite_travel \S+ \(counts 3\)", text)
    job = load_job(STANDARD / "no-2x864-short-tail-wall-3x8.yaml")
    nothing = solve(job, time_limit_s=1e-6).plan.model_copy(update={"status": "feasible"})
    text = " ".join(plan_text(job, nothing).split())
    assert "Without a tray: 864 splices N1:1-864 to S1:1-864" in text
    assert "N1 stays outside" in text


def test_what_is_said_of_a_group_of_trays_is_said_once(plans: dict[str, tuple[Job, Plan]]) -> None:
    job, plan = plans["unmet"]
    tied = [
        PlanBroken(rule="tied_trays", level="prefer", subject=f"left/{i}", because=f"opened tubes tie {group}")
        for group, places in (("a", (1, 2, 3)), ("b", (4, 5, 6)))
        for i in places
    ]
    text = " ".join(plan_text(job, plan.model_copy(update={"broken": tuple(tied)})).split())
    assert (
        "tied_trays left/1, left/2 and left/3 (counts 3) opened tubes tie a "
        "tied_trays left/4, left/5 and left/6 (counts 3) opened tubes tie b"
    ) in text


def test_a_conflict_and_its_ways_out_are_told(plans: dict[str, tuple[Job, Plan]]) -> None:
    job, plan = plans["unmet"]
    conflict: dict[str, Any] = {
        "groups": [{"rule": "pin", "subject": "N1:1-72", "because": "left/1 is taken"}],
        "minimal": True,
    }
    way = {
        "give_up": [{"rule": "pin", "subject": "N1:1-72"}],
        "add": [{"what": "trays", "subject": "left", "amount": 2}],
        "edit": "pins:\n  - …",
        "goals": [],
    }
    for explanation in (conflict, {"conflicts": [conflict], "ways_out": [way]}):
        text = " ".join(plan_text(job, plan.model_copy(update={"explanation": explanation})).split())
        assert "this cannot be kept while every splice has a tray; proven" in text
        assert "- pin N1:1-72: left/1 is taken" in text
        assert ("trayopt explain JOB proves ways out of it" in text) == (explanation is conflict)
    both = {"groups": [*conflict["groups"], {"rule": "reach", "subject": "N1", "because": "N1: too short"}]}
    other = " ".join(plan_text(job, plan.model_copy(update={"explanation": both})).split())
    assert "these cannot be kept together while every splice has a tray - pin" in other
    assert "- reach: N1: too short" in other
    assert "- give up pin N1:1-72; trays left: 2; in the job file: pins: - …" in text
    assert way_out_words(conflict) == []
    unexplained = " ".join(plan_text(job, plan.model_copy(update={"explanation": None})).split())
    assert "trayopt explain JOB says what is in the way" in unexplained


def test_a_title_does_nothing_to_the_terminal(example: tuple[Job, Plan]) -> None:
    job, plan = example
    title = plan.job.model_copy(update={"title": "a\x1b[2Jb\nc"})
    text = plan_text(job, plan.model_copy(update={"job": title}))
    assert text.startswith("a [2Jb c\n")
    assert plan_text(job, plan.model_copy(update={"job": title.model_copy(update={"title": ""})})).startswith("job ")


def test_both_ends_of_a_stack_are_told_apart(plans: dict[str, tuple[Job, Plan]]) -> None:
    assert "legs enter left at: " in plan_text(*plans["2x864-wall-2x7-two-ends"])


# -- progress, and being stopped ---------------------------------------------------------------------------------------


def test_the_trail_is_told_with_v_alone(capsys: pytest.CaptureFixture[str]) -> None:
    """Each bound with its author and each better plan, on stderr, with seconds."""
    for verbose in (True, False):
        with Progress(Output(verbose=verbose)) as progress:
            progress(0.1, "legs", None, 3)
            progress.step(str(Step(0.2, Bound("legs", 3, "division", COMPLETE.tightened({"broken_prefer": 4})))))
            progress.step(str(Step(1.5, values={"unplaced": 0, "leg_length_mm": 1200})))
        captured = capsys.readouterr()
        assert captured.out == ""
        lines = captured.err.splitlines()
        told = ["0.2 s legs 3 at least, by counting divisions: complete plans with broken_prefer at most 4"]
        told.append("1.5 s plan unplaced 0, leg_length_mm 1,200")
        assert [" ".join(line.split()) for line in lines] == (told if verbose else [])


def test_the_trace_is_lines_of_json_that_lead_to_the_plan(tmp_path: Path) -> None:
    """Every goal that the plan says to be proven above 0 stands in the trace with the same author."""
    trace, path = tmp_path / "trace.jsonl", tmp_path / "plan.json"
    done = trayopt("solve", EXAMPLE, "-o", path, "--trace", trace)
    assert done.returncode == Exit.YES
    steps = [json.loads(line) for line in trace.read_text().splitlines()]
    assert [step["seconds"] for step in steps] == sorted(step["seconds"] for step in steps)
    plan = read_plan(path)
    assert steps
    assert {item.goal: item.value for item in plan.goals} == [step["values"] for step in steps if "values" in step][-1]
    for item in plan.goals:
        assert item.by is not None
        found = [(s["bound"], s["by"]) for s in steps if s.get("goal") == item.goal]
        assert item.by == "zero" if item.bound == 0 else (item.bound, item.by) in found


def test_parts_are_left_out_by_name() -> None:
    refused = trayopt("solve", EXAMPLE, "--without", "outlines")
    assert refused.returncode == Exit.INPUT
    assert "no part of the search has this name; found outlines" in refused.stderr
    assert "did you mean 'outline'?" in refused.stderr
    done = trayopt("solve", EXAMPLE, "--without", "outline", "--without", "division", "-v")
    assert done.returncode == Exit.YES
    assert "counting divisions" not in done.stdout + done.stderr


def test_progress_on_a_terminal() -> None:
    """Seconds, goal, value and bound on a terminal's stderr; the answer's stdout stays clean."""
    main, other = pty.openpty()
    child = subprocess.Popen(
        [sys.executable, "-m", "trayopt", "solve", str(STANDARD / "2x432-wall-2x6.yaml")],
        stdout=subprocess.PIPE,
        stderr=other,
        cwd=ROOT,
        env={**os.environ, "PYTHONPATH": str(ROOT), "TERM": "xterm", "COLUMNS": "100"},
    )
    os.close(other)
    shown = b"".join(_read(main))
    out, _ = child.communicate()
    os.close(main)
    assert child.returncode == Exit.YES
    assert b"\x1b" not in out
    assert re.search(rb"\d+\.\d s  .+   \(Ctrl-C (stops|keeps the best)\)", shown)


def test_the_line_on_a_terminal_tells_goal_value_and_bound() -> None:
    progress = Progress(Output())
    assert progress._line().plain.endswith(" s  looking for a first plan   (Ctrl-C stops)")
    progress(0.0, "unplaced", 0, 0)
    assert progress._line().plain.endswith(" s  at work   (Ctrl-C keeps the best)")
    progress(0.0, "leg_length_mm", 1_477_026, 1_356_000)
    line = progress._line().plain
    assert re.fullmatch(r" +0\.\d s  leg_length_mm 1,477,026, at least 1,356,000   \(Ctrl-C keeps the best\)", line)
    assert len(line) <= 80


def test_the_line_says_so_while_splices_are_out() -> None:
    """Where Ctrl-C keeps the best, it says what the best is worth; the bound goes first where there is no room."""
    progress = Progress(Output())
    progress(0.0, "unplaced", 1, 0)
    line = progress._line().plain
    assert line.endswith(" s  1 splice without a tray, at least 0   (Ctrl-C keeps the best)")
    progress(0.0, "unplaced", 1296, 1296)
    progress(0.0, "leg_length_mm", 1_477_026, 1_356_000)
    line = progress._line().plain
    assert line.endswith(" s  at work   (Ctrl-C keeps the best: 1,296 splices without a tray)")
    progress(0.0, "legs", 24, None)
    assert progress._line().plain.endswith("legs 24   (Ctrl-C keeps the best: 1,296 splices without a tray)")
    progress(0.0, "unplaced", 0, 0)
    assert progress._line().plain.endswith("legs 24   (Ctrl-C keeps the best)")


@pytest.mark.parametrize("name", ["2x432-wall-2x6", "no-144-swapped-halves-wall-2x6", "2x288-swapped-halves-wall-2x6"])
def test_progress_tells_values_and_bounds_of_the_job_alone(name: str) -> None:
    """No value is better than the best plan and no bound is above it, whatever small models the search looks at."""
    told: list[tuple[str, int | None, int | None]] = []
    job = load_job(STANDARD / f"{name}.yaml")
    plan = solve(job, progress=lambda _, goal, value, bound: told.append((goal, value, bound)), explain=False).plan
    assert plan.status == "optimal"
    assert told
    best = {item.goal: item.value for item in plan.goals}
    for goal, value, bound in told:
        assert value is not None
        assert bound is None or bound <= best[goal], (goal, value, bound)  # type: ignore[index]
        if goal == "unplaced":
            assert value >= best["unplaced"]


def test_a_bound_of_a_small_model_is_not_told(monkeypatch: pytest.MonkeyPatch) -> None:
    """A model of a few divisions leaves splices out that others place: what it proves is not said of the job."""
    session = import_module("trayopt.solver.heuristics.session")
    primal = import_module("trayopt.solver.heuristics.primal")
    told: list[tuple[str, int | None, int | None]] = []
    real = session.run

    def run(model: Any, clock: Any, tuning: Any, watch: Any = None, **more: Any) -> Any:
        outcome = real(model, clock, tuning, watch, **more)
        if watch is not None:
            watch(10**6, 10**5)
        return outcome

    monkeypatch.setattr(session, "run", run)
    search = session.Session(
        load_job(STANDARD / "2x432-wall-2x6.yaml"),
        tuple(goal.id for goal in import_module("trayopt.goals.registry").order()),
        import_module("trayopt.solver.model.clock").Clock(),
        progress=lambda _, goal, value, bound: told.append((goal, value, bound)),
    )
    primal.first_plan(search, {}, all_placed=False)
    model = search.complete_model(search.divider.open, 100)
    search.better(model, ("broken_prefer", "legs"))
    assert told
    assert all(bound is None or bound < 10**5 for _, _, bound in told)


def _read(handle: int) -> Iterator[bytes]:
    """Read a terminal to its end, which Linux tells by an error."""
    with contextlib.suppress(OSError):
        while select.select([handle], [], [], 120)[0]:
            part = os.read(handle, 65536)
            if not part:
                return
            yield part


INTERRUPTED = """
import os, signal, sys
from trayopt.cli import main, progress

take = progress.Progress.__call__
sent = []

def interrupt(self, seconds, goal, value, bound):
    take(self, seconds, goal, value, bound)
    if value is not None and not sent:
        sent.append(goal)
        os.kill(os.getpid(), signal.SIGINT)

progress.Progress.__call__ = interrupt
main(sys.argv[1:])
"""
"""Sends SIGINT to itself, from a thread of the solver, when that has found a plan of the goal in work."""


def test_ctrl_c_keeps_the_best_plan(tmp_path: Path) -> None:
    """A real process and a real signal, in the midst of the search: the best plan is written, checked and told."""
    job, path = tmp_path / "job.yaml", tmp_path / "plan.json"
    shuffled = shuffle(loose_tubes(48), 48, 12, seed=1, box=cabinet(2, 24, SINGLE_12), divide_at="tray")
    job.write_text(json.dumps(shuffled), "utf-8")
    done = subprocess.run(
        [sys.executable, "-c", INTERRUPTED, "solve", str(job), "-o", str(path)],
        capture_output=True,
        check=False,
        cwd=ROOT,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        text=True,
        timeout=240,
    )
    assert done.returncode == Exit.YES, done.stderr
    assert done.stderr.startswith("stopping with the best plan so far; Ctrl-C again gives up at once\n")
    assert "Feasible, not proven: every splice has a tray, every must is kept. Stopped by hand;" in " ".join(
        done.stdout.split()
    )
    plan = read_plan(path)
    assert (plan.status, plan.stopped) == ("feasible", "interrupted")
    assert trayopt("check", job, path, "-q").returncode == Exit.YES


# -- what is loaded ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", app.group.list_commands(None))  # type: ignore[arg-type]
def test_help_of_a_command_loads_nothing_heavy(name: str) -> None:
    assert loaded(name, "--help") & NOT_LOADED == set()


def test_check_of_a_plan_never_loads_the_solver(tmp_path: Path, example: tuple[Job, Plan]) -> None:
    path = tmp_path / "plan.json"
    path.write_text(json.dumps(example[1].plain()), encoding="utf-8")
    assert loaded("check", EXAMPLE, path) & {"ortools", "pandas", "numpy", "rich"} == set()
