"""What to run: files, folders, and names that are unique and safe."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from tests.batches.sweeps import write_sweep
from trayopt.batches.manifest import Item, JobFile, Shelf, read_manifest
from trayopt.errors import InputError
from trayopt.library.find import shipped

JOB = shipped() / "standard" / "2x288-wall-2x6.yaml"


def test_of_a_folder_jobs_and_sweeps_are_taken_and_nothing_else(tmp_path: Path) -> None:
    (tmp_path / "below").mkdir()
    (tmp_path / "below" / "job.yaml").write_text(JOB.read_text())
    without = re.sub("^schema: .*\n", "", JOB.read_text(), flags=re.MULTILINE)
    (tmp_path / "without.yaml").write_text(without)
    (tmp_path / "tray.yaml").write_text((shipped() / "trays" / "ribbon-24.yaml").read_text())
    (tmp_path / "notes.yaml").write_text("a: 1\n")
    (tmp_path / "readme.md").write_text("schema: trayopt/job/2\n")
    (tmp_path / ".hidden.yaml").write_text(JOB.read_text())
    write_sweep(tmp_path / "sweep.yaml", ["one"])
    found = [item.name for item in read_manifest([tmp_path]).items()]
    assert found == ["sweep/wall-1x6/one", "without", "below/job"]


def test_a_file_that_is_named_is_taken_for_a_job_and_its_faults_wait_for_its_turn(tmp_path: Path) -> None:
    path = tmp_path / "what.yaml"
    path.write_text("a: [\n")
    (item,) = read_manifest([path]).items()
    with pytest.raises(InputError, match=r"what\.yaml"):
        item.job()


def test_what_is_wrong_in_a_part_is_told_to_every_job_that_refers_to_it(tmp_path: Path) -> None:
    (tmp_path / "box.yaml").write_text("kind: enclosure\nid: box\n")
    for name in ("a", "b"):
        (tmp_path / f"{name}.yaml").write_text(JOB.read_text().replace("wall-2x6", "box.yaml"))
    said = set()
    for item in read_manifest([tmp_path / "a.yaml", tmp_path / "b.yaml"]).items():
        with pytest.raises(InputError, match="the key 'track' is missing") as wrong:
            item.job()
        said.add(str(wrong.value))
    assert len(said) == 1


def test_paths_that_are_not_there_and_folders_without_jobs_are_told_at_once(tmp_path: Path) -> None:
    with pytest.raises(InputError) as wrong:
        read_manifest([tmp_path / "a.yaml", tmp_path / "b"])
    assert [fault.message for fault in wrong.value.faults] == ["there is no such file or folder"] * 2
    with pytest.raises(InputError, match="there is no job to run"):
        read_manifest([tmp_path])


def test_names_are_unique_whatever_their_case(tmp_path: Path) -> None:
    for folder, name in (("a", "job"), ("b", "job"), ("c", "JOB"), ("d", "job~2")):
        (tmp_path / folder).mkdir()
        (tmp_path / folder / f"{name}.yaml").write_text(JOB.read_text())
    paths = [next((tmp_path / folder).iterdir()) for folder in "abcd"]
    assert [item.name for item in read_manifest(paths).items()] == ["job", "job~2", "JOB~3", "job~2~2"]


@pytest.mark.parametrize(
    ("name", "path"),
    [
        ("s/wall-1x6/2 × 864", "plans/s/wall-1x6/2-864.json"),
        ("s/../up", "plans/s/"),
        ("a\\b:c*?", "plans/a-b-c-"),
        ("straße/größe", "plans/straße/größe.json"),
        ("x" * 300, "plans/" + "x" * 109),
    ],
)
def test_paths_of_plans_are_safe_and_different(name: str, path: str) -> None:
    found = Item(name, "", {}, JobFile(Path("x"), Shelf())).plan_path
    assert found.startswith(path.removesuffix(".json") if "×" in name else path)
    assert ".." not in found.split("/")
    assert all(len(part.encode()) <= 130 for part in found.split("/"))
    assert Item(name + "!", "", {}, JobFile(Path("x"), Shelf())).plan_path != found


def box(folder: Path, name: str, old: str, new: str) -> None:
    """Write a box that is wall-2x6 but for one thing."""
    text = (
        (shipped() / "enclosures" / "wall-2x6.yaml").read_text(encoding="utf-8").replace("id: wall-2x6", f"id: {name}")
    )
    assert old in text
    (folder / f"{name}.yaml").write_text(text.replace(old, new, 1), encoding="utf-8")


def test_what_is_unusual_is_told_once_for_all_jobs_and_sweeps(tmp_path: Path) -> None:
    seals = "[{holes: 1, least_mm: 10, most_mm: 32}, {holes: 2, least_mm: 8, most_mm: 18}, {holes: 4, least_mm: 6, most_mm: 12}]"
    box(tmp_path, "bare", f"seals: {seals}", "seals: []")
    for name in ("a", "b"):
        job = JOB.read_text(encoding="utf-8").replace("enclosure: wall-2x6", "enclosure: bare.yaml")
        (tmp_path / f"{name}.yaml").write_text(job, encoding="utf-8")
    write_sweep(tmp_path / "sweep.yaml", ["one"], enclosures="[bare.yaml]")
    found = read_manifest([tmp_path / "a.yaml", tmp_path / "b.yaml", tmp_path / "sweep.yaml"])
    for item in found.items():
        item.job()
    (told,) = found.unusual()
    assert "has no seals" in told.message
    assert (Path(told.source).name, told.line > 0) == ("bare.yaml", True)


def test_a_sweep_over_a_box_that_cannot_be_built_is_refused(tmp_path: Path) -> None:
    box(tmp_path, "deep", "at_mm: [", "at_mm: [9")
    write_sweep(tmp_path / "sweep.yaml", ["one"], enclosures="[deep.yaml]")
    with pytest.raises(InputError, match=r"deep\.yaml:\d+:\d+: the trays of stack \w+ are outside of the box"):
        read_manifest([tmp_path / "sweep.yaml"])
