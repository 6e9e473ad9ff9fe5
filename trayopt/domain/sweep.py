"""A sweep: one file that crosses enclosures, trays, trunk mixes, joins, divisions, rules and tubes into jobs."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any, Literal

from pydantic import Field, StringConstraints

from trayopt.domain.base import DivideAt, Frozen
from trayopt.domain.hardware import Enclosure, Reference, Tray, TubeSet
from trayopt.domain.job import Join
from trayopt.domain.trunk import Trunk

FACTORS = ("enclosure", "tray", "mix", "joins", "divide_at", "rules", "tubes")
"""What a sweep crosses, in the order in which names and tables show it; the last one turns fastest."""
OWN = "own"
"""Stands for what an enclosure or a mix says by itself."""
CABLE = "cable"
"""Stands for every place at which a trunk can be divided by its cable: at the tray and the port, or at the port alone."""
FORMER = "trayopt/sweep/1"
"""The schema of sweeps whose jobs are jobs of format 1."""

PatternName = Literal["through", "pairs", "halves_swapped", "subunits_reversed", "odd_then_even", "ring", "mesh"]
ValueName = Annotated[str, StringConstraints(min_length=1, max_length=64, pattern=r"^[^\s/\x00-\x1f][^/\x00-\x1f]*$")]
Some = Annotated[tuple[Any, ...], Field(min_length=1, max_length=1000)]
DivideAtValue = (
    Literal["own", "cable"]
    | DivideAt
    | Annotated[tuple[DivideAt | Annotated[tuple[DivideAt, ...], Field(min_length=1)], ...], Field(min_length=1)]
)
"""Where trunks are divided: a word for all of them, or a list by trunk, each with a word or a list of both."""


class JoinSet(Frozen):
    """Joins written out, under a name."""

    name: ValueName
    joins: tuple[Join, ...]


class RuleSet(Frozen):
    """What jobs say of the rules, under a name."""

    name: ValueName
    rules: Mapping[str, Any] = {}


class Mix(Frozen):
    """Trunks that meet in a box; ``joins`` stand in for those of the sweep."""

    name: ValueName
    trunks: Annotated[tuple[Trunk, ...], Field(min_length=1, max_length=1000)]
    joins: Annotated[tuple[PatternName | JoinSet, ...], Field(min_length=1)] | None = None


class LeaveOut(Frozen):
    """Combinations that are left out: those that have one of the values named for every factor that is named."""

    enclosure: str | tuple[str, ...] | None = None
    tray: str | tuple[str, ...] | None = None
    mix: str | tuple[str, ...] | None = None
    joins: str | tuple[str, ...] | None = None
    divide_at: str | tuple[str, ...] | None = None
    rules: str | tuple[str, ...] | None = None
    tubes: str | tuple[str, ...] | None = None

    def covers(self, values: Mapping[str, str]) -> bool:
        """Whether a combination, as names by factor, is left out."""
        return all(values[factor] in names for factor, names in self.named().items())

    def named(self) -> dict[str, tuple[str, ...]]:
        """Names by factor, of the factors that are named."""
        given = {factor: getattr(self, factor) for factor in FACTORS}
        return {
            factor: (names,) if isinstance(names, str) else names
            for factor, names in given.items()
            if names is not None
        }


class Sweep(Frozen):
    """The file of a sweep with its references resolved; what is left out is not crossed."""

    schema_: Annotated[Literal["trayopt/sweep/2"], Field(alias="schema")] = "trayopt/sweep/2"
    title: Annotated[str, Field(max_length=500)] = ""
    enclosures: (
        Annotated[tuple[Annotated[Enclosure, Reference("enclosure")], ...], Field(min_length=1)] | Literal["all"]
    )
    trays: Annotated[tuple[Literal["own"] | Annotated[Tray, Reference("tray")], ...], Field(min_length=1)] = ("own",)
    mixes: Annotated[tuple[Mix, ...], Field(min_length=1)]
    joins: Annotated[tuple[PatternName | JoinSet, ...], Field(min_length=1)] = ("through",)
    divide_at: Annotated[tuple[DivideAtValue, ...], Field(min_length=1)] = ("own",)
    rules: tuple[RuleSet, ...] = ()
    tubes: tuple[Annotated[TubeSet, Reference("tubes")], ...] = ()
    leave_out: tuple[LeaveOut, ...] = ()


class SweepFile(Frozen):
    """The keys of a sweep file; what its jobs are made of is looked at when it is put into a job."""

    schema_: Annotated[Literal["trayopt/sweep/1", "trayopt/sweep/2"], Field(alias="schema")]
    title: Annotated[str, Field(max_length=500)] = ""
    enclosures: Some | Literal["all"]
    trays: Some = ("own",)
    mixes: Some
    joins: Some = ("through",)
    divide_at: Annotated[tuple[DivideAtValue, ...], Field(min_length=1)] = ("own",)
    rules: Some | None = None
    tubes: Some | None = None
    leave_out: tuple[LeaveOut, ...] = ()


class MixShell(Frozen):
    """The keys of a mix."""

    name: ValueName
    trunks: Some
    joins: Some | None = None


class JoinShell(Frozen):
    """The keys of a set of joins: a list, or the name of a table."""

    name: ValueName
    joins: tuple[Any, ...] | str


class RuleShell(Frozen):
    """The keys of a set of rules."""

    name: ValueName
    rules: Mapping[str, Any] = {}
