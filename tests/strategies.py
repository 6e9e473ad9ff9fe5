"""Tiny random jobs for the tests, resolved: every reference inlined, every default filled in.

:func:`random_job` draws a job from a :class:`random.Random`, :func:`jobs` is the same as a hypothesis strategy, and
:func:`worked_example` is the worked example of the specification, section 10. A key that is absent means "no limit"
(``exposed_mm``), and each job, dumped as YAML, is a job file.
"""

from __future__ import annotations

import copy
import math
import random
from typing import TYPE_CHECKING, Any

from hypothesis import strategies as st

if TYPE_CHECKING or __package__:
    from . import oracle
    from .case_files import CASES, case_file
else:
    import oracle
    from case_files import CASES, case_file

if TYPE_CHECKING:
    from collections.abc import Sequence

Json = dict[str, Any]
RIBBON_WIDTHS = (2, 3, 4, 6)
CASE_FILES = frozenset(path.stem for path in CASES.glob("*.yaml"))

FLAT = ("ribbon", "central_tube", "slotted_core")
ROUND = ("partly_bonded_ribbon", "loose_tube")

# corner guides and ports of the worked example; every job bends them a little
GUIDES = {"nw": (60, 440), "n": (200, 460), "ne": (340, 440), "se": (340, 60), "s": (200, 40), "sw": (60, 60)}
PORTS = {
    "bl": (40, 0, "sw", "clockwise"),
    "br": (360, 0, "se", "counterclockwise"),
    "tl": (40, 500, "nw", "counterclockwise"),
}

TUBE_SETS: list[list[Json]] = [
    [
        {"bore_mm": 3.8, "diameter_mm": 5, "least_radius_mm": 50},
        {"bore_mm": 5, "diameter_mm": 6.5, "least_radius_mm": 38},
    ],
    [
        {"bore_mm": 1.2, "diameter_mm": 2, "least_radius_mm": 20},
        {"bore_mm": 2.2, "diameter_mm": 3.2, "least_radius_mm": 32},
    ],
    [{"bore_mm": 2, "diameter_mm": 3, "least_radius_mm": 30}, {"bore_mm": 4, "diameter_mm": 6, "least_radius_mm": 85}],
    [{"bore_mm": 0.9, "diameter_mm": 1.5, "least_radius_mm": 15}],
]


def worked_example(bench_mm: int | None = 1800, loops: Sequence[int] = (1,)) -> Json:
    """Job of the worked example.

    Parameters
    ----------
    bench_mm : int or None
        Parameter of rule ``reach``; None leaves its default.
    loops : sequence of int
        Loops that both trunks may make.
    """
    tray = {
        "kind": "tray",
        "id": "tray-24",
        "fibres": 24,
        "sleeves": 2,
        "sleeve_fibres": 12,
        "entrance_legs": 4,
        "height_mm": 10,
        "size_mm": [120, 130],
        "inside_mm": 300,
        "min_radius_mm": 30,
    }
    entrances = {
        "left": {"clockwise": ("nw", 170, 330), "counterclockwise": ("n", 110, 330)},
        "right": {"clockwise": ("n", 290, 330), "counterclockwise": ("ne", 230, 330)},
    }
    enclosure = {
        "kind": "enclosure",
        "id": "box-2x2",
        "size_mm": [400, 500, 60],
        "track": {
            "z_mm": [10, 10],
            "min_radius_mm": 80,
            "guides": [
                {"id": g, "x_mm": x, "y_mm": y, "opening_mm2": 1500, "width_mm": math.sqrt(1500)}
                for g, (x, y) in GUIDES.items()
            ],
        },
        "ports": [
            {
                "id": p,
                "x_mm": PORTS[p][0],
                "y_mm": PORTS[p][1],
                "guide": PORTS[p][2],
                "bore_mm": 40,
                "turns": PORTS[p][3],
                "seals": [{"holes": 1, "least_mm": 8, "most_mm": 30}],
            }
            for p in ("bl", "br")
        ],
        "stacks": [
            {
                "id": stack,
                "tray": copy.deepcopy(tray),
                "positions": 2,
                "at_mm": [x, 200],
                "base_z_mm": 12,
                "pitch_mm": 11,
                "ends": [
                    {"id": "top"}
                    | {w: {"guide": g, "x_mm": ex, "y_mm": ey} for w, (g, ex, ey) in entrances[stack].items()}
                ],
            }
            for stack, x in (("left", 80), ("right", 200))
        ],
    }
    p = _cable("cable-p", 14, [{"count": 2, "ribbons": 2, "ribbon_fibres": 12, "diameter_mm": 5}])
    q = _cable("cable-q", 12, [{"count": 1, "ribbons": 4, "ribbon_fibres": 12, "diameter_mm": 6}])
    return {
        "schema": "trayopt/job/2",
        "title": "worked example",
        "enclosure": enclosure,
        "tubes": {"kind": "tubes", "id": "mesh-set", "tubes": copy.deepcopy(TUBE_SETS[0])},
        "trunks": [
            _trunk("P", p, ports=["bl"], loops=list(loops)),
            _trunk("Q", q, ports=["br"], loops=list(loops)),
        ],
        "joins": [{"a": "P:1-48", "b": "Q:1-48", "name": "0"}],
        "apart": [],
        "rules": {} if bench_mm is None else {"reach": {"bench_mm": bench_mm}},
        "pins": [],
    }


def _cable(name: str, diameter_mm: float, subunits: list[Json], **given: Any) -> Json:
    for entry in subunits:
        entry.setdefault("least_radius_mm", 10 * entry["diameter_mm"])
    cable = {"kind": "cable", "id": name, "construction": "ribbon", "diameter_mm": diameter_mm, "fibre": "G.652.D"}
    cable |= given
    if cable["construction"] in FLAT:
        cable.setdefault("ribbon_mm", [3.22, 0.36])
    else:
        cable.setdefault("coating_mm", 0.25)
    cable.setdefault("tubes", cable["construction"] not in ("slotted_core", "partly_bonded_ribbon"))
    cable["subunits"] = subunits
    return cable


def _trunk(name: str, cable: Json, **given: Any) -> Json:
    trunk = {
        "id": name,
        "cable": cable,
        "travel": "either",
        "loops": [1, 2],
        "transition_mm": 0,
        "divide_at": ["tray", "port"] if cable["tubes"] else ["port"],
        "idle": "coiled",
    }
    return trunk | given


def _fibres(cable: Json) -> list[list[tuple[int, int]]]:
    """First and last fibre of each ribbon, per subunit."""
    ribbons: list[list[tuple[int, int]]] = []
    fibre = 1
    for entry in cable["subunits"]:
        for _ in range(entry["count"]):
            width = entry["ribbon_fibres"]
            ribbons.append([(fibre + i * width, fibre + (i + 1) * width - 1) for i in range(entry["ribbons"])])
            fibre += width * entry["ribbons"]
    return ribbons


def _chance(rng: random.Random, share: float) -> bool:
    return rng.random() < share


def _random_cable(rng: random.Random, name: str, width: int, size: int) -> Json:
    """Draw a cable of about ``size`` ribbons, in subunits that are equal or awkward."""
    entries: list[Json] = []
    left = size
    while left > 0 and len(entries) < 2:
        ribbons = min(rng.choice([1, 1, 2, 2, 2, 3, 4]), left)
        count = min(rng.choice([1, 2, 3]), left // ribbons)
        diameter = 9 if _chance(rng, 0.02) else rng.choice([2.5, 3, 4, 5])
        entries.append({"count": count, "ribbons": ribbons, "ribbon_fibres": width, "diameter_mm": diameter})
        if _chance(rng, 0.1):
            entries[-1]["least_radius_mm"] = rng.choice([20, 60, 80])
        left -= ribbons * count
    given: Json = {
        "construction": rng.choice(FLAT if _chance(rng, 0.7) else ROUND),
        "fibre": rng.choice(["G.652.D", "G.652.D", "G.652.D", "G.657.A1", "G.657.A2", "G.657.B3"]),
        "tubes": _chance(rng, 0.8),
    }
    return _cable(name, rng.choice([8, 10, 12, 14.5]), entries, **given)


def _random_enclosure(rng: random.Random, tray: Json, stacks: int, positions: int, ends: int, ports: int) -> Json:
    jitter = rng.choice([0, 0, 7, 23])

    def off(n: int) -> int:
        return n + rng.randint(-jitter, jitter)

    guides = [
        {"id": g, "x_mm": off(x), "y_mm": off(y), "opening_mm2": rng.choice([1500, 1500, 900])}
        for g, (x, y) in GUIDES.items()
    ]
    if _chance(rng, 0.15):
        # only the corners are left; stacks and ports have no need of s
        guides = [g for g in guides if g["id"] != "s"]
    names = {g["id"] for g in guides}
    ids = ["mid"] if stacks == 1 else ["left", "right"] if stacks == 2 else ["left", "mid", "right"]
    stack_list = []
    for i, name in enumerate(ids):
        first, last = i == 0, i == stacks - 1
        south = "s" if "s" in names else "sw"
        top = {
            "id": "top",
            "clockwise": {"guide": "nw" if first else "n", "x_mm": off(170 + 120 * i), "y_mm": 330},
            "counterclockwise": {"guide": "ne" if last else "n", "x_mm": off(110 + 120 * i), "y_mm": 330},
        }
        bottom = {
            "id": "bottom",
            "clockwise": {"guide": "se" if last else south, "x_mm": off(110 + 120 * i), "y_mm": 200},
            "counterclockwise": {"guide": "sw" if first else south, "x_mm": off(170 + 120 * i), "y_mm": 200},
        }
        own = copy.deepcopy(tray)
        if i and _chance(rng, 0.15):
            own |= {"id": f"tray-{name}", "fibres": max(2, own["fibres"] // 2), "inside_mm": own["inside_mm"] + 40}
        stack_list.append(
            {
                "id": name,
                "tray": own,
                "positions": max(1, positions - (1 if i and _chance(rng, 0.15) else 0)),
                "at_mm": [80 + 120 * i, 200],
                "base_z_mm": rng.choice([12, 12, 5, 30]),
                "pitch_mm": rng.choice([11, 11, 40]),
                "ends": [top, bottom][:ends] if _chance(rng, 0.8) else [bottom, top][:ends],
            }
        )
    port_list = []
    for p in list(PORTS)[:ports]:
        x, y, guide, turns = PORTS[p]
        seals = [{"holes": 1, "least_mm": 8, "most_mm": rng.choice([30, 30, 30, 30, 12])}]
        if _chance(rng, 0.95):
            seals.append(
                {"holes": rng.choice([2, 3, 4, 4]), "least_mm": rng.choice([5, 8]), "most_mm": rng.choice([18, 18, 14])}
            )
        if _chance(rng, 0.02):
            seals = []
        port_list.append(
            {
                "id": p,
                "x_mm": x,
                "y_mm": y,
                "guide": guide,
                "bore_mm": rng.choice([20, 30, 50]),
                "turns": turns if _chance(rng, 0.7) else rng.choice(["both", "clockwise", "counterclockwise"]),
                "seals": seals,
            }
        )
    return {
        "kind": "enclosure",
        "id": "box",
        "size_mm": [200 + 120 * stacks, 520, 160],
        "track": {
            "z_mm": rng.choice([[10, 10], [10, 40], [20, 30]]),
            "min_radius_mm": 80,
            "guides": guides,
        },
        "ports": port_list,
        "stacks": stack_list,
    }


def _random_joins(rng: random.Random, cables: dict[str, Json], shape: str) -> list[Json]:
    """Join pairs of trunks: runs in order, shuffled pieces, or only a part of the fibres."""
    names = list(cables)
    pairs = [(names[0], other) for other in names[1:]]
    if len(names) >= 3 and _chance(rng, 0.5):
        pairs = [(names[0], names[1]), (names[1], names[2]), (names[0], names[2])]
    if len(names) == 4:
        pairs = [*pairs[:2], (names[2], names[3])] if _chance(rng, 0.5) else [*pairs, (names[0], names[3])]
    pairs = list(dict.fromkeys(pairs))
    size = {t: sum(len(s) * (s[0][1] - s[0][0] + 1) for s in _fibres(cable)) for t, cable in cables.items()}
    width = {t: _fibres(cable)[0][0][1] for t, cable in cables.items()}
    unit = math.gcd(*width.values())
    share = {t: sum(t in pair for pair in pairs) for t in names}
    start = dict.fromkeys(names, 1)
    if shape == "partial" and _chance(rng, 0.5):
        start[rng.choice(names)] += rng.choice([1, unit])
    runs: list[tuple[str, int, str, int, int]] = []
    for a, b in pairs:
        room = min((size[t] - start[t] + 1) // max(1, share[t]) for t in (a, b))
        length = rng.randint(min(1, room), room) if shape == "partial" else room // unit * unit
        share[a] -= 1
        share[b] -= 1
        if length < 1:
            continue
        if shape == "shuffled" and length >= 2 * unit:
            piece = unit * max(1, math.ceil(length / unit / 4))
            cuts = [(i, min(piece, length - i)) for i in range(0, length, piece)]
            targets = [i for i, n in cuts if n == piece]
            rng.shuffle(targets)
            for i, n in cuts:
                shift = targets.pop() if n == piece else i
                runs.append((a, start[a] + i, b, start[b] + shift, n))
        else:
            runs.append((a, start[a], b, start[b], length))
        start[a] += length
        start[b] += length
    if not runs:
        runs = [(names[0], 1, names[1], 1, 1)]
    if _chance(rng, 0.3):
        rng.shuffle(runs)
    joins = []
    for j, (a, a1, b, b1, n) in enumerate(runs):
        sides = [f"{a}:{a1}-{a1 + n - 1}", f"{b}:{b1}-{b1 + n - 1}"]
        if _chance(rng, 0.2):
            sides.reverse()
        joins.append({"a": sides[0], "b": sides[1], "name": f"j{j}" if _chance(rng, 0.7) else str(j)})
    return joins


def _random_rules(rng: random.Random, share: float, asked: Sequence[str]) -> dict[str, Any]:
    """Draw levels, weights and parameters that differ from the defaults; ``share`` of the rules are touched.

    Every rule has a random stream of its own, by its id, so a rule more changes nothing that is drawn of the others. A rule
    whose case file says where it is drawn is left alone unless one of those knobs is asked for.
    """
    seed = rng.getrandbits(64)
    rules: dict[str, Any] = {}
    for rule, (kind, *_) in oracle.RULES.items():
        more = case_file(rule).more if rule in CASE_FILES else {}
        drawn = {"share": share, "level": 1.0} | more.get("drawn", {})
        own = random.Random(f"{seed}/{rule}")
        if kind == "always" or not set(drawn.get("where", asked)) & set(asked) or not _chance(own, drawn["share"]):
            continue
        long: Json = {}
        if _chance(own, drawn["level"]):
            long["level"] = own.choice(
                ["must", "prefer", "off"] if kind == "practice" else ["must", "must", "prefer", "off"]
            )
        if long.get("level") == "prefer" and _chance(own, 0.6):
            long["weight"] = own.choice([1, 2, 3, 5])
        for key, values in more.get("random", {}).items():
            if not long or _chance(own, 0.7):
                long[key] = own.choice(values)
        rules[rule] = long["level"] if list(long) == ["level"] and _chance(own, 0.7) else long
    return rules


def _random_pins(rng: random.Random, job: Json) -> list[Json]:
    """Pins of trunks, of legs with a spliced fibre and of legs that may be parked beside one.

    No two ask for different k of a subunit.
    """
    spliced: set[tuple[str, int]] = set()
    for join in job["joins"]:
        for t, first, last in (oracle.parse_run(join["a"]), oracle.parse_run(join["b"])):
            spliced |= {(t, f) for f in range(first, last + 1)}
    stacks = job["enclosure"]["stacks"]
    pins: list[Json] = []
    for _ in range(rng.choice([1, 1, 2])):
        trunk = rng.choice(job["trunks"])
        t = trunk["id"]
        if any(_pinned_trunk(pin) == t for pin in pins):
            continue
        if _chance(rng, 0.4):
            travel = rng.choice(oracle.TRAVELS) if trunk["travel"] == "either" else trunk["travel"]
            pins.append(
                {"trunk": t, "port": rng.choice(trunk["ports"]), "travel": travel, "loops": rng.choice(trunk["loops"])}
            )
            if _chance(rng, 0.5):
                pins[-1]["divide_at"] = rng.choice(trunk["divide_at"])
            if "ribbons" in trunk:
                pins[-1]["ribbons"] = rng.choice(trunk["ribbons"])
            continue
        ribbons = rng.choice(_fibres(trunk["cable"]))
        k = rng.choice(oracle.divisors(len(ribbons)))
        n = len(ribbons) // k
        legs = [(ribbons[i * n][0], ribbons[(i + 1) * n - 1][1]) for i in range(k)]
        used = {leg for leg in legs if any((t, f) in spliced for f in range(leg[0], leg[1] + 1))}
        if not used or "tray" not in trunk["divide_at"]:
            legs = [leg for leg in legs if leg in used]
        for first, last in rng.sample(legs, min(len(legs), rng.choice([1, 1, 2]))):
            stack = rng.choice(stacks)
            position = rng.randint(1, stack["positions"])
            pins.append({"leg": f"{t}:{first}-{last}", "stack": stack["id"], "position": position})
    for pin in pins:
        pin["built"] = _chance(rng, 0.35)
    return pins


def _pinned_trunk(pin: Json) -> str:
    return pin["trunk"] if "trunk" in pin else oracle.parse_run(pin["leg"])[0]


def _mix(rng: random.Random, stack: Json) -> None:
    """Let some positions of a stack carry trays of another kind: single-fibre ones, or of another size."""
    first = rng.randint(1, stack["positions"])
    last = rng.randint(first, stack["positions"])
    tray = copy.deepcopy(stack["tray"])
    tray |= {"id": "other", "inside_mm": tray["inside_mm"] + rng.choice([0, 40, -30])}
    tray |= rng.choice(
        [
            {"sleeve_fibres": 1, "sleeves": tray["fibres"]},
            {"sleeve_fibres": 1, "fibres": max(2, tray["fibres"] // 2), "sleeves": max(2, tray["fibres"] // 2)},
            {"fibres": 2 * tray["fibres"], "sleeves": 2 * tray["sleeves"], "entrance_legs": 8},
            {"min_radius_mm": 15, "entrance_legs": 2},
        ]
    )
    stack["trays"] = [{"positions": [first, last], "tray": tray}]
    if _chance(rng, 0.5):
        stack["trays"][0]["pitch_mm"] = rng.choice([15, 30])


def _random_ribbons(rng: random.Random, cable: Json) -> list[Any]:
    """Draw a trunk's list of what may be done with its ribbons."""
    own = {entry["ribbon_fibres"] for entry in cable["subunits"]}
    width = rng.choice([w for w in RIBBON_WIDTHS if {w} != own])
    lists: list[list[Any]] = [
        ["split"],
        [width],
        ["as_they_are", width],
        ["as_they_are", "split"],
        ["as_they_are", "split", width],
    ]
    return rng.choice([*lists, ["split", width]])


def random_job(
    rng: random.Random,
    *,
    trunks: int | None = None,
    ribbons: int | None = None,
    stacks: int | None = None,
    positions: int | None = None,
    ends: int | None = None,
    ports: int | None = None,
    loops: Sequence[Sequence[int]] = ((1,), (1,), (1, 2), (2,)),
    shape: str | None = None,
    rules: float = 0.12,
    pins: float = 0.3,
    apart: float = 0.25,
    at_port: float = 0.3,
    tight: float = 0.25,
    through: float = 0.0,
    ribbon_work: float = 0.0,
    mixed: float = 0.0,
    loose: float = 0.0,
) -> Json:
    """Draw a tiny valid job, resolved; about two in five cannot be placed whole. What is None is drawn.

    Parameters
    ----------
    rng : random.Random
        Source of all choices: equal states give equal jobs.
    trunks, ribbons, stacks, positions, ends, ports : int, optional
        Trunks (2 to 4), ribbons of the first trunk, stacks (1 to 3), positions and ends a stack, ports (1 to 3).
    loops : sequence of sequences of int
        Lists of loops that a trunk may have.
    shape : str, optional
        ``straight``, ``shuffled`` or ``partial`` joins.
    rules : float
        Share of rules with another level, weight or parameter.
    pins, apart : float
        Share of jobs with pins, and with joins that are to be apart. Built pins always leave a plan.
    at_port : float
        Share of trunks that may be divided at the port alone, as all must without a tube a subunit; of the others
        half may be divided at either.
    tight : float
        Share of jobs with scarce trays, guides or entrances.
    through : float
        Share of jobs in which one trunk goes through the box.
    mixed : float
        Share of stacks that carry trays of another kind on some positions.
    loose : float
        Share of trunks of loose tubes, beside those that are drawn anyway.
    ribbon_work : float
        Share of trunks that say what is done with their ribbons; above 0, trunks have ribbons of several widths, and
        sleeves are scarce.
    """
    trunks = trunks or rng.choice([2, 2, 2, 3, 3, 4])
    stacks = stacks or rng.choice([1, 2, 2, 2, 3])
    positions = positions or (rng.choice([2, 3]) if stacks == 1 else rng.choice([1, 2, 2, 2]))
    ports = ports or rng.choice([2, 2, 3])
    ends = ends or rng.choice([1, 1, 2])
    shape = shape or rng.choice(["straight", "shuffled", "shuffled", "partial"])
    size = ribbons or (rng.choice([2, 3, 4, 4, 6]) if trunks == 2 else rng.choice([2, 3, 4]))
    width = rng.choice([2, 4, 4, 12])
    narrow = width // 2 if _chance(rng, 0.1) else width

    names = ["P", "Q", "R", "S"][:trunks]
    cables = {}
    for i, t in enumerate(names):
        about = size if i == 0 else max(1, size if trunks == 2 else rng.randint(1, size))
        w = narrow if i else width
        if ribbon_work:
            w = rng.choice(RIBBON_WIDTHS)
            about = max(1, round(about * min(width, 6) / w))
            cables[t] = _random_cable(rng, f"cable-{t.lower()}", w, about)
            continue
        cables[t] = _random_cable(rng, f"cable-{t.lower()}", w, about * (width // w))
        if i and _chance(rng, 0.4):
            cables[t]["subunits"] = copy.deepcopy(cables["P"]["subunits"])
            w = width
        if cables[t]["construction"] in FLAT:
            cables[t]["ribbon_mm"] = [round(0.27 * w, 2), 0.36]
    if loose:
        for t in names:
            if _chance(rng, loose):
                cables[t].pop("ribbon_mm", None)
                cables[t] |= {"construction": "loose_tube", "coating_mm": 0.25}
    joins = _random_joins(rng, cables, shape)
    splices = sum(b - a + 1 for _, a, b in (oracle.parse_run(join["a"]) for join in joins))

    scarce = _chance(rng, tight)
    places = stacks * positions
    sleeve = rng.choice([width, width, 12])
    if ribbon_work:
        width, sleeve = 6, rng.choice([*RIBBON_WIDTHS, 12])
    want = math.ceil(splices / places * rng.choice([0.8, 1.0, 1.2, 1.5] if scarce else [1.2, 1.3, 1.5, 2.0, 3.0]))
    if shape == "partial" and _chance(rng, 0.5):
        # no room for more than a ribbon of splices: tubes are opened, and idle legs parked beside
        want = width
    elif not scarce:
        # room for the largest subunit, spliced or parked
        want = max(want, max(len(s) * (s[0][1] - s[0][0] + 1) for c in cables.values() for s in _fibres(c)))
    fibres = max(width, math.ceil(want / width) * width)
    inside = rng.choice([300, 250, 900])
    tray = {
        "kind": "tray",
        "id": "tray",
        "fibres": fibres,
        "sleeves": max(1, math.ceil(fibres / min(sleeve, width)) + rng.choice([-1, 0, 1] if scarce else [2, 4, 8])),
        "sleeve_fibres": sleeve,
        "entrance_legs": rng.choice([1, 2, 3] if scarce else [3, 4, 8]),
        "height_mm": 10,
        "size_mm": [110, 130],
        "inside_mm": inside,
        "min_radius_mm": 15 if _chance(rng, 0.03) else 30,
    }
    if ribbon_work:
        tray["sleeves"] = math.ceil(fibres / min(sleeve, 4)) + rng.choice([0, 0, 1, 2, 4])
    enclosure = _random_enclosure(rng, tray, stacks, positions, ends, ports)
    all_ports = [port["id"] for port in enclosure["ports"]]
    shares = {"ribbon_work": ribbon_work, "mixed": mixed, "loose": loose, "through": through}
    asked = ["", *(knob for knob, value in shares.items() if value)]

    trunk_list = []
    for i, t in enumerate(names):
        given: Json = {
            "ports": [all_ports[i % len(all_ports)]],
            "travel": rng.choice(["either", "either", "either", "clockwise", "counterclockwise"]),
            "loops": list(rng.choice(loops)),
            "transition_mm": rng.choice([0, 0, 150, -40]),
            "divide_at": ["port"] if _chance(rng, at_port) else rng.choice([["tray"], ["tray", "port"]]),
            "idle": rng.choice(["coiled", "coiled", "cut_back"]),
        }
        if not cables[t]["tubes"]:
            given["divide_at"] = ["port"]
        if _chance(rng, 0.35):
            given["ports"] = rng.sample(all_ports, 2) if len(all_ports) > 1 else all_ports
        if _chance(rng, 0.07):
            given["exposed_mm"] = rng.choice([2900, 3000, 3200, 3500, 3500, 4200, 4200])
        if ribbon_work and _chance(rng, ribbon_work):
            given["ribbons"] = _random_ribbons(rng, cables[t])
        trunk_list.append(_trunk(t, cables[t], **given))

    if scarce and _chance(rng, 0.5):
        # guides that just take, or just do not take, all tubes on the direct way
        load = sum(
            entry["count"] * math.pi * entry["diameter_mm"] ** 2 / 4 * (1 + min(trunk["loops"]))
            for trunk in trunk_list
            for entry in trunk["cable"]["subunits"]
        )
        for guide in enclosure["track"]["guides"]:
            guide["opening_mm2"] = math.ceil(2 * load * rng.choice([0.7, 0.85, 1.0, 1.2]))
    for guide in enclosure["track"]["guides"]:
        guide["width_mm"] = rng.choice([20, 60.5]) if _chance(rng, 0.1) else math.sqrt(guide["opening_mm2"])

    job: Json = {
        "schema": "trayopt/job/2",
        "title": "random job",
        "enclosure": enclosure,
        "tubes": {"kind": "tubes", "id": "set", "tubes": copy.deepcopy(rng.choice(TUBE_SETS))},
        "trunks": trunk_list,
        "joins": joins,
        "apart": [],
        "rules": _random_rules(rng, rules, asked),
        "pins": [],
    }
    if mixed:
        for stack in enclosure["stacks"]:
            if _chance(rng, mixed):
                _mix(rng, stack)
    if len(joins) >= 2 and _chance(rng, apart):
        chosen = rng.sample([join["name"] for join in joins], 3 if len(joins) > 2 and _chance(rng, 0.3) else 2)
        job["apart"] = [{"joins": chosen, "scope": rng.choice(["tray", "stack"])}]
    if through and _chance(rng, through):
        return _gone_through(rng, job)
    if _chance(rng, pins):
        job["pins"] = _random_pins(rng, job)
        if any(pin["built"] for pin in job["pins"]) and next(oracle.all_feasible(job), None) is None:
            for pin in job["pins"]:
                pin["built"] = False
    return job


def _gone_through(rng: random.Random, job: Json) -> Json:
    """Let one trunk of a job go through the box: each subunit is spliced on one side, and one more passes, or is cut."""
    trunk = rng.choice(job["trunks"])
    name, cable, ports = trunk["id"], trunk["cable"], [port["id"] for port in job["enclosure"]["ports"]]
    sides = {unit[0][0]: rng.choice(["in", "in", "out"]) for unit in _fibres(cable)}
    firsts = sorted(sides)
    for join in job["joins"]:
        for key in ("a", "b"):
            t, first, last = oracle.parse_run(join[key])
            if t == name:
                side = sides[max(f for f in firsts if f <= first)]
                join[key] = f"{name}.{side}:{first}-{last}"
    last = max(unit[-1][1] for unit in _fibres(cable))
    unit = copy.deepcopy(cable["subunits"][-1]) | {"count": 1}
    for _ in range(rng.choice([0, 1, 1, 2])):
        cable["subunits"].append(copy.deepcopy(unit))
    del trunk["idle"], trunk["ports"]
    trunk.pop("exposed_mm", None)
    trunk |= {"through": True, "ports": [rng.choice(ports), rng.choice([ports[-1], ports])]}
    if _chance(rng, 0.4):
        trunk["travel"] = [rng.choice(["clockwise", "either"]), rng.choice(["counterclockwise", "either"])]
    if _chance(rng, 0.3):
        trunk["toward"] = ["near", "far"]
        for join in job["joins"]:
            for key in ("a", "b"):
                join[key] = join[key].replace(f"{name}.in:", f"{name}.near:").replace(f"{name}.out:", f"{name}.far:")
    extra = len(_fibres(cable)) > len(firsts)
    if extra and _chance(rng, 0.3):
        trunk["cut"] = [len(firsts) + 1]
    elif extra and _chance(rng, 0.3):
        one, other = trunk.get("toward") or ("in", "out")
        run = f"{last + 1}-{last + unit['ribbon_fibres']}"
        job["joins"].append({"a": f"{name}.{one}:{run}", "b": f"{name}.{other}:{run}", "name": "straight through"})
    if _chance(rng, 0.5):
        trunk["slack_mm"] = rng.choice([4200, 5600, 6300, 7000, 9000])
    for port in job["enclosure"]["ports"]:
        for seal in port["seals"]:
            seal["holes"] += 1
            port["bore_mm"] += seal["least_mm"]
    return job


@st.composite
def jobs(draw: st.DrawFn, /, **knobs: Any) -> Json:
    """Jobs of :func:`random_job`; what hypothesis shrinks is the size of the job, then its seed.

    Parameters
    ----------
    draw : callable
        Given by hypothesis.
    **knobs
        Knobs of :func:`random_job` that are held.
    """
    free: Json = {
        "trunks": st.sampled_from([2, 3, 4]),
        "ribbons": st.sampled_from([1, 2, 3, 4]),
        "stacks": st.sampled_from([1, 2, 3]),
        "positions": st.sampled_from([1, 2]),
        "ends": st.sampled_from([1, 2]),
        "ports": st.sampled_from([2, 3]),
        "shape": st.sampled_from(["straight", "partial", "shuffled"]),
        "pins": st.sampled_from([0.0, 1.0]),
        "apart": st.sampled_from([0.0, 1.0]),
    }
    drawn = {knob: draw(values) for knob, values in free.items() if knob not in knobs}
    return random_job(random.Random(draw(st.integers(0, 2**32 - 1))), **(drawn | knobs))
