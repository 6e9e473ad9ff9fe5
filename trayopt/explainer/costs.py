"""What ways out cost: plain numbers that only order them, the cheapest first (by judgement)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields

from trayopt.errors import Fault, InputError

MOST_COST = 1_000_000


@dataclass(frozen=True)
class Costs:
    """Cost of each kind of change, in one unit of their own.

    ``trays`` counts for each tray more, ``tray_type`` for each stack of other trays, ``practice`` and ``physical`` for
    each rule given up.
    """

    pin: int = 2
    allowed_travel: int = 3
    allowed_ports: int = 3
    practice: int = 4
    physical: int = 40
    loops: int = 2
    bench: int = 3
    trays: int = 3
    ribbons: int = 4
    divide_at: int = 5
    tubes: int = 6
    seal: int = 8
    port: int = 15
    exposed: int = 8
    tray_type: int = 10
    guide: int = 20
    box: int = 25
    enclosure: int = 60


def cost_names() -> tuple[str, ...]:
    """Name every cost that can be set."""
    return tuple(item.name for item in fields(Costs))


def costs_of(texts: Sequence[str], source: str = "--cost") -> Costs:
    """Read costs written as ``trays=3``; what is not named keeps its default.

    Raises
    ------
    InputError
        With every name that there is not or that is given twice, and every number that is none.
    """
    given: dict[str, int] = {}
    faults: list[Fault] = []
    for text in texts:
        name, equals, number = (part.strip() for part in text.partition("="))
        fault = _fault_of_name(name, given, source) or _fault_of_number(name, equals, number, source)
        if fault is None:
            given[name] = int(number)
        else:
            faults.append(fault)
    if faults:
        raise InputError(faults)
    return Costs(**given)


def _fault_of_name(name: str, given: dict[str, int], source: str) -> Fault | None:
    from trayopt.formats.locate import describe
    from trayopt.formats.validate import did_you_mean

    if name in given:
        return Fault(source, 0, 0, f"the cost of {name} is given twice", hint="give each once")
    if name in cost_names():
        return None
    allowed, hint = ", ".join(cost_names()), did_you_mean(name, cost_names())
    return Fault(source, 0, 0, f"there is no cost {describe(name)}", allowed=allowed, hint=hint)


def _fault_of_number(name: str, equals: str, number: str, source: str) -> Fault | None:
    from trayopt.formats.locate import describe

    if number.isascii() and number.isdigit() and len(number) < 10 and int(number) <= MOST_COST:
        return None
    found = describe(number) if equals else "no ="
    allowed = f"a whole number from 0 to {MOST_COST:,}, such as {name}={getattr(Costs(), name)}"
    return Fault(source, 0, 0, f"the cost of {name} cannot be used", found=found, allowed=allowed)
