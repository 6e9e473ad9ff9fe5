"""Shares of trays that bunches take: what shares a tray by need takes more of it than its size, where the rest is of no use.

A bunch lies in one tray. Rounding functions of bin packing (``share_of_tray``) turn its fibre ends, or its sleeves, into a share
of the largest tray; no tray holds shares of more than one tray, so all that is placed takes no more shares than there are trays.
"""

from __future__ import annotations

from collections.abc import Collection, Hashable, Iterator, Mapping
from typing import TypeVar

from trayopt.domain.hardware import Tray
from trayopt.domain.job import Job
from trayopt.rules.tray_fibres import TrayFibres
from trayopt.rules.tray_sleeves import TraySleeves
from trayopt.rules.variables import Constraint, Expression
from trayopt.solver.bounds.division import ROUNDINGS, share_of_tray
from trayopt.solver.model.literals import total

Item = TypeVar("Item", bound=Hashable)
"""A bunch, or a kind of bunches."""


def holds_fibres(job: Job) -> bool:
    """Whether trays take so many fibre ends and no more in every plan."""
    return job.rules[TrayFibres.id].level == "must"


def holds_sleeves(job: Job) -> bool:
    """Whether trays take so many sleeves and no more in every plan, all of one size."""
    return job.rules[TraySleeves.id].level == "must" and len({tray.sleeve_fibres for tray in job.enclosure.trays}) == 1


def most_sleeves2(job: Job) -> int:
    """Twice the sleeves of the tray that takes the most."""
    return 2 * max(tray.sleeves for tray in job.enclosure.trays)


def shares_fit(
    job: Job,
    placed: Mapping[Item, Expression],
    ends: Mapping[Item, int],
    sleeves2: Mapping[Item, int],
    most: tuple[int, int],
    trays: Expression | None = None,
) -> Iterator[Constraint]:
    """Yield that bunches take no more shares than there are trays, for each rounding of ends and sleeves that can bind.

    Parameters
    ----------
    placed
        Whether each bunch is placed.
    ends, sleeves2
        Fibre ends of each bunch, and twice the sleeves that it takes at least.
    most
        Most ends and most sleeves2 of all bunches that are placed together.
    trays
        How many trays are used, where that is asked.
    """
    places = len(job.enclosure.places)
    for loads, unit, room, most_load in zip(
        (ends, sleeves2), (1, 2), _rooms(job, job.enclosure.trays), most, strict=True
    ):
        for k in ROUNDINGS if room else ():
            shares = _shares(loads, unit, room, k)
            densest = max((share / loads[bunch] for bunch, share in shares.items()), default=0)
            taken = total(share * placed[bunch] for bunch, share in shares.items())
            if trays is not None:
                yield taken - k * room * trays <= 0
            elif most_load * densest > places * k * room:
                yield taken <= places * k * room


def fit_trays(
    job: Job,
    placed: Mapping[Item, Expression],
    ends: Mapping[Item, int],
    sleeves2: Mapping[Item, int],
    kinds: Collection[Tray],
    trays: Expression,
) -> Iterator[Constraint]:
    """Yield that bunches take no more ends, sleeves and shares than so many trays of these kinds have, and fit one of them each.

    ``placed`` is how many bunches of each kind are placed in these trays; ``ends`` and ``sleeves2`` as above.
    """
    for loads, unit, room in zip((ends, sleeves2), (1, 2), _rooms(job, kinds), strict=True):
        if not room:
            continue
        for bunch, load in loads.items():
            if load > room:
                yield placed[bunch] <= 0
        yield total(load * placed[bunch] for bunch, load in loads.items()) - room * trays <= 0
        for k in ROUNDINGS:
            shares = _shares(loads, unit, room, k)
            yield total(share * placed[bunch] for bunch, share in shares.items()) - k * room * trays <= 0


def _rooms(job: Job, kinds: Collection[Tray]) -> tuple[int, int]:
    """Return the most fibre ends, and twice the most sleeves, that a tray of these kinds takes; 0 where there is no limit."""
    return (
        2 * max(tray.fibres for tray in kinds) * holds_fibres(job),
        2 * max(tray.sleeves for tray in kinds) * holds_sleeves(job),
    )


def _shares(loads: Mapping[Item, int], unit: int, room: int, k: int) -> dict[Item, int]:
    """Return the share of a tray that each bunch takes by one rounding; a bunch takes whole units of a load."""
    return {bunch: share_of_tray(-(-load // unit) * unit, room, k) for bunch, load in loads.items() if load}
