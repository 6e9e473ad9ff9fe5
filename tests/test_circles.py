"""No files of the package import each other in a circle: not inside of functions, nor for types alone."""

from __future__ import annotations

import grimp
import pytest
from networkx import DiGraph, strongly_connected_components

ERRAND = "trayopt.batches.cluster"
"""This file names itself to the machine that its errand runs on; it is no circle of imports."""


def circles(arrows: DiGraph[str]) -> list[list[str]]:
    """Give every largest set of files that reach each other."""
    rings = [sorted(files) for files in strongly_connected_components(arrows)]
    return sorted(ring for ring in rings if len(ring) > 1 or arrows.has_edge(ring[0], ring[0]))


@pytest.fixture(scope="module")
def arrows() -> DiGraph[str]:
    graph = grimp.build_graph("trayopt", cache_dir=None)
    found: DiGraph[str] = DiGraph()
    found.add_nodes_from(graph.modules)
    found.add_edges_from(
        (file, other) for file in graph.modules for other in graph.find_modules_directly_imported_by(file)
    )
    found.remove_edge(ERRAND, ERRAND)
    return found


def test_no_circle_of_files_in_the_whole_package(arrows: DiGraph[str]) -> None:
    assert len(arrows) > 400
    assert arrows.has_edge("trayopt", "trayopt.api")  # for types alone
    assert arrows.has_edge("trayopt.batches.batch", ERRAND)  # inside of a function
    assert circles(arrows) == []


@pytest.mark.parametrize("back", [("trayopt.version", "trayopt"), ("trayopt.api.reading", "trayopt.batches.run")])
def test_an_arrow_back_is_found(arrows: DiGraph[str], back: tuple[str, str]) -> None:
    bent = arrows.copy()
    bent.add_edge(*back)
    assert len(circles(bent)) == 1
