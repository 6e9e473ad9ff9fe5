"""TIA-598 colours: position to name and back.

The sequence and its tracers up to 24 are those of 7 CFR 1755.200 (1995), (e)(9), table 7; ANSI/TIA-598, "Optical Fiber Cable
Color Coding", after which the trade names them, is not public. More stripes and the two letters: common practice, no source.
"""

from __future__ import annotations

from trayopt.domain.said import said

COLOURS: tuple[str, ...] = (
    "blue", "orange", "green", "brown", "slate", "white", "red", "black", "yellow", "violet", "rose", "aqua",
)  # fmt: skip
SHORT: tuple[str, ...] = ("BL", "OR", "GR", "BR", "SL", "WH", "RD", "BK", "YL", "VI", "RS", "AQ")
RGB: dict[str, str] = {
    "blue": "#1f5fd0", "orange": "#f08a1c", "green": "#2e9a48", "brown": "#8a5a33", "slate": "#7d8896", "white": "#fbfbf8",
    "red": "#d6303a", "black": "#24262b", "yellow": "#f3d233", "violet": "#7b4fb5", "rose": "#f29ab8", "aqua": "#57cfd6",
}  # fmt: skip
"""Display values, chosen freely: no open standard gives RGB for these names."""


SPOKEN: dict[str, str] = {
    "blau": "blue", "gruen": "green", "braun": "brown", "grau": "slate", "grey": "slate", "gray": "slate",
    "weiss": "white", "rot": "red", "schwarz": "black", "gelb": "yellow", "violett": "violet", "purple": "violet",
    "lila": "violet", "rosa": "rose", "pink": "rose", "tuerkis": "aqua", "turquoise": "aqua",
}  # fmt: skip
"""Other names of the colours, in German and English; umlauts and sharp s are written in two letters."""


def colour(position: int) -> tuple[str, int]:
    """Return the base colour and the number of stripes of a position.

    Positions are counted from 1. Each dozen after the first adds one stripe.

    Raises
    ------
    ValueError
        If the position is below 1.
    """
    if position < 1:
        raise ValueError("positions are counted from 1")
    return COLOURS[(position - 1) % 12], (position - 1) // 12


def stripe(base: str) -> str:
    """Return the colour of the stripes on a base: black, and yellow on black."""
    return "yellow" if base == "black" else "black"


def name(position: int) -> str:
    """Write a position's colour in words, such as ``blue``, ``black + yellow stripe``, ``aqua + 2 black stripes``."""
    base, stripes = colour(position)
    if stripes == 0:
        return base
    return f"{base} + {stripe(base)} stripe" if stripes == 1 else f"{base} + {stripes} {stripe(base)} stripes"


def short(position: int) -> str:
    """Write a position's two letters, with the number of stripes behind it: ``BL``, ``BK1``."""
    base, stripes = colour(position)
    return SHORT[COLOURS.index(base)] + (str(stripes) if stripes else "")


def position(text: str) -> int:
    """Read a colour as its position from 1.

    A colour is a name or two letters, in English or German, with or without stripes: ``blue``, ``BL``, ``BL1``,
    ``blue + black stripe``, ``schwarz + 2 Striche gelb``.

    Raises
    ------
    ValueError
        If the text is no colour of the sequence; the message lists the colours.
    """
    words = " ".join(text.replace("+", " + ").split()).strip()
    base, _, tail = words.partition(" + ")
    stripes = 0
    if tail:
        parts = tail.lower().split()
        stripes, parts = (int(parts[0]), parts[1:]) if parts[0].isdigit() else (1, parts)
        striped = [_base(part) for part in parts if part not in _STRIPE]
        on = _base(base)
        if len(parts) != 2 or on is None or striped != [COLOURS.index(stripe(COLOURS[on]))] or stripes < 1:
            raise ValueError(_allowed(text))
    elif base[-1:].isdigit():
        letters = base.rstrip("0123456789")
        stripes, base = int(base[len(letters) :]), letters.strip()
    index = _base(base)
    if index is None:
        raise ValueError(_allowed(text))
    return index + 1 + 12 * stripes


_STRIPE = {"stripe", "stripes", "strich", "striche"}


def _base(text: str) -> int | None:
    name = text.lower()
    for letter, written in (("ä", "ae"), ("ö", "oe"), ("ü", "ue"), ("ß", "ss")):
        name = name.replace(letter, written)
    name = SPOKEN.get(name, name)
    if name in COLOURS:
        return COLOURS.index(name)
    return SHORT.index(text.upper()) if text.upper() in SHORT else None


def _allowed(text: str) -> str:
    return said(
        "{text} is not a TIA-598 colour; allowed: {names} (or {letters}), with black stripes above 12",
        text=repr(text),
        names=", ".join(COLOURS),
        letters=" ".join(SHORT),
    )
