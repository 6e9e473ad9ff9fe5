"""Labour: hours by step and by tray, for one person and for two people. All are estimates."""

from __future__ import annotations

from trayopt.crewsheets.book import Book
from trayopt.crewsheets.figures import place_name
from trayopt.crewsheets.steps import Step
from trayopt.crewsheets.tables import Cell, Column, Table
from trayopt.crewsheets.units import Teller

LABOUR = (Column("phase"), Column("steps", "count"), Column("hours_one", "decimal"), Column("hours_two", "decimal"))
TRAYS = (
    Column("batch", "count"), Column("tray"), Column("sleeves", "count"), Column("splices", "count"),
    Column("splice_hours", "decimal"), Column("lay_hours", "decimal"), Column("test_hours", "decimal"),
    Column("hours_one", "decimal"), Column("hours_two", "decimal"),
)  # fmt: skip


def labour_table(book: Book, steps: tuple[Step, ...], tell: Teller) -> Table:
    """Return hours by phase, and their sum."""
    factor = book.settings.labour.two_people_factor
    minutes: dict[str, list[float]] = {}
    for step in steps:
        minutes.setdefault(step.phase, []).append(step.minutes)
    rows: list[tuple[Cell, ...]] = [
        (tell(f"phase.{phase}"), len(spent), hours(sum(spent)), hours(sum(spent) * factor))
        for phase, spent in minutes.items()
    ]
    total = sum(step.minutes for step in steps)
    rows.append((tell("phase.total"), len(steps), hours(total), hours(total * factor)))
    return Table("labour", LABOUR, rows)


def labour_trays_table(book: Book, steps: tuple[Step, ...]) -> Table:
    """Return hours by tray: to splice it, to lay it, and its part of the test."""
    chosen = book.settings.labour
    rows: list[tuple[Cell, ...]] = []
    spent = {(step.tray, step.phase): step.minutes for step in steps if step.tray is not None}
    for i in book.work_trays:
        tray = book.trays[i]
        splice, lay = spent[i, "splice"], spent[i, "lay"]
        test = chosen.test_min_per_fibre * book.spliced(i)
        whole = splice + lay + test
        rows.append(
            (
                book.batch_of[i], place_name(tray), len(book.work_sleeves[i]), book.spliced(i),
                hours(splice), hours(lay), hours(test), hours(whole), hours(whole * chosen.two_people_factor),
            )
        )  # fmt: skip
    return Table("labour_trays", TRAYS, rows)


def hours(minutes: float) -> float:
    """Return minutes as hours, to a hundredth."""
    return round(minutes / 60, 2)
