"""Values of an entry that are only assumed, and how a picture names them."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from itertools import groupby

from trayopt.domain.cable import Cable
from trayopt.domain.hardware import Enclosure, Tray, TubeSet

Model = Tray | Enclosure | Cable | TubeSet
DataPath = tuple[str | int, ...]
MARK = "*"
"""The mark after a name or a figure that is only assumed."""


@dataclass(frozen=True)
class Doubts:
    """The values of an entry that are only assumed, by their paths, as its file says."""

    paths: Collection[DataPath] = ()

    def of(self, *path: str | int) -> bool:
        """Whether a value, or a part that contains it, is assumed."""
        return any(path[:end] in self.paths for end in range(1, len(path) + 1))

    def mark(self, *path: str | int) -> str:
        """Return the mark if a value is assumed, otherwise an empty text."""
        return MARK if self.of(*path) else ""

    def lines(self, model: Model) -> list[str]:
        """List what is assumed; parts of one kind with the same keys share a line: ``ports a, b: x_mm, y_mm``."""
        parts: dict[tuple[str, str], list[str]] = {}
        for path in sorted(self.paths, key=lambda path: [str(part).rjust(4, "0") for part in path]):
            *above, key = (str(part) if isinstance(part, str) else part for part in path)
            names = [str(part) for part in above if isinstance(part, str)]
            index = next((part for part in above if isinstance(part, int)), None)
            owners = [str(part) for part in above[: above.index(index)]] if index is not None else []
            who = "" if index is None else str(getattr(_items(model, owners)[index], "id", index + 1))
            keys = parts.setdefault((" ".join(names), who), [])
            if str(key) not in keys:
                keys.append(str(key))
        found = []
        alike = sorted((((head, tuple(keys)), who) for (head, who), keys in parts.items()), key=lambda item: item[0])
        for (head, keys), group in groupby(alike, key=lambda item: item[0]):
            whose = ", ".join(who for _, who in group if who)
            lead = " ".join(text for text in (head, whose) if text)
            found.append(f"{lead}: {', '.join(keys)}" if lead else ", ".join(keys))
        return found


def _items(model: Model, names: Sequence[str]) -> Sequence[object]:
    found: object = model
    for name in names:
        found = getattr(found, name)
    return found if isinstance(found, tuple) else ()


NO_DOUBTS = Doubts()
