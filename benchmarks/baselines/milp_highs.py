"""The same straightforward model as rows and columns, solved by the branch and cut of HiGHS, goal after goal.

Clauses become rows over 0/1 columns, conditional rows become rows with the least constant that switches them off.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

from benchmarks.baselines.plain_cpsat import plain_model
from benchmarks.journal import GOAL_ORDER, Journal
from trayopt.goals.registry import BY_ID

if TYPE_CHECKING:
    from trayopt.solver.model.cp_sat import CpModel

FREE = 2**62
"""Beyond this a limit of a row is none."""


class Row(NamedTuple):
    """low <= sum of coefficient x column <= high, while every literal of ``when`` holds."""

    terms: dict[int, int]
    low: int
    high: int
    when: Sequence[int] = ()


def solve(journal: Journal, *, seed: int = 1, workers: int = 2) -> None:
    """Minimise goal after goal; what was reached is held as a row and is the start of the next."""
    model = plain_model(journal)
    expressions = {goal: BY_ID[goal].encode(journal.job, model) for goal in GOAL_ORDER}
    lp = program(model.cp)
    held: list[Row] = []
    values: list[int] = []
    for goal in GOAL_ORDER:
        expression = expressions[goal]
        if isinstance(expression, int):
            journal.bound(goal, expression)
            continue
        if journal.left <= 0:
            return
        model.minimize(expression)
        objective = model.cp.proto.objective
        terms = _gather(zip(objective.vars, objective.coeffs, strict=True))
        offset = round(objective.offset)
        held.append(Row(terms, -offset, FREE))
        found = _reached(lp, held, terms, values, journal, seed=seed, workers=workers)
        if found is None:
            return
        values, bound = found
        value = offset + sum(coefficient * values[column] for column, coefficient in terms.items())
        journal.offer(_assignment(model, values))
        if abs(bound) < FREE:
            journal.bound(goal, min(value, math.ceil(bound + offset - 1e-6)))
            journal.note(goal, value, journal.bounds[goal])
        held.append(Row(terms, -FREE, value - offset))


def _reached(
    lp: Any,
    held: Sequence[Row],
    terms: Mapping[int, int],
    start: Sequence[int],
    journal: Journal,
    *,
    seed: int,
    workers: int,
) -> tuple[list[int], float] | None:
    """Minimise one goal from the last solution on: the solution and the bound; None where no solution was found.

    HiGHS 1.16.0 with a start has called an optimum what is not the value of the solution that it gives. It is then asked again
    without a start, and where it does so again, its bound does not count.
    """
    found = None
    for begun in (start, []) if start else ([],):
        solver = _solver(seed, workers)
        again = _minimise(solver, lp, held, terms, begun, journal)
        if again is None:
            break
        info = solver.getInfo()
        value = sum(coefficient * again[column] for column, coefficient in terms.items())
        if abs(info.objective_function_value - value) < 0.5:
            return again, info.mip_dual_bound
        found = again, -math.inf
    return found


def _solver(seed: int, workers: int) -> Any:
    """Make a solver: a fresh one for each goal, as one that is used again counts its time on, and has mixed up its values."""
    import highspy

    solver = highspy.Highs()  # type: ignore[no-untyped-call]
    for name, option in {
        "output_flag": False,
        "threads": workers,
        "random_seed": seed,
        "mip_rel_gap": 0.0,
        "mip_abs_gap": 0.999,
    }.items():
        solver.setOptionValue(name, option)
    return solver


def _minimise(
    solver: Any, lp: Any, held: Sequence[Row], terms: Mapping[int, int], start: Sequence[int], journal: Journal
) -> list[int] | None:
    """Run on one goal inside the limit, from the last solution on; None where no solution was found."""
    import highspy
    import numpy as np

    solver.passModel(lp)
    for row in held:
        columns = np.array(list(row.terms), dtype=np.int32)
        numbers = np.array(list(row.terms.values()), dtype=float)
        low = -highspy.kHighsInf if row.low <= -FREE else row.low
        high = highspy.kHighsInf if row.high >= FREE else row.high
        solver.addRow(low, high, len(columns), columns, numbers)
    costs = np.zeros(lp.num_col_)
    for column, coefficient in terms.items():
        costs[column] = coefficient
    solver.changeColsCost(lp.num_col_, np.arange(lp.num_col_, dtype=np.int32), costs)
    if start:
        solution = highspy.HighsSolution()
        solution.col_value = [float(value) for value in start]
        solver.setSolution(solution)
    solver.setOptionValue("time_limit", max(0.01, journal.left))
    solver.run()
    if solver.getInfo().primal_solution_status != int(highspy.SolutionStatus.kSolutionStatusFeasible):
        return None
    return [round(value) for value in solver.getSolution().col_value]


def _assignment(model: Any, values: Sequence[int]) -> Any:
    """Read the decisions out of the columns."""
    from trayopt.solver.model.run import read

    class Columns:
        def boolean_value(self, literal: Any) -> bool:
            if isinstance(literal, int):
                return bool(literal)
            index = literal.index
            return bool(values[index]) if index >= 0 else not values[-index - 1]

    return read(model, Columns())  # type: ignore[arg-type]


def program(cp: CpModel) -> Any:
    """Write a model of clauses and linear constraints as a mixed-integer program without a goal."""
    import highspy
    import numpy as np

    domains = [list(variable.domain) for variable in cp.proto.variables]
    if any(len(domain) != 2 for domain in domains):
        raise ValueError("a variable with gaps in its domain cannot be a column")
    rows = [made for row in _rows(cp.proto.constraints) for made in _switched(_reduced(row), domains)]
    lp = highspy.HighsLp()
    lp.num_col_, lp.num_row_ = len(domains), len(rows)
    lp.col_cost_ = np.zeros(len(domains))
    lp.col_lower_ = np.array([domain[0] for domain in domains], dtype=float)
    lp.col_upper_ = np.array([domain[1] for domain in domains], dtype=float)
    lp.integrality_ = [highspy.HighsVarType.kInteger] * len(domains)
    lp.row_lower_ = np.array([-highspy.kHighsInf if row.low <= -FREE else row.low for row in rows], dtype=float)
    lp.row_upper_ = np.array([highspy.kHighsInf if row.high >= FREE else row.high for row in rows], dtype=float)
    lp.a_matrix_.format_ = highspy.MatrixFormat.kRowwise
    lp.a_matrix_.start_ = np.cumsum([0, *(len(row.terms) for row in rows)]).astype(np.int32)
    lp.a_matrix_.index_ = np.array([column for row in rows for column in row.terms], dtype=np.int32)
    lp.a_matrix_.value_ = np.array([number for row in rows for number in row.terms.values()], dtype=float)
    return lp


def _gather(pairs: Any) -> dict[int, int]:
    terms: dict[int, int] = {}
    for column, coefficient in pairs:
        terms[column] = terms.get(column, 0) + coefficient
    return {column: coefficient for column, coefficient in terms.items() if coefficient}


def _clause(literals: Sequence[int], low: int, high: int, when: Sequence[int] = ()) -> Row:
    """Sum literals; -1 - i is the negation of column i."""
    shift = sum(literal < 0 for literal in literals)
    terms = _gather((literal, 1) if literal >= 0 else (-1 - literal, -1) for literal in literals)
    return Row(terms, low if low <= -FREE else low - shift, high if high >= FREE else high - shift, when)


def _rows(constraints: Any) -> Iterator[Row]:
    for constraint in constraints:
        when = list(constraint.enforcement_literal)
        if constraint.has_linear():
            linear = constraint.linear
            domain = list(linear.domain)
            if len(domain) != 2:
                raise ValueError("a constraint with gaps in its domain cannot be a row")
            yield Row(_gather(zip(linear.vars, linear.coeffs, strict=True)), domain[0], domain[1], when)
        elif constraint.has_bool_or():
            yield _clause([*constraint.bool_or.literals, *(-1 - literal for literal in when)], 1, FREE)
        elif constraint.has_bool_and():
            for literal in constraint.bool_and.literals:
                yield _clause([literal, *(-1 - other for other in when)], 1, FREE)
        elif constraint.has_exactly_one():
            yield _clause(list(constraint.exactly_one.literals), 1, 1, when)
        elif constraint.has_at_most_one():
            yield _clause(list(constraint.at_most_one.literals), -FREE, 1, when)
        else:
            raise ValueError(f"a constraint that cannot be a row: {constraint}")


def _reduced(row: Row) -> Row:
    """Divide a row by what all its coefficients have in common, and round its limits inwards: columns are whole numbers.

    Cross-sections of tubes come in millionths of a square millimetre; with coefficients so large, what the solver tolerates as
    whole numbers switches rows off, and it claims bounds and optima that are none.
    """
    unit = math.gcd(*row.terms.values()) or 1
    return Row(
        {column: number // unit for column, number in row.terms.items()},
        row.low if row.low <= -FREE else -(-row.low // unit),
        row.high if row.high >= FREE else row.high // unit,
        row.when,
    )


def _switched(row: Row, domains: Sequence[Sequence[int]]) -> Iterator[Row]:
    """Write a conditional row as one row a limit, each with the least constant that switches it off."""
    if not row.when:
        yield row
        return
    least = sum(min(number * end for end in domains[column]) for column, number in row.terms.items())
    most = sum(max(number * end for end in domains[column]) for column, number in row.terms.items())
    if row.high < most:
        # sum <= high + (most - high) x literals that do not hold
        yield _opened(row, row.high - most, -FREE, row.high)
    if row.low > least:
        # sum >= low - (low - least) x literals that do not hold
        yield _opened(row, row.low - least, row.low, FREE)


def _opened(row: Row, step: int, low: int, high: int) -> Row:
    """Add ``step`` to the sum for every literal of ``when`` that does not hold."""
    terms, shift = dict(row.terms), 0
    for literal in row.when:
        # a literal i does not hold by 1 - x, its negation by x
        column, sign = (literal, -1) if literal >= 0 else (-1 - literal, 1)
        terms[column] = terms.get(column, 0) + sign * step
        shift += step if literal >= 0 else 0
    return Row(
        {column: number for column, number in terms.items() if number},
        low if low <= -FREE else low - shift,
        high if high >= FREE else high - shift,
    )
