"""Splices as runs: joins are cut at ribbon edges, and the pieces are put together again where they can share a sleeve."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from itertools import pairwise, product
from typing import NamedTuple, Protocol

from trayopt.domain.base import SPLIT, RibbonWord
from trayopt.domain.cablework import Subunit
from trayopt.domain.ranges import Run


class Joined(Protocol):
    """Anything with the two sides of a join."""

    @property
    def a(self) -> Run:
        """Fibres of one trunk."""

    @property
    def b(self) -> Run:
        """The same number of fibres of the other trunk."""


class Divided(Protocol):
    """Anything that knows which subunit of a trunk holds a fibre."""

    def subunit_of(self, fibre: int) -> Subunit:
        """Return the subunit that holds a fibre of the trunk."""


class Piece(NamedTuple):
    """Splices of one join between one ribbon of side a and one ribbon of side b; fibres rise by one on both sides."""

    join: int
    a: Run
    b: Run

    @property
    def count(self) -> int:  # type: ignore[override]
        """Number of splices."""
        return self.a.count


class Share(NamedTuple):
    """The ribbon work of both sides, and the number of splices in each run that shares sleeves after that work."""

    a: RibbonWord
    b: RibbonWord
    counts: tuple[int, ...]

    def sleeves(self, sleeve_fibres: int) -> int:
        """Return the number of sleeves that protect all these runs."""
        return sum(-(-count // sleeve_fibres) for count in self.counts)


Done = tuple[tuple[str, RibbonWord], tuple[str, RibbonWord]]
"""The ribbon work of two trunks."""


class SleeveRun(NamedTuple):
    """A run of splices that share sleeves; side a is the trunk that comes first in the list of trunks.

    If the ribbon work of a side is open, ``shares`` has an entry for each choice of work.
    """

    a: Run
    b: Run
    shares: tuple[Share, ...] = ()

    @property
    def count(self) -> int:  # type: ignore[override]
        """Number of splices."""
        return self.a.count

    def sleeves(self, sleeve_fibres: int) -> int:
        """Return the fewest sleeves that can protect the run."""
        if self.shares:
            return min(share.sleeves(sleeve_fibres) for share in self.shares)
        return -(-self.count // sleeve_fibres)

    def more(self, sleeve_fibres: int) -> dict[Done, int]:
        """Return, for each choice of ribbon work that needs more than the fewest sleeves, how many more it needs."""
        least = self.sleeves(sleeve_fibres)
        taken = {
            ((self.a.trunk, share.a), (self.b.trunk, share.b)): share.sleeves(sleeve_fibres) for share in self.shares
        }
        return {done: sleeves - least for done, sleeves in taken.items() if sleeves > least}

    def cut(self, sleeve_fibres: int) -> Iterator[tuple[Run, Run]]:
        """Yield the runs of both sides in each sleeve, from the lowest fibre up. The ribbon work must be settled."""
        for start in range(0, self.count, sleeve_fibres):
            count = min(sleeve_fibres, self.count - start)
            first, second = (Run(s.trunk, s.first + start, s.first + start + count - 1) for s in (self.a, self.b))
            yield first, second


def cut_pieces(joins: Iterable[Joined], trunks: Mapping[str, Divided]) -> tuple[Piece, ...]:
    """Cut joins at every ribbon edge of both sides; the pieces are in the order of the joins, each from its lowest fibre up."""
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


def sleeve_runs(
    pieces: Iterable[Piece], trunks: Mapping[str, Divided], work: Mapping[str, RibbonWord]
) -> tuple[SleeveRun, ...]:
    """Return the longest runs of splices that share sleeves, sorted by side a; a run may cover several joins.

    A run rises by one fibre on both sides and lies in one subunit on each side. The ribbon work decides where a run ends:

    - Ribbons as they are end a run at their edges.
    - Split ribbons do not end a run, since their parts lie side by side.
    - Ribbons of another width end a run at the edges of the new ribbons, counted from the first fibre of the subunit.

    Where ribbons of the cable end on both sides at once, a leg may end too. A run always ends there, so it lies in one tray in
    every plan.
    """
    made: list[SleeveRun] = []
    for a, b in _in_order(pieces, trunks):
        for start, count in _cut_anew(a, b, trunks, work):
            sides = [Run(run.trunk, run.first + start, run.first + start + count - 1) for run in (a, b)]
            if made and _goes_on(made[-1], sides[0], sides[1], trunks, work):
                sides = [before._replace(last=run.last) for before, run in zip(made.pop()[:2], sides, strict=True)]
            made.append(SleeveRun(sides[0], sides[1]))
    return tuple(made)


def least_runs(
    pieces: Iterable[Piece], trunks: Mapping[str, Divided], options: Mapping[str, tuple[RibbonWord, ...]]
) -> tuple[SleeveRun, ...]:
    """Return the runs that share sleeves in every plan; where the ribbon work is open, a run has a share for each choice."""
    first = {trunk: words[0] for trunk, words in options.items()}
    settled: list[Piece] = []
    open_: list[Piece] = []
    for piece in pieces:
        choices = len(options[piece.a.trunk]) * len(options[piece.b.trunk])
        (settled if choices == 1 else open_).append(piece)
    found = list(sleeve_runs(settled, trunks, first))
    widest = sleeve_runs(open_, trunks, dict.fromkeys(options, SPLIT))
    ordered = [Piece(0, a, b) for a, b in _in_order(open_, trunks)]
    for run in widest:
        inside = []
        while ordered and ordered[0].a.trunk == run.a.trunk and ordered[0].a.first <= run.a.last:
            inside.append(ordered.pop(0))
        shares = []
        for a, b in product(options[run.a.trunk], options[run.b.trunk]):
            counts = tuple(part.count for part in sleeve_runs(inside, trunks, {run.a.trunk: a, run.b.trunk: b}))
            shares.append(Share(a, b, counts))
        found.append(SleeveRun(run.a, run.b, tuple(shares)))
    rank = {trunk: i for i, trunk in enumerate(trunks)}
    return tuple(sorted(found, key=lambda run: (rank[run.a.trunk], run.a.first)))


def _in_order(pieces: Iterable[Piece], trunks: Mapping[str, Divided]) -> list[tuple[Run, Run]]:
    """Return the two sides of each piece, the earlier trunk first, sorted by that side."""
    rank = {trunk: i for i, trunk in enumerate(trunks)}
    turned = [(p.a, p.b) if rank[p.a.trunk] < rank[p.b.trunk] else (p.b, p.a) for p in pieces]
    return sorted(turned, key=lambda sides: (rank[sides[0].trunk], sides[0].first))


def _ends_before(run: Run, trunks: Mapping[str, Divided], work: Mapping[str, RibbonWord]) -> bool:
    """Whether a ribbon begins at the first fibre of a run, after the ribbon work is done."""
    word = work[run.trunk]
    offset = run.first - trunks[run.trunk].subunit_of(run.first).first
    if isinstance(word, int):
        return offset % word == 0
    return offset == 0 if word == SPLIT else _begins(run, trunks)


def _begins(run: Run, trunks: Mapping[str, Divided]) -> bool:
    """Whether a ribbon of the cable begins at the first fibre of a run."""
    return trunks[run.trunk].subunit_of(run.first).fibre_in_ribbon(run.first) == 1


def _cut_anew(
    a: Run, b: Run, trunks: Mapping[str, Divided], work: Mapping[str, RibbonWord]
) -> Iterator[tuple[int, int]]:
    """Cut a piece where new ribbons end inside it; yield the offset of each part in the piece and its number of splices."""
    edges = {0, a.count}
    for run in (a, b):
        word = work[run.trunk]
        if isinstance(word, int):
            offset = run.first - trunks[run.trunk].subunit_of(run.first).first
            edges.update(range(-offset % word, a.count, word))
    for start, end in pairwise(sorted(edges)):
        yield start, end - start


def _goes_on(before: SleeveRun, a: Run, b: Run, trunks: Mapping[str, Divided], work: Mapping[str, RibbonWord]) -> bool:
    """Whether the next part continues a run."""
    return (
        before.a.trunk == a.trunk
        and before.b.trunk == b.trunk
        and before.a.last + 1 == a.first
        and before.b.last + 1 == b.first
        and not any(_ends_before(run, trunks, work) for run in (a, b))
        and not all(_begins(run, trunks) for run in (a, b))
    )
