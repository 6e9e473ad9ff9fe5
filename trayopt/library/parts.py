"""The parts of a job as they were read, each with its place: what is well formed, and what was named at all."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from trayopt.domain.hardware import Enclosure, TubeSet
from trayopt.domain.job import Apart, Join, LegPin, Setting, Trunk, TrunkPin
from trayopt.formats.locate import Located, Spot


@dataclass(frozen=True)
class JoinAt:
    """A join and the places of its two sides and its name."""

    join: Join
    a: Spot
    b: Spot
    name: Spot


@dataclass
class Parts:
    """All that could be read of a job.

    What is wrong in itself is left out; its name stands in ``trunk_names`` or ``join_names`` all the same, so that
    nobody who names it is blamed.

    Parameters
    ----------
    located
        The job file, for places.
    trunks, aparts, pins
        By index in the file.
    trunk_by_id
        Of the trunks with one id, the first.
    joins
        In order, from the file or from a table.
    joins_whole
        False where one of the joins could not be read.
    """

    located: Located
    enclosure: Enclosure | None = None
    tubes: TubeSet | None = None
    trunks: dict[int, Trunk] = field(default_factory=dict)
    trunk_by_id: dict[str, Trunk] = field(default_factory=dict)
    trunk_names: set[str] = field(default_factory=set)
    joins: list[JoinAt] = field(default_factory=list)
    join_names: set[str] = field(default_factory=set)
    joins_whole: bool = True
    aparts: dict[int, Apart] = field(default_factory=dict)
    pins: dict[int, LegPin | TrunkPin] = field(default_factory=dict)
    rules: Mapping[str, Setting] = field(default_factory=dict)

    def spot(self, *path: str | int, key: bool = False) -> Spot:
        """Give the place of a value in the job file."""
        return self.located.spot(path, key=key)
