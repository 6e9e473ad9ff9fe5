"""The stacks, tray by tray: a slab for each tray, the base at the bottom and the door on top, with the load of each tray."""

from __future__ import annotations

from trayopt.crewsheets.book import Book
from trayopt.crewsheets.units import Teller
from trayopt.domain.hardware import Place
from trayopt.pictures.base import WIDTH, Box, Path, Picture, Rect, Text, fitted

SLAB_PX = 19.0
GAP_PX = 3.0
NUMBER_PX = 30.0
BATCH_PX = 46.0
HEAD_PX = 46.0
ABREAST = 4
"""Number of stacks side by side in a row of the picture."""


def side_picture(book: Book, tell: Teller) -> Picture:
    """Draw all stacks with used and unused places, the load of every tray, and its test batch."""
    stacks = book.job.enclosure.stacks
    rows = [stacks[i : i + ABREAST] for i in range(0, len(stacks), ABREAST)]
    picture = Picture("side", WIDTH, 0, tell("picture.side"), tell("picture.side.says", n=len(book.trays)))
    pitch = SLAB_PX + GAP_PX
    top = 0.0
    for row in rows:
        column = min(240.0, (WIDTH - 16) / len(row))
        deepest = max(stack.positions for stack in row)
        floor = top + HEAD_PX + deepest * pitch
        for i, stack in enumerate(row):
            left = 8 + i * column
            head = Rect(left, top + 4, column - 8, 18)
            picture.texts.append(
                Text(
                    left + NUMBER_PX,
                    top + 13,
                    fitted(stack.id, column - 8 - NUMBER_PX),
                    "name",
                    within=head,
                    full=stack.id,
                )
            )
            unit = Rect(left, top + 22, column - 8, 18)
            first, *others = stack.kinds
            text = tell("picture.side.unit", ends=2 * first.fibres, sleeves=first.sleeves)
            text = " / ".join([text, *(f"{2 * tray.fibres} · {tray.sleeves}" for tray in others)])
            fit = fitted(text, column - 8 - NUMBER_PX)
            picture.texts.append(Text(left + NUMBER_PX, top + 31, fit, "note", within=unit, full=text))
            for position in range(1, stack.positions + 1):
                y = floor - position * pitch
                _slab(picture, book, Place(stack.id, position), Rect(left, y, column - 8, SLAB_PX), tell)
            picture.paths.append(
                Path(((left + NUMBER_PX, floor + 2), (left + column - 8 - BATCH_PX, floor + 2)), "base")
            )
            under = Rect(left, floor + 6, column - 8, 16)
            text = fitted(tell("picture.side.base"), column - 8 - NUMBER_PX)
            picture.texts.append(Text(left + NUMBER_PX, floor + 14, text, "note", within=under))
        top = floor + 30
    picture.height = top
    return picture


def _slab(picture: Picture, book: Book, place: Place, room: Rect, tell: Teller) -> None:
    kind = book.job.enclosure.tray_at(place)
    slab = Rect(room.x + NUMBER_PX, room.y, room.width - NUMBER_PX - BATCH_PX, room.height)
    middle = room.y + room.height / 2
    keys = {"tray": str(place)}
    number = Rect(room.x, room.y, NUMBER_PX - 4, room.height)
    picture.texts.append(
        Text(number.right, middle, fitted(str(place.position), number.width), "number", "end", within=number)
    )
    at = book.tray_index.get(place)
    if at is None:
        picture.boxes.append(Box(slab, "slab unused"))
        return
    tray = book.trays[at]
    most = 2 * kind.fibres
    share = min(1.0, tray.ends / most)
    picture.boxes.append(Box(slab, "slab", keys, str(place)))
    picture.boxes.append(Box(Rect(slab.x, slab.y, slab.width * share, slab.height), "fill", keys))
    text = fitted(f"{tray.ends}/{most} · {tray.sleeves}/{kind.sleeves}", slab.width - 8)
    picture.texts.append(Text(slab.x + 5, middle, text, "slab-text", within=slab, keys=keys))
    mark = f"T{book.batch_of[at]}" if at in book.batch_of else tell("picture.side.built")
    tag = Rect(slab.right + 4, room.y, BATCH_PX - 4, room.height)
    picture.texts.append(Text(tag.x, middle, fitted(mark, tag.width), "batch", within=tag, keys=keys, full=mark))
