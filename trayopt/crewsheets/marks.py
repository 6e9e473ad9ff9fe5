"""Marks on legs: computed from the plan, and corrected by the crew's measurements. The measured length governs."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

from trayopt.crewsheets.book import Book
from trayopt.crewsheets.inputs import Named, named_table
from trayopt.crewsheets.lengths import read_length
from trayopt.domain.base import ceil_to
from trayopt.domain.plan import PlanLeg
from trayopt.errors import InputError
from trayopt.rules.exposed import Exposed
from trayopt.track.lengths import CUT_STEP_MM


class Mark(NamedTuple):
    """Marks of a leg, in mm from the transition point, where the jacket ends.

    Parameters
    ----------
    leg
        The name of the leg.
    entrance
        The tie-down at the entrance of the tray.
    tube_end
        The end of the tube in which the leg travels. It lies past the entrance if the tube holds one leg. An own tube that is
        opened for several legs ends before the first of their entrances.
    protection
        Length of the piece of tube over the leg, from the end of an opened tube to past the tie-down; 0 without such a piece.
    ribbon
        The place at which the fibres are cut, past the sleeve, with the length that is kept to splice again.
    cut
        The length at which the leg is first cut.
    measured
        The measured entrance mark; None if it was not measured.
    correction
        The length that measuring added to the computed figures.
    doubt
        Whether the correction is larger than the allowance for the lay of a leg in its bundle, so that its way has to be checked.
    """

    leg: str
    entrance: int
    tube_end: int
    protection: int
    ribbon: int
    cut: int
    measured: int | None
    correction: int
    doubt: bool


class Marks:
    """The marks of all placed legs, and the lengths to strip.

    Notes
    -----
    Measured legs of a trunk correct its other legs by linear interpolation in the trunk's own order (by subunit, then group).
    Before the first and after the last measured leg, the nearest correction holds.
    """

    def __init__(self, book: Book, measured: Mapping[str, int]) -> None:
        self.book = book
        self.lengths = Exposed().parameters(book.job)
        self.of: dict[str, Mark] = {}
        self.strip: dict[str, int] = {}
        for trunk, legs in book.legs.items():
            loops = book.ways[trunk].loops or 0
            shifts = corrections([leg.entrance_mark_mm or 0 for leg in legs], [measured.get(leg.leg) for leg in legs])
            by_leg = {leg.leg: shift for leg, shift in zip(legs, shifts, strict=True)}
            for leg in legs:
                self.of[leg.leg] = self._mark(leg, loops, by_leg, measured.get(leg.leg))
            self.strip[trunk] = self.lengths.strip_mm([self.of[leg.leg].cut for leg in legs], loops)
        for item in book.passing:
            self.strip |= dict.fromkeys(item.ends, item.window_mm)

    @property
    def safe(self) -> bool:
        """Whether lengths are safe before a trial route, because the allowance covers a turn at the outer edge of the guides."""
        return self.lengths.allowance_mm >= self.book.job.enclosure.outer_lay_mm

    def _mark(self, leg: PlanLeg, loops: int, shifts: Mapping[str, int], measured: int | None) -> Mark:
        chosen, traveller = self.book.settings.materials, self.book.traveller_of[leg.leg]
        allowed = self.lengths.allowance_mm * (1 + loops)
        shift = shifts[leg.leg]
        entrance = (leg.entrance_mark_mm or 0) + shift
        tube_end = past = entrance + chosen.tube_past_mm
        if traveller.opened:
            first = min((other.entrance_mark_mm or 0) + shifts[other.leg] for other in traveller.legs)
            tube_end = max(0, first - chosen.parting_mm)
        transition = self.book.job.trunk_by_id[leg.trunk].transition_mm
        ribbon = transition + (leg.route_mm or 0) + self.lengths.resplice_mm + shift
        return Mark(
            leg.leg,
            entrance,
            tube_end,
            past - tube_end,
            ribbon,
            ceil_to(ribbon + allowed, CUT_STEP_MM),
            measured,
            shift,
            abs(shift) > allowed,
        )


def corrections(computed: list[int], measured: list[int | None]) -> list[int]:
    """Return the correction of every leg of a trunk, in its order, in mm; zeros if nothing was measured."""
    known = [(i, value - computed[i]) for i, value in enumerate(measured) if value is not None]
    if not known:
        return [0] * len(computed)
    found = []
    for i in range(len(computed)):
        left = max((item for item in known if item[0] <= i), default=known[0])
        right = min((item for item in known if item[0] >= i), default=known[-1])
        width, part = right[0] - left[0], (right[1] - left[1]) * (i - left[0])
        found.append(left[1] + ((2 * part + width) // (2 * width) if width else 0))
    return found


COLUMNS = (Named("leg", ("leg",), needed=True), Named("measured", ("measured", "measured_mm"), needed=True))


def read_measured(path: str, book: Book) -> dict[str, int]:
    """Read measured entrance marks, in mm, from the filled-in mark list or a table of ``leg`` and ``measured_mm``.

    A length is a number of mm, metres such as ``3.14 m``, or feet and inches such as ``7 ft 3 1/2 in``. Rows without a length are
    left out.

    Raises
    ------
    InputError
        If a leg is unknown, not placed or named twice, or a length cannot be read.
    """
    rows, faults = named_table(path, COLUMNS)
    found: dict[str, int] = {}
    for row, cells in rows:
        name, text = cells["leg"], cells["measured"]
        if not text:
            continue
        length = read_length(text)
        if name not in book.leg_by_name:
            near = next((known for known in book.leg_by_name if known.startswith(f"{name}.")), "")
            hint = f"it is divided: {near} …" if near else "name a leg as in the mark list, such as N1/3.2"
            faults.append(row.spot.fault(f"no leg {name!r} has a tray in this plan", hint=hint))
        elif name in found:
            faults.append(row.spot.fault(f"{name} is measured twice", hint="keep one of the rows"))
        elif length is None or not 1 <= length <= 200_000:
            faults.append(
                row.spot.fault(
                    f"the mark of {name} is not a length",
                    found=text,
                    allowed="1 to 200000 mm as 3140, 3.14 m or 7 ft 3 1/2 in",
                )
            )
        else:
            found[name] = length
    if faults:
        raise InputError(faults)
    return found
