"""Format 1, from the time before a plan decided where a trunk is divided: its names, and its digests of a job.

Jobs and plans of format 1 are read; nothing writes them.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from trayopt.domain.base import DivideAt, remade
from trayopt.domain.digest import first_keys, sha256_of, without_later_defaults
from trayopt.domain.job import Job
from trayopt.domain.plan import PlanJob

JOB, PLAN = "trayopt/job/1", "trayopt/plan/1"
"""The schemas of format 1."""
RENAMED = {"base_outward": "no_empty_below"}
"""Rules that were renamed: today's name by the former name."""
LATER_RULES = frozenset({"tied_trays", "breakout"})
LATER_KEYS = frozenset({"enclosure.track.guides.width_mm", "trunks.cable.tubes", "pins.divide_at"})
"""Keys of a job that format 1 did not know."""
ALLOWANCE_MM = 100
"""The allowance for a turn on the outside of the track that format 1 used for every box; today it follows from the box."""


def names_job(named: PlanJob, job: Job) -> bool:
    """Whether a plan names this job, by its digest of today or of format 1. A changed title does not make another job."""
    return named.digest == job.digest or named.digest in former_digests(job, named.title)


def former_digests(job: Job, title: str) -> Iterator[str]:
    """Yield the digests that a job with this title could have in format 1.

    Version 0.1.0 included the title and the rules at level ``off``; later versions of format 1 did not. A trunk without tubes
    whose file did not say where it is divided was divided at the ``tray`` in format 1 and is divided at the ``port`` today, so
    both words are tried for all such trunks.
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
    """Return the rules as format 1 wrote them; with ``off``, also the rules at level ``off`` that version 0.1.0 knew."""
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
