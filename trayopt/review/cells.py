"""Reading single cells of a hand-made table, with reports on damage by a spreadsheet or a hurried hand."""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from functools import lru_cache

from trayopt.domain.base import AS_THEY_ARE, LEAST_RIBBON, MOST_RIBBON, SPLIT, DivideAt, RibbonWord, Travel
from trayopt.domain.cable import Cable
from trayopt.domain.hardware import Enclosure, Place
from trayopt.domain.job import Job
from trayopt.domain.ranges import Run
from trayopt.domain.said import listed, said
from trayopt.domain.trunk import Trunk
from trayopt.errors import Fault
from trayopt.formats.cells import AS_TEXT, Cell, CellFault, Row, Telling, Words
from trayopt.formats.fibres import ALLOWED, fibres_at, fibres_of, tidy
from trayopt.formats.tables_in import looks_like_date
from trayopt.rules.words import several

_TRAY = re.compile(r"(?P<stack>.+?)\s*[/:]\s*(?P<position>\d{1,4})|(?P<stack2>.+?)[\s#-]+(?P<position2>\d{1,4})")
_COMMA = re.compile(r"[+-]?\d+,\d+")
_TRAVELS: dict[str, Travel] = {
    **dict.fromkeys(
        ("clockwise", "cw", "clock", "rechtsherum", "rechtsrum", "im uhrzeigersinn", "uhrzeigersinn"), "clockwise"
    ),
    **dict.fromkeys(
        ("counterclockwise", "ccw", "counter-clockwise", "counter clockwise", "anticlockwise", "anti-clockwise", "acw",
         "linksherum", "linksrum", "gegen den uhrzeigersinn", "gegen uhrzeigersinn"),
        "counterclockwise",
    ),
}  # fmt: skip
_DIVIDED: dict[str, DivideAt] = {
    **dict.fromkeys(("tray", "trays", "the tray", "at the tray", "at the trays", "entrance", "kassette", "kassetten",
                     "der kassette", "an der kassette", "an den kassetten", "spleißkassette"), "tray"),
    **dict.fromkeys(("port", "the port", "at the port", "breakout", "einführung", "der einführung", "an der einführung",
                     "kabeleinführung"), "port"),
}  # fmt: skip
_RIBBONS: dict[str, RibbonWord] = {
    **dict.fromkeys(("as they are", "as is", "unchanged", "ribbons as they are", "wie sie sind", "unverändert",
                     "bändchen wie sie sind"), AS_THEY_ARE),
    **dict.fromkeys(("split", "ribbons split", "ribbons split, parts side by side", "geteilt", "bändchen geteilt",
                     "bändchen geteilt, teile nebeneinander"), SPLIT),
}  # fmt: skip
_MADE_ANEW = re.compile(
    r"(?:(?:ribbons )?(?:re-?ribboni[sz]ed|made) (?:in)?to |into |ribbons of |(?:bändchen )?(?:neu )?(?:gebildet )?zu )?"
    r"(\d{1,3})(?:er)?"
)
_YES = {
    "yes", "y", "x", "1", "true", "built", "done", "spliced", "✓", "✔", "ja", "j", "wahr", "gebaut", "fertig",
    "erledigt", "gespleißt",
}  # fmt: skip
_NO = {"", "no", "n", "0", "false", "-", "open", "nein", "falsch", "offen"}
TRAVEL_WORDS, DIVIDED_WORDS = "clockwise, counterclockwise (cw, ccw)", "tray, port (Kassette, Einführung)"
DATE = said("the spreadsheet turned this cell into a date")
MEND_ONE = said("mend the one that is wrong")


@dataclass
class Cells:
    """A reader of the cells of a table for a job. Faults are kept in ``faults``, at most one for each cell.

    With ``lenient``, a name that the job does not have (any more) is not a fault: it is kept in ``gone``, and its tray is still
    read.
    """

    job: Job
    lenient: bool = False
    gone: list[Fault] = field(default_factory=list)
    faults: list[CellFault] = field(default_factory=list)
    tellings: list[Telling | None] = field(default_factory=list)
    """Faults of the current row, including repeated faults of a cell; None marks a fault that other rows must not share."""
    _runs: dict[tuple[str, str], Run] = field(default_factory=dict)
    """The run that a text of fibres means, by trunk and text."""
    _taken: set[tuple[int, int, str]] = field(default_factory=set)
    """Places of cells whose fault was found when the file was read."""
    _told: set[object] = field(default_factory=set)
    """Cells of the current row that have a fault."""

    def take(self, faults: Collection[CellFault]) -> None:
        """Take over faults of single cells that were found when the file was read."""
        self.faults += faults
        self._taken |= {item.row.mark_of(item.telling.column) for item in faults}

    def next_row(self) -> None:
        """Begin another row."""
        self.tellings.clear()
        self._told.clear()

    def wrong(
        self, cell: Cell, message: Words, allowed: Words = "", hint: str = "", near: tuple[str, ...] = ()
    ) -> None:
        """Report a fault of a cell, unless the cell has one already."""
        if looks_like_date(cell.text):
            self.tell(cell.row, Telling(cell.column, cell.text, DATE, "", AS_TEXT))
        else:
            self.tell(cell.row, Telling(cell.column, cell.text, message, allowed, hint, near))

    def way(self, key: str, cell: Cell, trunk: Trunk) -> str | int | None:
        """Read a part of the way of a trunk: its port, travel, place of division or ribbon work, or its number of loops."""
        if key == "port":
            return self.name(cell, self.job.enclosure.port_by_id, said("there is no such port"))
        if key == "travel":
            return self.travel(cell)
        if key == "divide_at":
            return self.divided_at(cell)
        if key == "ribbons":
            return self.ribbons(cell, trunk)
        return self.number(cell, said("the number of loops"))

    def agreed(self, place: Place, stack: Cell, position: Cell, tray: Cell) -> Place | None:
        """Compare a tray with a stack, a position or both; None if they differ."""
        number = self.number(position, said("the position")) if position.text else place.position
        if stack.text and stack.text.casefold() != place.stack.casefold():
            self.contradict(tray, stack, lambda: said("the tray is {place} and the stack another", place=place))
        elif number is not None and number != place.position:
            self.contradict(tray, position, lambda: said("the tray is {place} and the position another", place=place))
        elif number is not None:
            return place
        return None

    def contradict(self, cell: Cell, other: Cell, message: Words) -> None:
        """Report that a cell contradicts another cell of its row; the finding names both cells."""
        self.tell(cell.row, Telling(cell.column, cell.text, message, "", MEND_ONE, (), other.column, other.text))

    def tell(self, row: Row, telling: Telling) -> None:
        """Report a fault of a cell of a row, unless the cell has one already."""
        self.tellings.append(telling)
        # cells that a row of a text does not have are at one place, its end
        key = telling.column if telling.text or row.raw is None else row.mark_of(telling.column)
        if key in self._told or (self._taken and row.mark_of(telling.column) in self._taken):
            return
        self._told.add(key)
        self.faults.append(CellFault(row, telling))

    def missing(self, cell: Cell, message: Words, allowed: Words, hint: str = "", near: tuple[str, ...] = ()) -> None:
        """Report that a cell names something that the job does not have."""
        if self.lenient:
            self.tellings.append(None)
            self.gone.append(CellFault(cell.row, Telling(cell.column, cell.text, message, allowed)).fault())
        else:
            self.wrong(cell, message, allowed, hint, near)

    def trunk(self, cell: Cell, last: str = "") -> Trunk | None:
        """Read a trunk; ``last`` is the trunk of the row before, for a hint if the cell is empty."""
        if not cell.text:
            hint = (
                said("if {last} of a row above is meant, write it in every row; unmerge merged cells", last=last)
                if last
                else ""
            )
            self.wrong(cell, said("the trunk is missing"), ", ".join(self.job.trunk_by_id), hint)
            self.tellings.append(None)
            return None
        for item in self.job.through:
            if cell.text.casefold() == item.trunk.casefold():
                text = said("trunk {trunk} goes through the box and has two ends", trunk=item.trunk)
                self.missing(cell, text, listed(item.ends, "or"))
                return None
        name = self.name(cell, self.job.trunk_by_id, said("there is no such trunk"))
        return None if name is None else self.job.trunk_by_id[name]

    def name(self, cell: Cell, known: Collection[str] | Mapping[str, object], missing: str) -> str | None:
        """Read one of the known names; case does not matter if the name is clear without it.

        ``missing`` says that there is no such name.
        """
        if cell.text in known:
            return cell.text
        names, in_lower_case, allowed = _names(tuple(known))
        alike = in_lower_case.get(cell.text.lower(), ())
        if len(alike) == 1:
            return alike[0]
        self.missing(cell, missing, allowed, near=names)
        return None

    def run(self, cell: Cell, trunk: Trunk) -> Run | None:
        """Read fibres of a trunk, with or without the name of the trunk before them."""
        text = cell.text
        name, _, fibres = text.partition(":")
        if name.strip() == trunk.id:
            text = fibres
        known = self._runs.get((trunk.id, text))
        if known is not None:
            return known
        if not text or looks_like_date(text):
            self.wrong(cell, said("the fibres are missing"), ALLOWED)
            return None
        if _COMMA.fullmatch(text):
            self.wrong(cell, said("a comma inside of fibres"), ALLOWED, said("write one run per row"))
            return None
        try:
            run = self._runs[trunk.id, text] = Run(trunk.id, *fibres_of(trunk, text))
            return run
        except ValueError as wrong:
            self._unreadable(cell, trunk, wrong.args[0])
            return None

    def _unreadable(self, cell: Cell, trunk: Trunk, wrong: str) -> None:
        self.missing(
            cell,
            lambda: said("the fibres cannot be read: {wrong}", wrong=wrong),
            lambda: _fibres_of_cable(trunk.cable),
        )

    def run_at(self, trunk: Trunk, tube: Cell, ribbon: Cell, fibres: Cell) -> Run | None:
        """Read fibres from separate cells for tube, ribbon and fibre."""
        for cell in (tube, ribbon, fibres):
            if cell.text and looks_like_date(cell.text):
                self.wrong(cell, DATE)
                return None
        if not tube.text and not ribbon.text:
            return self.run(fibres, trunk)
        if not tube.text:
            self.wrong(tube, said("a ribbon is given without its tube"), _fibres_of_cable(trunk.cable))
            return None
        run = (0, 0)
        for cell, parts in (
            (tube, (tube.text,)),
            (ribbon, (tube.text, ribbon.text)),
            (fibres, (tube.text, ribbon.text, fibres.text)),
        ):
            try:
                run = fibres_at(trunk, *parts)
            except ValueError as wrong:
                self._unreadable(cell, trunk, wrong.args[0])
                return None
        return Run(trunk.id, *run)

    def place_of_tray(self, tray: Cell) -> Place | None:
        """Read a tray place from the cell of a tray; None if it is wrong."""
        found = _TRAY.fullmatch(tidy(tray.text))
        if found is None or looks_like_date(tray.text):
            self.wrong(tray, said("the tray cannot be read"), said("stack/position, such as left/3"))
            return None
        name, position, name2, position2 = found.group("stack", "position", "stack2", "position2")
        return self.place(tray.part(name or name2), tray.part(position or position2))

    def place(self, stack: Cell, position: Cell) -> Place | None:
        """Read a tray place from the cells of stack and position; None if it is open or wrong."""
        if not stack.text and not position.text:
            return None
        if not stack.text or not position.text:
            if stack.text:
                self.wrong(position, said("a stack without a position"), said("both, or none"))
            else:
                self.wrong(stack, said("a position without a stack"), said("both, or none"))
            return None
        enclosure: Enclosure = self.job.enclosure
        found_stack = self.name(stack, enclosure.stack_by_id, said("there is no such stack"))
        found_position = self.number(position, said("the position"))
        if found_position is None or (found_stack is None and not self.lenient):
            return None
        place = Place(found_stack or stack.text, found_position)
        if found_stack is not None and place not in enclosure.place_rank:
            self.missing(
                position,
                lambda: said("stack {stack} has no such position", stack=found_stack),
                lambda: said("1 to {most}", most=enclosure.stack_by_id[found_stack].positions),
            )
            return place if self.lenient else None
        return place

    def number(self, cell: Cell, what: str) -> int | None:
        """Read a whole number; None if the cell is empty or wrong."""
        text = cell.text.replace("\u00a0", " ").strip()
        if not text:
            return None
        if text.isascii() and text.isdigit() and len(text) < 10:
            return int(text)
        if _COMMA.fullmatch(text):
            self.wrong(
                cell,
                said("{what} has a comma", what=what),
                said("a whole number"),
                said("write it without decimals and without separators"),
            )
        elif re.fullmatch(r"\d+\.0+", text):
            return int(text.partition(".")[0])
        else:
            self.wrong(cell, said("{what} is not a whole number", what=what), said("a whole number"))
        return None

    def travel(self, cell: Cell) -> Travel | None:
        """Read a direction of travel; None if the cell is empty or wrong."""
        if not cell.text:
            return None
        found = _TRAVELS.get(tidy(cell.text).lower())
        if found is None:
            self.wrong(cell, said("this is not a direction of travel"), TRAVEL_WORDS)
        return found

    def divided_at(self, cell: Cell) -> DivideAt | None:
        """Read the place at which a trunk is divided; None if the cell is empty or wrong."""
        if not cell.text:
            return None
        found = _DIVIDED.get(tidy(cell.text).lower())
        if found is None:
            self.wrong(cell, said("a trunk cannot be divided there"), DIVIDED_WORDS)
        return found

    def ribbons(self, cell: Cell, trunk: Trunk) -> RibbonWord | None:
        """Read the ribbon work of a trunk; None if the cell is empty or wrong."""
        text = tidy(cell.text).lower().replace("_", " ")
        if not text:
            return None
        anew = _MADE_ANEW.fullmatch(text)
        found = _RIBBONS.get(text) if anew is None else int(anew[1])
        if found is None or (isinstance(found, int) and not LEAST_RIBBON <= found <= MOST_RIBBON):
            allowed = ", ".join(map(str, trunk.ribbons))
            hint = said("a number is the width of the ribbons that are made")
            self.wrong(cell, said("this is not work on ribbons"), allowed, hint, tuple(_RIBBONS))
            return None
        return found

    def yes(self, cell: Cell) -> bool:
        """Whether a cell has a mark such as ``x`` or ``yes``."""
        text = cell.text.strip().lower()
        if text not in _YES and text not in _NO:
            self.wrong(cell, said("this is neither yes nor no"), said("yes, x, no, or nothing"))
        return text in _YES


@lru_cache(maxsize=100)
def _names(names: tuple[str, ...]) -> tuple[tuple[str, ...], dict[str, list[str]], str]:
    """Return names, the same by their text in lower case, and the first of them in words."""
    in_lower_case: dict[str, list[str]] = {}
    for name in names:
        in_lower_case.setdefault(name.lower(), []).append(name)
    return names, in_lower_case, ", ".join(names[:20])


def _fibres_of_cable(cable: Cable) -> str:
    tubes = sum(group.count for group in cable.subunits)
    return said("fibres 1 to {fibres} in {tubes}", fibres=cable.fibres, tubes=several(tubes, "tube"))
