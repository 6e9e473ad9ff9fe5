"""Which trunks stay outside, and the part of a job that is left then: against brute force."""

from __future__ import annotations

import random
from collections.abc import Iterator
from functools import partial
from typing import Any

import pytest

from tests import oracle, strategies
from tests.build import job_of
from trayopt.domain.job import Job
from trayopt.goals.registry import GOALS, measure_all
from trayopt.solver.bounds.division import Divider
from trayopt.solver.bounds.trunks_outside import out_by_patterns, sets_outside
from trayopt.solver.model.clock import Clock, OutOfTime
from trayopt.solver.model.run import Tuning
from trayopt.solver.model.without_trunks import lost_pieces, without_trunks
from trayopt.solver.search import outside as sets
from trayopt.solver.search.incomplete import plan_of_patterns
from trayopt.solver.search.outside import NAME
from trayopt.solver.search.search import Search
from trayopt.solver.search.work import Work
from trayopt.track.laid import Laid

ORDER = tuple(goal.id for goal in GOALS)
KINDS: dict[str, dict[str, Any]] = {
    "any": {"trunks": 3, "tight": 0.7, "pins": 0.5},
    "one port": {"trunks": 3, "ports": 1, "tight": 0.7, "pins": 0.5},
    "divided at the port": {"trunks": 3, "ports": 1, "at_port": 0.9, "pins": 0.3},
    "parts of ribbons": {"trunks": 3, "ports": 1, "shape": "partial"},
    "work on ribbons": {"trunks": 3, "ports": 1, "ribbon_work": 0.5},
}


def partly_outside(seeds: range, **knobs: Any) -> Iterator[tuple[int, Job, tuple[int, ...], frozenset[str]]]:
    """Give random tiny jobs of whose best plan by brute force some trunks stay outside, and these; others come in."""
    for seed in seeds:
        plain = strategies.random_job(random.Random(seed), **knobs)
        best = oracle.solve(plain)
        assert best is not None
        job = job_of(plain)
        inside = {trunk for (trunk, *_), place in best.decision.legs.items() if place}
        outside = frozenset(trunk.id for trunk in job.trunks if trunk.id not in inside)
        if inside and outside:
            yield seed, job, tuple(best.goals), outside


def search(job: Job, *without: str) -> Search:
    """Search a job to its end."""
    made = Search(job, ORDER, Clock(), tuning=Tuning(workers=1), without=frozenset(without))
    made.solve()
    return made


@pytest.mark.parametrize("kind", KINDS)
def test_what_is_left_without_trunks_has_the_best_plan_of_the_job(kind: str) -> None:
    """No plan loses less than is lost with its trunks; of one that loses no more, the part says every goal."""
    equal = barred = 0
    for seed, job, goals, outside in partly_outside(range(61000, 61080), **KINDS[kind]):
        if seed >= 61020 and equal and barred:
            break
        lost = sum(piece.count for piece in lost_pieces(job, outside))
        assert lost <= goals[0], f"seed {seed}"
        part = without_trunks(job, outside)
        if part is None:
            continue
        assert part.price["unplaced"] == lost, f"seed {seed}"
        barred += any(s.barred for s in part.job.subunits)
        state = search(part.job, NAME).state
        if lost < goals[0]:
            assert state.value("unplaced"), f"seed {seed}: brute force found no plan that loses so little"
        else:
            equal += 1
            assert tuple(state.value(goal) + part.price.get(goal, 0) for goal in ORDER) == goals, f"seed {seed}"
    assert equal
    assert barred


def hanging_together() -> dict[str, Any]:
    """Make a job in which P/1 hangs on R as on Q, which come in by S alone."""
    plain = strategies.random_job(random.Random(1), trunks=4, ports=2, rules=0.0, pins=0.0, apart=0.0, tight=0.0)
    for trunk in plain["trunks"]:
        trunk["cable"] |= {"tubes": True, "subunits": [dict(trunk["cable"]["subunits"][0], count=2, ribbons=2)]}
        trunk |= {"divide_at": ["tray"], "travel": "either" if trunk["id"] == "S" else "clockwise"}
    width = plain["trunks"][0]["cable"]["subunits"][0]["ribbon_fibres"]
    second = 2 * width + 1
    ends = [("P", 1, "Q", 1), ("P", width + 1, "R", 1), ("P", second, "S", 1), ("Q", second, "S", width + 1)]
    plain["joins"] = [
        {"a": f"{a}:{i}-{i + width - 1}", "b": f"{b}:{j}-{j + width - 1}", "name": f"{a}{b}"} for a, i, b, j in ends
    ]
    return plain


def test_a_pair_that_lost_its_splices_with_another_trunk_is_still_joined() -> None:
    """That P and Q travel the same way is broken in the part as in the job."""
    job = job_of(hanging_together())
    width = job.joins[0].a.last
    part = without_trunks(job, {"R"})
    assert part is not None
    assert part.price["unplaced"] == 2 * width
    assert [join.name for join in part.job.joins] == ["PS", "QS"]
    assert ("P", "Q") in part.job.joined_pairs
    assert not any("R" in pair for pair in part.job.joined_pairs)
    plan = search(part.job).state.best
    assert plan is not None
    assert measure_all(Laid(part.job, plan))["broken_prefer"] == measure_all(Laid(job, plan))["broken_prefer"] > 0


def test_a_pin_of_idle_fibres_is_broken_where_their_subunit_loses_all_its_splices() -> None:
    """The idle half of Q/1 lies in a tray beside the spliced one, or not at all."""
    plain = hanging_together()
    width = job_of(plain).joins[0].a.last
    pinned = f"Q:{width + 1}-{2 * width}"
    job = job_of(plain | {"rules": {"pin": "must"}, "pins": [{"leg": pinned, "stack": "left"}]})
    part = without_trunks(job, {"R"})
    assert part is not None
    assert part.job.pins == ()
    assert part.price["broken_must"] == 1
    without_s = without_trunks(job, {"S"})
    assert without_s is not None
    assert not without_s.price["broken_must"]


@pytest.mark.parametrize("kind", KINDS)
def test_sets_of_trunks_hold_the_best_plan_and_their_search_finds_it(kind: str) -> None:
    """The set of the best plan comes before its bound is above that plan, and the search with sets proves the plan."""
    searched = 0
    for seed, job, goals, outside in partly_outside(range(64000, 64015), **KINDS[kind]):
        for found in sets_outside(job, Clock(), Divider(job).possible):
            assert found.least <= goals[0], f"seed {seed}"
            if found.trunks == outside:
                break
        else:
            pytest.fail(f"seed {seed}: {sorted(outside)} outside is none of the sets")
        made = search(job)
        searched += NAME in made.used
        assert made.state.vector == goals, f"seed {seed}"
        assert made.state.proven, f"seed {seed}"
    assert searched


@pytest.mark.parametrize("kind", KINDS)
def test_sets_asked_only_for_what_may_be_best_are_never_overrated(kind: str) -> None:
    """Where only plans as good as the best one are of use, its set comes with a bound that is not above it."""
    denied = 0
    for seed, job, goals, outside in partly_outside(range(64000, 64015), **KINDS[kind]):
        for most in (goals[0], goals[0] - 1):
            sets_found = list(sets_outside(job, Clock(), Divider(job).possible, partial(int, most)))
            assert [found.least for found in sets_found] == sorted(found.least for found in sets_found), f"seed {seed}"
            least = {found.trunks: found.least for found in sets_found}
            least_of_best = least.get(outside, least[None])
            assert least_of_best <= goals[0], f"seed {seed}"
            denied += least_of_best == goals[0] > most
    assert denied, "no set was told to lose more than was asked for"


def test_what_closed_patterns_place_leads_to_a_plan_that_loses_as_little() -> None:
    """Each tray takes one group of 24: the plan has the ways of the patterns, and leaves out the legs that they leave out."""
    data = strategies.worked_example()
    (stack,) = data["enclosure"]["stacks"] = data["enclosure"]["stacks"][:1]
    stack["positions"] = 3
    stack["tray"] |= {"fibres": 24, "sleeves": 4, "entrance_legs": 12}
    for trunk, ribbons in zip(data["trunks"], (4, 6), strict=True):
        shape = {
            "count": 2,
            "ribbons": ribbons,
            "ribbon_fibres": 48 // ribbons,
            "diameter_mm": 6,
            "least_radius_mm": 60,
        }
        trunk["cable"]["subunits"] = [shape]
        trunk["divide_at"] = ["port"]
    data["joins"] = [{"a": "P:1-96", "b": "Q:1-96", "name": "0"}]
    data["rules"] = {"reach": "off"}
    job = job_of(data)
    found = out_by_patterns(job, Divider(job).possible, Clock())
    assert found is not None
    assert found.placed is not None
    made = Search(job, ORDER, Clock(), tuning=Tuning(workers=1))
    plan_of_patterns(made.session, found.placed)
    plan = made.state.best
    assert plan is not None
    assert measure_all(Laid(job, plan))["unplaced"] == found.least == 24
    assert not found.placed.out & set(plan.places)
    assert all(plan.ways[trunk] in ways for trunk, ways in found.placed.ways.items())


def test_sets_that_are_left_for_others_are_searched_again(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where no set comes to anything in the first rounds, the search still comes to the best plan and proves it."""
    searched = sets.search_set
    rounds: list[float] = []

    def slow(work: Work, case: sets.Set) -> None:
        clock = work.session.clock
        assert clock.most_effort is not None
        rounds.append(clock.most_effort - clock.effort)
        if rounds[-1] > 2 * sets.FIRST_EFFORT:
            searched(work, case)
        else:
            clock.effort = clock.most_effort

    monkeypatch.setattr(sets, "search_set", slow)
    for seed, job, goals, _ in partly_outside(range(61000, 61016), **KINDS["one port"]):
        made = search(job)
        assert made.state.vector == goals, f"seed {seed}"
        assert made.state.proven, f"seed {seed}"
    assert rounds
    assert max(rounds) > 2 * sets.FIRST_EFFORT


def test_a_set_whose_turn_ended_is_gone_on_with(monkeypatch: pytest.MonkeyPatch) -> None:
    """However many rounds it takes, a set gets one search, which begins no tactic again that it was through with."""
    begun: list[tuple[frozenset[str], Search]] = []
    reached: list[list[int]] = []
    searched = sets.search_set

    def noted(work: Work, case: sets.Set) -> None:
        searched(work, case)
        if not isinstance(case.search, Search):
            return
        if all(case.search is not made for _, made in begun):
            begun.append((case.trunks, case.search))
            reached.append([])
        which = next(i for i, (_, made) in enumerate(begun) if made is case.search)
        reached[which].append(case.search._at)

    monkeypatch.setattr(sets, "search_set", noted)
    monkeypatch.setattr(sets, "FIRST_EFFORT", 1e-5)
    most = 0
    for seed, job, goals, _ in partly_outside(range(61000, 61016), **KINDS["one port"]):
        begun.clear()
        reached.clear()
        made = search(job)
        assert made.state.vector == goals, f"seed {seed}"
        assert made.state.proven, f"seed {seed}"
        assert len({trunks for trunks, _ in begun}) == len(begun), f"seed {seed}: a set was begun anew"
        assert all(at == sorted(at) for at in reached), f"seed {seed}: a tactic was begun again"
        most = max([most, *map(len, reached)])
    assert most > 2, "no set took more than two turns"


def test_a_search_that_is_stopped_in_a_set_keeps_what_no_set_loses_less_than() -> None:
    """The bound on what stays out is known before the first set is searched."""
    known: list[int] = []
    for _, job, goals, _ in partly_outside(range(61000, 61010), **KINDS["one port"]):
        made = Search(job, ORDER, Clock(), tuning=Tuning(workers=1))
        begun = made.session.state

        def stop(*_: object, **__: object) -> Any:
            raise OutOfTime

        with pytest.MonkeyPatch.context() as patch:
            patch.setattr("trayopt.solver.search.outside.search_set", stop)
            made.solve()
        assert begun.least("unplaced") <= goals[0]
        known.append(begun.least("unplaced"))
    assert any(known)
