"""What of a file is only assumed: values with a comment behind them that begins with the word."""

from __future__ import annotations

import re
from pathlib import Path

from trayopt.formats.locate import Path as DataPath
from trayopt.formats.source import read_text
from trayopt.formats.yaml_in import MOST_BYTES, parse_yaml
from trayopt.library.starters.draft import ASSUMED

_COMMENT = re.compile(rf"\s#\s*{ASSUMED}\b")


def assumed(path: Path, base: DataPath = ()) -> frozenset[DataPath]:
    """Give the keys of a YAML file behind which a comment says that they are assumed; all below such a key is as well.

    Parameters
    ----------
    path
        The file.
    base
        The part of it that is asked for; the keys are told from there.

    Raises
    ------
    InputError
        Where the file cannot be read.
    """
    text = read_text(path, MOST_BYTES)
    lines = {i for i, line in enumerate(text.splitlines(), start=1) if _COMMENT.search(line)}
    if not lines:
        return frozenset()
    keys = parse_yaml(text, str(path)).keys
    found = {key[len(base) :] for key, (line, _) in keys.items() if line in lines and key[: len(base)] == base != key}
    return frozenset(key for key in found if not any(key[:end] in found for end in range(1, len(key))))
