"""Changes that take nothing away from any plan: the best one, goal by goal, is never worse than before; each says why."""

from __future__ import annotations

import random

from tests.build import Json
from tests.laws.law import Change
from tests.laws.same import through, trays
from trayopt.rules.registry import BY_ID


def rules_said_softer(job: Json, rng: random.Random) -> Json | None:
    """Take a level lower, or less weight: what broke a must breaks a preference, which is a later goal, or nothing.

    A physical rule that is no must lets in plans that were none.
    """
    soft = [rule for rule, setting in job["rules"].items() if setting["level"] != "off"]
    for rule in rng.sample(soft, rng.choice([1, 2, 5])):
        setting = job["rules"][rule]
        if setting["level"] == "must":
            setting["level"] = rng.choice(["prefer", "off"])
        elif setting["weight"] > 1 and rng.random() < 0.5:
            setting["weight"] -= 1
        else:
            setting["level"] = "off"
    return job


def practice_at_most_preferred(job: Json, rng: random.Random) -> Json:
    """Prefer all that practice asked for as a must: what a plan breaks now counts later."""
    del rng
    for rule, setting in job["rules"].items():
        if setting["level"] == "must" and BY_ID[rule].kind == "practice":
            setting["level"] = "prefer"
    return job


def limits_of_trunks_wider(job: Json, rng: random.Random) -> Json:
    """Let trunks have more ports, travels or loops, or no limit to jacket and slack: every way that there was is left."""
    for trunk in rng.sample(job["trunks"], rng.randint(1, len(job["trunks"]))):
        wide = {"ports": "any", "travel": "either", "loops": sorted({*trunk["loops"], 1, 2}), "exposed_mm": None}
        trunk |= dict(rng.sample(list(wide.items()), rng.choice([1, 2, 4])))
    for item in through(job):
        item["slack_mm"] = rng.choice([item["slack_mm"], None])
    return job


def tray_or_port(job: Json, rng: random.Random) -> Json | None:
    """Let trunks of the tray be divided at the port too: those that still are not break no breakout."""
    del rng
    trunks = [trunk for trunk in job["trunks"] if trunk["divide_at"] == ["tray"]]
    for trunk in trunks:
        trunk["divide_at"] = ["tray", "port"]
    return job if trunks else None


def port_or_tray(job: Json, rng: random.Random) -> Json | None:
    """Let trunks of the port be divided at the tray too, with breakout off and no pin of where: nothing costs more.

    With one leg a subunit they count as divided at the tray, where their own tubes travel as they did.
    """
    del rng
    trunks = [trunk for trunk in job["trunks"] if trunk["divide_at"] == ["port"] and trunk["cable"]["tubes"]]
    for trunk in trunks:
        trunk["divide_at"] = ["tray", "port"]
    job["rules"]["breakout"]["level"] = "off"
    for pin in job["pins"]:
        pin.pop("divide_at", None)
    return job if trunks else None


def asked_for_less(job: Json, rng: random.Random) -> Json | None:
    """Take pins and what is to be apart out, and take what is built as decided only: each of these binds less."""
    if not job["pins"] and not job["apart"]:
        return None
    for pin in job["pins"]:
        pin["built"] = pin["built"] and rng.random() < 0.5
    job["pins"] = [pin for pin in job["pins"] if rng.random() < 0.5]
    job["apart"] = [entry for entry in job["apart"] if rng.random() < 0.5]
    return job


def deeper_stacks(job: Json, rng: random.Random) -> Json:
    """Add places on top of stacks: they may stay empty, and then nothing looks at them but reserve, which asks for just that."""
    for stack in job["enclosure"]["stacks"]:
        stack["positions"] += rng.choice([0, 1, 1])
    return job


def roomier_trays(job: Json, rng: random.Random) -> Json:
    """Let trays hold more: each of their numbers is a most, and of sleeves that protect more no more are needed."""
    for tray in trays(job):
        wide = {
            key: tray[key] + rng.choice([1, 2, 12]) for key in ("fibres", "sleeves", "sleeve_fibres", "entrance_legs")
        }
        tray |= dict(rng.sample(list(wide.items()), rng.choice([1, 2, 4])))
    return job


def roomier_box(job: Json, rng: random.Random) -> Json:
    """Widen openings, bores, seals and bends of the track, and bring the bench nearer: each is a bound from one side.

    The width of guides, from which the allowance follows, is left as it is.
    """
    box, rules = job["enclosure"], job["rules"]
    for guide in box["track"]["guides"]:
        guide["opening_mm2"] *= rng.choice([1, 1.3])
    box["track"]["min_radius_mm"] *= rng.choice([1, 1.2])
    for port in box["ports"]:
        port["bore_mm"] *= rng.choice([1, 1.5])
        port["seals"] += [{"holes": 3, "least_mm": 5, "most_mm": 40}] * rng.choice([0, 1])
    bench = rules["reach"]["parameters"]
    bench["bench_mm"] = int(bench["bench_mm"] * rng.choice([1, 0.9]))
    return job


NEVER_WORSE: list[Change] = [
    rules_said_softer, practice_at_most_preferred, limits_of_trunks_wider, tray_or_port, port_or_tray, asked_for_less,
    deeper_stacks, roomier_trays, roomier_box,
]  # fmt: skip
"""Changes that leave every plan at most as bad as it was."""
