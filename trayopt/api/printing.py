"""F5: the sheets of a plan for the crew, and the record of the crew's measurements."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from trayopt.api.plans import document_of
from trayopt.domain.job import Job

if TYPE_CHECKING:
    from trayopt.crewsheets.book import Book
    from trayopt.crewsheets.lengths import Units
    from trayopt.crewsheets.record import Record
    from trayopt.crewsheets.settings import Settings
    from trayopt.crewsheets.write import Options as SheetOptions
    from trayopt.crewsheets.write import Sheets
    from trayopt.domain.plan import Plan
    from trayopt.errors import Fault


def sheets(
    job: Job,
    plan: Plan | str | Path,
    *,
    only: Sequence[str] = (),
    units: Units = "metric",
    language: str = "en",
    settings: Settings | str | Path | None = None,
    measured: Mapping[str, int] | str | Path | None = None,
    codes: bool = False,
    warn: Callable[[Fault], None] | None = None,
) -> Sheets:
    """Make the sheets of a plan for the crew, the store and the files.

    Parameters
    ----------
    job
        The job, as ``load_job`` returns it.
    plan
        A plan of this job with every figure right, or its file in JSON.
    only
        Parts to make: box, steps, strip, splices, tests, materials, labels, labour, reopen; all parts if none is named.
    units
        Units of the lengths that are printed: ``metric`` or ``feet``.
    language
        ``en`` or ``de``.
    settings
        Spares, paces and test limits, or their YAML file.
    measured
        Measured entrance marks in mm by leg, or their table in CSV or XLSX.
    codes
        Whether every label gets a QR code.
    warn
        Called with a warning if the plan's file is of a former format, of which only ways and places are taken over.

    Returns
    -------
    Sheets
        ``write(folder)`` writes all files and returns their names. ``page()`` returns the page alone, and ``tables`` holds the
        lists by name.

    Raises
    ------
    InputError
        If a file cannot be read, or a part, unit or language is unknown. Also if the plan is of another job, is empty, breaks a
        rule that always holds, or states a wrong figure.
    """
    from trayopt.crewsheets.write import Sheets

    options = _options(only, units, language, settings, codes)
    book = _book(job, plan, "make a plan of it, for sheets are printed of a plan", options, warn)
    return Sheets(job, book.plan, options, measured=_measured(measured, book))


def plan_pictures(job: Job, plan: Plan, *, language: str = "en") -> dict[str, str]:
    """Draw a plan, finished or not, in SVG: the box as seen from the door, and the order of each trunk against depth.

    Parameters
    ----------
    job, plan
        The job, and a plan of it with every figure right, as ``check`` returns it.
    language
        ``en`` or ``de``.

    Returns
    -------
    dict
        The pictures by name: ``front``, and ``order-TRUNK`` for each trunk in the box.

    Raises
    ------
    InputError
        If the language is unknown.
    """
    from trayopt.crewsheets.book import Book
    from trayopt.crewsheets.geometry.front import front_picture
    from trayopt.crewsheets.geometry.order import order_picture
    from trayopt.crewsheets.units import Teller
    from trayopt.crewsheets.words import words_of
    from trayopt.pictures.svg import svg_text

    options = _options((), "metric", language, None, codes=False)
    book, tell = Book(job, plan, options.settings), Teller(words_of(language), options.units)
    drawn = [front_picture(book, tell), *(order_picture(book, trunk, tell) for trunk in book.ways if book.legs[trunk])]
    return {picture.id: svg_text(picture) for picture in drawn}


def record(
    job: Job,
    plan: Plan | str | Path,
    readings: str | Path,
    *,
    only: Sequence[str] = (),
    units: Units = "metric",
    language: str = "en",
    settings: Settings | str | Path | None = None,
    measured: Mapping[str, int] | str | Path | None = None,
    codes: bool = False,
    warn: Callable[[Fault], None] | None = None,
) -> Record:
    """Judge the readings of a plan against the limit, batch by batch, and find what is to be spliced again.

    Parameters
    ----------
    job, plan, only, units, language, settings, measured, codes, warn
        As for ``sheets``.
    readings
        The filled-in test record, or a table in CSV or XLSX with the columns fibre, wavelength_nm, a_to_b_db, b_to_a_db and,
        optionally, resplices; losses are in dB.

    Returns
    -------
    Record
        ``passed`` says whether every batch passed. ``batches()``, ``again()`` and ``as_built()`` return plain data.
        ``write(folder)`` writes the as-built plan and the filled-in sheets.

    Raises
    ------
    InputError
        As for ``sheets``, and if a reading belongs to no splice of the plan, or is not a loss.
    """
    from trayopt.crewsheets.readings import read_readings
    from trayopt.crewsheets.record import Record

    options = _options(only, units, language, settings, codes)
    book = _book(job, plan, "make a plan of it, for readings belong to a plan", options, warn)
    read = read_readings(str(readings), book)
    return Record(job, book.plan, read, options, measured=_measured(measured, book))


def _book(
    job: Job, plan: Plan | str | Path, hint: str, options: SheetOptions, warn: Callable[[Fault], None] | None
) -> Book:
    """Read a plan for printing; a plan that does not fit its job is refused."""
    from trayopt.crewsheets.book import Book
    from trayopt.crewsheets.write import fitting

    document, source = document_of(job, plan, hint, warn)
    fitting(job, document, source)
    return Book(job, document, options.settings)


def _measured(given: Mapping[str, int] | str | Path | None, book: Book) -> Mapping[str, int] | None:
    """Return measured marks in mm by leg; if a file is given, read them from its table."""
    from trayopt.crewsheets.marks import read_measured

    return read_measured(str(given), book) if isinstance(given, str | Path) else given


def _options(
    only: Sequence[str], units: Units, language: str, settings: Settings | str | Path | None, codes: bool
) -> SheetOptions:
    """Return the options of the sheets; unknown parts, units and languages are refused."""
    from trayopt.crewsheets.settings import Settings, read_settings
    from trayopt.crewsheets.words import LANGUAGES
    from trayopt.crewsheets.write import PARTS
    from trayopt.crewsheets.write import Options as SheetOptions
    from trayopt.errors import InputError

    for what, given, allowed in (
        *(("part", name, tuple(PARTS)) for name in only),
        ("unit", units, ("metric", "feet")),
        ("language", language, LANGUAGES),
    ):
        if given not in allowed:
            raise InputError.one(
                f"there is no such {what}", source="sheets", found=str(given), allowed=", ".join(allowed)
            )
    read = settings if isinstance(settings, Settings) else Settings() if settings is None else read_settings(settings)
    return SheetOptions(only=tuple(only), language=language, units=units, codes=codes, settings=read)
