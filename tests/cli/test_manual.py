"""The man page and the completion of the shell: made of the commands themselves."""

from __future__ import annotations

import os
import re
import subprocess
import sys

import click
import pytest

from tests.cli.run import ROOT, trayopt
from trayopt.cli import app
from trayopt.cli.manpage import man_page
from trayopt.formats.schema import KINDS


def commands(group: click.Group, before: str = "") -> dict[str, click.Command]:
    found: dict[str, click.Command] = {}
    context = click.Context(group)
    for name in group.list_commands(context):
        command = group.get_command(context, name)
        assert command is not None
        if isinstance(command, click.Group):
            found |= commands(command, f"{before}{name} ")
        else:
            found[f"{before}{name}"] = command
    return found


def test_the_man_page_has_every_command_and_every_option() -> None:
    page = trayopt("--man").stdout.replace("\\-", "-").replace("\\(dq", '"')
    heads = re.findall(r'^\.SS "(.+)"$', page, re.MULTILINE)
    parts = dict(zip(heads, re.split(r"^\.SS .+$", page, flags=re.MULTILINE)[1:], strict=True))
    expected = commands(app.group)
    assert [head.partition(" [")[0] for head in heads] == list(expected)
    for head, part in parts.items():
        command = expected[head.partition(" [")[0]]
        for option in command.params:
            if isinstance(option, click.Option) and not option.hidden:
                assert all(name in part for name in option.opts)
    assert ".SH EXIT STATUS\nExit codes: 0 yes, 1 no" in page


def test_the_man_page_is_valid_roff() -> None:
    """Every line is text or one of the requests that are known; none begins with a character that roff takes for itself."""
    for line in trayopt("--man").stdout.splitlines():
        assert re.match(r"(\.(TH|SH|SS|PP|TP|B)\b|[^.'])", line), line
        assert line.isascii()
        assert not re.search(r"\\(?![-e&]|\(dq|\[u[0-9A-F]{4,}\])", line), line


def test_text_that_roff_would_take_for_a_request_is_written_as_text() -> None:
    @click.group("x")
    def group() -> None:
        """Do a thing."""

    @group.command("y")
    @click.option("--file", help=".SH is 'no' \\request")
    def inner(file: str) -> None:
        """'Quoted' at the start."""
        del file

    page = man_page(group, "1")
    assert "\n\\&.SH is 'no' \\erequest\n" in page
    assert "\n\\&'Quoted' at the start.\n" in page


@pytest.mark.parametrize(
    ("words", "found"),
    [
        ("trayopt s", {"solve", "sheets", "schema"}),
        ("trayopt library ", {"list", "show", "validate"}),
        ("trayopt new --kind e", {"enclosure"}),
        ("trayopt solve --repr", {"--reproducible"}),
    ],
)
def test_the_shell_completes_commands_options_and_choices(words: str, found: set[str]) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "trayopt"],
        capture_output=True, text=True, check=True, cwd=ROOT,
        env={
            **os.environ, "PYTHONPATH": str(ROOT), "_TRAYOPT_COMPLETE": "bash_complete", "COMP_WORDS": words,
            "COMP_CWORD": str(words.count(" ")),
        },
    )  # fmt: skip
    assert {line.partition(",")[2] for line in done.stdout.splitlines()} == found


def test_the_help_of_schema_lists_every_kind() -> None:
    said = re.search(r"KIND is (.+?)\.", " ".join(trayopt("schema", "--help").stdout.split()))
    assert said is not None
    assert tuple(re.split(", | or ", said[1])) == KINDS
