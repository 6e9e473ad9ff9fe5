"""Models in which every splice is placed and only some groups hold: hard, or each under a guard of its own."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from trayopt.domain.assignment import Way
from trayopt.domain.base import remade
from trayopt.domain.decision import Decision, RunAt
from trayopt.domain.finding import Group
from trayopt.domain.hardware import Place
from trayopt.domain.job import Job
from trayopt.domain.pins import LegPin
from trayopt.rules.apart import KeptApart
from trayopt.rules.base import AnyRule, Post
from trayopt.rules.divided_at_tray import DividedAtTray
from trayopt.rules.entrance_legs import EntranceLegs
from trayopt.rules.exposed import Exposed
from trayopt.rules.no_empty_below import NoEmptyBelow
from trayopt.rules.pin import Pinned
from trayopt.rules.reach import Reach
from trayopt.rules.registry import RULES
from trayopt.rules.reserve import Reserve
from trayopt.rules.subunit_together import SubunitTogether
from trayopt.rules.tray_fibres import TrayFibres
from trayopt.rules.tray_pair import TrayPair
from trayopt.rules.tray_sleeves import TraySleeves
from trayopt.rules.variables import (
    Constraint,
    Cuts,
    FirstStacks,
    LegNumbers,
    LegsPlaced,
    LegStacks,
    Literal,
    Partings,
    TrunkStacks,
    TrunkWays,
    Variables,
)
from trayopt.solver.model.base import Divisions
from trayopt.solver.model.groups import LIMITS, Question, merged
from trayopt.solver.model.literals import total
from trayopt.solver.model.model import Model
from trayopt.solver.model.posting import decide, guard, speaks
from trayopt.solver.model.vocabulary import voice
from trayopt.solver.repair.fixed import fix

LOOSENED: tuple[type[AnyRule], ...] = (
    DividedAtTray, TrayFibres, TraySleeves, EntranceLegs, Reach, Exposed, NoEmptyBelow, KeptApart, Pinned, SubunitTogether,
)  # fmt: skip
"""Rules that ask of trays and mean something of a stack whose trays are one, as ``merged_job`` loosens them."""


def holding(
    question: Question,
    held: frozenset[Group],
    divisions: Divisions | None = None,
    ways: Mapping[str, Sequence[Way]] | None = None,
) -> Model:
    """Make the model of all plans that place every splice and keep these groups; the others are left out."""
    model = Model(question.wide, divisions=divisions, ways=ways, all_placed=True)
    model.kept = {rule for rule, groups in question.by_rule.items() if groups <= held}
    _encode(question, question.wide, model, lambda _: model, lambda group: () if group in held else None)
    return model


def guarded(question: Question) -> Model:
    """Make a model with a guard for each group, in which the trays of each stack are merged into one tray.

    It is a relaxation: what it excludes, no plan does. Rules that look at single trays are loosened to what they mean
    for the whole stack, and no leg lies on a stack whose trays are each too small for it. Other rules may ask of stacks alone.
    """
    job = merged_job(question.wide)
    model = Model(job, all_placed=True)
    of_stacks = voice(model, TrunkWays, Partings, TrunkStacks, FirstStacks, Cuts, LegsPlaced, LegNumbers, LegStacks)
    _encode(
        question,
        job,
        model,
        lambda rule: model if isinstance(rule, LOOSENED) else of_stacks,
        lambda g: (guard(model, g),),
    )
    _fit_trays(question, model)
    return model


def _encode(
    question: Question,
    job: Job,
    model: Model,
    voice_for: Callable[[AnyRule], Variables],
    holds: Callable[[Group], tuple[Literal, ...] | None],
) -> None:
    """Let every rule speak; ``holds`` gives the literals under which a group holds, None where it does not at all."""

    def post_for(rule: AnyRule) -> Post:
        def post(constraint: Constraint, subject: str, when: tuple[Literal, ...] = ()) -> None:
            if constraint is True:
                return
            always = rule.kind == "always" or (isinstance(rule, Pinned) and subject in question.facts)
            guards = () if always else holds(merged(rule, subject))
            if guards is not None:
                model.require(constraint, *guards, *when)

        return post

    groups = question.by_rule
    for rule in RULES:
        wanted = rule.kind == "always" or (
            job.rules[rule.id].level != "off" and any(holds(group) is not None for group in groups.get(rule.id, ()))
        )
        if wanted or (isinstance(rule, Pinned) and question.facts):
            speaks(rule, model, voice_for(rule), post_for(rule))
    for group in question.groups:
        if group.rule in LIMITS and (guards := holds(group)) is not None:
            trunk = job.trunk_by_id[group.subject]
            wrong = question.wrong_ways(group, model.ways(trunk))
            model.require(total(model.goes(trunk, way) for way in wrong) <= 0, *guards)
    for group, fact in question.expected.items():
        if (guards := holds(group)) is not None:
            fix(
                model,
                _merge_fact(question.job, fact) if job.enclosure is not question.wide.enclosure else fact,
                *guards,
            )
    decide(model)


def _fit_trays(question: Question, model: Model) -> None:
    """Keep legs off stacks with trays too small for them, under the guard of the rule about their size."""
    if TrayFibres.id not in question.by_rule:
        return
    job = question.job
    for legs in model.bunches.values():
        need = max(sum(map(job.ends, legs)), *(job.ends(leg) + job.spliced_fibres(leg) for leg in legs))
        for stack in job.enclosure.stacks:
            if need > 2 * max(tray.fibres for tray in stack.kinds):
                model.require(model.at(legs[0], Place(stack.id, 1)) <= 0, guard(model, Group(TrayFibres.id, stack.id)))


def merged_job(job: Job) -> Job:
    """Return the job with the trays of each stack merged into one at its base, and all rules loosened to allow that.

    Notes
    -----
    ``reach`` is loosened by what the depth of a stack adds to a leg at most; a rule about single trays that has no
    meaning for a whole stack is off, and of pins and joins to be apart only what they say of stacks is left.
    """
    box, stacks, deeper = job.enclosure, [], 0
    for stack in box.stacks:
        rises = {
            z: max(box.track.z_mm[0] - z, z - box.track.z_mm[1], 0)
            for z in map(stack.z_mm, range(1, stack.positions + 1))
        }
        base = min(rises, key=lambda z: (rises[z], z))
        deeper = max(deeper, max(rises.values()) - min(rises.values()))
        trays = stack.by_position
        tray = remade(
            stack.tray,
            fibres=sum(tray.fibres for tray in trays),
            sleeves=sum(tray.sleeves for tray in trays),
            sleeve_fibres=max(tray.sleeve_fibres for tray in trays),
            entrance_legs=sum(tray.entrance_legs for tray in trays),
            inside_mm=min(tray.inside_mm for tray in trays),
            min_radius_mm=max(tray.min_radius_mm for tray in trays),
        )
        stacks.append(remade(stack, positions=1, base_z_mm=base, tray=tray, trays=()))
    rules = dict(job.rules)
    for name in (TrayPair.id, Reserve.id):
        rules[name] = remade(rules[name], level="off")
    reach = dict(rules[Reach.id].parameters)
    reach["bench_mm"] = max(0, Reach().parameters(job).bench_mm - deeper)
    rules[Reach.id] = remade(rules[Reach.id], parameters=reach)
    return remade(
        job,
        enclosure=remade(box, stacks=tuple(stacks)),
        apart=tuple(entry for entry in job.apart if entry.scope == "stack"),
        pins=tuple(remade(pin, position=None) if isinstance(pin, LegPin) else pin for pin in job.pins),
        rules=rules,
    )


def _merge_fact(job: Job, fact: Decision) -> Decision:
    if isinstance(fact, RunAt) and fact.place in job.enclosure.place_rank:
        return fact._replace(place=Place(fact.place.stack, 1))
    return fact
