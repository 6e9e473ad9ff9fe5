"""Groups (a rule and its subject) and findings (a group that a plan breaks)."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, NamedTuple

Level = Literal["must", "prefer", "off"]
Kind = Literal["always", "physical", "practice"]


class Group(NamedTuple):
    """One subject of one rule, such as (``tray_fibres``, ``left/3``)."""

    rule: str
    subject: str

    def __str__(self) -> str:
        """Write as ``tray_fibres left/3``."""
        return f"{self.rule} {self.subject}"


@dataclass(frozen=True)
class Finding:
    """A broken group, the level of its rule, and a sentence with the numbers."""

    rule: str
    level: Literal["always", "must", "prefer"]
    subject: str
    because: str

    @property
    def group(self) -> Group:
        """The group that is broken."""
        return Group(self.rule, self.subject)
