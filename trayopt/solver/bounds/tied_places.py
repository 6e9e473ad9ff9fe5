"""What opened subunits tie, in the outline of a job: places that are tied to too many others, and pay for it.

An opened subunit lies on one stack with all its fibres, and so does what hangs together with it (``tied_subunits.py``). Places of
groups that find no room in so few places as may be tied break ``tied_trays`` at every place; other groups have their places to
themselves, or are tied to more. How many places there are for all of them is known by the height of stacks, by rules that keep
places free, and by the places that a trunk can reach.
"""

from __future__ import annotations

from abc import abstractmethod
from collections import defaultdict
from collections.abc import Mapping, Sequence

from trayopt.domain.finding import Group
from trayopt.domain.hardware import Place, Stack
from trayopt.domain.job import Job
from trayopt.domain.trunk import Trunk
from trayopt.rules.registry import BY_ID as RULES_BY_ID
from trayopt.rules.tied_trays import TiedTrays
from trayopt.rules.tray_fibres import TrayFibres
from trayopt.rules.tray_sleeves import TraySleeves
from trayopt.rules.variables import Expression, Literal
from trayopt.solver.bounds.division import unjoined
from trayopt.solver.bounds.tied_runs import MOST_SIZES, Size, broken_by_runs
from trayopt.solver.bounds.tied_subunits import Group as TiedGroup
from trayopt.solver.bounds.tied_subunits import Sleeved, Tied, tied_by_sleeves, tied_subunits
from trayopt.solver.model.base import Base, Divisions, Key
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.literals import total
from trayopt.solver.model.posting import Policy
from trayopt.solver.model.ways import Partings


class TiedPlaces(Base):
    """Trunks and stacks of subunits, with what their opened subunits tie; takes what ``Outline`` takes."""

    def __init__(
        self, job: Job, open_: Divisions, policy: Policy, clock: Clock | None, divide_at: Partings | None
    ) -> None:
        super().__init__(job, divide_at=divide_at, all_placed=True, clock=clock)
        self.open = open_
        self.policy = policy
        self._first: dict[Key, dict[str, Literal]] = {}
        """The first stack of each spliced subunit."""

    @abstractmethod
    def trays_on(self, stack: str) -> Expression:
        """How many tray places of a stack are used."""

    @abstractmethod
    def trunk_at(self, trunk: Trunk, place: Place) -> Literal:
        """Whether a trunk has a leg at a place."""

    def _tie(self) -> None:
        """Let opened subunits pay for the places that they tie to more others than ``tied_trays`` allows.

        Known is where trunks are divided: of a group of subunits that then are opened and tied to each other all ends lie in
        places that are tied, so a group with more ends than so many places hold breaks the rule at every place of it. A group
        that breaks it nowhere has its places to itself, but for groups with less than half of what such places hold.
        """
        mode = self.policy.mode(self.job, RULES_BY_ID[TiedTrays.id])
        if mode == "free" or self.job.rules[TrayFibres.id].level != "must":
            return
        found = tied_subunits(self.job, self.open, {t.id: self.divide_options(t) for t in self.job.trunks})
        sleeved = self._sleeved()
        if not found and not sleeved:
            return
        on = {item.id: self.number(item.positions, f"tied places on {item.id}") for item in self.job.enclosure.stacks}
        broken = self.number(len(self.places), "tied places")
        self.require(total(on.values()) == broken)
        if mode == "hard":
            self.require(broken <= 0)
        else:
            self.let_go[Group(TiedTrays.id, "some")] = broken
        for tied in found:
            self._pay(tied, on)
        self._pay_for_sleeves(sleeved, broken)

    def _sleeved(self) -> list[Sleeved]:
        """Return what opened subunits tie by their sleeves."""
        if self.job.rules[TraySleeves.id].level != "must":
            return []
        return tied_by_sleeves(self.job, self.open, {t.id: self.divide_options(t) for t in self.job.trunks})

    def _pay_for_sleeves(self, sleeved: Sequence[Sleeved], broken: Expression) -> None:
        """Let opened subunits pay for the places that hold their sleeves, if these are too many.

        Subunits of one trunk, and of trunks of which no two are joined, share no sleeve.
        """
        room = max(tray.sleeves for tray in self.job.enclosure.trays)
        brought: dict[str, Expression] = {}
        for item in sleeved:
            tray = self.divided_at(self.job.trunk_by_id[item.trunk], "tray")
            more = (sleeves * self.both(tray, self.done(done)) for done, sleeves in item.more.items())
            brought[item.trunk] = total([item.least * tray, *more])
        for apart in unjoined(self.job) if brought else ():
            self.require(room * broken >= total(brought[trunk] for trunk in brought if trunk in apart))

    def _pay(self, tied: Tied, broken: Mapping[str, Expression]) -> None:
        """Let groups of some trunks divided at the tray pay for their places, stack by stack: each lies on one stack whole."""
        when = [self.divided_at(self.job.trunk_by_id[trunk], "tray") for trunk in tied.trunks]
        when = [literal for literal in when if not isinstance(literal, int)]
        torn = {group: self.literal(f"{group} tied in too many places") for group in tied.apart}
        for stack in self.job.enclosure.stacks:
            load: list[Expression] = []
            kept: list[Expression] = []
            for group in tied.over:
                here = self._first[group.first][stack.id]
                self.require(broken[stack.id] >= group.places * here, *when)
                load.append(group.load * here)
            for group, literal in torn.items():
                here = self._first[group.first][stack.id]
                load.append(group.load * self.both(here, literal))
                kept.append(group.places * self.both(here, self.no(literal)))
            room = 2 * max(tray.fibres for tray in stack.kinds)
            self.require(room * broken[stack.id] >= total(load), *when)
            if kept:
                self.require(total(kept) + broken[stack.id] <= self._most_trays(stack), *when)
        self._pay_by_runs(tied, broken, when)
        self._pay_in_all(tied, torn, total(broken.values()), when)
        self._pay_in_reach(tied, torn, when)

    def _pay_by_runs(self, tied: Tied, broken: Mapping[str, Expression], when: Sequence[Literal]) -> None:
        """Pack groups into runs of places, stack by stack, where places are too few for each group to have its own."""
        by_size: dict[Size, list[TiedGroup]] = defaultdict(list)
        for group in tied.groups:
            by_size[Size(group.load, group.places)].append(group)
        if sum(group.places for group in tied.groups) <= len(self.places) or len(by_size) > MOST_SIZES:
            return
        for stack in self.job.enclosure.stacks:
            here = {
                size: total(self._first[group.first][stack.id] for group in found) for size, found in by_size.items()
            }
            runs = broken_by_runs(
                self,
                here,
                most=TiedTrays().parameters(self.job).trays,
                positions=stack.positions,
                trays=self._most_trays(stack),
                room=2 * max(tray.fibres for tray in stack.kinds),
                when=when,
            )
            self.require(broken[stack.id] >= runs, *when)

    def _pay_in_reach(self, tied: Tied, torn: Mapping[TiedGroup, Literal], when: Sequence[Literal]) -> None:
        """Let groups that all have subunits of one trunk find room in the places of a stack where it can have legs."""
        groups = (*tied.over, *torn)
        common = set.intersection(*({trunk for trunk, _ in group.subunits} for group in groups))
        for trunk in (trunk for trunk in self.job.trunks if trunk.id in common):
            for stack in self.job.enclosure.stacks:
                if not self.is_made("places of", trunk.id, stack.id):
                    continue
                room = 2 * max(tray.fibres for tray in stack.kinds)
                load: list[Expression] = [group.load * self._first[group.first][stack.id] for group in tied.over]
                for group, literal in torn.items():
                    here = self._first[group.first][stack.id]
                    load.append(room * group.places * here)
                    load.append((group.load - room * group.places) * self.both(here, literal))
                reach = total(self.trunk_at(trunk, place) for place in self.places if place.stack == stack.id)
                self.require(total(load) <= room * reach, *when)

    def _pay_in_all(
        self, tied: Tied, torn: Mapping[TiedGroup, Literal], broken: Expression, when: Sequence[Literal]
    ) -> None:
        """Add up what groups pay for on all stacks: on which one a group lies has no part in that, so that it bounds at once."""
        room = 2 * max(tray.fibres for tray in self.job.enclosure.trays)
        load = sum(group.load for group in tied.over) + total(group.load * literal for group, literal in torn.items())
        kept = total(group.places * self.no(literal) for group, literal in torn.items())
        self.require(room * broken >= load, *when)
        if torn:
            self.require(kept + broken <= total(map(self._most_trays, self.job.enclosure.stacks)), *when)

    def _most_trays(self, stack: Stack) -> Expression:
        """Bound the used places of a stack: by a rule that asks for them, else by its height."""
        return self.trays_on(stack.id) if self.is_made("trays on") else stack.positions
