"""Runs the command line as a user does, and looks at what it loads."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

from tests.cli.preloaded import ROOT, server

__all__ = ["ROOT", "loaded", "trayopt"]


def trayopt(*arguments: str | Path, stdin: bytes = b"", cwd: Path | None = None) -> subprocess.CompletedProcess[str]:
    """Run ``trayopt`` in a process of its own, in which it is loaded already."""
    asked = list(map(str, arguments))
    environment = {**os.environ, "PYTHONPATH": str(ROOT), "COLUMNS": "80"}
    code, out, err = server().run(asked, stdin, cwd or ROOT, environment)
    return subprocess.CompletedProcess(asked, code, out.decode(), err.decode())


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
