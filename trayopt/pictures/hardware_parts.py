"""Beginning, lines and end of every picture of hardware."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from trayopt.domain.said import said
from trayopt.pictures.base import WIDTH, Picture, Text, fitted, wrapped
from trayopt.pictures.doubts import MARK, Doubts, Model

Say = Callable[[str], str]
TITLES = {"enclosure": "box {id}", "tray": "tray {id}", "cable": "cable {id}", "tubes": "tubes {id}"}
LINE = 17.0
EDGE = 12.0


def begun(model: Model, what: str, say: Say) -> Picture:
    """Begin a picture with the id of the entry and a line that says what it is."""
    title, what = say(said(TITLES[model.kind], id=model.id)), say(what)
    picture = Picture(f"{model.kind}-{model.id}", WIDTH, 0, title, what, say)
    picture.texts.append(Text(EDGE, 18, fitted(model.id, WIDTH - 2 * EDGE, 17), "title", size=17, full=model.id))
    picture.texts.append(Text(EDGE, 40, fitted(what, WIDTH - 2 * EDGE), "note", full=what))
    return picture


def told(picture: Picture, y: float, lines: Sequence[str], kind: str = "figure", left: float = EDGE) -> float:
    """Write lines one under the other, wrapped; return the y of the next line."""
    for line in map(picture.say, lines):
        for i, part in enumerate(wrapped(line, WIDTH - left - EDGE - 16)):
            picture.texts.append(Text(left + 16 * (i > 0), y, part, kind, full=line))
            y += LINE
    return y


def finished(picture: Picture, y: float, doubts: Doubts, model: Model) -> Picture:
    """Write at the bottom what is assumed, and end the picture there."""
    lines = doubts.lines(model)
    if lines:
        head = said("{mark} assumed, not measured: correct it in the file and take the word away", mark=MARK)
        y = told(picture, y + 8, [head], "doubt")
        y = told(picture, y, lines, "figure", EDGE + 16)
    picture.height = y + 4
    return picture
