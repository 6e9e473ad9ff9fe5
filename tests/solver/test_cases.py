"""Jobs on which the solver once went wrong, written out; each is compared with brute force."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.solver.tiny import agree

CASES = sorted((Path(__file__).parent / "cases").glob("*.json"))


@pytest.mark.parametrize("path", CASES, ids=lambda path: path.stem)
def test_case(path: Path) -> None:
    data = json.loads(path.read_text(encoding="utf-8"))
    for workers in (1, 8):
        agree(data, workers=workers)
