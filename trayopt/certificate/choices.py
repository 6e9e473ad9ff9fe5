"""The choice of divisions and of patterns, as rows that every plan of a job meets."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from itertools import pairwise

from trayopt.certificate.check import STEP, System, Terms
from trayopt.certificate.patterns import Key, Pattern, patterns
from trayopt.domain.base import EPSILON, DivideAt
from trayopt.domain.cable import FIBRE_RADIUS_MM
from trayopt.domain.cablework import Leg, Subunit
from trayopt.domain.hardware import Place, Stack, Tray
from trayopt.domain.job import Job
from trayopt.domain.plan import GoalName
from trayopt.domain.trunk import Trunk
from trayopt.track.lengths import Lengths
from trayopt.track.routes import routes_of


class Choices(System):
    """Rows of divisions, patterns and their stacks, for the plans of a job that are as good on given goals.

    Parameters
    ----------
    job
        The job.
    given
        Goals with their greatest allowed values.
    """

    def __init__(self, job: Job, given: Mapping[GoalName, int]) -> None:
        super().__init__()
        self.job, self.given = job, given
        self.routes = routes_of(job)
        self.whole = given.get("unplaced") == 0
        self.goals |= {"broken_must": [], "broken_prefer": []}
        self.lengths = Lengths.model_validate(dict(job.rules["exposed"].parameters))
        self.spliced = [s for s in job.subunits if job.spliced[s.trunk, s.number]]
        self.trunks = [t for t in job.trunks if any(s.trunk == t.id for s in self.spliced)]
        inside = {end for t in self.trunks for end in job.ends_of(t)}
        self.guests = [t for t in job.trunks if t in inside and t not in self.trunks]
        """Ends, of trunks that go through, that have a way but no leg; they are in the box with their other end."""
        self.stacks = job.enclosure.stacks
        self.places = job.enclosure.places
        self.first: dict[tuple[Key, str], int] = {}
        """Numbers that are 1 if the first leg of a subunit lies on a stack."""
        self.torn: dict[Key, int] = {}
        """Numbers that are 1 if the legs of a subunit do not follow each other on a stack."""
        self._said: dict[tuple[str, str], int] = {}
        """The rows that say a rule of a subject."""
        self._divide()
        self._choose()

    def hold(self) -> None:
        """Add the rows for the given goals."""
        for goal, most in self.given.items():
            if goal in self.goals:
                self.row(f"given {goal}", self.goals[goal], most // STEP.get(goal, 1))

    # -- vocabulary ------------------------------------------------------------------------------------------------------

    def hard(self, rule: str) -> bool:
        """Whether a physical rule is a must, so that no plan breaks it."""
        return self.job.rules[rule].level == "must"

    def broken(self, rule: str, subject: str) -> tuple[int, int] | None:
        """Return the term, with factor -1, of the number that is 1 if a rule is broken for a subject; None if the rule is off."""
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

    def let(self, rule: str, subject: str, terms: Terms, most: int, by: int = 1) -> None:
        """Add the row of a practice rule, unless it is off; if the rule is broken, the sum may exceed ``most`` by ``by``."""
        broken = self.broken(rule, subject)
        if broken is not None:
            said = self._said[rule, subject] = self._said.get((rule, subject), 0) + 1
            self.row(f"{rule} {subject} {said}", [*terms, (by * broken[0], broken[1])], most)

    def fill(self, place: Place) -> int:
        """Return the greatest number of fibre ends at a place."""
        ends = 2 * self.job.enclosure.tray_at(place).fibres
        return ends if self.hard("tray_fibres") else max(ends, sum(s.fibres for s in self.spliced))

    # -- divisions and patterns ------------------------------------------------------------------------------------------

    def _can_travel(self, trunk: Trunk, subunit: Subunit, of: int, at: DivideAt) -> bool:
        """Whether there is a tube for the legs of a division, and the track does not bend it too tightly."""
        goes = self.routes.traveller(trunk, subunit, of, at)
        if goes is None:
            return False
        return not self.hard("bend_radius") or goes.radius_mm <= self.job.enclosure.track.min_radius_mm + EPSILON

    def _divide(self) -> None:
        """Add the rows of divisions: every subunit has one, which fits the place of division of its trunk."""
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
        """Add the rows of patterns and their stacks: every placed leg of a division is in one pattern."""
        room = max(map(self.fill, self.places))
        self.on: dict[tuple[Leg, str], list[tuple[int, int]]] = {}
        self.chosen: dict[tuple[Pattern, str], int] = {}
        self.patterns = [p for p in patterns(self.job, self.divisions, self.parked, room) if any(self._takers(p))]
        while self._leave_out():
            pass
        for pattern in self.patterns:
            for stack in self._takers(pattern):
                number = self.chosen[pattern, stack.id] = self.number(f"{pattern.name} on {stack.id}")
                for leg in pattern.legs:
                    self.on.setdefault((leg, stack.id), []).append((1, number))
        for s in self.spliced:
            key = (s.trunk, s.number)
            for k in self.divisions[key]:
                divided, opened = (-1, self.of[key, k]), (1, self.of[key, k])
                for leg in s.legs(k):
                    placed = self.placed(leg)
                    if self.job.spliced_fibres(leg):
                        self.row(f"{leg} of {k}", [*placed, divided], 0, equal=self.whole)
                    elif k in self.parked.get(key, ()) and self.whole:
                        port = self.port[s.trunk]
                        self.row(f"{leg} of {k} parked", [*((-f, n) for f, n in placed), opened, (-1, port)], 0)
                        self.row(f"{leg} of {k} divided", [*placed, divided], 0)
                        self.row(f"{leg} of {k} at the tray", [*placed, (1, port)], 1)
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
        """Yield the stacks with a tray that takes a pattern."""
        return (stack for stack in self.stacks if any(self.takes(tray, pattern) for tray in stack.kinds))

    def _leave_out(self) -> bool:
        """Remove divisions with a leg in no pattern, or with too many legs; return whether there were any.

        If splices may stay out, a division is removed if none of its legs is in a pattern.
        """
        held = {leg for pattern in self.patterns for leg in pattern.legs}
        can = held.issuperset if self.whole else lambda legs: not held.isdisjoint(legs)
        gone = {
            (key, k) for key, ks in self.divisions.items() for k in ks
            if not can(self.job.spliced_legs(self.job.subunit_of_leg[key], k))
        }  # fmt: skip
        if self.whole and "legs" in self.given and not gone:
            spare = self.given["legs"] - sum(map(self.fewest, self.spliced))
            gone = {
                ((s.trunk, s.number), k) for s in self.spliced for k in self.divisions[s.trunk, s.number]
                if len(self.job.spliced_legs(s, k)) - self.fewest(s) > spare
            }  # fmt: skip
        for key, k in gone:
            self.divisions[key].remove(k)
            self.bounds[self.of[key, k]] = (0, 0)
        self.patterns = [p for p in self.patterns if not any(((g.trunk, g.subunit), g.of) in gone for g in p.legs)]
        return bool(gone)

    def placed(self, leg: Leg) -> list[tuple[int, int]]:
        """Return the terms of a sum that is 1 if a leg is placed, and 0 otherwise."""
        return [term for stack in self.stacks for term in self.on.get((leg, stack.id), ())]

    def takes(self, tray: Tray, pattern: Pattern) -> bool:
        """Whether a tray takes a pattern."""
        return not (
            (self.hard("tray_fibres") and pattern.ends > 2 * tray.fibres)
            or (self.hard("tray_sleeves") and pattern.sleeves(tray.sleeve_fibres) > tray.sleeves)
            or (self.hard("entrance_legs") and max(pattern.by_trunk.values()) > tray.entrance_legs)
            or (self.hard("fibre_bend") and any(self._bends(t, tray) for t in pattern.by_trunk))
        )

    def _bends(self, trunk: str, tray: Tray) -> bool:
        fibre = self.job.trunk_by_id[trunk].cable.fibre
        return tray.min_radius_mm < FIBRE_RADIUS_MM[fibre] - EPSILON

    def fewest(self, s: Subunit) -> int:
        """Return the fewest spliced legs of a subunit over all its divisions."""
        return min((len(self.job.spliced_legs(s, k)) for k in self.divisions[s.trunk, s.number]), default=0)
