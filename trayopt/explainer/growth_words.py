"""How much more a box takes, in words and as plain data."""

from __future__ import annotations

from typing import Any

from trayopt.domain.base import remade
from trayopt.domain.explanation import Explanation
from trayopt.domain.pins import LegPin
from trayopt.explainer.growth import Addition, Growth
from trayopt.explainer.text import text as explanation_text
from trayopt.rules.words import listed


def said(found: Growth) -> str:
    """Say in a few sentences how much more fits, and whether that is all."""
    if found.fits is None:
        if found.settled:
            return "The job itself cannot be placed whole with every must kept (proven), so nothing more fits."
        return "Whether the job as it is can be placed whole was not settled in the time; more time may help."
    fit = "fits" if found.fits == 1 else "fit"
    more = f"{_counted(found.addition, found.fits)} {fit} into the box with what the job has"
    return f"{more}{': a plan proves it' if found.fits else ''}. {_next(found)}{_capped(found)}"


def _capped(found: Growth) -> str:
    """Say which ends of a built trunk that goes through may have been capped too short for a tray."""
    job, to = found.job, found.addition.to or ""
    built = [pin for pin in job.pins if pin.built and to == (pin.leg.trunk if isinstance(pin, LegPin) else pin.trunk)]
    if to not in job.other_end or not built:
        return ""
    made = {job.trunk_by_id[to].subunit_of(pin.leg.first).number for pin in built if isinstance(pin, LegPin)}
    units = [unit.number for unit in job.trunk_by_id[to].subunits if job.spliced[to, unit.number]]
    names = listed([f"{to}/{number}" for number in units if number not in made])
    if not names:
        return ""
    return f" Measure what may have been capped when the box was built ({names}): each end has to reach its tray."


def _next(found: Growth) -> str:
    if found.spare is not None:
        left = "1 is" if found.spare == 1 else f"{found.spare:,} are"
        return f"{found.addition.to} has too few spare fibres for one more: {left} left."
    if found.settled:
        return "One more does not fit, which is proven."
    if found.addition.by == "subunit" and found.fits == found.units:
        return "The cable has no more."
    return "Whether one more fits was not settled in the time: more may fit."


def _counted(addition: Addition, fits: int) -> str:
    number = f"{fits:,}" if fits else "No"
    noun = "trunk" if addition.to is not None else "pair of trunks"
    nouns = "trunks" if addition.to is not None else "pairs of trunks"
    joined = f"joined to spare fibres of {addition.to}" if addition.to is not None else "joined to each other"
    if addition.by == "subunit":
        subunits = "subunit" if fits == 1 else "subunits"
        return f"{number} more {subunits} of a {noun} of {addition.cable.id}, {joined},"
    return f"{number} more {noun if fits == 1 else nouns} of {addition.cable.id}, {joined},"


def text(found: Growth, width: int) -> str:
    """Write the answer, and what stops the next one."""
    why = found.why or Explanation()
    return explanation_text(remade(why, summary=said(found)), width)


def as_dict(found: Growth) -> dict[str, Any]:
    """Return the answer as plain data."""
    return {
        "cable": found.addition.cable.id,
        "to": found.addition.to,
        "by": found.addition.by,
        "fits": found.fits,
        "settled": found.settled,
        "spare_fibres": found.spare,
        "said": said(found),
        "next": None if found.why is None else found.why.plain(),
    }
