"""What becomes of ribbons: runs that share sleeves, what is split and made for them, and digests of jobs that leave it open.

Calculated by hand: 9 ribbons of 16 against 12 of 12. As they are, 48 splices make runs of 12, 4, 8, 8, 4, 12.
"""

from __future__ import annotations

from typing import Any

import pytest

from tests.build import Json, job_of
from tests.strategies import worked_example
from trayopt.domain.handling import NewRibbon, handling
from trayopt.domain.job import Job
from trayopt.domain.ranges import Run
from trayopt.domain.splicing import sleeve_runs


def meeting(a: str = "P:1-144", b: str = "Q:1-144", *, widths: tuple[int, int] = (16, 12), **words: Any) -> Job:
    """Give a job of two trunks of 144 fibres in one tube each."""
    data: Json = worked_example()
    for trunk, width in zip(data["trunks"], widths, strict=True):
        ribbons = 144 // width
        trunk["cable"]["subunits"] = [{"count": 1, "ribbons": ribbons, "ribbon_fibres": width, "diameter_mm": 6}]
        if trunk["id"] in words:
            trunk["ribbons"] = words[trunk["id"]]
    data["joins"] = [{"a": a, "b": b}]
    return job_of(data)


def counts(job: Job, **work: Any) -> list[int]:
    chosen = {trunk.id: work.get(trunk.id, trunk.ribbons[0]) for trunk in job.trunks}
    return [run.count for run in sleeve_runs(job.pieces, job.trunk_by_id, chosen)]


def test_as_they_are_runs_end_with_the_ribbons_of_either_side() -> None:
    job = meeting()
    assert counts(job) == [12, 4, 8, 8, 4, 12] * 3
    assert sum(run.sleeves(12) for run in job.sleeve_runs) == 18


@pytest.mark.parametrize("word", ["split", 12])
def test_split_or_made_into_twelve_they_take_twelve_sleeves(word: Any) -> None:
    job = meeting(P=word)
    assert counts(job) == [12] * 12
    assert sum(run.sleeves(12) for run in job.sleeve_runs) == 12


def test_parts_lie_side_by_side_where_the_other_side_goes_on_and_new_ribbons_begin_anew() -> None:
    """P begins at fibre 5: its ribbons of 16 end after 12, 28 and 44 splices, those made of 12 after 8, 20, 32 and 44."""
    job = meeting("P:5-52", "Q:1-48")
    assert counts(job) == [12, 12, 4, 8, 8, 4]
    assert counts(job, P="split") == [12, 12, 12, 12]
    assert counts(job, P=12) == [8, 4] * 4


def test_where_ribbons_end_on_both_sides_a_run_ends_though_both_are_split() -> None:
    assert counts(meeting(P="split", Q="split")) == [48, 48, 48]
    assert sum(run.sleeves(12) for run in meeting(P="split", Q="split").sleeve_runs) == 12


def test_twelve_into_eight() -> None:
    job = meeting(widths=(12, 8))
    assert counts(job) == [8, 4, 4, 8] * 6
    assert counts(job, P=8) == [8] * 18
    assert counts(job, Q=12) == [12] * 12


def test_an_open_choice_counts_the_fewest_sleeves_and_knows_what_each_choice_takes() -> None:
    job = meeting(P=["as_they_are", "split", 12])
    assert [run.count for run in job.sleeve_runs] == [48, 48, 48]
    first = job.sleeve_runs[0]
    assert first.sleeves(12) == 4
    assert {share.a: share.sleeves(12) for share in first.shares} == {"as_they_are": 6, "split": 4, 12: 4}


def test_what_is_split_and_what_is_made() -> None:
    """16 against 12, 48 fibres: cuts after 12, 24 and 36 on the one side, after 16 and 32 on the other; or four ribbons made."""
    job = meeting("P:1-48", "Q:1-48")
    known = job.trunk_by_id

    def done(**work: Any) -> tuple[list[tuple[str, int]], int]:
        chosen = {"P": "as_they_are", "Q": "as_they_are"} | work
        runs = sleeve_runs(job.pieces, known, chosen)
        found = handling([side for run in runs for pair in run.cut(12) for side in pair], known, chosen)
        return sorted(found.cuts), len(found.made)

    assert done() == ([("P", 12), ("P", 24), ("P", 36), ("Q", 16), ("Q", 32)], 0)
    assert done(P="split") == ([("P", 12), ("P", 24), ("P", 36)], 0)
    assert done(P=12) == ([], 4)


def test_a_ribbon_that_is_made_is_no_wider_than_it_is_spliced() -> None:
    job = meeting("P:1-20", "Q:1-20")
    found = handling([Run("P", 1, 12), Run("P", 13, 20)], job.trunk_by_id, {"P": 12})
    assert found.cuts == frozenset()
    assert found.made == (NewRibbon("P", 1, 1, 12), NewRibbon("P", 1, 2, 12))


def test_jobs_without_the_key_keep_their_digest() -> None:
    """Neither the key at its default nor the rules of it are a part of what a job is."""
    data = worked_example()
    plain = job_of(data)
    data["trunks"][0]["ribbons"] = "as_they_are"
    assert job_of(data).digest == plain.digest
    data["rules"]["ribbon_work"] = {"weight": 7}
    assert job_of(data).digest == plain.digest
    data["trunks"][0]["ribbons"] = ["as_they_are", "split"]
    dear = job_of(data).digest
    data["rules"]["ribbon_work"] = {"weight": 2}
    assert len({plain.digest, dear, job_of(data).digest}) == 3


def test_a_list_is_read_in_the_order_of_the_work() -> None:
    assert meeting(P=[12, "split", 8, "as_they_are"]).trunk_by_id["P"].ribbons == ("as_they_are", "split", 8, 12)
