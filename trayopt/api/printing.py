"""F5: what the crew gets of a plan, and the record of what it measured."""

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
    """Make everything that the crew, the store and the file need of a plan.

    Parameters
    ----------
    job
        The job, as ``load_job`` gives it.
    plan
        A plan of this job with every figure right, or its file in JSON.
    only
        Parts to make: box, steps, strip, splices, tests, materials, labels, labour, reopen; all where none is named.
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
        Told where the plan's file is of a former format: only where things lie is taken over of it.

    Returns
    -------
    Sheets
        ``write(folder)`` writes every file and gives their names; ``page()`` is the page alone, ``tables`` are the lists
        by name.

    Raises
    ------
    InputError
        If a file cannot be read, a part, unit or language is unknown, or the plan is of another job, holds no plan,
        breaks a rule that always holds, or states a wrong figure.
    """
    from trayopt.crewsheets.write import Sheets

    options = _options(only, units, language, settings, codes)
    book = _book(job, plan, "make a plan of it, for sheets are printed of a plan", options, warn)
    return Sheets(job, book.plan, options, measured=_measured(measured, book))


def plan_pictures(job: Job, plan: Plan, *, language: str = "en") -> dict[str, str]:
    """Draw a plan, finished or not, in SVG: its box from the door, and the order of each trunk against depth.

    Parameters
    ----------
    job, plan
        The job, and a plan of it with every figure right, as ``check`` gives it.
    language
        ``en`` or ``de``.

    Returns
    -------
    dict
        ``front``, and ``order-TRUNK`` for each trunk in the box.

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
        The test record filled in, or a table in CSV or XLSX with the columns fibre, wavelength_nm, a_to_b_db, b_to_a_db
        and, if wanted, resplices; losses in dB.

    Returns
    -------
    Record
        ``passed``, whether every batch passed; ``batches()``, ``again()`` and ``as_built()`` as plain data;
        ``write(folder)`` writes the as-built plan and the filled-in sheets.

    Raises
    ------
    InputError
        As for ``sheets``, and where a reading is of no splice of the plan, or is no loss.
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
    """Read a plan that something is printed of; one that does not fit its job is refused."""
    from trayopt.crewsheets.book import Book
    from trayopt.crewsheets.write import fitting

    document, source = document_of(job, plan, hint, warn)
    fitting(job, document, source)
    return Book(job, document, options.settings)


def _measured(given: Mapping[str, int] | str | Path | None, book: Book) -> Mapping[str, int] | None:
    """Return measured marks in mm by leg, read from their table where they are a file."""
    from trayopt.crewsheets.marks import read_measured

    return read_measured(str(given), book) if isinstance(given, str | Path) else given


def _options(
    only: Sequence[str], units: Units, language: str, settings: Settings | str | Path | None, codes: bool
) -> SheetOptions:
    """Return what is to be printed and how; what there is not is refused."""
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
