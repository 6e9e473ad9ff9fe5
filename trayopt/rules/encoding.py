"""Helpers that several rules share in ``encode``. No ``check`` uses this file."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from trayopt.domain.assignment import Way
from trayopt.domain.base import DivideAt
from trayopt.domain.cablework import Leg, Subunit
from trayopt.domain.hardware import Place, Port
from trayopt.domain.trunk import Trunk
from trayopt.rules.base import Post

if TYPE_CHECKING:
    from trayopt.rules.variables import Literal, Variables


def only_where(x: Variables, trunk: Trunk, at: DivideAt) -> tuple[Literal, ...]:
    """Return the literals under which a trunk is divided here: none where it is divided nowhere else in this model."""
    return () if len(x.divide_options(trunk)) == 1 else (x.divided_at(trunk, at),)


def enters_by_trunk(x: Variables, port: Port) -> dict[Trunk, Literal]:
    """Return, for each trunk that may enter by a port, the literal that says whether it does."""
    return {
        trunk: x.enters(trunk, port.id) for trunk in x.job.trunks if any(way.port == port.id for way in x.ways(trunk))
    }


def legs_in(x: Variables, subunit: Subunit, of: int, at: DivideAt) -> list[Leg]:
    """Return the legs of a division that lie in trays if the trunk is divided here: at the port idle legs stay out."""
    return [leg for leg in x.legs(subunit, of) if at == "tray" or x.job.spliced_fibres(leg)]


def encode_neighbours(x: Variables, post: Post, trunk: Trunk, at: DivideAt) -> None:
    """Let each placed leg of a subunit lie where the placed leg before it lies, or one position higher on that stack.

    This binds if the trunk is divided ``at`` the tray or the port. If every splice is placed, or the tube is opened at a
    tray, every leg of a subunit that can be placed is placed. Then the leg before is the previous leg of the list.
    """
    when = only_where(x, trunk, at)
    all_or_none = x.all_placed or at == "tray"
    places = x.job.enclosure.places
    known = set(places)
    ups = [Place(place.stack, place.position + 1) for place in places]
    for subunit in trunk.subunits:
        for of in x.divisions(subunit):
            legs = legs_in(x, subunit, of, at)
            for i, leg in enumerate(legs[:-1]):
                here = [x.at(leg, place) for place in places]
                passed: list[Literal] = []
                for after in legs[i + 1 : i + 2] if all_or_none else legs[i + 1 :]:
                    between, placed = sum(passed), x.placed(after)
                    for at_place, place, up in zip(here, places, ups, strict=True):
                        follows = x.at(after, place) + (x.at(after, up) if up in known else 0)
                        if all_or_none:
                            post(at_place <= follows, subunit.name, when)
                        else:
                            post(at_place + placed <= 1 + follows + between, subunit.name, when)
                    passed.append(placed)


def forbid_places(x: Variables, post: Post, trunk: Trunk, forbidden: Callable[[Way, Place, str], bool]) -> None:
    """Forbid a trunk's ways together with the places (at an end) where its legs would break a rule; subject: the trunk.

    An end of a trunk that goes through may be in the box without a leg.
    """
    stacks = x.job.enclosure.stacks
    places_of = {
        stack.id: [Place(stack.id, position) for position in range(1, stack.positions + 1)] for stack in stacks
    }
    for way in x.ways(trunk):
        bad = {
            (stack.id, end.id): [place for place in places_of[stack.id] if forbidden(way, place, end.id)]
            for stack in stacks
            for end in stack.ends
        }
        goes = x.goes(trunk, way)
        has_legs = trunk.id not in x.job.other_end
        if has_legs and all(len(bad[stack.id, end.id]) == stack.positions for stack in stacks for end in stack.ends):
            post(goes <= 0, trunk.id)
            continue
        for stack in stacks:
            for end in stack.ends:
                places = bad[stack.id, end.id]
                if not places:
                    continue
                literals: list[Literal] = [x.trunk_at(trunk, place) for place in places]
                if len(places) == stack.positions:
                    literals = [x.any_of(*literals)]
                for literal in literals:
                    post(goes + x.end(stack.id, end.id) + literal <= 2, trunk.id)
