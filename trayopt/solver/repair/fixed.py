"""Decisions put to a model: what a plan must keep of them, and which divisions they leave."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from trayopt.domain.cablework import Leg
from trayopt.domain.decision import Decision, EntersAt, GoesBy, RunAt
from trayopt.domain.job import Job
from trayopt.rules.pin import goes_by, lies
from trayopt.rules.variables import Literal
from trayopt.solver.model.base import Key
from trayopt.solver.model.decisions import lying_in
from trayopt.solver.model.model import Model
from trayopt.solver.model.posting import Policy, build
from trayopt.solver.repair.told import lie_apart, runs_in_job, told


def divided_by(job: Job, facts: Iterable[Decision]) -> dict[Key, int]:
    """Return the k that facts leave a subunit: that of a leg whose tray they fix."""
    found: dict[Key, int] = {}
    for fact in runs_in_job(job, facts):
        leg = job.trunk_by_id[fact.trunk].subunit_of(fact.first).leg_of_run(fact.first, fact.last)
        if fact.leg and leg is not None and lying_in(job, fact):
            found.setdefault((leg.trunk, leg.subunit), leg.of)
    return found


def divisions_left(job: Job, facts: Sequence[Decision]) -> dict[Key, tuple[int, ...]]:
    """Return the divisions that facts leave each subunit of which they say anything: each leg of it can lie in one tray."""
    given = divided_by(job, facts)
    found = {}
    for key, ribbons in told(job, [facts]).items():
        subunit = job.subunit_of_leg[key]
        options = (given[key],) if key in given else subunit.divisions
        found[key] = tuple(of for of in options if lie_apart(ribbons, subunit.ribbons // of))
    return found


def coarsest(job: Job, facts: Sequence[Decision], divisions: Mapping[Key, Sequence[int]]) -> dict[Key, Sequence[int]]:
    """Leave each subunit whose spliced ribbons are all given a tray the fewest legs; others as they are.

    ``divisions`` are those that the facts leave. A plan of finer divisions that keeps the facts has the same fibres in the same
    trays, in more legs.
    """
    given = told(job, [facts])
    found = dict(divisions)
    for key, open_ in divisions.items():
        subunit = job.subunit_of_leg[key]
        spliced = {subunit.ribbon_of(fibre) for first, last in job.spliced[key] for fibre in range(first, last + 1)}
        if open_ and spliced <= given.get(key, {}).keys():
            found[key] = (min(open_),)
    return found


def kept_model(
    job: Job,
    fixed: Iterable[Decision],
    divisions: Mapping[Key, Sequence[int]] | None = None,
    policy: Policy | None = None,
) -> Model:
    """Make the model of all plans that place every splice, keep every must and keep what is fixed."""
    model = build(job, policy or Policy("hard", "soft"), all_placed=True, divisions=divisions)
    for fact in fixed:
        fix(model, fact)
    return model


def fix(model: Model, fact: Decision, *when: Literal) -> None:
    """Hold a model to one fact, under guards where they are given."""
    job = model.job
    if isinstance(fact, EntersAt):
        stack = job.enclosure.stack_by_id.get(fact.stack)
        known = stack is not None and fact.end in {end.id for end in stack.ends}
        model.require(model.end(fact.stack, fact.end) >= 1 if known else False, *when)
    elif fact.trunk not in job.trunk_by_id:
        model.require(False, *when)
    elif isinstance(fact, GoesBy):
        trunk = job.trunk_by_id[fact.trunk]
        if any(model.divisions(subunit) for subunit in trunk.subunits):
            for asked in goes_by(job, model, fact):
                model.require(asked, *when)
            if fact.ribbons is not None:
                model.require(model.ribboned(trunk, fact.ribbons) >= 1, *when)
    elif fact.place not in job.enclosure.place_rank:
        model.require(False, *when)
    else:
        _fix_run(model, fact, *when)


def _fix_run(model: Model, fact: RunAt, *when: Literal) -> None:
    job = model.job
    if fact.last > job.trunk_by_id[fact.trunk].cable.fibres:
        model.require(False, *when)
    elif fact.leg and lying_in(job, fact):
        subunit = job.trunk_by_id[fact.trunk].subunit_of(fact.first)
        leg = subunit.leg_of_run(fact.first, fact.last)
        model.require(lies(job, model, leg, [fact.place]) if leg is not None else False, *when)
    else:
        for options in options_of(model, fact):
            model.require(sum(model.at(leg, fact.place) for leg in options) >= 1, *when)


def options_of(model: Model, fact: RunAt) -> dict[tuple[Leg, ...], None]:
    """Legs of the open divisions that may hold the fibres that tell where a run lies, one entry a set of legs that do."""
    trunk = model.job.trunk_by_id[fact.trunk]
    found: dict[tuple[Leg, ...], None] = {}
    for fibre in lying_in(model.job, fact):
        subunit = trunk.subunit_of(fibre)
        legs = ((of, subunit.leg_of_fibre(fibre, of)) for of in model.divisions(subunit))
        found[tuple(leg for of, leg in legs if leg in model.legs(subunit, of))] = None
    return found
