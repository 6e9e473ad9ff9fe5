"""The options that the commands of the wall share: what is printed, in which words and units, with which settings."""

from __future__ import annotations

import functools
from collections.abc import Callable
from typing import TYPE_CHECKING, Any, TypeVar

import click

if TYPE_CHECKING:
    from trayopt.cli.output import Output
    from trayopt.crewsheets.write import Options
    from trayopt.domain.job import Job
    from trayopt.domain.plan import Plan

F = TypeVar("F", bound=Callable[..., Any])

PART_NAMES = ("box", "steps", "strip", "splices", "tests", "materials", "labels", "labour", "reopen")
LANGUAGE_NAMES = ("en", "de")


class Parts(click.ParamType[tuple[str, ...]]):
    """A list of parts of the sheets, parted by commas."""

    name = "parts"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> tuple[str, ...]:
        """Read the list."""
        if isinstance(value, tuple):
            return value
        names = tuple(name.strip() for name in str(value).split(",") if name.strip())
        wrong = [name for name in names if name not in PART_NAMES]
        if wrong or not names:
            self.fail(f"no such part: {', '.join(wrong) or 'none named'}; allowed: {', '.join(PART_NAMES)}", param, ctx)
        return names


def sheet_options(command: Callable[..., int]) -> Callable[..., int]:
    """Give a command the options of the sheets."""

    @functools.wraps(command)
    def run(*arguments: Any, **options: Any) -> int:
        return command(*arguments, **options)

    for option in (
        click.option("--qr", "codes", is_flag=True, help="Put a QR code on every label."),
        click.option(
            "--measured",
            metavar="FILE",
            help="Measured marks (CSV or XLSX: leg, measured_mm, or the filled-in mark list); they correct the others.",
        ),
        click.option(
            "--settings", metavar="FILE", help="Spares, paces and test limits, as in the settings.yaml written."
        ),
        click.option(
            "--language",
            type=click.Choice(LANGUAGE_NAMES),
            default="en",
            show_default=True,
            help="Words of the sheets.",
        ),
        click.option(
            "--units",
            type=click.Choice(["metric", "feet"]),
            default="metric",
            show_default=True,
            help="Units of lengths.",
        ),
        click.option(
            "--only", type=Parts(), default=None, metavar="LIST", help=f"Parts to write, of: {','.join(PART_NAMES)}."
        ),
    ):
        run = option(run)
    return run


def options_of(only: tuple[str, ...] | None, units: str, language: str, settings: str | None, codes: bool) -> Options:
    """Make the options of the sheets from those of the command.

    Raises
    ------
    InputError
        Where the settings cannot be read.
    """
    from trayopt.crewsheets.settings import Settings, read_settings
    from trayopt.crewsheets.write import Options

    return Options(
        only=only or (),
        language=language,
        units="feet" if units == "feet" else "metric",
        codes=codes,
        settings=Settings() if settings is None else read_settings(settings),
    )


def job_and_plan(job: str, plan: str, output: Output) -> tuple[Job, Plan]:
    """Read a job and a plan that fits it.

    Raises
    ------
    InputError
        Where one of them cannot be read, or the plan is not one for this job.
    """
    from trayopt.api import load_job
    from trayopt.crewsheets.write import fitting
    from trayopt.errors import InputError
    from trayopt.formats.json_in import read_plan

    if plan.lower().endswith((".csv", ".xlsx")):
        hint = f"make a plan of it: trayopt check {job} {plan} -o plan.json"
        raise InputError.one(
            "this is a table, and sheets are printed of a plan", source=plan, allowed="JSON", hint=hint
        )
    loaded = load_job(job, library=output.library, warn=output.unusual)
    document = read_plan(plan)
    fitting(loaded, document, plan)
    return loaded, document
