"""The questions about each kind of hardware, and the reading of answers. A tape and a label are enough to answer them."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, get_args

from trayopt.domain.cable import Construction, FibreClass
from trayopt.errors import Fault, InputError
from trayopt.formats.locate import describe
from trayopt.formats.validate import did_you_mean

NUMBER = r"\d{1,5}(?:[.]\d{1,3})?"
BETWEEN = re.compile(r"\s*[x×*]\s*", re.IGNORECASE)
NONE = frozenset({"0", "-", "none"})
"""Answers that mean "none"."""


@dataclass(frozen=True)
class Question:
    """A question about hardware.

    Parameters
    ----------
    name
        The name of the answer.
    asks
        The question, in a few words.
    example
        An answer as a person writes it.
    read
        Function that makes a value from an answer; its ``ValueError`` says what is allowed.
    usual
        The answer that is taken if none is given; empty if an answer is required.
    """

    name: str
    asks: str
    example: str
    read: Callable[[str], Any]
    usual: str = ""


def whole(least: int, most: int) -> Callable[[str], int]:
    """Return a reader of whole numbers within limits."""

    def read(text: str) -> int:
        if not re.fullmatch(r"\d{1,6}", text) or not least <= int(text) <= most:
            raise ValueError(f"a whole number from {least:,} to {most:,}")
        return int(text)

    return read


def decimal(least: float, most: float) -> Callable[[str], float]:
    """Return a reader of numbers of mm within limits."""

    def read(text: str) -> float:
        return _number(text, least, most)

    return read


def sizes(*limits: tuple[float, float], decimals: bool = True) -> Callable[[str], tuple[float, ...]]:
    """Return a reader of sizes with an x between them."""
    names = " x ".join(f"{least:g}…{most:g}" for least, most in limits)

    def read(text: str) -> tuple[float, ...]:
        parts = BETWEEN.split(text)
        if len(parts) != len(limits):
            raise ValueError(f"{len(limits)} sizes in mm with an x between them: {names}")
        found = tuple(_number(part, *limit) for part, limit in zip(parts, limits, strict=True))
        if not decimals and any(isinstance(size, float) for size in found):
            raise ValueError(f"whole mm: {names}")
        return found

    return read


def optional(read: Callable[[str], Any]) -> Callable[[str], Any]:
    """Return a reader that also takes a dash, which means none."""
    return lambda text: None if text.lower() in NONE else read(text)


def bores(text: str) -> tuple[float, ...]:
    """Read the bores of ports: ``2x50`` or ``50, 32``; 0 for none."""
    found: list[float] = []
    if text.lower() in NONE:
        return ()
    for part in re.split(r"[,;+]", text):
        count, cross, bore = part.strip().lower().replace("×", "x").rpartition("x")
        if cross and not re.fullmatch(r"\s*[1-9]\d?\s*", count):
            raise ValueError("a number of ports from 1 to 99, an x, and their bore in mm, such as 2x50")
        try:
            found += [_number(bore.strip(), 10, 300)] * (int(count) if cross else 1)
        except ValueError as error:
            raise ValueError(f"{error}; several ports are 2x50, or 50, 32") from None
    if len(found) > 20:
        raise ValueError("up to 20 ports on one side")
    return tuple(found)


def pairs(text: str) -> tuple[tuple[float, float], ...]:
    """Read the bore and diameter of tubes: ``3.8/5, 5/6.5``."""
    found = []
    for part in re.split(r"[,;+]", text):
        bore, stroke, outer = part.partition("/")
        if not stroke:
            raise ValueError("bore/diameter in mm of each tube, such as 3.8/5, 5/6.5")
        inner, outside = _number(bore.strip(), 0.5, 100), _number(outer.strip(), 0.6, 120)
        if inner >= outside:
            raise ValueError(f"a bore that is smaller than the tube, not {inner:g}/{outside:g}")
        found.append((inner, outside))
    if len(found) > 50:
        raise ValueError("up to 50 tubes")
    return tuple(found)


def ranges(text: str) -> tuple[tuple[tuple[int, int], str], ...]:
    """Read other kinds of trays on ranges of positions: ``5-6:single-48, 7:single-12``; a dash means none."""
    found: list[tuple[tuple[int, int], str]] = []
    for part in () if text.lower() in NONE else re.split(r"[,;]", text):
        read = re.fullmatch(r"(\d{1,3})(?:\s*[-–…]\s*(\d{1,3}))?\s*(?::|\s)\s*(\S.*)", part.strip())
        if not read:
            raise ValueError("the first and the last position, a colon, and a kind of tray, such as 5-6:single-48")
        first = int(read[1])
        last = int(read[2] or first)
        if not 1 <= first <= last:
            raise ValueError(f"positions counted from 1 at the back, the lower one first, not {read[1]}-{last}")
        if any(low <= last and first <= high for (low, high), _ in found):
            raise ValueError(f"every position once: {part.strip()} shares one with a range before it")
        found.append(((first, last), name(read[3])))
    return tuple(found)


def word(options: Sequence[str]) -> Callable[[str], str]:
    """Return a reader of one of some words, in either case."""

    def read(text: str) -> str:
        chosen = next((option for option in options if option.lower() == text.lower()), None)
        if chosen is None:
            raise ValueError(", ".join(options))
        return chosen

    return read


def name(text: str) -> str:
    """Read an id or a path."""
    if not text.isprintable() or len(text) > 500:
        raise ValueError("an id of the library, or a path ending in .yaml")
    return text


def _number(text: str, least: float, most: float) -> float:
    text = re.sub(r"\s*mm$", "", text)
    if not re.fullmatch(NUMBER, text) or not least <= float(text) <= most:
        raise ValueError(f"a number of mm from {least:g} to {most:g}, with a point for decimals")
    value = float(text)
    return int(value) if value == int(value) else value


QUESTIONS: dict[str, tuple[Question, ...]] = {
    "enclosure": (
        Question("size", "inside of the box in mm: width x height x depth", "640x600x150",
                 sizes((100, 3000), (100, 3000), (60, 3000), decimals=False)),
        Question("stacks", "stacks of trays, side by side", "3", whole(1, 12)),
        Question("trays", "trays in a stack, one over the other", "5", whole(1, 100)),
        Question("tray", "kind of tray: an id of the library, or the path of its file", "ribbon-96", name),
        Question("mixed", "positions with other trays, 1 at the back; - for none", "4-5:single-48", ranges, "-"),
        Question("ring", "from the side walls to the middle of the ring of guides, in mm", "55", whole(10, 500)),
        Question("guide", "opening of a guide in mm: width x depth; - for not known", "55x85",
                 optional(sizes((5, 300), (5, 300))), "-"),
        Question("bottom", "ports in the bottom wall, number x bore in mm, from the left", "3x50", bores, "0"),
        Question("top", "ports in the top wall, from the left", "1x32", bores, "0"),
        Question("left", "ports in the left wall, from below", "1x32", bores, "0"),
        Question("right", "ports in the right wall, from below", "1x50", bores, "0"),
    ),
    "tray": (
        Question("fibres", "splices that it holds", "72", whole(1, 2000)),
        Question("sleeve", "fibres that one sleeve protects", "12", whole(1, 96)),
        Question("size", "outside in mm: width x length x height", "120x300x10", sizes((30, 600), (50, 600), (3, 40))),
    ),
    "cable": (
        Question("construction", "construction: " + ", ".join(get_args(Construction)), "ribbon",
                 word(get_args(Construction))),
        Question("diameter", "outer diameter in mm", "22", decimal(5, 80)),
        Question("subunits", "subunits: tubes, slots or bundles", "3", whole(1, 500)),
        Question("ribbons", "ribbons in a subunit; 1 where it holds loose fibres", "12", whole(1, 200)),
        Question("width", "fibres in a ribbon, or loose fibres in a tube", "12", whole(1, 96)),
        Question("fibre", "class of the fibre: " + ", ".join(get_args(FibreClass)), "G.657.A1",
                 word(get_args(FibreClass)), "G.652.D"),
    ),
    "tubes": (Question("tubes", "bore/diameter in mm of each tube", "3.8/5, 5/6.5", pairs),),
}  # fmt: skip
"""The questions by kind, in the order in which they are asked."""


def read_answers(kind: str, given: Mapping[str, str]) -> dict[str, Any]:
    """Return the values of all answers by question.

    Raises
    ------
    InputError
        With every answer that is missing, unknown or cannot be read.
    """
    questions = {question.name: question for question in QUESTIONS[kind]}
    faults = [
        Fault(source=kind, line=0, column=0, message=f"there is no question {describe(known)}",
              allowed=", ".join(questions), hint=did_you_mean(known, questions))
        for known in given if known not in questions
    ]  # fmt: skip
    answers: dict[str, Any] = {}
    for question in questions.values():
        text = given.get(question.name, question.usual)
        if not text.strip():
            hint = f"--answer {question.name}={question.example}"
            faults.append(Fault(kind, 0, 0, f"there is no answer to {question.name}: {question.asks}", hint=hint))
            continue
        try:
            answers[question.name] = question.read(text.strip())
        except ValueError as wrong:
            found = describe(text)
            faults.append(Fault(kind, 0, 0, f"{question.name} cannot be used", found=found, allowed=str(wrong)))
    if faults:
        raise InputError(faults)
    return answers
