"""Every case can be read, and its invented hardware is sound."""

from __future__ import annotations

import pytest

from benchmarks.cases import STANDARD, registry
from trayopt import load_job
from trayopt.domain.cable import Cable
from trayopt.domain.hardware import Enclosure
from trayopt.library.soundness import remarks

CASES = registry()
MADE = [name for name, case in CASES.items() if case.family != "standard"]


def test_every_standard_job_is_a_case() -> None:
    assert {name for name, case in CASES.items() if case.family == "standard"} == {
        p.stem for p in STANDARD.glob("*.yaml")
    }


@pytest.mark.parametrize("name", MADE)
def test_a_made_case_is_a_job(name: str) -> None:
    job = load_job(CASES[name].source)
    assert job.splices > 0
    parts: list[Enclosure | Cable] = [job.enclosure, *(trunk.cable for trunk in job.trunks)]
    errors = [remark for part in parts for remark in remarks(part) if remark[0] == "error"]
    assert not errors


def test_sizes_are_the_spliced_fibres() -> None:
    for case in CASES.values():
        if case.size is not None:
            assert load_job(case.source).splices == case.size[1]


def test_shuffles_differ_by_seed_and_repeat() -> None:
    joins = [load_job(CASES[f"legs-24-seed-{seed}"].source).joins for seed in (1, 2, 3)]
    assert len(set(joins)) == 3
    assert load_job(registry()["legs-24-seed-1"].source).joins == joins[0]
