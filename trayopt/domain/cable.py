"""Cables: their constructions and subunits, and the bore that a leg of a cable needs."""

from __future__ import annotations

from functools import cached_property
from typing import Annotated, Any, Literal

from pydantic import Field, model_validator

from trayopt.domain.base import Frozen, Id, Size
from trayopt.domain.hardware import flat_bore_mm, round_bore_mm
from trayopt.domain.said import said

Construction = Literal["ribbon", "central_tube", "slotted_core", "partly_bonded_ribbon", "loose_tube"]
FLAT: frozenset[str] = frozenset({"ribbon", "central_tube", "slotted_core"})
WITHOUT_TUBES = ("slotted_core", "partly_bonded_ribbon")
"""Constructions whose subunits have no tube of their own, unless the cable says otherwise."""
FibreClass = Literal["G.652.D", "G.657.A1", "G.657.A2", "G.657.B2", "G.657.B3"]
FIBRE_RADIUS_MM: dict[str, float] = {"G.652.D": 30, "G.657.A1": 10, "G.657.A2": 7.5, "G.657.B2": 7.5, "G.657.B3": 5}
"""Least bend radius by fibre class (ITU-T G.657 (11/2016), tables of clause 8; ITU-T G.652 (11/2016), table 2)."""


class SubunitGroup(Frozen):
    """``count`` equal subunits in a row. A subunit is a tube or bundle of whole ribbons, all of one width."""

    count: Annotated[int, Field(ge=1, le=10_000)]
    ribbons: Annotated[int, Field(ge=1, le=1_000)]
    ribbon_fibres: Annotated[int, Field(ge=1, le=96)]
    diameter_mm: Size
    least_radius_mm: Size | None = None

    @property
    def radius_mm(self) -> float:
        """Least radius to which a tube of this group may be bent, in mm: as given, or ten times the diameter."""
        return 10 * self.diameter_mm if self.least_radius_mm is None else self.least_radius_mm


class Cable(Frozen):
    """A cable type.

    ``ribbon_mm`` is the width and height of one flat ribbon, ``coating_mm`` the diameter of a coated fibre in a round bundle.
    ``tubes`` says whether each subunit has a tube of its own; if the file does not say, it follows from the construction.
    """

    kind: Literal["cable"] = "cable"
    id: Id
    construction: Construction
    diameter_mm: Size
    fibre: FibreClass = "G.652.D"
    ribbon_mm: tuple[Size, Size] | None = None
    coating_mm: Annotated[float, Field(gt=0, le=2, allow_inf_nan=False)] = 0.25
    tubes: bool = True
    subunits: Annotated[tuple[SubunitGroup, ...], Field(min_length=1, max_length=1000)]

    @model_validator(mode="before")
    @classmethod
    def _fill_tubes(cls, data: Any) -> Any:
        if isinstance(data, dict) and "tubes" not in data:
            return {**data, "tubes": data.get("construction") not in WITHOUT_TUBES}
        return data

    @property
    def flat(self) -> bool:
        """Whether the ribbons of the cable are flat and rigid across."""
        return self.construction in FLAT

    @cached_property
    def fibres(self) -> int:
        """Number of fibres in the cable."""
        return sum(group.count * group.ribbons * group.ribbon_fibres for group in self.subunits)

    def bore_mm(self, ribbons: int, ribbon_fibres: int) -> float:
        """Return the bore that a leg of so many ribbons needs, in mm (spec, section 4).

        Raises
        ------
        ValueError
            If the cable has flat ribbons and ``ribbon_mm`` is missing.
        """
        if self.flat:
            if self.ribbon_mm is None:
                raise ValueError(said("cable '{cable}' is flat and has no ribbon_mm", cable=self.id))
            return flat_bore_mm(ribbons, self.ribbon_mm)
        return round_bore_mm(ribbons * ribbon_fibres, self.coating_mm)

    def faults(self) -> list[tuple[tuple[str | int, ...], str, str]]:
        """List values that contradict each other, each as (path, message, what is allowed)."""
        found: list[tuple[tuple[str | int, ...], str, str]] = []
        if self.flat and self.ribbon_mm is None:
            found.append(
                (
                    (),
                    f"cable {self.id!r} has flat ribbons ({self.construction}) and no ribbon_mm",
                    "ribbon_mm: [width, height]",
                )
            )
        if self.fibres > 100_000:
            found.append((("subunits",), f"cable {self.id!r} has {self.fibres} fibres", "up to 100,000"))
        return found
