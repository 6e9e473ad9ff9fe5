"""What came out of a batch: counts, a digest, the smallest box for each mix, and what changed against an older run."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from hashlib import sha256
from typing import Any, Literal, NamedTuple

from trayopt.batches.answers import FITTING, GOAL_WORDS, OPEN, OUTCOMES
from trayopt.batches.results import Line, Results
from trayopt.domain.plan import GoalName
from trayopt.domain.sweep import FACTORS

Way = Literal["better", "worse", "changed", "new", "gone"]
WAYS: tuple[Way, ...] = ("worse", "gone", "changed", "better", "new")
"""In the order in which they are told."""
RANK = {outcome: rank for rank, outcome in enumerate(OUTCOMES)}
GOALS: tuple[GoalName, ...] = (
    "unplaced",
    "broken_must",
    "broken_prefer",
    "legs",
    "crossings",
    "leg_length_mm",
    "out_of_turn",
)
MOST_CHANGES = 10_000


class Box(NamedTuple):
    """An enclosure and the job in which a mix fits into it."""

    enclosure: str
    litres: float
    places: int
    trays: int
    legs: int
    leg_length_mm: int
    job: str
    variant: str
    outcome: str
    plan: str


class Change(NamedTuple):
    """What became of one job since the older run, in words."""

    name: str
    way: Way
    before: str
    after: str
    job_changed: bool


@dataclass
class Summary:
    """All that is said of a batch beside its lines.

    Parameters
    ----------
    counts
        Jobs by outcome.
    same
        Jobs that were the same as another one and not solved again.
    proven
        Jobs whose every goal is proven.
    digest
        Names the results as a whole, whatever order they came in; seconds and attempts are no part of it.
    smallest
        By mix the smallest box that it fits in, None where there is none.
    open_
        By mix the boxes, smaller than that one, of which it is not settled whether it fits.
    changes
        Against an older run; None without one.
    seconds
        Time of all jobs added up.
    """

    counts: Counter[str] = field(default_factory=Counter)
    same: int = 0
    proven: int = 0
    digest: str = ""
    smallest: dict[str, Box | None] = field(default_factory=dict)
    open_: dict[str, list[str]] = field(default_factory=dict)
    changes: list[Change] | None = None
    seconds: float = 0.0

    @property
    def jobs(self) -> int:
        """All jobs."""
        return sum(self.counts.values())

    @property
    def worse(self) -> int:
        """Jobs that came out worse than in the older run, or are gone."""
        return sum(change.way in {"worse", "gone"} for change in self.changes or ())

    def as_dict(self) -> dict[str, Any]:
        """Give it as plain data."""
        return {
            "schema": "trayopt/batch/1",
            "jobs": self.jobs,
            "outcomes": {outcome: self.counts[outcome] for outcome in OUTCOMES},
            "same_as_another": self.same,
            "proven": self.proven,
            "digest": self.digest,
            "smallest": [
                {"mix": mix, **(box._asdict() if box else {"enclosure": None}), "not_settled": self.open_.get(mix, [])}
                for mix, box in self.smallest.items()
            ],
            "changes": None if self.changes is None else [change._asdict() for change in self.changes],
        }


def summarize(results: Results, older: Results | None = None) -> Summary:
    """Go once over the lines of a run, and of an older one."""
    made = Summary()
    total = 0
    sizes: dict[str, tuple[int, str]] = {}
    open_: dict[str, set[tuple[float, int, str]]] = {}
    for line in results.lines():
        made.counts[line["outcome"]] += 1
        made.same += "same_as" in line
        made.proven += line.get("status") == "optimal"
        made.seconds += 0.0 if "same_as" in line else line.get("seconds", 0.0)
        total = (total + int.from_bytes(_digest(line))) % 2**256
        mix = mix_name(line)
        if mix:
            splices = line.get("splices", 0)
            sizes[mix] = max(sizes.get(mix, (0, mix)), (splices, mix))
            made.smallest[mix] = _smaller(made.smallest.get(mix), line)
            if line["outcome"] in OPEN:
                open_.setdefault(mix, set()).add((line["litres"], line["places"], line["values"]["enclosure"]))
    made.digest = f"{total:064x}"
    made.smallest = {mix: made.smallest[mix] for mix in sorted(made.smallest, key=lambda mix: sizes[mix])}
    for mix, boxes in open_.items():
        box = made.smallest[mix]
        smaller = [name for *size, name in sorted(boxes) if box is None or (*size, name) < _size(box)]
        made.open_ |= {mix: smaller} if smaller else {}
    if older is not None:
        made.changes = sorted(_changes(results, older), key=lambda change: WAYS.index(change.way))
    return made


def mix_name(line: Line) -> str:
    """Name of the mix of a line: as its sweep names it, or made of its trunks."""
    return str(line["values"].get("mix", "") or line.get("mix", ""))


def variant(line: Line) -> str:
    """Tell jobs of one mix in one box from each other: by the other values, or by the name of a job file."""
    values = line["values"]
    told = [
        words(factor, values[factor])
        for factor in FACTORS
        if factor not in {"enclosure", "mix"} and values.get(factor) and usual(factor) != values[factor]
    ]
    return " · ".join(told) if values.get("joins") else str(line["name"])


def usual(factor: str) -> str:
    """Give the value of a factor that goes without saying."""
    return {"tray": "own", "joins": "through", "divide_at": "own", "rules": "default", "tubes": "mesh-set"}.get(
        factor, ""
    )


def words(factor: str, value: str) -> str:
    """Say a value so that it is clear without its factor."""
    if factor == "divide_at" and value in {"tray", "port"}:
        return f"divided at the {value}"
    if factor == "tray":
        return f"trays {value}"
    return value.replace("_", " ")


def _digest(line: Line) -> bytes:
    """Digest what of a line does not depend on the machine or the order."""
    keys = ("name", "digest", "outcome", "failure", "goals", "plan_sha256")
    return sha256(json.dumps([line.get(key) for key in keys], sort_keys=True).encode()).digest()


def _smaller(best: Box | None, line: Line) -> Box | None:
    if line["outcome"] not in FITTING:
        return best
    found = Box(
        line["values"]["enclosure"],
        line["litres"],
        line["places"],
        line["trays"],
        line["goals"]["legs"],
        line["goals"]["leg_length_mm"],
        line["name"],
        variant(line),
        line["outcome"],
        line.get("page") or line["plan"],
    )
    return found if best is None or _order(found) < _order(best) else best


def _size(box: Box) -> tuple[float, int, str]:
    return box.litres, box.places, box.enclosure


def _order(box: Box) -> tuple[Any, ...]:
    return *_size(box), RANK[box.outcome], box.trays, box.legs, box.leg_length_mm, box.job


def _changes(results: Results, older: Results) -> Iterator[Change]:
    """Compare lines of one name; at most so many changes are told."""
    told = 0
    for name in sorted({*results.starts, *older.starts}):
        change = _change(name, older.line(name), results.line(name))
        if change is not None and told < MOST_CHANGES:
            told += 1
            yield change


def _change(name: str, before: Line | None, after: Line | None) -> Change | None:
    if before is None or after is None:
        way: Way = "new" if before is None else "gone"
        return Change(name, way, (before and _said(before)) or "", (after and _said(after)) or "", False)
    old, new = _standing(before), _standing(after)
    job_changed = before.get("digest") != after.get("digest")
    same_plan = before.get("plan_sha256") == after.get("plan_sha256")
    if old == new and (same_plan or not job_changed):
        return None
    way = "changed" if old == new else "better" if new < old else "worse"
    return Change(name, way, *_difference(before, after), job_changed)


def _standing(line: Line) -> tuple[int, list[int]]:
    """How good a line is: smaller is better; seconds do not count."""
    goals = line.get("goals") or {}
    return RANK[line["outcome"]], [goals.get(goal, 0) for goal in GOALS]


def _said(line: Line) -> str:
    return OUTCOMES[line["outcome"]]


def _difference(before: Line, after: Line) -> tuple[str, str]:
    """Say the outcomes and the goals that are not the same."""
    old, new = before.get("goals") or {}, after.get("goals") or {}
    parts: tuple[list[str], list[str]] = ([], [])
    if before["outcome"] != after["outcome"]:
        parts[0].append(_said(before))
        parts[1].append(_said(after))
    for goal in GOALS:
        if old.get(goal) != new.get(goal) and goal in old and goal in new:
            parts[0].append(f"{old[goal]:,} {GOAL_WORDS[goal]}")
            parts[1].append(f"{new[goal]:,} {GOAL_WORDS[goal]}")
    if not parts[0]:
        return "another plan with the same figures", "another plan with the same figures"
    return ", ".join(parts[0]), ", ".join(parts[1])
