"""The view of a document that a page shows, as plain data."""

from __future__ import annotations

from collections.abc import Iterable
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from trayopt import api
from trayopt.desk import edits
from trayopt.desk.acts import usual_setting
from trayopt.desk.decisions import Decisions, bunches, spliced_with
from trayopt.desk.document import Document
from trayopt.desk.files import digest_of_text
from trayopt.desk.tongues import spoken, spoken_fault
from trayopt.domain.cablework import Leg
from trayopt.domain.hardware import Place
from trayopt.domain.job import Job
from trayopt.errors import Fault

if TYPE_CHECKING:
    from trayopt.checker import Report
    from trayopt.domain.finding import Finding

Plain = dict[str, Any]
MOST_FINDINGS = 400


def state(document: Document, reference: Decisions) -> Plain:
    """Return the main view: files, goals, findings, the board and the ways of trunks."""
    job, report = document.job, document.report()
    steps, redo = document.steps, document.redo_steps
    shown: Plain = {
        "title": job.title if job is not None else "",
        "files": [document.job_disk.path.name, document.plan_disk.path.name],
        "unsaved": [document.job_unsaved, document.plan_unsaved],
        "unsaved_files": [path.name for path in document.hardware_unsaved],
        "undo": _said(steps[-1].done, steps[-1].about) if len(steps) > 1 else None,
        "redo": _said(redo[-1].done, redo[-1].about) if redo else None,
        "faults": [_fault(fault, document) for fault in document.reading.faults],
        "warnings": [spoken_fault(fault) for fault in document.reading.warnings],
        "lost": document.lost,
        "text": digest_of_text(document.now.text)[:16],
        "joined": job is not None and bool(job.joins),
        "board": None,
    }
    if job is not None and report is not None:
        shown["board"] = _board(document, job, report, reference)
    return shown


def _said(done: str, about: str) -> Plain:
    return {"done": done, "about": about}


def _fault(fault: Fault, document: Document) -> Plain:
    """Return a fault, with the path of its cell if it is in the job's own file."""
    own = fault.source == str(document.job_disk.path)
    return {"text": spoken_fault(fault), "where": fault.where if own else "", "message": fault.message, **_more(fault)}


def _more(fault: Fault) -> Plain:
    return {
        "found": fault.found,
        "allowed": fault.allowed,
        "hint": fault.hint,
        "line": fault.line,
        "column": fault.column,
    }


# -- the board -------------------------------------------------------------------------------------------------------


def _board(document: Document, job: Job, report: Report, reference: Decisions) -> Plain:
    decisions = document.now.decisions
    plan = document.plan(report)
    best = document.best
    known = best is not None and best.job.digest == job.digest
    at_best = {goal.goal: goal for goal in best.goals} if known and best is not None else {}
    bounds = {goal.goal: goal.bound for goal in plan.goals}
    goals = [
        {
            "goal": goal.goal, "value": goal.value,
            "best": at_best[goal.goal].value if goal.goal in at_best else None,
            "bound": at_best[goal.goal].bound if goal.goal in at_best else bounds[goal.goal],
        }
        for goal in report.plan.goals
    ]  # fmt: skip
    pinned = {pin.subject: pin for pin in job.pins}
    rows = {row.leg: row for row in report.plan.legs}
    group: dict[Leg, int] = {}
    for i, bunch in enumerate(bunches(job, decisions)):
        group.update(dict.fromkeys(bunch, i))
    legs = [_leg(job, decisions, leg, rows.get(str(leg)), group, pinned, reference) for leg in _legs(job, decisions)]
    return {
        "passed": not report.unplaced and all(found.level == "prefer" for found in report.findings),
        "goals": goals,
        "proven": plan.status == "optimal" and document.best_s is not None,
        "claimed": plan.status == "optimal" and document.best_s is None,
        "best_known": known,
        "unplaced": report.unplaced,
        "splices": job.splices,
        "findings": [_finding(job, decisions, found) for found in report.findings[:MOST_FINDINGS]],
        "more_findings": max(0, len(report.findings) - MOST_FINDINGS),
        "stacks": _stacks(job, decisions, report),
        "legs": legs,
        "subunits": _subunits(job, decisions),
        "trunks": _trunks(job, decisions, report, pinned),
        "tied": [list(group) for group in report.plan.tied],
        "through": [item.model_dump(mode="json") for item in report.plan.through or ()],
        "changes": sum(leg["moved"] for leg in legs) + _sent(decisions, reference),
    }


def _sent(decisions: Decisions, reference: Decisions) -> int:
    inside = {leg.trunk for leg in decisions.places}
    return sum(reference.ways.get(trunk) != way for trunk, way in decisions.ways.items() if trunk in inside)


def _legs(job: Job, decisions: Decisions) -> Iterable[Leg]:
    """Yield all legs with a splice and all parked legs; a subunit without a splice goes to no tray."""
    for subunit in job.subunits:
        for leg in decisions.legs(subunit) if job.spliced[subunit.trunk, subunit.number] else ():
            if leg in decisions.places or job.spliced_fibres(leg):
                yield leg


def _leg(
    job: Job,
    decisions: Decisions,
    leg: Leg,
    row: Any,
    group: dict[Leg, int],
    pinned: dict[str, Any],
    reference: Decisions,
) -> Plain:
    span = job.subunit(leg).leg_span(leg)
    pin = pinned.get(f"{leg.trunk}:{span}")
    place = decisions.places.get(leg)
    return {
        "leg": str(leg), "trunk": leg.trunk, "subunit": leg.subunit, "fibres": span,
        "place": str(place) if place is not None else None,
        "bunch": group.get(leg, -1),
        "idle": not job.spliced_fibres(leg),
        "ends": job.subunit(leg).fibres // leg.of,
        "ribboned": job.mixed and job.trunk_by_id[leg.trunk].in_ribbons,
        "cut": row.cut_mm if row is not None else None,
        "held": None if pin is None else "built" if pin.built else "pinned",
        "moved": reference.places.get(leg) != place,
    }  # fmt: skip


def _stacks(job: Job, decisions: Decisions, report: Report) -> list[Plain]:
    trays = {(tray.stack, tray.position): tray for tray in report.plan.trays}
    found = []
    for stack in job.enclosure.stacks:
        places = []
        for position in range(stack.positions, 0, -1):
            tray = trays.get((stack.id, position))
            ends, sleeves = (tray.ends, tray.sleeves) if tray is not None else (0, 0)
            kind = stack.by_position[position - 1]
            places.append(
                {
                    "position": position, "ends": ends, "sleeves": sleeves, "tray": kind.id, "most": 2 * kind.fibres,
                    "most_sleeves": kind.sleeves, "sleeve_fibres": kind.sleeve_fibres,
                }
            )  # fmt: skip
        found.append(
            {
                "stack": stack.id, "kinds": [kind.id for kind in stack.kinds],
                "sides": [end.id for end in stack.ends],
                "side": decisions.ends.get(stack.id, stack.ends[0].id), "places": places,
            }
        )  # fmt: skip
    return found


def _subunits(job: Job, decisions: Decisions) -> list[Plain]:
    return [
        {
            "trunk": subunit.trunk, "subunit": subunit.number,
            "of": decisions.division.get((subunit.trunk, subunit.number), 1), "divisions": list(subunit.divisions),
        }
        for subunit in job.subunits
        if job.spliced[subunit.trunk, subunit.number]
    ]  # fmt: skip


def _trunks(job: Job, decisions: Decisions, report: Report, pinned: dict[str, Any]) -> list[Plain]:
    rows = {row.trunk: row for row in report.plan.trunks}
    found = []
    for rank, trunk in enumerate(job.trunks):
        way, row = decisions.ways.get(trunk.id), rows[trunk.id]
        pin = pinned.get(trunk.id)
        found.append(
            {
                "trunk": trunk.id, "rank": rank, "inside": row.port is not None,
                "port": way.port if way else None, "travel": way.travel if way else None,
                "loops": way.loops if way else None,
                "divide_at": row.divide_at or decisions.divide_at.get(trunk.id, trunk.divide_at[0]),
                "strip": row.strip_mm,
                "ribbons": row.ribbons, "own_ribbons": list(trunk.ribbons) if trunk.may_work_ribbons else [],
                "ports": [port.id for port in job.enclosure.ports], "own_ports": list(trunk.allowed_ports(job.enclosure)),
                "travels": list(trunk.travels), "own_loops": list(trunk.loops), "own_divide_at": list(trunk.divide_at),
                "held": None if pin is None else "built" if pin.built else "pinned",
            }
        )  # fmt: skip
    return found


def _finding(job: Job, decisions: Decisions, found: Finding) -> Plain:
    return {
        "rule": found.rule, "level": found.level, "subject": found.subject, "because": spoken(found.because),
        "places": _places(job, decisions, found.subject),
    }  # fmt: skip


def _places(job: Job, decisions: Decisions, subject: str) -> list[str]:
    """Return the trays that a subject concerns; it may be a place, a leg, a subunit, the run of a pin, or a stack."""
    places = {str(place) for place in job.enclosure.places}
    if subject in places:
        return [subject]
    if subject in job.enclosure.stack_by_id:
        return [str(place) for place in decisions.places.values() if place.stack == subject]
    named = [
        str(place)
        for leg, place in decisions.places.items()
        if subject in {str(leg), f"{leg.trunk}/{leg.subunit}", f"{leg.trunk}:{job.subunit(leg).leg_span(leg)}"}
    ]
    return list(dict.fromkeys(named))


def together(job: Job, decisions: Decisions, leg: Leg) -> list[Place]:
    """Return the trays of a leg and of all legs that are spliced to it."""
    return [decisions.places[item] for item in spliced_with(job, decisions, leg) if item in decisions.places]


# -- the job as tables -----------------------------------------------------------------------------------------------


def tables(document: Document) -> Plain:
    """Return the job as tables: cells as text, and the choices for each column."""
    file, job = document.yaml(), document.job
    named = file.get(("joins",))
    shown: Plain = {
        "text": digest_of_text(document.now.text)[:16],
        "head": [{"key": c.key, "text": edits.shown(file.get((c.key,))), "fixed": edits.is_fixed(file.get((c.key,)))}
                 for c in edits.HEAD],
        "tables": {name: _table(document, name) for name in edits.TABLES},
        "joins_of": named if isinstance(named, str) else None,
        "rules": [] if job is None else _rules(job, file.get(("rules",))),
    }  # fmt: skip
    shown["choices"] = dict(_library(document.library))
    if job is not None:
        shown["choices"] |= {
            "port": [port.id for port in job.enclosure.ports],
            "stack": [stack.id for stack in job.enclosure.stacks],
            "trunk": [trunk.id for trunk in job.trunks],
        }
    return shown


@cache
def _library(folders: tuple[Path, ...]) -> dict[str, list[str]]:
    """Return the ids of the available boxes, cables and tube sets, by the key under which a job names them."""
    found: dict[str, list[str]] = {"enclosure": [], "cable": [], "tubes": []}
    for entry in api.library_survey(folders).entries:
        if entry.kind in found and entry.model.id not in found[entry.kind]:
            found[entry.kind].append(entry.model.id)
    return found


def _table(document: Document, name: str) -> Plain:
    columns = edits.TABLES[name]
    rows: list[Plain] = []
    named = document.yaml().get((name,))
    if name == "joins" and isinstance(named, str) and document.job is not None:
        rows = [{"a": str(join.a), "b": str(join.b), "name": join.name} for join in document.job.joins]
    else:
        for row in edits.rows_of(document.yaml(), name):
            rows.append({column.key: edits.shown(row.get(column.key)) for column in columns})
    fixed = [
        [column.key for column in columns if edits.is_fixed(row.get(column.key))]
        for row in edits.rows_of(document.yaml(), name)
    ]
    return {
        "columns": [
            {"key": c.key, "choices": list(c.choices), "rare": c.rare, "names": edits.names_of(c)} for c in columns
        ],
        "rows": rows,
        "fixed": fixed,
    }


def _rules(job: Job, said: Any) -> list[Plain]:
    from trayopt.rules.registry import BY_ID
    from trayopt.rules.tongues import LANGUAGES, statement_of

    words = api.json_schema("job")["properties"]["rules"]["properties"]
    found = []
    for name, setting in job.rules.items():
        own = said.get(name) if isinstance(said, dict) else None
        written = {key: edits.shown(value) for key, value in own.items()} if isinstance(own, dict) else {}
        found.append(
            {
                "rule": name, "level": setting.level, "weight": written.get("weight", str(setting.weight)),
                "parameters": {key: written.get(key, str(value)) for key, value in setting.parameters.items()},
                "usual": usual_setting(name, job), "said": isinstance(said, dict) and name in said,
                "words": words.get(name, {}).get("description", ""),
                "broken_when": {"en": BY_ID[name].statement} | {each: statement_of(BY_ID[name], each) for each in LANGUAGES},
            }
        )  # fmt: skip
    return found
