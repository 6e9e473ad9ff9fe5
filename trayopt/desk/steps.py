"""States of the document on a desk, and what the reading of a text gave."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from trayopt.desk.decisions import Decisions
from trayopt.domain.job import Job
from trayopt.errors import Fault


@dataclass(frozen=True)
class Step:
    """A state: the job as text, the decisions, and the act that led to it, as a key of the catalogue."""

    text: str
    decisions: Decisions
    done: str = ""
    about: str = ""
    gesture: str = ""
    """Name of a gesture, such as one drag or one walk with the arrow keys; its steps are undone together."""
    files: Mapping[Path, str] = field(default_factory=dict)
    """Texts of hardware files that were changed here."""


@dataclass(frozen=True)
class Reading:
    """The reading of a text: the job, or its faults; and its warnings."""

    job: Job | None
    faults: tuple[Fault, ...]
    warnings: tuple[Fault, ...]


def paths_in(value: Any) -> Iterator[str]:
    """Yield every text in a job that is the name of a file."""
    if isinstance(value, str) and value.lower().endswith((".yaml", ".csv", ".xlsx")):
        yield str(value)
    elif isinstance(value, dict | list):
        for inner in value.values() if isinstance(value, dict) else value:
            yield from paths_in(inner)
