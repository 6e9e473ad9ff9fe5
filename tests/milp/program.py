"""Sums of numbers, rows over them, and HiGHS."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, Union

import highspy
import numpy as np

Amount = Union["Sum", float]


class Sum:
    """A sum of factors times numbers of a program, and a constant."""

    __slots__ = ("constant", "terms")

    def __init__(self, terms: Mapping[int, float] | None = None, constant: float = 0) -> None:
        self.terms: dict[int, float] = dict(terms or {})
        self.constant = constant

    def __add__(self, other: Amount) -> Sum:
        """Add another sum or a constant."""
        made = Sum(self.terms, self.constant)
        made.add(other)
        return made

    __radd__ = __add__

    def __sub__(self, other: Amount) -> Sum:
        """Take away another sum or a constant."""
        return self + other * -1

    def __rsub__(self, other: float) -> Sum:
        """Take it from a constant."""
        return self * -1 + other

    def __mul__(self, factor: float) -> Sum:
        """Multiply by a constant."""
        return Sum({number: factor * value for number, value in self.terms.items()}, factor * self.constant)

    __rmul__ = __mul__

    def add(self, other: Amount) -> None:
        """Add in place."""
        if isinstance(other, Sum):
            for number, factor in other.terms.items():
                self.terms[number] = self.terms.get(number, 0) + factor
            self.constant += other.constant
        else:
            self.constant += other

    def value(self, numbers: list[float]) -> float:
        """Give the sum for values of the numbers."""
        return self.constant + sum(factor * numbers[number] for number, factor in self.terms.items())


def total(parts: Iterable[Amount]) -> Sum:
    """Add up sums and constants."""
    made = Sum()
    for part in parts:
        made.add(part)
    return made


class Program:
    """Numbers between bounds, and rows over them."""

    def __init__(self) -> None:
        self.bounds: list[tuple[float, float]] = []
        self.whole: list[bool] = []
        self.rows: list[tuple[float, float, dict[int, float]]] = []

    def number(self, high: float = 1, low: float = 0, *, whole: bool = False) -> Sum:
        """Add a number between bounds."""
        self.bounds.append((low, high))
        self.whole.append(whole)
        return Sum({len(self.bounds) - 1: 1})

    def choice(self) -> Sum:
        """Add a number that is 0 or 1."""
        return self.number(whole=True)

    def at_most(self, part: Amount, most: Amount) -> None:
        """Hold a sum to at most another one."""
        self._row(part - most if isinstance(part, Sum) else part - (most + Sum()), equal=False)

    def equal(self, part: Sum, value: Amount) -> None:
        """Hold a sum to be another one."""
        self._row(part - value, equal=True)

    def _row(self, part: Sum, *, equal: bool) -> None:
        terms = {number: factor for number, factor in part.terms.items() if factor}
        self.rows.append((-part.constant if equal else -highspy.kHighsInf, -part.constant, terms))

    def implies(self, result: Amount, *conditions: Amount) -> None:
        """Let a number be 1 at least where all conditions are 1; conditions are 0 or 1."""
        self.at_most(total(conditions) - (len(conditions) - 1), result)

    def both(self, *conditions: Amount) -> Sum:
        """Give a number that is 1 where all conditions are 1, and may be 0 elsewhere."""
        made = self.number()
        self.implies(made, *conditions)
        return made

    def exactly(self, *conditions: Amount) -> Sum:
        """Give a number that is 1 where all conditions are 1, and 0 elsewhere."""
        made = self.choice()
        self.implies(made, *conditions)
        for condition in conditions:
            self.at_most(made, condition)
        return made

    def least(self, goal: Sum) -> tuple[int, list[float]] | None:
        """Give the least of a goal in whole numbers, and the numbers that have it; None where no numbers meet all rows.

        The value is counted again from the rounded numbers. Presolve is off: that of HiGHS 1.16 says "infeasible" of rows that
        whole numbers meet, and called 12 unplaced splices optimal where none need be (tiny job 803 with mixed trays).
        """
        highs = self._loaded(goal)
        highs.run()
        status = highs.getModelStatus()
        if status == highspy.HighsModelStatus.kInfeasible:
            return None
        assert status == highspy.HighsModelStatus.kOptimal, status
        values = zip(highs.getSolution().col_value, self.whole, strict=True)
        found = [round(value) if whole else value for value, whole in values]
        return round(goal.value(found)), found

    def _loaded(self, goal: Sum) -> Any:
        highs: Any = highspy.Highs()  # type: ignore[no-untyped-call]
        for option, value in (("output_flag", False), ("threads", 1), ("presolve", "off"), ("mip_rel_gap", 0.0)):
            highs.setOptionValue(option, value)
        lp = highspy.HighsLp()
        lp.num_col_, lp.num_row_ = len(self.bounds), len(self.rows)
        lp.col_cost_ = np.array([goal.terms.get(i, 0.0) for i in range(len(self.bounds))], float)
        lp.col_lower_ = np.array([low for low, _ in self.bounds], float)
        lp.col_upper_ = np.array([high for _, high in self.bounds], float)
        kinds = (highspy.HighsVarType.kContinuous, highspy.HighsVarType.kInteger)
        lp.integrality_ = [kinds[whole] for whole in self.whole]
        lp.row_lower_ = np.array([row[0] for row in self.rows], float)
        lp.row_upper_ = np.array([row[1] for row in self.rows], float)
        lp.a_matrix_.format_ = highspy.MatrixFormat.kRowwise
        lp.a_matrix_.start_ = np.cumsum([0, *(len(row[2]) for row in self.rows)])
        lp.a_matrix_.index_ = np.array([number for row in self.rows for number in row[2]], np.int32)
        lp.a_matrix_.value_ = np.array([factor for row in self.rows for factor in row[2].values()], float)
        highs.passModel(lp)
        return highs
