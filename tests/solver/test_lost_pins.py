"""Pins that no plan keeps which places every splice: they are told, and without them the best plan is found."""

from __future__ import annotations

from itertools import product

import pytest

from tests.build import job_of
from tests.solver.test_broken_musts import sixteens, strict
from tests.solver.test_relaxations import KINDS, ORDER, TUNING, solved
from trayopt.domain.finding import Group
from trayopt.solver.bounds.division import Divider
from trayopt.solver.bounds.outline import Outline
from trayopt.solver.bounds.preference_bounds import look
from trayopt.solver.bounds.segments import Segments
from trayopt.solver.model import cp_sat
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.posting import Policy, build
from trayopt.solver.model.run import run
from trayopt.solver.search import lost_pins
from trayopt.solver.search.search import Search

SEEDS = [range(9300, 9312), pytest.param(range(9312, 9350), marks=pytest.mark.slow)]


@pytest.mark.parametrize("seeds", SEEDS, ids=["some", "more"])
def test_a_pin_that_is_denied_is_kept_by_no_plan(seeds: range) -> None:
    found = 0
    for kind, seed in product(KINDS, seeds):
        job = strict(kind, seed)
        search = Search(job, ORDER, Clock(None), tuning=TUNING)
        s = search.session
        if s.divider.hopeless or job.rules["pin"].level != "must":
            continue
        divider = Divider(job)
        outline = Outline(job, divider.open, lost_pins.LET_GO, Clock())
        blocks = Segments(divider, divider.open, lost_pins.LET_GO, all_placed=True, clock=Clock())
        for pin in {*lost_pins.denied(s, outline), *lost_pins.denied(s, blocks)}:
            model = build(job, Policy("soft", "free"), all_placed=True, cuts=False)
            model.clause(model.no(model.let_go[Group("pin", pin)]))
            assert run(model, Clock(), TUNING).infeasible, f"{kind}, seed {seed}: {pin}"
            found += 1
    assert found > 1


def test_no_pin_is_to_blame_where_splices_stay_out_without_it() -> None:
    """A relaxation that no plan meets denies each pin: it names none."""
    out = 0
    for kind, seed in product(KINDS, range(9300, 9312)):
        job = strict(kind, seed)
        search = Search(job, ORDER, Clock(None), tuning=TUNING)
        if search.session.divider.hopeless or not job.pins or job.rules["pin"].level != "must":
            continue
        divider = Divider(job)
        blocks = Segments(divider, divider.open, lost_pins.LET_GO, all_placed=True, clock=Clock())
        if look(blocks.cp, Clock())[0] == cp_sat.INFEASIBLE:
            assert not list(lost_pins.denied(search.session, blocks)), f"{kind}, seed {seed}"
            out += 1
    assert out


@pytest.mark.parametrize("seeds", SEEDS, ids=["some", "more"])
def test_the_search_finds_the_best_plan_where_musts_are_many(seeds: range) -> None:
    lost = 0
    for kind, seed in product(KINDS, seeds):
        job = strict(kind, seed)
        best = solved(job, build(job, Policy(), all_placed=False, cuts=False), ORDER)
        search = Search(job, ORDER, Clock(None), tuning=TUNING)
        state, stopped = search.solve()
        if best is None:
            assert search.empty, f"{kind}, seed {seed}"
            continue
        assert stopped == "proven", f"{kind}, seed {seed}"
        assert state.vector == tuple(best.values[goal] for goal in ORDER), f"{kind}, seed {seed}"
        lost += bool(search.used & {lost_pins.BY_WAYS, lost_pins.BY_PLACES}) and state.value("broken_must") > 0
    assert lost > 3


def test_a_job_is_searched_without_a_pin_that_no_tray_holds() -> None:
    """The tactics for musts that are let go are left out: without the pin there are none."""
    job = job_of(sixteens(pinned=True))
    later = frozenset({"musts_by_patterns", "in_order_by_segments", "without_musts", "without_splices"})
    state, stopped = Search(job, ORDER, Clock(None), without=later).solve()
    assert stopped == "proven"
    assert state.value("broken_must") == 1
    assert state.proofs["broken_must"].by == "outline"
    unpinned, _ = Search(job_of(sixteens(pinned=False)), ORDER, Clock(None)).solve()
    assert state.vector == (0, 1, *unpinned.vector[2:])


def test_a_fact_that_no_plan_keeps_leaves_no_plan() -> None:
    """A trunk is built into the box, and no splice finds a tray: the plan without a leg breaks that fact."""
    job = strict("tied", 9335)
    search = Search(job, ORDER, Clock(None), tuning=TUNING)
    state, _ = search.solve()
    assert [pin.built for pin in job.pins] == [True]
    assert search.empty
    assert state.best is None
