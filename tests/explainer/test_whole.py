"""Whole explanations: preferences, expected plans, bounds, the short form in a plan, and the command."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from tests import oracle, strategies
from tests.build import job_of
from tests.cli.run import trayopt as run
from tests.explainer.planted import box, cable, job, pair, pin, ring_of_three, round_by_two_trays, three, trunk
from trayopt.api import explain, load_job, solve
from trayopt.domain.decision import GoesBy, RunAt
from trayopt.domain.explanation import Explanation, GoalValue
from trayopt.domain.hardware import Place
from trayopt.domain.job import Job
from trayopt.errors import InputError
from trayopt.explainer.proof import goal_values
from trayopt.explainer.roots import root
from trayopt.explainer.summary import summary
from trayopt.explainer.text import text
from trayopt.explainer.way_words import by_edit, outcome
from trayopt.solver.conflict.feasibility import Trials
from trayopt.solver.conflict.minimal import conflict
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.decisions import Given
from trayopt.solver.model.groups import Question

STANDARD = Path("models/standard")


def at_trays() -> dict[str, Any]:
    """Give the worked example with both trunks divided at the tray alone."""
    data = strategies.worked_example()
    for entry in data["trunks"]:
        entry["divide_at"] = ["tray"]
    return data


REASONS = {
    "no-144-swapped-halves-wall-2x6": {"tray_fibres left", "tray_fibres right"},
    "no-1728-of-6912-port-seal-wall-3x8": {
        "port_seal bottom-left", "port_seal bottom-middle", "port_seal bottom-right", "port_seal side",
    },
    "no-2x864-guide-fill-wall-2x6": {
        "reach N1", "reach S1", "tray_fibres left", "tray_fibres right", "guide_fill n",
    },
    "no-2x864-16-against-12-sleeves-wall-2x6": {"tray_fibres left", "tray_fibres right"},
    "no-2x864-short-tail-wall-3x8": {"exposed S1"},
    "no-288-through-slack-wall-2x6": {"sheath_window M1"},
    "no-2x864-wall-1x6-trays": {"tray_fibres stack"},
    "unmet-pins-2x288-wall-2x6": {"pin N1:1-72", "pin S1:1-72"},
}  # fmt: skip
"""Smallest conflicts of the standard jobs that cannot be had whole, as found; each was proven minimal by solving."""


@pytest.mark.parametrize("name", REASONS)
def test_standard_jobs_without_a_plan_say_why(name: str) -> None:
    trials = Trials(Question(load_job(STANDARD / f"{name}.yaml")))
    found = conflict(trials, trials.question.groups)
    assert found is not None
    assert set(map(str, found.groups)) == REASONS[name]
    assert found.minimal


def test_every_standard_job_without_a_plan_is_among_them() -> None:
    names = {path.stem for path in STANDARD.glob("*.yaml") if path.stem.startswith(("no-", "unmet-"))}
    assert names == set(REASONS)


def test_the_same_explanation_byte_for_byte() -> None:
    made = job_of(pair(pins=[pin("P:1-24", "left", 2)]))
    one, other = (explain(made, reproducible=True).plain() for _ in range(2))
    assert json.dumps(one) == json.dumps(other)


# -- preferences -----------------------------------------------------------------------------------------------------


def test_the_odd_cycle_as_a_preference_names_the_other_two() -> None:
    made = explain(job_of(three(rules={"natural_travel": "off"})))
    assert made.conflicts == ()
    assert made.preferences is not None
    (broken,) = [item for item in made.preferences if item.rule == "opposite_travel"]
    assert {item.rule for item in broken.against} == {"opposite_travel"}
    assert len(broken.against) == 2
    assert broken.minimal
    assert broken.cost is not None
    assert [(cost.value, cost.kept) for cost in broken.cost if cost.goal == "broken_prefer"] == [(4, 4)]


def test_a_preference_that_cannot_be_kept_has_no_cost() -> None:
    made = explain(job_of(at_trays()))
    assert made.preferences is not None
    (broken,) = made.preferences
    assert (broken.rule, broken.subject, broken.cost, broken.minimal) == ("alternate_stacks", "P/2", None, True)


def test_what_keeping_a_preference_costs_is_what_brute_force_says() -> None:
    made = strategies.worked_example(bench_mm=2000)
    found = explain(job_of(made))
    assert found.preferences is not None
    for item in found.preferences:
        if item.rule != "natural_travel" or item.cost is None:
            continue
        forced = made | {"rules": made["rules"] | {"natural_travel": "must"}}
        best = oracle.solve(forced)
        assert best is not None
        if best.goals[:2] == (0, 0):
            assert [cost.kept for cost in item.cost][2] <= best.goals[2]


# -- what was expected -----------------------------------------------------------------------------------------------


def given(*runs: tuple[str, int, int, str, int], **ways: GoesBy) -> Given:
    return Given(tuple(RunAt(t, a, b, Place(stack, position)) for t, a, b, stack, position in runs), ways)


def test_expected_decisions_that_cannot_stand_together_are_named() -> None:
    made = explain(job_of(pair()), given(("P", 1, 12, "left", 1), ("Q", 1, 12, "left", 2), ("P", 13, 24, "left", 2)))
    assert made.expected is not None
    assert made.expected.possible is False
    assert {item.subject for item in made.conflicts[0].groups} == {"P:1-12 in left/1", "Q:1-12 in left/2"}
    assert made.conflicts[0].minimal
    assert [way.edit for way in made.ways_out] == ["do not expect Q:1-12 in left/2"]


def test_expected_and_possible_says_what_it_costs_and_where() -> None:
    made = explain(job_of(pair()), given(P=GoesBy("P", travel="clockwise"), Q=GoesBy("Q", travel="clockwise")))
    assert made.expected is not None
    assert made.expected.possible is True
    assert made.expected.cost is not None
    cost = {item.goal: (item.value, item.kept) for item in made.expected.cost}
    assert cost["broken_prefer"][1] - cost["broken_prefer"][0] == 3
    assert any("opposite_travel P+Q" in line for line in made.expected.differences)


def test_the_best_plan_is_as_good_as_itself() -> None:
    loaded = job_of(pair())
    best = solve(loaded).plan
    made = explain(loaded, best, best=best)
    assert made.expected is not None
    assert made.expected.cost is not None
    assert all(item.value == item.kept for item in made.expected.cost)
    assert "as good as the best plan" in made.summary


def test_an_expected_rule_breach_names_the_rule() -> None:
    made = explain(job_of(pair()), given(("P", 1, 24, "left", 2)))
    assert {item.rule for item in made.conflicts[0].groups} == {"expected", "no_empty_below"}


# -- what holds the goals up -----------------------------------------------------------------------------------------


def test_bounds_never_exceed_the_value_and_reach_it_where_proven() -> None:
    loaded = job_of(strategies.worked_example())
    made = explain(loaded)
    assert made.bounds is not None
    held = {item.goal: (item.at_least, item.value) for item in made.bounds}
    assert held["legs"] == (4, 4)
    assert held["leg_length_mm"] == (10750, 10750)
    assert all(least <= value for least, value in held.values())
    assert all(item.because for item in made.bounds)


def swapped() -> Job:
    cables = [cable(name, 4, 1) for name in ("c", "d")]
    joins = [(f"P:{12 * i + 1}-{12 * i + 12}", f"Q:{37 - 12 * i}-{48 - 12 * i}") for i in range(4)]
    return job_of(job([trunk("P", cables[0]), trunk("Q", cables[1])], joins, enclosure=box(positions=4, fibres=12)))


def test_opposite_orders_are_counted_and_forced() -> None:
    loaded = swapped()
    made = explain(loaded)
    assert made.bounds is not None
    (crossed,) = [item for item in made.bounds if item.goal == "crossings"]
    assert crossed.value == 6
    assert "P and Q see 6 pairs of 4 joined subunits in opposite orders" in crossed.because[0]
    assert "any plan crosses 6 pairs" in crossed.because[0]


# -- the short form, the text, the command ---------------------------------------------------------------------------


def test_a_plan_that_is_not_whole_says_the_first_conflict() -> None:
    plan = solve(job_of(pair(enclosure=box(positions=1, fibres=12)))).plan
    assert plan.explanation is not None
    read = Explanation.model_validate_json(json.dumps(plan.explanation))
    assert [item.rule for item in read.conflicts[0].groups] == ["tray_fibres"]
    assert read.ways_out == ()
    assert "24 of 24 splices have no tray" in read.summary
    assert solve(job_of(pair(enclosure=box(positions=1, fibres=12))), explain=False).plan.explanation is None
    assert solve(job_of(pair())).plan.explanation is None


def test_built_pins_that_contradict_each_other_are_refused() -> None:
    built = [pin("P:1-12", "left", 1) | {"built": True}, pin("Q:1-12", "left", 2) | {"built": True}]
    with pytest.raises(InputError, match="the built pins P:1-12, Q:1-12 cannot all be kept"):
        explain(job_of(pair(pins=built)))


def test_time_that_runs_out_is_said() -> None:
    made = job_of(pair(pins=[pin("P:1-24", "left", 2)]))
    trials = Trials(Question(made), Clock(1e-9))
    assert conflict(trials, trials.question.groups) is None
    assert "was not settled in the time given" in explain(made, time_limit_s=1e-9).summary


def test_broken_preferences_are_named_before_they_are_looked_into() -> None:
    made = load_job(STANDARD / "worked-example.yaml")
    best = solve(made, reproducible=True).plan
    found = explain(made, best=best, time_limit_s=1e-9)
    assert found.out_of_time
    assert "every splice can be placed and every must kept" in found.summary
    assert [(item.rule, item.subject, item.possible) for item in found.preferences or ()] == [
        ("alternate_stacks", "P/2", None)
    ]
    assert "the time ended before the search for what excludes it" in found.summary


def test_ways_out_that_were_not_all_looked_for_say_so() -> None:
    made = explain(load_job(STANDARD / "no-144-swapped-halves-wall-2x6.yaml"), time_limit_s=0.1, reproducible=True)
    assert made.out_of_time
    assert "The time ran out before everything was looked at" in made.summary
    assert not explain(job_of(pair())).out_of_time


def test_the_text_has_a_heading_for_every_part() -> None:
    said = text(explain(job_of(pair(pins=[pin("P:1-24", "left", 2)]))))
    assert "Conflict 1 (minimal, proven): these cannot be kept together" in said
    assert "Ways out, the cheapest first" in said
    assert '# - {leg: "P:1-24", stack: left, position: 2}  # take out' in said


@pytest.mark.parametrize(
    ("name", "code"), [("unmet-pins-2x288-wall-2x6", 1), ("no-2x864-short-tail-wall-3x8", 1), ("worked-example", 0)]
)
def test_the_command(name: str, code: int) -> None:
    done = run("explain", str(STANDARD / f"{name}.yaml"), "--format", "json", "--ways-out", "2")
    assert done.returncode == code
    data: dict[str, Any] = json.loads(done.stdout)
    assert data["schema"] == "trayopt/explanation/1"
    assert bool(data["conflicts"]) == (code == 1)
    assert Explanation.model_validate_json(done.stdout).plain() == data


def test_the_command_takes_a_hand_made_table(tmp_path: Path) -> None:
    table = tmp_path / "want.csv"
    table.write_text("trunk,fibres,stack,position\nN1,1-72,left,1\nS1,1-72,right,1\n")
    done = run("explain", str(STANDARD / "2x288-wall-2x6.yaml"), str(table), "-q")
    assert done.returncode == 1
    assert "N1:1-72 in left/1 and S1:1-72 in right/1 cannot be kept together" in done.stdout


# -- the words -------------------------------------------------------------------------------------------------------


def test_what_is_not_proven_of_a_way_out_says_so() -> None:
    goals = [GoalValue(goal="broken_prefer", value=0, bound=0), GoalValue(goal="legs", value=12, bound=10)]
    goals.append(GoalValue(goal="crossings", value=3))
    said = "broken_prefer 0; not proven, the best that was found: legs 12 (at least 10), crossings 3"
    assert outcome(goals) == said
    assert outcome(goals[:1]) == "broken_prefer 0"


def test_no_bound_is_told_behind_a_goal_that_is_not_proven() -> None:
    found = goal_values({"unplaced": 0, "legs": 12, "crossings": 3}, {"unplaced": 0, "legs": 10, "crossings": 3})
    assert [goal.bound for goal in found] == [0, 10, None]


def test_no_line_but_of_an_edit_is_wider_than_asked() -> None:
    made = explain(load_job(STANDARD / "unmet-pins-2x288-wall-2x6.yaml"))
    for width in (60, 80, 100, 120):
        lines = text(made, width).splitlines()
        assert max(len(line) for line in lines if not line.startswith("       ")) <= min(width, 100)


def test_trays_that_would_do_by_count_say_why_they_do_not() -> None:
    swapped_halves = explain(load_job(STANDARD / "no-144-swapped-halves-wall-2x6.yaml"), ways_out=0)
    assert "legs of N1/1 and S1/1 share one where their splices turn in order" in swapped_halves.summary
    ring = explain(job_of(ring_of_three()), ways_out=0)
    assert (
        "P/1, Q/1 and R/1 close a ring, each spliced to the next: the splices around it lie in one tray" in ring.summary
    )
    between = explain(job_of(round_by_two_trays()), ways_out=0)
    assert (
        "Q/1 and R/1 lead from one leg of P/1 to the next: the splices along them lie in two trays" in between.summary
    )
    sleeves = explain(load_job(STANDARD / "no-2x864-16-against-12-sleeves-wall-2x6.yaml"), ways_out=0)
    assert "fill a tray with 64 fibres at most: all trays take 768 of its 864" in sleeves.summary


def test_pins_that_clash_say_that_their_legs_are_spliced() -> None:
    made = explain(job_of(pair(enclosure=box(stacks=2), pins=[pin("P:1-12", "left", 1), pin("Q:1-12", "right", 1)])))
    assert "it is spliced to Q:1-12 and lies in the same tray" in made.summary


def test_an_odd_ring_of_opposite_travel_says_why() -> None:
    made = explain(job_of(three(rules={"opposite_travel": "must"})))
    assert "in a ring of 3 joined trunks" in made.summary


def test_ways_out_with_one_edit_are_told_as_one() -> None:
    made = explain(job_of(three(rules={"opposite_travel": "must"})))
    assert len(made.ways_out) > len(by_edit(made.ways_out))
    said = text(made)
    assert said.count("opposite_travel: prefer  # now must") == 1
    assert "give up opposite_travel of P+Q, or opposite_travel of P+R, or opposite_travel of Q+R (cost 4)" in " ".join(
        said.split()
    )


def test_a_preference_that_no_plan_keeps_counts_for_the_bound() -> None:
    made = explain(job_of(at_trays()))
    assert made.optimal
    assert made.preferences is not None
    assert made.bounds is not None
    assert [item.possible for item in made.preferences] == [False]
    (held,) = [item for item in made.bounds if item.goal == "broken_prefer"]
    assert held.at_least >= 1
    assert held.because[0] == "alternate_stacks of P/2: cannot be kept together with every must"


def test_apart_says_how_many_stacks_there_are() -> None:
    joins = [("P:1-12", "Q:1-12", "east"), ("P:13-24", "Q:13-24", "west")]
    apart = [{"joins": ["east", "west"], "scope": "stack"}]
    made = explain(job_of(job([trunk("P"), trunk("Q")], joins, apart=apart)))
    assert "never share a stack; the box has 1 stack with 2 trays in all" in made.summary


def test_rules_of_conflicts_that_are_not_told_are_named() -> None:
    made = explain(job_of(pair(enclosure=box(positions=1, fibres=12, sleeves=1))), conflicts=1)
    assert "tray_sleeves takes part in further conflicts" in made.summary


def test_what_always_holds_is_told_by_its_root() -> None:
    """Q's one tube leads to one stack, so that P's subunits cannot take turns: with Q divided at the port they can."""
    made = explain(job_of(at_trays()))
    assert made.preferences is not None
    (broken,) = made.preferences
    assert (broken.rule, broken.subject, broken.possible) == ("alternate_stacks", "P/2", False)
    assert broken.reason == (
        "Q is divided at the tray alone (divide_at), so all legs of Q/1 share a tube to one stack; "
        "without that it could be kept"
    )
    assert broken.reason in made.summary
    data = at_trays()
    data["trunks"][1]["divide_at"] = ["tray", "port"]
    data["rules"] = {**data["rules"], "alternate_stacks": "must"}
    assert solve(job_of(data), explain=False).complete


def test_facts_that_only_together_stand_in_the_way_are_all_named() -> None:
    """Both legs of one tube are built on a stack that is to keep a tray free: letting one of them go frees none."""
    data = at_trays()
    data["trunks"][0]["cable"] = {**data["trunks"][1]["cable"], "id": "p", "diameter_mm": 14}
    data["pins"] = [
        {"leg": "P:1-24", "stack": "left", "position": 1, "built": True},
        {"leg": "P:25-48", "stack": "left", "position": 2, "built": True},
    ]
    data["rules"] = {**data.get("rules", {}), "reserve": {"level": "prefer", "trays": 1}}
    made = explain(job_of(data))
    assert made.preferences is not None
    reasons = {item.rule: item.reason for item in made.preferences if not item.against}
    assert reasons["reserve"] == "P:1-24 and P:25-48 are built as pinned; without these it could be kept"
    assert "what always holds" not in made.summary


def test_a_conflict_of_facts_alone_names_them() -> None:
    """The legs of one tube are built on two stacks: no rule that could be given up has a part in it."""
    data = at_trays()
    data["joins"] = [{"a": "P:1-24", "b": "Q:1-24"}, {"a": "P:25-48", "b": "Q:25-48"}]
    data["pins"] = [
        {"leg": "P:1-24", "stack": "left", "position": 1, "built": True},
        {"leg": "P:25-48", "stack": "right", "position": 1, "built": True},
    ]
    trials = Trials(Question(job_of(data)), Clock())
    assert trials.possible(frozenset()) is False
    said = root(trials, frozenset(), frozenset(), "every splice could be placed")
    assert said.startswith(
        "Q is divided at the tray alone (divide_at), so all legs of Q/1 share a tube to one stack; without that"
    )
    assert "or P:1-24 is built as pinned; without that every splice could be placed" in said


def test_what_stands_against_several_preferences_is_said_once() -> None:
    """Of two rules, and at two prices: the reason is one sentence, each price names what it is for."""
    (found,) = explain(job_of(at_trays())).preferences or ()
    one = found.model_copy(update={"never": False})
    other = one.model_copy(update={"rule": "reserve", "subject": "left", "possible": None})
    made = Explanation(preferences=(one, other))
    written = " ".join(text(made, 100).split())
    assert written.count(one.reason) == 1
    assert "to keep alternate_stacks P/2: no plan does" in written
    assert "to keep reserve left: not settled in the time given" in written
    told = summary(job_of(at_trays()), made)
    assert told.count(one.reason) == 1
    assert "alternate_stacks of P/2 and reserve of left are broken: " in told
