"""The change from one job to another, as the YAML to put into the job file, with what stands there now beside it.

Each edit is a stream of YAML documents, one a file, in the shape of that file. A key that is given replaces the key;
entries of lists with ids (trunks, ports, stacks, guides) are told by their ids and keep their other keys; an entry
that is to be taken out stands as a comment where it stands in the file: ``# - {…}  # take out``.
"""

from __future__ import annotations

import shlex
from collections.abc import Collection, Iterator, Mapping, Sequence
from typing import Any

from trayopt.domain.base import AS_THEY_ARE, SPLIT
from trayopt.domain.hardware import Enclosure, Guide, Port, Stack
from trayopt.domain.job import Apart, Job, Join, Setting
from trayopt.domain.pins import LegPin, TrunkPin
from trayopt.domain.through import Through
from trayopt.domain.trunk import Trunk
from trayopt.formats.locate import printable
from trayopt.formats.yaml_out import flow
from trayopt.rules.registry import BY_ID, in_box

INDENT = "  "
DASHES = "---"
TRUNK_KEYS = ("ports", "travel", "loops", "exposed_mm", "transition_mm", "divide_at", "idle", "ribbons")
AS_NOW = "as now"
"""Stands for what a key is now where it stays, and is written all the same."""


def edit_text(
    before: Job,
    after: Job,
    boxes: Collection[Enclosure] = (),
    box_file: str | None = None,
    job_file: str | None = None,
) -> str:
    """Write the YAML that turns a job file into another job.

    Parameters
    ----------
    before, after
        The job as it is, and as it is to be.
    boxes
        Enclosures of the library; one of them is copied to a file of its own before it is changed.
    box_file
        The file of the box, as the job names it; None where the job holds it, or has it from the library.
    job_file
        The file of the job, which the edit names at its head; None where there is none.
    """
    lines = [*_tubes(before, after), *_trunks(before, after), *_rules(before, after)]
    lines += [*_pins(before, after), *_apart(before, after)]
    lines += _enclosure(before.enclosure, after.enclosure, boxes, box_file)
    if job_file is not None and lines and not lines[0].startswith(DASHES):
        lines.insert(0, f"{DASHES}  # {printable(job_file)}")
    return "\n".join(lines)


def shared_out(before: Job, jobs: Sequence[Job], job_file: str | None = None) -> str:
    """Write how a job is shared out to several boxes of one kind: a job file for each, and what is taken out of it."""
    of = "this one" if job_file is None else printable(job_file)
    return "\n".join(line for i, job in enumerate(jobs, start=1) for line in _share(before, job, i, of))


def documents(edit: str) -> list[tuple[str, str]]:
    """Cut an edit into its documents: what stands behind the dashes, and the text."""
    found: list[tuple[str, list[str]]] = [("", [])]
    for line in edit.splitlines():
        if line.startswith(DASHES):
            found.append((line.partition("# ")[2], []))
        else:
            found[-1][1].append(line)
    return [(head, "\n".join(lines)) for head, lines in found if head or lines]


def _indented(lines: Iterator[str] | Sequence[str], depth: int = 1) -> Iterator[str]:
    yield from (INDENT * depth + line for line in lines)


def _headed(head: str, lines: Sequence[str]) -> Iterator[str]:
    """Yield lines under their key; nothing if there are no lines."""
    if lines:
        yield f"{head}:"
        yield from _indented(lines)


def _keys(changed: Mapping[str, Any], now: Mapping[str, Any]) -> Iterator[str]:
    """Write keys with what they are now; lists of mappings entry by entry."""
    for key, value in changed.items():
        if isinstance(value, list) and value and isinstance(value[0], Mapping):
            yield f"{key}:  # now {_beginning(value, now[key])}"
            yield from _indented([f"- {flow(item)}" for item in value])
        else:
            stands = "none" if now[key] is None else flow(now[key])
            yield f"{key}: {flow(value)}  # {'as now' if now[key] is AS_NOW else f'now {stands}'}"


def _beginning(value: Sequence[Any], now: Any) -> str:
    """Say what a longer list is now; a part of it that stands at its head by its length alone."""
    if not now:
        return "none"
    more = len(value) - len(now)
    return f"without the last {'entry' if more == 1 else more}" if value[: len(now)] == now else flow(now)


def _entry(name: str, changed: Mapping[str, Any], now: Mapping[str, Any]) -> Iterator[str]:
    """Write an entry of a list with ids."""
    yield f"- id: {flow(name)}"
    yield from _indented(list(_keys(changed, now)))


def _taken_out(entries: Sequence[Mapping[str, Any]]) -> list[str]:
    return [f"# - {flow(entry)}  # take out" for entry in entries]


# -- parts of a job file ---------------------------------------------------------------------------------------------


def _tubes(before: Job, after: Job) -> Iterator[str]:
    if before.tubes != after.tubes:
        yield f"tubes: {flow(after.tubes.id)}  # now {flow(before.tubes.id)}"


def _trunks(before: Job, after: Job) -> Iterator[str]:
    lines: list[str] = []
    first = {item.ends[0]: item for item in after.through}
    for trunk in after.trunks:
        if trunk.id in first:
            lines += _through(before, after, first[trunk.id])
        elif trunk.id not in after.other_end:
            changed, now = _differing(trunk, before.trunk_by_id[trunk.id], TRUNK_KEYS)
            if changed:
                lines += _entry(trunk.id, changed, now)
    yield from _headed("trunks", lines)


def _through(before: Job, after: Job, item: Through) -> Iterator[str]:
    """Write the entry of a trunk that goes through; keys in which its two ends differ are written for each side."""
    old = [before.trunk_by_id[end] for end in item.ends]
    new = [after.trunk_by_id[end] for end in item.ends]
    keys = [key for key in TRUNK_KEYS if any(getattr(a, key) != getattr(b, key) for a, b in zip(old, new, strict=True))]
    changed, now = ({key: _by_side(key, ends) for key in keys} for ends in (new, old))
    slack = next(one.slack_mm for one in before.through if one.trunk == item.trunk)
    if slack != item.slack_mm:
        changed["slack_mm"], now["slack_mm"] = item.slack_mm, slack
    if changed:
        yield from _entry(item.trunk, changed, now)


def _by_side(key: str, ends: Sequence[Trunk]) -> Any:
    """Write the value of a key for two ends: once if it is the same, else as a list of two."""
    values = [getattr(end, key) for end in ends]
    if key == "ports":
        return "any" if values == ["any", "any"] else [v[0] if v != "any" and len(v) == 1 else v for v in values]
    if values[0] == values[1]:
        return _plain(values[0])
    return [list(value) if isinstance(value, tuple) else value for value in values]


def _rules(before: Job, after: Job) -> Iterator[str]:
    moved = in_box(before, after.enclosure).rules  # what follows from the box is written nowhere
    lines = [
        f"{name}: {flow(_setting(name, setting))}  # now {flow(_setting(name, before.rules[name]))}"
        for name, setting in after.rules.items()
        if setting != moved[name]
    ]
    yield from _headed("rules", lines)


def _setting(name: str, setting: Setting) -> Any:
    """Return a setting as short as a job file has it."""
    rule = BY_ID[name]
    entry = {key: value for key, value in setting.parameters.items() if value != setting.usual.get(key)}
    if setting.level == "prefer" and setting.weight != rule.weight:
        entry = {"weight": setting.weight, **entry}
    if not entry:
        return setting.level
    return entry if setting.level == rule.level else {"level": setting.level, **entry}


def _pins(before: Job, after: Job) -> Iterator[str]:
    yield from _headed("pins", _taken_out([_pin(pin) for pin in before.pins if pin not in after.pins]))


def _pin(pin: LegPin | TrunkPin) -> dict[str, Any]:
    if isinstance(pin, LegPin):
        entry: dict[str, Any] = {"leg": str(pin.leg), "stack": pin.stack, "position": pin.position}
    else:
        entry = {key: getattr(pin, key) for key in ("trunk", "port", "travel", "loops", "divide_at", "ribbons")}
    return {key: value for key, value in {**entry, "built": pin.built or None}.items() if value is not None}


def _apart(before: Job, after: Job) -> Iterator[str]:
    if before.apart == after.apart:
        return
    now = flow([_apart_entry(entry) for entry in before.apart])
    yield f"apart:{'' if after.apart else ' []'}  # now {now}"
    yield from _indented([f"- {flow(_apart_entry(entry))}" for entry in after.apart])


def _apart_entry(entry: Apart) -> dict[str, Any]:
    return {"joins": entry.joins, "scope": entry.scope}


def _join(join: Join) -> dict[str, Any]:
    named = {} if join.name.isdigit() else {"name": join.name}
    return {"a": str(join.a), "b": str(join.b), **named}


def _share(before: Job, job: Job, number: int, of: str) -> Iterator[str]:
    box = flow(job.enclosure.id)
    yield f"{DASHES}  # job file {number}, of a box {box} of its own: a copy of {of} without these entries"
    kept = set(job.trunk_by_id)
    names = {end: item.trunk for item in before.through for end in item.ends}
    gone = dict.fromkeys(names.get(trunk.id, trunk.id) for trunk in before.trunks if trunk.id not in kept)
    yield from _headed("trunks", _taken_out([{"id": name} for name in gone]))
    yield from _headed("joins", _taken_out([_join(join) for join in before.joins if join not in job.joins]))
    yield from _pins(before, job)
    yield from _apart(before, job)


# -- the box ---------------------------------------------------------------------------------------------------------


def _enclosure(
    before: Enclosure, after: Enclosure, boxes: Collection[Enclosure], box_file: str | None
) -> Iterator[str]:
    """Write the change of a box: in its file, in a copy where it is one of the library, or where the job holds it."""
    if before.id != after.id:
        yield f"enclosure: {flow(after.id)}  # now {flow(before.id)}"
        return
    guides = list(_parts("guides", before.track.guides, after.track.guides))
    lines = [
        *_headed("track", guides),
        *_parts("ports", before.ports, after.ports),
        *_parts("stacks", before.stacks, after.stacks),
    ]
    if not lines:
        return
    if box_file is not None:
        yield f"{DASHES}  # {printable(box_file)}"
        yield from lines
        return
    if before not in boxes:
        yield from _headed("enclosure", lines)
        return
    name = f"{before.id}-changed"
    file = f"{name}.yaml"
    copy = f"trayopt library show --kind enclosure {shlex.quote(before.id)} > {shlex.quote(file)}"
    yield f"enclosure: {flow(file)}  # now {flow(before.id)}; beside the job file, made by:"
    yield f"# {printable(copy)}"
    yield f"{DASHES}  # {printable(file)}"
    yield f"id: {flow(name)}  # now {flow(before.id)}"
    yield from lines


def _parts(name: str, before: Sequence[Guide | Port | Stack], after: Sequence[Guide | Port | Stack]) -> Iterator[str]:
    lines: list[str] = []
    for old, new in zip(before, after, strict=True):
        changed, now = _differing(new, old, tuple(type(new).model_fields))
        if isinstance(new, Guide) and isinstance(old, Guide) and "opening_mm2" in changed:
            # where the file leaves the width out, it would follow the new opening
            changed["width_mm"], now["width_mm"] = new.width_mm, AS_NOW
        if changed:
            lines += _entry(new.id, changed, now)
    yield from _headed(name, lines)


def _differing(new: Any, old: Any, keys: Sequence[str]) -> tuple[dict[str, Any], dict[str, Any]]:
    """Return the keys in which two parts differ, with the new and the old value."""
    names = [key for key in keys if getattr(old, key) != getattr(new, key)]
    return {key: _plain(getattr(new, key)) for key in names}, {key: _plain(getattr(old, key)) for key in names}


def _plain(value: Any) -> Any:
    if isinstance(value, tuple) and value and hasattr(value[0], "model_dump"):
        return [item.model_dump() for item in value]
    if value in (("tray",), ("port",), (AS_THEY_ARE,), (SPLIT,)):
        return value[0]
    return value.id if hasattr(value, "id") else value
