"""The acts that a page can request: each request is validated, and done in one step that can be undone."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from trayopt.desk import edits
from trayopt.desk.decisions import (
    Decisions,
    entered,
    joined_subunits,
    moved,
    plan_of,
    redivided,
    sent,
    spliced_with,
)
from trayopt.desk.document import Document
from trayopt.desk.hardware import put, put_entry
from trayopt.desk.live import circuits, moved_live
from trayopt.domain.assignment import Way
from trayopt.domain.base import DIVIDE_AT, TRAVELS
from trayopt.domain.cablework import Leg
from trayopt.domain.hardware import Place
from trayopt.domain.job import Job
from trayopt.errors import InputError
from trayopt.formats.yaml_edit import YamlFile

Request = Mapping[str, Any]
MOST_TEXT = 2_000


class Wrong(Exception):  # noqa: N818 - it is no error of the user's, but a request that no page of ours makes now
    """A request that cannot be done in this form; ``reason`` is a key of the catalogue, and ``more`` holds its values."""

    def __init__(self, reason: str, **more: Any) -> None:
        self.reason, self.more = reason, more
        super().__init__(reason)


def done(document: Document, name: str, request: Request) -> Any:
    """Do the act of a name.

    Raises
    ------
    Wrong
        If there is no such act, or the request does not fit it.
    InputError
        If the act cannot be done.
    """
    acts: dict[str, Callable[[Document, Request], Any]] = {
        "undo": lambda document, _: document.undo(),
        "redo": lambda document, _: document.redo(),
        "move": _move, "divide": _divide, "way": _way, "end": _end, "lock": _lock,
        "hardware": _hardware, "cells": _cells, "rows": _rows, "head": _head, "rule": _rule,
    }  # fmt: skip
    if name not in acts:
        raise Wrong("no such act")
    return acts[name](document, request)


# -- reading requests ------------------------------------------------------------------------------------------------


def text(request: Request, key: str) -> str:
    """Return the text under a key of a request."""
    value = request.get(key)
    if not isinstance(value, str) or len(value) > MOST_TEXT:
        raise Wrong("bad request")
    return value


def number(request: Request, key: str) -> int:
    """Return the whole number under a key of a request."""
    value = request.get(key)
    if not isinstance(value, int) or isinstance(value, bool):
        raise Wrong("bad request")
    return value


def _job(document: Document) -> Job:
    job = document.job
    if job is None:
        raise Wrong("no job")
    return job


def leg_of(job: Job, decisions: Decisions, name: str) -> Leg:
    """Return the leg of a name, as subunits are divided now."""
    for subunit in job.subunits:
        if name.startswith(f"{subunit.name}") and name[len(subunit.name) :][:1] in {"", "."}:
            for leg in decisions.legs(subunit):
                if str(leg) == name:
                    return leg
    raise Wrong("gone")


def _place(job: Job, request: Request) -> Place | None:
    if request.get("stack") is None:
        return None
    place = Place(text(request, "stack"), number(request, "position"))
    if place not in job.enclosure.place_rank:
        raise Wrong("gone")
    return place


# -- decisions -------------------------------------------------------------------------------------------------------


Change = Callable[[Job, Decisions], Decisions]


def _decide(document: Document, request: Request, change: Change, done: str, about: str, gesture: str = "") -> None:
    """Change decisions. Built legs, of the job or of its file on the disk, are moved only after a confirmation.

    Raises
    ------
    Wrong
        ``live``, with the legs and their circuits, if the change moves built legs and the request does not confirm it by
        ``live``.
    """
    job, before = _job(document), document.now.decisions
    after = change(job, before)
    on_disk = document.reading_of(document.saved.text).job
    runs = {str(run): run for known in (job, on_disk) if known is not None for run in moved_live(known, before, after)}
    if runs and request.get("live") is not True:
        raise Wrong("live", legs=list(runs), circuits=circuits(job, runs.values()))
    document.decide(lambda *_: after, done, about, gesture)


def _move(document: Document, request: Request) -> None:
    """Put a leg into a tray or out of the box, together with the legs that are spliced to it, or alone."""
    job, name = _job(document), text(request, "leg")
    leg, place = leg_of(job, document.now.decisions, name), _place(job, request)
    gesture = text(request, "gesture") if "gesture" in request else ""

    def change(job: Job, decisions: Decisions) -> Decisions:
        legs = {leg} if request.get("alone") is True else spliced_with(job, decisions, leg)
        return moved(job, decisions, sorted(legs), place)

    said = f"{name} {place or ''}".strip()
    _decide(document, request, change, "moved" if place is not None else "taken_out", said, gesture)


def _divide(document: Document, request: Request) -> None:
    """Divide a subunit anew, together with the subunits that are spliced to it at the same fibres, or alone."""
    job, of = _job(document), number(request, "of")
    subunit = job.subunit_of_leg.get((text(request, "trunk"), number(request, "subunit")))
    if subunit is None:
        raise Wrong("gone")
    some = [subunit] if request.get("alone") is True else joined_subunits(job, subunit)
    _decide(document, request, lambda job, decisions: redivided(job, decisions, some, of), "divided", subunit.name)


def _way(document: Document, request: Request) -> None:
    """Lead a trunk another way."""
    job, trunk = _job(document), text(request, "trunk")
    port, travel, loops = text(request, "port"), text(request, "travel"), number(request, "loops")
    at = request.get("divide_at")
    known = trunk in job.trunk_by_id and port in job.enclosure.port_by_id and 0 <= loops <= 9
    if not known or travel not in TRAVELS or at not in {None, *DIVIDE_AT}:
        raise Wrong("bad request")
    where = next((each for each in DIVIDE_AT if each == at), None)
    said = request.get("ribbons")
    word = next((each for each in job.trunk_by_id[trunk].ribbons if each == said), None)
    way = Way(port, TRAVELS[TRAVELS.index(travel)], loops)
    _decide(document, request, lambda _, decisions: sent(decisions, trunk, way, where, word), "sent", trunk)


def _end(document: Document, request: Request) -> None:
    """Let legs enter a stack at another end."""
    job, stack, end = _job(document), text(request, "stack"), text(request, "end")
    found = job.enclosure.stack_by_id.get(stack)
    if found is None or end not in {each.id for each in found.ends}:
        raise Wrong("gone")
    _decide(document, request, lambda _, decisions: entered(decisions, stack, end), "entered", stack)


# -- the job ---------------------------------------------------------------------------------------------------------


def _edit(
    document: Document, change: Callable[[YamlFile], None], done: str, about: str, *, sound: bool = False
) -> None:
    """Change the text of the job; if the change fails, or with ``sound`` makes the job invalid, the text stays as it was."""
    file = YamlFile(document.now.text)
    change(file)
    text = file.text()
    if sound and document.reading_of(text).job is None:
        raise InputError(document.reading_of(text).faults)
    document.write(text, done, about)


def _lock(document: Document, request: Request) -> None:
    """Pin the decision on a leg or a trunk, or remove the pin."""
    job = document.reading.job
    if job is None:
        raise Wrong("faulty")
    decisions = document.now.decisions
    if "leg" in request:
        leg = leg_of(job, decisions, text(request, "leg"))
        place = decisions.places.get(leg)
        run = f"{leg.trunk}:{job.subunit(leg).leg_span(leg)}"
        if request.get("on") is True and place is not None:
            _edit(document, lambda file: edits.pin_leg(file, job, leg, place), "locked", str(leg), sound=True)
        else:
            _edit(document, lambda file: edits.unpin(file, run), "unlocked", str(leg))
        return
    trunk = text(request, "trunk")
    way = decisions.ways.get(trunk)
    if request.get("on") is True and way is not None:
        _edit(document, lambda file: edits.pin_trunk(file, trunk, way._asdict()), "locked", trunk, sound=True)
    else:
        _edit(document, lambda file: edits.unpin(file, trunk), "unlocked", trunk)


def _cells(document: Document, request: Request) -> None:
    """Put texts into cells of a table; ``cells`` holds the row, key and text of each."""
    table, given = text(request, "table"), request.get("cells")
    if not isinstance(given, list):
        raise Wrong("bad request")
    cells = []
    for cell in given:
        if not (isinstance(cell, list) and len(cell) == 3):
            raise Wrong("bad request")
        row, key, said = cell
        if not (isinstance(row, int) and isinstance(key, str) and isinstance(said, str)) or len(said) > MOST_TEXT:
            raise Wrong("bad request")
        cells.append((row, key, said))
    job = document.reading.job
    _edit(document, lambda file: edits.put_cells(file, table, cells, job), "wrote", table)


def _rows(document: Document, request: Request) -> None:
    """Remove rows from a table."""
    table, rows = text(request, "table"), request.get("rows")
    if not isinstance(rows, list) or not all(isinstance(row, int) for row in rows):
        raise Wrong("bad request")
    job = document.reading.job
    _edit(document, lambda file: edits.take_rows(file, table, rows, job), "took_rows", table)


def _head(document: Document, request: Request) -> None:
    key, said = text(request, "key"), text(request, "text")
    _edit(document, lambda file: edits.put_head(file, key, said), "wrote", key)


def _hardware(document: Document, request: Request) -> None:
    """Put a value into a part of the hardware, or mark its value as measured; or copy or remove an entry."""
    at = request.get("at_key")
    if not isinstance(at, list) or not all(isinstance(part, str | int) for part in at):
        raise Wrong("bad request")
    if request.get("entry") in {"copy", "out"}:
        put_entry(document, text(request, "file"), tuple(at), out=request["entry"] == "out")
        return
    put(document, text(request, "file"), tuple(at), text(request, "text") if "text" in request else None)


def _rule(document: Document, request: Request) -> None:
    """Change the setting of a rule."""
    rule, setting, job = text(request, "rule"), request.get("setting"), document.job
    if not isinstance(setting, dict) or job is None or rule not in job.rules:
        raise Wrong("bad request")
    said = {key: value for key, value in setting.items() if isinstance(key, str) and isinstance(value, str)}
    usual = usual_setting(rule, job)
    _edit(document, lambda file: edits.put_rule(file, rule, said, usual), "wrote", rule)


def usual_setting(rule: str, job: Job) -> dict[str, str]:
    """Return level, weight and parameters of a rule that the job does not mention."""
    from trayopt.rules.registry import BY_ID

    known = BY_ID[rule]
    usual = {name: str(value) for name, value in job.rules[rule].usual.items()}
    return {"level": known.level, "weight": str(known.weight), **usual}


# -- tasks of searches -----------------------------------------------------------------------------------------------


SOON_PART = 0.3
"""A best plan that was found in less than this part of a limit is searched for again, so that its bounds are proven here."""


def task(document: Document, kind: str, request: Request, reference: Decisions, limit_s: float) -> dict[str, Any]:
    """Return the task of a search: its input in addition to the job."""
    job, decisions = _job(document), document.now.decisions
    best = document.best
    known = best is not None and best.job.digest == job.digest
    if kind in {"explain", "keep"} and document.best_s is not None and document.best_s < SOON_PART * limit_s:
        known = False
    made: dict[str, Any] = {"best": best.plain() if known and best is not None else None}
    if kind == "solve" and decisions.places:
        made["plan"] = plan_of(job, decisions).plain()
    if kind == "keep":
        runs, ways = chosen(job, decisions, request, reference)
        made["keep"] = {"runs": runs, "ways": ways}
        made["about"] = ", ".join([*(f"{t}:{a}-{b} {s}/{p}" for t, a, b, s, p in runs), *(str(way[0]) for way in ways)])
    if kind == "mend":
        runs, ways = chosen(job, decisions, {}, reference)
        file = YamlFile(document.now.text)
        built = {pin.subject for pin in job.pins if pin.built}
        for trunk, first, last, stack, position in runs:
            leg = job.trunk_by_id[trunk].subunit_of(first).leg_of_run(first, last)
            if leg is not None and f"{trunk}:{first}-{last}" not in built:
                edits.pin_leg(file, job, leg, Place(stack, position), built=True)
        for name, *way in ways:
            if name not in built:
                told = dict(zip(("port", "travel", "loops", "divide_at"), way, strict=True))
                edits.pin_trunk(file, name, told, built=True)
        made["held_text"] = file.text()
        made["plan"] = plan_of(job, decisions).plain()
        made["about"] = ", ".join(f"{t}:{a}-{b} {s}/{p}" for t, a, b, s, p in runs)
    return made


Runs = list[tuple[str, int, int, str, int]]


def chosen(job: Job, decisions: Decisions, request: Request, reference: Decisions) -> tuple[Runs, list[list[Any]]]:
    """Return the decisions to keep: on the leg or trunk that a request names, or all that differ from the reference."""
    if "leg" in request:
        leg = leg_of(job, decisions, text(request, "leg"))
        legs = [item for item in spliced_with(job, decisions, leg) if item in decisions.places]
        return _runs(job, decisions, legs), []
    if "trunk" in request:
        trunk = text(request, "trunk")
        way = decisions.ways.get(trunk)
        return [], [] if way is None else [[trunk, *way, decisions.divide_at.get(trunk)]]
    legs = [leg for leg, place in decisions.places.items() if reference.places.get(leg) != place]
    ways = [
        [trunk, *way, decisions.divide_at.get(trunk)]
        for trunk, way in decisions.ways.items()
        if reference.ways.get(trunk) != way
    ]
    return _runs(job, decisions, legs), ways


def _runs(job: Job, decisions: Decisions, legs: list[Leg]) -> Runs:
    return [
        (leg.trunk, *job.subunit(leg).leg_run(leg), decisions.places[leg].stack, decisions.places[leg].position)
        for leg in sorted(legs)
    ]
