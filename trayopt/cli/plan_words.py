"""The sentences and short forms of a plan's text; plain data in, text out."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from itertools import groupby
from typing import TYPE_CHECKING, Any

from trayopt.domain.hardware import Place
from trayopt.domain.ranges import parse_span, span
from trayopt.rules.words import NONE_BETTER, listed, percent, ribbons_are, several

if TYPE_CHECKING:
    from trayopt.domain.job import Job
    from trayopt.domain.plan import Plan, PlanGoal, PlanLeg, PlanThrough

CAUTION = (
    "Lengths are computed: mark in place, and let the measured length govern. Local codes, the makers' instructions and "
    "licensed practice come first."
)
STOPPED = {
    "proven": "by a proof",
    "time_limit": "by the time limit",
    "gap": "at the gap that was asked for",
    "interrupted": "by hand",
}


def one_line(text: str) -> str:
    """Put a text on one line, without characters on which a terminal would act."""
    return "".join(char if char.isprintable() else " " for char in text).strip()


def outcome(plan: Plan) -> tuple[str, str]:
    """Write the outcome of a plan as one sentence, in two parts: the word that matters, and the rest."""
    if plan.status == "none":
        return "No plan", f": stopped {STOPPED[plan.stopped]} before a first one was found."
    if not plan.trays and not plan.unplaced:
        return "Nothing to plan", ": the job has no joins, so nothing is spliced and no tray is needed."
    whole = "" if not plan.value("unplaced") and not plan.value("broken_must") else ", but not complete"
    if plan.status == "optimal":
        return f"Proven optimal{whole}", f": {_kept(plan)}, and {NONE_BETTER}."
    return f"Feasible, not proven{whole}", f": {_kept(plan)}. Stopped {STOPPED[plan.stopped]}; {_gap(plan)}."


def _gap(plan: Plan) -> str:
    """Write the gap of the first goal that is not proven."""
    item = next(item for item in plan.goals if item.bound != item.value)
    if item.bound is None:
        return f"nothing is proven yet about {item.goal}, {item.value:,}"
    gap = item.value - item.bound
    return (
        f"{item.goal} has a gap of {gap:,} ({percent(gap / item.value)}): {item.value:,} found, at least {item.bound:,}"
    )


def _kept(plan: Plan) -> str:
    unplaced, broken = plan.value("unplaced"), plan.value("broken_must")
    placed = (
        f"{several(unplaced, 'splice')} {'has' if unplaced == 1 else 'have'} no tray"
        if unplaced
        else "every splice has a tray"
    )
    kept = f"{several(broken, 'must', 'musts')} broken" if broken else "every must is kept"
    return f"{placed}, {kept}"


def goal_state(item: PlanGoal) -> str:
    """Write what is proven about a goal."""
    if item.bound == item.value:
        from trayopt.solver.model.bound import proven_by

        return proven_by(item.by)
    if item.bound is None:
        return "open"
    return f"open by {item.value - item.bound:,}"


def head_lines(job: Job, plan: Plan) -> str:
    """Return the head of the answer: the outcome, the goals, and the loads of trays, with equal loads counted together."""
    lines = ["".join(outcome(plan))]
    if plan.status != "none":
        lines.append(", ".join(f"{item.goal} {item.value}" for item in plan.goals))
        fills: dict[str, int] = defaultdict(int)
        for tray in plan.trays:
            kind = job.enclosure.tray_at(Place(tray.stack, tray.position))
            fills[f"{tray.ends}/{2 * kind.fibres} ends {tray.sleeves}/{kind.sleeves} sleeves"] += 1
        most = sorted(fills.items(), key=lambda item: -item[1])
        told = [f"{several(count, 'tray')} of {fill}" for fill, count in most[:6]]
        if len(most) > 6:
            told.append(several(sum(count for _, count in most[6:]), "other"))
        lines.append(", ".join(told) or "no tray in use")
        lines += [", ".join(tied(plan))] if plan.tied else []
    return "\n".join(lines) + "\n"


def mm(length: int | None) -> str:
    """Write a length in mm with a comma at the thousands; a dash for None."""
    return "-" if length is None else f"{length:,}"


def divisions(plan: Plan, trunk: str) -> list[str]:
    """Write how and where a trunk is divided, and its ribbon work: ``1-6 in 2``, ``at the tray``, ``ribbons split``."""
    told: dict[int, str] = {}
    for leg in plan.legs:
        if leg.trunk == trunk:
            if leg.stack is not None:
                told[leg.subunit] = "whole" if leg.of == 1 else f"in {leg.of}"
            else:
                told.setdefault(leg.subunit, "idle" if leg.idle else "without a tray")
    found = []
    in_rows = groupby(enumerate(sorted(told)), key=lambda item: (told[item[1]], item[1] - item[0]))
    for (how, _), numbers in in_rows:
        run = [number for _, number in numbers]
        found.append(f"{span(run[0], run[-1])} {how}")
    row = next(row for row in plan.trunks if row.trunk == trunk)
    at = row.divide_at
    if at == "port" or (at is not None and any(" in " in text for text in found)):
        found.append(f"at the {at}")
    if row.ribbons is not None:
        found.append(f"ribbons {ribbons_are(row.ribbons)}")
    return found


def window_words(row: PlanThrough) -> str:
    """Write the length of the window of a trunk that goes through, and which of its tubes are cut and which pass uncut."""
    tubes = "tube {} is" if len(row.cut) == 1 else "tubes {} are"
    cut = f"{row.trunk}: a window of {mm(row.window_mm)} mm in its sheath; {tubes.format(listed_runs(row.cut))} cut"
    if not row.uncut:
        return f"{cut}, and none passes uncut"
    loops = several(row.loops or 0, "loop")
    return f"{cut}; {listed_runs(row.uncut)} {'passes' if len(row.uncut) == 1 else 'pass'} uncut, in {loops}"


def listed_runs(numbers: Iterable[int]) -> str:
    """Write numbers as runs: ``1-4, 9``."""
    rows = groupby(enumerate(sorted(numbers)), key=lambda item: item[1] - item[0])
    runs = [[number for _, number in row] for _, row in rows]
    return ", ".join(span(run[0], run[-1]) for run in runs)


def legs_in(job: Job, plan: Plan) -> dict[Place, list[list[str]]]:
    """Write the legs of each tray with their fibres, trunk by trunk; three or more in a row are written as first and last."""
    found: dict[Place, dict[str, list[PlanLeg]]] = defaultdict(lambda: {trunk.id: [] for trunk in job.trunks})
    for leg in plan.legs:
        if leg.stack is not None and leg.position is not None:
            found[Place(leg.stack, leg.position)][leg.trunk].append(leg)
    return {place: [list(_in_rows(legs)) for legs in by_trunk.values()] for place, by_trunk in found.items()}


def _in_rows(legs: Iterable[PlanLeg]) -> Iterable[str]:
    rows: list[list[PlanLeg]] = []
    for leg in legs:
        before = rows[-1][-1] if rows else None
        if before and before.idle == leg.idle and parse_span(before.fibres)[1] + 1 == parse_span(leg.fibres)[0]:
            rows[-1].append(leg)
        else:
            rows.append([leg])
    for row in rows:
        if len(row) < 3:
            yield from (f"{leg.leg} ({leg.fibres}{_parked(leg)})" for leg in row)
        else:
            fibres = span(parse_span(row[0].fibres)[0], parse_span(row[-1].fibres)[1])
            yield f"{row[0].leg} … {row[-1].leg} ({fibres}{_parked(row[0])})"


def _parked(leg: PlanLeg) -> str:
    return ", parked" if leg.idle else ""


def tied(plan: Plan) -> list[str]:
    """Write which trays are tied by opened tubes, and so come to the bench together."""
    return [f"tied: {listed(group)}" for group in plan.tied]


def unused(job: Job, plan: Plan) -> list[str]:
    """Write the free places of each stack, and, if a stack has two ends, the end at which legs enter."""
    used = {Place(tray.stack, tray.position) for tray in plan.trays}
    told = []
    for stack in job.enclosure.stacks:
        free = [p for p in range(1, stack.positions + 1) if Place(stack.id, p) not in used]
        if free:
            runs = [list(run) for _, run in groupby(enumerate(free), key=lambda item: item[1] - item[0])]
            told.append(f"free on {stack.id}: " + ", ".join(span(run[0][1], run[-1][1]) for run in runs))
        end = next((leg.end for leg in plan.legs if leg.stack == stack.id), None)
        if len(stack.ends) > 1 and end is not None:
            told.append(f"legs enter {stack.id} at: {end}")
    return told or ["no place is free"]


def conflict_words(explanation: Mapping[str, Any]) -> tuple[str, list[str]]:
    """Write the first conflict: a head, and a sentence for each group."""
    conflicts = explanation.get("conflicts", [explanation] if "groups" in explanation else [])
    if not conflicts:
        return "", []
    groups, minimal = conflicts[0]["groups"], conflicts[0].get("minimal")
    if len(groups) == 1:
        head = "Why not: this cannot be kept while every splice has a tray" + ("; proven" if minimal else "")
    else:
        proof = "; proven: without any one of them there is a plan" if minimal else ""
        head = f"Why not: these cannot be kept together while every splice has a tray{proof}"
    return head, [_said(group) for group in groups]


def _said(group: Mapping[str, str]) -> str:
    """Write a group of a conflict; the subject is left out if the sentence begins with it."""
    because = group["because"]
    return f"{group['rule']}{'' if because.startswith(group['subject']) else ' ' + group['subject']}: {because}"


def way_out_words(explanation: Mapping[str, Any]) -> list[str]:
    """Write the ways out in their order: what to give up, and what to add."""
    told = []
    for way in explanation.get("ways_out", ()):
        parts = [f"give up {group['rule']} {group['subject']}" for group in way.get("give_up", ())]
        parts += [f"{item['what']} {item['subject']}: {item['amount']}" for item in way.get("add", ())]
        told.append(f"{'; '.join(parts)}; in the job file: {' '.join(str(way['edit']).split())}")
    return told
