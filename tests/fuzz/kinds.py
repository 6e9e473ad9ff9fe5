"""The kinds of file that trayopt reads: a sound one of each, how it is damaged, and the command that reads it."""

from __future__ import annotations

import contextlib
import csv
import io
import json
import random
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any, NamedTuple

import click

from tests.fuzz.damage import as_csv, as_workbook, in_cells, in_text, in_tree
from trayopt.cli.app import group
from trayopt.cli.exitcodes import Exit
from trayopt.formats.yaml_in import parse_yaml

ROOT = Path(__file__).parents[2]
MODELS = ROOT / "models"
JOB = MODELS / "standard" / "worked-example.yaml"
LOST = re.compile(r"no such file|no permission|is a folder|is a pipe|too long for a file|no NUL|in a circle")
WHOLE = re.compile(
    r"made for another job|is empty|is not UTF-8|too large|not an XLSX|no table|cannot be read|damaged|nothing in it|"
    r"no sheet|no row|holds no|no header"
)
"""What is said of a file as a whole, which has no place in it."""

Reading = tuple[str, ...]


class Answer(NamedTuple):
    """How a command ended, and the faults that it named."""

    code: int
    faults: list[dict[str, Any]]
    said: str


@dataclass(frozen=True)
class Kind:
    """One kind of file.

    Attributes
    ----------
    suffix
        Of the file's name.
    damaged
        Makes a damaged file.
    command
        The arguments that read ``FILE``; ``OUT`` is a folder to write to.
    name
        Of the file, without its suffix: an entry has its id as its name.
    """

    suffix: str
    damaged: Callable[[random.Random], bytes]
    command: Reading
    name: str = "file"


@cache
def made() -> Path:
    """Write a plan of the worked example, its sheets and a hand-made table into a folder that lasts for the process."""
    import atexit
    import tempfile

    holder = tempfile.TemporaryDirectory()
    atexit.register(holder.cleanup)
    folder = Path(holder.name)
    run("solve", str(JOB), "-o", str(folder / "plan.json"), "--reproducible", "-q")
    run("solve", str(JOB), "--certificate", str(folder / "certificate.json"), "--reproducible", "-q")
    run("sheets", str(JOB), str(folder / "plan.json"), "-o", str(folder / "sheets"), "-q")
    (folder / "table.csv").write_text(
        "trunk,fibres,stack,position,port,travel,loops,divide_at,end,cut,built\n"
        "P,1-24,left,1,bl,clockwise,1,tray,top,2600,\nP,25-48,left,2,,,,,top,2650,\n"
        "Q,1-24,left,1,br,counterclockwise,1,tray,top,,\nQ,25-48,left,2,,,,,top,,\n",
        encoding="utf-8",
    )
    (folder / "joins.csv").write_text("a,b,name\nP:1-24,Q:1-24,east\nP:25-48,Q:25-48,west\n", encoding="utf-8")
    return folder


def tree_of(path: Path) -> Any:
    """Read a YAML or JSON file as lists and mappings."""
    return json.loads(json.dumps(parse_yaml(path.read_text(encoding="utf-8"), path.name).data))


def rows_of(path: Path) -> list[list[str]]:
    """Read the rows of a table."""
    return list(csv.reader(io.StringIO(path.read_text(encoding="utf-8"))))


def trees(*paths: Callable[[], Path]) -> Callable[[random.Random], bytes]:
    """Damage one of some files by its grammar, or as text."""

    def damaged(rng: random.Random) -> bytes:
        path = rng.choice(paths)()
        if rng.random() < 0.35:
            return in_text(rng, path.read_bytes())
        data = json.dumps(in_tree(rng, tree_of(path)), ensure_ascii=rng.random() < 0.5, indent=rng.choice((None, 1)))
        return data.encode("utf-8", "surrogatepass")

    return damaged


def tables(*paths: Callable[[], Path], workbook: bool = False) -> Callable[[random.Random], bytes]:
    """Damage one of some tables by its cells, or as text or as a packed file."""

    def damaged(rng: random.Random) -> bytes:
        path = rng.choice(paths)()
        if workbook:
            return as_workbook(rng, in_cells(rng, rows_of(path)))
        if rng.random() < 0.3:
            return in_text(rng, path.read_bytes())
        return as_csv(rng, in_cells(rng, rows_of(path)))

    return damaged


def _made(name: str) -> Callable[[], Path]:
    return lambda: made() / name


def _models(*names: str) -> list[Callable[[], Path]]:
    return [lambda name=name: MODELS / name for name in names]  # type: ignore[misc]


def _job_with_joins(rng: random.Random) -> bytes:
    return tables(_made("joins.csv"))(rng)


PLAN = "PLAN"
JOBS = ("worked-example", "taps-of-48-wall-2x10", "2x576-pinned-wall-2x6")
SWEEPS = ("standard/sweeps/trays.yaml", "standard/sweeps/rules.yaml")
HARDWARE = ("library", "show", "FILE")
CHECK = ("check", "JOB", "FILE", "--no-best")
SHEETS = ("sheets", "JOB", PLAN, "-o", "OUT")
KINDS: dict[str, Kind] = {
    "job": Kind(
        ".yaml",
        trees(*_models(*(f"standard/{name}.yaml" for name in JOBS))),
        ("check", "FILE", PLAN, "--no-best"),
    ),
    "joins": Kind(".csv", _job_with_joins, ("check", "JOINED", PLAN, "--no-best")),
    "enclosure": Kind(".yaml", trees(*_models("enclosures/wall-2x6.yaml")), HARDWARE, "wall-2x6"),
    "tray": Kind(".yaml", trees(*_models("trays/ribbon-72.yaml")), HARDWARE, "ribbon-72"),
    "cable": Kind(".yaml", trees(*_models("cables/ribbon-432-mixed.yaml")), HARDWARE, "ribbon-432-mixed"),
    "tubes": Kind(".yaml", trees(*_models("tubes/mesh-set.yaml")), HARDWARE, "mesh-set"),
    "plan": Kind(".json", trees(_made("plan.json")), CHECK),
    "certificate": Kind(
        ".json", trees(_made("certificate.json")), ("check", "JOB", PLAN, "--certificate", "FILE", "--no-best")
    ),
    "sweep": Kind(".yaml", trees(*_models(*SWEEPS)), ("batch", "FILE", "--list")),
    "settings": Kind(".yaml", trees(_made("sheets/settings.yaml")), (*SHEETS, "--only", "labels", "--settings", "FILE")),
    "table": Kind(".csv", tables(_made("table.csv"), _made("sheets/splices.csv")), CHECK),
    "workbook": Kind(".xlsx", tables(_made("table.csv"), workbook=True), CHECK),
    "measured": Kind(".csv", tables(_made("sheets/marks.csv")), (*SHEETS, "--only", "strip", "--measured", "FILE")),
    "readings": Kind(".csv", tables(_made("sheets/tests.csv")), ("record", "JOB", PLAN, "FILE")),
    "readings workbook": Kind(".xlsx", tables(_made("sheets/tests.csv"), workbook=True), ("record", "JOB", PLAN, "FILE")),
}  # fmt: skip


def run(*arguments: str) -> Answer:
    """Run a command inside of this process, and give its exit code and the faults of its input."""
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        try:
            code = group.main(list(arguments), prog_name="trayopt", standalone_mode=False)
        except click.ClickException as wrong:
            return Answer(Exit.INPUT, [{"source": "usage", "line": 1, "message": wrong.format_message()}], "")
    said = err.getvalue()
    at = said.find('{"errors"')
    at = said.find("{\n") if at < 0 else at
    faults = json.loads(said[at:])["errors"] if code == Exit.INPUT and at >= 0 else []
    if code == Exit.INPUT and not faults and out.getvalue():
        # a review of a damaged table answers with its findings: what is damaged stands there with its cells
        found = json.loads(out.getvalue())["findings"]
        faults = [_as_fault(item) for item in found if item["level"] == "damage"]
    return Answer(int(code or 0), faults, said)


def _as_fault(finding: dict[str, Any]) -> dict[str, Any]:
    where = ", ".join(map(str, (*finding["cells"], *finding["rows"])))
    return {"source": "table", "line": 0, "where": where, "message": finding["found"]}


def read(kind: Kind, data: bytes, folder: Path) -> Answer:
    """Write a file of a kind, and run the command that reads it."""
    path = folder / f"{kind.name}{kind.suffix}"
    path.write_bytes(data)
    joined = folder / "joined.yaml"
    if "JOINED" in kind.command:
        head, _, tail = JOB.read_text(encoding="utf-8").partition("joins:\n")
        rest = tail.partition("rules:")[2]
        joined.write_text(f"{head}joins: {path.name}\nrules:{rest}", encoding="utf-8")
    words = {
        "FILE": str(path), "OUT": str(folder / "out"), "JOB": str(JOB), "JOINED": str(joined), PLAN: str(made() / "plan.json"),
    }  # fmt: skip
    return run(*(words.get(word, word) for word in kind.command), "--format", "json")


def wrong(answer: Answer) -> str:
    """Say what an answer to a damaged file must not be; empty where it is as it should be."""
    if answer.code not in {Exit.YES, Exit.NO, Exit.INPUT}:
        return f"exit {answer.code}: {answer.said[-400:]}"
    if "Traceback" in answer.said:
        return "a traceback"
    if answer.code == Exit.INPUT:
        if not answer.faults:
            return f"exit 2 without a fault: {answer.said[-400:]}"
        for fault in answer.faults:
            if not (
                fault["line"]
                or fault["where"]
                or fault["source"] == "usage"
                or WHOLE.search(fault["message"])
                or LOST.search(fault["message"])
            ):
                return f"no place: {fault}"
            if not fault["message"].isprintable():
                return f"a message that moves the cursor: {fault['message']!r}"
    return ""


def files(name: str, seeds: Sequence[int]) -> list[tuple[int, bytes]]:
    """Make damaged files of a kind, each from its seed."""
    return [(seed, KINDS[name].damaged(random.Random(f"{name} {seed}"))) for seed in seeds]
