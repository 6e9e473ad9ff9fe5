"""Splices as runs: cut at ribbon edges, and joined again where one sleeve can take them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import NamedTuple, Protocol

from trayopt.domain.cablework import Subunit
from trayopt.domain.ranges import Run


class Joined(Protocol):
    """What is asked of a join: its two sides."""

    @property
    def a(self) -> Run:
        """Fibres of the one trunk."""

    @property
    def b(self) -> Run:
        """As many fibres of the other."""


class Divided(Protocol):
    """What is asked of a trunk: in which subunit a fibre is."""

    def subunit_of(self, fibre: int) -> Subunit:
        """Give the subunit of a fibre."""


class Piece(NamedTuple):
    """Splices of one join between one ribbon of side a and one of side b, fibres rising by one on both sides."""

    join: int
    a: Run
    b: Run

    @property
    def count(self) -> int:  # type: ignore[override]
        """Number of splices."""
        return self.a.count


class SleeveRun(NamedTuple):
    """A longest run of splices between two ribbons; side a is the trunk that stands earlier in the list."""

    a: Run
    b: Run

    @property
    def count(self) -> int:  # type: ignore[override]
        """Number of splices."""
        return self.a.count

    def sleeves(self, sleeve_fibres: int) -> int:
        """Sleeves that protect it."""
        return -(-self.count // sleeve_fibres)


def cut_pieces(joins: Iterable[Joined], trunks: Mapping[str, Divided]) -> tuple[Piece, ...]:
    """Cut joins at every ribbon edge of both sides; order: as the joins, each from its lowest fibre up."""
    made = []
    for index, join in enumerate(joins):
        done = 0
        while done < join.a.count:
            left = join.a.count - done
            for run in (join.a, join.b):
                fibre = run.first + done
                subunit = trunks[run.trunk].subunit_of(fibre)
                left = min(left, subunit.ribbon_fibres - subunit.fibre_in_ribbon(fibre) + 1)
            sides = [Run(run.trunk, run.first + done, run.first + done + left - 1) for run in (join.a, join.b)]
            made.append(Piece(index, sides[0], sides[1]))
            done += left
    return tuple(made)


def sleeve_runs(pieces: Iterable[Piece], trunks: Mapping[str, Divided]) -> tuple[SleeveRun, ...]:
    """Join pieces that go on in the same two ribbons, whichever join or side they come from; sorted by side a."""
    rank = {trunk: i for i, trunk in enumerate(trunks)}

    def ribbon(run: Run) -> tuple[int, int]:
        subunit = trunks[run.trunk].subunit_of(run.first)
        return subunit.number, subunit.ribbon_of(run.first)

    turned = [(p.a, p.b) if rank[p.a.trunk] < rank[p.b.trunk] else (p.b, p.a) for p in pieces]
    turned.sort(key=lambda sides: (rank[sides[0].trunk], sides[0].first))
    made: list[SleeveRun] = []
    for a, b in turned:
        if made:
            before = made[-1]
            goes_on = (
                before.a.trunk == a.trunk
                and before.b.trunk == b.trunk
                and before.a.last + 1 == a.first
                and before.b.last + 1 == b.first
                and ribbon(before.a) == ribbon(a)
                and ribbon(before.b) == ribbon(b)
            )
            if goes_on:
                made[-1] = SleeveRun(Run(a.trunk, before.a.first, a.last), Run(b.trunk, before.b.first, b.last))
                continue
        made.append(SleeveRun(a, b))
    return tuple(made)
