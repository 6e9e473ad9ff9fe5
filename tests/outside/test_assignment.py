"""The assignment problem in disguise: a group of trunks a row, a stack of one tray a column, lengths as cost."""

from __future__ import annotations

import random

import pytest
from scipy.optimize import linear_sum_assignment

from tests import oracle
from tests.build import Json, job_of
from tests.outside.reductions import assignment
from trayopt.api import solve


def lengths(data: Json, *, cut: bool) -> list[list[int]]:
    """Sum the routes of each group of trunks to each stack, or what is cut for them, by the oracle's arithmetic."""
    facts = oracle.Facts(data)
    n = len(data["enclosure"]["stacks"])
    rise = facts.rise_mm(("t0", 1))
    rows = [[0] * n for _ in range(n)]
    for trunk in data["trunks"]:
        option = (trunk["ports"][0], trunk["travel"], trunk["loops"][0])
        row = rows[int(trunk["id"][1:].partition("-")[0])]
        for j in range(n):
            route = facts.base_mm(option, f"t{j}", "end") + rise
            row[j] += facts.cut_mm(trunk["id"], option[2], route) if cut else route
    return rows


def check(matrix: list[list[int]]) -> list[int]:
    """Solve a matrix both ways, and give the column of each row in our plan."""
    data, n = assignment(matrix), len(matrix)
    routes, cost = lengths(data, cut=False), lengths(data, cut=True)
    ring = oracle.Facts(data).ring_mm
    for i in range(n):
        for j in range(n):
            ours = routes[i][j] - routes[i][0] - routes[0][j] + routes[0][0]
            assert ours == ring * (matrix[i][j] - matrix[i][0] - matrix[0][j] + matrix[0][0])
    rows, columns = linear_sum_assignment(cost)
    best = sum(cost[i][j] for i, j in zip(rows, columns, strict=True))
    plan = solve(job_of(data)).plan
    length = next(item for item in plan.goals if item.goal == "leg_length_mm")
    assert plan.value("unplaced") == 0
    assert length.value == length.bound == best
    stack = {leg.trunk: leg.stack for leg in plan.legs}
    found = [int(str(stack[f"H{i}"])[1:]) for i in range(n)]
    assert sorted(found) == list(range(n))
    _, theirs = linear_sum_assignment(matrix)
    assert sum(matrix[i][j] for i, j in enumerate(found)) == sum(matrix[i][j] for i, j in enumerate(theirs))
    return found


@pytest.mark.parametrize(
    ("matrix", "optimum", "columns"),
    [
        # optimum 5 by brute force over its six assignments, and unique (calculated)
        ([[4, 1, 3], [2, 0, 5], [3, 2, 2]], 5, [1, 0, 2]),
        # optimum 13 by brute force over its 24 assignments, and unique (calculated)
        ([[9, 2, 7, 8], [6, 4, 3, 7], [5, 8, 1, 8], [7, 6, 9, 4]], 13, [1, 0, 2, 3]),
    ],
)
def test_by_brute_force(matrix: list[list[int]], optimum: int, columns: list[int]) -> None:
    assert check(matrix) == columns
    assert sum(matrix[i][j] for i, j in enumerate(columns)) == optimum


@pytest.mark.parametrize("seed", range(4))
def test_random(seed: int) -> None:
    rng = random.Random(seed)
    n = rng.choice([3, 4, 5])
    check([[rng.randint(0, 4) for _ in range(n)] for _ in range(n)])


def test_a_constant_on_a_row_changes_nothing() -> None:
    # every assignment takes one entry of each row and of each column: a constant on one of them is added to all alike
    matrix = [[4, 1, 3], [2, 0, 5], [3, 2, 2]]
    assert check([matrix[0], [x + 3 for x in matrix[1]], matrix[2]]) == [1, 0, 2]
    assert check([[row[0] + 2, *row[1:]] for row in matrix]) == [1, 0, 2]
