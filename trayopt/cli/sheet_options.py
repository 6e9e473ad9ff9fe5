"""The options that ``sheets`` and ``record`` share: parts, language, units and settings."""

from __future__ import annotations

import functools
from collections.abc import Callable
from typing import Any, Literal, TypedDict

import click

from trayopt.cli.completing import FILE

PART_NAMES = ("box", "steps", "strip", "splices", "tests", "materials", "labels", "labour", "reopen")
LANGUAGE_NAMES = ("en", "de")


class SheetOptions(TypedDict):
    """The values of these options, as ``trayopt.sheets`` and ``trayopt.record`` take them."""

    only: tuple[str, ...]
    units: Literal["metric", "feet"]
    language: str
    settings: str | None
    measured: str | None
    codes: bool


class Parts(click.ParamType[tuple[str, ...]]):
    """A list of parts of the sheets, separated by commas."""

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
    """Add the options of the sheets to a command."""

    @functools.wraps(command)
    def run(*arguments: Any, **options: Any) -> int:
        return command(*arguments, **options)

    for option in (
        click.option("--qr", "codes", is_flag=True, help="Put a QR code on every label."),
        click.option(
            "--measured",
            metavar="FILE",
            type=FILE,
            help="Measured marks (CSV or XLSX: leg, measured_mm, or the filled-in mark list); they correct the others.",
        ),
        click.option(
            "--settings",
            metavar="FILE",
            type=FILE,
            help="Spares, paces and test limits, as in the settings.yaml written.",
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
            "--only", type=Parts(), default=(), metavar="LIST", help=f"Parts to write, of: {','.join(PART_NAMES)}."
        ),
    ):
        run = option(run)
    return run
