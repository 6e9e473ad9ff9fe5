"""How much more a box takes, against enumeration and hand-worked boxes."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest

from tests import oracle
from tests.build import Json, job_of
from tests.cli.run import trayopt
from tests.library.test_through import gone
from tests.solver.tiny import drawn
from tests.strategies import worked_example
from trayopt import load_job
from trayopt.api import check, grow, grown_plan
from trayopt.domain.assignment import Assignment
from trayopt.domain.cable import Cable
from trayopt.domain.job import Job
from trayopt.errors import InputError
from trayopt.explainer import growth
from trayopt.explainer.growth import Addition, Growth, grown, spare_runs
from trayopt.explainer.growth import grow as grow_job
from trayopt.explainer.growth_words import as_dict, said, text
from trayopt.explainer.why_not import Wishes
from trayopt.library.job_out import as_file
from trayopt.solver.conflict.feasibility import Trials
from trayopt.solver.conflict.minimal import conflicts
from trayopt.solver.heuristics.constructive import complete_plans, plans_past_a_port
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.groups import Question

TWO = Cable.model_validate(
    {
        "id": "two-of-12", "construction": "loose_tube", "diameter_mm": 9.0,
        "subunits": ({"count": 2, "ribbons": 1, "ribbon_fibres": 12, "diameter_mm": 2.5},),
    }
)  # fmt: skip


def fits(data: Json) -> bool:
    """Whether enumeration finds a plan that places every splice and keeps every must."""
    best = oracle.solve(data)
    return best is not None and best.goals[:2] == (0, 0)


def roomy(bench_mm: int = 1800) -> Json:
    """Give the worked example with half of its joins, and seals with room for two thin trunks more."""
    data = worked_example(bench_mm)
    data["joins"] = [{"a": "P:1-24", "b": "Q:1-24"}]
    for port in data["enclosure"]["ports"]:
        port["seals"] = [{"holes": 2, "least_mm": 8, "most_mm": 16}]
    return data


@pytest.mark.parametrize("seed", [2, 5, 11, 17])
def test_what_fits_is_what_enumeration_finds(seed: int) -> None:
    """Tiny boxes with a seal more at each port; one subunit of a thin pair after the other."""
    data = drawn(seed, trunks=2, ribbons=1, stacks=1, positions=2, ports=2, ends=1, loops=((1,),), rules=0.0, pins=0.0)
    for port in data["enclosure"]["ports"]:
        port["seals"] = [{"holes": 3, "least_mm": 1, "most_mm": 40}]
        port["bore_mm"] = 120
    job = job_of(data)
    thin = Cable.model_validate(
        TWO.model_dump() | {"id": "thin", "subunits": ({**TWO.subunits[0].model_dump(), "ribbon_fibres": 2},)}
    )
    found = grow(job, thin, by="subunit", reproducible=True, ways_out=0)
    enumerated = [fits(as_file(grown(job, Addition(thin, None, "subunit"), n))) for n in range(3)]
    if not enumerated[0]:
        assert (found.fits, found.settled) == (None, True)
        return
    assert found.fits is not None
    assert enumerated[found.fits]
    assert found.fits == 2 or not enumerated[found.fits + 1]
    assert found.settled == (found.fits < 2)


def test_the_trays_stop_the_next_one() -> None:
    """Four trays of 24 splices: P and Q take one, and half of Q is parked, so that a pair of 24 soon finds none."""
    job = job_of(roomy())
    found = grow(job, TWO, reproducible=True)
    assert found.settled
    assert found.why is not None
    assert found.why.conflicts[0].minimal
    plan = grown_plan(found)
    assert plan is not None
    assert check(found.job, plan).passed
    assert said(found).endswith("One more does not fit, which is proven.")
    assert as_dict(found)["fits"] == found.fits


def test_ways_out_end_with_their_effort_and_what_was_not_looked_at_is_named() -> None:
    """The answer and its conflict are those of a longer look; kinds of ways out without a turn are named, none of them twice."""
    job, limit = job_of(roomy()), 60.0
    clocks = [Clock(limit, deterministic=True) for _ in range(2)]
    whole, short = (
        grow_job(job, Addition(TWO), clock, Wishes(effort=effort))
        for clock, effort in zip(clocks, (None, 1e-6), strict=True)
    )
    assert whole.why is not None
    assert short.why is not None
    assert (short.fits, short.settled) == (whole.fits, True)
    assert short.why.conflicts == whole.why.conflicts
    assert whole.why.ways_out
    assert not whole.why.unseen
    assert "unseen" not in whole.why.plain()
    assert "other seals and ports" in short.why.unseen
    assert len(set(short.why.unseen)) == len(short.why.unseen)
    assert "Not searched to the end" in " ".join(text(short, 100).split())
    assert len(short.why.ways_out) < len(whole.why.ways_out)


def test_a_box_whose_trays_would_all_be_full_is_settled() -> None:
    """Four trays of 72 are free, and three tubes of 96 just fill them in legs of 24 and 48: blocks at places lay them out."""
    job = load_job("models/standard/2x576-half-built-wall-2x6.yaml")
    found = grow(job, "ribbon-576-6x96", by="subunit", time_limit_s=30, ways_out=0, reproducible=True)
    assert (found.fits, found.settled) == (3, True)


def test_spare_fibres_are_joined_from_the_lowest_up_and_run_out() -> None:
    job = job_of(roomy())
    assert spare_runs(job, "Q") == [(25, 48)]
    found = grow(job, TWO, to="Q", by="subunit", reproducible=True)
    assert (found.fits, found.settled) == (2, False)
    assert [(str(join.a), str(join.b)) for join in found.job.joins[1:]] == [("Q:25-48", "new1:1-24")]
    assert said(found).endswith("The cable has no more.")
    more = grow(job, TWO, to="Q", reproducible=True)
    assert (more.fits, more.settled, more.spare) == (1, True, 0)
    assert said(more).endswith("Q has too few spare fibres for one more: 0 are left.")
    assert said(replace(more, spare=1)).endswith("Q has too few spare fibres for one more: 1 is left.")


def test_ends_that_may_be_capped_too_short_are_to_be_measured() -> None:
    """P.out/1 was capped when P was built: what is joined to it now has to reach a tray."""
    made = gone()
    made["pins"] = [
        {"trunk": "P.in", "port": "bl", "travel": "clockwise", "loops": 1, "built": True},
        {"trunk": "P.out", "port": "br", "travel": "counterclockwise", "loops": 1, "built": True},
        {"leg": "P.in:1-24", "stack": "left", "position": 1, "built": True},
    ]
    base = load_job(made)
    for to, told in (("P.out", True), ("Q", False)):
        addition = Addition(TWO, to, "subunit")
        text = said(Growth(addition, 1, settled=False, job=grown(base, addition, 1), assignment=None))
        assert ("Measure what may have been capped when the box was built (P.out/1)" in text) == told


def test_a_job_that_does_not_fit_itself_is_told() -> None:
    data = worked_example(bench_mm=9000)
    found = grow(job_of(data), TWO, reproducible=True)
    assert (found.fits, found.settled) == (None, True)
    assert found.why is not None
    assert found.why.conflicts
    assert "nothing more fits" in said(found)


def test_without_time_the_plan_of_habit_is_all_that_is_known() -> None:
    """It shows that one more fits, without a search; whether two do is open."""
    found = grow(job_of(roomy()), TWO, time_limit_s=1e-6, reproducible=True)
    assert (found.fits, found.settled, found.why) == (1, False, None)
    assert "not settled" in said(found)


def test_what_is_not_there_is_told() -> None:
    job = job_of(roomy())
    with pytest.raises(InputError, match="no such cable"):
        grow(job, "two-of-13")
    with pytest.raises(InputError, match="no such trunk"):
        grow(job, TWO, to="R")


def test_the_command_says_so_and_writes_the_job_with_its_plan(tmp_path: Path) -> None:
    job = tmp_path / "job.yaml"
    job.write_text(json.dumps(roomy()), encoding="utf-8")
    args = [
        "grow",
        str(job),
        "--cable",
        "loose-tube-144-12x12",
        "--to",
        "Q",
        "--by",
        "subunit",
        "-o",
        str(tmp_path / "more"),
    ]
    run = trayopt(*args, "--reproducible", "--format", "json")
    assert run.returncode == 0
    told = json.loads(run.stdout)
    assert (told["fits"], told["spare_fibres"]) == (2, 0)
    made = load_job(tmp_path / "more" / "job.yaml")
    assert check(made, tmp_path / "more" / "plan.json").passed
    assert len(made.trunks) == 3


def test_exit_codes(tmp_path: Path) -> None:
    job = tmp_path / "job.yaml"
    job.write_text(json.dumps(worked_example()), encoding="utf-8")
    args = ["grow", str(job), "--cable", "loose-tube-144-12x12", "--ways-out", "0", "-q"]
    assert trayopt(*args, "--reproducible").returncode == 1
    job.write_text(json.dumps(worked_example(2000)), encoding="utf-8")
    assert trayopt(*args, "--reproducible", "--time-limit", "0.000001").returncode == 3, (
        "habit finds no plan of this job"
    )


def pair_in_a_cabinet(cable: str, fibres: int) -> Job:
    """Join two trunks of a cable in a box of four ports and 6,912 places."""
    return load_job(
        {
            "schema": "trayopt/job/2",
            "enclosure": "cabinet-3x24",
            "trunks": [{"id": name, "cable": cable} for name in ("N1", "S1")],
            "joins": [{"a": f"N1:1-{fibres}", "b": f"S1:1-{fibres}"}],
        }
    )


LARGE, SMALL = ("partly-bonded-3456-24x144", 3456), ("partly-bonded-1152-8x144", 1152)


@pytest.mark.parametrize(("cable", "more"), [(LARGE, 2), (SMALL, 4)])
def test_what_trays_and_ports_cannot_take_is_counted_and_nothing_is_laid(
    monkeypatch: pytest.MonkeyPatch, cable: tuple[str, int], more: int
) -> None:
    """With 6,912 places there is no room for a third pair of 3,456; ports of two holes have none for a fifth pair."""
    job = pair_in_a_cabinet(*cable)
    assert next(complete_plans(grown(job, Addition(job.trunks[0].cable), more - 1)))

    def lay(*_: object) -> Assignment:
        raise AssertionError("nothing is to be laid")

    monkeypatch.setattr("trayopt.solver.heuristics.constructive.construct", lay)
    assert not list(complete_plans(grown(job, Addition(job.trunks[0].cable), more)))


def test_what_the_trays_of_the_whole_box_cannot_hold_needs_no_model() -> None:
    job = pair_in_a_cabinet(*LARGE)
    trials = Trials(Question(grown(job, Addition(job.trunks[0].cable), 2)), Clock(60.0, deterministic=True))
    assert trials.possible(frozenset(trials.question.groups)) is False
    assert trials.clock.spent == 0
    assert trials.refuted == [trials.question.by_rule["tray_fibres"]]


def test_the_seals_that_stop_the_next_pair_are_proven_by_plans_of_habit() -> None:
    """Each plan brings the trunks that are too many to one port: without its seal all else holds, and nothing is searched for."""
    job = pair_in_a_cabinet(*SMALL)
    more = grown(job, Addition(job.trunks[0].cable), 4)
    trials = Trials(Question(more), Clock(60.0, deterministic=True))
    for plan in plans_past_a_port(more):
        trials.offer(plan)
    assert [list(map(str, kept.broken)) for kept in trials.plans] == [
        [f"port_seal {port.id}"] for port in job.enclosure.ports
    ]
    (found,) = conflicts(trials, 1)
    assert found.minimal
    assert {group.rule for group in found.groups} == {"port_seal"}
    assert len(found.groups) == 4


def test_what_is_kept_for_the_reason_goes_into_a_question_that_is_open(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing is to be told of a next pair that is not settled: it is asked again with all that is left of the limit."""
    kept: list[float] = []

    def unsettled(search: growth._Search, n: int, effort: float | None = None) -> bool:
        kept.append(search.clock.reserve())
        search.answers[n] = True if n == 0 else None
        if n == 0:
            search.plans[n] = Assignment({}, {}, {})
        return n == 0

    monkeypatch.setattr(growth._Search, "possible", unsettled)
    found = grow_job(job_of(roomy()), Addition(TWO), Clock(60.0, deterministic=True), Wishes())
    assert (found.fits, found.settled, found.why) == (0, False, None)
    assert kept[0] == growth.WHY_PART * 60
    assert kept[-1] == 0
