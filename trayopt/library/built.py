"""Contradictions among built pins, the rules that always hold and physical rules at must, as far as they show without solving.

Everything here follows from built pins alone. A built leg is placed, every leg that is spliced to it lies in the same tray, and
its subunit is divided as the pin says. If the subunit is divided at the tray, all legs of its tube are placed. Contradictions
that follow only from the whole job are found by solving.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import pairwise

from trayopt.domain.cablework import Leg
from trayopt.domain.hardware import Place
from trayopt.domain.job import Job
from trayopt.domain.ranges import Run
from trayopt.domain.said import said
from trayopt.errors import Fault
from trayopt.library.built_ways import way_faults
from trayopt.library.parts import Parts
from trayopt.library.settled import Settled


def built_faults(parts: Parts, job: Job) -> Iterator[Fault]:
    """Find contradictions among the built pins of a job that has no other faults."""
    pins = [(i, pin) for i, pin in parts.pins.items() if pin.built]
    if pins:
        yield from _Built(parts, job, pins).faults()


class _Built(Settled):
    """Contradictions among built pins."""

    def faults(self) -> Iterator[Fault]:
        yield from self.shared_trays()
        yield from self.missing_places()
        yield from self.parked()
        misplaced = [*self.full_trays(), *self.subunits()]
        yield from misplaced or self.opened()
        yield from way_faults(self)

    def shared_trays(self) -> Iterator[Fault]:
        """Spread settled places to legs that are spliced to each other, which share a tray; find places that differ."""
        neighbours: dict[Leg, list[Leg]] = {}
        for piece in self.job.pieces:
            a, b = self.known_leg(piece.a), self.known_leg(piece.b)
            if a is not None and b is not None:
                neighbours.setdefault(a, []).append(b)
                neighbours.setdefault(b, []).append(a)
        told = set()
        for i, pin, start in self.leg_pins:
            group, queue = {start}, [start]
            while queue:
                for leg in neighbours.get(queue.pop(), ()):
                    if leg not in group:
                        group.add(leg)
                        queue.append(leg)
            for leg in group:
                for value, settled, what in (
                    (pin.stack, self.stack, said("stack")),
                    (pin.position, self.position, said("position")),
                ):
                    if value is None:
                        continue
                    kept: dict[Leg, tuple[str | int, int]] = settled  # type: ignore[assignment]
                    before, by = kept.setdefault(leg, (value, i))
                    if before != value and (by, i) not in told:
                        told.add((by, i))
                        other = self.job.pins[by]
                        message = said(
                            "{leg} and {other} are spliced to each other and lie in one tray",
                            leg=pin.subject,
                            other=other.subject,
                        )
                        yield self.fault(
                            i,
                            message,
                            said("{what} {before} and {what} {value}", what=what, before=before, value=value),
                            said("one place"),
                        )

    def missing_places(self) -> Iterator[Fault]:
        """Find legs for which pins settle a stack and a position that this stack does not have."""
        told = set()
        for leg in set(self.stack) & set(self.position):
            (stack, first), (position, second) = self.stack[leg], self.position[leg]
            if self.place(leg) is None and (first, second) not in told:
                told.add((first, second))
                most = self.job.enclosure.stack_by_id[stack].positions
                message = said(
                    "{subject} asks for a position that stack {stack} does not have",
                    subject=self.job.pins[second].subject,
                    stack=stack,
                )
                yield self.fault(max(first, second), message, str(position), said("1 to {most}", most=most))

    def full_trays(self) -> Iterator[Fault]:
        """Find trays that cannot hold the legs that are settled to lie in them."""
        for place, legs in self.contents().items():
            tray = self.job.enclosure.tray_at(place)
            pin = max(max(self.stack[leg][1], self.position[leg][1]) for leg in legs)
            sleeves = sum(
                run.sleeves(tray.sleeve_fibres)
                for run in self.job.sleeve_runs
                if self.known_leg(run.a) in legs or self.known_leg(run.b) in legs
            )
            for rule, what, count, most in (
                ("tray_fibres", said("fibre ends"), self.ends(legs), 2 * tray.fibres),
                ("tray_sleeves", said("sleeves"), sleeves, tray.sleeves),
            ):
                if self.must(rule) and count > most:
                    yield self.fault(
                        pin,
                        said("{place} is too full ({rule})", place=place, rule=rule),
                        said("{count} {what}", count=count, what=what),
                        said("up to {most}", most=most),
                    )
            if self.must("entrance_legs"):
                most = max(self.same_way(legs).values())
                if most > tray.entrance_legs:
                    message = said("too many legs through one entrance of {place} (entrance_legs)", place=place)
                    yield self.fault(
                        pin,
                        message,
                        said("{most} legs", most=most),
                        said("up to {entrance_legs}", entrance_legs=tray.entrance_legs),
                    )

    def contents(self) -> dict[Place, set[Leg]]:
        """Return the legs that are settled to lie in each tray place."""
        found: dict[Place, set[Leg]] = {}
        for leg in self.stack:
            place = self.place(leg)
            if place is not None:
                found.setdefault(place, set()).add(leg)
        return found

    def ends(self, legs: Iterable[Leg]) -> int:
        """Count the fibre ends that legs surely bring into trays: their own fibres, and the fibres spliced to these."""
        here = set(legs)
        beside = sum(
            piece.count
            for piece in self.job.pieces
            if (self.known_leg(piece.a) in here) != (self.known_leg(piece.b) in here)
        )
        return sum(self.job.ends(leg) for leg in here) + beside

    def parked(self) -> Iterator[Fault]:
        """Find built legs without a splice whose trunk is built to be divided at the port."""
        for i, pin, leg in self.leg_pins:
            trunk = self.job.trunk_by_id[leg.trunk]
            if not self.job.spliced_fibres(leg) and "tray" not in self.divided_at(trunk):
                message = said(
                    "{subject} has no splice, and a trunk that is divided at the port parks no leg", subject=pin.subject
                )
                yield self.fault(
                    i, message, said("trunk {trunk} divided at the port", trunk=trunk.id), said("divided at the tray")
                )

    def same_way(self, legs: set[Leg]) -> dict[str, int]:
        """Count legs that surely travel the same way: by trunk, and by direction for all trunks with a settled direction."""
        counts: dict[str, int] = {}
        for leg in legs:
            trunk = self.job.trunk_by_id[leg.trunk]
            pin = self.trunk_pins.get(leg.trunk)
            travel = trunk.travel if pin is None or pin[1].travel is None else pin[1].travel
            key = f"trunk {leg.trunk}" if travel == "either" else travel
            counts[key] = counts.get(key, 0) + 1
        return counts

    def subunits(self) -> Iterator[Fault]:
        """Find subunits divided at the tray whose legs are not on one stack at positions that stay or rise by one."""
        told = set()
        for early, late in self.next_legs(set(self.stack)):
            (one, first), (other, second) = self.stack[early], self.stack[late]
            if one != other and (first, second) not in told:
                told.add((first, second))
                yield self.parted(
                    early,
                    late,
                    max(first, second),
                    said("stacks {one} and {other}", one=one, other=other),
                    said("one stack"),
                )
        for early, late in self.next_legs(set(self.position)):
            (low, first), (high, second) = self.position[early], self.position[late]
            most = late.group - early.group
            if not 0 <= high - low <= most and (first, second) not in told:
                told.add((first, second))
                found = said("positions {low} and {high}", low=low, high=high)
                yield self.parted(early, late, max(first, second), found, said("a rise of 0 to {most}", most=most))

    def next_legs(self, legs: set[Leg]) -> Iterator[tuple[Leg, Leg]]:
        """Yield pairs of neighbouring legs among some legs, for subunits that are divided at the tray."""
        for early, late in pairwise(sorted(legs)):
            if early[:2] == late[:2] and self.at_tray(early):
                yield early, late

    def at_tray(self, leg: Leg) -> bool:
        """Whether the tube of a leg is surely opened at a tray: the trunk is divided only there, or has a parked built leg."""
        if leg.of == 1:
            return False
        if self.divided_at(self.job.trunk_by_id[leg.trunk]) == ("tray",):
            return True
        return any(other.trunk == leg.trunk and not self.job.spliced_fibres(other) for _, _, other in self.leg_pins)

    def opened(self) -> Iterator[Fault]:
        """Find tubes that a built leg opens at a tray and for which the stack has too little room.

        The legs of an opened tube lie in order outward. Legs before the built leg lie at its position or below it; legs after
        the built leg lie at its position or above it.
        """
        told = set()
        for i, _, leg in self.leg_pins:
            if leg[:2] in told or leg not in self.stack or not self.at_tray(leg):
                continue
            stack = self.job.enclosure.stack_by_id[self.stack[leg][0]]
            legs = self.job.subunit(leg).legs(leg.of)
            parts = [(legs, 1, stack.positions)]
            place = self.place(leg)
            if place is not None:
                position = place.position
                parts += [(legs[: leg.group], 1, position), (legs[leg.group - 1 :], position, stack.positions)]
            for some, low, high in parts:
                fault = self.no_room(i, some, [Place(stack.id, position) for position in range(low, high + 1)])
                if fault is not None:
                    told.add(leg[:2])
                    yield fault
                    break

    def no_room(self, pin: int, legs: Sequence[Leg], places: Sequence[Place]) -> Fault | None:
        """Return a fault if legs of an opened tube find no room in some places of a stack; otherwise None."""
        tray, first, last = self.job.enclosure.tray_at(places[0]), legs[0], legs[-1]
        there = str(places[0]) if len(places) == 1 else said("{first} to {last}", first=places[0], last=places[-1])
        run = Run(first.trunk, self.job.subunit(first).leg_run(first)[0], self.job.subunit(last).leg_run(last)[1])
        message = said(
            "the tube of {trunk}/{subunit} is opened, and there is no room for {run} in {there}",
            trunk=first.trunk,
            subunit=first.subunit,
            run=run,
            there=there,
        )
        settled = [leg for place, inside in self.contents().items() if place in places for leg in inside]
        for rule, what, needed, most in (
            ("tray_fibres", "fibre ends with what lies there", self.ends({*legs, *settled}), 2 * tray.fibres),
            ("entrance_legs", "legs that travel one way", len(legs), tray.entrance_legs),
        ):
            if self.must(rule) and needed > most * len(places):
                return self.fault(
                    pin,
                    said("{message} ({rule})", message=message, rule=rule),
                    said("{needed} {what}", needed=needed, what=what),
                    said("up to {most}", most=most * len(places)),
                )
        return None

    def parted(self, early: Leg, late: Leg, pin: int, found: str, allowed: str) -> Fault:
        message = said(
            "{leg} and {other} are of one subunit that is divided at the tray",
            leg=self.name(early),
            other=self.name(late),
        )
        return self.fault(pin, message, found, allowed)
