"""A trunk: a cable end that enters the box, the limits that its owner sets, and its subunits."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable
from functools import cached_property
from typing import Annotated, Any, Literal

from pydantic import Field, model_validator

from trayopt.domain.base import (
    AS_THEY_ARE,
    DIVIDE_AT,
    SPLIT,
    TRAVELS,
    DivideAt,
    Frozen,
    Id,
    Millimetres,
    RibbonWord,
    Travel,
)
from trayopt.domain.cable import WITHOUT_TUBES, Cable
from trayopt.domain.cablework import Subunit
from trayopt.domain.hardware import Enclosure, Reference
from trayopt.domain.through import ThroughKeys


def ribbon_rank(word: RibbonWord) -> int:
    """Return the rank of a kind of ribbon work, the least work first; wider ribbons come after narrower ribbons."""
    return word if isinstance(word, int) else int(word == SPLIT)


class Trunk(Frozen):
    """A cable end that enters the box, and the limits that its owner sets.

    If the trunk is an end of a trunk that goes through the box, ``uncut`` lists the numbers of the subunits that are not
    cut. They do not count among the ``subunits``, which may be divided and spliced.
    """

    only_written = tuple(ThroughKeys.model_fields)
    only_resolved = ("uncut",)

    id: Id
    cable: Annotated[Cable, Reference("cable")]
    ports: tuple[Id, ...] | Literal["any"] = "any"
    travel: Literal["clockwise", "counterclockwise", "either"] = "either"
    loops: Annotated[tuple[Annotated[int, Field(ge=0, le=9)], ...], Field(min_length=1)] = (1, 2)
    exposed_mm: Annotated[int, Field(ge=0, le=1_000_000)] | None = None
    transition_mm: Millimetres = 0
    divide_at: Annotated[tuple[DivideAt, ...], Field(min_length=1)] = ("tray",)
    idle: Literal["coiled", "cut_back"] = "coiled"
    uncut: tuple[Annotated[int, Field(ge=1)], ...] = ()
    ribbons: Annotated[tuple[RibbonWord, ...], Field(min_length=1)] = (AS_THEY_ARE,)

    @model_validator(mode="before")
    @classmethod
    def _fill_divide_at(cls, data: Any) -> Any:
        """Read a single word as a list of one word; without the key, take both places for a cable with tubes, else the port."""
        if not isinstance(data, dict):
            return data
        given = data.get("divide_at")
        if given is None and "divide_at" not in data:
            cable = data.get("cable")
            if isinstance(cable, dict):
                tubes = cable.get("tubes", cable.get("construction") not in WITHOUT_TUBES)
            else:
                tubes = not isinstance(cable, Cable) or cable.tubes
            return {**data, "divide_at": DIVIDE_AT if tubes else ("port",)}
        if isinstance(given, str):
            given = (given,)
        if isinstance(given, tuple | list) and all(word in DIVIDE_AT for word in given):
            given = tuple(sorted(given, key=DIVIDE_AT.index))
        return {**data, "divide_at": given}

    @model_validator(mode="before")
    @classmethod
    def _list_ribbons(cls, data: Any) -> Any:
        """Read a single word as a list of one word, and sort a list by the amount of work."""
        if not isinstance(data, dict) or "ribbons" not in data:
            return data
        given = data["ribbons"]
        if isinstance(given, str | int):
            given = (given,)
        if isinstance(given, tuple | list) and all(word in (AS_THEY_ARE, SPLIT) or type(word) is int for word in given):
            given = tuple(sorted(given, key=ribbon_rank))
        return {**data, "ribbons": given}

    @cached_property
    def units(self) -> tuple[Subunit, ...]:
        """Every subunit of the cable, numbered from 1, cut or uncut."""
        made: list[Subunit] = []
        first = 1
        for group in self.cable.subunits:
            for _ in range(group.count):
                made.append(
                    Subunit(
                        self.id,
                        len(made) + 1,
                        first,
                        group.ribbons,
                        group.ribbon_fibres,
                        group.diameter_mm,
                        group.radius_mm,
                    )
                )
                first += made[-1].fibres
        return tuple(made)

    @cached_property
    def subunits(self) -> tuple[Subunit, ...]:
        """The subunits that may be divided and spliced; if the trunk goes through the box, only the subunits that are cut."""
        return tuple(unit for unit in self.units if unit.number not in self.uncut)

    @cached_property
    def passing(self) -> tuple[Subunit, ...]:
        """Subunits that pass uncut."""
        return tuple(unit for unit in self.units if unit.number in self.uncut)

    @cached_property
    def _firsts(self) -> tuple[int, ...]:
        return tuple(unit.first for unit in self.units)

    def subunit_of(self, fibre: int) -> Subunit:
        """Return the subunit that holds a fibre of the trunk."""
        return self.units[bisect_right(self._firsts, fibre) - 1]

    @property
    def divided_only_at(self) -> DivideAt | None:
        """The only place at which the trunk may be divided; None if the plan decides between two."""
        return self.divide_at[0] if len(self.divide_at) == 1 else None

    def place_of_division(self, divisions: Iterable[int], said: DivideAt | None) -> DivideAt:
        """Return the place at which a plan divides the trunk.

        If no subunit makes more than one leg, and the trunk may be divided at the tray, it counts as divided at the tray.

        Parameters
        ----------
        divisions
            The number of legs of each subunit in the plan.
        said
            The place that the plan names; None stands for the first place of ``divide_at``.
        """
        if "tray" in self.divide_at and all(of == 1 for of in divisions):
            return "tray"
        return said or self.divide_at[0]

    def own_tube_travels(self, of: int, at: DivideAt) -> bool:
        """Whether legs travel in their subunit's own tube: if it has a tube, and stays whole or is opened only at a tray."""
        return self.cable.tubes and (of == 1 or at == "tray")

    @property
    def may_work_ribbons(self) -> bool:
        """Whether the job allows any ribbon work; if so, the plan names the work for this trunk."""
        return self.ribbons != (AS_THEY_ARE,)

    @property
    def in_ribbons(self) -> bool:
        """Whether the fibres come in ribbons, so that single fibres have to be separated from each other."""
        cable = self.cable
        return cable.construction != "loose_tube" and any(group.ribbon_fibres > 1 for group in cable.subunits)

    @property
    def keeps_or_splits(self) -> tuple[RibbonWord, ...]:
        """The kinds of ribbon work in the list that make no new ribbons."""
        return tuple(word for word in self.ribbons if not isinstance(word, int))

    @property
    def travels(self) -> tuple[Travel, ...]:
        """Directions of travel that the owner allows."""
        return TRAVELS if self.travel == "either" else (self.travel,)

    def allowed_ports(self, enclosure: Enclosure) -> tuple[str, ...]:
        """Return the ports that the owner allows, in the order of the enclosure."""
        return tuple(port.id for port in enclosure.ports if self.ports == "any" or port.id in self.ports)
