"""Rows found by their fibres are those that a look at every row finds."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from trayopt.domain.ranges import Run
from trayopt.review.by_fibre import ByFibre

runs = st.builds(
    lambda trunk, first, count: Run(trunk, first, first + count),
    st.sampled_from("AB"),
    st.integers(1, 30),
    st.integers(0, 9),
)


@given(st.lists(runs, max_size=20), runs)
def test_rows_over_a_run_are_those_that_share_a_fibre_in_their_own_order(rows: list[Run], run: Run) -> None:
    numbered = list(enumerate(rows))
    found = ByFibre(numbered, lambda item: item[1]).over(run)
    assert found == [
        (i, row) for i, row in numbered if row.trunk == run.trunk and row.first <= run.last and row.last >= run.first
    ]


@given(st.lists(runs, max_size=20), runs)
def test_the_row_before_a_gap_is_the_one_that_ends_last(rows: list[Run], run: Run) -> None:
    index = ByFibre(rows, lambda row: row)
    if index.over(run):
        return
    before = [row.last for row in rows if row.trunk == run.trunk and row.last < run.first]
    found = index.before(run)
    assert (found.last if found else None) == max(before, default=None)
