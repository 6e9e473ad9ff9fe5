"""The measuring sheet: a page to print that shows what to measure and where, with room for the answers."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

from trayopt.domain.hardware import Enclosure
from trayopt.pictures.base import WIDTH, Box, Dot, Labels, Path, Picture, Point, Rect, Text, fitted, wrapped
from trayopt.pictures.front import BoxFront, draw_case, draw_guides
from trayopt.pictures.sizes import size_across, size_upright

SAMPLE = "wall-2x10"
"""The box of the library that the sheet shows."""
HEIGHT = 984.0
"""Height in px; together with the width it has the shape of the type area of A4 and Letter."""
DRAWN = (330.0, 316.0)
EDGE = 12.0
ROW = 23.0
LETTERS = {
    "size": "A", "stacks": "B", "trays": "C", "tray": "D", "mixed": "E", "ring": "F", "guide": "G", "bottom": "H",
    "top": "I", "left": "K", "right": "L",
}  # fmt: skip
"""The letter of each answer about a box, in the order of the questions."""
SAFETY = "Safety: open it only with a release. Treat every fibre as live: laser light is invisible."
OTHERS = {"tray": "On the label of a tray", "cable": "On the label of a cable", "tubes": "On the label of tubes"}


class Asked(NamedTuple):
    """A question: the name of the answer, the text of the question, and an example of an answer."""

    name: str
    asks: str
    example: str


def measuring_sheet(questions: Mapping[str, Sequence[Asked]], sample: Enclosure) -> Picture:
    """Draw the sheet.

    Parameters
    ----------
    questions
        The questions by kind of hardware, in the order in which they are asked.
    sample
        The box that shows where to measure.
    """
    picture = Picture("measuring", WIDTH, HEIGHT, "measuring sheet", "What to measure of a box, and where.")
    picture.texts.append(Text(EDGE, 18, "Measuring sheet for a box", "title", size=17))
    _blanks(picture, 46, ("box", "measured by", "date"))
    _front(picture, sample)
    _side(picture, sample)
    y = _rows(picture, 492, "Measure, in whole mm", questions["enclosure"], LETTERS)
    for kind, head in OTHERS.items():
        y = _labels(picture, y + 6, head, questions[kind])
    more = "Also measure where guides, ports and trays are; whatever is not measured is assumed, and marked as assumed."
    then = "Then type: trayopt new --kind enclosure BOX.yaml"
    for line in (*wrapped(more, WIDTH - 2 * EDGE), then, SAFETY):
        picture.texts.append(Text(EDGE, y + 2, line, "note"))
        y += 14
    return picture


def _blanks(picture: Picture, y: float, names: Sequence[str]) -> None:
    """Draw lines for handwriting, side by side."""
    step = (WIDTH - 2 * EDGE) / len(names)
    for i, name in enumerate(names):
        x = EDGE + i * step
        picture.texts.append(Text(x, y, name, "note"))
        picture.paths.append(Path(((x + 8 * len(name) + 6, y + 7), (x + step - 14, y + 7)), "write"))


def _letter(picture: Picture, x: float, y: float, name: str) -> None:
    picture.texts.append(Text(x, y, LETTERS[name], "letter", "middle", size=15))


def _front_of(sample: Enclosure) -> BoxFront:
    return BoxFront(sample, top=120, drawn=DRAWN, across=(22, 355))


def _front(picture: Picture, sample: Enclosure) -> None:
    """Draw the sample box as seen from the door, with a letter at each thing to measure."""
    front = _front_of(sample)
    draw_case(picture, front)
    for stack in sample.stacks:
        x, y = front.at(*stack.at_mm)
        width, length = (size * front.scale for size in stack.tray.size_mm)
        picture.boxes.append(Box(Rect(x, y - length, width, length), "stack"))
        _letter(picture, x + width / 2, y - length / 2, "tray")
    picture.texts.append(
        Text(front.box.x + front.box.width / 2, front.box.y + 0.76 * front.box.height, "stacks", "note", "middle")
    )
    _letter(picture, front.box.x + front.box.width / 2 + 38, front.box.y + 0.76 * front.box.height, "stacks")
    draw_guides(picture, front, Labels(Rect(0, 0, 0, 0)))
    size_across(picture, front.box.x, front.box.right, 88, "A width", kind="letter")
    size_upright(picture, 38, front.box.y, front.box.bottom, "A", kind="letter")
    west = next(guide for guide in sample.track.guides if guide.id == "w")
    x, y = front.at(west.x_mm, west.y_mm)
    size_across(picture, front.box.x, x, y + 26, LETTERS["ring"], kind="letter")
    _letter(picture, x + 16, y, "guide")
    for port in sample.ports:
        picture.dots.append(Dot(*front.at(port.x_mm, port.y_mm), "port"))
    first, top = (front.at(*at)[0] for at in _port_places(sample))
    low = front.box.y + 0.68 * front.box.height
    for name, px, py in (
        ("bottom", first, front.box.bottom + 18), ("top", top, front.box.y - 15),
        ("left", front.box.x - 14, low), ("right", front.box.right + 14, low),
    ):  # fmt: skip
        _letter(picture, px, py, name)
    picture.texts.append(Text(front.box.right, front.box.bottom + 18, "from the door", "name", "end"))


def _port_places(sample: Enclosure) -> tuple[Point, Point]:
    """Return the places of the first port in the bottom wall and the first port in the top wall."""
    height = sample.size_mm[1]
    below, above = (next(port for port in sample.ports if port.y_mm == y) for y in (0, height))
    return (below.x_mm, below.y_mm), (above.x_mm, above.y_mm)


def _side(picture: Picture, sample: Enclosure) -> None:
    """Draw a stack from the right side, as high as the front beside it, and a guide."""
    front = _front_of(sample)
    scale = front.scale
    case = Rect(448, front.box.y, sample.size_mm[2] * scale, front.box.height)
    stack = sample.stacks[-1]
    picture.boxes.append(Box(case, "case"))
    top = case.bottom - (stack.at_mm[1] + stack.tray.size_mm[1]) * scale
    for position in range(1, stack.positions + 1):
        thick = stack.tray.height_mm * scale
        slab = Rect(case.right - stack.z_mm(position) * scale - thick, top, thick, stack.tray.size_mm[1] * scale)
        picture.boxes.append(Box(slab, "slab"))
        if position in {1, stack.positions}:
            picture.texts.append(Text(slab.x + thick / 2, top - 9, str(position), "number", "middle"))
    low = top + stack.tray.size_mm[1] * scale + 16
    for i, (name, word) in enumerate((("trays", "trays"), ("mixed", "others"))):
        picture.texts.append(Text(case.x + 6, low + 20 * i, f"{LETTERS[name]} {word}", "letter"))
    size_across(picture, case.x, case.right, 88, "A depth", kind="letter")
    for x, word in ((case.x - 12, "door"), (case.right + 12, "back plate")):
        picture.texts.append(Text(x, case.y + case.height / 2, word, "note", "middle", upright=True))
    picture.texts.append(Text(case.x + case.width / 2, case.bottom + 18, "from the right side", "name", "middle"))
    guide = Rect(598, 250, 44, 76)
    picture.boxes.append(Box(guide, "case"))
    size_across(picture, guide.x, guide.right, guide.y - 12, f"{LETTERS['guide']} width", kind="letter")
    size_upright(picture, guide.right + 10, guide.y, guide.bottom, "depth", kind="letter", after=True)
    for i, line in enumerate(("inside of", "a guide")):
        picture.texts.append(Text(guide.x + guide.width / 2, guide.bottom + 18 + 15 * i, line, "name", "middle"))


def _rows(picture: Picture, y: float, head: str, asked: Sequence[Asked], letters: Mapping[str, str]) -> float:
    """Write a row for each answer: its letter, the question, and a line for handwriting; return the y of the next row."""
    picture.texts.append(Text(EDGE, y, head, "head"))
    picture.texts.append(Text(WIDTH - EDGE, y, "as written, for example", "note", "end"))
    y += ROW
    for item in asked:
        picture.texts.append(Text(EDGE, y, letters[item.name], "letter", size=15))
        picture.texts.append(Text(EDGE + 24, y, fitted(item.asks, 462), "figure", full=item.asks))
        picture.paths.append(Path(((500, y + 7), (588, y + 7)), "write"))
        picture.texts.append(Text(WIDTH - EDGE, y, item.example, "note", "end"))
        y += ROW
    return y


def _labels(picture: Picture, y: float, head: str, asked: Sequence[Asked]) -> float:
    """Write what to read from a label, in as few lines as possible; return the y of the next line."""
    picture.texts.append(Text(EDGE, y, head, "head"))
    y += 17
    text = "; ".join(f"{item.asks.partition(':')[0]} ({item.example})" for item in asked)
    for line in wrapped(text, WIDTH - 2 * EDGE):
        picture.texts.append(Text(EDGE, y, line, "figure"))
        y += 17
    return y
