"""The constructive heuristic: coarsest split that fits, trunks in listed order, the base first, stacks in turn.

What a careful crew does without a computer, and the first plan of every search.
It looks at one trunk and one subunit after the other and never goes back; what does
not fit where it comes is left out. It keeps every always rule and every physical rule at must, as far as it places anything.

Trunks are divided at the tray, where they may be: then all legs of an opened tube are laid one after the other, those without a
splice among them, and so that few trays are tied to each other. Where that leaves splices out, it is tried without regard
to ties, and then with the trunks of these splices divided at the port.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise

from trayopt.domain.assignment import Assignment, Way
from trayopt.domain.base import DivideAt, RibbonWord
from trayopt.domain.cablework import Leg
from trayopt.domain.hardware import Place
from trayopt.domain.job import Job
from trayopt.domain.splicing import sleeve_runs
from trayopt.domain.tied import tied
from trayopt.rules.judge import judge, no_plan_breaks
from trayopt.rules.tied_trays import TiedTrays
from trayopt.track.laid import Laid

Key = tuple[str, int]
Parting = dict[str, DivideAt]
"""Where each trunk is divided."""


@dataclass
class Bunch:
    """Legs that are spliced to each other and so share a tray, or a parked leg, with fibre ends and sleeves that they bring."""

    legs: list[Leg] = field(default_factory=list)
    ends: int = 0
    sleeves: dict[int, int] = field(default_factory=dict)


def keeps_facts(job: Job, assignment: Assignment) -> bool:
    """Whether an assignment breaks no always rule, no built pin and no physical rule at must."""
    return not any(no_plan_breaks(found) for found in judge(job, Laid(job, assignment)))


def first_plans(job: Job) -> Iterator[Assignment]:
    """Yield the plan of habit for each number of loops that the trunks may make, the fewest first."""
    for loops in sorted({n for trunk in job.trunks for n in trunk.loops if n >= 1} or {1}):
        yield construct(job, loops)


def construct(job: Job, loops: int) -> Assignment:
    """Make the plan of habit; ``loops`` is the number that every trunk makes if its own limits allow it.

    Ribbons are worked on as little as may be; where splices stay out then, what takes the fewest sleeves is tried as well.
    """
    plans: list[Assignment] = []
    for word in ("least work", "fewest sleeves") if job.ribbons_open else ("",):
        work = {t.id: t.ribbons[0] for t in job.ribbons_open} if word != "fewest sleeves" else fewest_sleeves(job)
        plan = _construct_with(job.with_ribbons(work) if work else job, loops)
        plans.append(replace(plan, ribbons={trunk: done for trunk, done in work.items() if trunk in plan.ways}))
        if _spliced(job, plan) == 2 * job.splices:
            break
    return max(plans, key=lambda plan: _spliced(job, plan))


def fewest_sleeves(job: Job) -> dict[str, RibbonWord]:
    """Choose for each trunk in turn what takes the fewest sleeves, of that the least work."""
    size = max(tray.sleeve_fibres for tray in job.enclosure.trays)
    chosen: dict[str, RibbonWord] = {}

    def sleeves(trunk: str, word: RibbonWord) -> int:
        work = {t.id: t.ribbons[0] for t in job.trunks} | chosen | {trunk: word}
        return sum(run.sleeves(size) for run in sleeve_runs(job.pieces, job.trunk_by_id, work))

    for trunk in job.ribbons_open:
        chosen[trunk.id] = min(trunk.ribbons, key=lambda word, t=trunk.id: sleeves(t, word))  # type: ignore[misc]
    return chosen


def _construct_with(job: Job, loops: int) -> Assignment:
    """Make the plan of habit of a job in which it is decided what is done with ribbons."""
    ways = choose_ways(job, loops)
    at = choose_partings(job)
    plans = [_construct(job, ways, at, few_ties=few) for few in ((True, False) if _minds_ties(job) else (False,))]
    best = max(plans, key=lambda plan: _spliced(job, plan))
    left = {trunk.id for trunk in job.trunks if _spliced(job, best, trunk.id) < job.spliced_in(trunk)}
    parted: Parting = {trunk: "port" for trunk in left if "port" in job.trunk_by_id[trunk].divide_at}
    if any(at[trunk] != "port" for trunk in parted if not _pinned_at(job, trunk)):
        free = {trunk: port for trunk, port in parted.items() if not _pinned_at(job, trunk)}
        best = max(best, _construct(job, ways, at | free, few_ties=False), key=lambda plan: _spliced(job, plan))
    return best


def _construct(job: Job, ways: dict[str, Way], at: Parting, *, few_ties: bool) -> Assignment:
    """Lay everything that fits; once more and judged after each step, where what comes of it breaks what no plan may break."""
    bunches = bunches_of(job, coarsest(job, at), at)
    laying = Laying(job, ways, at, few_ties=few_ties)
    for cluster in clusters(job, bunches):
        laying.lay(cluster)
    plan = laying.assignment()
    if not keeps_facts(job, plan):
        laying = Laying(job, ways, at, few_ties=few_ties)
        for cluster in clusters(job, bunches):
            laying.lay(cluster, judged=True)
        plan = laying.assignment()
    return plan


def _spliced(job: Job, plan: Assignment, trunk: str | None = None) -> int:
    """Count the spliced fibres that a plan places, of a trunk or of all."""
    return sum(job.spliced_fibres(leg) for leg in plan.places if trunk in {None, leg.trunk})


def _minds_ties(job: Job) -> bool:
    return TiedTrays.id in job.rules and job.rules[TiedTrays.id].level != "off"


def choose_partings(job: Job) -> Parting:
    """Divide each trunk at the first place of its list, the tray where it may be, or where a pin says."""
    return {trunk.id: _pinned_at(job, trunk.id) or trunk.divide_at[0] for trunk in job.trunks}


def _pinned_at(job: Job, trunk: str) -> DivideAt | None:
    """Give where a pin of a trunk says that it is divided."""
    return next((pin.divide_at for pin in job.trunk_pins if pin.trunk == trunk and pin.divide_at is not None), None)


# -- ways ------------------------------------------------------------------------------------------------------------


def choose_ways(job: Job, loops: int) -> dict[str, Way]:
    """Give each trunk, in listed order, the first free port by its nature, and the other way round from its partners."""
    pairs = {frozenset(pair) for pair in job.joined_pairs}
    held: dict[str, list[float]] = defaultdict(list)
    ways: dict[str, Way] = {}
    for trunk in job.trunks:
        partners = [ways[other] for other in ways if frozenset((other, trunk.id)) in pairs]
        options = []
        for rank, port in enumerate(job.enclosure.ports):
            if port.id not in trunk.allowed_ports(job.enclosure):
                continue
            inside = [*held[port.id], trunk.cable.diameter_mm]
            takes = port.seal_for(inside) is not None
            for travel in trunk.travels:
                same = sum(way.travel == travel for way in partners)
                against = port.turns not in {"both", travel}
                options.append(((not takes, same, against, len(held[port.id]), rank), Way(port.id, travel, 0)))
        _, way = min(options)
        turns = min(trunk.loops, key=lambda n: (abs(n - loops), n))
        ways[trunk.id] = way._replace(loops=turns)
        held[way.port].append(trunk.cable.diameter_mm)
    return _pinned(job, ways)


def _pinned(job: Job, ways: dict[str, Way]) -> dict[str, Way]:
    """Go the way that a pin of a trunk asks for."""
    for pin in job.trunk_pins:
        way = ways[pin.trunk]
        ways[pin.trunk] = Way(
            pin.port or way.port, pin.travel or way.travel, way.loops if pin.loops is None else pin.loops
        )
    return ways


# -- divisions -------------------------------------------------------------------------------------------------------


def coarsest(job: Job, at: Parting) -> dict[Key, int]:
    """Divide no further than needed: where legs that hang together fit into no tray, divide the largest of them, and its like."""
    trays = job.enclosure.trays
    divisions = {key: 1 for key, runs in job.spliced.items() if runs}
    while True:
        heavy = next(
            (
                bunch
                for bunch in bunches_of(job, divisions, at)
                if not any(
                    bunch.ends <= 2 * tray.fibres and bunch.sleeves[tray.sleeve_fibres] <= tray.sleeves
                    for tray in trays
                )
            ),
            None,
        )
        if heavy is None:
            return divisions
        for leg in sorted(heavy.legs, key=lambda leg: (-job.subunit(leg).fibres // leg.of, job.trunk_rank[leg.trunk])):
            if _divide(job, divisions, leg):
                break
        else:
            return divisions


def _divide(job: Job, divisions: dict[Key, int], leg: Leg) -> bool:
    """Divide a leg's subunit and those like it in its trunk one step further; tells whether that could be done."""
    own = job.subunit(leg)
    finer = [k for k in own.divisions if k > leg.of]
    if not finer:
        return False
    for subunit in job.trunk_by_id[leg.trunk].subunits:
        like = (subunit.ribbons, subunit.ribbon_fibres) == (own.ribbons, own.ribbon_fibres)
        if like and (subunit.trunk, subunit.number) in divisions:
            divisions[subunit.trunk, subunit.number] = finer[0]
    return True


def bunches_of(job: Job, divisions: dict[Key, int], at: Parting) -> list[Bunch]:
    """Put legs that are spliced to each other together, in the order of trunks, subunits and groups."""

    def leg_of(trunk: str, fibre: int) -> Leg:
        subunit = job.trunk_by_id[trunk].subunit_of(fibre)
        return subunit.leg_of_fibre(fibre, divisions[trunk, subunit.number])

    legs = [leg for key, of in divisions.items() for leg in job.legs_in(job.subunit_of_leg[key], of, at[key[0]])]
    number = tied(
        legs,
        ((leg_of(piece.a.trunk, piece.a.first), leg_of(piece.b.trunk, piece.b.first)) for piece in job.pieces),
    )
    sizes = {tray.sleeve_fibres for tray in job.enclosure.trays}
    found = [Bunch(sleeves=dict.fromkeys(sizes, 0)) for _ in set(number.values())]
    for leg in legs:
        bunch = found[number[leg]]
        bunch.legs.append(leg)
        bunch.ends += job.ends(leg)
    for run in job.sleeve_runs:
        for size in sizes:
            found[number[leg_of(run.a.trunk, run.a.first)]].sleeves[size] += run.sleeves(size)
    return found


def clusters(job: Job, bunches: Sequence[Bunch]) -> Iterator[list[Bunch]]:
    """Put bunches together that share a subunit, which goes to one stack whole, each after those that its legs follow."""
    of_subunit: dict[Key, list[int]] = defaultdict(list)
    for i, bunch in enumerate(bunches):
        for leg in bunch.legs:
            of_subunit[leg.trunk, leg.subunit].append(i)
    seen: set[int] = set()
    for i in range(len(bunches)):
        if i in seen:
            continue
        seen.add(i)
        todo, found = [i], []
        while todo:
            at = todo.pop()
            found.append(at)
            for leg in bunches[at].legs:
                for other in of_subunit[leg.trunk, leg.subunit]:
                    if other not in seen:
                        seen.add(other)
                        todo.append(other)
        yield [bunches[j] for j in _in_order(bunches, sorted(found))]


def _in_order(bunches: Sequence[Bunch], some: Sequence[int]) -> list[int]:
    """Put bunches into an order where the legs of each subunit rise, as far as there is one: the first that may come comes."""
    of_subunit: dict[Key, list[tuple[Leg, int]]] = defaultdict(list)
    for i in some:
        for leg in bunches[i].legs:
            of_subunit[leg.trunk, leg.subunit].append((leg, i))
    after: dict[int, set[int]] = {i: set() for i in some}
    for found in of_subunit.values():
        for (_, before), (_, i) in pairwise(sorted(found)):
            if before != i:
                after[i].add(before)
    left, made = dict.fromkeys(some), []
    while left:
        i = next((i for i in left if not after[i] & left.keys()), next(iter(left)))
        del left[i]
        made.append(i)
    return made


# -- laying ----------------------------------------------------------------------------------------------------------


class Laying:
    """Trays as they fill, and whose turn it is among the stacks.

    Parameters
    ----------
    at
        Where trunks are divided.
    few_ties
        Whether to begin a tray rather than to tie more trays to each other than should be.
    """

    def __init__(self, job: Job, ways: dict[str, Way], at: Parting, *, few_ties: bool) -> None:
        self.job, self.ways, self.at, self.few_ties = job, ways, at, few_ties
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

    def lay(self, cluster: Sequence[Bunch], *, judged: bool = False) -> None:
        """Lay bunches on the stack whose turn it is, else on the next that takes them; else one by one, or not at all."""
        if self.few_ties and self._on_one_stack(cluster, judged=judged, few_ties=True):
            return
        if self._on_one_stack(cluster, judged=judged) or len(cluster) == 1:
            return
        if all(self.at[leg.trunk] == "port" for bunch in cluster for leg in bunch.legs):
            for bunch in cluster:
                self._on_one_stack([bunch], judged=judged)

    def _on_one_stack(self, cluster: Sequence[Bunch], *, judged: bool, few_ties: bool = False) -> bool:
        for step in range(len(self.stacks)):
            stack = self.stacks[(self.turn + step) % len(self.stacks)]
            for start in dict.fromkeys((max(1, self.top[stack]), self.top[stack] + 1)):
                before = self.top[stack]
                if not self._fill(stack, cluster, start):
                    continue
                ties = self._ties(stack, cluster)
                tied = few_ties and self._too_many(stack, ties)
                if not tied and (not judged or keeps_facts(self.job, self.assignment())):
                    self.runs[stack] += ties
                    self.turn = (self.turn + step + 1) % len(self.stacks)
                    return True
                self._take_out(cluster)
                self.top[stack] = before
        return False

    def _fill(self, stack: str, cluster: Sequence[Bunch], start: int) -> bool:
        """Lay bunches one after the other from a position of a stack on; takes all out again if one does not fit."""
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
        """Give the places that legs of a bunch may have that follow others: where these lie or one higher, else at the top."""
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
        """Give the placed leg before a leg in its subunit."""
        earlier = (leg._replace(group=group) for group in range(leg.group - 1, 0, -1))
        return next((other for other in earlier if other in self.places), None)

    def _ties(self, stack: str, cluster: Sequence[Bunch]) -> list[int]:
        """Give the positions that the subunits of a cluster tie to the next one outward."""
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
            and (len(bunch.legs) == 1 or self.pairs.get(place, self._pair(bunch)) == self._pair(bunch))
        )

    def _pair(self, bunch: Bunch) -> frozenset[str]:
        """Give the trunks of a bunch; a tray takes splices of one pair, and parked legs of any."""
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
        """Give what is laid; a trunk that may be divided at the tray is, where none of its subunits has more than one leg."""
        inside = self.job.inside(self.places)
        parted = {leg.trunk for leg in self.places if leg.of > 1}
        at: Parting = {
            trunk: self.at[trunk] if trunk in parted else self.job.trunk_by_id[trunk].divide_at[0] for trunk in inside
        }
        return Assignment(
            {trunk: way for trunk, way in self.ways.items() if trunk in inside}, dict(self.places), {}, at
        )
