"""Why hands cannot do an act."""

from __future__ import annotations

from typing import NamedTuple


class Trouble(NamedTuple):
    """The reason why hands cannot do an act: ``trouble.<kind>`` of the catalogue, the thing concerned, and the obstacle."""

    kind: str
    what: str
    by: str = ""

    @property
    def lasts(self) -> bool:
        """Whether no other order helps, because the plan itself leaves a leg too short."""
        return self.kind == "reach"
