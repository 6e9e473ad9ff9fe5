"""What is said of rules stands on the rules: outside ``rules/`` nothing knows a rule by its id."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import trayopt
from trayopt.rules.registry import BY_ID

PACKAGE = Path(trayopt.__file__).parent
OTHER_WORDS = {
    "crewsheets/hands.py": {"reach"},  # a kind of trouble
    "crewsheets/html.py": {"exposed"},  # columns of the strip list
    "crewsheets/lists/materials.py": {"breakout"},  # a kit
    "crewsheets/lists/strip.py": {"exposed"},
    "crewsheets/trouble.py": {"reach"},
    "desk/edits.py": {"apart"},  # a key of job files
    "domain/former.py": {
        "breakout",
        "no_empty_below",
        "tied_trays",
    },  # what files of format 1 call otherwise or do not know
    "explainer/adding.py": {"exposed"},  # a way out: expose more of a trunk
    "explainer/way_words.py": {"exposed"},
    "library/crossref.py": {"apart"},  # a key of job files
    "library/job.py": {"apart"},
    "library/starters/trays.py": {"entrance_legs"},  # a key of trays
    "pictures/hardware.py": {"entrance_legs"},
    "review/cells.py": {"breakout"},  # where a trunk is divided, in a table
    "review/picture.py": {"pin"},  # a kind of subject
    "review/remarks.py": {"pin"},  # a kind of subject
    "review/trials.py": {"pin"},
    "solver/model/groups.py": {"pin"},
    "track/lengths.py": {"exposed"},  # whose parameters they are
}
"""Words of a job file, a table or a kind of subject that are the id of a rule as well."""
CERTIFICATES = "certificate/"
"""Says what rules ask a second time, from their statements, and so by their names."""
OF_BUILT_PINS = ("library/built.py", "library/built_ways.py")
"""Say of built pins, before there are rules on its floor, which physical rule each clashes with; what they do not name is found
by solving."""


def texts(tree: ast.AST) -> Iterator[str]:
    """Give every string of a file but its docstrings."""
    prose = {
        id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)
    }
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in prose:
            yield node.value


def ids_in(text: str) -> set[str]:
    """Give the ids that a string is or, where they are no plain words, that it holds."""
    return {id_ for id_ in BY_ID if text == id_ or ("_" in id_ and re.search(rf"\b{id_}\b", text))}


def test_no_rule_is_known_by_its_id_outside_the_rules() -> None:
    found = {}
    for path in sorted(PACKAGE.rglob("*.py")):
        name = path.relative_to(PACKAGE).as_posix()
        if not name.startswith(("rules/", CERTIFICATES)) and name not in OF_BUILT_PINS:
            known = {id_ for text in texts(ast.parse(path.read_text(encoding="utf-8"))) for id_ in ids_in(text)}
            if known:
                found[name] = known
    assert found == OTHER_WORDS


def test_ids_are_found_in_strings_and_messages_and_not_in_prose() -> None:
    tree = ast.parse('"""Of reach."""\nx = "reach"\ny = f"too full (tray_fibres) {x}"\nz = "out of reach"\n')
    assert sorted(id_ for text in texts(tree) for id_ in ids_in(text)) == ["reach", "tray_fibres"]
