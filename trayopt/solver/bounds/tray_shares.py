"""Shares of trays that bunches take: what shares a tray by need takes more of it than its size, where the rest is of no use.

A bunch lies in one tray. Rounding functions of bin packing (``share_of_tray``) turn its fibre ends, or its sleeves, into a share
of the largest tray; no tray holds shares of more than one tray, so all that is placed takes no more shares than there are trays.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from trayopt.domain.job import Job
from trayopt.rules.tray_fibres import TrayFibres
from trayopt.rules.tray_sleeves import TraySleeves
from trayopt.rules.variables import Constraint, Expression
from trayopt.solver.bounds.closed_patterns import Bunch
from trayopt.solver.bounds.division import ROUNDINGS, share_of_tray
from trayopt.solver.model.literals import total


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
    placed: Mapping[Bunch, Expression],
    ends: Mapping[Bunch, int],
    sleeves2: Mapping[Bunch, int],
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
    if holds_fibres(job):
        yield from _shares(job, placed, ends, 1, 2 * max(tray.fibres for tray in job.enclosure.trays), most[0], trays)
    if holds_sleeves(job):
        yield from _shares(job, placed, sleeves2, 2, most_sleeves2(job), most[1], trays)


def _shares(
    job: Job,
    placed: Mapping[Bunch, Expression],
    loads: Mapping[Bunch, int],
    unit: int,
    room: int,
    most: int,
    trays: Expression | None,
) -> Iterator[Constraint]:
    """Yield the same for one kind of load, of which a bunch takes whole units."""
    places = len(job.enclosure.places)
    for k in ROUNDINGS:
        shares = {bunch: share_of_tray(-(-load // unit) * unit, room, k) for bunch, load in loads.items() if load}
        densest = max((share / loads[bunch] for bunch, share in shares.items()), default=0)
        taken = total(share * placed[bunch] for bunch, share in shares.items())
        if trays is not None:
            yield taken - k * room * trays <= 0
        elif most * densest > places * k * room:
            yield taken <= places * k * room
