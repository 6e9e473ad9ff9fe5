"""The certificate of a plan, schema ``trayopt/certificate/1``: hints with which its bounds are checked without the solver."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any, Literal

from pydantic import Field, StringConstraints, model_validator

from trayopt.domain.base import Frozen
from trayopt.domain.plan import GoalName, PlanJob

Argument = Literal["not_below_zero", "prices", "prices_with_orders", "none"]
"""Why a goal is not less: no goal is below 0; prices of rows that every plan meets, or of rows of orders too; nothing is said."""
Price = Annotated[str, StringConstraints(pattern=r"^-?[0-9]{1,40}(/[1-9][0-9]{0,40})?$")]
Name = Annotated[str, Field(min_length=1, max_length=100_000)]


class CertificateNode(Frozen):
    """A split of all plans by a whole number, at most ``most`` or above it; or prices of rows that leave no plan."""

    split: Name | None = None
    most: int | None = None
    prices: Mapping[Name, Price] | None = None

    @model_validator(mode="after")
    def _is_one(self) -> CertificateNode:
        if (self.split is None) != (self.most is None) or (self.split is None) == (self.prices is None):
            raise ValueError("a node has either split and most, or prices")
        return self


class CertificateGoal(Frozen):
    """What is said of one goal: the least that it can be, the goals before it as good as in the plan, and why."""

    goal: GoalName
    least: Annotated[int, Field(ge=0)]
    argument: Argument
    nodes: Annotated[tuple[CertificateNode, ...], Field(max_length=10_000)] = ()

    @model_validator(mode="after")
    def _has_nodes(self) -> CertificateGoal:
        if self.argument.startswith("prices") != bool(self.nodes):
            raise ValueError("nodes belong to arguments by prices, each of which has at least one")
        return self


class Certificate(Frozen):
    """What makes the bounds of a plan checkable, goal by goal in the order in which they count."""

    schema_: Annotated[Literal["trayopt/certificate/1"], Field(alias="schema")] = "trayopt/certificate/1"
    job: PlanJob
    goals: tuple[CertificateGoal, ...]

    def plain(self) -> dict[str, Any]:
        """Give it as plain data, without what it does not say."""
        return self.model_dump(mode="json", by_alias=True, exclude_defaults=True) | {"schema": self.schema_}
