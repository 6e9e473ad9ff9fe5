"""Comparing the cells of a row that name the same fibres: numbers, colours, tubes, ribbons and names of legs."""

from __future__ import annotations

import re
from collections.abc import Sequence
from functools import lru_cache

from trayopt.domain.ranges import Run
from trayopt.domain.said import said
from trayopt.domain.trunk import Trunk
from trayopt.formats.cells import Cell
from trayopt.formats.fibres import positions
from trayopt.review.cells import Cells

_LEG = re.compile(r"(?P<trunk>[^/]+)/(?P<subunit>\d+)(?:\.(?P<group>\d+))?")
_MOST = 100_000
"""More tubes, ribbons or fibres than any cable has; the reader of fibres checks the actual number."""


class Parts:
    """Finds cells of a row that contradict the fibres that the row names elsewhere."""

    def __init__(self, cells: Cells) -> None:
        self.cells = cells
        self._parts: dict[Run, list[tuple[int, int] | None]] = {}

    def leg(self, cell: Cell, fibres: Cell, trunk: Trunk, run: Run) -> bool:
        """Compare the name of a leg, such as ``N1/3.2``, with its fibres; other names are the crew's own and pass."""
        match = _LEG.fullmatch(cell.text)
        found = trunk.subunit_of(run.first).leg_of_run(run.first, run.last)
        if match is None or found is None:
            return True
        group = int(match["group"] or 1)
        if (match["trunk"].strip(), int(match["subunit"]), group) == (found.trunk, found.subunit, found.group):
            return True
        text = said(
            "fibres {first}-{last} of {trunk} are leg {leg}", first=run.first, last=run.last, trunk=trunk.id, leg=found
        )
        self.cells.contradict(cell, fibres, text)
        return False

    def fit(self, trunk: Trunk, run: Run, known: Cell, numbers: Sequence[Cell], colours: Sequence[Cell]) -> bool:
        """Compare tube, ribbon and place in the ribbon, by number and by colour, with a run."""
        right = True
        wanted = self._parts.get(run)
        if wanted is None:
            wanted = self._parts[run] = [_of_run(trunk, run, part) for part in range(len(PARTS))]
        for cells in (numbers, colours):
            for part, cell in enumerate(cells):
                if not cell.text or cell is known:
                    continue
                want = wanted[part]
                try:
                    told = _told(cell.text)
                except ValueError as wrong:
                    text = said("the {part} cannot be read: {wrong}", part=PARTS[part], wrong=wrong.args[0])
                    self.cells.wrong(cell, text, said("a number, or a colour"))
                    right = False
                    continue
                if want is not None and told is not None and want != told:
                    there = _words(*want)
                    text = said(
                        "{run} is in {part} {there}, or the fibres are others", run=run, part=PARTS[part], there=there
                    )
                    self.cells.contradict(cell, known, text)
                    right = False
        return right


PARTS = said("tube"), said("ribbon"), said("place of the ribbon")


def _words(first: int, last: int) -> str:
    return f"{first}" if first == last else said("{first} to {last}", first=first, last=last)


@lru_cache(maxsize=10_000)
def _told(text: str) -> tuple[int, int] | None:
    """Read a part as its first and last position; None if it means all of them, which contradicts nothing."""
    first, last = positions(text, _MOST, said("there are"))
    return None if (first, last) == (1, _MOST) else (first, last)


def _of_run(trunk: Trunk, run: Run, part: int) -> tuple[int, int] | None:
    """Return the first and last tube, ribbon or place in the ribbon of a run; None if the run leaves its tube or ribbon."""
    one, other = trunk.subunit_of(run.first), trunk.subunit_of(run.last)
    if part == 0:
        return one.number, other.number
    if one.number != other.number:
        return None
    first, last = one.ribbon_of(run.first), one.ribbon_of(run.last)
    if part == 1:
        return first, last
    return (one.fibre_in_ribbon(run.first), one.fibre_in_ribbon(run.last)) if first == last else None
