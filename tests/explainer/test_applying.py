"""``explain --apply``: copies of the job and its hardware with the change in them, and the plan that proved it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.cli.run import trayopt
from tests.explainer.applying import write
from tests.explainer.planted import box, job, pair, pin, trunk
from trayopt.api import carry_out, check, explain, load_job
from trayopt.cli.exitcodes import Exit
from trayopt.errors import InputError, SolverFault
from trayopt.explainer.edits import documents
from trayopt.explainer.why_not import Proven
from trayopt.formats.yaml_edit import YamlFile
from trayopt.library.find import shipped
from trayopt.library.job import box_file_of

SHORT = shipped() / "standard" / "no-2x864-short-tail-wall-3x8.yaml"
TOO_SMALL = pair(enclosure=box(positions=1, fibres=12))


def proofs(path: Path) -> list[Proven]:
    """Explain a job, and give its ways out with what proved them."""
    found: list[Proven] = []
    explain(load_job(path), reproducible=True, box_file=box_file_of(path), job_file=path.name, proven=found.append)
    return found


def trays(found: list[Proven]) -> Proven:
    return next(item for item in found if [added.what for added in item.way.add] == ["trays"])


def test_the_changed_job_and_its_plan_pass_and_nothing_else_is_changed(tmp_path: Path) -> None:
    done = trayopt("explain", SHORT, "--apply", "1", "-o", tmp_path / "out", "--reproducible")
    assert done.returncode == Exit.YES, done.stderr
    file, plan = tmp_path / "out" / SHORT.name, tmp_path / "out" / f"{SHORT.stem}-plan.json"
    assert done.stdout.splitlines() == [
        f"expose 4,200 mm of S1: written to {tmp_path / 'out'}",
        f"next: trayopt check {file} {plan}",
    ]
    before, after = (path.read_text(encoding="utf-8").splitlines() for path in (SHORT, file))
    assert [(a, b) for a, b in zip(before, after, strict=True) if a != b] == [
        (
            "  - {id: S1, cable: ribbon-864-6x144, exposed_mm: 3000}",
            "  - {id: S1, cable: ribbon-864-6x144, exposed_mm: 4200}",
        )
    ]
    assert trayopt("check", file, plan, "-q").returncode == Exit.YES
    assert sorted(path.name for path in (tmp_path / "out").iterdir()) == [plan.name, file.name]


def test_edits_name_the_files_that_they_belong_to(tmp_path: Path) -> None:
    (tmp_path / "job.yaml").write_text(write(TOO_SMALL), encoding="utf-8")
    heads = [head for item in proofs(tmp_path / "job.yaml") for head, _ in documents(item.way.edit)]
    assert heads
    assert all(head == "job.yaml" or "a copy of job.yaml" in head for head in heads)


def test_a_box_that_is_named_by_path_is_changed_in_a_copy_with_its_trays(tmp_path: Path) -> None:
    """The box stands in a folder beside the job, its tray in another one; both are taken along, comments as well."""
    made = box(positions=1, fibres=12)
    tray = made["stacks"][0]["tray"]
    for stack in made["stacks"]:
        stack["tray"] = f"../trays/{tray['id']}.yaml"
    for folder in ("boxes", "trays", "jobs"):
        (tmp_path / folder).mkdir()
    text = write({"kind": "enclosure", **made})
    (tmp_path / "boxes" / f"{made['id']}.yaml").write_text(f"# ours\n{text}", encoding="utf-8")
    (tmp_path / "trays" / f"{tray['id']}.yaml").write_text(write({"kind": "tray", **tray}), encoding="utf-8")
    path = tmp_path / "jobs" / "job.yaml"
    path.write_text(write({**TOO_SMALL, "enclosure": f"../boxes/{made['id']}.yaml"}), encoding="utf-8")
    found = trays(proofs(path))
    assert [head for head, _ in documents(found.way.edit)] == [f"../boxes/{made['id']}.yaml"]
    out = tmp_path / "out"
    assert carry_out(path, found, out) == [("job.yaml", "job-plan.json")]
    assert sorted(file.name for file in out.iterdir()) == sorted(
        ["job.yaml", "job-plan.json", f"{made['id']}.yaml", f"{tray['id']}.yaml"]
    )
    assert (out / f"{made['id']}.yaml").read_text(encoding="utf-8").startswith("# ours\n")
    assert (tmp_path / "boxes" / f"{made['id']}.yaml").read_text(encoding="utf-8") == f"# ours\n{text}"
    assert check(load_job(out / "job.yaml"), out / "job-plan.json").passed
    done = trayopt("library", "validate", out / f"{made['id']}.yaml", out / f"{tray['id']}.yaml", "-q")
    assert done.returncode == Exit.YES


def test_a_box_of_the_library_is_copied_under_a_new_name(tmp_path: Path) -> None:
    name = "no-1728-of-6912-port-seal-wall-3x8"
    path = tmp_path / "job.yaml"
    path.write_text((shipped() / "standard" / f"{name}.yaml").read_text(encoding="utf-8"), encoding="utf-8")
    found = next(item for item in proofs(path) if "-changed.yaml" in item.way.edit)
    assert [head for head, _ in documents(found.way.edit)] == ["job.yaml", "wall-3x8-changed.yaml"]
    carry_out(path, found, tmp_path / "out")
    assert trayopt("library", "validate", tmp_path / "out" / "wall-3x8-changed.yaml", "-q").returncode == Exit.YES
    job_ = load_job(tmp_path / "out" / "job.yaml")
    assert job_.enclosure.id == "wall-3x8-changed"
    assert check(job_, tmp_path / "out" / "job-plan.json").passed


def test_a_job_that_is_shared_out_to_two_boxes_becomes_two_jobs_with_a_plan_each(tmp_path: Path) -> None:
    """Its joins stand in a table, which neither of the two jobs can have as it is."""
    made = job(
        [trunk(name) for name in "PQRS"], [("P:1-24", "Q:1-24", "a"), ("R:1-24", "S:1-24", "b")],
        enclosure=box(positions=1, fibres=24), pins=[pin("R:1-12", "left", 1)],
    )  # fmt: skip
    path = tmp_path / "job.yaml"
    (tmp_path / "joins.csv").write_text("a,b,name\nP:1-24,Q:1-24,a\nR:1-24,S:1-24,b\n", encoding="utf-8")
    path.write_text(write({**made, "joins": "joins.csv"}), encoding="utf-8")
    found = next(item for item in proofs(path) if len(item.jobs) == 2)
    written = carry_out(path, found, tmp_path / "out")
    assert written == [("job-1.yaml", "job-1-plan.json"), ("job-2.yaml", "job-2-plan.json")]
    jobs = [load_job(tmp_path / "out" / file) for file, _ in written]
    assert [[join.name for join in each.joins] for each in jobs] == [["a"], ["b"]]
    assert all(check(each, tmp_path / "out" / plan).passed for each, (_, plan) in zip(jobs, written, strict=True))


def test_the_job_itself_is_never_written_over(tmp_path: Path) -> None:
    path = tmp_path / "job.yaml"
    path.write_text(write(TOO_SMALL), encoding="utf-8")
    before = path.read_bytes()
    with pytest.raises(InputError, match="this would be written over what it is a copy of"):
        carry_out(path, trays(proofs(path)), tmp_path)
    assert path.read_bytes() == before
    assert [file.name for file in tmp_path.iterdir()] == ["job.yaml"]


def test_an_edit_that_no_longer_fits_its_file_writes_nothing(tmp_path: Path) -> None:
    """The file was changed since it was explained: the plan would be that of another job."""
    path = tmp_path / "job.yaml"
    path.write_text(write(TOO_SMALL), encoding="utf-8")
    found = trays(proofs(path))
    path.write_text(write(pair(enclosure=box(positions=1, fibres=14))), encoding="utf-8")
    with pytest.raises(SolverFault, match="not the job that was proven"):
        carry_out(path, found, tmp_path / "out")
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["--apply", "1"], "--apply N and -o DIR go together"),
        (["-o", "out"], "--apply N and -o DIR go together"),
        (["--apply", "99", "-o", "out"], "there is no way out 99; allowed: 1 to "),
    ],
)
def test_what_cannot_be_applied_is_refused(arguments: list[str], says: str, tmp_path: Path) -> None:
    path = tmp_path / "job.yaml"
    path.write_text(write(TOO_SMALL), encoding="utf-8")
    done = trayopt("explain", path, *arguments, cwd=tmp_path)
    assert done.returncode == Exit.INPUT
    assert says in done.stderr
    assert not (tmp_path / "out").exists()


def test_where_all_can_be_kept_there_is_nothing_to_apply(tmp_path: Path) -> None:
    (tmp_path / "job.yaml").write_text(write(pair(enclosure=box())), encoding="utf-8")
    done = trayopt("explain", tmp_path / "job.yaml", "--apply", "1", "-o", tmp_path / "out")
    assert done.returncode == Exit.INPUT
    assert "there is no way out 1; found there is no conflict, and so no way out" in done.stderr
    done = trayopt("explain", tmp_path / "job.yaml", "--apply", "all", "-o", tmp_path / "out", "-q")
    assert done.returncode == Exit.YES
    assert "nothing is written: there is no conflict, and so no way out" in done.stderr
    assert not (tmp_path / "out").exists()


def test_as_json_the_answer_names_every_file(tmp_path: Path) -> None:
    (tmp_path / "job.yaml").write_text(write(TOO_SMALL), encoding="utf-8")
    done = trayopt("explain", tmp_path / "job.yaml", "--apply", "1", "-o", tmp_path / "out", "--format", "json")
    answer = json.loads(done.stdout)
    assert answer["written"] == [{"job": "job.yaml", "plan": "job-plan.json"}]
    assert answer["edit"].startswith("---  # job.yaml\n")


def test_comments_quotes_and_order_outlive_a_change() -> None:
    text = (
        '# head\nb: "12:24"   # kept\na: [1, 2]\nrules:\n  reach: {bench_mm: 3}  # old\n  exposed: must\n'
        "list:\n  # first\n  - {id: x, n: 1}\n  - id: y   # second\n    n: 2\n"
    )
    file = YamlFile(text)
    file.merge("rules:\n  reach: prefer  # now\nlist:\n  - id: y\n    n: 3\n    m: [4, 5]\nc: NO\n")
    assert file.text() == (
        '# head\nb: "12:24"   # kept\na: [1, 2]\nrules:\n  reach: prefer         # old\n  exposed: must\n'
        "list:\n  # first\n  - {id: x, n: 1}\n  - id: y   # second\n    n: 3\n    m: [4, 5]\nc: NO\n"
    )


def test_a_list_of_short_entries_keeps_its_braces() -> None:
    text = "apart: [{joins: [a, b]}]  # by two routes\ntitle: x\n"
    file = YamlFile(text)
    file.merge("title: y\n")
    assert file.text() == text.replace("x\n", "y\n")


@pytest.mark.parametrize(
    ("document", "says"),
    [
        ("list:\n  - id: z\n    n: 3\n", "no list has the id z"),
        ("pins:\n  # - {leg: a}  # take out\n", "stands 0 times in pins"),
        ("pins:\n  # - {trunk: t}  # take out\n", "stands 2 times in pins"),
    ],
)
def test_an_entry_that_does_not_stand_there_once_is_not_guessed(document: str, says: str) -> None:
    file = YamlFile("list:\n  - {id: x}\npins:\n  - {trunk: t, port: a}\n  - {trunk: t, loops: 1}\n")
    with pytest.raises(ValueError, match=says):
        file.merge(document)


def test_all_ways_out_of_one_run_are_written_each_with_its_own_plan(tmp_path: Path) -> None:
    """A list that a second run would not find again, because the machine has more to do, is carried out as it was proven."""
    (tmp_path / "job.yaml").write_text(write(TOO_SMALL), encoding="utf-8")
    done = trayopt("explain", tmp_path / "job.yaml", "--apply", "all", "-o", tmp_path / "out", "--format", "json")
    assert done.returncode == Exit.YES, done.stderr
    edits = list(dict.fromkeys(way["edit"] for way in json.loads(done.stdout)["ways_out"]))
    folders = sorted((tmp_path / "out").iterdir(), key=lambda folder: int(folder.name))
    assert [folder.name for folder in folders] == [str(i + 1) for i in range(len(edits))]
    assert len(folders) > 2
    for folder in folders:
        plans = sorted(folder.glob("*-plan.json"))
        assert plans
        for plan in plans:
            file = plan.with_name(plan.name.replace("-plan.json", ".yaml"))
            assert check(load_job(file), plan).passed
        assert trayopt("library", "validate", *folder.glob("*.yaml"), "-q").returncode == Exit.YES
    digests = {load_job(next(folder.glob("*.yaml"))).digest for folder in folders}
    assert len(digests) == len(folders)


def test_a_number_beyond_a_list_that_the_time_cut_short_says_how_to_keep_it(tmp_path: Path) -> None:
    path = tmp_path / "job.yaml"
    path.write_text(SHORT.read_text(encoding="utf-8"), encoding="utf-8")
    done = trayopt("explain", path, "--apply", "99", "-o", tmp_path / "out", "--time-limit", "0.3")
    assert done.returncode == Exit.INPUT
    assert "raise --time-limit, or use --apply all, which keeps each as soon as it is proven" in done.stderr


def test_what_is_neither_a_number_nor_all_is_refused(tmp_path: Path) -> None:
    done = trayopt("explain", SHORT, "--apply", "0", "-o", tmp_path / "out")
    assert done.returncode == Exit.INPUT
    assert "'0' is neither the number of a way out nor all" in done.stderr
