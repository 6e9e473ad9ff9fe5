"""``trayopt library``: show and check the trays, enclosures, cables and tubes to which jobs refer."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from trayopt.cli.common import common
from trayopt.cli.completing import FILE, entries
from trayopt.cli.exitcodes import Exit
from trayopt.cli.output import Output, columns, table
from trayopt.rules.words import several

if TYPE_CHECKING:
    from trayopt.library.entries import Entry

KINDS = ("tray", "enclosure", "cable", "tubes")
_KIND = click.option("--kind", type=click.Choice(KINDS), help="Only entries of one kind.")


@click.group("library", short_help="List, show and validate the entries that jobs refer to.")
def command() -> None:
    """List, show and check the trays, enclosures, cables and sets of tubes to which jobs refer by their id.

    They come from the folders given with --library, and then from the models that come with trayopt.
    """


@command.command("list")
@_KIND
@click.option(
    "--html", metavar="FILE", type=FILE, help="Write one page with a picture of each entry; it needs no other file."
)
@common
def list_(output: Output, kind: str | None, html: str | None) -> None:
    """List the entries: kind, id and main figures."""
    from trayopt.api import hardware_page, library_survey
    from trayopt.formats.json_out import write_whole

    found = library_survey(output.library)
    entries = _in_use(found.entries, kind)
    for fault in found.errors:
        output.warn(str(fault))
    if html is not None:
        write_whole(html, hardware_page(entries, found.warnings))
        if html == "-":
            return
        output.note(f"{html}: {several(len(entries), 'entry', 'entries')}")
    output.answer(
        lambda: [_row(entry) for entry in entries],
        lambda: table(
            ("kind", "id", "what it is"),
            [(entry.kind, entry.model.id, entry.summary) for entry in entries],
            width=columns(),
        ),
        lambda: "\n".join(entry.model.id for entry in entries),
    )


@command.command("show")
@click.argument("id_", metavar="ID", shell_complete=entries)
@_KIND
@click.option(
    "--picture", metavar="FILE", type=FILE, help="Draw it in SVG, with names and sizes; assumed values are marked."
)
@common
def show(output: Output, id_: str, kind: str | None, picture: str | None) -> None:
    """Show the entry with an ID: its file as it is, or as JSON with its references resolved.

    ID may also be a file ending in .yaml: an entry, or with --picture a job, whose box is drawn with its trunks.
    """
    from trayopt.api import hardware_picture, library_entries
    from trayopt.formats.json_out import write_whole

    if picture is not None:
        write_whole(picture, hardware_picture(id_, kind, output.library))
        if picture != "-":
            output.answer(lambda: {"written": picture}, lambda: f"{picture} written", lambda: picture)
        return
    for entry in library_entries(id_, kind, output.library):
        output.note(f"{entry.kind} {entry.model.id}: {entry.path}")
        output.answer(
            lambda entry=entry: entry.model.model_dump(mode="json", exclude_none=True),  # type: ignore[misc]
            lambda entry=entry: entry.path.read_text(encoding="utf-8"),  # type: ignore[misc]
        )


@command.command("validate")
@click.argument("files", metavar="[FILE]...", nargs=-1, type=click.Path(exists=True, dir_okay=False, path_type=Path))
@common
def validate(output: Output, files: tuple[Path, ...]) -> int:
    """Check that hardware can be built as described: every entry of the library, or the FILEs that are named.

    A FILE may also be a job, which is read with everything that it uses.

    Errors, such as trays that stand in the way of the track, end in exit code 1; unusual sizes are warnings.
    """
    from trayopt.api import library_survey

    found = library_survey(output.library, files or None)
    lines = [f"error    {fault}" for fault in found.errors] + [f"warning  {fault}" for fault in found.warnings]
    errors, warnings = several(len(found.errors), "error"), several(len(found.warnings), "warning")
    head = f"{several(found.files, 'file')}: {errors}, {warnings}"
    output.answer(
        lambda: {
            "files": found.files,
            "errors": [fault.as_dict() for fault in found.errors],
            "warnings": [fault.as_dict() for fault in found.warnings],
        },
        lambda: "\n".join([*lines, head]),
        lambda: head,
    )
    return Exit.NO if found.errors else Exit.YES


def _in_use(entries: list[Entry], kind: str | None) -> list[Entry]:
    """Return the first entry of each kind and id, sorted by kind, then id."""
    first: dict[tuple[str, str], Entry] = {}
    for entry in entries:
        if kind in {None, entry.kind}:
            first.setdefault((entry.kind, entry.model.id), entry)
    return sorted(first.values(), key=lambda entry: (KINDS.index(entry.kind), entry.model.id))


def _row(entry: Entry) -> dict[str, Any]:
    return {"kind": entry.kind, "id": entry.model.id, "summary": entry.summary, "path": str(entry.path)}
