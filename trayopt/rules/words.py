"""How rules put numbers and names into sentences."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from trayopt.domain.base import RibbonWord
from trayopt.domain.hardware import Place, Tray
from trayopt.domain.job import Job


def several(count: int, one: str, more: str = "") -> str:
    """Write a count with its noun: ``1 tray``, ``12 trays``, ``1,152 splices``."""
    return f"{count:,} {one if count == 1 else more or one + 's'}"


def listed(items: Sequence[object], word: str = "and") -> str:
    """Write ``a, b and c``; empty where there is nothing to list."""
    texts = [str(item) for item in items]
    return f"{', '.join(texts[:-1])} {word} {texts[-1]}" if len(texts) > 1 else "".join(texts)


def ribbons_are(word: RibbonWord) -> str:
    """Write what is done with ribbons, as an adjective of them."""
    return f"re-ribbonised into {word}" if isinstance(word, int) else str(word).replace("_", " ")


def percent(part: float) -> str:
    """Write a part as ``53 %`` or ``12.25 %``."""
    return f"{100 * part:.4g} %"


def trays_of(job: Job, subject: str) -> Counter[Tray]:
    """Give the trays of a tray place (``left/3``) or of a whole stack (``left``), of each kind so many."""
    stack, _, position = subject.partition("/")
    kinds = job.enclosure.stack_by_id[stack].by_position
    return Counter([kinds[int(position) - 1]] if position else kinds)


def place_of(subject: str) -> Place:
    """Read a tray place (``left/3``)."""
    stack, _, position = subject.rpartition("/")
    return Place(stack, int(position))
