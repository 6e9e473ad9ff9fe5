"""The line of a job in the results: its outcome, its figures, and the reason if it does not fit."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from hashlib import sha256
from typing import Any

from trayopt.batches.outcomes import Failure, Outcome
from trayopt.domain.job import Job
from trayopt.domain.plan import Plan
from trayopt.errors import InputError
from trayopt.rules.words import several

Answer = dict[str, Any]
"""The answer of a worker for a job: ``outcome`` and what belongs to it; ``plan`` and ``page`` are the texts of files."""
MOST_REASONS = 20
"""Greatest number of reasons that are given for a job; each is given in full."""


def of_plan(job: Job, plan: Plan, *, complete: bool) -> Answer:
    """Make the answer for a job from its checked plan."""
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
        "tied": max(map(len, plan.tied), default=0),
        "ends": sum(tray.ends for tray in plan.trays),
        "why": one_line(_why(job, plan, outcome)),
        "conflict": [f"{group['rule']} {group['subject']}" for group in _groups(plan.explanation)],
        "plan": dump_rows(plain),
        "page": plan_page(plan, outcome),
        "plan_sha256": sha256(dump_rows(said).encode()).hexdigest(),
    }


def failed(kind: Failure, why: str) -> Answer:
    """Make the answer for a job whose solving failed."""
    return {"outcome": "failed", "failure": kind, "why": one_line(why)}


def wrong_input(wrong: InputError) -> Answer:
    """Make the answer for a job that cannot be read, with its faults."""
    return {"outcome": "wrong_input", "why": _told(one_line(str(fault)) for fault in wrong.faults)}


def cannot_be_built(why: str) -> Answer:
    """Make the answer for a box that cannot be built."""
    return {"outcome": "does_not_fit", "why": one_line(f"such a box cannot be built: {why}")}


def box_figures(job: Job) -> dict[str, Any]:
    """Return the figures of the box for tables: litres, tray places, splices that its trays hold, and splices of the job."""
    width, height, depth = job.enclosure.size_mm
    return {
        "litres": round(width * height * depth / 1e6, 1),
        "places": len(job.enclosure.places),
        "capacity": job.enclosure.fibres,
        "splices": job.splices,
    }


def mix_of(job: Job) -> str:
    """Write the trunks of a job by their fibres: ``2 × 864``, ``864 + 432 + 432``, or ``864 through + 432``."""
    counts = [trunk.cable.fibres for trunk in job.trunks]
    if job.through:
        first, ends = {item.ends[0] for item in job.through}, job.other_end
        return " + ".join(
            f"{trunk.cable.fibres:,}{' through' * (trunk.id in first)}"
            for trunk in job.trunks
            if trunk.id in first or trunk.id not in ends
        )
    if len(counts) > 1 and len(set(counts)) == 1:
        return f"{len(counts)} × {counts[0]:,}"
    return " + ".join(f"{count:,}" for count in counts)


def variant_of(job: Job) -> str:
    """Return a digest of a job without its box: jobs with the same digest can be compared box by box.

    The digest leaves out the title, the enclosure, and parameters that follow from the enclosure.
    """
    asked = {key: value for key, value in job.plain().items() if key not in {"schema", "title", "enclosure"}}
    for name, setting in job.rules.items():
        own = {key: value for key, value in setting.parameters.items() if setting.usual.get(key) != value}
        asked["rules"][name] = {**asked["rules"][name], "parameters": own}
    return sha256(json.dumps(asked, sort_keys=True).encode()).hexdigest()[:16]


def one_line(text: str) -> str:
    """Write a reason on one line, in full."""
    return " ".join(text.split())


def _never(plan: Plan) -> bool:
    """Whether it is proven that no plan places every splice and keeps every must: by a bound, or by a conflict."""
    bounds = {goal.goal: goal.bound or 0 for goal in plan.goals}
    return bounds["unplaced"] > 0 or bounds["broken_must"] > 0 or bool(_conflicts(plan.explanation))


def _why(job: Job, plan: Plan, outcome: Outcome) -> str:
    """Return the reason for an outcome: the conflict if there is one, otherwise broken rules, otherwise counts."""
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
        reasons.append(f"{missing:,} of {several(job.splices, 'splice')} {'has' if missing == 1 else 'have'} no tray")
        if job.splices > room:
            reasons.append(f"the trays of the box hold {room:,} splices, {job.splices:,} are to be placed")
    reasons += [found.because for found in plan.broken if found.level == "must"]
    return _told(reasons)


def _conflicts(explanation: Mapping[str, Any] | None) -> list[dict[str, Any]]:
    return (explanation or {}).get("conflicts") or []


def _groups(explanation: Mapping[str, Any] | None) -> list[dict[str, Any]]:
    """Return the groups of the first conflict, which is the conflict in the line of a job."""
    groups: list[dict[str, Any]] = next(iter(_conflicts(explanation)), {}).get("groups", [])
    return groups


def _conflict(explanation: Mapping[str, Any] | None) -> str:
    """Write a conflict in full, since a part of it alone would be misleading."""
    return "; and ".join(str(group["because"]).rstrip(".") for group in _groups(explanation) if group.get("because"))


def _told(reasons: Iterable[str], most: int = MOST_REASONS) -> str:
    found = list(dict.fromkeys(reasons))
    more = f"; and {len(found) - most:,} more" if len(found) > most else ""
    return "; ".join(reason.rstrip(".") for reason in found[:most]) + more
