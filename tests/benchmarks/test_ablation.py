"""The table of what each part of the search earns names the parts that there are."""

from __future__ import annotations

import re
from pathlib import Path

from trayopt.solver.search.parts import PARTS

README = Path(__file__).parents[2] / "benchmarks" / "README.md"


def test_the_table_has_a_row_for_every_part_and_for_no_other() -> None:
    section = README.read_text(encoding="utf-8").partition("## Ablation")[2].partition("\n## ")[0]
    table = section[section.index("kept, because") :]
    assert re.findall(r"^\| (\w+) \|", table, re.MULTILINE) == list(PARTS)
