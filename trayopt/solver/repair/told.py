"""The trays that facts give to ribbons, and the contradictions among them that counting shows, without a model."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from itertools import chain, combinations

from trayopt.domain.assignment import Assignment, Way
from trayopt.domain.cablework import Leg
from trayopt.domain.decision import Decision, RunAt
from trayopt.domain.hardware import Place
from trayopt.domain.job import Job
from trayopt.domain.ranges import Run
from trayopt.domain.tied import tied
from trayopt.rules.tray_fibres import TrayFibres
from trayopt.rules.tray_sleeves import TraySleeves
from trayopt.solver.model.base import Key
from trayopt.solver.model.decisions import lying_in
from trayopt.track.laid import Laid

Ribbon = tuple[Key, int]
"""A ribbon, by its subunit and its number in it."""
Givers = dict[Place, int]
"""Trays that are given to a ribbon, each with the first group of facts that gives it."""


def runs_in_job(job: Job, facts: Iterable[Decision]) -> Iterator[RunAt]:
    """Yield the facts about fibres that the job has."""
    for fact in facts:
        if isinstance(fact, RunAt) and (trunk := job.trunk_by_id.get(fact.trunk)) and fact.last <= trunk.cable.fibres:
            yield fact


def told(job: Job, groups: Sequence[Iterable[Decision]]) -> dict[Key, dict[int, Givers]]:
    """Return the trays that groups of facts give to ribbons, by subunit and number of the ribbon in it.

    Ribbons that splices connect lie in one tray, so a fact about one of them is a fact about all of them.
    """
    component_of = _spliced_together(job)
    at: dict[int, Givers] = {}
    found: dict[Key, dict[int, Givers]] = {}
    for group, facts in enumerate(groups):
        for fact in runs_in_job(job, facts):
            for fibre in lying_in(job, fact):
                key, ribbon = _ribbon(job, Run(fact.trunk, fibre, fibre))
                component = component_of.get((key, ribbon))
                givers = (
                    found.setdefault(key, {}).setdefault(ribbon, {})
                    if component is None
                    else at.setdefault(component, {})
                )
                givers.setdefault(fact.place, group)
    for (key, ribbon), component in component_of.items():
        if component in at:
            found.setdefault(key, {})[ribbon] = at[component]
    return found


def lie_apart(ribbons: Mapping[int, Givers], size: int) -> bool:
    """Whether legs of so many ribbons have their ribbons in one tray each."""
    at: dict[int, set[Place]] = {}
    for ribbon, givers in ribbons.items():
        at.setdefault((ribbon - 1) // size, set()).update(givers)
    return all(len(places) == 1 for places in at.values())


def contradiction(
    job: Job, groups: Sequence[Sequence[Decision]], divisions: Mapping[Key, Sequence[int]]
) -> frozenset[int] | None:
    """Find the smallest contradiction among groups of facts that counting shows; None where it shows none.

    Parameters
    ----------
    job, groups
        The job, and groups of facts.
    divisions
        Divisions of each subunit that are of use.

    Notes
    -----
    No plan keeps every must and all of these groups: they give ribbons that are spliced to each other two trays, or they leave
    a subunit no division, each leg of which lies in one tray, or they give a tray more than it takes. Left out is every group
    without which the same count shows the same.
    """
    given = told(job, groups)
    found = [*_two_trays(given), *_undivided(job, given, divisions), *_overfull(job, given)]
    return min(found, key=len, default=None)


def _two_trays(given: Mapping[Key, Mapping[int, Givers]]) -> Iterator[frozenset[int]]:
    for ribbons in given.values():
        for givers in ribbons.values():
            if len(givers) > 1:
                yield frozenset(list(givers.values())[:2])


def _undivided(
    job: Job, given: Mapping[Key, Mapping[int, Givers]], divisions: Mapping[Key, Sequence[int]]
) -> Iterator[frozenset[int]]:
    for key, ribbons in given.items():
        if key not in divisions:
            continue
        sizes = [job.subunit_of_leg[key].ribbons // of for of in divisions[key]]
        pairs = [next(_parted(ribbons, size), None) for size in sizes]
        if all(pairs):
            yield _needed(
                chain.from_iterable(filter(None, pairs)),
                lambda kept, sizes=sizes, ribbons=ribbons: (
                    not any(  # type: ignore[misc]
                        lie_apart(_of(ribbons, kept), size) for size in sizes
                    )
                ),
            )


def _parted(ribbons: Mapping[int, Givers], size: int) -> Iterator[tuple[int, int]]:
    """Yield two groups for each leg of so many ribbons to which they give two trays."""
    legs: dict[int, Givers] = {}
    for ribbon, givers in ribbons.items():
        at = legs.setdefault((ribbon - 1) // size, {})
        for place, group in givers.items():
            at.setdefault(place, group)
    for at in legs.values():
        yield from combinations(at.values(), 2)


def _of(ribbons: Mapping[int, Givers], kept: frozenset[int]) -> dict[int, Givers]:
    """Return what the kept groups give."""
    found = {
        ribbon: {place: group for place, group in givers.items() if group in kept} for ribbon, givers in ribbons.items()
    }
    return {ribbon: givers for ribbon, givers in found.items() if givers}


def _overfull(job: Job, given: Mapping[Key, Mapping[int, Givers]]) -> Iterator[frozenset[int]]:
    """Yield the groups that give a tray more than it takes, in whatever legs: the ribbons alone are too many."""
    at: dict[Place, dict[Leg, int]] = {}
    for key, ribbons in given.items():
        subunit = job.subunit_of_leg[key]
        for ribbon, givers in ribbons.items():
            for place, group in givers.items():
                at.setdefault(place, {})[subunit.leg(ribbon, subunit.ribbons)] = group
    for place, group_of in at.items():
        if place in job.enclosure.place_rank and _is_overfull(job, place, group_of):
            yield _needed(
                group_of.values(),
                lambda kept, place=place, group_of=group_of: _is_overfull(  # type: ignore[misc]
                    job, place, [leg for leg, group in group_of.items() if group in kept]
                ),
            )


def _is_overfull(job: Job, place: Place, ribbons: Iterable[Leg]) -> bool:
    """Whether ribbons are more than a tray takes."""
    anyhow = Way(job.enclosure.ports[0].id, "clockwise", 1)  # what a tray takes does not depend on the ways
    laid = Laid(job, Assignment(dict.fromkeys(job.trunk_by_id, anyhow), dict.fromkeys(ribbons, place)))
    rules = [TrayFibres(), *([] if job.ribbons_open else [TraySleeves()])]
    return any(True for rule in rules if job.rules[rule.id].level == "must" for _ in rule.check(job, laid))


def _needed(groups: Iterable[int], clashes: Callable[[frozenset[int]], bool]) -> frozenset[int]:
    """Leave out every group without which the others clash as well, the last first."""
    kept = frozenset(groups)
    for group in sorted(kept, reverse=True):
        if clashes(kept - {group}):
            kept -= {group}
    return kept


def _spliced_together(job: Job) -> dict[Ribbon, int]:
    """Give each spliced ribbon a number, the same for ribbons that splices connect."""
    pairs = [(_ribbon(job, piece.a), _ribbon(job, piece.b)) for piece in job.pieces]
    return tied(chain.from_iterable(pairs), pairs)


def _ribbon(job: Job, run: Run) -> Ribbon:
    subunit = job.trunk_by_id[run.trunk].subunit_of(run.first)
    return (subunit.trunk, subunit.number), subunit.ribbon_of(run.first)
