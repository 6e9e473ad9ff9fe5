"""The generated parts of README.md: the help of every command, the rules, the exit codes. Run by cog.

As a program it draws the pictures that README.md shows: python .ci/readme.py
"""

from __future__ import annotations

import sys
from pathlib import Path

import click

sys.path.insert(0, str(Path(__file__).parents[1]))

from trayopt.api import load_job, solve
from trayopt.cli.app import group
from trayopt.cli.exitcodes import MEANING
from trayopt.crewsheets.write import Sheets
from trayopt.pictures.svg import svg_file
from trayopt.rules.registry import RULES

WIDTH = 92
EVERYWHERE = {"library", "format_", "quiet", "verbose"}
"""Options that every command takes; the README describes them once."""


ROOT = Path(__file__).parents[1]
PLANNED = ROOT / "models" / "standard" / "2x432-wall-1x6-two-loops.yaml"
"""The job whose plan README.md shows."""
PICTURES = ROOT / ".readme"


def pictures() -> dict[Path, str]:
    """Draw the box of the plan that README.md shows, from the front and from the side."""
    job = load_job(PLANNED)
    drawn = Sheets(job, solve(job, reproducible=True).plan).pictures
    return {PICTURES / f"{name}.svg": svg_file(drawn[name]) for name in ("front", "side")}


def commands() -> None:
    """Print the help of every command."""
    context = click.Context(group, info_name="trayopt")
    print("```text")
    for name in group.list_commands(context):
        command = group.get_command(context, name)
        if command is not None:
            _help(command, f"trayopt {name}")
    print("```")


def _help(command: click.Command, name: str) -> None:
    if isinstance(command, click.Group):
        for inner in command.commands.values():
            _help(inner, f"{name} {inner.name}")
        return
    settings = {"terminal_width": WIDTH, "max_content_width": WIDTH, "help_option_names": ["-h", "--help"]}
    command.params = [option for option in command.params if option.name not in EVERYWHERE]
    context = click.Context(command, info_name=name, **settings)
    print(command.get_help(context).rstrip())
    print()


def rules() -> None:
    """Print the table of rules."""
    print("| rule | kind | default | broken when (subject) | why | source |")
    print("|---|---|---|---|---|---|")
    for rule in RULES:
        name = f"`{rule.id}`" if rule.kind != "always" else rule.name
        default = "" if rule.kind == "always" else rule.level
        if default == "prefer" or (default and rule.weight > 1):
            default += f" {rule.weight}"
        values = rule.Parameters().model_dump()
        given = "; " + ", ".join(f"{key} {value}" for key, value in values.items()) if values else ""
        row = (name, rule.kind, f"{default}{given}", f"{rule.statement} ({rule.subject})", rule.why, rule.source)
        print(f"| {' | '.join(row)} |")


def exits() -> None:
    """Print the table of exit codes."""
    print("| exit | meaning |")
    print("|---|---|")
    for code, meaning in MEANING.items():
        print(f"| {code.value} | {meaning} |")


if __name__ == "__main__":
    PICTURES.mkdir(exist_ok=True)
    for path, text in pictures().items():
        path.write_text(text, encoding="utf-8")
