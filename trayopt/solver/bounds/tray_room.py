"""Bounds by the room of all trays alone: splices that stay without a tray, and least used places.

Where ``tray_fibres`` is a must it holds in every plan, for it is physical: a tray takes so many fibre ends, two a splice. So no
more splices are placed than all trays have room for; and the n largest trays hold all ends that a plan brings, or it uses
more than n places.

What comes in groups that share their tray takes more: rounding functions of bin packing (``share_of_tray``) turn the size of a
group into a share of the largest tray; no tray holds shares of more than one tray.
"""

from __future__ import annotations

from collections.abc import Sequence

from trayopt.domain.cablework import Leg
from trayopt.domain.job import Job
from trayopt.rules.tray_fibres import TrayFibres
from trayopt.solver.bounds.division import ROUNDINGS, share_of_tray
from trayopt.solver.model.model import Model


def without_room(job: Job) -> int:
    """Count the splices for which all trays together have no place, where that is a must."""
    if job.rules[TrayFibres.id].level != "must":
        return 0
    return max(0, job.splices - job.enclosure.fibres)


def fewest_trays(model: Model, unplaced: int) -> int:
    """Bound the used places of the plans of a model that leave so many splices without a tray at most."""
    job = model.job
    if job.rules[TrayFibres.id].level != "must":
        return 0
    if unplaced:
        return _trays_for(job, 2 * (job.splices - unplaced))
    surely = (bunch for bunch, legs in model.bunches.items() if isinstance(model.placed(legs[0]), int))
    sizes = [model.loads[bunch] for bunch in surely]
    return max(_trays_for(job, 2 * job.splices + _parked(model)), _trays_for_groups(job, sizes))


def _parked(model: Model) -> int:
    """Count the fibre ends without a splice that lie in trays in every plan of a model that places every splice."""
    job = model.job
    at_tray = (t for t in job.trunks if model.divide_options(t) == ("tray",))
    spliced = [s for trunk in at_tray for s in trunk.subunits if job.spliced[s.trunk, s.number]]
    return sum(s.fibres - job.spliced_fibres(Leg(s.trunk, s.number, 1, 1)) for s in spliced)


def _trays_for(job: Job, ends: int) -> int:
    """Count the trays that hold so many fibre ends at least, the largest first."""
    rooms = sorted((2 * tray.fibres for stack in job.enclosure.stacks for tray in stack.by_position), reverse=True)
    trays = 0
    while ends > 0 and trays < len(rooms):
        ends -= rooms[trays]
        trays += 1
    return trays


def _trays_for_groups(job: Job, sizes: Sequence[int]) -> int:
    """Bound the trays that hold groups of these sizes, in fibre ends, each in one tray."""
    room = 2 * max(tray.fibres for tray in job.enclosure.trays)
    return max(-(-sum(share_of_tray(size, room, k) for size in sizes) // (k * room)) for k in ROUNDINGS)
