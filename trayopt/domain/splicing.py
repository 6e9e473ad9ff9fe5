"""Splices as runs: cut at ribbon edges, and joined again where one sleeve can take them."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from itertools import pairwise, product
from typing import NamedTuple, Protocol

from trayopt.domain.base import SPLIT, RibbonWord
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


class Share(NamedTuple):
    """What is done with the ribbons of either side, and the splices of each run that then shares sleeves."""

    a: RibbonWord
    b: RibbonWord
    counts: tuple[int, ...]

    def sleeves(self, sleeve_fibres: int) -> int:
        """Sleeves that protect all of it."""
        return sum(-(-count // sleeve_fibres) for count in self.counts)


Done = tuple[tuple[str, RibbonWord], tuple[str, RibbonWord]]
"""What is done with the ribbons of two trunks."""


class SleeveRun(NamedTuple):
    """A run of splices that share sleeves; side a is the trunk that stands earlier in the list.

    Where it is open what is done with the ribbons of a side, ``shares`` tells what comes of each choice.
    """

    a: Run
    b: Run
    shares: tuple[Share, ...] = ()

    @property
    def count(self) -> int:  # type: ignore[override]
        """Number of splices."""
        return self.a.count

    def sleeves(self, sleeve_fibres: int) -> int:
        """Sleeves that protect it, at least."""
        if self.shares:
            return min(share.sleeves(sleeve_fibres) for share in self.shares)
        return -(-self.count // sleeve_fibres)

    def more(self, sleeve_fibres: int) -> dict[Done, int]:
        """Give for each choice of what is done with ribbons the sleeves that it takes more than at least, if any."""
        least = self.sleeves(sleeve_fibres)
        taken = {
            ((self.a.trunk, share.a), (self.b.trunk, share.b)): share.sleeves(sleeve_fibres) for share in self.shares
        }
        return {done: sleeves - least for done, sleeves in taken.items() if sleeves > least}

    def cut(self, sleeve_fibres: int) -> Iterator[tuple[Run, Run]]:
        """Give what lies in each sleeve, from the lowest fibre up, where it is settled what is done with ribbons."""
        for start in range(0, self.count, sleeve_fibres):
            count = min(sleeve_fibres, self.count - start)
            first, second = (Run(s.trunk, s.first + start, s.first + start + count - 1) for s in (self.a, self.b))
            yield first, second


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


def sleeve_runs(
    pieces: Iterable[Piece], trunks: Mapping[str, Divided], work: Mapping[str, RibbonWord]
) -> tuple[SleeveRun, ...]:
    """Give the longest runs of splices that share sleeves, whichever join or side they come from; sorted by side a.

    A run rises by one on both sides and lies in one subunit on either. As they are, ribbons end it; those of a trunk that are
    split do not, for their parts lie side by side; where ribbons of another width are made, these end it, counted from the
    first fibre of the subunit. Where ribbons of the cable end on both sides at once, legs may: there a run ends in any case,
    so that it lies in one tray in every plan.
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
    """Give runs that share sleeves in every plan; where it is open what is done with ribbons, with what comes of each choice."""
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
    """Give the sides of pieces, that of the earlier trunk first, sorted by it."""
    rank = {trunk: i for i, trunk in enumerate(trunks)}
    turned = [(p.a, p.b) if rank[p.a.trunk] < rank[p.b.trunk] else (p.b, p.a) for p in pieces]
    return sorted(turned, key=lambda sides: (rank[sides[0].trunk], sides[0].first))


def _ends_before(run: Run, trunks: Mapping[str, Divided], work: Mapping[str, RibbonWord]) -> bool:
    """Whether a ribbon begins with the first fibre of a run, as ribbons are when they are spliced."""
    word = work[run.trunk]
    offset = run.first - trunks[run.trunk].subunit_of(run.first).first
    if isinstance(word, int):
        return offset % word == 0
    return offset == 0 if word == SPLIT else _begins(run, trunks)


def _begins(run: Run, trunks: Mapping[str, Divided]) -> bool:
    """Whether a ribbon of the cable begins with the first fibre of a run."""
    return trunks[run.trunk].subunit_of(run.first).fibre_in_ribbon(run.first) == 1


def _cut_anew(
    a: Run, b: Run, trunks: Mapping[str, Divided], work: Mapping[str, RibbonWord]
) -> Iterator[tuple[int, int]]:
    """Cut a piece where ribbons that are made anew end inside it: how far each part is from its beginning, and its splices."""
    edges = {0, a.count}
    for run in (a, b):
        word = work[run.trunk]
        if isinstance(word, int):
            offset = run.first - trunks[run.trunk].subunit_of(run.first).first
            edges.update(range(-offset % word, a.count, word))
    for start, end in pairwise(sorted(edges)):
        yield start, end - start


def _goes_on(before: SleeveRun, a: Run, b: Run, trunks: Mapping[str, Divided], work: Mapping[str, RibbonWord]) -> bool:
    """Whether a run goes on into the next part."""
    return (
        before.a.trunk == a.trunk
        and before.b.trunk == b.trunk
        and before.a.last + 1 == a.first
        and before.b.last + 1 == b.first
        and not any(_ends_before(run, trunks, work) for run in (a, b))
        and not all(_begins(run, trunks) for run in (a, b))
    )
