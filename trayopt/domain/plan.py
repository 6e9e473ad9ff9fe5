"""The plan document, schema ``trayopt/plan/2``: what solve writes, check judges and sheets print."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Field

from trayopt.domain.base import DivideAt, Frozen, RibbonWord, Travel

Status = Literal["optimal", "feasible", "none"]
Stopped = Literal["proven", "time_limit", "gap", "interrupted"]
GoalName = Literal[
    "unplaced", "broken_must", "broken_prefer", "legs", "trays", "crossings", "leg_length_mm", "irregular"
]  # fmt: skip


class PlanJob(Frozen):
    """Which job the plan is for."""

    title: str
    digest: str


class PlanGoal(Frozen):
    """Value and proven bound of one goal; bound None where there is none.

    ``by`` names who proved the bound: a relaxation of the solver, or ``search``; plans of before have none.
    """

    goal: GoalName
    value: int
    bound: int | None
    by: str | None = None


class PlanTrunk(Frozen):
    """A trunk's way; all None for a trunk that stays outside.

    ``ribbons`` is what is done with its ribbons; it is left out where the job asks for nothing but ribbons as they are.
    """

    trunk: str
    port: str | None
    travel: Travel | None
    loops: int | None
    divide_at: DivideAt | None
    strip_mm: int | None
    ribbons: RibbonWord | None = None


class PlanThrough(Frozen):
    """A trunk that goes through: the window in its sheath, and what of it passes uncut, in how many loops.

    Length and loops are None where it stays outside; loops also where nothing of it is uncut.
    """

    trunk: str
    ends: tuple[str, str]
    window_mm: int | None
    loops: int | None
    cut: tuple[int, ...]
    uncut: tuple[int, ...]


class PlanLeg(Frozen):
    """One leg; stack … tube_mm are None unless it is placed; lengths in mm."""

    leg: str
    trunk: str
    subunit: int
    group: int
    of: int
    fibres: str
    stack: str | None
    position: int | None
    end: str | None
    route_mm: int | None
    entrance_mark_mm: int | None
    cut_mm: int | None
    tube_mm: float | None
    idle: bool


class PlanSplice(Frozen):
    """One sleeve and the two runs in it; a is the trunk earlier in the list."""

    sleeve: int
    a: str
    b: str


class PlanTray(Frozen):
    """What lies in one used tray place; ``ends`` counts two a splice and one a parked fibre."""

    stack: str
    position: int
    ends: int
    sleeves: int
    splices: tuple[PlanSplice, ...]
    parked: tuple[str, ...]


class PlanBroken(Frozen):
    """A broken rule with its sentence."""

    rule: str
    level: Literal["always", "must", "prefer"]
    subject: str
    because: str


class PlanUnplaced(Frozen):
    """A longest run within a join that has no tray."""

    a: str
    b: str


class PlanSolver(Frozen):
    """What made the plan; nothing of the clock or the machine but the effort in the solver's own deterministic unit."""

    version: str
    seed: int
    workers: int
    deterministic_time: float


class Plan(Frozen):
    """The plan as in spec section 7; ``explanation`` is the first conflict, where something could not be had.

    ``tied`` are groups of places that opened tubes tie to each other; ``crossings`` are pairs of what travels.
    """

    schema_: Annotated[Literal["trayopt/plan/2"], Field(alias="schema")] = "trayopt/plan/2"
    job: PlanJob
    status: Status
    stopped: Stopped
    goals: tuple[PlanGoal, ...]
    trunks: tuple[PlanTrunk, ...]
    through: tuple[PlanThrough, ...] = ()
    legs: tuple[PlanLeg, ...]
    trays: tuple[PlanTray, ...]
    tied: tuple[tuple[str, ...], ...]
    crossings: tuple[tuple[str, str], ...]
    broken: tuple[PlanBroken, ...]
    unplaced: tuple[PlanUnplaced, ...]
    explanation: dict[str, Any] | None = None
    solver: PlanSolver

    def plain(self) -> dict[str, Any]:
        """Give the plan as plain data in the order of the spec."""
        data = self.model_dump(mode="json", by_alias=True)
        if data["explanation"] is None:
            del data["explanation"]
        if not data["through"]:
            del data["through"]
        for goal in data["goals"]:
            if goal["by"] is None:
                del goal["by"]
        for trunk in data["trunks"]:
            if trunk["ribbons"] is None:
                del trunk["ribbons"]
        return data

    def value(self, goal: str) -> int:
        """Give the value of one goal."""
        return next(item.value for item in self.goals if item.goal == goal)
