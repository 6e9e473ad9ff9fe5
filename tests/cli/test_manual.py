"""The man page and the completion of the shell: made of the commands themselves."""

from __future__ import annotations

import os
import pty
import re
import select
import subprocess
import sys
from pathlib import Path

import click
import pytest

from tests.cli.run import ROOT, trayopt
from trayopt.cli import app
from trayopt.cli.manpage import man_page
from trayopt.formats.schema import KINDS
from trayopt.library.find import shipped


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


def completed(words: str, cwd: Path = ROOT) -> list[tuple[str, str]]:
    """Return what the shell is told after some words: kind and text of each."""
    done = subprocess.run(
        [sys.executable, "-m", "trayopt"],
        capture_output=True, text=True, check=True, cwd=cwd,
        env={
            **os.environ, "PYTHONPATH": str(ROOT), "_TRAYOPT_COMPLETE": "bash_complete", "COMP_WORDS": words,
            "COMP_CWORD": str(words.count(" ")),
        },
    )  # fmt: skip
    return [(kind, text) for kind, _, text in (line.partition(",") for line in done.stdout.splitlines())]


@pytest.mark.parametrize(
    ("words", "found"),
    [
        ("trayopt s", {"solve", "sheets", "schema"}),
        ("trayopt library ", {"list", "show", "validate"}),
        ("trayopt new --kind e", {"enclosure"}),
        ("trayopt solve --repr", {"--reproducible"}),
        ("trayopt library show wall-3", {"wall-3x12", "wall-3x8"}),
        ("trayopt library show --kind tubes me", {"mesh-set"}),
        ("trayopt schema e", {"enclosure", "explanation"}),
    ],
)
def test_the_shell_completes_commands_options_choices_and_entries(words: str, found: set[str]) -> None:
    assert {text for kind, text in completed(words) if kind == "plain"} == found


def test_an_entry_of_an_own_folder_is_completed_and_a_file_where_no_id_fits(tmp_path: Path) -> None:
    (tmp_path / "mine").mkdir()
    tray = (shipped() / "trays" / "ribbon-24.yaml").read_text(encoding="utf-8").replace("id: ribbon-24", "id: zz")
    (tmp_path / "mine" / "zz.yaml").write_text(tray, encoding="utf-8")
    assert completed("trayopt library show --library mine z", tmp_path) == [("plain", "zz")]
    assert completed("trayopt library show --library gone z", tmp_path) == [("file", "z")]
    assert completed("trayopt library show ./mine/z", tmp_path) == [("file", "./mine/z")]


def test_every_file_and_every_folder_is_left_to_the_shell() -> None:
    """Also where a command takes it by an option: what its help calls a file is completed as one, DIR as a folder."""
    for name, command in commands(app.group).items():
        for parameter in command.params:
            words = str(parameter.metavar or "").strip("[].").split()
            kind = "dir" if words == ["DIR"] else "file"
            if not {"FILE", "PLAN", "TABLE", "DIR", "JOB", "READINGS", "PATH"} & set(words):
                continue
            found = parameter.shell_complete(click.Context(command), "x")
            assert [(item.type, item.value) for item in found] == [(kind, "x")], f"{name} {parameter.name}"


@pytest.mark.parametrize(
    ("typed", "becomes"),
    [
        ("trayopt sol", "trayopt solve "),
        ("trayopt library show wall-2x1", "trayopt library show wall-2x10 "),
        ("trayopt solve --time", "trayopt solve --time-limit "),
        ("trayopt check yard-j", "trayopt check yard-job.yaml "),
        ("trayopt solve yard-job.yaml -o pl", "trayopt solve yard-job.yaml -o plan.json "),
        ("trayopt sheets yard-job.yaml plan.json -o pr", "trayopt sheets yard-job.yaml plan.json -o prints/"),
    ],
)
def test_a_tab_in_a_real_shell_completes_as_documented(tmp_path: Path, typed: str, becomes: str) -> None:
    """The script of README.md is sourced in bash, a line is typed with a tab, and the shell shows what became of it."""
    for name in ("yard-job.yaml", "plan.json"):
        (tmp_path / name).touch()
    (tmp_path / "prints").mkdir()
    script = tmp_path / "bin" / "trayopt"
    script.parent.mkdir()
    script.write_text(f'#!/bin/sh\nexec {sys.executable} -m trayopt "$@"\n', encoding="utf-8")
    script.chmod(0o755)
    env = {
        **os.environ,
        "PATH": f"{script.parent}:{os.environ['PATH']}",
        "PYTHONPATH": str(ROOT),
        "TERM": "dumb",
        "PS1": "",
    }
    main, side = pty.openpty()
    with subprocess.Popen(
        ["bash", "--norc", "--noprofile", "-i"], stdin=side, stdout=side, stderr=side, cwd=tmp_path, env=env,
        start_new_session=True,
    ) as shell:  # fmt: skip
        os.close(side)
        os.write(
            main, b"bind 'set bell-style none'; PS1=; eval \"$(_TRAYOPT_COMPLETE=bash_source trayopt)\"; echo rea''dy\n"
        )
        read_until(main, "ready\r\n")
        os.write(main, f"{typed}\t".encode())
        shown = read_until(main, becomes)
        shell.kill()
    os.close(main)
    assert becomes in shown


def read_until(terminal: int, text: str) -> str:
    """Read what a terminal shows until it shows a text, or says nothing for a minute."""
    shown = ""
    while text not in shown and select.select([terminal], [], [], 60)[0]:
        shown += os.read(terminal, 4096).decode()
    return shown


def test_the_help_of_schema_lists_every_kind() -> None:
    said = re.search(r"KIND is (.+?)\.", " ".join(trayopt("schema", "--help").stdout.split()))
    assert said is not None
    assert tuple(re.split(", | or ", said[1])) == KINDS
