"""Rows in each other's way in tables of a large box: they are named and proven, whatever else is open."""

from __future__ import annotations

import csv
from collections.abc import Callable, Iterable, Mapping, Sequence
from io import StringIO
from typing import Any

import pytest

from trayopt.api import load_job, solve
from trayopt.domain.base import remade
from trayopt.domain.decision import Decision
from trayopt.domain.job import Job
from trayopt.review.desk import Review, review_table
from trayopt.review.reading import parse_handmade
from trayopt.review.sheet_out import columns_of, plan_rows
from trayopt.solver.bounds.division import Divider
from trayopt.solver.model.base import Key
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.interruptible import FOUND, solve_one
from trayopt.solver.model.posting import Policy
from trayopt.solver.repair import clash as clashes
from trayopt.solver.repair.clash import clash
from trayopt.solver.repair.completing import complete
from trayopt.solver.repair.fixed import divided_by, kept_model

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
    assert "(proven)" in remark.found
    assert "1 decisions" not in remark.found
    assert 1 <= len(remark.lines) <= 2


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """Sizes of the sets of groups that have to be solved."""
    sizes: list[int] = []
    looked = clashes._Facts.possible

    def counted(self: clashes._Facts, held: frozenset[int], most: float | None = None) -> bool | None:
        if self.known(held) is None:
            sizes.append(len(held))
        return looked(self, held, most)

    monkeypatch.setattr(clashes._Facts, "possible", counted)
    return sizes


def test_what_the_rows_break_is_asked_first_where_the_solver_does_not_tell_what_it_needs(
    through: Job, rows: Rows, asked: list[int], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(clashes, "CORE", 0.0)
    review(through, CASES["halves on two stacks"](rows))
    assert asked
    assert max(asked) <= 4, "only what a broken rule names has to be solved"


def test_what_the_solver_needs_to_refute_all_rows_is_made_smaller_not_all_rows(rows: Rows, asked: list[int]) -> None:
    job = load_job("models/standard/2x1728-wall-3x8.yaml")
    table = changed(rows, [4, 7, 8, 11, 13, 16, 28, 30, 31, 36], {3: (stack(rows, 3), 7)})
    remark = next(remark for remark in review(job, table).remarks if remark.level == "clash")
    assert "each of them is needed for that (proven)" in remark.found
    assert len(remark.lines) <= 2
    assert asked
    assert max(asked) <= 2, "no rule names the two rows; the solver's refutation of all of them does"


def test_completion_and_clash_share_one_time_limit(through: Job, rows: Rows, monkeypatch: pytest.MonkeyPatch) -> None:
    clocks: list[Clock | None] = []

    def watched(*args: Any, clock: Clock | None = None, **options: Any) -> Any:
        clocks.append(clock)
        return clash(*args, clock=clock, **options)

    def first(*args: Any, clock: Clock | None = None, **options: Any) -> Any:
        clocks.append(clock)
        return complete(*args, clock=clock, **options)

    monkeypatch.setattr("trayopt.solver.repair.clash.clash", watched)
    monkeypatch.setattr("trayopt.solver.repair.completing.complete", first)
    review(through, CASES["halves on two stacks"](rows))
    assert len(clocks) == 2
    assert clocks[0] is not None
    assert clocks[0] is clocks[1]


def test_a_clash_without_suspects_is_found_too(through: Job, rows: Rows) -> None:
    table = CASES["halves too far apart, most open"](rows)
    facts = _facts(through, table)
    found = clash(through, facts, clock=Clock(60))
    assert found.minimal
    assert complete(through, [f for i in found.groups for f in facts[i]], clock=Clock(30)).impossible
    for left_out in found.groups:
        rest = [f for i in found.groups if i != left_out for f in facts[i]]
        settled = Divider(through).narrowed(divided_by(through, rest)).settle()
        assert settled is not None
        assert complete_with(through, rest, settled.divisions)


def complete_with(job: Job, facts: list[Decision], divisions: Mapping[Key, Sequence[int]]) -> bool:
    """Whether some plan with these divisions keeps every must and the facts."""
    model = kept_model(job, facts, divisions, Policy("hard", "free"))
    return solve_one(model.cp, Clock(120), None)[0] in FOUND


def test_without_time_nothing_is_called_needed(through: Job, rows: Rows) -> None:
    facts = _facts(through, CASES["halves too far apart, most open"](rows))
    found = clash(through, facts, clock=Clock(0.0))
    assert not found.minimal
    assert found.groups == tuple(range(len(facts)))


def _facts(job: Job, rows: Rows) -> list[list[Decision]]:
    return [facts for _, facts in review(job, rows).made.facts()]
