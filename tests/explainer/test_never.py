"""Preferences that no plan of a job can keep: known to brute force, told with their root, and by no other name."""

from __future__ import annotations

import random
from typing import Any

import pytest

from tests import oracle, strategies
from tests.build import job_of
from tests.explainer.planted import box, cable, job, trunk
from trayopt.api import explain, habits, solve
from trayopt.cli.plan_text import plan_text
from trayopt.explainer.text import text
from trayopt.rules.registry import BY_ID

Json = dict[str, Any]
TRAY = ["tray", "port"]


def one_tube() -> Json:
    """Give the worked example with Q divided at the tray alone: its one tube leads to one stack."""
    data = strategies.worked_example()
    data["trunks"][1]["divide_at"] = ["tray"]
    return data


def one_ribbon() -> Json:
    """Give a ribbon of 24 that is spliced to two subunits of 12: nothing that a job says can part it."""
    wide = cable("wide", ribbons=1, ribbon_fibres=24) | {"ribbon_mm": [4.5, 0.36]}
    trunks = [trunk("P", cable("two", subunits=2, ribbons=1), divide_at=TRAY), trunk("Q", wide, divide_at=TRAY)]
    return job(trunks, [("P:1-24", "Q:1-24")], enclosure=box(stacks=2))


def two_pairs() -> Json:
    """Give a ribbon that is spliced to two trunks: whatever its tray is, two pairs of trunks share it."""
    trunks = [trunk(name, cable(name, ribbons=1)) for name in "PQR"]
    return job(trunks, [("P:1-6", "Q:1-6"), ("P:7-12", "R:1-6")], enclosure=box(stacks=2))


NEVER = [
    (one_tube(), "alternate_stacks P/2", "Q is divided at the tray alone (divide_at), so all legs of Q/1 share a tube"),
    (one_ribbon(), "alternate_stacks P/2", "Q:1-24 is one ribbon, spliced to P/1 and P/2, and lies in one tray"),
    (two_pairs(), "tray_pair left", "P:1-12 is one ribbon, spliced to Q and R, and lies in one tray"),
]


@pytest.mark.parametrize(("data", "group", "root"), NEVER, ids=["a tube", "a ribbon", "two pairs"])
def test_explain_tells_them_as_such(data: Json, group: str, root: str) -> None:
    made = explain(job_of(data))
    found = {f"{item.rule} {item.subject}".replace("right", "left"): item for item in made.preferences or ()}
    assert found[group].never
    assert root in found[group].reason
    assert found[group].against == ()
    said = " ".join(text(made).split())
    assert "Preferences that no plan of this job can keep" in said
    assert "No plan of this job can keep" in " ".join(made.summary.split())
    assert "Preferences that the best plan breaks" not in said
    assert "to keep it" not in said


@pytest.mark.parametrize(("data", "group", "root"), NEVER[:2], ids=["a tube", "a ribbon"])
def test_the_text_of_a_plan_tells_them_apart_from_what_is_given_up(data: Json, group: str, root: str) -> None:
    loaded = job_of(data)
    plan = solve(loaded).plan
    found = habits(loaded, plan)
    assert root in found.never[tuple(group.split())]  # type: ignore[index]
    said = " ".join(plan_text(loaded, plan, habits=found).split())
    assert f"Preferences that no plan of this job can keep - {group}: " in said
    assert root in said
    assert "Preferences that this plan breaks" not in said
    assert "Preferences that this plan breaks" in plan_text(loaded, plan)


def test_a_preference_that_a_plan_can_keep_is_none_of_them() -> None:
    """With Q at the port P's subunits take turns, at the price of a breakout: that was a choice."""
    loaded = job_of(strategies.worked_example())
    assert habits(loaded, solve(loaded).plan).never == {}
    made = explain(loaded)
    assert [item.never for item in made.preferences or ()] == [False]
    assert "Preferences that the best plan breaks" in text(made)


def tiny(seed: int) -> Json:
    """Draw a tiny job of which the first trunk has singles and the other one tube, divided at the tray, in part."""
    data = strategies.random_job(
        random.Random(f"never {seed}"),
        trunks=2, ribbons=2, stacks=2, positions=2, ends=1, ports=2, shape="straight", rules=0.1, pins=0.0, tight=0.0,
    )  # fmt: skip
    like = data["trunks"][0]["cable"]
    width = like["subunits"][0]["ribbon_fibres"]
    for entry, (count, ribbons) in zip(data["trunks"], ((2, 1), (1, 2)), strict=True):
        group = like["subunits"][0] | {"count": count, "ribbons": ribbons}
        entry["cable"] = like | {"id": entry["cable"]["id"], "subunits": [group], "tubes": True}
        entry["divide_at"] = ["tray"] if seed % 4 else ["tray", "port"]
    data["joins"] = [{"a": f"P:1-{2 * width}", "b": f"Q:1-{2 * width}", "name": "0"}]
    data["apart"] = []
    return data


def found_in(data: Json) -> list[tuple[str, str]]:
    loaded = job_of(data)
    return list(habits(loaded, solve(loaded, reproducible=True, explain=False).plan).never)


@pytest.mark.parametrize("seed", [1, 2, 3, 5, 6, 7, 9, 10, 13, 14, 15])
def test_brute_force_finds_no_plan_that_keeps_them(seed: int) -> None:
    """Of these jobs some is found; each of them has plans to look at."""
    data, compared = tiny(seed), 0
    for rule, subject in found_in(data):
        bare = {name: "off" for name in oracle.RULES if oracle.RULES[name][0] == "practice"}
        asked = data | {"rules": data["rules"] | bare | {rule: data["rules"].get(rule, "prefer")}}
        for decision in oracle.all_feasible(asked):
            judged = oracle.judge(asked, decision)
            broken = {(name, what) for name, _, what in judged.broken}
            kept = (rule, subject) not in broken
            if BY_ID[rule].subject == "tray place":
                kept = all(name != rule for name, _ in broken)
            assert judged.goals[0] or not kept
            compared += 1
    assert compared
