"""Relaxations say what they declare and nothing else; a rule that asks for more is left out of them as a whole."""

from __future__ import annotations

import logging
import random
import re
from collections import Counter
from collections.abc import Callable, Iterator
from typing import Any

import pytest

from tests import strategies
from tests.build import Json, job_of
from tests.example_rule import StackTrunks
from trayopt.domain.job import Job
from trayopt.rules.base import Breach, Post
from trayopt.rules.registry import register
from trayopt.rules.variables import CannotSay, Terms, TrunkStacks, TrunkWays, Variables, questions
from trayopt.solver.bounds.division import Divider
from trayopt.solver.bounds.outline import Outline
from trayopt.solver.bounds.pattern_bounds import count
from trayopt.solver.bounds.pattern_counts import Counts
from trayopt.solver.bounds.place_counts import PlaceCounts
from trayopt.solver.bounds.preference_bounds import preference_bound
from trayopt.solver.bounds.round_counts import RoundCounts
from trayopt.solver.bounds.segments import Segments
from trayopt.solver.bounds.set_partition import SetPartition
from trayopt.solver.bounds.settled_segments import SettledSegments
from trayopt.solver.bounds.stack_counts import StackCounts
from trayopt.solver.conflict.feasibility import Trials
from trayopt.solver.conflict.guarded_model import guarded
from trayopt.solver.model import cp_sat
from trayopt.solver.model.base import Base
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.groups import Question
from trayopt.solver.model.literals import linear
from trayopt.solver.model.posting import Policy, build, speaks
from trayopt.solver.model.symmetry import alike
from trayopt.solver.model.vocabulary import ALL, voice
from trayopt.track.laid import Laid

STRICT = Policy("hard", "soft")


def example() -> tuple[Job, Divider]:
    """Give the worked example."""
    job = job_of(strategies.worked_example())
    return job, Divider(job)


def settled() -> tuple[Divider, dict[tuple[str, int], tuple[int, ...]]]:
    """Give the worked example with its divisions settled."""
    _, divider = example()
    return divider, {("P", 1): (1,), ("P", 2): (1,), ("Q", 1): (2,)}


def counts() -> Counts:
    """Count the kinds of the worked example."""
    divider, divisions = settled()
    return Counts(build(divider.job, STRICT, all_placed=True, divisions=divisions), divisions)


def rounds() -> RoundCounts:
    """Count the chains of the worked example."""
    divider, divisions = settled()
    return RoundCounts(build(divider.job, STRICT, all_placed=True, divisions=divisions), in_order=True)


MADE: dict[str, Callable[[], Any]] = {
    "outline": lambda: Outline(example()[0], example()[1].open),
    "counts": counts,
    "counts by round": rounds,
    "set partition": lambda: SetPartition(example()[1], example()[1].open, Clock(), trays=False),
    "set partition over trays": lambda: SetPartition(example()[1], example()[1].open, Clock(), trays=True),
    "counts by stack": lambda: StackCounts(Question(example()[0])),
    "counts by place": lambda: PlaceCounts(Question(example()[0])),
    "blocks": lambda: Segments(example()[1], example()[1].open, STRICT, all_placed=True, clock=Clock()),
    "settled blocks": lambda: SettledSegments(*settled(), STRICT, all_placed=True, clock=Clock()),
}


@pytest.mark.parametrize("name", MADE)
def test_a_relaxation_says_what_it_declares_and_raises_for_the_rest(name: str) -> None:
    said = MADE[name]().voice
    known = {word for word in ALL if word in vars(said)}
    assert questions(Terms) | questions(TrunkWays) | questions(TrunkStacks) <= known < ALL
    for word in ALL - known:
        with pytest.raises(CannotSay, match=f"cannot say {word}$"):
            getattr(said, word)
    with pytest.raises(AttributeError):
        said.colour  # noqa: B018


class Half(StackTrunks):
    """Speaks of ways, and then of what no relaxation knows."""

    id = "half"
    asks = "piece_placed"

    def check(self, job: Job, laid: Laid) -> Iterator[Breach]:
        """Find nothing."""
        return iter(())

    def encode(self, job: Job, x: Variables, post: Post) -> None:
        """Forbid the first way of each trunk, and ask on."""
        for trunk in job.trunks:
            post(x.goes(trunk, x.ways(trunk)[0]) <= 0, job.enclosure.stacks[0].id)
        getattr(x, self.asks)(job.pieces[0])


def shapes(model: Base) -> list[str]:
    """Write every constraint that says something, without the numbers of its variables: they may have moved."""
    texts = (str(one) for one in model.cp.proto.constraints)
    return [re.sub(r"(vars|literals?|enforcement_literal): -?\d+", r"\1", text) for text in texts if text]


@pytest.mark.parametrize("level", ["must", "prefer"])
@pytest.mark.parametrize("name", MADE)
def test_nothing_of_a_rule_that_is_left_out_stays_posted(
    name: str, level: str, caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    plain = MADE[name]()
    data = strategies.worked_example()
    monkeypatch.setattr(strategies, "worked_example", lambda: data | {"rules": data["rules"] | {"half": level}})
    with register(Half()), caplog.at_level(logging.DEBUG, "trayopt.solver"):
        made = MADE[name]()
    assert shapes(made) == shapes(plain)
    assert made.let_go.keys() == plain.let_go.keys()
    assert made.guards.keys() == plain.guards.keys()
    if level == "must" or not isinstance(made, StackCounts):
        assert f"{type(made).__name__} leaves out half: {type(made).__name__} cannot say piece_placed" in caplog.text


def test_what_was_taken_back_tells_no_stacks_apart() -> None:
    data = strategies.worked_example()
    data["joins"] = []
    model = Outline(job_of(data), {})
    left, right = model.literal("N on left"), model.literal("N on right")
    model.require(left + right <= 1)
    before = alike(model, ["left", "right"])

    def post(constraint: Any, subject: str, when: tuple[Any, ...] = ()) -> None:
        model.require(left <= 0)

    class Apart(Half):
        def encode(self, job: Job, x: Variables, post: Post) -> None:
            post(True, "left")
            x.used(job.enclosure.places[0])

    assert not speaks(Apart(), model, voice(model), post)
    assert alike(model, ["left", "right"]) == before == [["left", "right"]]


class TrayTrunks(StackTrunks):
    """At most so many trunks in a tray: of a stack whose trays are merged it says nothing."""

    id = "tray_trunks"

    def check(self, job: Job, laid: Laid) -> Iterator[Breach]:
        """Count the trunks in every tray."""
        for place, legs in laid.trays.items():
            if len({leg.trunk for leg in legs}) > self.parameters(job).trunks:
                yield Breach(place.stack, f"{place} has legs of too many trunks")

    def encode(self, job: Job, x: Variables, post: Post) -> None:
        """Count the trunks in every tray."""
        for place in job.enclosure.places:
            post(sum(x.trunk_at(trunk, place) for trunk in job.trunks) <= self.parameters(job).trunks, place.stack)


class StackDepth(StackTrunks):
    """At most so many used places on a stack (its parameter is called as that of the example)."""

    id = "stack_depth"

    def check(self, job: Job, laid: Laid) -> Iterator[Breach]:
        """Count the used places of every stack."""
        for stack in job.enclosure.stacks:
            if sum(place.stack == stack.id for place in laid.trays) > self.parameters(job).trunks:
                yield Breach(stack.id, f"too many places of {stack.id} are used")

    def encode(self, job: Job, x: Variables, post: Post) -> None:
        """Count the used places of every stack."""
        for stack in job.enclosure.stacks:
            post(x.trays_on(stack.id) <= self.parameters(job).trunks, stack.id)


@pytest.mark.parametrize(("most", "denied"), [(1, True), (2, False)])
def test_an_outline_knows_how_many_trays_of_a_stack_hold_what_lies_on_it(most: int, denied: bool) -> None:
    """Three pairs of subunits with 24 splices each fill three trays of 24: two stacks of one tray each hold two pairs."""
    data = strategies.worked_example()
    group = {"count": 3, "ribbons": 2, "ribbon_fibres": 12, "diameter_mm": 6, "least_radius_mm": 60}
    for trunk in data["trunks"]:
        trunk |= {"cable": trunk["cable"] | {"subunits": [group]}}
    data["joins"] = [{"a": "P:1-72", "b": "Q:1-72", "name": "0"}]
    for stack in data["enclosure"]["stacks"]:
        stack["tray"] = stack["tray"] | {"fibres": 24}
    data["rules"]["stack_depth"] = {"level": "must", "trunks": most}
    with register(StackDepth()):
        job = job_of(data)
        assert (preference_bound(job, Divider(job).open, Clock()) is None) == denied
        job = job_of(
            data | {"rules": data["rules"] | {"stack_depth": {"level": "prefer", "trunks": most, "weight": 7}}}
        )
        bound = preference_bound(job, Divider(job).open, Clock())
        assert bound is not None
        assert (bound >= 7) == denied


def least_broken(job: Job) -> int | None:
    """Return the least weight of broken preferences of complete plans, by the whole model; None if there are none."""
    model = build(job, STRICT, all_placed=True)
    if not isinstance(model.broken("prefer"), int):
        model.cp.minimize(linear(model.broken("prefer")))
    solver = cp_sat.CpSolver()
    if solver.solve(model.cp) != cp_sat.OPTIMAL:
        return None
    return round(solver.objective_value) if model.cp.has_objective() else 0


def outlined(job: Job, seed: int) -> str:
    """Tell how the outline's bound lies beside the best of brute force, which it never passes."""
    divider = Divider(job)
    if divider.hopeless:
        return "hopeless"
    least, bound = least_broken(job), preference_bound(job, divider.open, Clock())
    assert least is None or (bound is not None and bound <= least), f"seed {seed}"
    return "denied" if bound is None else "met" if bound == least else "below"


def test_no_outline_counts_too_many_trays_on_a_stack() -> None:
    met = Counter[str]()
    with register(StackDepth()):
        for seed in range(60):
            rng = random.Random(seed)
            data = strategies.random_job(rng, trunks=2, stacks=2, positions=rng.choice([2, 3]))
            level = rng.choice(["must", "prefer"])
            data["rules"]["stack_depth"] = {
                "level": level,
                "trunks": rng.choice([1, 1, 2]),
                "weight": rng.choice([1, 5]),
            }
            met[f"{level} {outlined(job_of(data), seed)}"] += 1
    assert met["must denied"] > 1
    assert met["prefer met"] > 5


def two_joins(level: str, stacks: int) -> Job:
    """Give two joins of whole subunits that never share a stack, in a box of one stack or two."""
    data = strategies.worked_example()
    data["joins"] = [{"a": "P:1-24", "b": "Q:1-24", "name": "0"}, {"a": "P:25-48", "b": "Q:25-48", "name": "1"}]
    for trunk in data["trunks"]:
        group = {"count": 2, "ribbons": 2, "ribbon_fibres": 12, "diameter_mm": 6, "least_radius_mm": 60}
        trunk |= {"cable": trunk["cable"] | {"subunits": [group]}}
    data["apart"] = [{"joins": ["0", "1"], "scope": "stack"}]
    data["enclosure"]["stacks"] = data["enclosure"]["stacks"][:stacks]
    data["rules"]["apart"] = {"level": level, "weight": 7} if level == "prefer" else level
    return job_of(data)


@pytest.mark.parametrize(("stacks", "denied"), [(1, True), (2, False)])
def test_an_outline_knows_on_which_stacks_joins_lie(stacks: int, denied: bool) -> None:
    job = two_joins("must", stacks)
    assert (preference_bound(job, Divider(job).open, Clock()) is None) == denied
    job = two_joins("prefer", stacks)
    bound = preference_bound(job, Divider(job).open, Clock())
    assert bound is not None
    assert (bound >= 7) == denied


def test_no_outline_keeps_too_many_joins_apart() -> None:
    met = Counter[str]()
    for seed in range(80):
        rng = random.Random(seed)
        data = strategies.random_job(rng, trunks=rng.choice([2, 3]), stacks=2, positions=rng.choice([1, 2]))
        if len(data["joins"]) < 2:
            continue
        names = [join["name"] for join in data["joins"]]
        data["apart"] = [{"joins": rng.sample(names, 2), "scope": "stack"}]
        level = rng.choice(["must", "prefer"])
        data["rules"]["apart"] = {"level": level, "weight": rng.choice([1, 5])}
        met[f"{level} {outlined(job_of(data), seed)}"] += 1
    assert met["must denied"] > 1
    assert met["prefer met"] > 5


def test_merged_trays_say_nothing_of_single_ones() -> None:
    """Two pairs in one stack of two trays keep two trunks a tray; merged, the one tray has all four."""
    data = strategies.worked_example()
    data["trunks"] = [data["trunks"][0] | {"id": name, "ports": "any"} for name in "PQRS"]
    data["joins"] = [{"a": f"{a}:1-24", "b": f"{b}:1-24", "name": a} for a, b in ("PQ", "RS")]
    data["enclosure"]["stacks"] = data["enclosure"]["stacks"][:1]
    for port in data["enclosure"]["ports"]:
        port["seals"] = [{"holes": 4, "least_mm": 8, "most_mm": 30}]
    data["rules"] |= {"reach": "off", "guide_fill": "off", "tray_trunks": {"level": "must", "trunks": 2}}
    with register(TrayTrunks()):
        job = job_of(data)
        question = Question(job)
        merged = guarded(question)
        merged.cp.add_bool_and(list(merged.guards.values()))
        assert cp_sat.CpSolver().solve(merged.cp) in {cp_sat.OPTIMAL, cp_sat.FEASIBLE}
        assert Trials(question).possible(frozenset(question.groups))


def half_idle(opening_mm2: float) -> Json:
    """Give two trunks divided at the port into four legs each, of which two are spliced and the others cut back."""
    data = strategies.worked_example()
    group = {"count": 1, "ribbons": 4, "ribbon_fibres": 12, "diameter_mm": 6, "least_radius_mm": 60}
    for trunk in data["trunks"]:
        trunk |= {"cable": trunk["cable"] | {"subunits": [group]}, "divide_at": "port", "idle": "cut_back"}
    data["joins"] = [{"a": "P:1-24", "b": "Q:1-24", "name": "0"}]
    data["rules"] |= {"reach": "off"}
    for guide in data["enclosure"]["track"]["guides"]:
        guide["opening_mm2"] = opening_mm2
    return data


@pytest.mark.parametrize("opening_mm2", [320.0, 400.0])
def test_counts_fill_guides_with_placed_legs_alone(opening_mm2: float) -> None:
    """Guides that take the two legs of each trunk and not four: what the whole model places, counts do not deny."""
    job = job_of(half_idle(opening_mm2))
    divisions = {("P", 1): (4,), ("Q", 1): (4,)}
    model = build(job, Policy("hard", "hard"), all_placed=True, divisions=divisions)
    assert cp_sat.CpSolver().solve(model.cp) in {cp_sat.OPTIMAL, cp_sat.FEASIBLE}
    counted = count(build(job, STRICT, all_placed=True, divisions=divisions), 10, Clock())
    assert counted is not None
    assert Counts(model, divisions).number_placed(job.subunits[0], 4) == 2
