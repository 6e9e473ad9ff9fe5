"""Runs of fibres as crews write them: ``1-72`` in the numbering of the trunk, or ``blue/orange/1-12`` by tube, ribbon and fibre.

Each part is a number, a TIA-598 colour, a range of either (``1-6``, ``blue-white``) or ``all``. The last parts may be left out:
``blue`` is a whole tube, and ``blue/1-6/all`` is six ribbons of the tube. In a tube of one ribbon the ribbon may be left out
(``blue/1-12``). In a tube of several ribbons, two parts are the tube and a run of its fibres, in numbers.
"""

from __future__ import annotations

import re
from collections.abc import Mapping

from trayopt.domain.cablework import Subunit
from trayopt.domain.colours import position
from trayopt.domain.ranges import Run, parse_span
from trayopt.domain.said import said
from trayopt.domain.trunk import Trunk

_DASHES = re.compile(r"\s*(?:[-\u2010-\u2015\u2212\u2026]|\.{2,3})\s*")
_TIDY = re.compile(r"[0-9A-Za-z_/:-]*")
_PLAIN = re.compile(r"[0-9]+(-[0-9]+)?")
_WHOLE = {"", "all", "*"}
ALLOWED = "1-72, or tube/ribbon/fibres such as blue/orange/1-12 or 1/2/1-12"


def tidy(text: str) -> str:
    """Remove stray spaces and replace every kind of dash by a hyphen."""
    if _TIDY.fullmatch(text):
        return text
    return _DASHES.sub("-", " ".join(text.replace("\u00a0", " ").split()))


def by_colour(text: str) -> bool:
    """Whether fibres are written by tube, ribbon and fibre, and not as a plain run in the numbering of the trunk."""
    return not _PLAIN.fullmatch(tidy(text))


def fibres_of(trunk: Trunk, text: str) -> tuple[int, int]:
    """Read a run of fibres of a trunk; return its first and last fibre in the numbering of the trunk.

    Raises
    ------
    ValueError
        If the text is not a run of fibres, or names a tube, ribbon or fibre that the trunk does not have.
    """
    text = tidy(text)
    if _PLAIN.fullmatch(text):
        first, last = parse_span(text)
        if last > trunk.cable.fibres:
            raise ValueError(said("{trunk} has fibres 1 to {fibres}", trunk=trunk.id, fibres=trunk.cable.fibres))
        return first, last
    parts = [part.strip() for part in text.split("/")]
    if len(parts) > 3 or not text:
        raise ValueError(said("fibres are written {allowed}", allowed=ALLOWED))
    if len(parts) == 2:
        return _two(trunk, parts[0], parts[1])
    return fibres_at(trunk, *parts)


def fibres_at(trunk: Trunk, tube: str, ribbon: str = "", fibres: str = "") -> tuple[int, int]:
    """Read a run of fibres from its tube (or subunit), ribbons and fibres; an empty part means all of them.

    Raises
    ------
    ValueError
        If a part is not a number, colour or range, or the trunk has no such tube, ribbon or fibre.
    """
    one, other = _range(tube, len(trunk.units), said("{trunk} has tubes", trunk=trunk.id))
    if one != other:
        _nothing_more("tubes", ribbon, fibres)
        return trunk.units[one - 1].first, trunk.units[other - 1].last
    subunit = trunk.units[one - 1]
    if _whole(ribbon) and subunit.ribbons > 1:
        return _in_tube(subunit, fibres)
    one, other = _range(ribbon, subunit.ribbons, said("{subunit} has ribbons", subunit=subunit.name))
    start = subunit.first + (one - 1) * subunit.ribbon_fibres
    if one != other:
        _nothing_more("ribbons", fibres)
        return start, subunit.first + other * subunit.ribbon_fibres - 1
    first, last = _range(fibres, subunit.ribbon_fibres, said("a ribbon of {subunit} has fibres", subunit=subunit.name))
    return start + first - 1, start + last - 1


def read_run(text: str, trunks: Mapping[str, Trunk]) -> Run:
    """Read ``N1:blue/orange/1-12`` or ``N1:1-72``.

    Raises
    ------
    ValueError
        If there is no such trunk, or ``fibres_of`` refuses the fibres.
    """
    name, colon, fibres = text.partition(":")
    name = name.strip()
    if not colon or not name:
        raise ValueError(said("a run is written trunk:fibres, the fibres as {allowed}", allowed=ALLOWED))
    if name not in trunks:
        raise ValueError(said("there is no trunk {name}; the trunks are {names}", name=name, names=", ".join(trunks)))
    return Run(name, *fibres_of(trunks[name], fibres))


def _two(trunk: Trunk, tube: str, rest: str) -> tuple[int, int]:
    one, other = _range(tube, len(trunk.units), said("{trunk} has tubes", trunk=trunk.id))
    subunit = trunk.units[one - 1]
    if one == other and subunit.ribbons > 1 and not _whole(rest) and not _PLAIN.fullmatch(rest):
        raise ValueError(
            said(
                "{subunit} has {ribbons} ribbons; write tube/ribbon/fibres, such as blue/{rest}/all",
                subunit=subunit.name,
                ribbons=subunit.ribbons,
                rest=rest,
            )
        )
    return fibres_at(trunk, tube, "", rest)


def _in_tube(subunit: Subunit, fibres: str) -> tuple[int, int]:
    """Read a run whose fibres are counted through all ribbons of a tube."""
    if not _whole(fibres) and not _PLAIN.fullmatch(tidy(fibres)):
        raise ValueError(
            said("{subunit} has {ribbons} ribbons; say which one", subunit=subunit.name, ribbons=subunit.ribbons)
        )
    first, last = _range(fibres, subunit.fibres, said("{subunit} has fibres", subunit=subunit.name))
    return subunit.first + first - 1, subunit.first + last - 1


def positions(text: str, count: int, there: str) -> tuple[int, int]:
    """Read one part of a run as its first and last position, from 1 to ``count``; see the module.

    Raises
    ------
    ValueError
        If the text is not a number, a colour, a range or ``all``, or a position is above ``count``. The message begins with
        ``there``, such as ``N1 has tubes``.
    """
    return _range(text, count, there)


def _whole(text: str) -> bool:
    return text.strip().lower() in _WHOLE


def _nothing_more(what: str, *parts: str) -> None:
    if not all(_whole(part) for part in parts):
        raise ValueError(said("a range of {what} is taken whole; nothing but 'all' may follow it", what=what))


def _range(text: str, count: int, there: str) -> tuple[int, int]:
    """Read a number, a colour, a range of either, or ``all``, as the first and last position from 1 to ``count``."""
    if _whole(text):
        return 1, count
    start, dash, end = tidy(text).partition("-")
    first = _position(start)
    last = _position(end) if dash else first
    if last < first:
        raise ValueError(said("{text} runs backwards", text=text))
    if first < 1 or last > count:
        raise ValueError(said("{there} 1 to {count}", there=there, count=count))
    return first, last


def _position(text: str) -> int:
    text = text.strip()
    return int(text) if text.isascii() and text.isdigit() and len(text) < 7 else position(text)
