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


def divided_by(job: Job, facts: Iterable[Decision]) -> dict[Key, int]:
    """Return the k that facts leave a subunit: that of a leg whose tray they fix."""
    found: dict[Key, int] = {}
    for fact in facts:
        trunk = job.trunk_by_id.get(fact.trunk) if isinstance(fact, RunAt) and fact.leg else None
        if trunk is None or not isinstance(fact, RunAt) or fact.last > trunk.cable.fibres or not lying_in(job, fact):
            continue
        leg = trunk.subunit_of(fact.first).leg_of_run(fact.first, fact.last)
        if leg is not None:
            found.setdefault((leg.trunk, leg.subunit), leg.of)
    return found


def coarsest(job: Job, facts: Iterable[Decision], divisions: Mapping[Key, Sequence[int]]) -> dict[Key, Sequence[int]]:
    """Leave each subunit whose runs are all given a tray the fewest legs of which each lies in one tray; others as they are.

    A plan of finer divisions that keeps the facts has the same fibres in the same trays, in more legs.
    """
    told: dict[str, list[RunAt]] = {}
    for fact in facts:
        if isinstance(fact, RunAt) and not fact.leg and fact.trunk in job.trunk_by_id:
            told.setdefault(fact.trunk, []).append(fact)
    found = dict(divisions)
    for trunk, runs in told.items():
        at = {fibre: run.place for run in runs for fibre in range(run.first, run.last + 1)}
        for subunit in job.trunk_by_id[trunk].subunits:
            key = (trunk, subunit.number)
            spliced = [fibre for run in job.spliced[key] for fibre in range(run[0], run[1] + 1)]
            if key not in found or not spliced or not all(fibre in at for fibre in spliced):
                continue
            for of in sorted(found[key]):
                pairs = {(subunit.leg_of_fibre(fibre, of), at[fibre]) for fibre in spliced}
                if len({leg for leg, _ in pairs}) == len(pairs):
                    found[key] = (of,)
                    break
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
