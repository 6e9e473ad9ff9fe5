"""Sweeps and batches for tests."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from textwrap import dedent

from trayopt.batches.batch import Options, run_batch
from trayopt.batches.manifest import read_manifest
from trayopt.batches.progress import Tally
from trayopt.batches.results import Results
from trayopt.batches.summary import Summary

PAIR = "trunks: [{id: N1, cable: central-tube-144}, {id: S1, cable: central-tube-144}]"


def write_sweep(path: Path, mixes: Sequence[str], *more: str, enclosures: str = "[wall-1x6]") -> Path:
    """Write a sweep of pairs of 144 under some names, and give its path."""
    lines = ["schema: trayopt/sweep/2", f"enclosures: {enclosures}", *map(dedent, more), "mixes:"]
    lines += [f"  - {{name: {mix}, {PAIR}}}" for mix in mixes]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def run(
    paths: Sequence[Path], folder: Path, *, work: str = "quick", tally: Tally | None = None, **options: object
) -> Summary:
    """Run a batch in which the workers do what a stub does."""
    made = Options(work=work if ":" in work else f"tests.batches.stubs:{work}", **{"workers": 2, **options})  # type: ignore[arg-type]
    return run_batch(read_manifest(paths), folder, made, tally or Tally())


def outcomes(folder: Path) -> dict[str, str]:
    """Give the outcome of every job, by the last part of its name."""
    return {line["name"].rpartition("/")[2]: line["outcome"] for line in Results(folder).lines()}
