"""Assumed values of a file: a comment after such a value begins with the word "assumed"."""

from __future__ import annotations

import re
from pathlib import Path

from trayopt.formats.locate import Path as DataPath
from trayopt.formats.source import read_text
from trayopt.formats.yaml_in import MOST_BYTES, parse_yaml
from trayopt.library.starters.draft import ASSUMED, MEASURED

_COMMENT = re.compile(rf"\s#\s*({ASSUMED}|{MEASURED})\b")


def assumed(path: Path, base: DataPath = ()) -> frozenset[DataPath]:
    """Return the keys of a YAML file that comments call assumed. All keys below such a key are assumed, too.

    A key that its own comment calls measured is not assumed, even below an assumed key.

    Parameters
    ----------
    path
        The file.
    base
        The path of the part that is asked for; the keys in the result begin below it.

    Raises
    ------
    InputError
        If the file cannot be read.
    """
    return assumed_in(read_text(path, MOST_BYTES), str(path), base)


def assumed_in(text: str, source: str, base: DataPath = ()) -> frozenset[DataPath]:
    """Return the assumed keys of a YAML text, as ``assumed`` does; messages call the text ``source``."""
    lines = {i: note[1] for i, line in enumerate(text.splitlines(), start=1) if (note := _COMMENT.search(line))}
    if ASSUMED not in lines.values():
        return frozenset()
    keys = parse_yaml(text, source).keys
    said = {key[len(base) :]: lines[line] for key, (line, _) in keys.items() if line in lines and _below(key, base)}
    found = {key for key, word in said.items() if word == ASSUMED}
    measured = {key for key, word in said.items() if word == MEASURED}
    for key in [key for key in found if any(_below(other, key) for other in measured)]:
        found.discard(key)
        leaves = (other[len(base) :] for other in keys if _below(other, (*base, *key)))
        found.update(leaf for leaf in leaves if not any(leaf[: len(other)] == other for other in measured))
    return frozenset(key for key in found if not any(key[:end] in found for end in range(1, len(key))))


def _below(key: DataPath, base: DataPath) -> bool:
    return key[: len(base)] == base != key
