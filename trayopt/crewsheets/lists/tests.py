"""Test record: batches of whole trays in build order, and a row for each splice and wavelength, blank or filled in."""

from __future__ import annotations

from trayopt.crewsheets.book import Book
from trayopt.crewsheets.figures import place_name
from trayopt.crewsheets.readings import Readings
from trayopt.crewsheets.settings import OWN, PRACTICE
from trayopt.crewsheets.tables import Cell, Column, Table
from trayopt.crewsheets.units import Teller

BATCHES = (
    Column("batch", "count"), Column("trays"), Column("splices", "count"), Column("far_ends"), Column("waves"),
    Column("limit", "decimal"), Column("limit_source"), Column("batch_limit", "decimal"), Column("batch_limit_source"),
    Column("ready", "blank"), Column("batch_mean"), Column("result"),
    Column("tested_by", "blank"),
)  # fmt: skip
TESTS = (
    Column("batch", "count"), Column("tray"), Column("sleeve", "count"), Column("circuit"), Column("fibre_a"),
    Column("fibre_b"), Column("wavelength", "number"),
    Column("a_to_b", "decimal"), Column("b_to_a", "decimal"), Column("mean", "decimal"),
    Column("limit", "decimal"), Column("result"),
)  # fmt: skip
AGAIN = (
    Column("batch", "count"), Column("tray"), Column("sleeve", "count"), Column("circuit"), Column("fibre_a"),
    Column("fibre_b"), Column("wavelength", "number"),
    Column("mean", "decimal"), Column("limit", "decimal"), Column("look"), Column("resplice_run"),
    Column("lift"), Column("together"), Column("tries_left", "count"),
)  # fmt: skip


def batches_table(book: Book, readings: Readings, tell: Teller) -> Table:
    """Return a row for every batch: its trays, the far ends that must be ready, limit and source, and result."""
    chosen = book.settings.tests
    rows: list[tuple[Cell, ...]] = []
    for batch in book.batches:
        rows.append(
            (
                batch.number,
                ", ".join(place_name(book.trays[i]) for i in batch.trays),
                batch.fibres,
                ", ".join(far_ends(book, batch.trays)),
                ", ".join(f"{wave} nm" for wave in chosen.wavelengths_nm),
                chosen.limit_db,
                source_words(chosen.limit_source, tell),
                chosen.batch_mean_db,
                source_words(chosen.batch_mean_source, tell),
                None,
                ", ".join(
                    f"{wave} nm: {tell.words.number(float(mean), 3)}"
                    for wave, mean in readings.batch_means(batch).items()
                ),
                tell(f"result.{readings.batch_result(batch)}") if readings else "",
                None,
            )
        )
    return Table("batches", BATCHES, rows)


def source_words(source: str, tell: Teller) -> str:
    """Return the source of a limit; what stands for a source that nobody gave is said in the language of the sheets."""
    return {PRACTICE: tell("tests.practice"), OWN: tell("tests.own")}.get(source, source)


def far_ends(book: Book, trays: tuple[int, ...]) -> list[str]:
    """Return the runs of fibres, by trunk, whose far ends are needed to test these trays from both sides."""
    rank = book.job.trunk_rank
    runs: list[list[object]] = []
    sides = sorted(
        ((run for i in trays for sleeve in book.work_sleeves[i] for run in (sleeve.a, sleeve.b))),
        key=lambda run: (rank[run.trunk], run.first),
    )
    for run in sides:
        if runs and runs[-1][0] == run.trunk and runs[-1][2] == run.first - 1:
            runs[-1][2] = run.last
        else:
            runs.append([run.trunk, run.first, run.last])
    return [f"{trunk}:{first}" if first == last else f"{trunk}:{first}-{last}" for trunk, first, last in runs]


def tests_table(book: Book, readings: Readings, tell: Teller) -> Table:
    """Return a row for every splice to be made at every wavelength."""
    limit = book.settings.tests.limit_db
    rows: list[tuple[Cell, ...]] = []
    for sleeve in book.sleeves_to_make:
        place, batch = place_name(book.trays[sleeve.tray]), book.batch_of[sleeve.tray]
        for i in range(sleeve.a.count):
            a = f"{sleeve.a.trunk}:{sleeve.a.first + i}"
            head = batch, place, sleeve.number, book.join_of(sleeve.a.trunk, sleeve.a.first + i), a
            b = f"{sleeve.b.trunk}:{sleeve.b.first + i}"
            for wave in book.settings.tests.wavelengths_nm:
                reading = readings.at(sleeve.a.trunk, sleeve.a.first + i, wave)
                if reading is None:
                    rows.append((*head, b, wave, None, None, None, limit, ""))
                    continue
                rows.append(
                    (
                        *head, b, wave, _number(reading.a_to_b), _number(reading.b_to_a), _number(reading.mean), limit,
                        tell(f"result.{readings.result(reading)}"),
                    )
                )  # fmt: skip
    return Table("tests", TESTS, rows)


def _number(value: object) -> float | None:
    return None if value is None else float(str(value))


def again_table(book: Book, readings: Readings, tell: Teller) -> Table:
    """Return every splice over the limit, with its worst wavelength, what to look at first, and its whole sleeve."""
    from trayopt.crewsheets.lists.reopen import together, tries

    rows: list[tuple[Cell, ...]] = []
    for sleeve in book.sleeves_to_make:
        for i in range(sleeve.a.count):
            failed = [
                reading
                for wave in book.settings.tests.wavelengths_nm
                if (reading := readings.at(sleeve.a.trunk, sleeve.a.first + i, wave))
                and readings.result(reading) == "fail"
            ]
            if not failed:
                continue
            worst = max(failed, key=lambda reading: reading.mean or 0)
            rows.append(
                (
                    book.batch_of[sleeve.tray],
                    place_name(book.trays[sleeve.tray]),
                    sleeve.number,
                    book.join_of(sleeve.a.trunk, sleeve.a.first + i),
                    f"{sleeve.a.trunk}:{sleeve.a.first + i}",
                    f"{sleeve.b.trunk}:{sleeve.b.first + i}",
                    worst.wavelength,
                    _number(worst.mean),
                    book.settings.tests.limit_db,
                    tell(f"look.{readings.look(sleeve.a.trunk, sleeve.a.first + i)}"),
                    f"{sleeve.a} × {sleeve.b}",
                    ", ".join(place_name(book.trays[k]) for k in book.lifted(sleeve.tray)),
                    ", ".join(together(book, sleeve.tray)),
                    max(0, tries(book) - readings.tries(sleeve.a.trunk, sleeve.a.first, sleeve.a.last)),
                )
            )
    return Table("again", AGAIN, rows)
