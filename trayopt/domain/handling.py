"""Work on ribbons before they are spliced: splitting them, making new ones, and separating them into single fibres."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import NamedTuple, Protocol

from trayopt.domain.base import AS_THEY_ARE, RibbonWord
from trayopt.domain.ranges import Run
from trayopt.domain.splicing import Divided


class NewRibbon(NamedTuple):
    """A ribbon made from fibres of a subunit, in their order; ``number`` counts from 1 in the subunit, ``width`` is in fibres."""

    trunk: str
    subunit: int
    number: int
    width: int


class Handling(NamedTuple):
    """The work on some ribbons.

    Parameters
    ----------
    cuts
        Cuts along a ribbon, each as (trunk, the fibre before the cut).
    made
        Ribbons that are made anew.
    separated
        Ribbons that are separated into single fibres, each as (trunk, subunit, number of the ribbon).
    """

    cuts: frozenset[tuple[str, int]]
    made: tuple[NewRibbon, ...]
    separated: tuple[tuple[str, int, int], ...] = ()


class InRibbons(Divided, Protocol):
    """A trunk that also says whether its fibres come in ribbons."""

    @property
    def in_ribbons(self) -> bool:
        """Whether the fibres of the trunk come in ribbons."""


def separated(sides: Iterable[Run], trunks: Mapping[str, InRibbons]) -> Handling:
    """Find the ribbons that are separated for sleeves of one fibre, from the runs on both sides of these sleeves."""
    found: dict[tuple[str, int, int], None] = {}
    for run in sides:
        if trunks[run.trunk].in_ribbons:
            subunit = trunks[run.trunk].subunit_of(run.first)
            found[run.trunk, subunit.number, subunit.ribbon_of(run.first)] = None
    return Handling(frozenset(), (), tuple(found))


def handling(sides: Iterable[Run], trunks: Mapping[str, InRibbons], work: Mapping[str, RibbonWord]) -> Handling:
    """Find the work on ribbons that the sleeves of one tray need, from the runs on both sides; runs of one fibre need none.

    A ribbon is split where a sleeve begins or ends inside it. A ribbon that is made anew is made as wide as it is spliced, so it
    is split only where one sleeve ends and the next begins. Loose fibres are made into ribbons before they share a sleeve.
    """
    cuts: set[tuple[str, int]] = set()
    made: dict[NewRibbon, None] = {}
    begun: set[tuple[str, int]] = set()
    ended: set[tuple[str, int]] = set()
    for run in sides:
        if run.count == 1:
            continue
        word = work.get(run.trunk, AS_THEY_ARE)
        subunit = trunks[run.trunk].subunit_of(run.first)
        anew = not trunks[run.trunk].in_ribbons or (isinstance(word, int) and word != subunit.ribbon_fibres)
        width = word if isinstance(word, int) else subunit.ribbon_fibres
        offsets = (run.first - subunit.first, run.last - subunit.first + 1)
        inside = [(run.trunk, subunit.first + at - 1) for at in offsets if at % width and at < subunit.fibres]
        if not anew:
            cuts.update(inside)
            continue
        begun.update(at for at in inside if at[1] == run.first - 1)
        ended.update(at for at in inside if at[1] == run.last)
        for number in range(offsets[0] // width, -(-offsets[1] // width)):
            made[NewRibbon(run.trunk, subunit.number, number + 1, width)] = None
    return Handling(frozenset(cuts | (begun & ended)), tuple(made))
