"""The parts of a job as they were read, each with its place: what is well formed, and what was named at all."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from trayopt.domain.hardware import Enclosure, TubeSet
from trayopt.domain.job import Apart, Join, Setting
from trayopt.domain.pins import LegPin, TrunkPin
from trayopt.domain.through import Through
from trayopt.domain.trunk import Trunk
from trayopt.formats.locate import Located, Spot
from trayopt.library.through import Gone, TrunkAt


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
    trunks
        In order, each with its place; a trunk that goes through is two.
    gone, through
        Trunks that go through, as they were read; and what the file itself says of ends, by index, as resolved jobs do.
    aparts, pins
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
    trunks: list[TrunkAt] = field(default_factory=list)
    gone: list[Gone] = field(default_factory=list)
    through: dict[int, Through] = field(default_factory=dict)
    trunk_by_id: dict[str, Trunk] = field(default_factory=dict)
    trunk_names: set[str] = field(default_factory=set)
    joins: list[JoinAt] = field(default_factory=list)
    join_names: set[str] = field(default_factory=set)
    joins_whole: bool = True
    aparts: dict[int, Apart] = field(default_factory=dict)
    pins: dict[int, LegPin | TrunkPin] = field(default_factory=dict)
    rules: Mapping[str, Setting] = field(default_factory=dict)

    def other_end(self, trunk: str) -> str | None:
        """Give the other end of a trunk that goes through."""
        pairs = [*(tuple(item.ends) for item in self.gone), *(item.ends for item in self.through.values())]
        return next((end for pair in pairs if trunk in pair for end in pair if end != trunk), None)

    def spot(self, *path: str | int, key: bool = False) -> Spot:
        """Give the place of a value in the job file."""
        return self.located.spot(path, key=key)
