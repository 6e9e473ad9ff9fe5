"""The change from one job to another, as the lines to change in the job file, each with what stands there now."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from trayopt.domain.hardware import Enclosure, Guide, Port, Stack
from trayopt.domain.job import Apart, Job, LegPin, Setting, TrunkPin
from trayopt.rules.registry import BY_ID


def edit_text(before: Job, after: Job) -> str:
    """Write what to change in a job file, so that it reads as another job; one line a change."""
    lines = [*_tubes(before, after), *_trunks(before, after), *_rules(before, after), *_pins(before, after)]
    lines += _apart(before, after)
    lines += _enclosure(before.enclosure, after.enclosure)
    return "\n".join(lines)


def flow(value: Any) -> str:
    """Write plain data as a YAML flow value."""
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{key}: {flow(item)}" for key, item in value.items()) + "}"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(flow(item) for item in value) + "]"
    if isinstance(value, bool) or value is None:
        return {True: "true", False: "false", None: "null"}[value]
    if isinstance(value, float):
        return f"{value:g}"
    text = str(value)
    plain = text.replace("-", "").replace("_", "").replace("/", "").replace(".", "").isalnum()
    return text if (plain and not text[:1].isdigit()) or isinstance(value, int) else f'"{text}"'


def _tubes(before: Job, after: Job) -> Iterator[str]:
    if before.tubes != after.tubes:
        yield f"tubes: {flow(after.tubes.id)}  # now {before.tubes.id}"


def _trunks(before: Job, after: Job) -> Iterator[str]:
    for trunk in after.trunks:
        old = before.trunk_by_id[trunk.id]
        new = {}
        now = []
        for key in ("ports", "travel", "loops", "exposed_mm", "transition_mm", "divide_at", "idle"):
            if getattr(trunk, key) != getattr(old, key):
                new[key] = getattr(trunk, key)
                now.append(f"{key}: {flow(getattr(old, key))}")
        if new:
            yield f"trunks: {flow({'id': trunk.id, **new})}  # now {', '.join(now)}"


def _rules(before: Job, after: Job) -> Iterator[str]:
    for name, setting in after.rules.items():
        old = before.rules[name]
        if setting != old:
            yield f"rules: {flow({name: _setting(name, setting)})}  # now {flow(_setting(name, old))}"


def _setting(name: str, setting: Setting) -> Any:
    """Give a setting as short as a job file has it."""
    rule = BY_ID[name]
    usual = rule.Parameters().model_dump()
    entry = {key: value for key, value in setting.parameters.items() if value != usual.get(key)}
    if setting.level == "prefer" and setting.weight != rule.weight:
        entry = {"weight": setting.weight, **entry}
    if not entry:
        return setting.level
    return entry if setting.level == rule.level else {"level": setting.level, **entry}


def _pins(before: Job, after: Job) -> Iterator[str]:
    for pin in before.pins:
        if pin not in after.pins:
            yield f"pins: take out {flow(_pin(pin))}"


def _pin(pin: LegPin | TrunkPin) -> dict[str, Any]:
    if isinstance(pin, LegPin):
        entry: dict[str, Any] = {"leg": str(pin.leg), "stack": pin.stack, "position": pin.position}
    else:
        entry = {"trunk": pin.trunk, "port": pin.port, "travel": pin.travel, "loops": pin.loops}
    return {key: value for key, value in entry.items() if value is not None}


def _apart(before: Job, after: Job) -> Iterator[str]:
    if before.apart != after.apart:
        entries = [_entry(entry) for entry in after.apart]
        yield f"apart: {flow(entries)}  # now {flow([_entry(entry) for entry in before.apart])}"


def _entry(entry: Apart) -> dict[str, Any]:
    return {"joins": entry.joins, "scope": entry.scope}


def _enclosure(before: Enclosure, after: Enclosure) -> Iterator[str]:
    if before == after:
        return
    lines = [
        *_parts("track.guides", before.track.guides, after.track.guides),
        *_parts("ports", before.ports, after.ports),
        *_parts("stacks", before.stacks, after.stacks),
    ]
    for line in lines:
        yield f"enclosure {before.id} (as a file of the job's own): {line}"


def _parts(name: str, before: Sequence[Guide | Port | Stack], after: Sequence[Guide | Port | Stack]) -> Iterator[str]:
    for old, new in zip(before, after, strict=True):
        keys = [key for key in type(new).model_fields if getattr(old, key) != getattr(new, key)]
        if keys == ["seals"] and isinstance(old, Port) and isinstance(new, Port):
            more = [seal.model_dump() for seal in new.seals[len(old.seals) :]]
            yield f"{name}: {new.id}: add to its seals {flow(more)}"
            continue
        changed, now = ({key: _short(getattr(part, key)) for key in keys} for part in (new, old))
        if changed:
            yield f"{name}: {flow({'id': new.id, **changed})}  # now {flow(now)}"


def _short(value: Any) -> Any:
    if isinstance(value, tuple) and value and hasattr(value[0], "model_dump"):
        return [item.model_dump() for item in value]
    return value.id if hasattr(value, "id") else value
