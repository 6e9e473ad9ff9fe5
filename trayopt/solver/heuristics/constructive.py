"""The constructive heuristic: coarsest split that fits, trunks in listed order, the base first, stacks in turn.

What a careful crew does without a computer, and the first plan of every search.
It looks at one trunk and one subunit after the other and never goes back; what does
not fit where it comes is left out. It keeps every always rule and every physical rule at must, as far as it places anything.
What is built lies where it lies, and the rest comes beside it. Where splices stay out, finer legs that fill a tray are tried,
and then trays of more than one pair of trunks.

Trunks are divided at the tray, where they may be: then all legs of an opened tube are laid one after the other, those without a
splice among them, and so that few trays are tied to each other. Where that leaves splices out, it is tried without regard
to ties, and then with the trunks of these splices divided at the port.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import islice

from trayopt.domain.assignment import Assignment, Way
from trayopt.domain.base import DivideAt, RibbonWord, remade
from trayopt.domain.cablework import Leg
from trayopt.domain.hardware import Seal
from trayopt.domain.job import Job
from trayopt.domain.splicing import sleeve_runs
from trayopt.rules.port_seal import PortSeal
from trayopt.rules.tied_trays import TiedTrays
from trayopt.rules.tray_fibres import TrayFibres
from trayopt.solver.bounds.pattern_counts import Guess
from trayopt.solver.heuristics.bunches import Bunch, Parting, bunches_of, clusters
from trayopt.solver.heuristics.laying import Laying, keeps_facts
from trayopt.solver.model.base import Key


def first_plans(job: Job) -> Iterator[Assignment]:
    """Yield the plan of habit for each number of loops that the trunks may make, the fewest first."""
    return (construct(job, loops) for loops in _loops(job))


def _loops(job: Job) -> list[int]:
    return sorted({n for trunk in job.trunks for n in trunk.loops if n >= 1} or {1})


def complete_plans(job: Job) -> Iterator[Assignment]:
    """Yield the plans of habit that place every splice and break no fact.

    Nothing is laid if the trays are too small for all splices together, or if habit brings more trunks to a port than its
    seals take: every division would be tried in vain.
    """
    if job.rules[TrayFibres.id].level == "must" and job.enclosure.fibres < job.splices:
        return
    for loops in _loops(job):
        if job.rules[PortSeal.id].level == "must" and not _all_enter(job, choose_ways(job, loops)):
            continue
        plan = construct(job, loops)
        if _spliced(job, plan) == 2 * job.splices and keeps_facts(job, plan):
            yield plan


def plans_past_a_port(job: Job) -> Iterator[Assignment]:
    """Yield plans of habit that place every splice in a box in which one port in turn takes whatever comes to it.

    They show which trunks are one too many for the seals, and break no more than the seal of that port.
    """
    diameters = [trunk.cable.diameter_mm for trunk in job.trunks]
    wide = {"seals": (Seal(holes=len(diameters), least_mm=min(diameters), most_mm=max(diameters)),)}
    for chosen in job.enclosure.ports:
        ports = tuple(
            remade(port, bore_mm=sum(diameters), **wide) if port is chosen else port for port in job.enclosure.ports
        )
        yield from islice(complete_plans(remade(job, enclosure=remade(job.enclosure, ports=ports))), 1)


def _all_enter(job: Job, ways: Mapping[str, Way]) -> bool:
    """Whether every port takes all trunks with a splice that enter there."""
    entering: dict[str, list[float]] = defaultdict(list)
    for trunk, way in ways.items():
        if job.spliced_in(job.trunk_by_id[trunk]):
            entering[way.port].append(job.trunk_by_id[trunk].cable.diameter_mm)
    return all(job.enclosure.port_by_id[port].seal_for(found) is not None for port, found in entering.items())


def construct(job: Job, loops: int) -> Assignment:
    """Make the plan of habit; ``loops`` is the number that every trunk makes if its own limits allow it.

    Ribbons are worked on as little as may be; where splices stay out then, what takes the fewest sleeves is tried as well.
    """
    plans: list[Assignment] = []
    for word in ("least work", "fewest sleeves") if job.ribbons_open else ("",):
        work = {t.id: t.ribbons[0] for t in job.ribbons_open} if word != "fewest sleeves" else fewest_sleeves(job)
        plan = _construct_with(job.with_ribbons(work) if work else job, loops)
        plans.append(replace(plan, ribbons={trunk: done for trunk, done in work.items() if trunk in plan.ways}))
        if _spliced(job, plan) == 2 * job.splices:
            break
    return max(plans, key=lambda plan: _spliced(job, plan))


def construct_by(job: Job, guess: Guess, divisions: Mapping[Key, int]) -> Iterator[Assignment]:
    """Yield plans of habit with the ways, the stacks and the places of division of a guess.

    A plan that breaks what no plan may break is left out; ribbons have to be decided.
    """
    ways, at = dict(guess.ways), dict(guess.divide_at)
    bunches = bunches_of(job, divisions, at)
    for few in (True, False) if _minds_ties(job) else (False,):
        laying = Laying(job, ways, at, few_ties=few, stacks=guess.stacks)
        for cluster in clusters(job, bunches):
            laying.lay(cluster)
        plan = replace(laying.assignment(), ends=dict(guess.ends))
        if keeps_facts(job, plan):
            yield plan


def fewest_sleeves(job: Job) -> dict[str, RibbonWord]:
    """Choose for each trunk in turn what takes the fewest sleeves, of that the least work."""
    size = max(tray.sleeve_fibres for tray in job.enclosure.trays)
    chosen: dict[str, RibbonWord] = {}

    def sleeves(trunk: str, word: RibbonWord) -> int:
        work = {t.id: t.ribbons[0] for t in job.trunks} | chosen | {trunk: word}
        return sum(run.sleeves(size) for run in sleeve_runs(job.pieces, job.trunk_by_id, work))

    for trunk in job.ribbons_open:
        chosen[trunk.id] = min(trunk.ribbons, key=lambda word, t=trunk.id: sleeves(t, word))  # type: ignore[misc]
    return chosen


def _construct_with(job: Job, loops: int) -> Assignment:
    """Make the plan of habit of a job with settled ribbon work."""
    ways = choose_ways(job, loops)
    at = choose_partings(job)
    first = coarsest(job, at)
    plans = [
        _construct(job, ways, at, first, few_ties=few) for few in ((True, False) if _minds_ties(job) else (False,))
    ]
    best = max(plans, key=lambda plan: _spliced(job, plan))
    left = {trunk.id for trunk in job.trunks if _spliced(job, best, trunk.id) < job.spliced_in(trunk)}
    parted: Parting = {trunk: "port" for trunk in left if "port" in job.trunk_by_id[trunk].divide_at}
    partings = [at]
    if any(at[trunk] != "port" for trunk in parted if not _pinned_at(job, trunk)):
        partings.append(at | {trunk: port for trunk, port in parted.items() if not _pinned_at(job, trunk)})
    finer = list(_finer(job, first))
    trials = [(parting, coarsest(job, parting), False) for parting in partings[1:]]
    trials += [(parting, divisions, mixed) for mixed in (False, True) for divisions in finer for parting in partings]
    for parting, divisions, mixed in trials:
        if _spliced(job, best) == 2 * job.splices:
            break
        plan = _construct(job, ways, parting, divisions, few_ties=False, mixed=mixed)
        best = max(best, plan, key=lambda plan: _spliced(job, plan))
    return best


def _construct(
    job: Job, ways: dict[str, Way], at: Parting, divisions: Mapping[Key, int], *, few_ties: bool, mixed: bool = False
) -> Assignment:
    """Lay everything that fits; once more and judged after each step, where what comes of it breaks what no plan may break."""
    bunches = bunches_of(job, divisions, at)
    plan = _laid(job, Laying(job, ways, at, few_ties=few_ties, mixed=mixed), bunches, judged=False)
    if not keeps_facts(job, plan):
        plan = _laid(job, Laying(job, ways, at, few_ties=few_ties, mixed=mixed), bunches, judged=True)
    return plan


def _laid(job: Job, laying: Laying, bunches: Sequence[Bunch], *, judged: bool) -> Assignment:
    """Lay what is built where it lies, then cluster after cluster."""
    laying.lay_built(bunches)
    for cluster in clusters(job, [bunch for bunch in bunches if bunch.legs[0] not in laying.places]):
        laying.lay(cluster, judged=judged)
    return laying.assignment()


def _spliced(job: Job, plan: Assignment, trunk: str | None = None) -> int:
    """Count the spliced fibres that a plan places, of a trunk or of all."""
    return sum(job.spliced_fibres(leg) for leg in plan.places if trunk in {None, leg.trunk})


def _minds_ties(job: Job) -> bool:
    return TiedTrays.id in job.rules and job.rules[TiedTrays.id].level != "off"


def choose_partings(job: Job) -> Parting:
    """Divide each trunk at the first place of its list, the tray where it may be, or where a pin says."""
    return {trunk.id: _pinned_at(job, trunk.id) or trunk.divide_at[0] for trunk in job.trunks}


def _pinned_at(job: Job, trunk: str) -> DivideAt | None:
    """Return where a pin of a trunk says that it is divided."""
    return next((pin.divide_at for pin in job.trunk_pins if pin.trunk == trunk and pin.divide_at is not None), None)


# -- ways ------------------------------------------------------------------------------------------------------------


def choose_ways(job: Job, loops: int) -> dict[str, Way]:
    """Give each trunk, in listed order, the first free port by its nature, and the other way round from its partners.

    Trunks with a pin come first: what a pin asks for is not left to others.
    """
    pairs = {frozenset(pair) for pair in job.joined_pairs}
    held: dict[str, list[float]] = defaultdict(list)
    ways: dict[str, Way] = {}
    pinned = {pin.trunk for pin in job.trunk_pins}
    for trunk in sorted(job.trunks, key=lambda trunk: trunk.id not in pinned):
        partners = [ways[other] for other in ways if frozenset((other, trunk.id)) in pairs]
        options = []
        for rank, port in enumerate(job.enclosure.ports):
            if port.id not in trunk.allowed_ports(job.enclosure):
                continue
            inside = [*held[port.id], trunk.cable.diameter_mm]
            takes = port.seal_for(inside) is not None
            for travel in trunk.travels:
                same = sum(way.travel == travel for way in partners)
                against = port.turns not in {"both", travel}
                options.append(((not takes, same, against, len(held[port.id]), rank), Way(port.id, travel, 0)))
        _, way = min(options)
        turns = min(trunk.loops, key=lambda n: (abs(n - loops), n))
        ways[trunk.id] = _pinned(job, trunk.id, way._replace(loops=turns))
        held[ways[trunk.id].port].append(trunk.cable.diameter_mm)
    return {trunk.id: ways[trunk.id] for trunk in job.trunks}


def _pinned(job: Job, trunk: str, way: Way) -> Way:
    """Return the way that a pin of a trunk asks for."""
    for pin in job.trunk_pins:
        if pin.trunk == trunk:
            way = Way(pin.port or way.port, pin.travel or way.travel, way.loops if pin.loops is None else pin.loops)
    return way


# -- divisions -------------------------------------------------------------------------------------------------------


def coarsest(job: Job, at: Parting) -> dict[Key, int]:
    """Divide no further than needed: where legs that hang together fit into no tray, divide the largest of them, and its like."""
    trays = job.enclosure.trays
    built = _built_divisions(job)
    divisions = {key: built.get(key, job.subunit_of_leg[key].divisions[0]) for key, runs in job.spliced.items() if runs}
    while True:
        heavy = next(
            (
                bunch
                for bunch in bunches_of(job, divisions, at)
                if not any(
                    bunch.ends <= 2 * tray.fibres and bunch.sleeves[tray.sleeve_fibres] <= tray.sleeves
                    for tray in trays
                )
            ),
            None,
        )
        if heavy is None:
            return divisions
        for leg in sorted(heavy.legs, key=lambda leg: (-job.subunit(leg).fibres // leg.of, job.trunk_rank[leg.trunk])):
            if _divide(job, divisions, leg):
                break
        else:
            return divisions


def _built_divisions(job: Job) -> dict[Key, int]:
    """Return the divisions of subunits with a built leg."""
    legs = [job.pinned_leg(pin) for pin in job.leg_pins if pin.built]
    return {(leg.trunk, leg.subunit): leg.of for leg in legs}


def _finer(job: Job, first: Mapping[Key, int]) -> Iterator[dict[Key, int]]:
    """Yield divisions with legs of about one size, the largest first: each size fills the largest tray better than those before.

    Legs of 72 leave a quarter of a tray of 96 empty, legs of 48 leave nothing.
    """
    built, room = _built_divisions(job), max(tray.fibres for tray in job.enclosure.trays)
    subunits = {key: job.subunit_of_leg[key] for key in first}
    size = max((subunit.fibres // first[key] for key, subunit in subunits.items()), default=0)
    filled = room // size * size if size else room
    for size in sorted({unit.fibres // k for unit in subunits.values() for k in unit.divisions}, reverse=True):
        if filled < room // size * size:
            filled = room // size * size
            yield {
                key: built.get(key, next((k for k in unit.divisions if unit.fibres // k <= size), unit.divisions[-1]))
                for key, unit in subunits.items()
            }


def _divide(job: Job, divisions: dict[Key, int], leg: Leg) -> bool:
    """Divide a leg's subunit, and the equal subunits of its trunk, one step further; return whether that is possible."""
    own = job.subunit(leg)
    built = _built_divisions(job)
    finer = [k for k in own.divisions if k > leg.of]
    if not finer or (leg.trunk, leg.subunit) in built:
        return False
    for subunit in job.trunk_by_id[leg.trunk].subunits:
        like = (subunit.ribbons, subunit.ribbon_fibres) == (own.ribbons, own.ribbon_fibres)
        if like and (subunit.trunk, subunit.number) in divisions.keys() - built.keys():
            divisions[subunit.trunk, subunit.number] = next(
                (k for k in subunit.divisions if k >= finer[0]), subunit.divisions[-1]
            )
    return True
