"""Trays as they fill: bunches are laid one after the other, the base first, stacks in turn, and never moved again."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence

from trayopt.domain.assignment import Assignment, Way
from trayopt.domain.cablework import Leg
from trayopt.domain.hardware import Place
from trayopt.domain.job import Job
from trayopt.rules.judge import is_plan
from trayopt.rules.tied_trays import TiedTrays
from trayopt.solver.heuristics.bunches import Bunch, Parting
from trayopt.solver.model.base import Key
from trayopt.track.laid import Laid


def keeps_facts(job: Job, assignment: Assignment) -> bool:
    """Whether an assignment breaks no always rule, no built pin and no physical rule at must."""
    return is_plan(job, Laid(job, assignment))


class Laying:
    """Trays as they fill, and whose turn it is among the stacks.

    Parameters
    ----------
    at
        Where trunks are divided.
    few_ties
        Whether to begin a tray rather than to tie more trays to each other than should be.
    mixed
        Whether a tray may take splices of several pairs of trunks.
    stacks
        The stack that is tried first for the bunches of a subunit, where that is not the one whose turn it is.
    """

    def __init__(
        self,
        job: Job,
        ways: dict[str, Way],
        at: Parting,
        *,
        few_ties: bool,
        mixed: bool = False,
        stacks: Mapping[Key, str] | None = None,
    ) -> None:
        self.job, self.ways, self.at, self.few_ties, self.first = job, ways, at, few_ties, stacks or {}
        self.mixed = mixed
        self.places: dict[Leg, Place] = {}
        self.stacks = [stack.id for stack in job.enclosure.stacks]
        self.top = dict.fromkeys(self.stacks, 0)
        self.turn = 0
        self.ends: dict[Place, int] = defaultdict(int)
        self.sleeves: dict[Place, int] = defaultdict(int)
        self.entering: dict[tuple[Place, str], int] = defaultdict(int)
        self.pairs: dict[Place, frozenset[str]] = {}
        self.held: dict[Place, int] = defaultdict(int)
        self.runs: dict[str, list[int]] = {stack: [] for stack in self.stacks}
        """Positions of each stack that opened tubes tie to the next one outward."""
        self.kept_out: dict[frozenset[str], int] = {}
        """Least ends of a cluster of some trunks that found room, and broke what no plan breaks wherever it did."""

    def lay_built(self, bunches: Sequence[Bunch]) -> None:
        """Lay bunches with a built leg where it lies, if one place is named."""
        built = {
            self.job.pinned_leg(pin): Place(pin.stack, pin.position)
            for pin in self.job.leg_pins
            if pin.built and pin.stack is not None and pin.position is not None
        }
        for bunch in bunches:
            place = next((built[leg] for leg in bunch.legs if leg in built), None)
            if place is not None:
                self._put(place, bunch, 1)
                self.top[place.stack] = max(self.top[place.stack], place.position)

    def lay(self, cluster: Sequence[Bunch], *, judged: bool = False) -> None:
        """Lay bunches on the stack whose turn it is, else on the next that takes them; else one by one, or not at all."""
        first = self.first.get((cluster[0].legs[0].trunk, cluster[0].legs[0].subunit))
        if first is not None:
            self.turn = self.stacks.index(first)
        if self.few_ties and self._on_one_stack(cluster, judged=judged, few_ties=True):
            return
        if self._on_one_stack(cluster, judged=judged) or len(cluster) == 1:
            return
        if all(self.at[leg.trunk] == "port" for bunch in cluster for leg in bunch.legs):
            for bunch in cluster:
                self._on_one_stack([bunch], judged=judged)

    def _on_one_stack(self, cluster: Sequence[Bunch], *, judged: bool, few_ties: bool = False) -> bool:
        """Lay bunches on the next stack that takes them; where judged, none that is as large as what broke a fact everywhere.

        Ports, seals and guides only get fuller, so that of a trunk that could not come in no more is tried.
        """
        trunks, ends = frozenset(leg.trunk for b in cluster for leg in b.legs), sum(b.ends for b in cluster)
        if judged and ends >= self.kept_out.get(trunks, ends + 1):
            return False
        refused = tied = False
        for step in range(len(self.stacks)):
            stack = self.stacks[(self.turn + step) % len(self.stacks)]
            for start in dict.fromkeys((max(1, self.top[stack]), self.top[stack] + 1)):
                before = self.top[stack]
                if not self._fill(stack, cluster, start):
                    continue
                ties = self._ties(stack, cluster)
                if few_ties and self._too_many(stack, ties):
                    tied = True
                elif judged and not keeps_facts(self.job, self.assignment()):
                    refused = True
                else:
                    self.runs[stack] += ties
                    self.turn = (self.turn + step + 1) % len(self.stacks)
                    return True
                self._take_out(cluster)
                self.top[stack] = before
        if refused and not tied:
            self.kept_out[trunks] = min(ends, self.kept_out.get(trunks, ends))
        return False

    def _fill(self, stack: str, cluster: Sequence[Bunch], start: int) -> bool:
        """Lay bunches one after the other, from a position of a stack outward; take all out again if any does not fit."""
        before = self.top[stack]
        at = start
        for done, bunch in enumerate(cluster):
            place = next((p for p in self._options(stack, bunch, at) if self._takes(p, bunch)), None)
            if place is None:
                self._take_out(cluster[:done])
                self.top[stack] = before
                return False
            self._put(place, bunch, 1)
            at = max(at, place.position)
            self.top[stack] = max(self.top[stack], place.position)
        return True

    def _options(self, stack: str, bunch: Bunch, at: int) -> list[Place]:
        """Return the places that legs of a bunch may have that follow others: where these lie or one higher, else at the top."""
        follows = [self.places[before] for leg in bunch.legs if (before := self._before(leg)) is not None]
        if not follows:
            return [Place(stack, at), Place(stack, at + 1)]
        if any(place.stack != stack for place in follows):
            return (
                []
                if any(self.at[leg.trunk] == "tray" for leg in bunch.legs)
                else [Place(stack, at), Place(stack, at + 1)]
            )
        lowest, highest = min(place.position for place in follows), max(place.position for place in follows)
        return [Place(stack, position) for position in range(highest, lowest + 2)]

    def _before(self, leg: Leg) -> Leg | None:
        """Return the placed leg before a leg in its subunit."""
        earlier = (leg._replace(group=group) for group in range(leg.group - 1, 0, -1))
        return next((other for other in earlier if other in self.places), None)

    def _ties(self, stack: str, cluster: Sequence[Bunch]) -> list[int]:
        """Return the positions that subunits of a cluster tie to the next position outward."""
        spans: dict[Key, list[int]] = defaultdict(list)
        for bunch in cluster:
            for leg in bunch.legs:
                if self.at[leg.trunk] == "tray" and self.places[leg].stack == stack:
                    spans[leg.trunk, leg.subunit].append(self.places[leg].position)
        return sorted({p for span in spans.values() for p in range(min(span), max(span))})

    def _too_many(self, stack: str, ties: Sequence[int]) -> bool:
        """Whether ties and those that were there tie more trays in a row than should be; each group has a tray more than ties."""
        most = TiedTrays().parameters(self.job).trays
        known = {*self.runs[stack], *ties}
        return any(all(start + n in known for n in range(most)) for start in known)

    def _takes(self, place: Place, bunch: Bunch) -> bool:
        stack = self.job.enclosure.stack_by_id[place.stack]
        if place.position > stack.positions:
            return False
        tray = self.job.enclosure.tray_at(place)
        entering = [self.ways[leg.trunk].travel for leg in bunch.legs]
        return (
            self.ends[place] + bunch.ends <= 2 * tray.fibres
            and self.sleeves[place] + bunch.sleeves[tray.sleeve_fibres] <= tray.sleeves
            and all(self.entering[place, way] + entering.count(way) <= tray.entrance_legs for way in set(entering))
            and (self.mixed or len(bunch.legs) == 1 or self.pairs.get(place, self._pair(bunch)) == self._pair(bunch))
        )

    def _pair(self, bunch: Bunch) -> frozenset[str]:
        """Return the trunks of a bunch; a tray takes splices of one pair, and parked legs of any."""
        return frozenset(leg.trunk for leg in bunch.legs)

    def _put(self, place: Place, bunch: Bunch, sign: int) -> None:
        tray = self.job.enclosure.tray_at(place)
        self.ends[place] += sign * bunch.ends
        self.held[place] += sign
        self.sleeves[place] += sign * bunch.sleeves[tray.sleeve_fibres]
        for leg in bunch.legs:
            self.entering[place, self.ways[leg.trunk].travel] += sign
            if sign > 0:
                self.places[leg] = place
            else:
                del self.places[leg]
        if sign > 0 and len(bunch.legs) > 1:
            self.pairs[place] = self._pair(bunch)
        elif not self.held[place]:
            self.pairs.pop(place, None)

    def _take_out(self, cluster: Sequence[Bunch]) -> None:
        for bunch in cluster:
            self._put(self.places[bunch.legs[0]], bunch, -1)
        for stack in self.stacks:
            used = [place.position for place in set(self.places.values()) if place.stack == stack]
            self.top[stack] = max(used, default=0)

    def assignment(self) -> Assignment:
        """Return what is laid; a trunk that may be divided at the tray is, where none of its subunits has more than one leg."""
        inside = self.job.inside(self.places)
        parted = {leg.trunk for leg in self.places if leg.of > 1}
        at: Parting = {
            trunk: self.at[trunk] if trunk in parted else self.job.trunk_by_id[trunk].divide_at[0] for trunk in inside
        }
        return Assignment(
            {trunk: way for trunk, way in self.ways.items() if trunk in inside}, dict(self.places), {}, at
        )
