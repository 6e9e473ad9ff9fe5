"""Jobs with a planted conflict: a small sound job, and one thing done to it that makes a known set of groups clash."""

from __future__ import annotations

import copy
from collections.abc import Callable, Sequence
from math import ceil, sqrt
from typing import Any, NamedTuple

from tests import strategies
from tests.case_files import case_file, put
from tests.example_rule import SETTABLE

Json = dict[str, Any]


def box(stacks: int = 1, positions: int = 2, **tray: Any) -> Json:
    """Give the box of the worked example with so many stacks and positions, and trays with room for everything."""
    found: Json = strategies.worked_example()["enclosure"]
    found["stacks"] = found["stacks"][:stacks]
    for stack in found["stacks"]:
        stack["positions"] = positions
        stack["tray"].update({"fibres": 96, "sleeves": 8, "entrance_legs": 8, **tray})
    for guide in found["track"]["guides"]:
        guide["opening_mm2"] = 9000
    for port in found["ports"]:
        port["seals"] = [{"holes": 4, "least_mm": 5, "most_mm": 40}]
        port["turns"] = "both"
    return found


def cable(name: str, subunits: int = 1, ribbons: int = 2, **more: Any) -> Json:
    """Give a cable of ribbons of 12; what else is given goes to its subunits or to itself."""
    made: Json = copy.deepcopy(strategies.worked_example()["trunks"][0]["cable"])
    group = {"count": subunits, "ribbons": ribbons, "ribbon_fibres": 12, "diameter_mm": 5, "least_radius_mm": 50}
    group |= {key: more.pop(key) for key in list(more) if key in group}
    around = ceil(4 + sqrt(group["count"] * group["diameter_mm"] ** 2 / 0.7))
    return made | {"id": name, "diameter_mm": max(12, around), "subunits": [group]} | more


def trunk(name: str, like: Json | None = None, **more: Any) -> Json:
    """Give a trunk that may go any way with one loop."""
    made = {"id": name, "cable": like or cable(f"cable-{name}"), "ports": "any", "travel": "either", "loops": [1]}
    return made | {"transition_mm": 0, "divide_at": ["tray"], "idle": "coiled"} | more


def job(trunks: list[Json], joins: Sequence[tuple[str, ...]], **more: Any) -> Json:
    """Give a job; the bench is near, so that one loop reaches it."""
    example = strategies.worked_example()
    rules = {"reach": {"bench_mm": 500}, **more.pop("rules", {})}
    named = [dict(zip(("a", "b", "name"), (*join, str(i))[:3], strict=True)) for i, join in enumerate(joins)]
    made = {
        "schema": "trayopt/job/2",
        "title": "planted",
        "enclosure": more.pop("enclosure", box()),
        "tubes": example["tubes"],
    }
    return made | {"trunks": trunks, "joins": named, "apart": [], "rules": rules, "pins": []} | more


def pair(**more: Any) -> Json:
    """Give two trunks of 24, spliced through."""
    return job([trunk("P"), trunk("Q")], [("P:1-24", "Q:1-24")], **more)


def three(joined: str = "PQ QR PR", **more: Any) -> Json:
    """Give three trunks of 24; each named pair shares twelve splices."""
    used = dict.fromkeys("PQR", 0)
    joins = []
    for a, b in map(tuple, joined.split()):
        joins.append((f"{a}:{used[a] + 1}-{used[a] + 12}", f"{b}:{used[b] + 1}-{used[b] + 12}"))
        used[a] += 12
        used[b] += 12
    return job([trunk(name) for name in "PQR"], joins, **more)


def ring_of_three(divide_at: str = "tray", **more: Any) -> Json:
    """Give three trunks of 24 in a ring: along each the splices with the next come before those with the one before."""
    trunks = [trunk("P", divide_at=divide_at), trunk("Q"), trunk("R")]
    joins = [("P:1-12", "Q:13-24"), ("R:1-12", "P:13-24"), ("Q:1-12", "R:13-24")]
    return job(trunks, joins, enclosure=box(positions=3, fibres=24), **more)


def round_by_two_trays(splices: int = 36, fibres: int = 12) -> Json:
    """Give a trunk of two legs, from the one to the other of which the splices of two other trunks lead.

    The second leg may lie one tray above the first. Between them come so many splices, more than two trays of 12 take.
    """
    ribbons = splices // 12 + 1
    trunks = [trunk("P"), *(trunk(name, cable(f"of-{ribbons}", ribbons=ribbons)) for name in ("Q", "R"))]
    joins = [
        ("P:1-12", "Q:1-12"),
        (f"Q:13-{splices + 12}", f"R:1-{splices}"),
        (f"R:{splices + 1}-{splices + 12}", "P:13-24"),
    ]
    return job(trunks, joins, enclosure=box(positions=6, fibres=fibres))


def tied_by_a_tube(**more: Any) -> Json:
    """Give a trunk of one tube over three trays, where two may be tied to each other."""
    return job(
        [trunk("P", cable("three", ribbons=3), **more), trunk("Q", cable("singles", subunits=3, ribbons=1))],
        [("P:1-36", "Q:1-36")],
        enclosure=box(positions=3, fibres=12),
        rules={"tied_trays": "must"},
    )


def torn_apart() -> Json:
    """Give a tube with a leg pinned to either stack, which must not be divided at the port, though it may be."""
    return job(
        [trunk("P", divide_at=["tray", "port"]), trunk("Q", cable("singles", subunits=2, ribbons=1))],
        [("P:1-24", "Q:1-24")],
        enclosure=box(stacks=2, positions=1),
        rules={"breakout": "must"},
        pins=[pin("P:1-12", "left", 1), pin("P:13-24", "right", 1)],
    )


def with_guide(made: Json, guide: str, opening_mm2: float) -> Json:
    """Change the opening of one guide."""
    for item in made["enclosure"]["track"]["guides"]:
        if item["id"] == guide:
            item["opening_mm2"] = opening_mm2
    return made


def one_port(**port: Any) -> Json:
    """Give a box with one port alone."""
    found = box()
    found["ports"] = [found["ports"][0] | port]
    return found


def ports(*seals: list[Json], turns: str = "both") -> Json:
    """Give a box whose ports have these seals."""
    found = box()
    found["ports"] = [port | {"seals": seal, "turns": turns} for port, seal in zip(found["ports"], seals, strict=False)]
    return found


def many(count: int) -> list[Json]:
    """Give one seal for so many cables."""
    return [{"holes": count, "least_mm": 5, "most_mm": 40}]


class Planted(NamedTuple):
    """A job, and the only smallest set of groups that clashes in it."""

    name: str
    job: Callable[[], Json]
    groups: frozenset[str]
    brute: bool = True
    """Whether it is small enough for every way to build it to be looked at."""
    slow: bool = False
    """Whether that takes half a minute to minutes."""


def plant(name: str, made: Callable[[], Json], *groups: str, brute: bool = True) -> Planted:
    """Write a planted conflict in one line."""
    return Planted(name, made, frozenset(groups), brute)


def pin(leg: str, stack: str, position: int) -> Json:
    """Pin a leg to a tray place."""
    return {"leg": leg, "stack": stack, "position": position}


PLANTED: list[Planted] = [
    # one rule each
    plant("tray_fibres", lambda: pair(enclosure=box(positions=1, fibres=23)), "tray_fibres left"),
    plant("tray_sleeves", lambda: pair(enclosure=box(positions=1, sleeves=1)), "tray_sleeves left"),
    plant("entrance_legs", lambda: three("PQ PR", enclosure=box(positions=1, entrance_legs=1)), "entrance_legs left"),
    plant("guide_fill", lambda: with_guide(pair(), "n", 60), "guide_fill n"),
    plant(
        "bend_radius",
        lambda: job(
            [trunk("P", cable("stiff", least_radius_mm=90)), trunk("Q")],
            [("P:1-24", "Q:1-24")],
        ),
        "bend_radius P/1",
    ),
    plant(
        "fibre_bend",
        lambda: job(
            [trunk("P", cable("plain", fibre="G.652.D")), trunk("Q", cable("bend", fibre="G.657.A1"))],
            [("P:1-24", "Q:1-24")],
            enclosure=box(min_radius_mm=20),
        ),
        "fibre_bend P/1",
    ),
    plant(
        "reach",
        lambda: job([trunk("P"), trunk("Q", loops=[2])], [("P:1-24", "Q:1-24")], rules={"reach": {"bench_mm": 2700}}),
        "reach P",
    ),
    plant("exposed", lambda: job([trunk("P", exposed_mm=2950), trunk("Q")], [("P:1-24", "Q:1-24")]), "exposed P"),
    plant("port_seal", lambda: pair(enclosure=one_port(seals=many(1))), "port_seal bl"),
    plant("port without seals", lambda: pair(enclosure=one_port(seals=[])), "port_seal bl"),
    plant("slack_loops", lambda: job([trunk("P", loops=[3]), trunk("Q")], [("P:1-24", "Q:1-24")]), "slack_loops P"),
    plant(
        "apart",
        lambda: job(
            [trunk("P"), trunk("Q")],
            [("P:1-12", "Q:1-12", "east"), ("P:13-24", "Q:13-24", "west")],
            enclosure=box(positions=1),
            apart=[{"joins": ["east", "west"], "scope": "tray"}],
        ),
        "apart east+west",
    ),
    plant(
        "tray_pair", lambda: three("PQ PR", enclosure=box(positions=1), rules={"tray_pair": "must"}), "tray_pair left"
    ),
    plant("reserve", lambda: pair(rules={"reserve": {"level": "must", "trays": 2}}), "reserve left"),
    plant(
        "port_fill",
        lambda: pair(enclosure=one_port(), rules={"port_fill": {"level": "must", "two": 0.1}}),
        "port_fill bl",
    ),
    # the user's own decisions
    plant(
        "two pins",
        lambda: pair(enclosure=box(stacks=2, positions=1), pins=[pin("P:1-12", "left", 1), pin("Q:1-12", "right", 1)]),
        "pin P:1-12",
        "pin Q:1-12",
    ),
    plant(
        "pins that force a gap at the base",
        lambda: pair(pins=[pin("P:1-24", "left", 2)]),
        "pin P:1-24",
        "no_empty_below left",
    ),
    plant(
        "trunk pin against opposite travel",
        lambda: pair(
            rules={"opposite_travel": "must"},
            pins=[{"trunk": "P", "travel": "clockwise"}, {"trunk": "Q", "travel": "clockwise"}],
        ),
        "pin P",
        "pin Q",
        "opposite_travel P+Q",
    ),
    plant(
        "subunit_together",
        lambda: job(
            [trunk("P", divide_at="port"), trunk("Q", cable("pair", subunits=2, ribbons=1))],
            [("P:1-24", "Q:1-24")],
            enclosure=box(stacks=2, positions=1),
            rules={"subunit_together": "must"},
            pins=[pin("P:1-12", "left", 1), pin("Q:13-24", "right", 1)],
        ),
        "pin P:1-12",
        "pin Q:13-24",
        "subunit_together P/1",
    ),
    plant(
        "alternate_stacks",
        lambda: job(
            [trunk("P", cable("two", subunits=2, ribbons=1)), trunk("Q", cable("pair", subunits=2, ribbons=1))],
            [("P:1-24", "Q:1-24")],
            enclosure=box(stacks=2, positions=1),
            rules={"alternate_stacks": "must"},
            pins=[pin("P:1-12", "left", 1), pin("Q:13-24", "left", 1)],
        ),
        "pin P:1-12",
        "pin Q:13-24",
        "alternate_stacks P/2",
    ),
    plant(
        "same_division",
        lambda: job(
            [trunk("P", cable("two", subunits=2)), trunk("Q", cable("four", ribbons=4))],
            [("P:1-48", "Q:1-48")],
            rules={"same_division": "must"},
            pins=[pin("P:1-24", "left", 1), pin("P:25-36", "left", 1)],
        ),
        "pin P:1-24",
        "pin P:25-36",
        "same_division P",
    ),
    plant("tied_trays", tied_by_a_tube, "tied_trays left", "tray_fibres left"),
    plant("breakout", torn_apart, "pin P:1-12", "pin P:13-24", "breakout P"),
    plant(
        "natural_travel",
        lambda: job(
            [trunk("P", travel="counterclockwise"), trunk("Q")],
            [("P:1-24", "Q:1-24")],
            enclosure=ports(many(4), many(4), turns="clockwise"),
            rules={"natural_travel": "must"},
        ),
        "allowed_travel P",
        "natural_travel P",
    ),
    plant(
        "allowed_ports",
        lambda: job(
            [trunk("P", ports=["br"]), trunk("Q")],
            [("P:1-24", "Q:1-24")],
            enclosure=ports(many(2), []),
        ),
        "allowed_ports P",
        "port_seal br",
    ),
    # rules against rules
    plant(
        "the odd cycle of three joined trunks",
        lambda: three(rules={"opposite_travel": "must"}),
        "opposite_travel P+Q",
        "opposite_travel P+R",
        "opposite_travel Q+R",
        brute=False,
    ),
    plant(
        "a port without a seal for three cables",
        lambda: job(
            [trunk(name, ports=["bl"]) for name in "PQR"],
            [("P:1-12", "Q:1-12"), ("Q:13-24", "R:1-12")],
            enclosure=ports(many(2), many(4)),
        ),
        "allowed_ports P",
        "allowed_ports Q",
        "allowed_ports R",
        "port_seal bl",
        brute=False,
    ),
    plant(
        "a guide too narrow for the two loops that the bench asks for",
        lambda: with_guide(
            job(
                [trunk("P", loops=[1, 2]), trunk("Q", loops=[2])],
                [("P:1-24", "Q:1-24")],
                rules={"reach": {"bench_mm": 2700}},
            ),
            "n",
            130,
        ),
        "reach P",
        "guide_fill n",
        brute=False,
    ),
    plant(
        "two routes kept apart in a box with one tray too few",
        lambda: job(
            [trunk("P", cable("three", ribbons=1, subunits=3)), trunk("Q", cable("third", ribbons=1, subunits=3))],
            [("P:1-12", "Q:1-12", "east"), ("P:13-36", "Q:13-36", "west")],
            enclosure=box(positions=2, fibres=18),
            apart=[{"joins": ["east", "west"], "scope": "tray"}],
        ),
        "tray_fibres left",
    ),
    plant(
        "two routes kept apart, each with more than half of the trays",
        lambda: job(
            [trunk("P", cable("three", ribbons=1, subunits=3)), trunk("Q", cable("third", ribbons=1, subunits=3))],
            [("P:1-12", "Q:1-12", "east"), ("P:13-36", "Q:13-36", "west")],
            enclosure=box(positions=2, fibres=18, sleeves=8),
            apart=[{"joins": ["east", "west"], "scope": "tray"}],
            rules={"tray_fibres": "off", "reserve": {"level": "must", "trays": 1}},
        ),
        "apart east+west",
        "reserve left",
    ),
    plant(
        "ribbons that need more sleeves than the tray has",
        lambda: job(
            [
                trunk("P", cable("twelve", ribbons=1, subunits=2)),
                trunk("Q", cable("eight", subunits=3, ribbons=1, ribbon_fibres=8)),
            ],
            [("P:1-24", "Q:1-24")],
            enclosure=box(positions=1, sleeves=3),
        ),
        "tray_sleeves left",
    ),
    plant("a ring of three subunits that no tray holds", lambda: ring_of_three(), "tray_fibres left"),
    plant(
        "a ring of three subunits, one of them divided at the port",
        lambda: ring_of_three("port", rules={"subunit_together": "must"}),
        "subunit_together P/1",
        "tray_fibres left",
    ),
]


def from_case_file(rule: str) -> list[Planted]:
    """Give the conflict that the case file of a rule plants in the worked example, if it does."""
    planted = case_file(rule).more.get("planted")
    if planted is None:
        return []

    def made() -> Json:
        data = strategies.worked_example()
        for path, value in planted["set"].items():
            put(data, path, value)
        return data

    return [plant(rule, made, *planted["groups"])._replace(slow=planted.get("slow", False))]


PLANTED += [planted for rule in SETTABLE for planted in from_case_file(rule)]
