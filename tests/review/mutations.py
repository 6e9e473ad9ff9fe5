"""Ways to break a good plan: by its rows, by the job that it no longer fits, and by the figures that it states."""

from __future__ import annotations

import random
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from tests.build import frozen, plan_of
from trayopt.checker import Report, assignment_of_claims, check, check_assignment, measure
from trayopt.domain.assignment import Assignment, Way
from trayopt.domain.cablework import Leg
from trayopt.domain.hardware import Place
from trayopt.domain.job import Job
from trayopt.domain.plan import PlanSolver
from trayopt.track.laid import Claim, Laid

SOLVER = PlanSolver(version="test", seed=0, workers=1, deterministic_time=0.0)


@dataclass
class Broken:
    """A broken plan: the report on it, and the groups (rule, subject) or figures that have to be found."""

    report: Report
    groups: set[tuple[str, str]] = field(default_factory=set)
    figures: set[str] = field(default_factory=set)
    unplaced: bool = False


@dataclass
class Case:
    """A good plan of a job, and the random choices to break it by."""

    job: Job
    good: Assignment
    rng: random.Random

    def __post_init__(self) -> None:
        self.laid = Laid(self.job, self.good)
        self.claims = self.laid.claims
        self.legs = list(self.good.places)

    def leg(self) -> Leg:
        """Choose a placed leg."""
        return self.rng.choice(self.legs)

    def leg_of_many(self, least: int, divide_at: str = "") -> Leg | None:
        """Choose a placed leg of a subunit with at least so many placed legs."""
        fit = [
            leg
            for leg in self.legs
            if len(self.laid.by_subunit[leg.trunk, leg.subunit]) >= least
            and divide_at in {"", self.laid.divide_at[leg.trunk]}
        ]
        return self.rng.choice(fit) if fit else None

    def claim_of(self, leg: Leg) -> int:
        """Give the index of a leg's claim."""
        run = (leg.trunk, *self.job.subunit(leg).leg_run(leg))
        return next(i for i, claim in enumerate(self.claims) if claim[:3] == run)

    def bunch(self, leg: Leg) -> set[Leg]:
        """Give the legs that are bound to one by splices."""
        found, front = {leg}, [leg]
        while front:
            now = front.pop()
            for piece in self.job.pieces:
                a = self.laid.leg_at(piece.a.trunk, piece.a.first)
                b = self.laid.leg_at(piece.b.trunk, piece.b.first)
                for one, other in ((a, b), (b, a)):
                    if one == now and other is not None and other not in found:
                        found.add(other)
                        front.append(other)
        return found

    def of_claims(self, claims: Sequence[Claim], ways: dict[str, Way] | None = None) -> Report:
        """Check rows."""
        made = assignment_of_claims(self.job, ways or dict(self.good.ways), claims, self.laid.divide_at)
        return check_assignment(self.job, made, claims)

    def moved(self, places: dict[Leg, Place]) -> Report:
        """Check the plan with some legs elsewhere."""
        return check_assignment(self.job, replace(self.good, places={**self.good.places, **places}))

    def way(self, trunk: str, way: Way) -> Report:
        """Check the plan with another way of a trunk."""
        ways = {**self.good.ways, trunk: way}
        return check_assignment(self.job, replace(self.good, ways=ways))

    def elsewhere(self, change: Callable[[dict[str, Any]], None]) -> Report:
        """Check the plan against another state of the job."""
        return check_assignment(self.other(change), self.good)

    def other(self, change: Callable[[dict[str, Any]], None]) -> Job:
        """Give the job with something changed."""
        data = self.job.plain()
        change(data)
        return Job.model_validate(frozen(data))

    def document(self, change: Callable[[dict[str, Any]], str]) -> Broken:
        """Check the plan document with a figure changed; the change names the figure."""
        plan = measure(self.job, self.good, status="feasible", stopped="gap", bounds={}, solver=SOLVER).plain()
        path = change(plan)
        return Broken(check(self.job, plan_of(plan)), figures={path})

    def other_place(self, leg: Leg) -> Place:
        """Choose a place in which the leg does not lie."""
        return self.rng.choice([place for place in self.job.enclosure.places if place != self.good.places[leg]])

    def binds(self, rule: str) -> bool:
        """Whether a rule is at must in the job."""
        return self.job.rules[rule].level == "must"


Mutation = Callable[[Case], Broken | None]


def one_side_elsewhere(case: Case) -> Broken | None:
    leg = case.leg()
    there = case.other_place(leg)
    claims = list(case.claims)
    i = case.claim_of(leg)
    claims[i] = claims[i]._replace(place=there)
    return Broken(case.of_claims(claims), {("whole_legs", str(leg))})


def leg_lost(case: Case) -> Broken | None:
    leg = case.leg()
    claims = [claim for i, claim in enumerate(case.claims) if i != case.claim_of(leg)]
    others = {("whole_legs", str(other)) for other in case.bunch(leg) - {leg} if touching(case, leg, other)}
    return Broken(case.of_claims(claims), others, unplaced=True)


def touching(case: Case, leg: Leg, other: Leg) -> bool:
    """Whether two legs are spliced to each other."""
    return any(
        {case.laid.leg_at(p.a.trunk, p.a.first), case.laid.leg_at(p.b.trunk, p.b.first)} == {leg, other}
        for p in case.job.pieces
    )


def bunch_lost(case: Case) -> Broken | None:
    leg = case.leg()
    gone = {case.claim_of(other) for other in case.bunch(leg)}
    claims = [claim for i, claim in enumerate(case.claims) if i not in gone]
    ways = {trunk: way for trunk, way in case.good.ways.items() if any(claim.trunk == trunk for claim in claims)}
    return Broken(case.of_claims(claims, ways), unplaced=True) if claims else None


def shifted_by_a_fibre(case: Case) -> Broken | None:
    leg = case.leg()
    claims = list(case.claims)
    i = case.claim_of(leg)
    subunit = case.job.subunit(leg)
    by = 1 if claims[i].last < case.job.trunk_by_id[leg.trunk].cable.fibres else -1
    claims[i] = claims[i]._replace(first=claims[i].first + by, last=claims[i].last + by)
    return Broken(case.of_claims(claims), {("equal_groups", subunit.name)})


def a_fibre_short(case: Case) -> Broken | None:
    leg = case.leg()
    claims = list(case.claims)
    i = case.claim_of(leg)
    if claims[i].first == claims[i].last:
        return None
    claims[i] = claims[i]._replace(last=claims[i].last - 1)
    run = (claims[i].first, claims[i].last)
    if case.job.subunit(leg).leg_of_run(*run) is not None:
        return None
    return Broken(case.of_claims(claims), {("equal_groups", case.job.subunit(leg).name)})


def unequal_groups(case: Case) -> Broken | None:
    leg = case.leg_of_many(3)
    if leg is None or leg.group == leg.of:
        return None
    subunit = case.job.subunit(leg)
    first, _ = subunit.leg_run(leg)
    _, last = subunit.leg_run(subunit.leg(leg.group + 1, leg.of))
    runs = {(leg.trunk, *subunit.leg_run(subunit.leg(group, leg.of))) for group in (leg.group, leg.group + 1)}
    claims = [claim for claim in case.claims if claim[:3] not in runs]
    claims.append(case.claims[case.claim_of(leg)]._replace(first=first, last=last))
    return Broken(case.of_claims(claims), {("equal_groups", subunit.name)})


def in_two_trays(case: Case) -> Broken | None:
    leg = case.leg()
    there = case.other_place(leg)
    claims = [*case.claims, case.claims[case.claim_of(leg)]._replace(place=there)]
    return Broken(case.of_claims(claims), {("whole_legs", str(leg))})


def two_ends(case: Case) -> Broken | None:
    stacks = {claim.place.stack for claim in case.claims}
    stack = case.rng.choice(sorted(stacks))
    on = [i for i, claim in enumerate(case.claims) if claim.place.stack == stack]
    if len(on) < 2:
        return None
    claims = list(case.claims)
    claims[on[-1]] = claims[on[-1]]._replace(end="another side")
    return Broken(case.of_claims(claims), {("one_end", stack)})


def too_many_loops(case: Case) -> Broken | None:
    trunk = case.rng.choice(sorted(case.good.ways))
    loops = max(case.job.trunk_by_id[trunk].loops) + 3
    groups = {("own_limits", trunk)} | ({("slack_loops", trunk)} if case.binds("slack_loops") else set())
    return Broken(case.way(trunk, case.good.ways[trunk]._replace(loops=loops)), groups)


def against_its_owner(case: Case) -> Broken | None:
    trunk = case.rng.choice(sorted(case.good.ways))
    way = case.good.ways[trunk]

    def change(data: dict[str, Any]) -> None:
        row = next(item for item in data["trunks"] if item["id"] == trunk)
        row["travel"] = "clockwise" if way.travel == "counterclockwise" else "counterclockwise"

    return Broken(case.elsewhere(change), {("own_limits", trunk)})


def at_a_port_not_its_own(case: Case) -> Broken | None:
    trunk = case.rng.choice(sorted(case.good.ways))
    others = [port.id for port in case.job.enclosure.ports if port.id != case.good.ways[trunk].port]

    def change(data: dict[str, Any]) -> None:
        next(item for item in data["trunks"] if item["id"] == trunk)["ports"] = others

    return Broken(case.elsewhere(change), {("own_limits", trunk)})


def torn_over_two_stacks(case: Case) -> Broken | None:
    leg = case.leg_of_many(2, divide_at="tray")
    if leg is None:
        return None
    here = case.good.places[leg]
    there = [place for place in case.job.enclosure.places if place.stack != here.stack]
    bunch = case.bunch(leg)
    if not there or all(other in bunch for other in case.legs if other[:2] == leg[:2]):
        return None
    to = case.rng.choice(there)
    return Broken(case.moved(dict.fromkeys(bunch, to)), {("divided_at_tray", f"{leg.trunk}/{leg.subunit}")})


def gap_at_the_base(case: Case) -> Broken | None:
    if not case.binds("no_empty_below"):
        return None
    for stack in case.rng.sample(case.job.enclosure.stacks, len(case.job.enclosure.stacks)):
        used = [place.position for place in case.laid.trays if place.stack == stack.id]
        if used and max(used) + 2 <= stack.positions:
            legs = case.laid.trays[Place(stack.id, max(used))]
            to = Place(stack.id, max(used) + 2)
            return Broken(case.moved(dict.fromkeys(legs, to)), {("no_empty_below", str(to))})
    return None


def two_trays_in_one(case: Case) -> Broken | None:
    if not case.binds("tray_fibres") or len(case.laid.trays) < 2:
        return None
    one, other = case.rng.sample(sorted(case.laid.trays), 2)
    load = sum(case.laid.ends_at(place) for place in (one, other))
    if load <= 2 * case.job.enclosure.tray_at(other).fibres:
        return None
    return Broken(case.moved(dict.fromkeys(case.laid.trays[one], other)), {("tray_fibres", str(other))})


def _smaller_trays(case: Case, key: str, rule: str, amount: Callable[[Place], int]) -> Broken | None:
    if not case.binds(rule):
        return None
    place = case.rng.choice(sorted(case.laid.trays))
    most = amount(place) - 1
    if most < 1:
        return None

    stack = case.job.enclosure.stack_by_id[place.stack]
    kind = stack.range_at(place.position)

    def change(data: dict[str, Any]) -> None:
        carried = next(item for item in data["enclosure"]["stacks"] if item["id"] == place.stack)
        (carried if kind is None else carried["trays"][stack.trays.index(kind)])["tray"][key] = most

    same = [at for at in case.laid.trays if at.stack == place.stack and stack.range_at(at.position) == kind]
    groups = {(rule, str(at)) for at in same if amount(at) > most}
    return Broken(case.elsewhere(change), groups)


def trays_of_fewer_fibres(case: Case) -> Broken | None:
    return _smaller_trays(case, "fibres", "tray_fibres", lambda place: -(-case.laid.ends_at(place) // 2))


def trays_of_fewer_sleeves(case: Case) -> Broken | None:
    return _smaller_trays(case, "sleeves", "tray_sleeves", case.laid.sleeves)


def narrower_entrances(case: Case) -> Broken | None:
    def through(place: Place) -> int:
        ways = [case.good.ways[leg.trunk].travel for leg in case.laid.trays[place]]
        return max(ways.count("clockwise"), ways.count("counterclockwise"))

    return _smaller_trays(case, "entrance_legs", "entrance_legs", through)


def narrower_guide(case: Case) -> Broken | None:
    passed = [guide.id for guide in case.job.enclosure.track.guides if case.laid.passes(guide.id)]
    if not case.binds("guide_fill") or not passed:
        return None
    guide = case.rng.choice(passed)

    def change(data: dict[str, Any]) -> None:
        next(item for item in data["enclosure"]["track"]["guides"] if item["id"] == guide)["opening_mm2"] = 1.0

    return Broken(case.elsewhere(change), {("guide_fill", guide)})


def tighter_track(case: Case) -> Broken | None:
    def change(data: dict[str, Any]) -> None:
        data["enclosure"]["track"]["min_radius_mm"] = 1.0

    groups = {("bend_radius", f"{trunk}/{number}") for trunk, number in case.laid.by_subunit}
    return Broken(case.elsewhere(change), groups) if case.binds("bend_radius") else None


def tighter_trays(case: Case) -> Broken | None:
    def change(data: dict[str, Any]) -> None:
        for stack in data["enclosure"]["stacks"]:
            for carried in (stack, *stack.get("trays", ())):
                carried["tray"]["min_radius_mm"] = 1.0

    groups = {("fibre_bend", f"{trunk}/{number}") for trunk, number in case.laid.by_subunit}
    return Broken(case.elsewhere(change), groups) if case.binds("fibre_bend") else None


def further_bench(case: Case) -> Broken | None:
    def change(data: dict[str, Any]) -> None:
        data["rules"]["reach"]["parameters"]["bench_mm"] = 50_000

    return (
        Broken(case.elsewhere(change), {("reach", trunk) for trunk in case.laid.legs}) if case.binds("reach") else None
    )


def shorter_tail(case: Case) -> Broken | None:
    trunk = case.rng.choice(sorted(case.laid.legs))
    plan = measure(case.job, case.good, status="feasible", stopped="gap", bounds={}, solver=SOLVER)
    strip = next(row.strip_mm for row in plan.trunks if row.trunk == trunk)
    assert strip is not None

    def change(data: dict[str, Any]) -> None:
        next(item for item in data["trunks"] if item["id"] == trunk)["exposed_mm"] = strip - 1

    return Broken(case.elsewhere(change), {("exposed", trunk)}) if case.binds("exposed") else None


def port_without_a_seal(case: Case) -> Broken | None:
    port = case.rng.choice(sorted({way.port for way in case.good.ways.values()}))

    def change(data: dict[str, Any]) -> None:
        next(item for item in data["enclosure"]["ports"] if item["id"] == port)["seals"] = []

    return Broken(case.elsewhere(change), {("port_seal", port)}) if case.binds("port_seal") else None


def tubes_too_narrow(case: Case) -> Broken | None:
    divided = {
        ("leg_tube", f"{trunk}/{number}")
        for (trunk, number), of in case.laid.division.items()
        if of > 1 and case.laid.divide_at[trunk] == "port"
    }

    def change(data: dict[str, Any]) -> None:
        data["tubes"]["tubes"] = [{"bore_mm": 0.01, "diameter_mm": 1.0, "least_radius_mm": 10.0}]

    return Broken(case.elsewhere(change), divided) if divided else None


def joins_to_be_apart(case: Case) -> Broken | None:
    sharing: dict[Any, Any] = {}
    for piece, place in case.laid.piece_places:
        if place is not None:
            sharing.setdefault(place.stack, set()).add(piece.join)
    pairs = [sorted(joins)[:2] for joins in sharing.values() if len(joins) > 1]
    if not pairs or not case.binds("apart"):
        return None
    names = [case.job.joins[number].name for number in case.rng.choice(pairs)]

    def change(data: dict[str, Any]) -> None:
        data["apart"] = [*data["apart"], {"joins": names, "scope": "stack"}]

    return Broken(case.elsewhere(change), {("apart", "+".join(names))})


def pinned_elsewhere(case: Case) -> Broken | None:
    leg = case.leg()
    there = case.other_place(leg)
    if not case.binds("pin") or case.job.pins:
        return None
    run = f"{leg.trunk}:{case.job.subunit(leg).leg_span(leg)}"

    def change(data: dict[str, Any]) -> None:
        data["pins"] = [{"leg": run, "stack": there.stack, "position": there.position}]

    return Broken(case.elsewhere(change), {("pin", run)})


def trunk_pinned_elsewhere(case: Case) -> Broken | None:
    trunk = case.rng.choice(sorted(case.good.ways))
    if not case.binds("pin") or case.job.pins:
        return None
    travel = "clockwise" if case.good.ways[trunk].travel == "counterclockwise" else "counterclockwise"

    def change(data: dict[str, Any]) -> None:
        data["pins"] = [{"trunk": trunk, "travel": travel}]

    return Broken(case.elsewhere(change), {("pin", trunk)})


def built_elsewhere(case: Case) -> Broken | None:
    trunk = case.rng.choice(sorted(case.good.ways))
    if case.job.pins:
        return None
    loops = case.good.ways[trunk].loops + 1

    def change(data: dict[str, Any]) -> None:
        data["pins"] = [{"trunk": trunk, "loops": loops, "built": True}]

    return Broken(case.elsewhere(change), {("pin", trunk)})


def _placed_rows(plan: dict[str, Any]) -> list[dict[str, Any]]:
    return [row for row in plan["legs"] if row["stack"] is not None]


def cut_too_short(case: Case) -> Broken | None:
    def change(plan: dict[str, Any]) -> str:
        row = case.rng.choice(_placed_rows(plan))
        row["cut_mm"] -= 50
        return f"legs[{row['leg']}].cut_mm"

    return case.document(change)


def route_made_up(case: Case) -> Broken | None:
    def change(plan: dict[str, Any]) -> str:
        row = case.rng.choice(_placed_rows(plan))
        row["route_mm"] += 1
        return f"legs[{row['leg']}].route_mm"

    return case.document(change)


def strip_made_up(case: Case) -> Broken | None:
    def change(plan: dict[str, Any]) -> str:
        row = case.rng.choice([row for row in plan["trunks"] if row["port"] is not None])
        row["strip_mm"] -= 10
        return f"trunks[{row['trunk']}].strip_mm"

    return case.document(change)


def goal_made_up(case: Case) -> Broken | None:
    def change(plan: dict[str, Any]) -> str:
        row = case.rng.choice(plan["goals"])
        row["value"] += 1
        return f"goals[{row['goal']}].value"

    return case.document(change)


def sleeves_made_up(case: Case) -> Broken | None:
    def change(plan: dict[str, Any]) -> str:
        row = case.rng.choice(plan["trays"])
        row["sleeves"] += 1
        return f"trays[{row['stack']}/{row['position']}].sleeves"

    return case.document(change)


MUTATIONS: tuple[Mutation, ...] = (
    one_side_elsewhere, leg_lost, bunch_lost, shifted_by_a_fibre, a_fibre_short, unequal_groups, in_two_trays, two_ends,
    too_many_loops, against_its_owner, at_a_port_not_its_own, torn_over_two_stacks, gap_at_the_base, two_trays_in_one,
    trays_of_fewer_fibres, trays_of_fewer_sleeves, narrower_entrances, narrower_guide, tighter_track, tighter_trays,
    further_bench, shorter_tail, port_without_a_seal, tubes_too_narrow, joins_to_be_apart, pinned_elsewhere,
    trunk_pinned_elsewhere, built_elsewhere, cut_too_short, route_made_up, strip_made_up, goal_made_up, sleeves_made_up,
)  # fmt: skip
