"""The man page in roff, section 1, made from the help of every command."""

from __future__ import annotations

import re
from collections.abc import Iterator

import click

SETTINGS = {"help_option_names": ["-h", "--help"]}


def man_page(group: click.Group, version: str) -> str:
    """Return the man page of all commands."""
    root = click.Context(group, info_name=group.name, **SETTINGS)  # type: ignore[arg-type]
    lines = [
        f'.TH {_text(str(group.name).upper())} 1 "" "{_text(f"{group.name} {version}")}" "User commands"',
        ".SH NAME",
        f"{_text(f'{group.name} - {_plain(group.help)}')}",
        ".SH SYNOPSIS",
        f".B {_text(str(group.name))}",
        "COMMAND [OPTIONS] ...",
        ".SH COMMANDS",
    ]
    for name, command in _commands(group, root):
        lines += _command(name, command, root)
    lines += [".SH EXIT STATUS", _text(_plain(group.epilog))]
    return "\n".join(lines) + "\n"


def _commands(group: click.Group, context: click.Context, before: str = "") -> Iterator[tuple[str, click.Command]]:
    for name in group.list_commands(context):
        command = group.get_command(context, name)
        if isinstance(command, click.Group):
            yield from _commands(command, context, f"{before}{name} ")
        elif command is not None:
            yield f"{before}{name}", command


def _command(name: str, command: click.Command, root: click.Context) -> Iterator[str]:
    context = click.Context(command, info_name=name, parent=root)
    yield f'.SS "{_text(" ".join([name, *command.collect_usage_pieces(context)]))}"'
    for i, part in enumerate(re.split(r"\n\s*\n", (command.help or "").strip())):
        yield from ([".PP"] if i else [])
        yield _text(_plain(part))
    for option in command.get_params(context):
        record = option.get_help_record(context)
        if isinstance(option, click.Option) and record is not None:
            yield ".TP"
            yield f".B {_text(record[0])}"
            yield _text(_plain(record[1]))


def _plain(text: str | None) -> str:
    return " ".join((text or "").split())


def _text(text: str) -> str:
    """Escape text so that roff interprets no character of it."""
    made = text.replace("\\", "\\e").replace("-", "\\-").replace('"', "\\(dq")
    made = "".join(char if char.isascii() else f"\\[u{ord(char):04X}]" for char in made)
    return f"\\&{made}" if made.startswith((".", "'")) else made
