"""Runs the command line as a user does, and looks at what it loads."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[2]


def trayopt(*arguments: str | Path, stdin: bytes = b"", cwd: Path | None = None) -> subprocess.CompletedProcess[str]:
    """Run ``trayopt`` in a process of its own."""
    done = subprocess.run(
        [sys.executable, "-m", "trayopt", *map(str, arguments)],
        input=stdin,
        capture_output=True,
        check=False,
        cwd=cwd or ROOT,
        env={**os.environ, "PYTHONPATH": str(ROOT), "COLUMNS": "80"},
    )
    return subprocess.CompletedProcess(done.args, done.returncode, done.stdout.decode(), done.stderr.decode())


def loaded(*arguments: str | Path) -> set[str]:
    """Give the top-level packages that a run of ``trayopt`` has loaded."""
    code = (
        "import sys\n"
        "from trayopt.cli import main\n"
        "try:\n"
        "    main(sys.argv[1:])\n"
        "except SystemExit:\n"
        "    pass\n"
        "sys.stderr.write('\\n' + ' '.join({name.partition('.')[0] for name in sys.modules}))\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, *map(str, arguments)],
        capture_output=True,
        check=True,
        cwd=ROOT,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )
    return set(done.stderr.decode().splitlines()[-1].split())
