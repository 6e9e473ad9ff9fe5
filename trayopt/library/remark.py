"""An error or a warning about an entry, and the warning about an unusual size."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal, NamedTuple

from trayopt.domain.said import said

Path = tuple[str | int, ...]


class Remark(NamedTuple):
    """An error or a warning about an entry, at a path inside the entry.

    A warning also has its ``kind`` and its names and figures, so that it can be written in another language.
    """

    level: Literal["error", "warning"]
    path: Path
    message: str
    found: str = ""
    allowed: str = ""
    kind: str = ""
    values: tuple[tuple[str, str | float], ...] = ()


def unusual(path: Path, value: float, least: float, most: float, unit: str = "mm") -> Iterator[Remark]:
    """Yield a warning if a value is outside the usual limits."""
    if not least <= value <= most:
        name = next(part for part in reversed(path) if isinstance(part, str))
        usually = said("usually {least:g} to {most:g} {unit}", least=least, most=most, unit=unit)
        values = (("name", name), ("found", value), ("least", least), ("most", most), ("unit", unit))
        yield Remark(
            "warning",
            path,
            said("{name} is unusual", name=name),
            said("{value:g} {unit}", value=value, unit=unit),
            usually,
            "unusual",
            values,
        )
