"""The errors that trayopt raises: wrong input, and faults of its own."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Any, NamedTuple


class TrayoptError(Exception):
    """Base of everything that trayopt raises on purpose."""


class Fault(NamedTuple):
    """A fault of an input, with its place.

    Parameters
    ----------
    source
        The file with the fault (or ``<stdin>``, ``<job>``); empty for a fault of what no file says.
    line, column
        The place, counted from 1; 0 if the source has no lines (then ``where`` may name a cell).
    message
        What is wrong, with the ids concerned.
    found, allowed, hint
        What was found, what is allowed, what to do; each may be empty.
    where
        A cell or a path inside the source, such as ``B12`` or ``trunks[0].cable``.
    """

    source: str
    line: int
    column: int
    message: str
    found: str = ""
    allowed: str = ""
    hint: str = ""
    where: str = ""

    def __str__(self) -> str:
        """Write as ``file:line:column: message``, followed by found, allowed and hint."""
        at = f"{self.source}:{self.line}:{self.column}" if self.line else self.source
        if not self.line and self.where:
            at = f"{at}:{self.where}"
        text = f"{at}: {self.message}" if at else self.message
        if self.found:
            text += f"; found {self.found}"
        if self.allowed:
            text += f"; allowed: {self.allowed}"
        if self.hint:
            text += f"; {self.hint}"
        return text

    def as_dict(self) -> dict[str, Any]:
        """Return the fault as plain data for ``--format json``."""
        return {
            "source": self.source,
            "line": self.line or None,
            "column": self.column or None,
            "message": self.message,
            "found": self.found,
            "allowed": self.allowed,
            "hint": self.hint,
            "where": self.where,
        }


def _in_order(fault: Fault) -> tuple[object, ...]:
    """Sort key of faults: by place; without lines, by row and column of a cell, or by the path inside the source."""
    cell = re.fullmatch(r"([A-Z]{1,3})([0-9]+)", fault.where)
    row, column = (int(cell[2]), cell[1].rjust(3)) if cell else (0, "")
    path = [int(part) if part.isdigit() else part for part in re.split(r"([0-9]+)", fault.where)]
    return fault.source, fault.line, fault.column, row, column, path, fault


class InputError(TrayoptError):
    """Input cannot be used; the error carries every fault that was found, sorted by place."""

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults: tuple[Fault, ...] = tuple(sorted(set(faults), key=_in_order))
        super().__init__("\n".join(str(fault) for fault in self.faults))

    @classmethod
    def one(
        cls, message: str, *, source: str = "<job>", found: str = "", allowed: str = "", hint: str = ""
    ) -> InputError:
        """Make an error of a single fault that has no line."""
        return cls([Fault(source, 0, 0, message, found, allowed, hint)])


class SolverFault(TrayoptError):  # noqa: N818 - it is no error of the user's
    """A fault of trayopt itself: its plan fails its own check, or the solver contradicts itself."""
