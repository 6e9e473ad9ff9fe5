"""Rows in each other's way in tables of a large box: they are named and proven, whatever else is open."""

from __future__ import annotations

import csv
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from io import StringIO
from typing import Any

import pytest

from trayopt.api import load_job, solve
from trayopt.domain.base import remade
from trayopt.domain.decision import Decision, RunAt
from trayopt.domain.hardware import Place
from trayopt.domain.job import Job
from trayopt.review.desk import Review, review_table
from trayopt.review.handmade import Handmade
from trayopt.review.reading import parse_handmade
from trayopt.review.sheet_out import columns_of, plan_rows
from trayopt.solver.bounds.division import Divider
from trayopt.solver.model.base import Key
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.interruptible import FOUND, solve_one
from trayopt.solver.model.posting import Policy
from trayopt.solver.repair import clash as clashes
from trayopt.solver.repair.clash import Facts, clash
from trayopt.solver.repair.completing import complete
from trayopt.solver.repair.fixed import divisions_left, kept_model
from trayopt.solver.repair.told import contradiction

Rows = list[dict[str, str]]


@pytest.fixture(scope="module")
def through() -> Job:
    job = load_job("models/standard/2x1728-wall-3x8.yaml")
    return remade(job, trunks=tuple(remade(trunk, divide_at=("tray",)) for trunk in job.trunks))


@pytest.fixture(scope="module")
def rows(through: Job) -> Rows:
    plan = solve(through, time_limit_s=30).plan
    found: Rows = []
    for row in plan_rows(through, plan):
        cells = dict(zip(columns_of(through), ("" if cell is None else str(cell) for cell in row), strict=True))
        found.append({**cells, "cut": "", "end": ""})
    return found


def changed(rows: Rows, opened: Iterable[int], moved: dict[int, tuple[str, int]], *, ways: bool = True) -> Rows:
    """Open the trays of some rows, move others, and keep or empty the ways."""
    found = [dict(row) if ways else {**row, "port": "", "travel": "", "loops": ""} for row in rows]
    for i in opened:
        found[i] |= {"stack": "", "position": ""}
    for i, (stack, position) in moved.items():
        found[i] |= {"stack": stack, "position": str(position)}
    return found


def review(job: Job, rows: Rows) -> Review:
    stream = StringIO()
    writer = csv.DictWriter(stream, columns_of(job), lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return review_table(job, parse_handmade(job, stream.getvalue().encode(), "table.csv"), complete_s=120)


def stack(rows: Rows, i: int) -> str:
    """Name the stack of a row: which stack is the first in a best plan is nobody's promise."""
    return rows[i]["stack"]


CASES: dict[str, Callable[[Rows], Rows]] = {
    "halves on two stacks": lambda rows: changed(rows, [24], {0: (stack(rows, 2), 3)}),
    "halves the wrong way round": lambda rows: changed(
        rows, [24, 25], {0: (stack(rows, 0), 2), 1: (stack(rows, 0), 1)}
    ),
    "halves too far apart, most open": lambda rows: changed(rows, range(2, 48), {1: (stack(rows, 0), 4)}, ways=False),
    "two legs in one tray, most open": lambda rows: changed(rows, range(8, 48), {4: (stack(rows, 2), 1)}, ways=False),
}


@pytest.mark.parametrize("name", CASES)
def test_rows_that_clash_are_named_and_each_is_proven_to_be_needed(through: Job, rows: Rows, name: str) -> None:
    found = review(through, CASES[name](rows))
    assert found.completion is not None
    assert found.completion.impossible
    remark = next(remark for remark in found.remarks if remark.level == "clash")
    assert re.search(r"\(proven[;)]", remark.found)
    assert "1 decisions" not in remark.found
    assert 1 <= len(remark.lines) <= 2


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """Sizes of the sets of groups that have to be solved."""
    sizes: list[int] = []
    looked = Facts.possible

    def counted(self: Facts, held: frozenset[int], most: float | None = None) -> bool | None:
        if self.known(held) is None:
            sizes.append(len(held))
        return looked(self, held, most)

    monkeypatch.setattr(Facts, "possible", counted)
    return sizes


def test_what_the_rows_break_is_asked_first_where_the_solver_does_not_tell_what_it_needs(
    through: Job, rows: Rows, asked: list[int], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(clashes, "CORE", 0.0)
    review(through, CASES["halves the wrong way round"](rows))
    assert asked
    assert max(asked) <= 4, "only what a broken rule names has to be solved"


def test_what_the_solver_needs_to_refute_all_rows_is_made_smaller_not_all_rows(rows: Rows, asked: list[int]) -> None:
    job = load_job("models/standard/2x1728-wall-3x8.yaml")
    table = changed(rows, [4, 7, 8, 11, 13, 16, 28, 30, 31, 36], {3: (stack(rows, 3), 7)})
    remark = next(remark for remark in review(job, table).remarks if remark.level == "clash")
    assert "proven; without any one of them there is a plan" in remark.found
    assert len(remark.lines) <= 2
    assert asked
    assert max(asked) <= 2, "no rule names the two rows; the solver's refutation of all of them does"


def test_completion_and_clash_share_one_time_limit(through: Job, rows: Rows, monkeypatch: pytest.MonkeyPatch) -> None:
    clocks: list[Clock | None] = []

    def watched(facts: Facts, *args: Any) -> Any:
        clocks.append(facts.clock)
        return clash(facts, *args)

    def first(*args: Any, clock: Clock | None = None, **options: Any) -> Any:
        clocks.append(clock)
        return complete(*args, clock=clock, **options)

    monkeypatch.setattr("trayopt.solver.repair.clash.clash", watched)
    monkeypatch.setattr("trayopt.solver.repair.completing.complete", first)
    review(through, CASES["halves the wrong way round"](rows))
    assert len(clocks) == 2
    assert clocks[0] is not None
    assert clocks[0] is clocks[1]


def test_a_clash_without_suspects_is_found_too(through: Job, rows: Rows) -> None:
    table = CASES["halves too far apart, most open"](rows)
    facts = _facts(through, table)
    found = clash(Facts(through, facts, Clock(60)))
    assert found.minimal
    assert complete(through, [f for i in found.groups for f in facts[i]], clock=Clock(30)).impossible
    for left_out in found.groups:
        rest = [f for i in found.groups if i != left_out for f in facts[i]]
        settled = Divider(through).narrowed(divisions_left(through, rest)).settle()
        assert settled is not None
        assert complete_with(through, rest, settled.divisions)


def complete_with(job: Job, facts: list[Decision], divisions: Mapping[Key, Sequence[int]]) -> bool:
    """Whether some plan with these divisions keeps every must and the facts."""
    model = kept_model(job, facts, divisions, Policy("hard", "free"))
    return solve_one(model.cp, Clock(120), None)[0] in FOUND


def test_without_time_nothing_is_called_needed(through: Job, rows: Rows) -> None:
    facts = _facts(through, CASES["halves too far apart, most open"](rows))
    found = clash(Facts(through, facts, Clock(0.0)))
    assert not found.minimal
    assert found.groups == tuple(range(len(facts)))


def _facts(job: Job, rows: Rows) -> list[list[Decision]]:
    return [facts for _, facts in review(job, rows).made.facts()]


def _of_splices(job: Job, trays: Sequence[str]) -> Handmade:
    """Read a list of splices of two trunks joined fibre to fibre, a row a ribbon, in these trays."""
    lines = ["from trunk,from fibres,to trunk,to fibres,tray"]
    for i, tray in enumerate(trays):
        fibres = f"{12 * i + 1}-{12 * i + 12}"
        lines.append(f"N1,{fibres},S1,{fibres},{tray}")
    return parse_handmade(job, "\n".join(lines).encode(), "splices.csv")


def named(judged: Review) -> list[int]:
    """Return the rows that the remark on a clash names, counted from the first below the headers."""
    remark = next(remark for remark in judged.remarks if remark.level == "clash")
    return sorted({line.number - 2 for line in remark.lines})


def fail(*args: Any, **options: Any) -> Any:
    raise AssertionError((args, options))


@pytest.fixture
def ribbons() -> list[str]:
    """Twelve ribbons a tray, as trays of 144 take them: a tray a subunit."""
    return [f"{'left' if i % 2 else 'right'}/{i // 2 + 1}" for i in range(12) for _ in range(12)]


def test_a_ribbon_too_many_in_a_tray_is_found_by_counting(ribbons: list[str], monkeypatch: pytest.MonkeyPatch) -> None:
    job = load_job("models/standard/2x1728-wall-2x9-144.yaml")
    ribbons[26] = ribbons[5]
    monkeypatch.setattr("trayopt.solver.repair.completing.complete", fail)
    monkeypatch.setattr(Facts, "_core_of_all", fail)
    assert named(review_table(job, _of_splices(job, ribbons), complete_s=120)) == [*range(12), 26]


def test_ribbons_that_leave_a_subunit_no_division_are_found_by_counting(ribbons: list[str]) -> None:
    job = load_job("models/standard/2x1728-wall-2x9-144.yaml")
    ribbons[13] = "left/9"
    groups = [list(facts) for _, facts in _of_splices(job, ribbons).facts()]
    open_ = Divider(job).open
    found = contradiction(job, groups, {**open_, ("N1", 2): (1, 2, 3)})
    assert found is not None
    assert 13 in found
    assert len(found) == 2
    assert contradiction(job, groups, {**open_, ("N1", 2): (1, 2, 3, 12)}) is None


def test_ribbons_that_are_spliced_to_each_other_in_two_trays_are_found_by_counting() -> None:
    job = load_job("models/standard/2x1728-wall-2x9-144.yaml")
    groups: list[list[Decision]] = [
        [RunAt("N1", 1, 12, Place("left", 1), leg=False)],
        [RunAt("N1", 13, 24, Place("left", 1), leg=False)],
        [RunAt("S1", 13, 24, Place("left", 2), leg=False)],
    ]
    assert contradiction(job, groups, Divider(job).open) == frozenset({1, 2})


def test_facts_leave_the_divisions_whose_legs_lie_in_one_tray_each() -> None:
    job = load_job("models/standard/2x1728-wall-2x9-144.yaml")
    facts: list[Decision] = [
        RunAt("N1", 1, 12, Place("left", 1), leg=False),
        RunAt("N1", 37, 48, Place("left", 2), leg=False),
    ]
    assert divisions_left(job, facts) == {("N1", 1): (4, 6, 12), ("S1", 1): (4, 6, 12)}
    whole: list[Decision] = [*facts, RunAt("N1", 73, 144, Place("left", 2), leg=True)]
    assert divisions_left(job, whole)["N1", 1] == ()


def test_a_table_of_which_all_rows_may_be_needed_is_not_listed_row_by_row(
    ribbons: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    job = load_job("models/standard/2x1728-wall-2x9-144.yaml")
    ribbons[26] = ribbons[5]

    def all_of(facts: Facts, suspects: object) -> clashes.Clash:
        return clashes.Clash(tuple(range(len(facts.groups))), minimal=False)

    monkeypatch.setattr("trayopt.solver.repair.clash.clash", all_of)
    judged = review_table(job, _of_splices(job, ribbons), complete_s=120)
    (remark,) = (remark for remark in judged.remarks if remark.level == "clash")
    assert remark.found == "no plan can keep every must and all 144 decisions of this table (proven)"
    assert not remark.lines
    assert any(other.rule == "tray_fibres" for other in judged.remarks)
