"""Format 1, from before a plan decided where a trunk is divided: its plan document, and how it named a job.

Jobs and plans of format 1 are read; nothing writes them.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Any, Literal

from pydantic import Field

from trayopt.domain.base import DivideAt, Frozen, Travel, remade
from trayopt.domain.digest import first_keys, sha256_of, without_later_defaults
from trayopt.domain.job import Job
from trayopt.domain.plan import PlanJob, PlanLeg, PlanSolver, PlanSplice, PlanUnplaced, Status, Stopped

JOB, PLAN = "trayopt/job/1", "trayopt/plan/1"
"""The schemas of format 1."""
RENAMED = {"base_outward": "no_empty_below"}
"""Rules that have another name today, by their former name."""
LATER_RULES = frozenset({"tied_trays", "breakout"})
LATER_KEYS = frozenset({"enclosure.track.guides.width_mm", "trunks.cable.tubes", "pins.divide_at"})
"""Keys of a job that format 1 did not know."""
ALLOWANCE_MM = 100
"""What a turn was taken to be longer at most, in every box; today it follows from the box."""


class FormerGoal(Frozen):
    """Value and bound of a goal of format 1; some of these goals count in another way today."""

    goal: str
    value: int
    bound: int | None
    by: str | None = None


class FormerTrunk(Frozen):
    """A trunk's way; all None for a trunk that stays outside."""

    trunk: str
    port: str | None
    travel: Travel | None
    loops: int | None
    strip_mm: int | None


class FormerTray(Frozen):
    """What lies in one used tray place; ``fibres`` counts one a splice and one a parked fibre."""

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
    """A plan of format 1: where things lie is taken over, and nothing else of it."""

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


def names_job(named: PlanJob, job: Job) -> bool:
    """Whether a plan names this job, by its digest of today or of format 1; a title that was changed makes no other job."""
    return named.digest == job.digest or named.digest in former_digests(job, named.title)


def former_digests(job: Job, title: str) -> Iterator[str]:
    """Give the digests that a job had in format 1, under a title.

    Version 0.1.0 counted the title, and the rules at level ``off`` that it knew; later versions of format 1 did not. A
    trunk without tubes that did not say where it was divided had ``tray`` in format 1, and has ``port`` today: both are
    tried for all such trunks.
    """
    data = without_later_defaults(job, job.plain(), unknown=LATER_KEYS) | {"schema": JOB}
    del data["title"]
    tubeless: tuple[DivideAt, ...] = ("port",) if all(trunk.cable.tubes for trunk in job.trunks) else ("port", "tray")
    for word in tubeless:
        words = [_divided_at(trunk.divide_at) if trunk.cable.tubes else word for trunk in job.trunks]
        trunks = [{**trunk, "divide_at": word} for trunk, word in zip(data["trunks"], words, strict=True)]
        for off in (False, True):
            form = data | {"trunks": trunks, "rules": _rules(job, off=off)}
            yield sha256_of(form | {"title": title} if off else form)


def _divided_at(words: tuple[DivideAt, ...]) -> DivideAt:
    return words[0] if len(words) == 1 else "tray"


def _rules(job: Job, *, off: bool) -> dict[str, Any]:
    """Give what format 1 said of rules: those at level ``off`` only where 0.1.0 is asked, which knew them."""
    names = {today: former for former, today in RENAMED.items()}
    found = {}
    for today, setting in job.rules.items():
        name = names.get(today, today)
        known = f"rules.{name}" in first_keys()
        if today in LATER_RULES or setting.speaks_of is not None or not (setting.level != "off" or (off and known)):
            continue
        usual = setting.usual.get("allowance_mm")
        if usual is not None and setting.parameters.get("allowance_mm") == usual:
            former = {**setting.parameters, "allowance_mm": ALLOWANCE_MM}
            setting = remade(setting, parameters=former)
        found[name] = setting.lasting(f"rules.{name}")
    return found
