"""Ways, divisions and ribbons of trunks, and ends of stacks: what every model decides, whatever it makes of legs."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Callable, Hashable, Mapping, Sequence

from trayopt.domain.assignment import Way
from trayopt.domain.base import DivideAt, RibbonWord, Travel
from trayopt.domain.job import Job
from trayopt.domain.splicing import Done
from trayopt.domain.trunk import Trunk
from trayopt.rules.variables import Expression, Literal
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.literals import Literals, OnStack, lits, total
from trayopt.track.routes import Routes, all_ways, routes_of

Partings = Mapping[str, Sequence[DivideAt]]
"""Where trunks may be divided, by trunk."""


class Ways(Literals, ABC):
    """The part of a model that is said of trunks as a whole.

    Parameters
    ----------
    ways
        Open ways by trunk; a trunk that is missing has all ways of its own limits open.
    divide_at
        Where trunks may be divided, by trunk; for one that is missing its own list.
    clock
        Ends the making of the model with ``OutOfTime``; where None, nothing does.
    """

    def __init__(
        self,
        job: Job,
        ways: Mapping[str, Sequence[Way]] | None,
        clock: Clock | None,
        divide_at: Partings | None = None,
    ) -> None:
        super().__init__(clock)
        self.job = job
        self.routes: Routes = routes_of(job)
        self._ways = {trunk.id: tuple((ways or {}).get(trunk.id, all_ways(job, trunk))) for trunk in job.trunks}
        self._divide_at = {trunk.id: tuple((divide_at or {}).get(trunk.id, trunk.divide_at)) for trunk in job.trunks}

    @abstractmethod
    def in_box(self, trunk: Trunk) -> Literal:
        """Whether a trunk has a placed leg."""

    def ways(self, trunk: Trunk) -> tuple[Way, ...]:
        """Every way that is open for a trunk."""
        return self._ways[trunk.id]

    def divide_options(self, trunk: Trunk) -> tuple[DivideAt, ...]:
        """Where a trunk may be divided in this model: the tray, the port, or both in this order."""
        return self._divide_at[trunk.id]

    def divided_at(self, trunk: Trunk, at: DivideAt) -> Literal:
        """Whether a trunk is divided here; exactly one of its options holds."""
        options = self.divide_options(trunk)
        if len(options) == 1:
            return int(at == options[0])
        port = self._make(("at port", trunk.id), lambda: self.literal(f"{trunk.id} divided at the port"))
        return port if at == "port" else self.no(port)

    def ribboned(self, trunk: Trunk, word: RibbonWord) -> Literal:
        """Whether this is done with the ribbons of a trunk; exactly one of its own list holds."""
        if len(trunk.ribbons) == 1:
            return int(word == trunk.ribbons[0])

        def make() -> dict[RibbonWord, Literal]:
            literals: dict[RibbonWord, Literal] = {
                each: self.literal(f"ribbons of {trunk.id}: {each}") for each in trunk.ribbons
            }
            self.cp.add_exactly_one(lits(literals.values()))
            return literals

        return self._make(("ribbons", trunk.id), make).get(word, 0)

    def done(self, done: Done) -> Literal:
        """Whether this is done with the ribbons of two trunks."""
        return self.both(*(self.ribboned(self.job.trunk_by_id[trunk], word) for trunk, word in done))

    def where_done(self, done: Done, number: Expression, most: int, key: tuple[Hashable, ...]) -> Expression:
        """Return a number from 0 to ``most`` where this is done with the ribbons of two trunks, and 0 where it is not."""
        chosen = self.done(done)
        if isinstance(chosen, int):
            return number if chosen else 0

        def make() -> Expression:
            there = self.number(most, f"{key} where {done}", (*key, done))
            self.require(there == number, chosen)
            self.require(there <= 0, self.no(chosen))
            return there

        return self._make((*key, done), make)

    def goes(self, trunk: Trunk, way: Way) -> Literal:
        """Whether a trunk in the box goes this way."""

        def make() -> dict[Way, Literal]:
            ways = self.ways(trunk)
            inside = self.in_box(trunk)
            if isinstance(inside, int) and inside == 0:
                return dict.fromkeys(ways, 0)
            if len(ways) == 1:
                return {ways[0]: inside}
            literals: dict[Way, Literal] = {
                way: self.literal(f"{trunk.id} by {way.port} {way.travel} {way.loops}") for way in ways
            }
            self.require(total(literals.values()) == inside)
            self.cp.add_at_most_one(lits(literals.values()))
            return literals

        return self._make(("goes", trunk.id), make)[way]

    def _goes_where(self, key: tuple[Hashable, ...], trunk: Trunk, wanted: Callable[[Way], bool]) -> Literal:
        found = [way for way in self.ways(trunk) if wanted(way)]
        if len(found) == len(self.ways(trunk)):
            return self.in_box(trunk)
        return self._make((*key, trunk.id), lambda: self.one_of(*(self.goes(trunk, way) for way in found)))

    def enters(self, trunk: Trunk, port: str) -> Literal:
        """Whether a trunk in the box enters at a port."""
        return self._goes_where(("enters", port), trunk, lambda way: way.port == port)

    def travels(self, trunk: Trunk, travel: Travel) -> Literal:
        """Whether a trunk in the box travels this way round."""
        return self._goes_where(("travels", travel), trunk, lambda way: way.travel == travel)

    def end(self, stack: str, end: str) -> Literal:
        """Whether a stack uses this end."""

        def make() -> dict[str, Literal]:
            ends = self.job.enclosure.stack_by_id[stack].ends
            if len(ends) == 1:
                return {ends[0].id: 1}
            literals: dict[str, Literal] = {
                item.id: self.literal(f"{stack} {item.id}", ("end", item.id, OnStack(stack))) for item in ends
            }
            self.cp.add_exactly_one(lits(literals.values()))
            return literals

        return self._make(("ends", stack), make)[end]

    def make_ends(self) -> None:
        """Make the literals of all ends before a search or a copy: what is made later has no value in the solution."""
        for stack in self.job.enclosure.stacks:
            for end in stack.ends:
                self.end(stack.id, end.id)
