"""The steps as a list, to be ticked off on paper or in a spreadsheet."""

from __future__ import annotations

from trayopt.crewsheets.lists.labour import hours
from trayopt.crewsheets.steps import Step
from trayopt.crewsheets.tables import Column, Table
from trayopt.crewsheets.units import Teller

STEPS = (
    Column("step", "count"), Column("kind"), Column("what"), Column("how"), Column("cautions"),
    Column("hours_one", "decimal"), Column("done", "blank"),
)  # fmt: skip


def steps_table(steps: tuple[Step, ...], tell: Teller) -> Table:
    """Return a row for every step."""
    rows = [
        (
            step.number,
            tell(f"steps.{step.kind}"),
            step.title,
            " ".join(step.lines),
            " ".join(tell(f"caution.{caution}") for caution in step.cautions),
            hours(step.minutes),
            None,
        )
        for step in steps
    ]
    return Table("steps", STEPS, rows)
