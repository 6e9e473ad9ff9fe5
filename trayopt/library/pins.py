"""Faults of pins: legs that cannot exist, places that do not exist, and pins that contradict each other."""

from __future__ import annotations

from collections.abc import Iterator

from trayopt.domain.cablework import Leg, Subunit
from trayopt.domain.pins import LegPin, TrunkPin
from trayopt.domain.ranges import Run
from trayopt.domain.said import said
from trayopt.domain.trunk import Trunk
from trayopt.errors import Fault
from trayopt.formats.locate import describe
from trayopt.formats.validate import did_you_mean
from trayopt.library.crossref import no_trunk, port_faults, run_faults
from trayopt.library.parts import Parts


def pin_faults(parts: Parts) -> Iterator[Fault]:
    """Find pins that name nothing, that no plan of the job can keep, or that contradict each other."""
    trunk_pins: dict[str, int] = {}
    legs: dict[tuple[str, int], dict[Leg, int]] = {}
    for i, pin in parts.pins.items():
        if isinstance(pin, TrunkPin):
            yield from _trunk_pin(parts, i, pin)
            if pin.trunk in trunk_pins:
                first = parts.spot("pins", trunk_pins[pin.trunk])
                message = said("two pins of trunk {trunk}; the other is in {first}", trunk=pin.trunk, first=first.told)
                yield parts.spot("pins", i, "trunk").fault(
                    message, allowed=said("one pin per trunk"), hint=said("write both in one pin")
                )
            trunk_pins.setdefault(pin.trunk, i)
            continue
        faults = list(run_faults(parts, pin.leg, parts.spot("pins", i, "leg")))
        yield from faults
        yield from _place(parts, i, pin)
        trunk = parts.trunk_by_id.get(pin.leg.trunk)
        if faults or trunk is None:
            continue
        subunit = trunk.subunit_of(pin.leg.first)
        leg = subunit.leg_of_run(pin.leg.first, pin.leg.last)
        if leg is None:
            yield _no_leg(parts, i, pin, trunk, subunit)
            continue
        if parts.joins_whole and not _spliced(parts, Run(trunk.id, subunit.first, subunit.last)):
            hint = said("take the pin out; a subunit without a spliced fibre goes to no tray")
            yield parts.spot("pins", i, "leg").fault(
                said("no fibre of {subunit} is in a join", subunit=subunit.name), hint=hint
            )
        elif parts.joins_whole and "tray" not in trunk.divide_at and not _spliced(parts, pin.leg):
            message = said(
                "no fibre of {leg} is in a join, and trunk {trunk} is divided at the port: it goes to no tray",
                leg=pin.leg,
                trunk=trunk.id,
            )
            hint = said(
                "take the pin out; a leg without a spliced fibre is parked only where its tube is opened at a tray"
            )
            yield parts.spot("pins", i, "leg").fault(message, hint=hint)
        yield from _beside(parts, i, subunit, leg, legs.setdefault((trunk.id, subunit.number), {}))


def _trunk_pin(parts: Parts, i: int, pin: TrunkPin) -> Iterator[Fault]:
    spot = parts.spot("pins", i, "trunk")
    if pin.trunk not in parts.trunk_names:
        yield no_trunk(parts, pin.trunk, spot)
        return
    unknown = list(port_faults(parts, pin.port, parts.spot("pins", i, "port"))) if pin.port else []
    yield from unknown
    trunk = parts.trunk_by_id.get(pin.trunk)
    if trunk is None:
        return
    for key, value, own in (
        ("port", None if unknown else pin.port, None if trunk.ports == "any" else trunk.ports),
        ("travel", pin.travel, trunk.travels),
        ("loops", pin.loops, trunk.loops),
        ("divide_at", pin.divide_at, trunk.divide_at),
        ("ribbons", pin.ribbons, trunk.ribbons),
    ):
        if value is not None and own is not None and value not in own:
            allowed = ", ".join(str(option) for option in dict.fromkeys(own))
            message = said("{key} of the pin is not among trunk {trunk}'s own", key=key, trunk=pin.trunk)
            yield parts.spot("pins", i, key).fault(
                message, found=str(value), allowed=allowed, hint=said("change the pin or the trunk")
            )
    if (
        pin.built
        and parts.joins_whole
        and not any(
            {pin.trunk, parts.other_end(pin.trunk)} & {item.join.a.trunk, item.join.b.trunk} for item in parts.joins
        )
    ):
        hint = said("take the pin out, or join the trunk")
        yield spot.fault(said("trunk {trunk} is built and no fibre of it is in a join", trunk=pin.trunk), hint=hint)


def _place(parts: Parts, i: int, pin: LegPin) -> Iterator[Fault]:
    if parts.enclosure is None:
        return
    stacks = parts.enclosure.stack_by_id
    if pin.stack is not None and pin.stack not in stacks:
        message = said("enclosure {enclosure} has no such stack", enclosure=parts.enclosure.id)
        hint = did_you_mean(pin.stack, list(stacks))
        yield parts.spot("pins", i, "stack").fault(
            message, found=describe(pin.stack), allowed=", ".join(stacks), hint=hint
        )
        return
    if pin.position is None:
        return
    most = stacks[pin.stack].positions if pin.stack else max(stack.positions for stack in stacks.values())
    if pin.position > most:
        of = said("stack {stack}" if pin.stack else "enclosure {box}", stack=pin.stack, box=parts.enclosure.id)
        message = said("{of} has no such position", of=of)
        yield parts.spot("pins", i, "position").fault(
            message, found=str(pin.position), allowed=said("1 to {most}", most=most)
        )


def _no_leg(parts: Parts, i: int, pin: LegPin, trunk: Trunk, subunit: Subunit) -> Fault:
    """Return the fault of a run that cannot be a leg, with the legs of the nearest length around it as a hint."""
    spot = parts.spot("pins", i, "leg")
    others = [subunit]
    if pin.leg.last > subunit.last:
        others = [other for other in trunk.subunits if other.first <= pin.leg.last and other.last >= pin.leg.first]
        message = said(
            "{leg} is not a leg: it reaches over {others_count} subunits", leg=pin.leg, others_count=len(others)
        )
    else:
        size = said("{n} ribbon of {width}|{n} ribbons of {width}", n=subunit.ribbons, width=subunit.ribbon_fibres)
        message = said(
            "{leg} is not a leg: subunit {subunit} is {size}, divided into equal groups of whole ribbons",
            leg=pin.leg,
            subunit=subunit.name,
            size=size,
        )
    near = []
    for other in others[:4]:
        for of in other.divisions:
            leg = other.leg_of_fibre(max(pin.leg.first, other.first), of)
            near.append(other.leg_run(leg))
    near.sort(key=lambda run: (abs(run[1] - run[0] + 1 - pin.leg.count), run))
    return spot.fault(message, allowed=", ".join(str(Run(trunk.id, *run)) for run in sorted(near[:4])))


def _spliced(parts: Parts, run: Run) -> bool:
    return any(
        side.trunk == run.trunk and side.first <= run.last and side.last >= run.first
        for item in parts.joins
        for side in (item.join.a, item.join.b)
    )


def _beside(parts: Parts, i: int, subunit: Subunit, leg: Leg, others: dict[Leg, int]) -> Iterator[Fault]:
    """Find an earlier pin of the same leg, or of a leg of another division of the same subunit."""
    spot = parts.spot("pins", i, "leg")
    run = f"{subunit.trunk}:{subunit.leg_span(leg)}"
    if leg in others:
        message = said(
            "two pins of leg {run}; the other is in {spot}", run=run, spot=parts.spot("pins", others[leg]).told
        )
        yield spot.fault(message, allowed=said("one pin per leg"), hint=said("take one out"))
        return
    first = next(iter(others), None)
    if first is not None and first.of != leg.of:
        before = f"{subunit.trunk}:{subunit.leg_span(first)}"
        both = said("{run} is one of {of}, {before} one of {parts}", run=run, of=leg.of, before=before, parts=first.of)
        message = said(
            "the pins of subunit {subunit} need different divisions: {both}", subunit=subunit.name, both=both
        )
        yield spot.fault(
            message,
            allowed=said("one division per subunit"),
            hint=said("the other is in {spot}", spot=parts.spot("pins", others[first]).told),
        )
    others[leg] = i
