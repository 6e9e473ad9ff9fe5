"""Read damaged files of each kind, and say what each costs: ``python -m tests.fuzz [--count N] [--first SEED] [KIND ...]``.

With ``--guided S`` each kind is read for S seconds with the damage that reaches new code kept and damaged further; it needs
``pip install atheris`` (a coverage-guided fuzzer for Python). The command ends with 1 where an answer is not as it should be,
a file takes more than 2 s of CPU time, or the process holds more than 500 MiB.
"""

from __future__ import annotations

import argparse
import resource
import subprocess
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

MOST_S, MOST_MIB = 2.0, 500.0
GUIDED_BY = ("formats", "library", "review", "batches", "domain", "certificate", "crewsheets", "cli")
"""Rooms whose code guides the damage: those that read files."""


def main(arguments: list[str] | None = None) -> int:
    """Read files of the kinds that are named, each kind in a process of its own."""
    made = argparse.ArgumentParser(prog="python -m tests.fuzz")
    made.add_argument("kinds", nargs="*", metavar="KIND")
    made.add_argument("--count", type=int, default=300, metavar="N", help="files a kind (300)")
    made.add_argument("--first", type=int, default=0, metavar="SEED", help="seed of the first file (0)")
    made.add_argument("--guided", type=int, metavar="S", help="seconds a kind, guided by the code that is reached")
    made.add_argument("--here", action="store_true", help=argparse.SUPPRESS)
    options = made.parse_args(arguments)
    if not options.here:
        return apart(options)
    (name,) = options.kinds
    return guided(name, options.guided) if options.guided else counted(name, options.first, options.count)


def apart(options: argparse.Namespace) -> int:
    """Start a process for each kind, one after the other."""
    from tests.fuzz.kinds import KINDS

    codes = []
    for name in options.kinds or KINDS:
        more = ["--guided", str(options.guided)] if options.guided else []
        given = ["--here", "--count", str(options.count), "--first", str(options.first), *more, name]
        codes.append(subprocess.run([sys.executable, "-m", "tests.fuzz", *given], check=False).returncode)
    return int(any(codes))


def counted(name: str, first: int, count: int) -> int:
    """Read so many files of a kind, and print how they ended."""
    from tests.fuzz.kinds import KINDS, files, read, wrong

    codes: Counter[int] = Counter()
    slowest, bad = (0.0, -1), 0
    with tempfile.TemporaryDirectory() as folder:
        for _, data in files(name, range(-3, 0)):  # modules are loaded, which is no cost of a file
            read(KINDS[name], data, Path(folder))
        for seed, data in files(name, range(first, first + count)):
            began = time.process_time()
            answer = read(KINDS[name], data, Path(folder))
            slowest = max(slowest, (time.process_time() - began, seed))
            codes[answer.code] += 1
            if wrong(answer):
                bad += 1
                print(f"{name}, seed {seed}: {wrong(answer)}")
    mib = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    ended = ", ".join(f"exit {code}: {codes[code]}" for code in sorted(codes))
    print(
        f"{name}: {count} files; {ended}; wrong: {bad}; slowest {slowest[0]:.2f} s (seed {slowest[1]}); peak {mib:.0f} MiB"
    )
    return int(bad > 0 or slowest[0] > MOST_S or mib > MOST_MIB)


def guided(name: str, seconds: int) -> int:
    """Let atheris damage files of a kind further, by the code of trayopt that they reach.

    Commands load most modules late, so some files are read before the end of the instrumentation.
    """
    import atheris

    with tempfile.TemporaryDirectory() as folder:
        with atheris.instrument_imports(include=[f"trayopt.{room}" for room in GUIDED_BY]):
            from tests.fuzz.kinds import KINDS, files, read, wrong

            for _, data in files(name, range(-20, 0)):
                read(KINDS[name], data, Path(folder))
        corpus = Path(folder, "corpus")
        corpus.mkdir()
        for seed, data in files(name, range(40)):
            (corpus / str(seed)).write_bytes(data)
        options = [str(corpus), f"-max_total_time={seconds}", "-max_len=20000", f"-timeout={MOST_S * 5:.0f}"]
        atheris.Setup([name, *options], lambda data: _hold(wrong(read(KINDS[name], data, Path(folder))), data))
        atheris.Fuzz()
    return 0


def _hold(said: str, data: bytes) -> None:
    if said:
        raise AssertionError(f"{said}\n{data[:2000]!r}")


if __name__ == "__main__":
    raise SystemExit(main())
