"""The check of a certificate, goal by goal, by the check of its proofs. It takes nothing but hints from the file."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from trayopt.certificate.check import Leaf, Lemma, Split, System, TooMany, Tree, Unknown, Wrong
from trayopt.domain.certificate import Certificate, CertificateGoal, CertificateNode
from trayopt.domain.former import names_job
from trayopt.domain.job import Job
from trayopt.domain.plan import GoalName

Standing = Literal["checked", "rests on the solver's search", "refused"]


RowsOf = Callable[..., System]
"""Function that makes the rows for plans as good as given; with ``orders``, also the rows of the order on a stack."""


@dataclass(frozen=True)
class Checked:
    """The result for a goal: its standing, and the reason if it is refused or not checked."""

    goal: str
    least: int
    standing: Standing
    why: str = ""


def verify(job: Job, values: Mapping[GoalName, int], certificate: Certificate, rows_of: RowsOf) -> Iterator[Checked]:
    """Check the arguments of a certificate for each goal of a plan.

    Parameters
    ----------
    job
        The job.
    values
        The measured goals of the plan, in the order in which they count.
    certificate
        The certificate. A goal is checked if no plan that is as good on all goals before it is better on it.
    rows_of
        Makes the rows that every plan of the job meets if it is as good on given goals.

    Yields
    ------
    Checked
        The result for each goal of the plan, in their order.
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
            yield Checked(goal, item.least, *_standing(job, given, item, value, rows_of))
        given[goal] = value


def _not_of(job: Job, values: Mapping[GoalName, int], certificate: Certificate) -> str:
    """Return the reason why a certificate does not belong to a plan; empty if it does."""
    if not names_job(certificate.job, job):
        return "the certificate is of another job"
    goals = [item.goal for item in certificate.goals]
    if goals != list(values):
        return f"the certificate takes the goals in the order {', '.join(goals)}; the plan has {', '.join(values)}"
    return ""


def _standing(
    job: Job, given: Mapping[GoalName, int], item: CertificateGoal, value: int, rows_of: RowsOf
) -> tuple[Standing, str]:
    """Check a goal, with the values of the goals before it given."""
    if item.least > value:
        return "refused", f"{item.least:,} are said to be the least, and the plan has {value:,}"
    if item.argument == "none":
        return "rests on the solver's search", "the certificate has no argument"
    if item.argument == "not_below_zero":
        if item.least:
            return "refused", f"that nothing is below 0 does not prove {item.least:,}"
    else:
        try:
            refute(rows_of(job, given, orders=item.argument == "prices_with_orders"), item)
        except Unknown as found:
            return "rests on the solver's search", str(found)
        except TooMany:
            return "refused", "there are too many patterns to list them again"
        except Wrong as found:
            return "refused", str(found)
    if item.least < value:
        return "rests on the solver's search", f"{item.least:,} is the least that is checked, the plan has {value:,}"
    return "checked", ""


def refute(plans: System, item: CertificateGoal) -> None:
    """Check that no plans of these rows have a lower value of a goal than its argument claims.

    Raises
    ------
    Wrong
        If the argument does not prove it.
    """
    if item.goal not in plans.goals:
        raise Wrong(f"prices prove nothing of {item.goal}")
    plans.below(item.goal, item.least)
    plans.refute(tree_of(item))


def tree_of(item: CertificateGoal) -> Tree:
    """Return the lemmas and the tree that the nodes of a goal make.

    Raises
    ------
    Wrong
        If a lemma names a number that the goal does not list.
    """
    return [_node(item, node) for node in item.nodes]


def _node(item: CertificateGoal, node: CertificateNode) -> Lemma | Split | Leaf:
    if node.split is not None:
        return Split(node.split, node.most or 0)
    if node.prices is not None:
        return Leaf({name: Fraction(price) for name, price in node.prices.items()})
    if any(not 1 <= abs(place) <= len(item.numbers) for place, _ in node.lemma or ()):
        raise Wrong("a lemma speaks of a number that the goal does not list")
    return Lemma([(item.numbers[abs(place) - 1], 1 if place > 0 else -1, value) for place, value in node.lemma or ()])
