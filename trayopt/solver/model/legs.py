"""Legs at places: divisions, and the literals of the legs of every open division at every place.

Legs that are spliced to each other share a tray in every plan, so where the divisions of both sides are settled they share
one literal a place (a *bunch*); where a division is open, the legs of every open division have literals of their own and
each piece of a join ties its two sides together, place by place. Bunches that lie in trays one after the other in every plan
share their literals as well (``chains``).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Hashable, Iterator, Mapping, Sequence
from functools import cached_property
from itertools import pairwise

from trayopt.domain.assignment import Way
from trayopt.domain.cablework import Leg, Subunit
from trayopt.domain.hardware import Place
from trayopt.domain.job import Job
from trayopt.domain.tied import tied
from trayopt.rules.divided_at_tray import DividedAtTray
from trayopt.rules.subunit_together import SubunitTogether
from trayopt.rules.tray_fibres import TrayFibres
from trayopt.rules.variables import Expression, Literal
from trayopt.solver.model import cp_sat
from trayopt.solver.model.base import DividedLegs, Key
from trayopt.solver.model.chains import Link, Step, chains, length_of
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.literals import lits, total
from trayopt.solver.model.ways import Partings


class LegModel(DividedLegs):
    """The legs of a job at places.

    Parameters
    ----------
    divisions
        Open k by (trunk, subunit); a subunit that is missing has all its divisions open.
    kept
        Rules that bind hard in this model.
    ways, divide_at, all_placed, clock
        As for ``Base``.
    """

    def __init__(
        self,
        job: Job,
        *,
        divisions: Mapping[Key, Sequence[int]] | None = None,
        kept: Collection[str] = (),
        ways: Mapping[str, Sequence[Way]] | None = None,
        divide_at: Partings | None = None,
        all_placed: bool = False,
        clock: Clock | None = None,
    ) -> None:
        super().__init__(job, ways=ways, divide_at=divide_at, all_placed=all_placed, clock=clock)
        self.kept = set(kept)
        self._open: dict[Key, tuple[int, ...]] = {}
        for subunit in job.subunits:
            key = (subunit.trunk, subunit.number)
            if job.spliced[key]:
                self._open[key] = tuple((divisions or {}).get(key, subunit.divisions))
        self._legs = {
            (key, of): job.legs_in(job.subunit_of_leg[key], of, self.divide_options(job.trunk_by_id[key[0]])[0])
            for key, open_ in self._open.items()
            for of in open_
        }
        self._bunch = self._bunches()
        self._chosen: dict[tuple[str, int, int], cp_sat.IntVar] = {}
        self._at: dict[int, list[Literal]] = {}
        self._placed: dict[int, Literal] = {}
        self._place()
        self._tie()
        self._part()

    def divisions(self, subunit: Subunit) -> tuple[int, ...]:
        """Every k that is open for a subunit; none for an idle one."""
        return self._open.get((subunit.trunk, subunit.number), ())

    def divided(self, subunit: Subunit, of: int) -> Literal:
        """Whether a subunit is divided by this k."""
        open_ = self.divisions(subunit)
        if of not in open_:
            return 0
        if len(open_) == 1:
            return 1
        return self._chosen[subunit.trunk, subunit.number, of]

    def legs(self, subunit: Subunit, of: int) -> tuple[Leg, ...]:
        """Every leg of a division that can be placed, in order."""
        return self._legs.get(((subunit.trunk, subunit.number), of), ())

    def all_legs(self, subunit: Subunit) -> list[Leg]:
        """Every leg that can be placed, over all open divisions."""
        return [leg for of in self.divisions(subunit) for leg in self.legs(subunit, of)]

    def _settled(self, key: Key) -> bool:
        return len(self._open[key]) == 1

    def _bunches(self) -> dict[Leg, int]:
        legs = (leg for found in self._legs.values() for leg in found)
        return tied(legs, ((a[0], b[0]) for a, b in self.sides.values() if len(a) == len(b) == 1))

    @cached_property
    def bunches(self) -> dict[int, list[Leg]]:
        """Legs of each bunch."""
        found: dict[int, list[Leg]] = defaultdict(list)
        for leg, bunch in self._bunch.items():
            found[bunch].append(leg)
        return dict(found)

    def bunch(self, leg: Leg) -> int:
        """Return the bunch of a leg: legs of one bunch share their tray in every plan of this model."""
        return self._bunch[leg]

    def literals(self, bunch: int) -> list[Literal]:
        """Literals of a bunch, one a place in place order; 0 where it does not lie in any plan of this model."""
        return self._at[bunch]

    @cached_property
    def loads(self) -> dict[int, int]:
        """Fibre ends that each bunch brings to a tray."""
        return {bunch: sum(map(self.job.ends, legs)) for bunch, legs in self.bunches.items()}

    def _steps(self) -> Iterator[Step]:
        """Find pairs of bunches that lie in neighbouring trays of a stack in every plan, as no tray holds both."""
        if not self.all_placed or TrayFibres.id not in self.kept:
            return
        room = 2 * max(tray.fibres for tray in self.job.enclosure.trays)
        for trunk in self.job.trunks:
            options = self.divide_options(trunk)
            if not {DividedAtTray.id if at == "tray" else SubunitTogether.id for at in options} <= self.kept:
                continue
            for subunit in trunk.subunits:
                legs = [leg for of in self.divisions(subunit) for leg in self.legs(subunit, of)]
                if len(self.divisions(subunit)) == 1 and (
                    options == ("tray",) or all(map(self.job.spliced_fibres, legs))
                ):
                    for one, other in pairwise(map(self.bunch, legs)):
                        if one != other and self.loads[one] + self.loads[other] > room:
                            yield Step(one, other)

    @cached_property
    def links(self) -> dict[int, Link]:
        """Where each bunch lies in its chain."""
        return chains(self.bunches, self._steps())

    def _make_literals(self) -> None:
        """Make the literals of bunches at places, those of a chain once: its other bunches lie so many positions outward."""
        links, last = self.links, length_of(self.links)
        rank = self.job.enclosure.place_rank
        positions = {stack.id: stack.positions for stack in self.job.enclosure.stacks}
        for bunch, link in links.items():
            if bunch == link.first:
                self._at[bunch] = [
                    self.literal(f"{self.bunches[bunch][0]} at {place}")
                    if place.position + last[bunch] <= positions[place.stack]
                    else 0
                    for place in self.places
                ]
        for bunch, link in links.items():
            if bunch != link.first:
                inward = ((place.stack, place.position - link.outward) for place in self.places)
                first = self._at[link.first]
                self._at[bunch] = [first[rank[Place(*at)]] if at[1] > 0 else 0 for at in inward]

    def _place(self) -> None:
        for key, open_ in self._open.items():
            if len(open_) > 1:
                for of in open_:
                    self._chosen[*key, of] = self.literal(f"{key[0]}/{key[1]} in {of}")
                self.cp.add_exactly_one([self._chosen[*key, of] for of in open_])
        self._make_literals()
        for bunch, legs in self.bunches.items():
            name = str(legs[0])
            literals = lits(literal for literal in self._at[bunch] if not isinstance(literal, int))
            key = (legs[0].trunk, legs[0].subunit)
            if self._may_stay_bare(legs[0]):
                placed = self._placed[bunch] = self.literal(f"{name} parked")
                self.cp.add_exactly_one([*literals, ~placed])
                if not self._settled(key):
                    self.cp.add_implication(placed, self._chosen[*key, legs[0].of])
            elif self._settled(key):
                if self.all_placed:
                    self.cp.add_exactly_one(literals)
                    self._placed[bunch] = 1
                else:
                    placed = self._placed[bunch] = self.literal(f"{name} placed")
                    self.cp.add_exactly_one([*literals, ~placed])
            else:
                divided = self._chosen[*key, legs[0].of]
                if self.all_placed:
                    self._placed[bunch] = divided
                    self.cp.add_exactly_one([*literals, ~divided])
                else:
                    placed = self._placed[bunch] = self.literal(f"{name} placed")
                    self.cp.add_exactly_one([*literals, ~placed])
                    self.cp.add_implication(placed, divided)

    def _part(self) -> None:
        """Park legs without a splice where a trunk is divided at the tray alone, and divide it at the port only for legs.

        A trunk that may be divided at the tray counts as divided there where no subunit of it makes more than one leg. Where the
        model knows of a trunk only the port, the trunk makes more than one leg, or stays outside.
        """
        for trunk in self.job.trunks:
            options = self.divide_options(trunk)
            if options == ("tray",) or "tray" not in trunk.divide_at:
                continue
            if options == ("port",) and not any(map(self.divisions, trunk.subunits)):
                continue  # in the box, if at all, by its other end
            port = self.divided_at(trunk, "port")
            parts: list[Literal] = []
            for subunit in trunk.subunits:
                for of in self.divisions(subunit):
                    legs = self.legs(subunit, of)
                    if of > 1:
                        parts.append(self.any_of(*(self.placed(leg) for leg in legs)))
                    for leg in legs:
                        if not self._may_stay_bare(leg):
                            continue
                        self.clause(self.no(port), self.no(self.placed(leg)))
                        if self.all_placed:
                            self.clause(self.placed(leg), port, self.no(self.divided(subunit, of)))
            outside = [] if "tray" in options else [self.no(self.in_box(trunk))]
            self.clause(self.no(port), *outside, *parts)

    def _tie(self) -> None:
        """Tie the two sides of every piece together, once for each pair of sides."""
        for a, b in dict.fromkeys(self.sides.values()):
            if len(a) == len(b) == 1:
                continue
            for i in range(len(self.places)):
                self.require(
                    total(self._at[self._bunch[leg]][i] for leg in a)
                    == total(self._at[self._bunch[leg]][i] for leg in b)
                )

    def at(self, leg: Leg, place: Place) -> Literal:
        """Whether a leg is placed at a place."""
        return self._at[self._bunch[leg]][self.job.enclosure.place_rank[place]]

    def placed(self, leg: Leg) -> Literal:
        """Whether a leg is placed."""
        return self._placed[self._bunch[leg]]

    def number_placed(self, subunit: Subunit, of: int) -> Expression:
        """How many legs of a division are placed."""
        return total(self.placed(leg) for leg in self.legs(subunit, of))

    def number_on(self, subunit: Subunit, of: int, stack: str) -> Expression:
        """How many legs of a division are placed on a stack."""
        return total(self.on(leg, stack) for leg in self.legs(subunit, of))

    def on(self, leg: Leg, stack: str) -> Literal:
        """Whether a leg is placed on a stack."""
        bunch = self._bunch[leg]
        if len(self.job.enclosure.stacks) == 1:
            return self._placed[bunch]
        return self._make(
            ("on", bunch, stack),
            lambda: self.one_of(*(self._at[bunch][i] for i, place in enumerate(self.places) if place.stack == stack)),
        )

    def position_up_to(self, leg: Leg, position: int) -> Literal:
        """Whether a leg is placed at this position or nearer to the base."""
        return self._prefix(
            ("position", self._bunch[leg]), self._at[self._bunch[leg]], self._last_rank(position), self.placed(leg)
        )

    def _last_rank(self, position: int) -> int:
        """Rank in place order of the last place up to a position; places are sorted by position first."""
        return self._last_ranks[min(position, self.places[-1].position)]

    @cached_property
    def _last_ranks(self) -> dict[int, int]:
        """Last rank of every position from 0, at which there is none, up."""
        ranks = {0: -1}
        for rank, place in enumerate(self.places):
            ranks[place.position] = rank
        return ranks

    def _prefix(self, name: tuple[Hashable, ...], literals: Sequence[Literal], rank: int, whole: Literal) -> Literal:
        """Whether one of the first ``rank + 1`` literals holds, chained along the positions."""
        if rank < 0:
            return 0
        if rank >= len(literals) - 1:
            return whole

        def make() -> Literal:
            position = self.places[rank].position
            before = self._last_rank(position - 1) if self.places[rank + 1].position > position else rank - 1
            head = self._prefix(name, literals, before, whole)
            return self.one_of(head, *literals[before + 1 : rank + 1])

        return self._make(("prefix", *name, rank), make)

    def has_placed(self, subunit: Subunit) -> Literal:
        """Whether a subunit has a placed leg."""
        if not self.divisions(subunit):
            return 0
        return 1 if self.all_placed else self.any_of(*(self.placed(leg) for leg in self.all_legs(subunit)))

    def _at_tray(self, subunit: Subunit) -> bool:
        return self.divide_options(self.job.trunk_by_id[subunit.trunk]) == ("tray",)

    def any_on(self, subunit: Subunit, stack: str) -> Literal:
        """Whether a placed leg of a subunit lies on this stack."""
        if self.all_placed and self._at_tray(subunit):
            return self.first_on(subunit, stack)
        return self.any_of(*(self.on(leg, stack) for leg in self.all_legs(subunit)))

    def first_on(self, subunit: Subunit, stack: str) -> Literal:
        """Whether the first placed leg of a subunit lies on this stack."""

        def make() -> Literal:
            if self._at_tray(subunit) and not self.all_placed:
                return self.any_on(subunit, stack)
            if self.all_placed and not any(map(self._may_stay_bare, self.all_legs(subunit))):
                return self.one_of(*(self.on(self.legs(subunit, of)[0], stack) for of in self.divisions(subunit)))
            firsts = []
            for of in self.divisions(subunit):
                legs = self.legs(subunit, of)
                for i, leg in enumerate(legs):
                    firsts.append(self.both(self.on(leg, stack), *(self.no(self.placed(other)) for other in legs[:i])))
            return self.one_of(*firsts)

        return self._make(("first on", subunit.trunk, subunit.number, stack), make)
