"""No two files of a batch import each other, not even inside of a function."""

from __future__ import annotations

import ast
from pathlib import Path

from networkx import DiGraph, simple_cycles

from trayopt import batches

ROOM = Path(str(batches.__file__)).parent


def test_no_circle_of_imports() -> None:
    arrows: DiGraph[str] = DiGraph()
    for path in ROOM.glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("trayopt.batches."):
                arrows.add_edge(path.stem, str(node.module).rpartition(".")[2])
    arrows.remove_edges_from([("cluster", "cluster")])  # its errand, which runs on another machine
    assert len(arrows) > 15
    assert list(simple_cycles(arrows)) == []
