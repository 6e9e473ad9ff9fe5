"""Bad files that say themselves what is wrong with them, in lines that begin with ``#!``."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from trayopt.errors import Fault, InputError

MARK = "#! "


def expected(path: Path) -> list[str]:
    """Give the faults that a file expects, without its own name and folder."""
    lines = path.read_text(encoding="utf-8").splitlines()
    return [line.removeprefix(MARK) for line in lines if line.startswith(MARK)]


def told(path: Path, faults: list[Fault] | tuple[Fault, ...]) -> list[str]:
    """Write faults as a file expects them."""
    return [str(fault).removeprefix(f"{path}:").replace(f"{path.parent}/", "") for fault in faults]


def refusal(read: Callable[[], object]) -> tuple[Fault, ...] | None:
    """Give the faults with which something is refused, at least one; None where it is not."""
    try:
        read()
    except InputError as wrong:
        return wrong.faults
    return None
