"""Joins from a table: columns a, b and name, in CSV or XLSX."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path

from trayopt.domain.job import Join
from trayopt.domain.ranges import Run, parse_run
from trayopt.domain.said import said
from trayopt.domain.trunk import Trunk
from trayopt.errors import Fault
from trayopt.formats.cells import AS_TEXT, Row
from trayopt.formats.fibres import by_colour, read_run
from trayopt.formats.locate import Spot, describe
from trayopt.formats.tables_in import looks_like_date, read_table
from trayopt.library.parts import JoinAt

MOST_NAME = 64


class JoinTable:
    """The joins of a table. A wrong row is None in ``joins`` and is reported in ``faults``.

    Parameters
    ----------
    path
        The table.
    trunks
        Trunks by id, so that fibres may be named by tube, ribbon and fibre.

    Raises
    ------
    InputError
        If the table cannot be read at all.
    """

    def __init__(self, path: Path, trunks: Mapping[str, Trunk]) -> None:
        self.trunks = trunks
        table = read_table(path, ("a", "b"), ("name",))
        self.faults: list[Fault] = list(table.faults)
        self.told = {(fault.line, fault.column, fault.where) for fault in table.faults}
        self.names = [row.get("name").text or str(i) for i, row in enumerate(table.rows)]
        self.joins = list(self._joins(table.rows))

    def _joins(self, rows: list[Row]) -> Iterator[JoinAt | None]:
        for row, name in zip(rows, self.names, strict=True):
            a, b, spot = self._run(row, "a"), self._run(row, "b"), row.get("name").spot
            if len(name) > MOST_NAME:
                allowed = said("up to {most} characters", most=MOST_NAME)
                self.faults.append(spot.fault(said("the name is too long"), found=describe(name), allowed=allowed))
            elif a is not None and b is not None:
                yield JoinAt(Join(a=a, b=b, name=name), row.get("a").spot, row.get("b").spot, spot)
                continue
            yield None

    def _run(self, row: Row, column: str) -> Run | None:
        cell = row.get(column)
        if self._is_told(cell.spot):
            return None
        name, _, fibres = cell.text.partition(":")
        try:
            if name.strip() in self.trunks and by_colour(fibres):
                return read_run(cell.text, self.trunks)
            return parse_run(cell.text)
        except ValueError as wrong:
            hint = AS_TEXT if looks_like_date(cell.text) else ""
            self.faults.append(
                cell.spot.fault(
                    said("{name}: {wrong}", name=column, wrong=wrong.args[0]), found=describe(cell.text), hint=hint
                )
            )
            return None

    def _is_told(self, spot: Spot) -> bool:
        return (spot.line, spot.column, spot.where) in self.told
