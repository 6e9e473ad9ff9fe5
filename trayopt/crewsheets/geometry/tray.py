"""A tray: the entrances of its legs, and the content of every sleeve place. Not to scale."""

from __future__ import annotations

from trayopt.crewsheets.book import Book
from trayopt.crewsheets.figures import place_name
from trayopt.crewsheets.geometry.front import style_of
from trayopt.crewsheets.units import Teller
from trayopt.domain.plan import PlanLeg
from trayopt.pictures.base import WIDTH, Box, Dot, Path, Picture, Rect, Text, fitted

TAB_PX = 17.0
SLOT_PX = 19.0
SLOT_WIDTH = 326.0
PAD = 14.0


def tray_picture(book: Book, index: int, tell: Teller) -> Picture:
    """Draw a tray with its entrances on the right sides, its legs, and its sleeves in their places."""
    row = book.trays[index]
    kind = book.hardware(row)
    name = place_name(row)
    legs = book.tray_legs[index]
    sides = _sides(book, legs)
    tabs = max(len(side) for side in sides)
    columns = 2 if kind.sleeves <= 24 else 4
    width = (WIDTH - 2 * PAD - 8 * (columns - 1)) / columns
    rows = -(-kind.sleeves // columns)
    top = 26 + tabs * TAB_PX + 16
    height = top + PAD + rows * (SLOT_PX + 3) + PAD
    picture = Picture(
        f"tray-{name}",
        WIDTH,
        height + 8,
        tell("picture.tray", name=name),
        tell(
            "picture.tray.says",
            n=row.sleeves,
            splices=tell("count.splices", n=book.spliced_in(index)),
            parked=tell("count.parked", n=row.ends - 2 * book.spliced_in(index)),
            legs=tell("count.legs", n=len(legs), legs=", ".join(leg.leg for leg in legs)),
        ),
    )
    body = Rect(PAD / 2, top, WIDTH - PAD, height - top)
    picture.boxes.append(Box(body, "tray", {"tray": name}))
    for side, at in zip(sides, (0, 1), strict=True):
        _entrance(picture, book, side, at, body, tell)
    filled = {sleeve.number: sleeve for sleeve in book.tray_sleeves[index]}
    for slot in range(kind.sleeves):
        x = PAD + (slot // rows) * (width + 8)
        y = body.y + PAD + (slot % rows) * (SLOT_PX + 3)
        rect = Rect(x, y, width, SLOT_PX)
        sleeve = filled.get(slot + 1)
        picture.boxes.append(Box(rect, "sleeve" if sleeve else "sleeve unused"))
        text = f"{slot + 1}" if sleeve is None else f"{slot + 1}  {sleeve.a} × {sleeve.b}"
        picture.texts.append(
            Text(x + 6, y + SLOT_PX / 2, fitted(text, width - 10), "sleeve-text", within=rect, full=text)
        )
    return picture


def _sides(book: Book, legs: tuple[PlanLeg, ...]) -> tuple[list[PlanLeg], list[PlanLeg]]:
    """Divide the legs of a tray by entrance: the left entrance first, or the lower one if both have the same x."""
    if not legs:
        return [], []
    end = next(end for end in book.stack(legs[0]).ends if end.id == legs[0].end)
    one, other = end.clockwise, end.counterclockwise
    left = "clockwise" if (one.x_mm, one.y_mm) < (other.x_mm, other.y_mm) else "counterclockwise"
    found: tuple[list[PlanLeg], list[PlanLeg]] = ([], [])
    for leg in legs:
        found[0 if book.ways[leg.trunk].travel == left else 1].append(leg)
    return found


def _entrance(picture: Picture, book: Book, legs: list[PlanLeg], side: int, body: Rect, tell: Teller) -> None:
    """Draw an entrance with a line for every leg that comes in there."""
    if not legs:
        return
    half = WIDTH / 2 - 18
    x = 10.0 if side == 0 else WIDTH - 10.0
    anchor = "start" if side == 0 else "end"
    travel = book.ways[legs[0].trunk].travel
    head = Rect(x if side == 0 else x - half, 2, half, TAB_PX)
    text = fitted(tell("picture.tray.entrance", end=legs[0].end, travel=tell(f"travel.{travel}")), half)
    picture.texts.append(Text(x, 11, text, "head", anchor, within=head))  # type: ignore[arg-type]
    gate = body.x + 18 if side == 0 else body.right - 18
    for i, leg in enumerate(legs):
        y = 26 + (i + 0.5) * TAB_PX
        rect = Rect(x + 30 if side == 0 else x - half, y - TAB_PX / 2, half - 30, TAB_PX)
        at = x + 32 if side == 0 else x - 32
        text = fitted(f"{leg.leg}  {book.run(leg)}", half - 36)
        picture.texts.append(Text(at, y, text, "leg-name", anchor, within=rect, keys={"leg": leg.leg}))  # type: ignore[arg-type]
        start = at - 4 if side == 0 else at + 4
        keys = {"leg": leg.leg, "trunk": leg.trunk}
        picture.paths.append(Path(((start, y), (gate, y), (gate, body.y)), f"inlet {style_of(book, leg.trunk)}", keys))
    picture.dots.append(Dot(gate, body.y, "gate", {}, 90.0))
