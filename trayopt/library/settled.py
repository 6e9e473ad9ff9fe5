"""What built pins settle: divisions, stacks, positions and ways of the legs and trunks that they name."""

from __future__ import annotations

from itertools import product

from trayopt.domain.assignment import Way
from trayopt.domain.base import DivideAt
from trayopt.domain.cablework import Leg
from trayopt.domain.hardware import Place
from trayopt.domain.job import Job
from trayopt.domain.pins import LegPin, TrunkPin
from trayopt.domain.ranges import Run
from trayopt.domain.said import said
from trayopt.domain.trunk import Trunk
from trayopt.errors import Fault
from trayopt.library.parts import Parts
from trayopt.track.routes import routes_of


class Settled:
    """The built pins of a job, and what they settle."""

    def __init__(self, parts: Parts, job: Job, pins: list[tuple[int, LegPin | TrunkPin]]) -> None:
        self.parts = parts
        self.job = job
        self.routes = routes_of(job)
        self.leg_pins = [(i, pin, job.pinned_leg(pin)) for i, pin in pins if isinstance(pin, LegPin)]
        self.trunk_pins = {pin.trunk: (i, pin) for i, pin in pins if isinstance(pin, TrunkPin)}
        self.division = {(leg.trunk, leg.subunit): leg.of for _, _, leg in self.leg_pins}
        self.stack: dict[Leg, tuple[str, int]] = {}
        """Stack of every leg whose stack is settled, with the index of the pin that settles it."""
        self.position: dict[Leg, tuple[int, int]] = {}

    def must(self, rule: str) -> bool:
        """Whether a rule is a must in this job."""
        setting = self.job.rules.get(rule)
        return setting is not None and setting.level == "must"

    def parameter(self, rule: str, name: str) -> int:
        """Return a parameter of a rule, a whole number."""
        return int(self.job.rules[rule].parameters[name])

    def fault(self, pin: int, message: str, found: str = "", allowed: str = "") -> Fault:
        """Return a fault at the place of a pin, with the message that what is built is not possible."""
        spot = self.parts.spot("pins", pin)
        return spot.fault(
            said("these built pins are not possible: {message}", message=message),
            found=found,
            allowed=allowed,
            hint=said("correct what is built"),
        )

    def divided_at(self, trunk: Trunk) -> tuple[DivideAt, ...]:
        """Return the places at which a trunk may be divided, by its own list and its built pin."""
        pin = self.trunk_pins.get(trunk.id)
        settled = None if pin is None else pin[1].divide_at
        return trunk.divide_at if settled is None else (settled,)

    def known_leg(self, run: Run) -> Leg | None:
        """Return the leg that holds a run inside one ribbon; None if the division of its subunit is open."""
        subunit = self.job.trunk_by_id[run.trunk].subunit_of(run.first)
        of = self.division.get((run.trunk, subunit.number), 1 if subunit.ribbons == 1 else None)
        return None if of is None else subunit.leg_of_fibre(run.first, of)

    def name(self, leg: Leg) -> str:
        """Return a leg as a trunk with its span of fibres."""
        return f"{leg.trunk}:{self.job.subunit(leg).leg_span(leg)}"

    def place(self, leg: Leg) -> Place | None:
        """Return the tray place that pins settle for a leg; None if they leave it open, or the stack has no such position."""
        if leg in self.stack and leg in self.position:
            place = Place(self.stack[leg][0], self.position[leg][0])
            return place if place in self.job.enclosure.place_rank else None
        return None

    def open_ways(self, trunk: Trunk) -> list[Way]:
        """Return the ways that the limits of a trunk and its built pin allow."""
        pin = self.trunk_pins[trunk.id][1] if trunk.id in self.trunk_pins else TrunkPin(trunk=trunk.id)
        ports = trunk.allowed_ports(self.job.enclosure) if pin.port is None else (pin.port,)
        travels = trunk.travels if pin.travel is None else (pin.travel,)
        loops = trunk.loops if pin.loops is None else (pin.loops,)
        return [Way(*way) for way in product(ports, travels, loops)]
