"""What a hand-made table of 100,000 rows takes: CPU time of a whole check, against what other programs take to read it alone.

    python -m benchmarks.tables [--rounds N] [--rows N]

The tables are made of the splices of 2 x 6,912 fibres as our own sheets list them, fibre by fibre: all columns (*wide*) or 4
of them (*narrow*), said again until there are so many rows. Each row is right (*again*), or in a stack that there is not
(*stack*), or in another stack that there is not (*stacks*). Prints seconds of CPU time, the least of the rounds, and ratios to a
baseline in the same round: for CSV the csv module of Python, for workbooks openpyxl. Both read every cell and do nothing with
it. In a round they take turns, so that a load that others put on the machine falls on both alike.
"""

from __future__ import annotations

import argparse
import csv
import json
import os
import statistics
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Sequence
from io import StringIO
from pathlib import Path

from openpyxl import Workbook

from tests.crewsheets.plans import straight
from trayopt.crewsheets.tables import csv_text
from trayopt.crewsheets.write import Options, Sheets

ROOT = Path(__file__).parents[1]
JOB = "2x6912-cabinet-4x24"
LEAST = 6_912
NARROW = ("A fibres", "B fibres", "tray", "sleeve")
READ_CSV = "import csv, sys; sum(map(len, csv.reader(open(sys.argv[1], newline=''))))"
READ_XLSX = (
    "import sys, openpyxl; sheet = openpyxl.load_workbook(sys.argv[1], read_only=True).worksheets[0]; "
    "sum(map(len, sheet.iter_rows(values_only=True)))"
)
Row = list[str]


def spent(command: Sequence[str]) -> float:
    """Run a process to its end; seconds of CPU time. A table that fails is an answer too."""
    process = subprocess.Popen(
        command,
        cwd=ROOT,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
    )
    error = process.stderr.read() if process.stderr is not None else b""
    _, status, usage = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode not in {0, 1, 2} or b"Traceback" in error:
        raise SystemExit(f"{' '.join(command[-2:])}: exit code {process.returncode}: {error.decode()}")
    return usage.ru_utime + usage.ru_stime


def tables(count: int) -> Iterator[tuple[str, Row, list[Row]]]:
    """Give the tables: name, headers and rows."""
    sheets = Sheets(*straight(JOB), Options())
    text = csv_text(sheets.tables["fibres"], sheets.tell.words, sheets.options.units)
    head, *body = csv.reader(StringIO(text))
    long = [body[i % len(body)] for i in range(count)]
    tray, few = head.index("tray"), [head.index(name) for name in NARROW]
    yield "wide, again", head, long
    yield "wide, stack", head, [[*row[:tray], f"lefty{row[tray][-3:]}", *row[tray + 1 :]] for row in long]
    narrow = [[row[i] for i in few] for row in long]
    yield "narrow, again", list(NARROW), narrow
    yield "narrow, stacks", list(NARROW), [[a, b, f"st{i}/3", sleeve] for i, (a, b, _, sleeve) in enumerate(narrow)]


def written(folder: Path, count: int) -> Iterator[tuple[str, Path, str]]:
    """Write the tables, some of them as workbooks too; give name, file and what its baseline runs."""
    for name, head, rows in tables(count):
        path = folder / f"{name.replace(', ', '-')}.csv"
        with path.open("w", newline="") as out:
            csv.writer(out).writerows([head, *rows])
        yield name, path, READ_CSV
        if name.endswith("again"):
            book = Workbook(write_only=True)
            sheet = book.create_sheet("plan")
            for row in (head, *rows):
                sheet.append([int(cell) if cell.isdigit() else cell for cell in row])
            book.save(path.with_suffix(".xlsx"))
            yield f"{name}, workbook", path.with_suffix(".xlsx"), READ_XLSX


def main() -> None:
    """Print seconds and ratios."""
    parser = argparse.ArgumentParser(
        description="CPU time of a check of long tables, and ratios to reading them alone."
    )
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--rows", type=int, default=100_000)
    asked = parser.parse_args()
    if asked.rows <= LEAST:
        parser.error(f"more than {LEAST:,} rows: else nothing is said again, and what is open is searched for as well")
    job = str(ROOT / "models" / "standard" / f"{JOB}.yaml")
    found = {}
    with tempfile.TemporaryDirectory() as name:
        for table, path, baseline in list(written(Path(name), asked.rows)):
            rounds = [
                (
                    spent([sys.executable, "-m", "trayopt", "check", job, str(path)]),
                    spent([sys.executable, "-c", baseline, str(path)]),
                )
                for _ in range(asked.rounds)
            ]
            found[table] = {
                "cpu_s": round(min(ours for ours, _ in rounds), 2),
                "ratio": round(statistics.median(ours / alone for ours, alone in rounds), 2),
            }
    machine = {"cores": os.cpu_count(), "load": round(os.getloadavg()[0], 1)}
    print(json.dumps({"rows": asked.rows, "rounds": asked.rounds, "machine": machine, "tables": found}, indent=2))


if __name__ == "__main__":
    main()
