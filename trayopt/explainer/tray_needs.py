"""Why trays that have room enough by count are too small: how large legs are, and which of them have to share a tray."""

from __future__ import annotations

from itertools import pairwise

from trayopt.domain.cablework import Subunit
from trayopt.domain.job import Job
from trayopt.domain.said import said
from trayopt.rules.tray_fibres import TrayFibres, wasted
from trayopt.rules.words import chained, joined, listed
from trayopt.solver.bounds.rings import overfull_rings

MOST = 4
"""Most pairs of subunits that are named."""


def tray_need(job: Job, subject: str) -> str:
    """Say what trays hold and what is to be placed; where all trays together would do, also why they do not."""
    holds = TrayFibres().say(job, subject)
    if job.enclosure.fibres < job.splices:
        return holds
    return joined([holds, *(wasted(job) or _sharing(job))], "; ")


def _sharing(job: Job) -> list[str]:
    """Name subunits of trunks divided at the tray whose splices turn in order, or close a ring: their legs share a tray."""
    turning = [listed([a.name, b.name]) for a, b in turning_pairs(job)]
    if not turning:
        return _rings(job)
    named = [*turning[:MOST], *([said("{n} more pairs", n=len(turning) - MOST)] if len(turning) > MOST else [])]
    pairs = listed(named) if len(turning) <= MOST else chained([listed(named[:-1]), named[-1]], "{first} and {then}")
    return [said("divided at the tray, legs of {pairs} share one where their splices turn in order", pairs=pairs)]


def _rings(job: Job) -> list[str]:
    """Name a shortest ring of subunits divided at the tray that no tray holds, or no two trays."""
    room = max(tray.fibres for tray in job.enclosure.trays)
    rings = overfull_rings(job, lambda subunit: job.trunk_by_id[subunit.trunk].divided_only_at == "tray", room)
    if not rings:
        return []
    ring = min(rings, key=lambda found: (found.trays, len(found.subunits)))
    if ring.trays > 1:
        *others, around = (subunit.name for subunit in ring.subunits)
        return [
            said(
                "divided at the tray, positions do not fall along a subunit and rise by one at most from leg to leg, and "
                "{names} lead from one leg of {around} to the next: the splices along them lie in two trays that follow each "
                "other",
                names=listed(others),
                around=around,
            )
        ]
    found = ring.subunits[::-1]
    first = min(range(len(found)), key=lambda i: (job.trunk_rank[found[i].trunk], found[i].number))
    names = [subunit.name for subunit in (*found[first:], *found[:first])]
    return [
        said(
            "divided at the tray, positions do not fall along a subunit, and {names} close a ring, each spliced to the "
            "next: the splices around it lie in one tray",
            names=listed(names),
        )
    ]


def turning_pairs(job: Job) -> list[tuple[Subunit, Subunit]]:
    """Return pairs of joined subunits, both divided at the tray, that do not see their splices in one order."""
    found: dict[tuple[Subunit, Subunit], list[tuple[int, int]]] = {}
    at_tray = {trunk.id for trunk in job.trunks if trunk.divided_only_at == "tray"}
    for piece in job.pieces:
        if {piece.a.trunk, piece.b.trunk} <= at_tray:
            one, other = sorted((piece.a, piece.b), key=lambda run: job.trunk_rank[run.trunk])
            pair = tuple(job.trunk_by_id[run.trunk].subunit_of(run.first) for run in (one, other))
            found.setdefault((pair[0], pair[1]), []).append((one.first, other.first))
    return [pair for pair, steps in found.items() if any(a[1] > b[1] for a, b in pairwise(sorted(steps)))]
