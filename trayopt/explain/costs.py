"""What ways out cost: plain numbers that only order them, the cheapest first (by judgement)."""

from __future__ import annotations

from dataclasses import dataclass

from trayopt.domain.finding import Group
from trayopt.domain.job import Job
from trayopt.rules.registry import BY_ID
from trayopt.solve.conflict_groups import ALLOWED_PORTS, ALLOWED_TRAVEL, EXPECTED


@dataclass(frozen=True)
class Costs:
    """Cost of each kind of change, in one unit of their own."""

    pin: int = 2
    allowed_travel: int = 3
    allowed_ports: int = 3
    practice: int = 4
    physical: int = 40
    """To give up a rule of physics: the plan then says what cannot be built as it stands."""
    loops: int = 2
    bench: int = 3
    divide_at: int = 5
    tubes: int = 6
    seal: int = 8
    exposed: int = 8
    tray: int = 3
    """For each tray more."""
    tray_type: int = 10
    """For each stack of other trays."""
    guide: int = 20
    enclosure: int = 60
    unsound: int = 30
    """On top, where a changed box does not fit together as it is drawn."""

    def of_group(self, group: Group) -> int:
        """Give the cost of giving up a group."""
        if group.rule == EXPECTED:
            return 1
        if group.rule in {"pin", ALLOWED_PORTS, ALLOWED_TRAVEL}:
            return {"pin": self.pin, ALLOWED_PORTS: self.allowed_ports}.get(group.rule, self.allowed_travel)
        return self.physical if BY_ID[group.rule].kind == "physical" else self.practice


@dataclass(frozen=True)
class Added:
    """Something added or changed: what, where, how much."""

    what: str
    subject: str
    amount: int | float | str


@dataclass(frozen=True)
class Change:
    """A changed job: groups given up or things added, and what that costs. ``others`` are jobs for further boxes."""

    job: Job
    cost: int
    give_up: tuple[Group, ...] = ()
    add: tuple[Added, ...] = ()
    others: tuple[Job, ...] = ()
    note: str = ""
