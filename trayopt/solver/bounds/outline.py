"""The outline of a job: ways of trunks and stacks of subunits, without trays; a relaxation that bounds preferences early.

It holds for every plan that places every splice and keeps every must, whatever its divisions:

* A subunit divided at the tray lies on one stack whole, so all subunits that splices connect through such subunits do.
* A subunit divided at the port lies on one stack as well, or it breaks ``subunit_together``. Where a trunk may be divided at
  either, its subunits may be parted only at the port, which breaks ``breakout``.
* A subunit opened at the tray brings all its fibres, spliced or parked, to trays that it ties to each other, those of the
  subunits that it is spliced to among them (``tied_subunits``).
* Along a subunit that keeps together positions do not fall. Where such subunits close a ring (each goes on where the last one
  ends, and the first is met again), all positions on it are equal, so all of it lies in one tray: a ring that no tray holds
  has a subunit that breaks ``subunit_together``.
* Rules that look at ways alone, and ``alternate_stacks`` that looks at the stacks of subunits, bind here as they do there.

So the least weight of preferences broken in the outline is a bound on the goal ``broken_prefer``, and an outline that cannot
be drawn proves that not every must can be kept with every splice placed.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cached_property

from trayopt.domain.cablework import Leg, Subunit
from trayopt.domain.finding import Group
from trayopt.domain.hardware import Place
from trayopt.domain.job import Job
from trayopt.domain.pins import LegPin
from trayopt.domain.ranges import Run
from trayopt.domain.trunk import Trunk
from trayopt.rules.base import AnyRule
from trayopt.rules.guide_fill import GuideFill
from trayopt.rules.pin import Pinned, goes_by
from trayopt.rules.registry import BY_ID as RULES_BY_ID
from trayopt.rules.reserve import Reserve
from trayopt.rules.subunit_together import SubunitTogether
from trayopt.rules.tray_fibres import TrayFibres
from trayopt.rules.variables import (
    Constraint,
    Cuts,
    Expression,
    FirstStacks,
    JoinStacks,
    LegNumbers,
    LegsPlaced,
    LegStacks,
    Literal,
    Partings,
    Ribbons,
    StackTrays,
    Trays,
    TrunkPlaces,
    TrunkStacks,
    TrunkWays,
    Variables,
    Windows,
)
from trayopt.solver.bounds.ribbon_choices import leave_room
from trayopt.solver.bounds.stand_ins import StandIns
from trayopt.solver.bounds.tied_places import TiedPlaces
from trayopt.solver.model.base import Key
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.literals import lit, lits, total
from trayopt.solver.model.posting import Policy, let_speak
from trayopt.solver.model.vocabulary import voice
from trayopt.solver.model.ways import Partings as DividedAt

STRICT = Policy("hard", "soft")


class Outline(TiedPlaces):
    """A model without legs: each spliced subunit has a first stack, and lies there whole or is parted.

    ``policy`` says which rules bind hard, by default all that a plan must keep; ``clock`` ends the making of the model;
    ``divide_at`` narrows where trunks may be divided.
    """

    def __init__(
        self,
        job: Job,
        open_: Mapping[Key, Sequence[int]],
        policy: Policy = STRICT,
        clock: Clock | None = None,
        divide_at: DividedAt | None = None,
    ) -> None:
        super().__init__(job, open_, policy, clock, divide_at)
        self.strict = policy.must == "hard"
        self.stacks = [stack.id for stack in job.enclosure.stacks]
        self._spliced = {key for key, runs in job.spliced.items() if runs}
        self._parted: dict[tuple[str, int], Literal] = {}
        self._loads: dict[str, Expression] = {}
        """Fibre ends on each stack at least, where no tray may hold too many."""
        self._lay_subunits()
        self.furnish()
        let_speak(self, self.voice_for, policy)
        if policy.physical == "hard":
            leave_room(self)
        self._tie()
        self._pins()

    def _lay_subunits(self) -> None:
        """Give each spliced subunit a first stack."""
        for subunit in self.job.subunits:
            key = (subunit.trunk, subunit.number)
            if key in self._spliced:
                self._first[key] = {stack: self.literal(f"{subunit.name} on {stack}") for stack in self.stacks}
                self.cp.add_exactly_one(lits(self._first[key].values()))
                self._parted[key] = self._may_part(subunit)
        self._link()
        self._load()

    @cached_property
    def voice(self) -> Variables:
        """What rules and goals may ask."""
        return voice(
            self, TrunkWays, Windows, Partings, Ribbons, TrunkStacks, TrunkPlaces, JoinStacks, StackTrays, FirstStacks
        )

    def voice_for(self, rule: AnyRule) -> Variables | None:
        """Let guides ask stand-ins for what travels; what pins and subunits that keep together ask is made here."""
        if isinstance(rule, GuideFill):
            return voice(
                self, TrunkWays, Windows, Partings, Cuts, LegsPlaced, LegNumbers, LegStacks, instead=StandIns(self)
            )
        if isinstance(rule, Reserve):
            return voice(self, Trays)
        return None if isinstance(rule, Pinned | SubunitTogether) else self.voice

    def furnish(self) -> None:
        """Make what the rules ask for besides, before they speak."""

    def _may_part(self, subunit: Subunit) -> Literal:
        """Whether a subunit may lie on more than one stack or out of order: at the port alone, at the price of its rule."""
        setting = self.job.rules[SubunitTogether.id]
        bound = setting.level == "must" and self.strict
        port = self.divided_at(self.job.trunk_by_id[subunit.trunk], "port") if not bound else 0
        if (isinstance(port, int) and not port) or self._stays_whole(subunit):
            return 0
        parted = self.literal(f"{subunit.name} parted")
        if not isinstance(port, int):
            self.cp.add_implication(parted, lit(port))
        if setting.level == "prefer":
            self.let_go[Group(SubunitTogether.id, subunit.name)] = parted
        return parted

    def _stays_whole(self, subunit: Subunit) -> bool:
        return set(self.open.get((subunit.trunk, subunit.number), subunit.divisions)) == {1}

    def parted(self, subunit: Subunit) -> Literal:
        """Whether a subunit breaks ``subunit_together``; 0 where it cannot."""
        return self._parted[subunit.trunk, subunit.number]

    def _key(self, run: Run) -> Key:
        """Return the subunit of a run of fibres."""
        return run.trunk, self.job.trunk_by_id[run.trunk].subunit_of(run.first).number

    def _link(self) -> None:
        pairs = set()
        for piece in self.job.pieces:
            pairs.add((self._key(piece.a), self._key(piece.b)))
        for a, b in sorted(pairs):
            for stack in self.stacks:
                there = self._first[b][stack] + self._parted[a] + self._parted[b]
                self.require(self._first[a][stack] <= there)

    def _load(self) -> None:
        """Let no stack hold more than all its trays: subunits that are not parted bring an end for each fibre in their legs.

        At the tray those are all fibres; at the port those of legs with a splice, in the division that has the fewest.
        """
        job = self.job
        if job.rules[TrayFibres.id].level != "must":
            return
        everywhere: list[Expression] = []
        loads: dict[str, list[Expression]] = {stack: [] for stack in self.stacks}
        for key in self._first:
            subunit = job.subunit_of_leg[key]
            tray = self.divided_at(job.trunk_by_id[key[0]], "tray")
            least = min(
                (sum(map(job.ends, job.spliced_legs(subunit, of))) for of in self.open.get(key, ())),
                default=job.spliced_fibres(Leg(*key, 1, 1)),
            )
            parked = subunit.fibres - least
            everywhere += [least, parked * tray]
            for stack, load in loads.items():
                load.append(least * self._whole_on(key, stack))
                if parked:
                    load.append(parked * self.both(self._first[key][stack], tray))
        self._loads = {stack: total(load) for stack, load in loads.items()}
        for item in job.enclosure.stacks:
            self.require(self._loads[item.id] <= 2 * sum(tray.fibres for tray in item.by_position))
        self._load_in_all = total(everywhere)
        self.require(self._load_in_all <= 2 * job.enclosure.fibres)

    def _pins(self) -> None:
        """Say what pins ask of ways, divisions and stacks: hard where they are facts or bind hard, else at the price of a pin."""
        mode = self.policy.mode(self.job, RULES_BY_ID[Pinned.id])
        for pin in self.job.pins:
            if isinstance(pin, LegPin):
                asked: list[Constraint] = [self._lies(self.job.pinned_leg(pin), self.job.places_of(pin))]
            else:
                asked = list(goes_by(self.job, self, pin.decision))
                if pin.ribbons is not None:
                    asked.append(self.ribboned(self.job.trunk_by_id[pin.trunk], pin.ribbons) >= 1)
            if pin.built or mode == "hard":
                for constraint in asked:
                    self.require(constraint)
            elif mode == "soft":
                free = self.let_go[Group(Pinned.id, pin.subject)] = self.literal(f"without pin {pin.subject}")
                for constraint in asked:
                    self.require(constraint, self.no(free))

    def _lies(self, leg: Leg, places: Sequence[Place]) -> Constraint:
        """Ask for a leg at one of some places, as far as stacks of subunits tell; divisions that are not open are in no plan."""
        key = (leg.trunk, leg.subunit)
        if key not in self._spliced or leg.of not in self.open.get(key, (leg.of,)):
            return False
        return total(self._first[key][stack] for stack in sorted({p.stack for p in places})) + self._parted[key] >= 1

    def _whole_on(self, key: Key, stack: str) -> Literal:
        return self._make(
            ("whole on", key, stack), lambda: self.both(self._first[key][stack], self.no(self._parted[key]))
        )

    def shares(self, subunit: Subunit, of: int, stack: str) -> Expression:
        """How many of so many equal parts of a subunit are on a stack: all, or any number where it is parted."""
        whole = of * self._whole_on((subunit.trunk, subunit.number), stack)
        parted = self.parted(subunit)
        if isinstance(parted, int):
            return whole
        shares = self._make(("shares", subunit.trunk, subunit.number), lambda: self._shares(subunit, of, parted))
        return whole + shares[stack]

    def _shares(self, subunit: Subunit, of: int, parted: Literal) -> dict[str, Expression]:
        shares: dict[str, Expression] = {
            stack: self.number(of, f"{subunit.name} in part on {stack}") for stack in self.stacks
        }
        self.require(total(shares.values()) == of * parted)
        return shares

    def whole_on(self, subunit: Subunit, stack: str) -> Literal:
        """Whether all of a subunit is on a stack."""
        return self._whole_on((subunit.trunk, subunit.number), stack)

    def is_spliced(self, subunit: Subunit) -> bool:
        """Whether a subunit has a spliced fibre."""
        return (subunit.trunk, subunit.number) in self._spliced

    def has_placed(self, subunit: Subunit) -> int:
        """Every spliced subunit has a placed leg."""
        return int((subunit.trunk, subunit.number) in self._spliced)

    def first_on(self, subunit: Subunit, stack: str) -> Literal:
        """Whether the first placed leg of a subunit lies on this stack."""
        first = self._first.get((subunit.trunk, subunit.number))
        return 0 if first is None else first[stack]

    def in_box(self, trunk: Trunk) -> int:
        """Every trunk with a spliced fibre is in the box."""
        ends = {end.id for end in self.job.ends_of(trunk)}
        return int(any(key[0] in ends for key in self._spliced))

    def trunk_at(self, trunk: Trunk, place: Place) -> Literal:
        """Whether a trunk has a leg at a place: free, but at least one place of a stack that it must be on."""
        return self._make(("places of", trunk.id, place.stack), lambda: self._places(trunk, place.stack))[place]

    def trunk_on(self, trunk: Trunk, stack: str) -> Literal:
        """Whether a trunk has a leg on a stack."""
        here = (place for place in self.places if place.stack == stack)
        return self._make(
            ("trunk on", trunk.id, stack), lambda: self.any_of(*(self.trunk_at(trunk, place) for place in here))
        )

    def trays_on(self, stack: str) -> Expression:
        """How many tray places of a stack are used: as many as hold the fibre ends on it, or more."""
        return self._make(("trays on",), self._stack_trays)[stack]

    def _stack_trays(self) -> dict[str, Expression]:
        stacks = self.job.enclosure.stacks
        found: dict[str, Expression] = {item.id: self.number(item.positions, f"trays on {item.id}") for item in stacks}
        if self._loads:
            for item in stacks:
                largest = max(tray.fibres for tray in item.kinds)
                self.require(self._loads[item.id] <= 2 * largest * found[item.id])
            largest = max(tray.fibres for tray in self.job.enclosure.trays)
            self.require(self._load_in_all <= 2 * largest * total(found.values()))
        return found

    def used(self, place: Place) -> Literal:
        """Whether a tray place is used: free, but so many of a stack as are used there."""
        return self._make(("used places",), self._used_places)[place]

    def _used_places(self) -> dict[Place, Literal]:
        found: dict[Place, Literal] = {place: self.literal(f"{place} used") for place in self.places}
        for stack in self.stacks:
            self.require(self.trays_on(stack) <= total(used for place, used in found.items() if place.stack == stack))
        return found

    def join_on(self, join: int, stack: str) -> Literal:
        """Whether splices of a join lie on a stack: where one of its subunits is whole, or on any where all are parted."""
        return self._make(("join on", join), lambda: self._stacks_of(join))[stack]

    def _stacks_of(self, join: int) -> dict[str, Literal]:
        found: dict[str, Literal] = {stack: self.literal(f"join {join} on {stack}") for stack in self.stacks}
        pieces = [piece for piece in self.job.pieces if piece.join == join]
        for runs in ([piece.a for piece in pieces], [piece.b for piece in pieces]):
            keys = sorted({self._key(run) for run in runs})
            for stack, here in found.items():
                for key in keys:
                    self.require(self._first[key][stack] <= here + self._parted[key])
                self.require(here <= total(self._first[key][stack] + self._parted[key] for key in keys))
        self.require(total(found.values()) >= 1)
        return found

    def _places(self, trunk: Trunk, stack: str) -> dict[Place, Literal]:
        found: dict[Place, Literal] = {
            place: self.literal(f"{trunk.id} at {place}") for place in self.places if place.stack == stack
        }
        for key, first in self._first.items():
            if key[0] == trunk.id:
                self.require(first[stack] <= total(found.values()))
        return found
