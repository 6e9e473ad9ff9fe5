"""``trayopt new``: write a starter job, hardware from a tape and a label, an empty table, or a measuring sheet."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from trayopt.cli.common import common
from trayopt.cli.completing import FILE
from trayopt.cli.output import Output

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from trayopt.library.starters.questions import Question

STARTER = Path(__file__).parent.parent / "starter.yaml"
KINDS = ("enclosure", "cable", "tray", "tubes")
NAMES = {
    "enclosure": "size, stacks, trays, tray, mixed, ring, guide, bottom, top, left, right",
    "tray": "fibres, sleeve, size",
    "cable": "construction, diameter, subunits, ribbons, width, fibre",
    "tubes": "tubes",
}
"""Names of the answers by kind, for the help; a test compares them with the questions."""


@click.command("new", short_help="Write a starter job, hardware from a tape measure and a label, or an empty table.")
@click.argument("file", metavar="FILE", type=click.Path(allow_dash=True))
@click.option(
    "--kind", type=click.Choice(KINDS), help="Write hardware; trayopt asks what a tape measure and a label say."
)
@click.option(
    "-a", "--answer", "answers", multiple=True, metavar="NAME=VALUE",
    help="An answer that is then not asked for; may repeat. "
    + " ".join(f"{kind[0].upper()}{kind[1:]}: {names}." for kind, names in NAMES.items()),
)  # fmt: skip
@click.option(
    "--sheet", is_flag=True, help="Write a page to print, in SVG, that says what to measure of a box, and where."
)
@click.option(
    "--table",
    metavar="TABLE",
    type=FILE,
    help="Write an empty table (.csv, .xlsx) for the job FILE, to be filled in by hand.",
)
@click.option("--force", is_flag=True, help="Write over a file that is there.")
@common
def command(
    output: Output, file: str, kind: str | None, answers: tuple[str, ...], sheet: bool, table: str | None, force: bool
) -> None:
    """Write a starter job to FILE (or to stdout for -): it solves as it is, and its keys are explained beside them.

    With --kind, FILE becomes a box, a cable, a tray or a set of tubes that can be built as it is. trayopt asks for what a
    tape measure and a label say, or takes it from --answer. It works out the rest by formulas and marks those values as
    assumed, for you to correct. The file's name is the id.

    With --table, FILE is a job, and TABLE becomes an empty table for it. check and mend read the table when it is filled in.
    """
    if sum((kind is not None, sheet, table is not None)) > 1:
        raise click.UsageError("only one of --kind, --sheet and --table can be given")
    if answers and kind is None:
        raise click.UsageError("--answer goes with --kind")
    target = file if table is None else table
    _not_there(target, force=force)
    if table is not None:
        following = _empty_table(output, file, table)
    elif kind is not None:
        following = _hardware(output, kind, file, answers)
    else:
        following = _sheet(file) if sheet else _job(file)
    if target != "-":
        output.answer(lambda: {"written": target}, lambda: f"{target} written; next: {following}", lambda: target)


def _job(file: str) -> str:
    from trayopt.formats.json_out import write_whole

    write_whole(file, STARTER.read_text(encoding="utf-8"))
    return f"trayopt solve {file}"


def _sheet(file: str) -> str:
    from trayopt.api import measuring_sheet
    from trayopt.formats.json_out import write_whole

    write_whole(file, measuring_sheet())
    return "print it, measure, then trayopt new --kind enclosure BOX.yaml"


def _empty_table(output: Output, file: str, table: str) -> str:
    from trayopt.api import load_job
    from trayopt.review.sheet_out import empty_rows, write_table

    job = load_job(file, library=output.library)
    write_table(table, job, empty_rows(job))
    return f"fill it in, then trayopt check {file} {table}"


def _hardware(output: Output, kind: str, file: str, answers: tuple[str, ...]) -> str:
    from trayopt.api import new_hardware
    from trayopt.formats.json_out import write_whole
    from trayopt.library.starters.questions import QUESTIONS

    given = _given(answers)
    if sys.stdin.isatty() and not output.json:
        given = {**given, **_asked(QUESTIONS[kind], given)}
    write_whole(file, new_hardware(kind, file, given, library=output.library))
    return f"trayopt library show {file} --picture {Path(file).stem}.svg"


def _given(answers: tuple[str, ...]) -> dict[str, str]:
    found: dict[str, str] = {}
    for text in answers:
        name, sign, value = text.partition("=")
        if not sign:
            raise click.UsageError(f"--answer {text}: an answer is written NAME=VALUE")
        if name.strip() in found:
            raise click.UsageError(f"--answer {name.strip()} is given twice")
        found[name.strip()] = value
    return found


def _asked(questions: tuple[Question, ...], given: Mapping[str, str]) -> dict[str, str]:
    """Ask on the terminal for the answers that are not given, each until it can be read."""
    found = {}
    for i, question in enumerate(questions, start=1):
        if question.name in given:
            continue
        usual = question.usual or None
        hint = "" if usual else f", such as {question.example}"
        found[question.name] = click.prompt(
            f"{i}/{len(questions)} {question.asks}{hint}", default=usual, value_proc=_reader(question), err=True
        )
    return found


def _reader(question: Question) -> Callable[[str], str]:
    """Return the reader of an answer for ``click.prompt``, which asks again if the answer cannot be read."""

    def read(text: str) -> str:
        try:
            question.read(text.strip())
        except ValueError as wrong:
            raise click.UsageError(f"allowed: {wrong}") from wrong
        return text

    return read


def _not_there(target: str, *, force: bool) -> None:
    from trayopt.errors import InputError

    if target != "-" and not force and (Path(target).exists() or Path(target).is_symlink()):
        raise InputError.one("there is such a file already", source=target, hint="choose another name, or add --force")
