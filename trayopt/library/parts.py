"""The parts of a job that could be read, each with its place, and all names that the job uses."""

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
    """A join, with the places of its two sides and of its name."""

    join: Join
    a: Spot
    b: Spot
    name: Spot


@dataclass
class Parts:
    """All parts of a job that could be read.

    A part that is wrong is left out. Its name is still in ``trunk_names`` or ``join_names``, so that parts that refer to it
    are not reported as well.

    Parameters
    ----------
    located
        The job file, which knows the places of values.
    trunks
        The trunks in order, each with its place; a trunk that goes through is two trunks here.
    gone, through
        Trunks that go through, as they were read; and the entries under ``through``, by index, which resolved jobs have.
    aparts, pins
        The parts by their index in the file.
    trunk_by_id
        Trunks by id; if several share an id, the first.
    joins
        The joins in order, from the file or from a table.
    joins_whole
        False if a join could not be read.
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
        """Return the other end of a trunk that goes through."""
        pairs = [*(tuple(item.ends) for item in self.gone), *(item.ends for item in self.through.values())]
        return next((end for pair in pairs if trunk in pair for end in pair if end != trunk), None)

    def spot(self, *path: str | int, key: bool = False) -> Spot:
        """Return the place of a value in the job file."""
        return self.located.spot(path, key=key)
