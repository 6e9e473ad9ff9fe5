"""Inferring ribbon work from the sleeves of a table: ribbons as they are need more sleeves than split or new ribbons."""

from __future__ import annotations

from itertools import islice, product

from trayopt.checker import assignment_of_claims
from trayopt.domain.assignment import Way
from trayopt.domain.base import RibbonWord
from trayopt.domain.hardware import Place
from trayopt.review.handmade import Decided, Handmade
from trayopt.rules.words import listed, ribbons_are
from trayopt.track.laid import Laid

MOST_TRIES = 64


def tell_ribbons(made: Handmade) -> None:
    """Fill in the ribbon work that rows do not name, if their number of sleeves fits a choice of work.

    Among choices with the same number of sleeves, the least work is taken.
    """
    job, sleeves = made.job, _named(made)
    open_ = {t.id: t.ribbons for t in job.ribbons_open if t.id not in made.ribbons}
    lines = {run.trunk: row.line for row in made.splices for run in (row.a, row.b) if run is not None}
    open_ = {trunk: words for trunk, words in open_.items() if trunk in lines}
    if not sleeves or not open_:
        return
    anyway = dict.fromkeys(job.trunk_by_id, Way(job.enclosure.ports[0].id, "clockwise", 1))  # no sleeve depends on it
    for words in islice(product(*open_.values()), MOST_TRIES):
        chosen: dict[str, RibbonWord] = {**made.ribbons, **dict(zip(open_, words, strict=True))}
        laid = Laid(job, assignment_of_claims(job, anyway, made.claims, {}, chosen), made.claims)
        if all(laid.sleeves(place) == count for place, count in sleeves.items()):
            for trunk in open_:
                made.ways.setdefault(trunk, {})["ribbons"] = Decided(chosen[trunk], lines[trunk])
            said = listed([f"{trunk} {ribbons_are(chosen[trunk])}" for trunk in open_])
            made.notes.append(f"what is done with ribbons follows from the sleeves of the rows: {said}")
            return


def _named(made: Handmade) -> dict[Place, int]:
    """Count the sleeves of each tray whose rows all name a sleeve."""
    found: dict[Place, set[int | None]] = {}
    for row in made.splices:
        if row.place is not None:
            found.setdefault(row.place, set()).add(row.sleeve)
    known = made.job.enclosure.place_rank
    return {place: len(named) for place, named in found.items() if None not in named and place in known}
