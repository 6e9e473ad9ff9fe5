"""What sleeves ask of ribbons before they are spliced: parts that are split off, and ribbons that are made anew."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import NamedTuple, Protocol

from trayopt.domain.base import AS_THEY_ARE, RibbonWord
from trayopt.domain.ranges import Run
from trayopt.domain.splicing import Divided


class NewRibbon(NamedTuple):
    """A ribbon that is made of fibres of other ribbons, in their order: trunk, subunit, its number from 1, and its width."""

    trunk: str
    subunit: int
    number: int
    width: int


class Handling(NamedTuple):
    """What is done with ribbons.

    Cuts along them, each by trunk and the fibre before it, ribbons that are made, and ribbons that are separated into single
    fibres, by trunk, subunit and ribbon.
    """

    cuts: frozenset[tuple[str, int]]
    made: tuple[NewRibbon, ...]
    separated: tuple[tuple[str, int, int], ...] = ()


class InRibbons(Divided, Protocol):
    """What is asked of a trunk beside: whether its fibres come in ribbons."""

    @property
    def in_ribbons(self) -> bool:
        """Whether its fibres come in ribbons."""


def separated(sides: Iterable[Run], trunks: Mapping[str, InRibbons]) -> Handling:
    """Tell which ribbons are separated for sleeves of one fibre; these are both sides of the sleeves."""
    found: dict[tuple[str, int, int], None] = {}
    for run in sides:
        if trunks[run.trunk].in_ribbons:
            subunit = trunks[run.trunk].subunit_of(run.first)
            found[run.trunk, subunit.number, subunit.ribbon_of(run.first)] = None
    return Handling(frozenset(), (), tuple(found))


def handling(sides: Iterable[Run], trunks: Mapping[str, InRibbons], work: Mapping[str, RibbonWord]) -> Handling:
    """Tell what is done with ribbons for the sleeves of one tray, by both sides of the sleeves; a single fibre is not counted.

    A ribbon is split at the ends of a sleeve inside of it. One that is made anew is made as wide as it is spliced, so that it is
    split only where another sleeve goes on. Loose fibres are made into ribbons before they share a sleeve.
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
