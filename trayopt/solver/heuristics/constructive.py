"""The constructive heuristic: coarsest split that fits, trunks in listed order, base outward, stacks in turn.

What a careful crew does without a computer, and the first plan of every search.
It looks at one trunk and one subunit after the other and never goes back; what does
not fit where it comes is left out. It keeps every always rule and every physical rule at must, as far as it places anything.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from trayopt.domain.assignment import Assignment, Way
from trayopt.domain.cablework import Leg
from trayopt.domain.hardware import Place
from trayopt.domain.job import Job
from trayopt.domain.tied import tied
from trayopt.rules.judge import judge, no_plan_breaks
from trayopt.track.laid import Laid

Key = tuple[str, int]


@dataclass
class Bunch:
    """Legs that are spliced to each other and so share a tray; ``load2`` is twice the fibre places it takes."""

    legs: list[Leg] = field(default_factory=list)
    load2: int = 0
    sleeves: dict[int, int] = field(default_factory=dict)


def keeps_facts(job: Job, assignment: Assignment) -> bool:
    """Whether an assignment breaks no always rule, no built pin and no physical rule at must."""
    return not any(no_plan_breaks(found) for found in judge(job, Laid(job, assignment)))


def first_plans(job: Job) -> Iterator[Assignment]:
    """Yield the plan of habit for each number of loops that the trunks may make, the fewest first."""
    for loops in sorted({n for trunk in job.trunks for n in trunk.loops if n >= 1} or {1}):
        yield construct(job, loops)


def construct(job: Job, loops: int) -> Assignment:
    """Make the plan of habit; ``loops`` is the number that every trunk makes if its own limits allow it."""
    ways = choose_ways(job, loops)
    divisions = coarsest(job)
    bunches = bunches_of(job, divisions)
    laying = Laying(job, ways)
    for cluster in clusters(job, bunches):
        laying.lay(cluster)
    plan = laying.assignment()
    if not keeps_facts(job, plan):
        laying = Laying(job, ways)
        for cluster in clusters(job, bunches):
            laying.lay(cluster, judged=True)
        plan = laying.assignment()
    return plan


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


def coarsest(job: Job) -> dict[Key, int]:
    """Divide no further than needed: where legs that hang together fit into no tray, divide the largest of them, and its like."""
    trays = {stack.tray.id: stack.tray for stack in job.enclosure.stacks}.values()
    divisions = {key: 1 for key, runs in job.spliced.items() if runs}
    while True:
        heavy = next(
            (
                bunch
                for bunch in bunches_of(job, divisions)
                if not any(
                    bunch.load2 <= 2 * tray.fibres and bunch.sleeves[tray.sleeve_fibres] <= tray.sleeves
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


def bunches_of(job: Job, divisions: dict[Key, int]) -> list[Bunch]:
    """Put legs that are spliced to each other together, in the order of trunks, subunits and groups."""

    def leg_of(trunk: str, fibre: int) -> Leg:
        subunit = job.trunk_by_id[trunk].subunit_of(fibre)
        return subunit.leg_of_fibre(fibre, divisions[trunk, subunit.number])

    legs = [leg for key, of in divisions.items() for leg in job.spliced_legs(job.subunit_of_leg[key], of)]
    number = tied(
        legs,
        ((leg_of(piece.a.trunk, piece.a.first), leg_of(piece.b.trunk, piece.b.first)) for piece in job.pieces),
    )
    sizes = {stack.tray.sleeve_fibres for stack in job.enclosure.stacks}
    found = [Bunch(sleeves=dict.fromkeys(sizes, 0)) for _ in set(number.values())]
    for leg in legs:
        bunch = found[number[leg]]
        bunch.legs.append(leg)
        bunch.load2 += job.ends(leg)
    for run in job.sleeve_runs:
        for size in sizes:
            found[number[leg_of(run.a.trunk, run.a.first)]].sleeves[size] += run.sleeves(size)
    return found


def clusters(job: Job, bunches: Sequence[Bunch]) -> Iterator[list[Bunch]]:
    """Put bunches together that share a subunit, which goes to one stack whole, in order of their first legs."""
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
        yield [bunches[j] for j in sorted(found)]


# -- laying ----------------------------------------------------------------------------------------------------------


class Laying:
    """Trays as they fill, and whose turn it is among the stacks."""

    def __init__(self, job: Job, ways: dict[str, Way]) -> None:
        self.job, self.ways = job, ways
        self.places: dict[Leg, Place] = {}
        self.stacks = [stack.id for stack in job.enclosure.stacks]
        self.top = dict.fromkeys(self.stacks, 0)
        self.turn = 0
        self.load2: dict[Place, int] = defaultdict(int)
        self.sleeves: dict[Place, int] = defaultdict(int)
        self.entering: dict[tuple[Place, str], int] = defaultdict(int)
        self.pairs: dict[Place, frozenset[str]] = {}

    def lay(self, cluster: Sequence[Bunch], *, judged: bool = False) -> None:
        """Lay bunches on the stack whose turn it is, else on the next that takes them; else one by one, or not at all."""
        if self._on_one_stack(cluster, judged=judged) or len(cluster) == 1:
            return
        if all(self._parted_at_port(leg.trunk) for bunch in cluster for leg in bunch.legs):
            for bunch in cluster:
                self._on_one_stack([bunch], judged=judged)

    def _parted_at_port(self, trunk: str) -> bool:
        return self.job.trunk_by_id[trunk].divide_at == "port"

    def _on_one_stack(self, cluster: Sequence[Bunch], *, judged: bool) -> bool:
        for step in range(len(self.stacks)):
            stack = self.stacks[(self.turn + step) % len(self.stacks)]
            if self._fill(stack, cluster):
                if not judged or keeps_facts(self.job, self.assignment()):
                    self.turn = (self.turn + step + 1) % len(self.stacks)
                    return True
                self._take_out(cluster)
        return False

    def _fill(self, stack: str, cluster: Sequence[Bunch]) -> bool:
        """Lay bunches one after the other from the outermost used tray of a stack on; takes all out again if one does not fit."""
        before = self.top[stack]
        for done, bunch in enumerate(cluster):
            at = max(1, self.top[stack])
            place = next((p for p in (Place(stack, at), Place(stack, at + 1)) if self._takes(p, bunch)), None)
            if place is None:
                self._take_out(cluster[:done])
                self.top[stack] = before
                return False
            self._put(place, bunch, 1)
            self.top[stack] = place.position
        return True

    def _takes(self, place: Place, bunch: Bunch) -> bool:
        stack = self.job.enclosure.stack_by_id[place.stack]
        tray = stack.tray
        if place.position > stack.positions:
            return False
        entering = [self.ways[leg.trunk].travel for leg in bunch.legs]
        return (
            self.load2[place] + bunch.load2 <= 2 * tray.fibres
            and self.sleeves[place] + bunch.sleeves[tray.sleeve_fibres] <= tray.sleeves
            and all(self.entering[place, way] + entering.count(way) <= tray.entrance_legs for way in set(entering))
            and self.pairs.get(place, self._pair(bunch)) == self._pair(bunch)
        )

    def _pair(self, bunch: Bunch) -> frozenset[str]:
        return frozenset(leg.trunk for leg in bunch.legs)

    def _put(self, place: Place, bunch: Bunch, sign: int) -> None:
        tray = self.job.enclosure.tray_at(place)
        self.load2[place] += sign * bunch.load2
        self.sleeves[place] += sign * bunch.sleeves[tray.sleeve_fibres]
        for leg in bunch.legs:
            self.entering[place, self.ways[leg.trunk].travel] += sign
            if sign > 0:
                self.places[leg] = place
            else:
                del self.places[leg]
        if sign > 0:
            self.pairs[place] = self._pair(bunch)
        elif not self.load2[place]:
            self.pairs.pop(place, None)

    def _take_out(self, cluster: Sequence[Bunch]) -> None:
        for bunch in cluster:
            self._put(self.places[bunch.legs[0]], bunch, -1)
        for stack in self.stacks:
            used = [place.position for place in set(self.places.values()) if place.stack == stack]
            self.top[stack] = max(used, default=0)

    def assignment(self) -> Assignment:
        """Give what is laid."""
        inside = {leg.trunk for leg in self.places}
        return Assignment({trunk: way for trunk, way in self.ways.items() if trunk in inside}, dict(self.places))
