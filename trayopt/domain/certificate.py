"""The certificate of a plan: proofs of its bounds that are checked without the solver.

Its schema is ``trayopt/certificate/1``, or ``trayopt/certificate/2`` where proofs have lemmas, which readers of version 1 refuse.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any, Literal

from pydantic import Field, StringConstraints, model_validator

from trayopt.domain.base import Frozen
from trayopt.domain.plan import GoalName, PlanJob

Argument = Literal["not_below_zero", "prices", "prices_with_orders", "none"]
"""Why the value of a goal cannot be lower.

``not_below_zero``: no goal is below 0. ``prices``: prices of rows that every plan meets. ``prices_with_orders``: the same,
with the rows of the order on a stack among them. ``none``: the certificate gives no reason.
"""
Version = Literal["trayopt/certificate/1", "trayopt/certificate/2"]
WITH_LEMMAS: Version = "trayopt/certificate/2"
Price = Annotated[str, StringConstraints(pattern=r"^-?[0-9]{1,40}(/[1-9][0-9]{0,40})?$")]
Name = Annotated[str, Field(min_length=1, max_length=100_000)]


class CertificateNode(Frozen):
    """A node of a proof: a lemma, a split or a leaf.

    A lemma is a list of bounds of which one holds in all plans: the place of a number in the list of the goal, from 1, and a
    value. The number is at least the value; it is at most the value if the place has a minus. Lemmas come first. A split
    parts all plans by the number ``split``: at most ``most``, or above it. A leaf gives prices of rows that leave no plan.
    """

    lemma: tuple[tuple[int, int], ...] | None = None

    split: Name | None = None
    most: int | None = None
    prices: Mapping[Name, Price] | None = None

    @model_validator(mode="after")
    def _is_one(self) -> CertificateNode:
        kinds = [self.lemma is not None, self.split is not None, self.prices is not None]
        if (self.split is None) != (self.most is None) or sum(kinds) != 1:
            raise ValueError("a node has either a lemma, or split and most, or prices")
        return self


class CertificateGoal(Frozen):
    """The least value of one goal among plans that are as good as this plan on the goals before, and the reason.

    ``numbers`` lists the numbers that lemmas name by their place.
    """

    goal: GoalName
    least: Annotated[int, Field(ge=0)]
    argument: Argument
    numbers: tuple[Name, ...] = ()
    nodes: Annotated[tuple[CertificateNode, ...], Field(max_length=10_000)] = ()

    @model_validator(mode="after")
    def _has_nodes(self) -> CertificateGoal:
        if self.argument.startswith("prices") != bool(self.nodes):
            raise ValueError("nodes belong to arguments by prices, each of which has at least one")
        return self


class Certificate(Frozen):
    """The reasons for the bounds of a plan, goal by goal, in the order in which goals count."""

    schema_: Annotated[Version, Field(alias="schema")] = "trayopt/certificate/1"
    job: PlanJob
    goals: tuple[CertificateGoal, ...]

    @model_validator(mode="after")
    def _says_lemmas(self) -> Certificate:
        if self.schema_ != WITH_LEMMAS and any(node.lemma is not None for goal in self.goals for node in goal.nodes):
            raise ValueError(f"lemmas belong to {WITH_LEMMAS}")
        return self

    def plain(self) -> dict[str, Any]:
        """Return the certificate as plain data, without the fields that hold their defaults."""
        return self.model_dump(mode="json", by_alias=True, exclude_defaults=True) | {"schema": self.schema_}
