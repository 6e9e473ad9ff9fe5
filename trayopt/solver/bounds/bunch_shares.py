"""Bunches on stacks, and the shares that they take of all trays, and of those that are used, tied or reached."""

from __future__ import annotations

from abc import abstractmethod
from collections.abc import Mapping
from functools import cached_property

from trayopt.domain.cablework import Leg
from trayopt.domain.job import Job
from trayopt.domain.splicing import Done
from trayopt.rules.variables import Expression, Literal
from trayopt.solver.bounds.closed_patterns import Bunch
from trayopt.solver.bounds.kind_counts import KindCounts
from trayopt.solver.bounds.tied_subunits import Tied
from trayopt.solver.bounds.tray_shares import shares_fit
from trayopt.solver.model.base import Divisions, Key
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.literals import total
from trayopt.solver.model.posting import Policy
from trayopt.solver.model.ways import Partings


class BunchShares(KindCounts):
    """An outline with bunches on stacks; whoever lists the bunches puts them into ``_here``."""

    listed: bool
    """Whether bunches could be listed; where not, nothing is said of them."""
    _cut: Mapping[tuple[Key, int], tuple[Leg, ...]]
    """The legs of each division."""

    def __init__(
        self, job: Job, open_: Divisions, policy: Policy, clock: Clock | None, divide_at: Partings | None
    ) -> None:
        self._here: dict[Bunch, dict[str, Literal]] = {}
        """Whether each bunch lies on each stack."""
        super().__init__(job, open_, policy, clock, divide_at)
        if self.listed:
            self._reach()

    @property
    @abstractmethod
    def _sleeves(self) -> tuple[Mapping[Leg, int], Mapping[Leg, Mapping[Done, int]]]:
        """Twice the sleeves of each leg, at least and by what is done with ribbons."""

    def _share_trays(self) -> None:
        """Let bunches take no more shares of trays than there are trays."""
        sleeves = self._sleeves[0]
        placed = {bunch: total(here.values()) for bunch, here in self._here.items()}
        most = (
            sum(max(sum(load(leg) for leg in self._cut[key, of]) for of in open_) for key, open_ in self.open.items())
            for load in (self.job.ends, sleeves.__getitem__)
        )
        for constraint in shares_fit(self.job, placed, *self._loads_of_bunches, (next(most), next(most))):
            self.require(constraint)

    @cached_property
    def _loads_of_bunches(self) -> tuple[Mapping[Bunch, int], Mapping[Bunch, int]]:
        """Return the fibre ends of each bunch, and twice the sleeves that it takes at least."""
        sleeves = self._sleeves[0]
        return (
            {bunch: sum(map(self.job.ends, bunch)) for bunch in self._here},
            {bunch: sum(sleeves[leg] for leg in bunch) for bunch in self._here},
        )

    def _share(self, placed: Mapping[Bunch, Expression], trays: Expression, *when: Literal) -> None:
        """Let some bunches, as far as they are placed, take no more shares of trays than so many."""
        ends, sleeves2 = self._loads_of_bunches
        for constraint in shares_fit(
            self.job, placed, {b: ends[b] for b in placed}, {b: sleeves2[b] for b in placed}, (0, 0), trays
        ):
            self.require(constraint, *when)

    def _pay(self, tied: Tied, broken: Mapping[str, Expression]) -> None:
        """Let groups of opened subunits pay for their places by the bunches in them as well, stack by stack and in all.

        All legs of such a group lie in places that it ties, which are too many, and each of its bunches in one of them.
        """
        super()._pay(tied, broken)
        if not self.listed or not tied.over:
            return
        subunits = {key for group in tied.over for key in group.subunits}
        mine = [bunch for bunch in self._here if any((leg.trunk, leg.subunit) in subunits for leg in bunch)]
        at_tray = (self.divided_at(self.job.trunk_by_id[trunk], "tray") for trunk in tied.trunks)
        when = [literal for literal in at_tray if not isinstance(literal, int)]
        for stack, places in broken.items():
            self._share({bunch: self._here[bunch][stack] for bunch in mine}, places, *when)
        self._share({bunch: total(self._here[bunch].values()) for bunch in mine}, total(broken.values()), *when)

    def _reach(self) -> None:
        """Let bunches take no more shares of trays of a stack than it uses, and those of a trunk no more than it can reach there.

        That is asked where a rule asked for it: else nothing but the height of the stack holds either back.
        """
        for stack in self.stacks:
            here = {bunch: at[stack] for bunch, at in self._here.items()}
            if self.is_made("trays on"):
                self._share(here, self.trays_on(stack))
            for trunk in self.job.trunks:
                if self.is_made("places of", trunk.id, stack):
                    mine = {bunch: at for bunch, at in here.items() if any(leg.trunk == trunk.id for leg in bunch)}
                    places = (place for place in self.places if place.stack == stack)
                    self._share(mine, total(self.trunk_at(trunk, place) for place in places))
