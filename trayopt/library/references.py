"""The places in a job file, or in an entry of the library, that name another file by its path."""

from __future__ import annotations

from collections.abc import Iterator

from trayopt.formats.locate import Path as DataPath
from trayopt.formats.yaml_edit import YamlFile

TABLES = (".csv", ".xlsx")


def references(file: YamlFile) -> Iterator[DataPath]:
    """Yield each place that names a file: a box, a set of tubes, a table of joins, a cable, a tray."""
    places: list[DataPath] = [("enclosure",), ("tubes",), ("joins",)]
    places += [("trunks", i, "cable") for i in range(_count(file, ("trunks",)))]
    for base in ((), ("enclosure",)):
        for i in range(_count(file, (*base, "stacks"))):
            stack: DataPath = (*base, "stacks", i)
            places.append((*stack, "tray"))
            places += [(*stack, "trays", j, "tray") for j in range(_count(file, (*stack, "trays")))]
    for path in places:
        value = file.get(path)
        if isinstance(value, str) and value.lower().endswith(TABLES if path == ("joins",) else ".yaml"):
            yield path


def _count(file: YamlFile, path: DataPath) -> int:
    found = file.get(path)
    return len(found) if isinstance(found, list) else 0
