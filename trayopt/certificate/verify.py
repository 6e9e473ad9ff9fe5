"""Checks a certificate against a job and the values of a plan, without the solver: all that it takes from the file are hints."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Any, Literal

from trayopt.certificate.patterns import TooMany
from trayopt.certificate.rules import plans_of
from trayopt.certificate.system import Leaf, Split, Tree, Wrong
from trayopt.domain.certificate import Certificate, CertificateGoal
from trayopt.domain.digest import first_keys, without_later_defaults
from trayopt.domain.former import names_job
from trayopt.domain.job import Job
from trayopt.domain.plan import GoalName

Standing = Literal["checked", "rests on the solver's search", "refused"]
LATER_KEYS = (
    "enclosure.parts",
    "enclosure.track.guides.width_mm",
    "pins.divide_at",
    "through",
    "trunks.cable.tubes",
    "trunks.uncut",
)
"""Keys of jobs, beside those of version 0.1.0, of which the rows of ``plans`` know what they mean."""


@dataclass(frozen=True)
class Checked:
    """What became of a goal: its standing, and why where it is refused or not checked."""

    goal: str
    least: int
    standing: Standing
    why: str = ""


def verify(job: Job, values: Mapping[GoalName, int], certificate: Certificate) -> Iterator[Checked]:
    """Check what a certificate says of each goal of a plan.

    Parameters
    ----------
    job
        The job.
    values
        The goals of the plan in the order in which they count, as they were measured.
    certificate
        What is said. A goal is checked where no plan that is as good on all goals before it is better on it.

    Yields
    ------
    Checked
        One for each goal of the plan, in its order.
    """
    said = {item.goal: item for item in certificate.goals}
    wrong = _not_of(job, values, certificate)
    given: dict[GoalName, int] = {}
    for goal, value in values.items():
        item = said.get(goal)
        if wrong or item is None:
            yield Checked(
                goal, item.least if item else 0, "refused", wrong or "the certificate does not name this goal"
            )
        else:
            yield Checked(goal, item.least, *_standing(job, given, item, value))
        given[goal] = value


def _not_of(job: Job, values: Mapping[GoalName, int], certificate: Certificate) -> str:
    """Say why a certificate is not one of this plan; empty where it is."""
    if not names_job(certificate.job, job):
        return "the certificate is of another job"
    goals = [item.goal for item in certificate.goals]
    if goals != list(values):
        return f"the certificate takes the goals in the order {', '.join(goals)}; the plan has {', '.join(values)}"
    return ""


def _standing(job: Job, given: Mapping[GoalName, int], item: CertificateGoal, value: int) -> tuple[Standing, str]:
    """Check one goal, those before it given."""
    if item.least > value:
        return "refused", f"{item.least:,} are said to be the least, and the plan has {value:,}"
    if item.argument == "none":
        return "rests on the solver's search", "the certificate has no argument"
    if item.argument == "not_below_zero":
        if item.least:
            return "refused", f"that nothing is below 0 does not prove {item.least:,}"
    elif unknown := sorted(unknown_keys(job)):
        return "rests on the solver's search", f"arguments do not know what the job says by {', '.join(unknown)}"
    else:
        try:
            refute(job, given, item)
        except Wrong as found:
            return "refused", str(found)
    if item.least < value:
        return "rests on the solver's search", f"{item.least:,} is the least that is checked, the plan has {value:,}"
    return "checked", ""


def refute(job: Job, given: Mapping[GoalName, int], item: CertificateGoal) -> None:
    """See that no plan as good as is given has less of a goal than is said.

    Raises
    ------
    Wrong
        Where the argument does not show that.
    """
    try:
        plans = plans_of(job, given, orders=item.argument == "prices_with_orders")
    except TooMany:
        raise Wrong("there are too many patterns to list them again") from None
    if item.goal not in plans.goals:
        raise Wrong(f"prices prove nothing of {item.goal}")
    plans.below(item.goal, item.least)
    plans.refute(tree_of(item))


def tree_of(item: CertificateGoal) -> Tree:
    """Give the tree of a goal's nodes."""
    return [
        Split(node.split, node.most or 0) if node.split is not None
        else Leaf({name: Fraction(price) for name, price in (node.prices or {}).items()})
        for node in item.nodes
    ]  # fmt: skip


def unknown_keys(job: Job) -> set[str]:
    """Give the paths of keys of a job that mean something to its plans and whose meaning is not known here."""
    return {path for path in _paths(without_later_defaults(job, job.plain()))} - {*first_keys(), *LATER_KEYS}


def _paths(data: Any, at: str = "") -> Iterator[str]:
    """Give the paths of all keys; what rules, parts of mounting and known later keys hold is not looked at."""
    if isinstance(data, list):
        for item in data:
            yield from _paths(item, at)
    elif isinstance(data, dict):
        for key, value in data.items():
            path = f"{at}.{key}" if at else key
            yield path
            if path not in {"rules", *LATER_KEYS}:
                yield from _paths(value, path)
