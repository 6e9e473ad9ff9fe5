"""The base class of all data that is read from files, and arithmetic that all floors share."""

from __future__ import annotations

from collections.abc import Callable
from math import isqrt
from typing import Annotated, Any, ClassVar, Literal, Self, TypeVar

from pydantic import BaseModel, ConfigDict, Field, StringConstraints

Travel = Literal["clockwise", "counterclockwise"]
TRAVELS: tuple[Travel, Travel] = ("clockwise", "counterclockwise")
DivideAt = Literal["tray", "port"]
DIVIDE_AT: tuple[DivideAt, DivideAt] = ("tray", "port")
"""Where a trunk is divided: at the trays' entrances, or at its port."""
LEAST_RIBBON, MOST_RIBBON = 2, 96
"""The fewest and the most fibres of a ribbon that is made anew."""
RibbonWord = Literal["as_they_are", "split"] | Annotated[int, Field(ge=LEAST_RIBBON, le=MOST_RIBBON)]
"""What is done with a trunk's ribbons before they are spliced; a number means that ribbons of that many fibres are made."""
AS_THEY_ARE: RibbonWord = "as_they_are"
SPLIT: RibbonWord = "split"

ID, LONGEST_ID = r"^[^\s:/+\x00-\x1f][^:/+\x00-\x1f]*$", 64
"""The pattern of an id, and how long an id may be. An id is never a path."""
Id = Annotated[str, StringConstraints(min_length=1, max_length=LONGEST_ID, pattern=ID)]
Millimetres = Annotated[int, Field(ge=-100_000, le=100_000)]
Size = Annotated[float, Field(gt=0, le=100_000, allow_inf_nan=False)]
Count = Annotated[int, Field(ge=1, le=100_000)]

T = TypeVar("T")

EPSILON = 1e-9
"""Tolerance with which diameters, radii and areas are compared (spec, section 3)."""


class Frozen(BaseModel):
    """Base of all file data: frozen, strict about types, no unknown keys.

    Validators are built when they are first used: a command pays for the kinds of file that it reads, and no others.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True, defer_build=True)

    only_written: ClassVar[tuple[str, ...]] = ()
    """Keys that a file may have and the model does not: they are read before the model is made."""
    only_resolved: ClassVar[tuple[str, ...]] = ()
    """Keys that the model has and a file written by hand does not."""

    def __copy__(self) -> Self:
        """Copy the fields alone: values that were computed from this object may not hold for a copy with other fields."""
        copied = super().__copy__()
        for name in copied.__dict__.keys() - type(self).model_fields.keys():
            del copied.__dict__[name]
        return copied

    def once(self, make: Callable[[Self], T]) -> T:
        """Return ``make(self)``, computed at the first call and kept for the calls after it."""
        kept: dict[Callable[[Self], object], object] = self.__dict__.setdefault("_once", {})
        if make not in kept:
            kept[make] = make(self)
        return kept[make]  # type: ignore[return-value]


def straight_mm(x0: int, y0: int, x1: int, y1: int) -> int:
    """Length of a straight piece in the x, y plane, rounded up to a whole millimetre (exact, in integers)."""
    square = (x1 - x0) ** 2 + (y1 - y0) ** 2
    root = isqrt(square)
    return root if root * root == square else root + 1


def divisors(n: int) -> tuple[int, ...]:
    """Return all divisors of n, from 1 to n."""
    return tuple(k for k in range(1, n + 1) if n % k == 0)


def ceil_to(value: int, step: int) -> int:
    """Round up to a multiple of step."""
    return -(-value // step) * step


F = TypeVar("F", bound=Frozen)


def remade(part: F, **changed: Any) -> F:
    """Copy a part of a job or of a document with other values in some fields. The new values are not validated.

    Raises
    ------
    TypeError
        If the part has no field of that name.
    """
    if unknown := changed.keys() - type(part).model_fields.keys():
        raise TypeError(f"{type(part).__name__} has no field {', '.join(sorted(unknown))}")
    return part.model_copy(update=changed)
