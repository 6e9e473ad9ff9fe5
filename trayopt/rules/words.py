"""How rules put numbers and names into sentences."""

from __future__ import annotations

from collections import Counter

from trayopt.domain.base import SPLIT, RibbonWord
from trayopt.domain.hardware import Place, Tray
from trayopt.domain.job import Job
from trayopt.domain.said import Said, chained, joined, listed, said

__all__ = ["chained", "joined", "listed"]

NONE_BETTER = "no plan is better on the first goal on which the two differ"
"""What a proof says: the goals are proven in their order, so that a plan with a better later goal may exist."""


def several(count: int, one: str, more: str = "") -> Said:
    """Write a count with its noun: ``1 tray``, ``12 trays``, ``1,152 splices``."""
    return said(f"{{n:,}} {one}|{{n:,}} {more or one + 's'}", n=count)


def ribbons_are(word: RibbonWord) -> Said:
    """Write what is done with ribbons, as an adjective of them."""
    if isinstance(word, int):
        return said("re-ribbonised into {width}", width=word)
    return said("split") if word == SPLIT else said("as they are")


def percent(part: float) -> Said:
    """Write a part as ``53 %`` or ``12.25 %``."""
    return said("{part:.4g} %", part=100 * part)


def trays_of(job: Job, subject: str) -> Counter[Tray]:
    """Return the trays of a tray place (``left/3``) or of a whole stack (``left``), of each kind so many."""
    stack, _, position = subject.partition("/")
    kinds = job.enclosure.stack_by_id[stack].by_position
    return Counter([kinds[int(position) - 1]] if position else kinds)


def place_of(subject: str) -> Place:
    """Read a tray place (``left/3``)."""
    stack, _, position = subject.rpartition("/")
    return Place(stack, int(position))
