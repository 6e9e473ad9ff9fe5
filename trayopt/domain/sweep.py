"""A sweep: one file that combines enclosures, trays, trunk mixes, joins, divisions, rules and tubes into jobs."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any, Literal

from pydantic import Field, StringConstraints

from trayopt.domain.base import DivideAt, Frozen
from trayopt.domain.hardware import Enclosure, Reference, Tray, TubeSet
from trayopt.domain.job import Join
from trayopt.domain.trunk import Trunk

FACTORS = ("enclosure", "tray", "mix", "joins", "divide_at", "rules", "tubes")
"""The factors of a sweep, in the order in which names and tables show them; the last factor varies fastest."""
OWN = "own"
"""The word for the value that the enclosure or the mix itself gives."""
CABLE = "cable"
"""The word for every place at which the cable of a trunk allows it to be divided: tray and port, or the port alone."""
FORMER = "trayopt/sweep/1"
"""The schema of sweeps that make jobs of format 1."""

PatternName = Literal["through", "pairs", "halves_swapped", "subunits_reversed", "odd_then_even", "ring", "mesh"]
ValueName = Annotated[str, StringConstraints(min_length=1, max_length=64, pattern=r"^[^\s/\x00-\x1f][^/\x00-\x1f]*$")]
Some = Annotated[tuple[Any, ...], Field(min_length=1, max_length=1000)]
DivideAtValue = (
    Literal["own", "cable"]
    | DivideAt
    | Annotated[tuple[DivideAt | Annotated[tuple[DivideAt, ...], Field(min_length=1)], ...], Field(min_length=1)]
)
"""Where trunks are divided: one word for all trunks, or a list with an entry for each trunk: a word, or a list of words."""


class JoinSet(Frozen):
    """A named list of joins."""

    name: ValueName
    joins: tuple[Join, ...]


class RuleSet(Frozen):
    """A named set of settings of rules."""

    name: ValueName
    rules: Mapping[str, Any] = {}


class Mix(Frozen):
    """Trunks that meet in a box; if the mix has ``joins``, they replace the joins of the sweep."""

    name: ValueName
    trunks: Annotated[tuple[Trunk, ...], Field(min_length=1, max_length=1000)]
    joins: Annotated[tuple[PatternName | JoinSet, ...], Field(min_length=1)] | None = None


class LeaveOut(Frozen):
    """Combinations that are left out: for every factor that is named, their value is one of the values named."""

    enclosure: str | tuple[str, ...] | None = None
    tray: str | tuple[str, ...] | None = None
    mix: str | tuple[str, ...] | None = None
    joins: str | tuple[str, ...] | None = None
    divide_at: str | tuple[str, ...] | None = None
    rules: str | tuple[str, ...] | None = None
    tubes: str | tuple[str, ...] | None = None

    def covers(self, values: Mapping[str, str]) -> bool:
        """Whether a combination, given as names by factor, is left out."""
        return all(values[factor] in names for factor, names in self.named().items())

    def named(self) -> dict[str, tuple[str, ...]]:
        """Return the names by factor, for the factors that are named."""
        given = {factor: getattr(self, factor) for factor in FACTORS}
        return {
            factor: (names,) if isinstance(names, str) else names
            for factor, names in given.items()
            if names is not None
        }


class Sweep(Frozen):
    """A sweep file with its references resolved."""

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
    """The keys of a sweep file; the parts of its jobs are validated later, when each is put into a job."""

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
