"""The plan document of format 1, from the time before a plan decided where a trunk is divided. Nothing writes it."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Field

from trayopt.domain.base import Frozen, Travel
from trayopt.domain.plan import PlanJob, PlanLeg, PlanSolver, PlanSplice, PlanUnplaced, Status, Stopped


class FormerGoal(Frozen):
    """Value and bound of a goal of format 1; some of these goals are counted in another way today."""

    goal: str
    value: int
    bound: int | None
    by: str | None = None


class FormerTrunk(Frozen):
    """A trunk's way; every field is None for a trunk that stays outside."""

    trunk: str
    port: str | None
    travel: Travel | None
    loops: int | None
    strip_mm: int | None


class FormerTray(Frozen):
    """What lies in one used tray; ``fibres`` counts one for each splice and one for each parked fibre."""

    stack: str
    position: int
    fibres: int
    sleeves: int
    splices: tuple[PlanSplice, ...]
    parked: tuple[str, ...]


class FormerBroken(Frozen):
    """A broken rule by its name in format 1."""

    rule: str
    level: Literal["always", "must", "prefer"]
    subject: str
    because: str


class FormerPlan(Frozen):
    """A plan of format 1. Only the places of legs, the ways and the ends are taken over."""

    schema_: Annotated[Literal["trayopt/plan/1"], Field(alias="schema")]
    job: PlanJob
    status: Status
    stopped: Stopped
    goals: tuple[FormerGoal, ...]
    trunks: tuple[FormerTrunk, ...]
    legs: tuple[PlanLeg, ...]
    trays: tuple[FormerTray, ...]
    crossings: tuple[tuple[str, str], ...]
    broken: tuple[FormerBroken, ...]
    unplaced: tuple[PlanUnplaced, ...]
    explanation: dict[str, Any] | None = None
    solver: PlanSolver
