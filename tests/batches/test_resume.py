"""Resuming: a line serves only the job that it was written for, with the plan and the page that were written with it."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from pathlib import Path
from random import Random
from typing import Any

import pytest

from tests.batches.stubs import quick
from tests.batches.sweeps import run, write_sweep
from trayopt import load_job
from trayopt.batches.engines import Done
from trayopt.batches.manifest import Item, Manifest
from trayopt.batches.progress import Tally
from trayopt.batches.results import FILE, Results, Writer
from trayopt.batches.run import Run
from trayopt.batches.work import Settings
from trayopt.domain.job import Job
from trayopt.errors import Fault
from trayopt.library.find import shipped

BASE = load_job(shipped() / "standard" / "2x288-wall-2x6.yaml")
JOB = (shipped() / "standard" / "2x288-wall-2x6.yaml").read_text(encoding="utf-8")


def write_job(path: Path, title: str) -> Path:
    """Write a job whose answer is told by its title."""
    path.write_text(JOB.replace(JOB.partition("title: ")[2].partition("\n")[0], title, 1), encoding="utf-8")
    return path


def metres(folder: Path, name: str = "a") -> int:
    """Give what the stub makes of the title: 1,000 mm a character."""
    line = Results(folder).line(name)
    assert line is not None
    plan = json.loads((folder / line["plan"]).read_text(encoding="utf-8"))
    assert 1000 * len(plan["job"]["title"]) == line["goals"]["leg_length_mm"], "the plan is the plan of the line"
    return len(plan["job"]["title"])


@pytest.fixture
def asked(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[[], list[str]]:
    """Give the titles that were solved since the last question."""
    notes = tmp_path / "notes"
    notes.touch()
    monkeypatch.setenv("TRAYOPT_TEST_NOTES", str(notes))

    def told() -> list[str]:
        said = sorted(notes.read_text(encoding="utf-8").splitlines())
        notes.write_text("", encoding="utf-8")
        return said

    return told


def test_an_edit_that_is_taken_back_is_solved_again(tmp_path: Path, asked: Callable[[], list[str]]) -> None:
    """The line of the first job was superseded, and its plan was overwritten: neither serves again."""
    path, out = write_job(tmp_path / "a.yaml", "short"), tmp_path / "out"
    run([path], out, work="noted")
    assert metres(out) == 5
    write_job(path, "much longer")
    run([path], out, work="noted", resume=True)
    assert metres(out) == 11
    write_job(path, "short")
    run([path], out, work="noted", resume=True)
    assert metres(out) == 5
    assert asked() == ["much longer", "short", "short"]


def test_settings_that_are_taken_back_are_used_again(tmp_path: Path, asked: Callable[[], list[str]]) -> None:
    path, out = write_job(tmp_path / "a.yaml", "short"), tmp_path / "out"
    for limit in (60.0, 61.0, 60.0):
        run([path], out, work="noted", resume=True, settings=Settings(time_limit_s=limit))
        line = Results(out).line("a")
        assert line is not None
        assert line["settings"]["time_limit_s"] == limit
    assert len(asked()) == 3


def test_a_copy_of_a_job_keeps_its_own_plan_when_the_first_is_edited(
    tmp_path: Path, asked: Callable[[], list[str]]
) -> None:
    a, b, out = write_job(tmp_path / "a.yaml", "short"), write_job(tmp_path / "b.yaml", "short"), tmp_path / "out"
    summary = run([a, b], out, work="noted")
    assert (asked(), summary.same) == (["short"], 1)
    write_job(a, "much longer")
    summary = run([a, b], out, work="noted", resume=True)
    assert (metres(out, "a"), metres(out, "b")) == (11, 5)
    assert (asked(), summary.same) == (["much longer"], 0)


def test_a_job_file_that_was_renamed_is_not_solved_again(tmp_path: Path, asked: Callable[[], list[str]]) -> None:
    a, out = write_job(tmp_path / "a.yaml", "short"), tmp_path / "out"
    run([a], out, work="noted")
    summary = run([a.rename(tmp_path / "b.yaml")], out, work="noted", resume=True)
    assert asked() == ["short"]
    assert (summary.counts, summary.same, Results(out).names()) == ({"fits": 1}, 0, ["b"])
    (out / "plans" / "a.json").unlink()
    assert metres(out, "b") == 5


@pytest.mark.parametrize("damage", ["missing", "empty", "cut", "another plan"])
def test_a_damaged_plan_is_repaired(damage: str, tmp_path: Path, asked: Callable[[], list[str]]) -> None:
    jobs = [write_job(tmp_path / f"{name}.yaml", f"job {name}") for name in "abc"]
    out = tmp_path / "out"
    run(jobs, out, work="noted")
    asked()
    plan = out / "plans" / "b.json"
    before = plan.read_bytes()
    if damage == "missing":
        plan.unlink()
    else:
        other = (out / "plans" / "a.json").read_bytes()
        plan.write_bytes({"empty": b"", "cut": before[:-4], "another plan": other}[damage])
    tally = Tally()
    run(jobs, out, work="noted", resume=True, tally=tally)
    assert plan.read_bytes() == before
    assert (asked(), tally.before) == (["job b"], 2)


def test_a_damaged_page_is_made_again_from_its_plan_without_a_search(tmp_path: Path) -> None:
    path, out = write_job(tmp_path / "a.yaml", "a job"), tmp_path / "out"
    copy = write_job(tmp_path / "b.yaml", "a job")
    run([path, copy], out, work="trayopt.batches.work:solve_job", settings=Settings(time_limit_s=20))
    pages = [out / "plans" / f"{name}.html" for name in "ab"]
    whole = pages[0].read_bytes()
    assert pages[1].read_bytes() == whole
    for damaged in (b"", b"<p>half", None):
        for page in pages:
            page.unlink() if damaged is None else page.write_bytes(damaged)
        tally = Tally()
        run([path, copy], out, resume=True, tally=tally, work="crash", settings=Settings(time_limit_s=20))
        assert [page.read_bytes() for page in pages] == [whole, whole]
        assert (tally.before, tally.counts) == (2, {"fits": 2})


def test_jobs_that_are_gone_count_no_more_and_come_back_without_a_search(
    tmp_path: Path, asked: Callable[[], list[str]]
) -> None:
    out, path = tmp_path / "out", write_sweep(tmp_path / "s.yaml", ["a", "b", "bad"])
    run([path], out, work="noted")
    wrong = tmp_path / "wrong.yaml"
    wrong.write_text("schema: trayopt/job/2\n", encoding="utf-8")
    assert run([path, wrong], out, work="noted", resume=True).counts == {"fits": 3, "wrong_input": 1}
    asked()
    less = run([write_sweep(path, ["a"])], out, work="noted", resume=True)
    assert less.counts == {"fits": 1}
    assert less.failures == []
    assert [found.mix for found in less.smallest] == ["a"]
    assert "/bad" not in (out / "index.html").read_text(encoding="utf-8")
    assert len((out / "summary.csv").read_text(encoding="utf-8").splitlines()) == 2
    again = run([path], tmp_path / "new", work="quick", against=out)
    assert again.changes == [], "what left the older batch is nothing that is gone now"
    asked()
    back = run([write_sweep(path, ["a", "b", "bad"])], out, work="noted", resume=True)
    assert (back.counts, asked()) == ({"fits": 3}, [])
    edited = run([write_sweep(path, ["a", "b", "c"])], out, work="noted", resume=True)
    assert (edited.counts, asked()) == ({"fits": 3}, ["c in wall-1x6"])


@pytest.mark.parametrize("what", ["taken away", "cut", "emptied", "folder"])
def test_results_that_are_taken_away_or_cut_during_a_run_are_written_again(what: str, tmp_path: Path) -> None:
    out, path = tmp_path / "out", write_sweep(tmp_path / "s.yaml", [f"m{i}" for i in range(30)])
    run([write_sweep(path, [f"m{i}" for i in range(8)])], out)
    done: list[int] = []

    class Thief(Tally):
        """Does it in the middle of the run."""

        def tick(self) -> None:
            if self.done >= 15 and not done:
                done.append(self.done)
                file = out / FILE
                if what == "taken away":
                    file.rename(tmp_path / "elsewhere")
                elif what == "folder":
                    out.rename(tmp_path / "other")
                else:
                    file.write_bytes(b"" if what == "emptied" else file.read_bytes()[:-50])

    write_sweep(path, [f"m{i}" for i in range(30)])
    summary = run([path], out, tally=Thief(), resume=True)
    assert done
    assert summary.counts == {"fits": 30}
    assert summary.written_again
    raws = (out / FILE).read_bytes().splitlines()
    assert sorted(json.loads(raw)["name"] for raw in raws) == sorted(f"s/wall-1x6/m{i}" for i in range(30))
    assert json.loads((out / "summary.json").read_text(encoding="utf-8"))["jobs"] == 30


class Told:
    """A job that says its title."""

    def __init__(self, title: str) -> None:
        self.title = title

    def job(self) -> Job:
        """Make it."""
        return BASE.model_copy(update={"title": self.title})


class Batch(Manifest):
    """Titles by name."""

    titles: dict[str, str]

    def items(self) -> Iterator[Item]:
        """Give them in the order of their names."""
        for name, title in sorted(self.titles.items()):
            yield Item(name, "made", {}, Told(title))


class AtOnce:
    """Answers in the same process, and counts."""

    def __init__(self) -> None:
        self.asked: list[str] = []

    def slots(self) -> int:
        """Four."""
        return 4

    def submit(self, name: str, job: dict[str, Any], done: Done) -> None:
        """Answer."""
        self.asked.append(job["title"])
        done(quick(job, {}) | {"page": f"<h1>{job['title']}</h1>"})

    def close(self) -> None:
        """Do nothing."""

    def lost(self) -> str:
        """Nothing is."""
        return ""

    def notes(self) -> list[Fault]:
        """Nothing is to be told."""
        return []


@pytest.mark.parametrize("seed", range(4))
def test_whatever_is_edited_copied_renamed_removed_or_damaged_a_resumed_run_is_a_fresh_one(
    seed: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A page that is made again from a plan is that of the plan's title; no title is solved twice while its plan is whole."""
    monkeypatch.setattr("trayopt.batches.run.page_of", lambda plan, _: f"<h1>{json.loads(plan)['job']['title']}</h1>")
    chance = Random(seed)
    titles: dict[str, str] = {}
    for _ in range(25):
        settings = Settings(time_limit_s=chance.choice([60.0, 60.0, 61.0]))
        for name in "abcd":
            now = chance.choice(["stay", "stay", "gone", "x", "xx", "xxx"])
            if now == "gone":
                titles.pop(name, None)
            elif now != "stay":
                titles[name] = now
        files = sorted((tmp_path / "plans").glob("*")) if (tmp_path / "plans").exists() else []
        damaged = chance.random() < 0.5 and bool(files)
        if damaged:
            chance.choice(files).write_bytes(chance.choice([b"", b"{}", files[0].read_bytes()]))
        engine, manifest = AtOnce(), Batch(())
        object.__setattr__(manifest, "titles", titles)
        with Writer(tmp_path) as writer:
            Run(manifest, writer, engine, settings, Tally()).go()
            lines = {line["name"]: line for line in writer.settle().lines()}
        assert sorted(lines) == sorted(titles)
        assert len(engine.asked) == len(set(engine.asked)), "what is the same is solved once"
        for name, title in titles.items():
            line = lines[name]
            assert (line["title"], line["settings"]) == (title, settings.plain())
            assert json.loads((tmp_path / line["plan"]).read_text())["job"]["title"] == title
            assert (tmp_path / line["page"]).read_text() == f"<h1>{title}</h1>"
            first = min(other for other in titles if titles[other] == title)
            assert line.get("same_as", name) == first
