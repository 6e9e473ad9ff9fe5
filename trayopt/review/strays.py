"""Rows of a hand-made table that are not part of the plan: totals, signatures, footnotes, repeated headers."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from functools import lru_cache

from trayopt.domain.colours import COLOURS, SPOKEN
from trayopt.domain.job import Job
from trayopt.formats.cells import Row
from trayopt.formats.fibres import tidy
from trayopt.formats.tables_in import looks_like_date
from trayopt.formats.validate import nearest
from trayopt.review.columns import is_read

_TOTAL = re.compile(r"(sub-?)?total|sum|(zwischen)?summe|gesamt|insgesamt|zusammen", re.IGNORECASE)
_FIBRES = re.compile(r"\d{1,6}\s*-\s*\d{1,6}|\d{1,3}/.*|.*/\d{1,3}(-\d{1,3})?", re.IGNORECASE)
_COLOUR = re.compile(rf"({'|'.join((*COLOURS, *SPOKEN))})\b.*", re.IGNORECASE)


class Strays:
    """Distinguishes rows that are not part of the plan from wrong rows of the plan.

    A row is part of the plan if a cell names a trunk of the job (or nearly does), names a port or a stack of the box, or
    looks like fibres. Numbers alone are not enough, since totals have numbers, too. A row that begins with a word for a
    total and gives no tray is not part of the plan.
    """

    def __init__(self, job: Job, at: Mapping[str, Sequence[int]]) -> None:
        self.trunks = {trunk.lower() for trunk in job.trunk_by_id}
        self.stacks = {stack.lower() for stack in job.enclosure.stack_by_id}
        self.ports = {port.lower() for port in job.enclosure.port_by_id}
        kinds = {column: column.removeprefix("from ").removeprefix("to ") for column in at}
        self.of_trunks = _columns(at, kinds, "trunk")
        self.of_runs = _columns(at, kinds, "from", "to", "fibres", "leg")
        self.of_places = _columns(at, kinds, "stack", "tray")
        self.of_ports = _columns(at, kinds, "port")
        self._known: dict[str, bool] = {}
        self._places: dict[str, bool] = {}

    def is_stray(self, row: Row) -> bool:
        """Whether a row is not part of the plan."""
        texts = row.texts
        if any([texts[i].lower() in self.trunks for i in self.of_trunks]):
            # most cells begin with no letter of such a word
            totals = [text for text in texts if text[:1] in _OF_TOTALS]
            return any(map(_is_total, totals)) and not self._has_place(texts)
        if self._has_place(texts):
            return False
        if any(texts[i].lower() in self.ports for i in self.of_ports):
            return False
        if sum([is_read(text) for text in texts if text]) > 1 or _is_total(next(filter(None, texts), "")):
            return True
        if any(texts[i] and self._is_trunk(texts[i]) for i in self.of_trunks):
            return False
        return not any(self._is_run(texts[i]) for i in self.of_runs)

    def _has_place(self, texts: Sequence[str]) -> bool:
        return any([texts[i] and self._is_place(texts[i]) for i in self.of_places])

    def _is_place(self, text: str) -> bool:
        """Whether a text names a stack of the box, or looks like a tray."""
        if text not in self._places:
            name = text.lower().rstrip("0123456789").rstrip(_BEFORE_NUMBER)
            self._places[text] = name in self.stacks or _TRAY.fullmatch(text) is not None
        return self._places[text]

    def _is_trunk(self, text: str) -> bool:
        """Whether a text is probably meant to be a trunk of the job."""
        if text not in self._known:
            self._known[text] = nearest(text.lower(), self.trunks) is not None
        return self._known[text]

    def _is_run(self, text: str) -> bool:
        """Whether a text looks like fibres, with or without a trunk before them."""
        name, colon, fibres = text.partition(":")
        if colon and (name.strip().lower() in self.trunks or self._is_trunk(name)):
            return True
        text = tidy(fibres if colon else text)
        return not looks_like_date(text) and (_FIBRES.fullmatch(text) or _COLOUR.fullmatch(text)) is not None


_OF_TOTALS = frozenset("tszgiTSZGI\u017f\u0130\u0131")
"""First letters of the words for a total; a pattern without case takes the last three for an s and an i."""


@lru_cache(maxsize=100_000)
def _is_total(text: str) -> bool:
    """Whether a text begins with a word for a total."""
    return _TOTAL.match(text) is not None


_BEFORE_NUMBER = " \t\n\r/:#-"
_TRAY = re.compile(r"[^\s/]{1,64}\s*/\s*\d{1,4}")


def _columns(at: Mapping[str, Sequence[int]], kinds: Mapping[str, str], *wanted: str) -> list[int]:
    return [i for column, places in at.items() if kinds[column] in wanted for i in places]
