"""One job's line in the results: how it came out, its figures, and why not."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from hashlib import sha256
from typing import Any, Literal

from trayopt.domain.job import Job
from trayopt.domain.plan import Plan

Outcome = Literal[
    "fits", "fits_with_broken_preference", "not_settled", "does_not_fit", "no_plan", "wrong_input", "failed"
]
OUTCOMES: dict[str, str] = {
    "fits": "fits",
    "fits_with_broken_preference": "fits, with a broken preference",
    "not_settled": "not settled in the time",
    "does_not_fit": "does not fit",
    "no_plan": "stopped before any plan",
    "wrong_input": "the job is wrong",
    "failed": "failed",
}
"""How a job can come out, from best to worst, in words."""
MARKS = {
    "fits": "✓",
    "fits_with_broken_preference": "~",
    "not_settled": "?",
    "does_not_fit": "✕",
    "no_plan": "…",
    "wrong_input": "!",
    "failed": "!",
}
GOAL_WORDS: dict[str, str] = {
    "unplaced": "splices without a tray",
    "broken_must": "broken musts",
    "broken_prefer": "weight of broken preferences",
    "legs": "legs",
    "crossings": "crossings",
    "leg_length_mm": "mm of legs",
    "out_of_turn": "out of turn",
}
FITTING = ("fits", "fits_with_broken_preference")
OPEN = ("not_settled", "no_plan")
"""Where more time may tell."""
Failure = Literal["crash", "hang", "memory", "fault"]
Answer = dict[str, Any]
"""What a worker says of a job: ``outcome`` and what belongs to it; ``plan`` and ``page`` are texts of files."""
MOST_WHY = 300
"""Characters of a reason; the whole of it stands in the plan."""


def of_plan(job: Job, plan: Plan, *, complete: bool) -> Answer:
    """Say how a job came out, from its checked plan."""
    from trayopt.batches.pages import plan_page
    from trayopt.formats.json_out import dump_rows

    goals = {goal.goal: goal.value for goal in plan.goals}
    outcome: Outcome = "does_not_fit" if _never(plan) else "not_settled"
    if plan.status == "none":
        outcome = "no_plan"
    elif complete:
        outcome = "fits_with_broken_preference" if goals["broken_prefer"] else "fits"
    plain = plan.plain()
    said = {key: value for key, value in plain.items() if key != "solver"}
    return {
        "outcome": outcome,
        "status": plan.status,
        "stopped": plan.stopped,
        "goals": goals if plan.status != "none" else {},
        "proven": [goal.goal for goal in plan.goals if goal.value == goal.bound],
        "trays": len(plan.trays),
        "fibres": sum(tray.fibres for tray in plan.trays),
        "why": shortened(_why(job, plan, outcome)),
        "plan": dump_rows(plain),
        "page": plan_page(plan, outcome),
        "plan_sha256": sha256(dump_rows(said).encode()).hexdigest(),
    }


def failed(kind: Failure, why: str) -> Answer:
    """Say that a job came to nothing."""
    return {"outcome": "failed", "failure": kind, "why": shortened(why)}


def wrong_input(why: str) -> Answer:
    """Say that a job cannot be read."""
    return {"outcome": "wrong_input", "why": shortened(why)}


def cannot_be_built(why: str) -> Answer:
    """Say that there is no such box."""
    return {"outcome": "does_not_fit", "why": shortened(f"such a box cannot be built: {why}")}


def box_figures(job: Job) -> dict[str, Any]:
    """Size of the box and what is to go in, for tables: litres, tray places, fibres that its trays hold, splices."""
    width, height, depth = job.enclosure.size_mm
    return {
        "litres": round(width * height * depth / 1e6, 1),
        "places": len(job.enclosure.places),
        "capacity": job.enclosure.fibres,
        "splices": job.splices,
    }


def mix_of(job: Job) -> str:
    """Name the trunks of a job by their fibres, as ``2 × 864`` or ``864 + 432 + 432``."""
    counts = [trunk.cable.fibres for trunk in job.trunks]
    if len(counts) > 1 and len(set(counts)) == 1:
        return f"{len(counts)} × {counts[0]:,}"
    return " + ".join(f"{count:,}" for count in counts)


def shortened(text: str) -> str:
    """Cut a reason to one line of a bearable length."""
    line = " ".join(text.split())
    return line if len(line) <= MOST_WHY else line[: MOST_WHY - 1].rstrip() + "…"


def _never(plan: Plan) -> bool:
    """Whether it is proven that no plan places every splice and keeps every must: by a bound, or by a conflict."""
    bounds = {goal.goal: goal.bound or 0 for goal in plan.goals}
    return bounds["unplaced"] > 0 or bounds["broken_must"] > 0 or bool(_conflicts(plan.explanation))


def _why(job: Job, plan: Plan, outcome: Outcome) -> str:
    """Give the short reason: the conflict where one is told, else broken rules, else counts."""
    if outcome == "fits":
        return ""
    if outcome == "fits_with_broken_preference":
        return _told(found.because for found in plan.broken if found.level == "prefer")
    conflict = _conflict(plan.explanation)
    if conflict:
        return conflict
    if outcome == "no_plan":
        return "the search ended before it had a plan; give it more time"
    reasons = (
        ["no whole plan was found in the time, nor a proof that there is none"] if outcome == "not_settled" else []
    )
    missing = plan.value("unplaced")
    if missing:
        room = job.enclosure.fibres
        reasons.append(f"{missing:,} of {job.splices:,} splices have no tray")
        if job.splices > room:
            reasons.append(f"the trays of the box hold {room:,} fibres, {job.splices:,} are to be placed")
    reasons += [found.because for found in plan.broken if found.level == "must"]
    return _told(reasons)


def _conflicts(explanation: Mapping[str, Any] | None) -> list[dict[str, Any]]:
    return (explanation or {}).get("conflicts") or []


def _conflict(explanation: Mapping[str, Any] | None) -> str:
    groups = next(iter(_conflicts(explanation)), {}).get("groups", [])
    return _told("; ".join(str(group["because"]).split("; ")[:2]) for group in groups if group.get("because"))


def _told(reasons: Iterable[str], most: int = 3) -> str:
    found = list(dict.fromkeys(reasons))
    more = f"; and {len(found) - most} more" if len(found) > most else ""
    return "; ".join(reason.rstrip(".") for reason in found[:most]) + more
