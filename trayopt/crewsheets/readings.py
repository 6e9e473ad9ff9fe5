"""Readings of the test record: read from a table, and judged by the mean of both directions."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from decimal import Decimal, InvalidOperation
from typing import TYPE_CHECKING, Literal, NamedTuple

from trayopt.crewsheets.book import Batch, Book
from trayopt.crewsheets.inputs import Named, named_table
from trayopt.errors import Fault, InputError

if TYPE_CHECKING:
    from trayopt.formats.cells import Row

Result = Literal["pass", "fail", "open"]
Look = Literal["bend", "splice", "unknown"]
MOST_DB = Decimal(60)


class Reading(NamedTuple):
    """The loss of a splice at a wavelength, in dB; a direction is None until it is measured."""

    trunk: str
    fibre: int
    wavelength: int
    a_to_b: Decimal | None
    b_to_a: Decimal | None

    @property
    def mean(self) -> Decimal | None:
        """Mean of both directions; None if a direction is missing, since a gain in one direction is no pass."""
        if self.a_to_b is None or self.b_to_a is None:
            return None
        return (self.a_to_b + self.b_to_a) / 2


@dataclass(frozen=True)
class Readings:
    """All readings by (trunk of side a, fibre, wavelength), the tries that are used up by fibre, and the limits."""

    limit: Decimal
    batch_limit: Decimal
    by_splice: Mapping[tuple[str, int, int], Reading] = field(default_factory=dict)
    used: Mapping[tuple[str, int], int] = field(default_factory=dict)
    waves: tuple[int, ...] = ()
    sleeves: Mapping[int, tuple[tuple[str, int, int], ...]] = field(default_factory=dict)
    """Runs of side a of the splices to be made in each tray: (trunk, first, last)."""

    @classmethod
    def none(cls, book: Book) -> Readings:
        """Return the blank record of a plan."""
        return cls.of(book, (), {})

    @classmethod
    def of(cls, book: Book, readings: Iterable[Reading], used: Mapping[tuple[str, int], int]) -> Readings:
        """Return the record of a plan with these readings."""
        runs = {
            i: tuple((sleeve.a.trunk, sleeve.a.first, sleeve.a.last) for sleeve in sleeves)
            for i, sleeves in enumerate(book.work_sleeves)
        }
        return cls(
            Decimal(str(book.settings.tests.limit_db)),
            Decimal(str(book.settings.tests.batch_mean_db)),
            {(reading.trunk, reading.fibre, reading.wavelength): reading for reading in readings},
            used,
            book.settings.tests.wavelengths_nm,
            runs,
        )

    def __bool__(self) -> bool:
        """Whether there is any reading."""
        return bool(self.by_splice)

    def at(self, trunk: str, fibre: int, wavelength: int) -> Reading | None:
        """Return the reading of a splice, which is named by its side a; None if there is none."""
        return self.by_splice.get((trunk, fibre, wavelength))

    def result(self, reading: Reading) -> Result:
        """Judge a reading."""
        if reading.mean is None:
            return "open"
        return "pass" if reading.mean <= self.limit else "fail"

    def look(self, trunk: str, fibre: int) -> Look | None:
        """Return what to look at if a splice is over the limit; None if it is not.

        A bend loses more at longer wavelengths; a bad splice loses at every wavelength. So a splice that is good at the shortest
        wavelength and bad at the longest has a bend.
        """
        results = [
            self.result(reading) if (reading := self.at(trunk, fibre, w)) else "open" for w in sorted(self.waves)
        ]
        if "fail" not in results:
            return None
        if len(results) == 1 or results[0] == "open":
            return "unknown"
        return "bend" if results[0] == "pass" and results[-1] == "fail" else "splice"

    def batch_means(self, batch: Batch) -> dict[int, Decimal]:
        """Return the mean of a batch by wavelength, for wavelengths at which every splice is read in both directions."""
        found = {}
        for wave in self.waves:
            readings = [self.at(trunk, fibre, wave) for trunk, fibre in self._fibres(batch)]
            means = [reading.mean for reading in readings if reading is not None and reading.mean is not None]
            if readings and len(means) == len(readings):
                found[wave] = sum(means, Decimal(0)) / len(means)
        return found

    def batch_result(self, batch: Batch) -> Result:
        """Judge a batch: it fails with a failed splice or a mean over the limit, and passes when every splice has passed."""
        results = {
            "open" if (reading := self.at(trunk, fibre, wave)) is None else self.result(reading)
            for trunk, fibre in self._fibres(batch)
            for wave in self.waves
        }
        over = any(mean > self.batch_limit for mean in self.batch_means(batch).values())
        return "fail" if "fail" in results or over else "open" if "open" in results else "pass"

    def _fibres(self, batch: Batch) -> Iterator[tuple[str, int]]:
        for tray in batch.trays:
            for trunk, first, last in self.sleeves[tray]:
                for fibre in range(first, last + 1):
                    yield trunk, fibre

    def begun(self, tray: int) -> bool:
        """Whether any splice in a tray has a reading."""
        return any(
            (trunk, fibre, wave) in self.by_splice
            for trunk, first, last in self.sleeves[tray]
            for fibre in range(first, last + 1)
            for wave in self.waves
        )

    def tries(self, trunk: str, first: int, last: int) -> int:
        """Return the greatest number of re-splices so far at a fibre in a run of side a."""
        return max((self.used.get((trunk, fibre), 0) for fibre in range(first, last + 1)), default=0)


COLUMNS = (
    Named("fibre", ("fibre", "fibre_a"), needed=True),
    Named("wavelength", ("wavelength", "wavelength_nm"), needed=True),
    Named("a_to_b", ("a_to_b", "a_to_b_db"), needed=True),
    Named("b_to_a", ("b_to_a", "b_to_a_db"), needed=True),
    Named("tries", ("tries", "resplices"), needed=False),
)


def read_readings(path: str, book: Book) -> Readings:
    """Read the filled-in test record, or a table of ``fibre, wavelength_nm, a_to_b_db, b_to_a_db``.

    A fibre may be named from either side; side a is always the trunk that comes first in the job. An optional column
    ``resplices`` says how often the fibre was spliced again. Rows without a reading are left out.

    Raises
    ------
    InputError
        With every row that names an unknown fibre or wavelength, repeats another row, or holds no loss.
    """
    rows, faults = named_table(path, COLUMNS)
    sides = _sides(book)
    found: dict[tuple[str, int, int], Reading] = {}
    used: dict[tuple[str, int], int] = {}
    for row, cells in rows:
        if not cells["a_to_b"] and not cells["b_to_a"]:
            continue
        key = sides.get(cells["fibre"])
        wave = cells["wavelength"].removesuffix("nm").strip()
        losses = _loss(cells["a_to_b"]), _loss(cells["b_to_a"])
        wrong = _wrong(book, row, cells, key, wave)
        if key is not None and not wrong:
            splice = (*key, int(wave))
            if splice in found:
                wrong = [row.spot.fault(f"{cells['fibre']} at {wave} nm is read twice", hint="keep the last reading")]
            found[splice] = Reading(*splice, *losses)
            tries = cells.get("tries", "")
            if tries.isascii() and tries.isdigit():
                used[key] = max(used.get(key, 0), int(tries))
        faults += wrong
    if faults:
        raise InputError(faults)
    return Readings.of(book, found.values(), used)


def _sides(book: Book) -> dict[str, tuple[str, int]]:
    """Return the fibre of side a for every spliced fibre of either side, written as text."""
    found: dict[str, tuple[str, int]] = {}
    for sleeve in book.sleeves:
        for i in range(sleeve.a.count):
            key = sleeve.a.trunk, sleeve.a.first + i
            found[f"{sleeve.a.trunk}:{sleeve.a.first + i}"] = key
            found[f"{sleeve.b.trunk}:{sleeve.b.first + i}"] = key
    return found


def _wrong(
    book: Book,
    row: Row,
    cells: Mapping[str, str],
    key: tuple[str, int] | None,
    wave: str,
) -> list[Fault]:
    found = []
    if key is None:
        found.append(
            row.spot.fault(
                f"no splice of the plan holds fibre {cells['fibre']!r}", allowed="a spliced fibre, such as N1:517"
            )
        )
    if wave not in {str(known) for known in book.settings.tests.wavelengths_nm}:
        allowed = ", ".join(f"{known} nm" for known in book.settings.tests.wavelengths_nm)
        found.append(
            row.spot.fault(
                "this wavelength is not tested", found=cells["wavelength"], allowed=allowed, hint="see --settings"
            )
        )
    for name in ("a_to_b", "b_to_a"):
        if cells[name] and _loss(cells[name]) is None:
            found.append(
                row.spot.fault("this is not a loss", found=cells[name], allowed=f"dB from -{MOST_DB} to {MOST_DB}")
            )
    return found


def _loss(text: str) -> Decimal | None:
    """Read a loss in dB, with a decimal point or comma; None if the text is not a loss."""
    try:
        value = Decimal(text.replace(",", "."))
    except InvalidOperation:
        return None
    return value if value.is_finite() and abs(value) <= MOST_DB else None
