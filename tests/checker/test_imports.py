"""A check loads neither the solver nor the graph library: it has to be quick."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

HEAVY = {"ortools", "networkx", "numpy", "pandas", "rich", "jinja2", "openpyxl"}


def test_check_loads_nothing_heavy() -> None:
    code = "import sys, trayopt.checker; print(' '.join(sorted({name.partition('.')[0] for name in sys.modules})))"
    root = Path(__file__).parents[2]
    answer = subprocess.run([sys.executable, "-c", code], cwd=root, capture_output=True, text=True, check=True)
    assert HEAVY.isdisjoint(answer.stdout.split())
