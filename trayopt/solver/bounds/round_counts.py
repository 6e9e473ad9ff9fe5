"""How many chains of each kind lie at each tray place, round by round: counts for jobs of many like subunits.

A chain is what lies in trays one after the other in every plan (``model/chains.py``). Where ``alternate_stacks`` is kept, the
subunits of a lead trunk go to the stacks in rounds: in each full round every stack gets one of them. Without a crossing no
subunit of a trunk lies nearer to the base than one before it, so all subunits of a round lie no further out than any of the next
round. Chains are of one kind if they bring the same to trays, in the same rounds; which chain of a kind lies where is left out.

Counts by subunit (``pattern_counts``) know the stack of each subunit. Of trunks with many subunits, and of many trunks that share
nothing but trays, that is the same question over and over, and there these counts answer in seconds. What they leave out: rules
that name joins, legs or stacks of subunits, guides, and the order within a round. Chains of a kind are laid in their order, those
of a trunk's first subunits nearest to the base: that is a plan without a crossing wherever no other trunk asks for another order.

How irregular plans of the least length are is asked last: then each subunit of a round has a stack of its own, and lies in its
turn within the round, too.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping
from functools import cached_property
from typing import NamedTuple

from trayopt.domain.assignment import Assignment
from trayopt.domain.cablework import Leg, Subunit
from trayopt.domain.hardware import Place
from trayopt.domain.trunk import Trunk
from trayopt.goals.registry import BY_ID as GOALS
from trayopt.rules.alternate_stacks import AlternateStacks
from trayopt.rules.base import AnyRule
from trayopt.rules.pin import Pinned
from trayopt.rules.subunit_together import SubunitTogether
from trayopt.rules.tray_fibres import TrayFibres
from trayopt.rules.variables import (
    Expression,
    FirstStacks,
    LeastLoads,
    Literal,
    Loads,
    Partings,
    Ribbons,
    StackTrays,
    Trays,
    TrunkLegs,
    TrunkPlaces,
    TrunkStacks,
    TrunkWays,
    Variables,
    Windows,
)
from trayopt.solver.bounds.kind_counts import Kind, KindCounts
from trayopt.solver.bounds.pattern_counts import in_scope, kinds
from trayopt.solver.model import cp_sat
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.interruptible import FOUND, whole_bound
from trayopt.solver.model.literals import lits, total
from trayopt.solver.model.model import Model
from trayopt.solver.model.posting import Policy
from trayopt.solver.model.run import hint_all
from trayopt.solver.model.vocabulary import voice

NAME = "round_counts"
EFFORT = 30.0
"""Most deterministic time for one answer."""
IRREGULAR_EFFORT = 6.0
"""The same for how irregular plans are: where this does not reach, ten times as much seldom does."""


class Turn(NamedTuple):
    """A subunit of a lead trunk in a chain: in which round it comes, and how many positions outward of the chain's base."""

    trunk: str
    round: int
    outward: int


class ChainKind(NamedTuple):
    """What a chain brings to the trays from its base outward, and in which rounds its subunits come."""

    parts: tuple[tuple[int, Kind], ...]
    turns: tuple[Turn, ...]

    @property
    def height(self) -> int:
        """Positions from the base of a chain to its outermost bunch."""
        return max(outward for outward, _ in self.parts)


def able(model: Model) -> bool:
    """Whether chains of a model can be counted: every subunit is settled and whole on a stack, every leg placed in any case."""
    return in_scope(model) and all(
        isinstance(placed := model.placed(legs[0]), int) and placed for legs in model.bunches.values()
    )


class RoundCounts(KindCounts):
    """The counts of chains in the plans of a whole model.

    Parameters
    ----------
    in_order
        Whether the plans of which is asked have no crossing.
    """

    def __init__(self, whole: Model, *, in_order: bool) -> None:
        self.whole, self.in_order = whole, in_order
        self.chains = chains_by_kind(whole)
        self.numbers: dict[ChainKind, dict[Place, Literal | Expression]] = {}
        """Chains of each kind at each place, that of their base."""
        self._number: dict[Kind, dict[Place, Expression]] = {}
        self._of_round: dict[tuple[str, int], list[tuple[ChainKind, int]]] = defaultdict(list)
        """Kinds with a subunit in each round of a trunk, and how many positions outward of their base that one lies."""
        self._on: dict[int, dict[str, Literal]] = {}
        """Whether each chain with a subunit of a lead trunk lies on each stack, once subunits are followed."""
        divisions = {(s.trunk, s.number): of for s in whole.job.subunits if (of := whole.divisions(s))}
        divide_at = {trunk.id: whole.divide_options(trunk) for trunk in whole.job.trunks}
        super().__init__(whole.job, divisions, Policy("hard", "soft", kept=frozenset(whole.kept)), divide_at=divide_at)

    def _lay_subunits(self) -> None:
        """Leave out on which stack each subunit lies."""

    def _tie(self) -> None:
        """Leave out which subunits tie trays."""

    def _pins(self) -> None:
        """Leave out what pins say."""

    @cached_property
    def voice(self) -> Variables:
        """What rules and goals may ask."""
        return voice(
            self, TrunkWays, Partings, Ribbons, TrunkStacks, TrunkPlaces, TrunkLegs, Trays, StackTrays, LeastLoads, Loads,
            Windows,
        )  # fmt: skip

    def voice_for(self, rule: AnyRule) -> Variables | None:
        """Give every rule the voice but those that ask for subunits by name."""
        return None if isinstance(rule, Pinned | SubunitTogether) else self.voice

    def furnish(self) -> None:
        """Make the counts before the rules speak."""
        at: dict[Kind, dict[Place, list[Expression]]] = defaultdict(lambda: defaultdict(list))
        for kind, found in self.chains.items():
            numbers: dict[Place, Expression] = {}
            for place in self.places:
                places = [Place(place.stack, place.position + outward) for outward, _ in kind.parts]
                if max(places).position > self.job.enclosure.stack_by_id[place.stack].positions:
                    continue
                most = min(
                    [len(found), *(self._most(part, at) for (_, part), at in zip(kind.parts, places, strict=True))]
                )
                if not most:
                    continue
                numbers[place] = (
                    self.number(most, f"{kind} at {place}") if most > 1 else self.literal(f"{kind} at {place}")
                )
                for (_, part), there in zip(kind.parts, places, strict=True):
                    at[part][there].append(numbers[place])
            self.numbers[kind] = numbers
            self.require(total(numbers.values()) == len(found))
        self._number = {part: {place: total(here[place]) for place in self.places} for part, here in at.items()}
        self._alternate()

    def _most(self, kind: Kind, place: Place) -> int:
        """Bound the bunches of a kind at a place by its fibres."""
        if not self.whole.keeps(TrayFibres.id) or not kind.ends:
            return len(self.whole.bunches)
        return 2 * self.job.enclosure.tray_at(place).fibres // kind.ends

    def _alternate(self) -> None:
        """Let the subunits of each round lie on stacks of their own, and no further out than those of the next round."""
        if not self.whole.keeps(AlternateStacks.id):
            return
        for kind in self.chains:
            for turn in kind.turns:
                self._of_round[turn.trunk, turn.round].append((kind, turn.outward))
        for (trunk, number), found in self._of_round.items():
            full = (trunk, number + 1) in self._of_round
            for stack in self.stacks:
                here = self._up_to(found, stack, self._deepest)
                self.require(here == 1 if full else here <= 1)
            if full and self.in_order:
                self._after_each_other(found, self._of_round[trunk, number + 1])

    @cached_property
    def _deepest(self) -> int:
        return max(stack.positions for stack in self.job.enclosure.stacks)

    def _after_each_other(self, before: list[tuple[ChainKind, int]], after: list[tuple[ChainKind, int]]) -> None:
        """Let one round end at a position at which, or further out, the next one begins."""
        ended: Literal = 0
        for position in range(1, self._deepest):
            ended_before, ended = ended, self.literal(f"ended at {position}")
            self.clause(self.no(ended_before), ended)
            for stack in self.stacks:
                self.require(self._up_to(before, stack, position) >= ended)
                self.require(self._up_to(after, stack, position) <= ended)

    def _up_to(self, found: list[tuple[ChainKind, int]], stack: str, position: int) -> Expression:
        """Count the subunits of a round on a stack up to a position."""
        return total(
            number
            for kind, outward in found
            for place, number in self.numbers[kind].items()
            if place.stack == stack and place.position + outward <= position
        )

    @property
    def follows(self) -> bool:
        """Whether it can be said which subunit lies on which stack: where they go to the stacks in rounds, without a crossing."""
        return self.in_order and bool(self._of_round)

    def irregular(self) -> Expression:
        """Encode how irregular plans are, with each subunit of a round on a stack of its own, in the order of the trunk."""
        chain_of: dict[tuple[str, int], list[int]] = defaultdict(list)
        for first, turn in turns(self.whole):
            chain_of[turn.trunk, turn.round].append(first)
        for kind, found in self.chains.items():
            if not kind.turns:
                continue
            for first in found:
                self._on[first] = {stack: self.literal(f"chain {first} on {stack}") for stack in self.stacks}
                self.cp.add_exactly_one(lits(self._on[first].values()))
            for stack in self.stacks:
                here = total(number for place, number in self.numbers[kind].items() if place.stack == stack)
                self.require(total(self._on[first][stack] for first in found) == here)
        before: dict[str, list[Literal]] = {}
        for (trunk, number), firsts in chain_of.items():  # round by round
            ends = {stack: self._ends(self._of_round[trunk, number], stack) for stack in self.stacks}
            for first in firsts:
                low: list[Literal] = [
                    self.literal(f"{trunk}: chain {first} up to {p}") for p in range(1, self._deepest)
                ]
                for stack, here in self._on[first].items():
                    for up_to, there in zip(low, ends[stack], strict=True):
                        self.clause(self.no(here), self.no(there), up_to)
                        self.clause(self.no(here), there, self.no(up_to))
                for up_to, earlier in zip(low, before.get(trunk, ()), strict=False):
                    self.clause(self.no(up_to), earlier)
                before[trunk] = low
        return GOALS["irregular"].encode(self.job, voice(self, TrunkWays, Trays, StackTrays, FirstStacks))

    def _ends(self, found: list[tuple[ChainKind, int]], stack: str) -> list[Literal]:
        """Whether the subunit of a round on a stack lies at most at each position but the last."""
        ends: list[Literal] = []
        for position in range(1, self._deepest):
            ends.append(self.literal(f"on {stack} up to {position}"))
            self.require(self._up_to(found, stack, position) == ends[-1])
        return ends

    def has_placed(self, subunit: Subunit) -> int:
        """Every spliced subunit has a placed leg."""
        return int(bool(self.divisions(subunit)))

    def first_on(self, subunit: Subunit, stack: str) -> Literal:
        """Whether the first placed leg of a subunit of a lead trunk lies on this stack."""
        (of,) = self.divisions(subunit)
        return self._on[self.whole.links[self.whole.bunch(self.legs(subunit, of)[0])].first][stack]

    def divisions(self, subunit: Subunit) -> tuple[int, ...]:
        """Return the settled division of a subunit."""
        return self.whole.divisions(subunit)

    def legs(self, subunit: Subunit, of: int) -> tuple[Leg, ...]:
        """Return the legs of a division that can be placed."""
        return self.whole.legs(subunit, of)

    def trunk_on(self, trunk: Trunk, stack: str) -> Literal:
        """Whether a trunk has a leg on a stack."""
        return self.positive(("trunk on", trunk.id, stack), self.legs_on(trunk, stack), self.most_trunk_legs(trunk))

    def legs_on(self, trunk: Trunk, stack: str) -> Expression:
        """How many legs of a trunk are on a stack."""
        return total(self.legs_at(trunk, place) for place in self.places if place.stack == stack)

    def most_trunk_legs(self, trunk: Trunk) -> int:
        """Count the legs of a trunk."""
        return self.whole.most_trunk_legs(trunk)

    def most_legs_at(self, place: Place) -> int:
        """Bound the legs at a place as the whole model does."""
        return self.whole.most_legs_at(place)

    def most_bunches(self, place: Place) -> int:
        """Bound the bunches at a place by all of them."""
        del place
        return len(self.whole.bunches)

    def plan(self, value: Callable[[Expression], int]) -> Assignment:
        """Lay the chains of each kind at the places that a solution gives them, in the order in which a trunk sees them."""
        there = self.at_places(value)
        places: dict[Leg, Place] = {}
        for kind, found in self.chains.items():
            bases = [place for place, number in self.numbers[kind].items() for _ in range(value(number))]
            if any(first in self._on for first in found):
                of_stack = {base.stack: base for base in bases}
                bases = [of_stack[next(s for s, here in self._on[first].items() if value(here))] for first in found]
            for first, base in zip(found, bases, strict=True):
                for bunch in self._of_chain[first]:
                    place = Place(base.stack, base.position + self.whole.links[bunch].outward)
                    places |= dict.fromkeys(self.whole.bunches[bunch], place)
        at = {
            trunk.id: at
            for trunk in self.job.trunks
            for at in self.divide_options(trunk)
            if trunk.id in there.ways and value(self.divided_at(trunk, at))
        }
        return Assignment(there.ways, places, there.ends, at)

    @cached_property
    def _of_chain(self) -> Mapping[int, list[int]]:
        found: dict[int, list[int]] = defaultdict(list)
        for bunch, link in self.whole.links.items():
            found[link.first].append(bunch)
        return found


class Rounds(NamedTuple):
    """What the plans of a model have at least, by the counts of its chains, and a plan that may be as good.

    ``trays`` are used places, ``length`` the leg length in mm: where trays count first, that of plans with no more used places.
    ``found`` is the solution behind the plan.
    """

    trays: int
    length: int
    plan: Assignment
    counts: RoundCounts
    found: cp_sat.CpSolver


def count(
    model: Model, weight: int, clock: Clock, *, trays: int, trays_first: bool, in_order: bool, effort: float = EFFORT
) -> Rounds | None:
    """Count the chains of a model; None where the counts have no answer in so much deterministic time.

    ``weight`` bounds the broken preferences as it does in the model; ``trays`` is a bound on used places that is known, and
    ``trays_first`` says that they count before lengths. Without a crossing, plans are ``in_order``.
    """
    counts = RoundCounts(model, in_order=in_order)
    counts.hold_preferences(weight)
    if trays_first and trays < len(model.places):
        used = counts.encoded("trays")
        counts.require(used >= trays)
        counts.minimize(used)
        status, solver = counts.ask(clock, effort)
        if status != cp_sat.OPTIMAL:
            return None
        trays = max(trays, whole_bound(solver.best_objective_bound))
        counts.require(used <= trays)
    counts.minimize(counts.encoded("leg_length_mm"))
    status, solver = counts.ask(clock, effort)
    if status not in FOUND:
        return None
    return Rounds(trays, whole_bound(solver.best_objective_bound), counts.plan(solver.value), counts, solver)


def least_irregular(rounds: Rounds, clock: Clock) -> tuple[int, Assignment | None]:
    """Bound how irregular plans of the counted length are, and give a plan that may be as regular, if one was found.

    They have the counted trays as well, where trays count before lengths, and no crossing.
    """
    counts = rounds.counts
    if not counts.follows:
        return 0, None
    counts.require(counts.encoded("leg_length_mm") <= rounds.length)
    counts.minimize(counts.irregular())
    hint_all(counts.cp, rounds.found.response_proto.solution)
    status, solver = counts.ask(clock, IRREGULAR_EFFORT)
    plan = counts.plan(solver.value) if status in FOUND else None
    return max(0, whole_bound(solver.best_objective_bound)), plan


def chains_by_kind(model: Model) -> dict[ChainKind, list[int]]:
    """Return the chains of a model by kind, each by its first bunch, in the order of the trunks' subunits."""
    kind_of = kinds(model)
    parts: dict[int, list[tuple[int, Kind]]] = defaultdict(list)
    for bunch, (first, outward) in model.links.items():
        parts[first].append((outward, kind_of[bunch]))
    of_chain: dict[int, list[Turn]] = defaultdict(list)
    for first, turn in turns(model):
        of_chain[first].append(turn)
    found: dict[ChainKind, list[int]] = defaultdict(list)
    for first in sorted(parts):
        found[ChainKind(tuple(sorted(parts[first], key=str)), tuple(sorted(of_chain[first])))].append(first)
    return found


def turns(model: Model) -> Iterator[tuple[int, Turn]]:
    """Yield each subunit of a lead trunk with its chain, where subunits go to stacks in rounds."""
    stacks = len(model.job.enclosure.stacks)
    if stacks < 2 or not model.keeps(AlternateStacks.id):
        return
    for trunk in model.job.trunks:
        if trunk.id not in model.job.lead_trunks:
            continue
        firsts = [model.legs(subunit, of[0])[0] for subunit in trunk.subunits if (of := model.divisions(subunit))]
        for i, leg in enumerate(firsts):
            link = model.links[model.bunch(leg)]
            yield link.first, Turn(trunk.id, i // stacks, link.outward)
