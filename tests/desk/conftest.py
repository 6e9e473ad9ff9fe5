"""A desk with a small job in a folder of its own."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from tests.crewsheets.plans import straight
from trayopt.desk.desk import Desk
from trayopt.desk.server import Served
from trayopt.formats.json_out import dump_rows
from trayopt.library.find import shipped

JOB = "2x432-wall-2x6"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Put a job with comments and its best plan into a folder."""
    text = (shipped() / "standard" / f"{JOB}.yaml").read_text(encoding="utf-8")
    (tmp_path / "job.yaml").write_text(f"# for the crew of the yard\n{text}", encoding="utf-8")
    job, plan = straight(JOB)
    del job
    (tmp_path / "job-plan.json").write_text(dump_rows(plan.plain()), encoding="utf-8")
    return tmp_path


@pytest.fixture
def desk(folder: Path) -> Iterator[Desk]:
    made = Desk(folder / "job.yaml", workers=1)
    yield made
    made.close()


Serve = Callable[..., Served]


@pytest.fixture
def serve(folder: Path) -> Iterator[Serve]:
    """Serve desks of the job, and end them."""
    begun: list[Served] = []

    def make(name: str = "job.yaml") -> Served:
        served = Served(Desk(folder / name, workers=1))
        begun.append(served.__enter__())
        return served

    yield make
    for served in begun:
        served.__exit__()


def copied(folder: Path, name: str) -> Path:
    """Put a standard job into a folder, with the table that it names."""
    for path in (shipped() / "standard").glob(f"{name}.*"):
        shutil.copy(path, folder)
    return folder / f"{name}.yaml"
