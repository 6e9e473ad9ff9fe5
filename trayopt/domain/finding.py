"""Groups (rule, subject) and findings: the words in which rules speak."""

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
    """A broken group: at what level, and one sentence with the numbers."""

    rule: str
    level: Literal["always", "must", "prefer"]
    subject: str
    because: str

    @property
    def group(self) -> Group:
        """The group that is broken."""
        return Group(self.rule, self.subject)
