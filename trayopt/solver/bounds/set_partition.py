"""Bounds where divisions are open: which bunches there are, on which stack each, and how many of a kind at each tray place.

Decided are the divisions, the stack of every bunch, and how many bunches of a kind lie where; not which. It holds for every
plan that places every splice, keeps every must and has no more broken preferences than are known to be enough, because each
such plan gives these choices:

* Divisions are as the division model lets them be, and bunches those of the divisions: every leg is in one. A leg without a
  splice is a bunch by itself, chosen where its trunk is divided at the tray.
* A subunit that is not parted has all its bunches on one stack; its first leg is on its first stack always.
* A tray holds as many fibre ends, sleeves and legs as its bunches bring, and splices of the pairs of trunks that they join.
* Bunches take no more shares of trays than there are trays (``tray_shares.py``).
* Ways, stacks of subunits and rules bind as in the outline.

What is left out is in which order bunches lie, and so what crosses and what of a subunit lies next to what.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from functools import cached_property

from trayopt.domain.cablework import Leg, Subunit
from trayopt.domain.finding import Group
from trayopt.domain.hardware import Place
from trayopt.domain.splicing import Done
from trayopt.domain.trunk import Trunk
from trayopt.rules.base import AnyRule
from trayopt.rules.pin import Pinned
from trayopt.rules.reserve import Reserve
from trayopt.rules.subunit_together import SubunitTogether
from trayopt.rules.tray_pair import TrayPair
from trayopt.rules.variables import (  # fmt: skip
    Constraint,
    Cuts,
    Expression,
    FirstStacks,
    JoinStacks,
    LeastLoads,
    LegNumbers,
    LegsPlaced,
    LegStacks,
    Literal,
    Loads,
    Pairs,
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
from trayopt.solver.bounds.bunch_shares import BunchShares
from trayopt.solver.bounds.closed_patterns import Bunch, closed_bunches
from trayopt.solver.bounds.division import Divider
from trayopt.solver.bounds.kind_counts import Kind
from trayopt.solver.bounds.outline import STRICT
from trayopt.solver.bounds.tied_subunits import room_of
from trayopt.solver.bounds.tray_shares import holds_fibres, holds_sleeves, most_sleeves2
from trayopt.solver.model.base import Divisions
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.literals import total
from trayopt.solver.model.posting import Policy
from trayopt.solver.model.vocabulary import voice
from trayopt.solver.model.ways import Partings as DividedAt


class SetPartition(BunchShares):
    """The outline of a job whose divisions are open, with bunches on stacks and their kinds at places."""

    def __init__(
        self,
        divider: Divider,
        divisions: Divisions,
        clock: Clock,
        *,
        trays: bool,
        policy: Policy = STRICT,
        divide_at: DividedAt | None = None,
    ) -> None:
        self.trays = trays
        self.divider = divider
        job = divider.job
        self._of_key = {key: tuple(of) for key, of in divisions.items()}
        options = {trunk.id: (divide_at or {}).get(trunk.id, trunk.divide_at) for trunk in job.trunks}
        self._cut = {
            (key, of): job.legs_in(job.subunit_of_leg[key], of, options[key[0]][0])
            for key, open_ in self._of_key.items()
            for of in open_
        }
        self._with: dict[Leg, list[Bunch]] = {leg: [] for legs in self._cut.values() for leg in legs}
        self._number: dict[Kind, dict[Place, Expression]] = {}
        super().__init__(job, divisions, policy, clock, divide_at)

    def furnish(self) -> None:
        """Make bunches and counts before the rules speak."""
        self._divided = self.divider.post(self.cp, alike=False)
        for key, options in self._divided.items():
            self.require(total(literal for of, literal in options.items() if of not in self._of_key[key]) <= 0)
        self._divide_where_of_use()
        listed = None
        if holds_fibres(self.job):
            listed = closed_bunches(self.sides, {leg: self.job.ends(leg) for leg in self._with}, room_of(self.job))
        self.listed = listed is not None
        for bunch in listed or ():
            self._here[bunch] = {stack: self.literal(f"{bunch[0]} on {stack}") for stack in self.stacks}
            for leg in bunch:
                self._with[leg].append(bunch)
        if self.listed:
            self._choose()
            self._share_trays()
            if self.trays:
                self._count()
            else:
                self._fill()

    def _divide_where_of_use(self) -> None:
        """Divide trunks only where the divisions of their subunits are of use."""
        for (trunk, number), open_ in self._of_key.items():
            options = self.divide_options(self.job.trunk_by_id[trunk])
            for of in open_:
                of_use = [at for at in options if at in self.divider.where((trunk, number), of)]
                if len(of_use) < len(options):
                    there = self.divided_at(self.job.trunk_by_id[trunk], of_use[0]) if of_use else 0
                    self.clause(self.no(self._divided[trunk, number].get(of, 0)), there)

    def _choose(self) -> None:
        """Put every leg of the divisions into one bunch, and bunches on the stacks of their subunits."""
        for subunit in self.job.subunits:
            for of in self.divisions(subunit):
                for leg in self.legs(subunit, of):
                    self.require(total(self.on(leg, stack) for stack in self.stacks) == self.placed(leg))
            if not self.divisions(subunit):
                continue
            firsts = [self.job.spliced_legs(subunit, of)[0] for of in self.divisions(subunit)]
            for stack in self.stacks:
                first = self.first_on(subunit, stack)
                self.require(total(self.on(leg, stack) for leg in firsts) == first)
                for of in self.divisions(subunit):
                    for leg in self.legs(subunit, of):
                        if leg not in firsts:
                            self.require(self.on(leg, stack) <= first + self.parted(subunit))

    def _fill(self) -> None:
        """Let stacks take what their trays take in all, and let bunches that join two pairs of trunks break ``tray_pair``."""
        for stack in self.job.enclosure.stacks:
            loads = total(sum(map(self.job.ends, bunch)) * here[stack.id] for bunch, here in self._here.items())
            self.require(loads <= 2 * sum(tray.fibres for tray in stack.by_position))
        if holds_sleeves(self.job):
            self._fill_sleeves()
        mixed = [bunch for bunch in self._here if len(self._pairs(bunch)) > 1]
        mode = self.policy.mode(self.job, TrayPair())
        if mode == "free" or not mixed:
            return
        placed = {bunch: total(self._here[bunch].values()) for bunch in mixed}
        if mode == "hard":
            self.require(total(placed.values()) <= 0)
            return
        broken = self.let_go[Group(TrayPair.id, "some")] = self.number(
            len(self.places), "trays with splices of two pairs"
        )
        for here in placed.values():
            self.require(here <= broken)
        self._share(placed, broken)

    def _lies(self, leg: Leg, places: Sequence[Place]) -> Constraint:
        """Ask for a leg on one of some stacks."""
        if not self.listed or leg not in self._with:
            return super()._lies(leg, places)
        return total(self.on(leg, stack) for stack in sorted({place.stack for place in places})) >= 1

    def _fill_sleeves(self) -> None:
        """Let stacks take the sleeves that their trays take in all, and a bunch no more than some tray."""
        sleeves, _ = self._sleeves
        most = most_sleeves2(self.job)
        more: dict[Done, list[tuple[int, dict[str, Literal]]]] = defaultdict(list)
        least: list[tuple[int, dict[str, Literal]]] = []
        for bunch, here in self._here.items():
            needed = sum(sleeves[leg] for leg in bunch)
            least.append((needed, here))
            if needed > most:
                self.require(total(here.values()) <= 0)
            for done, extra in self._more_sleeves(bunch).items():
                more[done].append((extra, here))
                if needed <= most < needed + extra:
                    self.require(total(here.values()) <= self.no(self.done(done)))
        for stack in self.job.enclosure.stacks:
            brought = total(n * here[stack.id] for n, here in least)
            beside = total(
                self.where_done(
                    done,
                    total(n * here[stack.id] for n, here in found),
                    sum(n for n, _ in found),
                    ("more sleeves on", stack.id),
                )
                for done, found in more.items()
            )
            self.require(brought + beside <= 2 * sum(tray.sleeves for tray in stack.by_position))

    def _count(self) -> None:
        """Count the bunches of a kind at places, as many on a stack as lie there."""
        kinds: dict[Kind, list[Bunch]] = {}
        for bunch in self._here:
            kinds.setdefault(self._kind(bunch), []).append(bunch)
        for kind, bunches in kinds.items():
            self._number[kind] = {
                place: self.number(self._most_at(kind, place), f"{kind} at {place}") for place in self.places
            }
            for stack in self.stacks:
                here = total(self._number[kind][place] for place in self.places if place.stack == stack)
                self.require(here == total(self._here[bunch][stack] for bunch in bunches))

    def _most_at(self, kind: Kind, place: Place) -> int:
        return 2 * self.job.enclosure.tray_at(place).fibres // kind.ends

    @cached_property
    def _lightest(self) -> int:
        """The fibre ends of the bunch with the fewest."""
        return min((kind.ends for kind in self._number), default=1)

    def most_bunches(self, place: Place) -> int:
        """Bound the bunches at a place by the fibres of its tray and the lightest bunch."""
        return 2 * self.job.enclosure.tray_at(place).fibres // self._lightest

    def _kind(self, bunch: Bunch) -> Kind:
        sleeves, _ = self._sleeves
        return Kind(
            sum(map(self.job.ends, bunch)),
            sum(sleeves[leg] for leg in bunch),
            tuple(sorted(Counter(leg.trunk for leg in bunch).items())),
            self._pairs(bunch),
            tuple(sorted(self._more_sleeves(bunch).items(), key=str)),
        )

    def _more_sleeves(self, bunch: Bunch) -> Counter[Done]:
        """Count by what is done with ribbons twice the sleeves that a bunch takes more than at least."""
        more = self._sleeves[1]
        return sum((Counter(more[leg]) for leg in bunch if leg in more), Counter())

    @cached_property
    def _sleeves(self) -> tuple[Mapping[Leg, int], Mapping[Leg, Mapping[Done, int]]]:
        """Return the sleeves of each leg, at least and by what is done with ribbons."""
        size = self.job.enclosure.stacks[0].tray.sleeve_fibres
        return self.leg_sleeves(size), self.leg_more_sleeves(size)

    def _pairs(self, bunch: Bunch) -> frozenset[tuple[str, ...]]:
        """Pairs of trunks that a bunch joins."""
        return frozenset(pair for leg in bunch for pair in self._joined[leg])

    @cached_property
    def _joined(self) -> dict[Leg, set[tuple[str, ...]]]:
        """Pairs of trunks whose splices a leg holds."""
        found: dict[Leg, set[tuple[str, ...]]] = {leg: set() for leg in self._with}
        for piece, both in self.sides.items():
            for leg in {*both[0], *both[1]}:
                found[leg].add(tuple(sorted((piece.a.trunk, piece.b.trunk))))
        return found

    @property
    def size(self) -> int:
        """Number of counts at places."""
        return len(self._number) * len(self.places)

    # -- what rules and goals ask for --------------------------------------------------------------------------------

    @cached_property
    def voice(self) -> Variables:
        """What rules and goals may ask: of trays only where what lies at them is counted."""
        known = (
            TrunkWays,
            Windows,
            Partings,
            Ribbons,
            TrunkStacks,
            TrunkPlaces,
            JoinStacks,
            StackTrays,
            FirstStacks,
            Cuts,
            LegsPlaced,
            LegNumbers,
            LegStacks,
        )
        return voice(self, *known, *((TrunkLegs, Pairs, Trays, LeastLoads, Loads) if self.trays else ()))

    def voice_for(self, rule: AnyRule) -> Variables | None:
        """Let guides ask for the legs themselves; where no trays are counted, bunches are held to what mixes pairs of trunks."""
        if isinstance(rule, Reserve) and not self.trays:
            return super().voice_for(rule)
        own = isinstance(rule, Pinned | SubunitTogether) or (isinstance(rule, TrayPair) and not self.trays)
        return self.voice if self.listed and not own else None

    def divisions(self, subunit: Subunit) -> tuple[int, ...]:
        """Every k that is open for a subunit."""
        return self._of_key.get((subunit.trunk, subunit.number), ())

    def divided(self, subunit: Subunit, of: int) -> Literal:
        """Whether a subunit is divided by this k."""
        return self._divided[subunit.trunk, subunit.number].get(of, 0)

    def legs(self, subunit: Subunit, of: int) -> tuple[Leg, ...]:
        """Every leg of a division that can be placed."""
        return self._cut.get(((subunit.trunk, subunit.number), of), ())

    def placed(self, leg: Leg) -> Literal:
        """Every leg of the division that is chosen is placed, at the tray those without a splice as well."""
        divided = self.divided(self.job.subunit(leg), leg.of)
        if not self._may_stay_bare(leg):
            return divided
        return self.both(divided, self.divided_at(self.job.trunk_by_id[leg.trunk], "tray"))

    def on(self, leg: Leg, stack: str) -> Literal:
        """Whether a leg is on a stack."""
        return self.one_of(*(self._here[bunch][stack] for bunch in self._with[leg]))

    def number_placed(self, subunit: Subunit, of: int) -> Expression:
        """How many legs of a division are placed."""
        bare = [leg for leg in self.legs(subunit, of) if self._may_stay_bare(leg)]
        spliced = len(self.legs(subunit, of)) - len(bare)
        return spliced * self.divided(subunit, of) + total(self.placed(leg) for leg in bare)

    def number_on(self, subunit: Subunit, of: int, stack: str) -> Expression:
        """How many legs of a division are on a stack."""
        return total(self.on(leg, stack) for leg in self.legs(subunit, of))

    def legs_on(self, trunk: Trunk, stack: str) -> Expression:
        """How many legs of a trunk are on a stack."""
        return total(self.legs_at(trunk, place) for place in self.places if place.stack == stack)

    def most_legs_at(self, place: Place) -> int:
        """Bound the legs at a place by the bunch that brings the most for its places."""
        densest = max((len(bunch) / sum(map(self.job.ends, bunch)) for bunch in self._here), default=0)
        return int(2 * self.job.enclosure.tray_at(place).fibres * densest + 1e-6)

    def trunk_on(self, trunk: Trunk, stack: str) -> Literal:
        """Whether a trunk has a leg on a stack: where a bunch with one lies."""
        here = (here[stack] for bunch, here in self._here.items() if any(leg.trunk == trunk.id for leg in bunch))
        return self._make(("trunk on", trunk.id, stack), lambda: self.any_of(*here))

    def any_on(self, subunit: Subunit, stack: str) -> Literal:
        """Whether a leg of a subunit is on a stack."""
        return self.any_of(*(self.on(leg, stack) for of in self.divisions(subunit) for leg in self.legs(subunit, of)))

    def pair_at(self, pair: tuple[str, str], place: Place) -> Literal:
        """Whether splices of a pair of trunks lie at a place."""
        here = total(at[place] for kind, at in self._number.items() if tuple(sorted(pair)) in kind.pairs)
        return self.positive(("pair", pair, place), here, self.most_bunches(place))
