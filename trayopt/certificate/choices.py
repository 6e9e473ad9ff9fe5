"""What is true of every plan of a job, as rows over whole numbers: written from their statements, not their encodings.

Every plan that is as good on some goals as is given makes numbers that meet all rows: patterns that are chosen and their stacks,
how many patterns of a kind lie at each place, ways, ends, where trunks are divided, what is broken. So a goal that no numbers
bring below a value is at least that value. What is left out is the order of legs on a stack and what crosses; rules that are
not named here are left out as well, which only lets in more.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from itertools import pairwise
from typing import NamedTuple

from trayopt.certificate.patterns import Key, Pattern, patterns
from trayopt.certificate.system import System, Terms
from trayopt.domain.assignment import Way
from trayopt.domain.base import EPSILON, DivideAt
from trayopt.domain.cable import FIBRE_RADIUS_MM
from trayopt.domain.cablework import Leg, Subunit
from trayopt.domain.hardware import Place, Stack
from trayopt.domain.job import Job
from trayopt.domain.plan import GoalName
from trayopt.domain.trunk import Trunk
from trayopt.track.lengths import CUT_STEP_MM, Lengths
from trayopt.track.routes import all_ways, routes_of

STEP: Mapping[GoalName, int] = {"leg_length_mm": CUT_STEP_MM}
"""Goals that rise by more than 1."""

MOST_SIZES = 12
"""Most sizes of pieces of which is counted how many a tray holds."""


class Kind(NamedTuple):
    """What patterns that are alike bring to a tray."""

    ends: int
    sleeves: tuple[int, ...]
    legs: tuple[tuple[str, int], ...]
    pairs: tuple[tuple[str, str], ...]

    @property
    def name(self) -> str:
        """Write as ``288 ends, 24 sleeves, N1 1, S1 2, N1+S1``."""
        words = [f"{self.ends} ends", f"{'|'.join(map(str, self.sleeves))} sleeves"]
        return ", ".join([*words, *(f"{t} {n}" for t, n in self.legs), *(f"{a}+{b}" for a, b in self.pairs)])


class Choices(System):
    """The rows of the plans of a job that are as good on the goals given.

    Parameters
    ----------
    job
        The job.
    given
        Goals with the values that plans have at most.
    """

    def __init__(self, job: Job, given: Mapping[GoalName, int]) -> None:
        super().__init__()
        self.job, self.given = job, given
        self.routes = routes_of(job)
        self.whole = given.get("unplaced") == 0
        self.goals: dict[GoalName, list[tuple[int, int]]] = {"broken_must": [], "broken_prefer": []}
        self.lengths = Lengths.model_validate(dict(job.rules["exposed"].parameters))
        self.spliced = [s for s in job.subunits if job.spliced[s.trunk, s.number]]
        self.trunks = [t for t in job.trunks if any(s.trunk == t.id for s in self.spliced)]
        inside = {end for t in self.trunks for end in job.ends_of(t)}
        self.guests = [t for t in job.trunks if t in inside and t not in self.trunks]
        """Ends of trunks that go through, which come along with the other end: they have a way and no leg."""
        self.stacks = job.enclosure.stacks
        self.places = job.enclosure.places
        self.first: dict[tuple[Key, str], int] = {}
        """Whether the first leg of a subunit lies on a stack."""
        self.torn: dict[Key, int] = {}
        """Whether a subunit's legs do not follow each other on a stack."""
        self._divide()
        self._choose()
        self._go()
        self._lay()
        self._measure_lengths()

    def hold(self) -> None:
        """Hold plans to the goals that are given."""
        for goal, most in self.given.items():
            if goal in self.goals:
                self.row(f"given {goal}", self.goals[goal], most // STEP.get(goal, 1))

    def below(self, goal: GoalName, value: int) -> None:
        """Ask for plans whose goal is below a value."""
        self.row("goal", self.goals[goal], (value - 1) // STEP.get(goal, 1))

    # -- words -----------------------------------------------------------------------------------------------------------

    def hard(self, rule: str) -> bool:
        """Whether no plan breaks a physical rule."""
        return self.job.rules[rule].level == "must"

    def broken(self, rule: str, subject: str) -> tuple[int, int] | None:
        """Give the number of whether a practice rule is broken at a subject, with a factor of -1; None where it is off."""
        setting = self.job.rules[rule]
        if setting.level == "off":
            return None
        goal: GoalName = "broken_must" if setting.level == "must" else "broken_prefer"
        cost = 1 if setting.level == "must" else setting.weight
        name = f"broken {rule} {subject}"
        if name not in self.names:
            self.number(name, int(self.given.get(goal, cost) >= cost), rank=500)
            self.goals[goal].append((cost, self.names[name]))
        return -1, self.names[name]

    def fill(self, place: Place) -> int:
        """Most fibre ends at a place."""
        ends = 2 * self.job.enclosure.tray_at(place).fibres
        return ends if self.hard("tray_fibres") else max(ends, sum(s.fibres for s in self.spliced))

    # -- divisions and patterns ------------------------------------------------------------------------------------------

    def _can_travel(self, trunk: Trunk, subunit: Subunit, of: int, at: DivideAt) -> bool:
        """Whether something holds the legs of a division on the way, and the track does not bend it too tightly."""
        goes = self.routes.traveller(trunk, subunit, of, at)
        if goes is None:
            return False
        return not self.hard("bend_radius") or goes.radius_mm <= self.job.enclosure.track.min_radius_mm + EPSILON

    def _divide(self) -> None:
        """Divide every subunit in one way, where its trunk is divided."""
        self.port = {
            t.id: self.number(
                f"{t.id} divided at the port", int("port" in t.divide_at), int("tray" not in t.divide_at), rank=800
            )
            for t in self.trunks
        }
        self.of: dict[tuple[Key, int], int] = {}
        self.divisions: dict[Key, list[int]] = {}
        self.parked: dict[Key, list[int]] = {}
        for s in self.spliced:
            key, trunk = (s.trunk, s.number), self.job.trunk_by_id[s.trunk]
            for k in s.divisions:
                sound = [at for at in trunk.divide_at if self._can_travel(trunk, s, k, at)]
                if not sound:
                    continue
                self.of[key, k] = self.number(f"{s.name} in {k}", rank=100)
                self.divisions.setdefault(key, []).append(k)
                if "tray" in sound and k > 1:
                    self.parked.setdefault(key, []).append(k)
                if len(sound) < len(trunk.divide_at):
                    sign = -1 if sound == ["port"] else 1
                    self.row(
                        f"{s.name} in {k} at {sound[0]}",
                        [(1, self.of[key, k]), (sign, self.port[s.trunk])],
                        int(sign > 0),
                    )
            self.divisions.setdefault(key, [])
            self.row(f"{s.name} divided", [(1, self.of[key, k]) for k in self.divisions[key]], 1, equal=self.whole)

    def _choose(self) -> None:
        """Choose patterns and their stacks, so that a leg of the division is in one."""
        room = max(map(self.fill, self.places))
        self.on: dict[tuple[Leg, str], list[tuple[int, int]]] = {}
        self.chosen: dict[tuple[Pattern, str], int] = {}
        self.patterns = [p for p in patterns(self.job, self.divisions, self.parked, room) if any(self._takers(p))]
        while self.whole and self._leave_out():
            pass
        for pattern in self.patterns:
            for stack in self._takers(pattern):
                number = self.chosen[pattern, stack.id] = self.number(f"{pattern.name} on {stack.id}")
                for leg in pattern.legs:
                    self.on.setdefault((leg, stack.id), []).append((1, number))
        for s in self.spliced:
            key = (s.trunk, s.number)
            for k in self.divisions[key]:
                divided = (-1, self.of[key, k])
                for leg in s.legs(k):
                    placed = self.placed(leg)
                    if self.job.spliced_fibres(leg):
                        self.row(f"{leg} of {k}", [*placed, divided], 0, equal=self.whole)
                    elif k in self.parked.get(key, ()) and self.whole:
                        self.row(
                            f"{leg} of {k} parked",
                            [(-f, n) for f, n in placed] + [(1, self.of[key, k]), (-1, self.port[s.trunk])],
                            0,
                        )
                if not self.whole and k > 1:
                    for one, other in pairwise(s.legs(k)):
                        if k in self.parked.get(key, ()):
                            for a, b in ((one, other), (other, one)):
                                terms = [
                                    *self.placed(a),
                                    *((-f, n) for f, n in self.placed(b)),
                                    (-1, self.port[s.trunk]),
                                ]
                                self.row(f"{a} of {k} with {b}", terms, 0)
        terms = [(-p.splices, n) for (p, _), n in self.chosen.items() if p.splices]
        self.goals["legs"] = [(len(p.legs), n) for (p, _), n in self.chosen.items()]
        all_splices = self.number("all splices", self.job.splices, self.job.splices)
        self.goals["unplaced"] = [(1, all_splices), *terms]

    def _takers(self, pattern: Pattern) -> Iterator[Stack]:
        """Give the stacks whose trays take a pattern."""
        return (stack for stack in self.stacks if self._takes(stack, pattern))

    def _leave_out(self) -> bool:
        """Leave out divisions that have a leg in no pattern, or more legs than are given; tells whether there were any."""
        held = {leg for pattern in self.patterns for leg in pattern.legs}
        gone = {
            (key, k) for key, ks in self.divisions.items() for k in ks
            if not held.issuperset(self.job.spliced_legs(self.job.subunit_of_leg[key], k))
        }  # fmt: skip
        spare = self.given["legs"] - sum(map(self._fewest, self.spliced)) if "legs" in self.given and not gone else None
        if spare is not None:
            gone = {
                ((s.trunk, s.number), k) for s in self.spliced for k in self.divisions[s.trunk, s.number]
                if len(self.job.spliced_legs(s, k)) - self._fewest(s) > spare
            }  # fmt: skip
        for key, k in gone:
            self.divisions[key].remove(k)
            self.bounds[self.of[key, k]] = (0, 0)
        self.patterns = [p for p in self.patterns if not any(((g.trunk, g.subunit), g.of) in gone for g in p.legs)]
        return bool(gone)

    def placed(self, leg: Leg) -> list[tuple[int, int]]:
        """Give whether a leg is placed."""
        return [term for stack in self.stacks for term in self.on.get((leg, stack.id), ())]

    def _takes(self, stack: Stack, pattern: Pattern) -> bool:
        """Whether a tray of a stack takes a pattern."""
        tray = stack.tray
        return not (
            (self.hard("tray_fibres") and pattern.ends > 2 * tray.fibres)
            or (self.hard("tray_sleeves") and pattern.sleeves(tray.sleeve_fibres) > tray.sleeves)
            or (self.hard("entrance_legs") and max(pattern.by_trunk.values()) > tray.entrance_legs)
            or (self.hard("fibre_bend") and any(self._bends(t, stack) for t in pattern.by_trunk))
        )

    def _bends(self, trunk: str, stack: Stack) -> bool:
        fibre = self.job.trunk_by_id[trunk].cable.fibre
        return stack.tray.min_radius_mm < FIBRE_RADIUS_MM[fibre] - EPSILON

    # -- ways and places -------------------------------------------------------------------------------------------------

    def _go(self) -> None:
        """Give each trunk one way, both ends of one that goes through or neither, and each stack one end."""
        self.way: dict[tuple[str, Way], int] = {}
        for t in (*self.trunks, *self.guests):
            for way in all_ways(self.job, t):
                stripped = self.lengths.strip_mm([], way.loops)
                can = not (self.hard("exposed") and t.exposed_mm is not None and stripped > t.exposed_mm)
                self.way[t.id, way] = self.number(f"{t.id} by {_said(way)}", int(can), rank=1000)
            self.row(f"{t.id} goes", self.ways(t.id), 1, equal=self.whole)
            clockwise = self.number(f"{t.id} goes clockwise", rank=1100)
            self.row(f"{t.id} clockwise", [*self.ways(t.id, travel="clockwise"), (-1, clockwise)], 0, equal=True)
        for item in self.job.through:
            both = [self.ways(end) for end in item.ends]
            self.row(f"{item} goes through", [*both[0], *((-f, n) for f, n in both[1])], 0, equal=True)
        if not self.whole:
            for s in self.spliced:
                for k in self.divisions[s.trunk, s.number]:
                    for leg in s.legs(k):
                        self.row(
                            f"{leg} of {k} in the box",
                            [*self.placed(leg), *((-1, n) for _, n in self.ways(s.trunk))],
                            0,
                        )
        self.end = {(s.id, e.id): self.number(f"end {e.id} of {s.id}", rank=800) for s in self.stacks for e in s.ends}
        for stack in self.stacks:
            self.row(f"end of {stack.id}", [(1, self.end[stack.id, e.id]) for e in stack.ends], 1, equal=True)

    def ways(self, trunk: str, **wanted: object) -> list[tuple[int, int]]:
        """Give the ways of a trunk that have some port, travel or loops."""
        return [
            (1, n) for (t, way), n in self.way.items()
            if t == trunk and all(getattr(way, key) == value for key, value in wanted.items())
        ]  # fmt: skip

    def _lay(self) -> None:
        """Count the patterns of a kind at places, and let trays take what they bring."""
        sizes = sorted({stack.tray.sleeve_fibres for stack in self.stacks})
        kinds: dict[Kind, list[Pattern]] = {}
        for p in self.patterns:
            kind = Kind(p.ends, tuple(map(p.sleeves, sizes)), tuple(sorted(p.by_trunk.items())), tuple(sorted(p.pairs)))
            kinds.setdefault(kind, []).append(p)
        self.kinds = kinds
        self.at: dict[tuple[Kind, Place], int] = {}
        self.used = {place: self.number(f"{place} used", rank=50) for place in self.places}
        for kind, alike in kinds.items():
            for stack in self.stacks:
                here = [(1, self.chosen[p, stack.id]) for p in alike if (p, stack.id) in self.chosen]
                if not here:
                    continue
                for place in self.places:
                    if place.stack == stack.id:
                        self.at[kind, place] = self.number(f"{kind.name} at {place}", self.fill(place) // kind.ends)
                        here.append((-1, self.at[kind, place]))
                self.row(f"{kind.name} on {stack.id}", here, 0, equal=True)
        for place in self.places:
            laid = {kind: self.at[kind, place] for kind in kinds if (kind, place) in self.at}
            tray, used = self.job.enclosure.tray_at(place), self.used[place]
            self.row(f"ends at {place}", [*((k.ends, n) for k, n in laid.items()), (-self.fill(place), used)], 0)
            for size, most in self._sizes(self.fill(place), laid):
                self.row(
                    f"pieces of {size} at {place}", [*((k.ends // size, n) for k, n in laid.items()), (-most, used)], 0
                )
            self.row(f"nothing at {place}", [*((-1, n) for n in laid.values()), (1, used)], 0)
            if self.hard("tray_sleeves"):
                size = sizes.index(tray.sleeve_fibres)
                self.row(
                    f"sleeves at {place}", [*((k.sleeves[size], n) for k, n in laid.items()), (-tray.sleeves, used)], 0
                )
            for t in self.trunks if self.hard("entrance_legs") else ():
                self.row(f"{t.id} into {place}", [*self.legs_at(t.id, place), (-tray.entrance_legs, used)], 0)
            if place.position > 1:
                under = self.used[Place(place.stack, place.position - 1)]
                self.let("no_empty_below", str(place), [(1, used), (-1, under)], 0)
            self._keep_pairs(place, laid)
        self.goals["trays"] = [(1, n) for n in self.used.values()]

    @staticmethod
    def _sizes(fill: int, kinds: Iterable[Kind]) -> Iterator[tuple[int, int]]:
        """Give numbers of fibre ends, each with how many pieces of so many a tray holds; of such that say the same the first.

        What patterns hold in whole pieces is no more than what the tray takes in whole pieces.
        """
        said: set[tuple[tuple[int, ...], int]] = set()
        for size in sorted({*(kind.ends for kind in kinds), *(fill // (n + 1) + 1 for n in range(1, 6))}):
            pieces = tuple(kind.ends // size for kind in kinds)
            wasted = any(kind.ends % size for kind in kinds) or fill % size
            if any(pieces) and wasted and (pieces, fill // size) not in said and len(said) < MOST_SIZES:
                said.add((pieces, fill // size))
                yield size, fill // size

    def legs_at(self, trunk: str, place: Place) -> list[tuple[int, int]]:
        """Give the legs of a trunk at a place."""
        found = ((dict(kind.legs).get(trunk, 0), kind) for kind in self.kinds if (kind, place) in self.at)
        return [(n, self.at[kind, place]) for n, kind in found if n]

    def let(self, rule: str, subject: str, terms: Terms, most: int, by: int = 1) -> None:
        """Say what a practice rule asks, unless it is off; where it is broken, the sum may be more by so much."""
        broken = self.broken(rule, subject)
        if broken is not None:
            self.row(f"{rule} {subject} {len(self.rows)}", [*terms, (by * broken[0], broken[1])], most)

    def _keep_pairs(self, place: Place, here: Mapping[Kind, int]) -> None:
        """Let a tray hold splices of one pair of trunks, unless that is let go; a pair fills no more than the tray."""
        pairs = sorted({pair for kind in here for pair in kind.pairs})
        if len(pairs) < 2 or self.job.rules["tray_pair"].level == "off":
            return
        there = []
        for a, b in pairs:
            there.append((1, self.number(f"{a}+{b} at {place}")))
            filled = [(k.ends, n) for k, n in here.items() if (a, b) in k.pairs]
            self.row(f"{a}+{b} fills {place}", [*filled, (-self.fill(place), there[-1][1])], 0)
        self.let("tray_pair", str(place), there, 1, by=len(pairs) - 1)

    def _most_legs(self, trunk: str) -> int:
        """Most placed legs of a trunk: those of its finest division, and what all legs leave it where their number is given."""

        def most(s: Subunit) -> int:
            return max(self.divisions[s.trunk, s.number], default=0)

        found = sum(most(s) for s in self.spliced if s.trunk == trunk)
        if self.whole and "legs" in self.given:
            others = (self._fewest(s) for s in self.spliced if s.trunk != trunk)
            found = min(found, self.given["legs"] - sum(others))
        return max(found, 0)

    def _fewest(self, s: Subunit) -> int:
        """Fewest legs with a splice of a subunit, at any division."""
        return min((len(self.job.spliced_legs(s, k)) for k in self.divisions[s.trunk, s.number]), default=0)

    def _measure_lengths(self) -> None:
        """Share out the legs of a trunk at each place among its ways and the ends of the stack, and add up what is cut."""
        cut: list[tuple[int, int]] = []
        for t in self.trunks:
            most = self._most_legs(t.id)
            by_way: dict[Way, list[tuple[int, int]]] = {way: [] for trunk, way in self.way if trunk == t.id}
            by_end: dict[tuple[str, str], list[tuple[int, int]]] = {}
            for place in self.places:
                shared = []
                for way, on_way in by_way.items():
                    for end in self.job.enclosure.stack_by_id[place.stack].ends:
                        length = self._length(t, way, place, end.id)
                        if length is None:
                            continue
                        number = self.number(f"{t.id} to {place} by {_said(way)} end {end.id}", most)
                        shared.append((-1, number))
                        on_way.append((1, number))
                        by_end.setdefault((place.stack, end.id), []).append((1, number))
                        cut.append((length // CUT_STEP_MM, number))
                self.row(f"{t.id} to {place}", [*self.legs_at(t.id, place), *shared], 0, equal=True)
            for way, on_way in by_way.items():
                self.row(f"legs of {t.id} by {_said(way)}", [*on_way, (-most, self.way[t.id, way])], 0)
            for (stack, end_id), there in by_end.items():
                self.row(f"{t.id} to end {end_id} of {stack}", [*there, (-most, self.end[stack, end_id])], 0)
        self.goals["leg_length_mm"] = cut

    def _length(self, trunk: Trunk, way: Way, place: Place, end: str) -> int | None:
        """Give what is cut for a leg; None where it is too short for the bench or strips too much of the trunk."""
        free = self.routes.free_mm(way, place, end)
        cut = self.lengths.cut_mm(trunk.transition_mm, self.routes.route_mm(way, place, end), way.loops)
        short = self.hard("reach") and free < self.job.rules["reach"].parameters["bench_mm"]
        bare = self.hard("exposed") and trunk.exposed_mm is not None and cut > trunk.exposed_mm
        return None if short or bare else cut


def _said(way: Way) -> str:
    return f"{way.port} {way.travel} {way.loops}"
