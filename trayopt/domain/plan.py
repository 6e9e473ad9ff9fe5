"""The plan document, schema ``trayopt/plan/2``. ``solve`` writes it, ``check`` judges it, ``sheets`` prints it."""

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
    """The job for which a plan was made."""

    title: str
    digest: str


class PlanGoal(Frozen):
    """The value of one goal and its proven lower bound; the bound is None if nothing is proven.

    ``by`` names the author of the bound: a relaxation of the solver, or ``search``. Plans of older versions have no ``by``.
    """

    goal: GoalName
    value: int
    bound: int | None
    by: str | None = None


class PlanTrunk(Frozen):
    """The way of a trunk; every field is None for a trunk that stays outside.

    ``ribbons`` is the ribbon work; it is left out if the job only allows ribbons as they are.
    """

    trunk: str
    port: str | None
    travel: Travel | None
    loops: int | None
    divide_at: DivideAt | None
    strip_mm: int | None
    ribbons: RibbonWord | None = None


class PlanThrough(Frozen):
    """A trunk that goes through the box: the window in its sheath, the loops, and which subunits are cut.

    ``window_mm`` and ``loops`` are None if the trunk stays outside; ``loops`` is also None if every subunit is cut.
    """

    trunk: str
    ends: tuple[str, str]
    window_mm: int | None
    loops: int | None
    cut: tuple[int, ...]
    uncut: tuple[int, ...]


class PlanLeg(Frozen):
    """One leg, with lengths in mm; the fields from ``stack`` to ``tube_mm`` are None unless the leg is placed."""

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
    """One sleeve and the two runs in it; side a is the trunk that comes first in the list of trunks."""

    sleeve: int
    a: str
    b: str


class PlanTray(Frozen):
    """The contents of one used tray; ``ends`` counts two for each splice and one for each parked fibre."""

    stack: str
    position: int
    ends: int
    sleeves: int
    splices: tuple[PlanSplice, ...]
    parked: tuple[str, ...]


class PlanBroken(Frozen):
    """A broken rule, with a sentence that says why."""

    rule: str
    level: Literal["always", "must", "prefer"]
    subject: str
    because: str


class PlanUnplaced(Frozen):
    """A longest run of splices of one join that have no tray."""

    a: str
    b: str


class PlanSolver(Frozen):
    """How the plan was made. The effort is in the solver's deterministic unit; nothing depends on the clock or the machine."""

    version: str
    seed: int
    workers: int
    deterministic_time: float


class Plan(Frozen):
    """A plan (spec, section 7).

    ``explanation`` is the first conflict, if not everything could be placed or kept. ``tied`` lists groups of tray places
    that opened tubes tie to each other. ``crossings`` lists pairs of travellers that cross.
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
        """Return the plan as plain data, in the order of the specification."""
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
        """Return the value of one goal."""
        return next(item.value for item in self.goals if item.goal == goal)
