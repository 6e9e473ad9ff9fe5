"""``trayopt schema``: print the JSON Schema of a kind of file."""

from __future__ import annotations

import click

from trayopt.cli.common import common
from trayopt.cli.completing import kinds
from trayopt.cli.output import Output


@click.command("schema", short_help="Print the JSON Schema of a kind of file.")
@click.argument("kind", metavar="KIND", shell_complete=kinds)
@common
def command(output: Output, kind: str) -> None:
    """Print the JSON Schema (draft 2020-12) of a KIND of file, for editors and for other programs.

    KIND is tray, enclosure, cable, tubes, job, plan, certificate, explanation or sweep.
    """
    from trayopt.api import json_schema
    from trayopt.formats.json_out import dump

    output.write(dump(json_schema(kind)))
