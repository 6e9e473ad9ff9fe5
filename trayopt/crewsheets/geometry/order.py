"""The order of a trunk against depth in the box: where lines cross, a leg is threaded behind legs that are already laid."""

from __future__ import annotations

from collections.abc import Mapping

from trayopt.crewsheets.book import Book
from trayopt.crewsheets.units import Teller
from trayopt.domain.plan import PlanLeg
from trayopt.pictures.base import (
    SIZE,
    WIDTH,
    Box,
    Dot,
    Path,
    Picture,
    Point,
    Rect,
    Text,
    crossing_point,
    fitted,
)

ROW_PX = 16.0
TIGHT_PX = 7.0
TALL_PX = 880.0
HEAD_PX = 52.0
OWN_X = 214.0
DEPTH_X = 470.0
STUB_PX = 22.0
"""Width in px over which legs fan out from the tube that they share."""
MOST_DOTS = 3000


def order_picture(book: Book, trunk: str, tell: Teller) -> Picture:
    """Draw a trunk: its own order on the left, depth in the box on the right; legs of one tube run together.

    Two lines cross where two travellers cross, as often as the plan counts; each crossing is marked.
    """
    legs, lows = book.legs[trunk], book.lows
    ranked = sorted(range(len(legs)), key=lambda i: (lows[legs[i].leg], i))
    row = ROW_PX if len(legs) * ROW_PX <= TALL_PX else max(TIGHT_PX, TALL_PX / len(legs))
    height = HEAD_PX + row * len(legs) + 14
    pairs = [pair for pair in book.plan.crossings if book.travellers[pair[0]].trunk == trunk]
    picture = Picture(
        f"order-{trunk}",
        WIDTH,
        height,
        tell("picture.order", trunk=trunk),
        tell("picture.order.says" if pairs else "picture.order.none", n=len(pairs), trunk=trunk),
    )
    spots = {legs[i].leg: place for place, i in enumerate(ranked)}
    rows = {leg.leg: i for i, leg in enumerate(legs)}
    travellers = [traveller for traveller in book.travellers.values() if traveller.trunk == trunk]
    ways: dict[str, tuple[Point, Point]] = {}
    for traveller in travellers:
        names = [leg.leg for leg in traveller.legs]
        left, right = (_middle(places, names, row) for places in (rows, spots))
        ways[traveller.name] = (OWN_X + STUB_PX, left), (DEPTH_X - STUB_PX, right)
    crossed = {name for pair in pairs for name in pair}
    _depths(picture, book, legs, ranked, lows, row, tell)
    _own(picture, legs, row)
    for traveller in travellers:
        kind = "leg crosses" if traveller.name in crossed else "leg"
        for leg in traveller.legs:
            left, right = (HEAD_PX + (places[leg.leg] + 0.5) * row for places in (rows, spots))
            points = ((OWN_X, left), *ways[traveller.name], (DEPTH_X, right))
            picture.paths.append(Path(points, kind, {"leg": leg.leg, "trunk": trunk}))
    for u, v in pairs[:MOST_DOTS]:
        point = crossing_point(ways[u], ways[v])
        if point is not None:
            picture.dots.append(Dot(*point, "crossing", {"trunk": trunk}))
    picture.texts.append(Text(OWN_X, 14, fitted(tell("picture.order.own"), OWN_X - 4), "head", "end"))
    picture.texts.append(Text(DEPTH_X, 14, fitted(tell("picture.order.depth"), WIDTH - DEPTH_X - 4), "head"))
    count = tell("picture.order.count", n=len(pairs))
    picture.texts.append(Text((OWN_X + DEPTH_X) / 2, 34, fitted(count, DEPTH_X - OWN_X), "count", "middle"))
    return picture


def _middle(places: Mapping[str, int], names: list[str], row: float) -> float:
    """Return the y at which the legs of a traveller run together."""
    at = [places[name] for name in names]
    return HEAD_PX + ((min(at) + max(at)) / 2 + 0.5) * row


def _own(picture: Picture, legs: list[PlanLeg], row: float) -> None:
    """Label the trunk's own order: every leg if there is room, otherwise every subunit with a bracket round its legs."""
    free = 0.0
    start = 0
    for i, leg in enumerate(legs):
        last = i + 1 == len(legs) or legs[i + 1].subunit != leg.subunit
        if row >= SIZE:
            y = HEAD_PX + (i + 0.5) * row
            text = fitted(f"{leg.leg}  {leg.fibres}", OWN_X - 26)
            picture.texts.append(Text(OWN_X - 14, y, text, "leg-name", "end", keys={"leg": leg.leg}))
        if last:
            top, bottom = HEAD_PX + (start + 0.15) * row, HEAD_PX + (i + 0.85) * row
            picture.paths.append(Path(((OWN_X - 8, top), (OWN_X - 8, bottom)), "bracket"))
            middle = (top + bottom) / 2
            if row < SIZE and middle - SIZE * 0.6 >= free:
                text = fitted(f"{leg.trunk}/{leg.subunit}", OWN_X - 26)
                picture.texts.append(Text(OWN_X - 14, middle, text, "leg-name", "end"))
                free = middle + SIZE * 0.6
            start = i + 1


def _depths(
    picture: Picture,
    book: Book,
    legs: list[PlanLeg],
    ranked: list[int],
    lows: Mapping[str, int],
    row: float,
    tell: Teller,
) -> None:
    """Draw the depths as layers, the base on top, with the names of their trays."""
    free = 0.0
    start = 0
    for place, i in enumerate(ranked):
        leg, low = legs[i], lows[legs[i].leg]
        y = HEAD_PX + (place + 0.5) * row
        if row >= SIZE:
            text = fitted(f"{leg.stack}/{leg.position}", WIDTH - DEPTH_X - 60)
            picture.texts.append(Text(DEPTH_X + 14, y, text, "leg-name", keys={"leg": leg.leg}))
        if place + 1 < len(ranked) and lows[legs[ranked[place + 1]].leg] == low:
            continue
        top = HEAD_PX + start * row
        layer = Rect(DEPTH_X, top, WIDTH - DEPTH_X - 8, (place + 1 - start) * row)
        picture.boxes.append(Box(layer, "layer odd" if low % 2 else "layer"))
        middle = layer.y + layer.height / 2
        if middle - SIZE * 0.6 >= free:
            inside = [legs[ranked[k]] for k in range(start, place + 1)]
            deepest = max(leg.position or 0 for leg in inside)
            depth = str(low) if deepest == low else f"{low}–{deepest}"
            stacks = len({leg.stack for leg in inside})
            text = depth if row >= SIZE else fitted(tell("picture.order.layer", n=stacks, depth=depth), 160)
            picture.texts.append(Text(layer.right - 6, middle, text, "depth", "end"))
            free = middle + SIZE * 0.6
        start = place + 1
