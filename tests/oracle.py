"""Brute-force oracle: the figures, rules and goals of a job, and its best plan, by plain enumeration.

Written from the specification alone; it shares no code with the package and never imports it, so that the two can be
compared. It works on a *resolved job*: the dict of a job file in which every reference is replaced by the object
itself (``job["enclosure"]["stacks"][i]["tray"]``, ``job["trunks"][i]["cable"]``, ``job["tubes"]``). Missing optional
keys are read as their defaults.

Four entry points:

* :func:`judge`: goals, broken rules, feasibility and figures of one decision;
* :func:`solve`: the best goal vector of a tiny job, one best decision and, on request, all of them;
* :func:`all_feasible`: every decision that keeps all always rules, built pins and physical rules at must;
* :func:`decision_of_plan`: the decision that a plan in JSON stands for.

Two voices live here too: :class:`Plan` states each rule word by word, one method a rule, and is slow; the search
prunes with quicker sums of its own and has its answer judged by :class:`Plan` before it is handed out.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from operator import gt
from typing import TYPE_CHECKING, Any, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping

Json = dict[str, Any]
Leg = tuple[str, int, int]  # trunk, subunit from 1, group from 1
Place = tuple[str, int]  # stack, position from 1
Option = tuple[str, str, int]  # port, travel, loops
Traveller = tuple[Leg, ...]  # an own tube with all its placed legs, or the one leg in a tube of the set
Goals = tuple[int, int, int, int, int, int, int, int]
Broken = tuple[str, str, str]  # rule, level, subject

GOALS = ("unplaced", "broken_must", "broken_prefer", "legs", "trays", "crossings", "leg_length_mm", "irregular")
GOAL_ORDER = ("legs", "trays", "crossings", "leg_length_mm")
TRAVELS = ("clockwise", "counterclockwise")
DIVISIONS = ("tray", "port")
TUBELESS = ("slotted_core", "partly_bonded_ribbon")  # constructions without a tube a subunit, unless the cable says so
FLAT = ("ribbon", "central_tube", "slotted_core")
FIBRE_RADIUS_MM = {"G.652.D": 30.0, "G.657.A1": 10.0, "G.657.A2": 7.5, "G.657.B2": 7.5, "G.657.B3": 5.0}
EPS = 1e-9

# rule -> kind, default level, default weight, default parameters; in the order of the table of section 5, with what
# section 11 adds; the default of allowance_mm follows from the box
RULES: dict[str, tuple[str, str, int, dict[str, Any]]] = {
    "whole legs": ("always", "always", 1, {}),
    "equal groups": ("always", "always", 1, {}),
    "own limits": ("always", "always", 1, {}),
    "one end": ("always", "always", 1, {}),
    "divided at the tray": ("always", "always", 1, {}),
    "opened tube": ("always", "always", 1, {}),
    "leg tube": ("always", "always", 1, {}),
    "uncut tube": ("always", "always", 1, {}),
    "tray_fibres": ("physical", "must", 1, {}),
    "tray_sleeves": ("physical", "must", 1, {}),
    "entrance_legs": ("physical", "must", 1, {}),
    "guide_fill": ("physical", "must", 1, {"fill": 0.5}),
    "bend_radius": ("physical", "must", 1, {}),
    "fibre_bend": ("physical", "must", 1, {}),
    "reach": ("physical", "must", 1, {"bench_mm": 2000}),
    "exposed": (
        "physical",
        "must",
        1,
        {"resplice_mm": 120, "allowance_mm": None, "least_mm": 3000, "extra_loop_mm": 1000},
    ),
    "sheath_window": ("physical", "must", 1, {}),
    "port_seal": ("physical", "must", 1, {}),
    "no_empty_below": ("practice", "must", 1, {}),
    "slack_loops": ("practice", "must", 1, {"least": 1, "most": 2}),
    "apart": ("practice", "must", 1, {}),
    "pin": ("practice", "must", 1, {}),
    "opposite_travel": ("practice", "prefer", 3, {}),
    "subunit_together": ("practice", "prefer", 2, {}),
    "alternate_stacks": ("practice", "prefer", 1, {}),
    "natural_travel": ("practice", "prefer", 1, {}),
    "same_division": ("practice", "prefer", 1, {}),
    "tray_pair": ("practice", "prefer", 1, {}),
    "tied_trays": ("practice", "prefer", 1, {"trays": 2}),
    "breakout": ("practice", "prefer", 1, {}),
    "ribbon_work": ("practice", "prefer", 1, {}),
    "re_ribbonised": ("practice", "prefer", 1, {}),
    "separated_ribbons": ("practice", "prefer", 1, {}),
    "ribbonised_fibres": ("practice", "off", 1, {}),
    "reserve": ("practice", "off", 1, {"trays": 1}),
    "port_fill": ("practice", "off", 1, {"one": 0.53, "two": 0.31, "more": 0.40}),
}

# rules that need port, travel, loops and ends; what trunk pins in the box ask is counted there
WAY_RULES = (
    "own limits",
    "one end",
    "entrance_legs",
    "guide_fill",
    "reach",
    "exposed",
    "sheath_window",
    "port_seal",
    "slack_loops",
    "opposite_travel",
    "natural_travel",
    "port_fill",
)
# a rule that the tests register as long as they need it; it stands in RULES then
EXAMPLE: dict[str, tuple[str, str, int, dict[str, Any]]] = {"stack_trunks": ("practice", "off", 1, {"trunks": 2})}


def place_rules() -> list[str]:
    """Name the other rules; that groups of legs stay together the search sees to itself."""
    return [rule for rule in RULES if rule not in (*WAY_RULES, "whole legs", "equal groups")]


PINNED = ("stack", "position", "port", "travel", "loops", "divide_at", "ribbons")  # what a pin may want


class Rule(NamedTuple):
    """A rule as this job has it."""

    kind: str
    level: str
    weight: int
    params: dict[str, Any]


class Subunit(NamedTuple):
    """A subunit of a trunk: its fibres, ribbons and tube."""

    first: int
    last: int
    ribbons: int
    ribbon_fibres: int
    diameter_mm: float
    least_radius_mm: float


class Splice(NamedTuple):
    """One fibre pair of a join, in the order in which the job lists its joins."""

    a: str
    a_fibre: int
    b: str
    b_fibre: int
    join: int


class Pin(NamedTuple):
    """A pin, read: of a trunk (``subunit`` 0) or of the leg ``subunit``.``group`` of ``k``."""

    subject: str
    trunk: str
    subunit: int
    group: int
    k: int
    want: dict[str, Any]
    built: bool


class Through(NamedTuple):
    """A trunk that goes through the box: its two cable ends, the slack of its cable, and the subunits it has cut by name."""

    trunk: str
    ends: tuple[str, str]
    slack_mm: int | None
    cut: frozenset[int]


class Judgement(NamedTuple):
    """What :func:`judge` says of one decision."""

    goals: Goals
    broken: list[Broken]
    feasible: bool
    figures: Json


@dataclass(frozen=True)
class Decision:
    """One way to build a job.

    Attributes
    ----------
    trunks : dict
        (port, travel, loops) of every trunk in the box; None, or no entry, for a trunk outside.
    k : dict
        Per trunk, in how many legs each of its subunits is divided.
    legs : dict
        (stack, position) of every placed leg (trunk, subunit, group); None, or no entry, for a leg without a tray.
    ends : dict
        The end used on each used stack.
    divide_at : dict
        Where each trunk in the box is divided, "tray" or "port". A trunk in the box without an entry is divided at
        the first of its own list, and one of which no placed leg has k > 1 at the tray, if its list has it.
    ribbons : dict
        What is done with the ribbons of each trunk in the box; the least work of its own list without an entry.
    """

    trunks: Mapping[str, Option | None]
    k: Mapping[str, tuple[int, ...]]
    legs: Mapping[Leg, Place | None]
    ends: Mapping[str, str | None]
    divide_at: Mapping[str, str | None] = field(default_factory=dict)
    ribbons: Mapping[str, str | int] = field(default_factory=dict)

    @cached_property
    def key(self) -> tuple[Any, ...]:
        """Hashable form; equal for decisions within the trunks' own limits that a plan cannot tell apart.

        Where a trunk is divided stands in it only for trunks of which a placed leg has k > 1.
        """
        placed = tuple(sorted((leg, place) for leg, place in self.legs.items() if place))
        held = {(trunk, subunit) for (trunk, subunit, _), _ in placed}
        k = tuple(
            (trunk, tuple(n if (trunk, i) in held else 1 for i, n in enumerate(ks, 1)))
            for trunk, ks in sorted(self.k.items())
        )
        used = {place[0] for _, place in placed}
        divided = {t for t, ks in k if any(n > 1 for n in ks)}
        return (
            tuple(sorted((t, o) for t, o in self.trunks.items() if o)),
            k,
            placed,
            tuple(sorted((s, e) for s, e in self.ends.items() if e and s in used)),
            tuple(sorted((t, at) for t, at in self.divide_at.items() if at and t in divided)),
            tuple(sorted((t, str(word)) for t, word in self.ribbons.items() if self.trunks.get(t))),
        )


@dataclass(frozen=True)
class Best:
    """The answer of :func:`solve`."""

    goals: Goals
    decision: Decision
    optimal: list[Decision] = field(default_factory=list)


def distance_mm(a: Mapping[str, Any], b: Mapping[str, Any]) -> int:
    """Straight piece between two points of the x, y plane, rounded up to a whole millimetre."""
    square = (int(a["x_mm"]) - int(b["x_mm"])) ** 2 + (int(a["y_mm"]) - int(b["y_mm"])) ** 2
    root = math.isqrt(square)
    return root if root * root == square else root + 1


def parse_run(text: str) -> tuple[str, int, int]:
    """``"N1:1-48"`` as trunk, first and last fibre."""
    trunk, _, span = text.rpartition(":")
    first, _, last = span.partition("-")
    return trunk, int(first), int(last or first)


def write_run(trunk: str, first: int, last: int) -> str:
    """Trunk, first and last fibre as ``"N1:1-48"``."""
    return f"{trunk}:{first}-{last}"


def divisors(n: int) -> list[int]:
    """All k that divide n, rising."""
    return [k for k in range(1, n + 1) if n % k == 0]


def _runs(numbers: Iterable[int]) -> Iterator[tuple[int, int]]:
    """Longest runs of consecutive numbers."""
    run: list[int] = []
    for n in sorted(numbers):
        if run and n != run[-1] + 1:
            yield run[0], run[-1]
            run = []
        run.append(n)
    if run:
        yield run[0], run[-1]


def by_side(key: str, value: Any, side: int) -> Any:
    """Return what a trunk that goes through says of one side: a list of two says it of each, anything else of both."""
    pair = isinstance(value, list | tuple) and len(value) == 2
    if key in ("loops", "divide_at"):
        pair = pair and all(isinstance(item, list | tuple) for item in value)
    if not pair or key not in ("ports", "travel", "loops", "transition_mm", "divide_at"):
        return value
    one = value[side]
    return [one] if key == "ports" and isinstance(one, str) and one != "any" else one


def ends_of(job: Json) -> tuple[list[Json], list[Through]]:
    """Return the trunks of a job, one that goes through as two cable ends, and which these are."""
    trunks, through = [], []
    for trunk in job["trunks"]:
        if not trunk.get("through"):
            trunks.append(trunk)
            continue
        one, other = trunk.get("toward") or ("in", "out")
        ends = (f"{trunk['id']}.{one}", f"{trunk['id']}.{other}")
        own = {k: v for k, v in trunk.items() if k not in ("through", "toward", "cut", "slack_mm")}
        trunks += [{k: by_side(k, v, side) for k, v in own.items()} | {"id": end} for side, end in enumerate(ends)]
        through.append(Through(trunk["id"], ends, trunk.get("slack_mm"), frozenset(trunk.get("cut") or ())))
    return trunks, through


class Facts:
    """A resolved job, read: everything that does not depend on a decision."""

    def __init__(self, job: Json) -> None:
        trunks, self.through = ends_of(job)
        self.job = job = job | {"trunks": trunks}
        self.other_end = {t: u for item in self.through for t, u in (item.ends, item.ends[::-1])}
        enclosure = job["enclosure"]
        track = enclosure["track"]
        self.band: tuple[int, int] = (track["z_mm"][0], track["z_mm"][1])
        self.track_radius_mm: float = track["min_radius_mm"]
        self.guides: list[Json] = track["guides"]
        self.guide_index = {guide["id"]: i for i, guide in enumerate(self.guides)}
        n = len(self.guides)
        self.hops = [distance_mm(self.guides[i], self.guides[(i + 1) % n]) for i in range(n)]
        self.ring_mm = sum(self.hops)
        self.ports: dict[str, Json] = {port["id"]: port for port in enclosure["ports"]}
        self.stacks: dict[str, Json] = {stack["id"]: stack for stack in enclosure["stacks"]}
        self._trays: dict[Place, Json] = {}  # remembered
        self.ends: dict[str, dict[str, Json]] = {
            s: {end["id"]: end for end in stack["ends"]} for s, stack in self.stacks.items()
        }
        deepest = max(stack["positions"] for stack in self.stacks.values())
        self.places: list[Place] = [
            (s, position)
            for position in range(1, deepest + 1)
            for s, stack in self.stacks.items()
            if position <= stack["positions"]
        ]
        self.place_order = {place: i for i, place in enumerate(self.places)}
        self.tubes: list[Json] = sorted(
            job["tubes"]["tubes"], key=lambda t: (t["diameter_mm"], t["bore_mm"], self._radius(t))
        )
        self.trunks: dict[str, Json] = {trunk["id"]: trunk for trunk in job["trunks"]}
        self.trunk_order = {t: i for i, t in enumerate(self.trunks)}
        self.subunits: dict[str, list[Subunit]] = {}
        self.ribbon: dict[tuple[str, int], int] = {}
        self.subunit_of: dict[tuple[str, int], int] = {}
        for t, trunk in self.trunks.items():
            self._read_cable(t, trunk["cable"])
        self._read_joins()
        self.uncut: dict[str, set[int]] = {t: set() for t in self.trunks}  # subunits that pass uncut
        for item in self.through:
            cut = item.cut | {self.subunit_of[x] for x in self.partner if x[0] in item.ends}
            for t in item.ends:
                self.uncut[t] = set(range(1, len(self.subunits[t]) + 1)) - cut
        self.width_mm = max(self._width(guide) for guide in self.guides)
        self.rules = {name: self._rule(name) for name in RULES}
        self.pins = [self._pin(pin) for pin in job.get("pins") or []]
        self.apart = [
            (a, b, entry.get("scope", "tray"))
            for entry in job.get("apart") or []
            for a, b in itertools.combinations([str(name) for name in entry["joins"]], 2)
        ]
        self._tube_memo: dict[tuple[str, int, int], Json | None] = {}

    @staticmethod
    def _width(guide: Mapping[str, Any]) -> float:
        width = guide.get("width_mm")
        return math.sqrt(guide["opening_mm2"]) if width is None else float(width)

    @staticmethod
    def _radius(tube: Mapping[str, Any]) -> float:
        radius = tube.get("least_radius_mm")
        return float(10 * tube["diameter_mm"] if radius is None else radius)

    def _read_cable(self, t: str, cable: Json) -> None:
        self.subunits[t] = []
        fibre = ribbon = 0
        for entry in cable["subunits"]:
            for _ in range(entry.get("count", 1)):
                size = entry["ribbons"] * entry["ribbon_fibres"]
                self.subunits[t].append(
                    Subunit(
                        fibre + 1,
                        fibre + size,
                        entry["ribbons"],
                        entry["ribbon_fibres"],
                        entry["diameter_mm"],
                        self._radius(entry),
                    )
                )
                for i in range(size):
                    self.ribbon[t, fibre + 1 + i] = ribbon + i // entry["ribbon_fibres"]
                    self.subunit_of[t, fibre + 1 + i] = len(self.subunits[t])
                fibre += size
                ribbon += entry["ribbons"]

    def _read_joins(self) -> None:
        self.join_names: list[str] = []
        self.splices: list[Splice] = []
        self.partner: dict[tuple[str, int], tuple[str, int]] = {}
        self.joined: set[tuple[str, str]] = set()
        side: dict[str, str] = {}
        for j, join in enumerate(self.job["joins"]):
            name = join.get("name")
            self.join_names.append(str(j) if name is None else str(name))
            a, a_first, a_last = parse_run(join["a"])
            b, b_first, b_last = parse_run(join["b"])
            if a_last - a_first != b_last - b_first or a == b:
                raise ValueError(f"join {self.join_names[-1]}: {join['a']} does not fit {join['b']}")
            side.setdefault(a, "a")
            side.setdefault(b, "b")
            self.joined.add(self.pair(a, b))
            for i in range(a_last - a_first + 1):
                x, y = (a, a_first + i), (b, b_first + i)
                if x in self.partner or y in self.partner or x not in self.ribbon or y not in self.ribbon:
                    raise ValueError(f"join {self.join_names[-1]}: {x} or {y} is spliced twice or does not exist")
                self.partner[x], self.partner[y] = y, x
                self.splices.append(Splice(*x, *y, j))
        self.leads = [t for t in self.trunks if side.get(t) == "a"]
        self.spliced: dict[str, list[bool]] = {
            t: [any((t, f) in self.partner for f in range(s.first, s.last + 1)) for s in subunits]
            for t, subunits in self.subunits.items()
        }

    def _rule(self, name: str) -> Rule:
        kind, level, weight, params = RULES[name]
        given = (self.job.get("rules") or {}).get(name, {})
        if isinstance(given, str):
            given = {"level": given}
        rest = {key: value for key, value in given.items() if key not in ("level", "weight") and value is not None}
        if unknown := set(rest) - set(params):
            raise ValueError(f"rule {name} has no {sorted(unknown)}")
        chosen = given.get("weight")
        merged = params | rest
        if name == "exposed" and merged["allowance_mm"] is None:
            # a turn at the outer edge of the widest guide instead of its middle
            merged["allowance_mm"] = math.ceil(math.pi * self.width_mm)
        return Rule(kind, given.get("level") or level, weight if chosen is None else chosen, merged)

    def _pin(self, pin: Json) -> Pin:
        built = bool(pin.get("built", False))
        want = {k: pin[k] for k in PINNED if pin.get(k) is not None}
        if pin.get("trunk") is not None:
            return Pin(pin["trunk"], pin["trunk"], 0, 0, 0, want, built)
        t, first, last = parse_run(pin["leg"])
        s = self.subunit_of[t, first]
        subunit = self.subunits[t][s - 1]
        size = last - first + 1
        whole = subunit.last - subunit.first + 1
        k = whole // size
        if whole % size or subunit.ribbons % k or (first - subunit.first) % size:
            raise ValueError(f"pin {pin['leg']} can be no leg")
        return Pin(pin["leg"], t, s, (first - subunit.first) // size + 1, k, want, built)

    def pair(self, a: str, b: str) -> tuple[str, str]:
        """Two trunks in the order of the trunk list."""
        return (a, b) if self.trunk_order[a] < self.trunk_order[b] else (b, a)

    def own_ports(self, t: str) -> list[str]:
        """Ports that the trunk's own limits leave."""
        ports = self.trunks[t].get("ports")
        return list(self.ports) if ports is None or ports == "any" else list(ports)

    def own_travel(self, t: str) -> list[str]:
        """Directions that the trunk's own limits leave."""
        travel = self.trunks[t].get("travel") or "either"
        return list(TRAVELS) if travel == "either" else [travel]

    def own_loops(self, t: str) -> list[int]:
        """Numbers of loops that the trunk's own limits leave."""
        loops = self.trunks[t].get("loops")
        return [1, 2] if loops is None else list(loops)

    def has_tubes(self, t: str) -> bool:
        """Whether each subunit of the trunk's cable has a tube of its own."""
        cable = self.trunks[t]["cable"]
        given = cable.get("tubes")
        return cable["construction"] not in TUBELESS if given is None else bool(given)

    def divisions(self, t: str) -> list[str]:
        """Where the trunk may be divided, "tray" before "port"."""
        given = self.trunks[t].get("divide_at")
        if given is None:
            return list(DIVISIONS) if self.has_tubes(t) else ["port"]
        return [at for at in DIVISIONS if at in ([given] if isinstance(given, str) else given)]

    @property
    def ribbons_said(self) -> list[str]:
        """Trunks that do not ask for ribbons as they are alone; a plan says of these what is done."""
        return [t for t in self.trunks if self.ribbon_words(t) != ["as_they_are"]]

    def ribbon_words(self, t: str) -> list[str | int]:
        """Name what may be done with the trunk's ribbons, the least work first."""
        given = self.trunks[t].get("ribbons", "as_they_are")
        words = [given] if isinstance(given, str | int) else list(given)
        return [*(w for w in ("as_they_are", "split") if w in words), *sorted(w for w in words if isinstance(w, int))]

    def own_tube(self, t: str, k: int, at: str) -> bool:
        """Whether the subunit's own tube travels for the legs of a subunit in k, the trunk divided there."""
        return self.has_tubes(t) and (k == 1 or at == "tray")

    def coiled(self, t: str) -> bool:
        """Whether what the trunk does not place is coiled on the track."""
        return bool((self.trunks[t].get("idle") or "coiled") == "coiled")

    def transition_mm(self, t: str) -> int:
        """How far outside the port the trunk's jacket ends."""
        return int(self.trunks[t].get("transition_mm") or 0)

    def leg_fibres(self, leg: Leg, k: int) -> tuple[int, int]:
        """First and last fibre of a leg."""
        t, s, g = leg
        subunit = self.subunits[t][s - 1]
        size = subunit.ribbons // k * subunit.ribbon_fibres
        return subunit.first + (g - 1) * size, subunit.first + g * size - 1

    def leg_tube(self, t: str, s: int, k: int) -> Json | None:
        """Tube of the set in which a leg of a subunit in k travels if it needs one; None if none holds it."""
        if (t, s, k) not in self._tube_memo:
            cable = self.trunks[t]["cable"]
            subunit = self.subunits[t][s - 1]
            ribbons = subunit.ribbons // k
            if cable["construction"] in FLAT:
                width, height = cable["ribbon_mm"]
                need = math.sqrt((ribbons * height) ** 2 + width**2)
            else:
                coating = cable.get("coating_mm")
                need = (0.25 if coating is None else coating) * math.sqrt(ribbons * subunit.ribbon_fibres / 0.6)
            self._tube_memo[t, s, k] = next((tube for tube in self.tubes if tube["bore_mm"] >= need - EPS), None)
        return self._tube_memo[t, s, k]

    def traveller(self, t: str, s: int, k: int, at: str) -> tuple[float, float] | None:
        """Diameter and least radius of what travels round the track for a leg; None if no tube holds it."""
        if self.own_tube(t, k, at):
            subunit = self.subunits[t][s - 1]
            return subunit.diameter_mm, subunit.least_radius_mm
        tube = self.leg_tube(t, s, k)
        return None if tube is None else (tube["diameter_mm"], self._radius(tube))

    def direct_way(self, option: Option, stack: str, end: str) -> tuple[list[int], int]:
        """Guides on the direct way from the port to the entrance, and the length of the hops between them."""
        port, travel, _ = option
        here = self.guide_index[self.ports[port]["guide"]]
        there = self.guide_index[self.ends[stack][end][travel]["guide"]]
        way, length = [here], 0
        while here != there:
            if travel == "clockwise":
                length += self.hops[here]
                here = (here + 1) % len(self.guides)
            else:
                here = (here - 1) % len(self.guides)
                length += self.hops[here]
            way.append(here)
        return way, length

    def base_mm(self, option: Option, stack: str, end: str) -> int:
        """Route to a stack without the distance from the band: the same for all its positions."""
        port, travel, loops = option
        at = self.ports[port]
        entrance = self.ends[stack][end][travel]
        return (
            distance_mm(at, self.guides[self.guide_index[at["guide"]]])
            + self.direct_way(option, stack, end)[1]
            + loops * self.ring_mm
            + distance_mm(self.guides[self.guide_index[entrance["guide"]]], entrance)
            + int(self.stacks[stack]["tray"]["inside_mm"])
        )

    def tray(self, place: Place) -> Json:
        """Kind of tray at a place: that of the stack, unless a range of positions carries another one."""
        if place not in self._trays:
            self._trays[place] = self._range(*place).get("tray") or self.stacks[place[0]]["tray"]
        return self._trays[place]

    def _range(self, s: str, position: int) -> Json:
        ranges = self.stacks[s].get("trays") or []
        return next((r for r in ranges if r["positions"][0] <= position <= r["positions"][1]), {})

    @property
    def mixed(self) -> bool:
        """Whether a stack carries trays of several kinds."""
        return any(stack.get("trays") for stack in self.stacks.values())

    def loose(self, t: str) -> bool:
        """Whether the fibres of a trunk come one by one: in loose tubes, or in ribbons of one."""
        cable = self.trunks[t]["cable"]
        return cable["construction"] == "loose_tube" or all(entry["ribbon_fibres"] == 1 for entry in cable["subunits"])

    def more_inside_mm(self, place: Place) -> int:
        """How much longer a leg is inside the tray of a place than in the stack's own kind."""
        return int(self.tray(place)["inside_mm"]) - int(self.stacks[place[0]]["tray"]["inside_mm"])

    def rise_mm(self, place: Place) -> int:
        """Distance of a place from the band in which the track carries legs."""
        stack = self.stacks[place[0]]
        steps = [self._range(place[0], p).get("pitch_mm") for p in range(1, place[1])]
        z = int(stack["base_z_mm"]) + sum(int(stack["pitch_mm"]) if step is None else int(step) for step in steps)
        low, high = self.band
        return max(low - z, z - high, 0)

    def cut_mm(self, t: str, loops: int, route: int) -> int:
        """Length to which a leg is cut."""
        p = self.rules["exposed"].params
        exact = self.transition_mm(t) + route + p["resplice_mm"] + p["allowance_mm"] * (1 + loops)
        return int(50 * math.ceil(exact / 50))

    def strip_mm(self, loops: int, cuts: Iterable[int]) -> int:
        """Length over which a trunk is stripped."""
        p = self.rules["exposed"].params
        return int(max(p["least_mm"] + p["extra_loop_mm"] * (loops - 1), *cuts))

    def spur_mm(self, port: str) -> int:
        """Length from a port to its guide."""
        at = self.ports[port]
        return distance_mm(at, self.guides[self.guide_index[at["guide"]]])

    def capped_mm(self, t: str, option: Option) -> int:
        """Length of the capped end of a cut tube, stored in the loops of its side."""
        port, _, loops = option
        allowance = self.rules["exposed"].params["allowance_mm"]
        exact = self.transition_mm(t) + self.spur_mm(port) + loops * (self.ring_mm + allowance)
        return int(50 * math.ceil(exact / 50))

    def passage(self, item: Through, enters: Option, leaves: Option) -> tuple[list[int], int]:
        """Guides and length of the direct way from port to port, spurs and both transitions among it."""
        here, there = (self.guide_index[self.ports[option[0]]["guide"]] for option in (enters, leaves))
        way, length = [here], sum(self.transition_mm(t) for t in item.ends)
        while here != there:
            step = 1 if enters[1] == "clockwise" else -1
            length += self.hops[here if step == 1 else (here - 1) % len(self.guides)]
            here = (here + step) % len(self.guides)
            way.append(here)
        return way, length + self.spur_mm(enters[0]) + self.spur_mm(leaves[0])

    def window(
        self, item: Through, options: Sequence[Option], cuts: Mapping[tuple[str, int], int]
    ) -> tuple[int, int, list[int]]:
        """Length of a window, loops of what is uncut, and its direct way; ``cuts`` are longest cuts by end and subunit.

        Both ends of each cut tube come out of the window, and the uncut tubes, which fill it, make the fewest loops with
        which it is as long as that.
        """
        need = 0
        for s in range(1, len(self.subunits[item.ends[0]]) + 1):
            if s not in self.uncut[item.ends[0]]:
                need = max(
                    need,
                    sum(cuts.get((t, s), self.capped_mm(t, o)) for t, o in zip(item.ends, options, strict=True)),
                )
        way, direct = self.passage(item, *options)
        if not self.uncut[item.ends[0]]:
            return need, 0, way
        allowance = self.rules["exposed"].params["allowance_mm"]
        for loops in itertools.count():
            length = int(50 * math.ceil((direct + loops * self.ring_mm + allowance * (1 + loops)) / 50))
            if length >= need:
                return length, loops, way
        raise AssertionError

    def port_takes(self, port: str, trunks: Sequence[str]) -> bool:
        """Whether one seal of the port takes all these trunks, and they pass its bore together.

        The two thickest side by side are no wider than the bore, nor is one alone, and no more than its square is
        filled with squares.
        """
        sizes = sorted((self.trunks[t]["cable"]["diameter_mm"] for t in trunks), reverse=True)
        bore = self.ports[port]["bore_mm"]
        if sum(sizes[:2]) > bore + EPS or sum(size * size for size in sizes) > bore * bore + EPS:
            return False
        return any(
            seal["holes"] >= len(trunks)
            and all(
                seal["least_mm"] - EPS <= self.trunks[t]["cable"]["diameter_mm"] <= seal["most_mm"] + EPS
                for t in trunks
            )
            for seal in self.ports[port].get("seals") or []
        )

    def port_full(self, port: str, trunks: Sequence[str]) -> bool:
        """Whether these trunks fill the port above the guideline for conduits."""
        p = self.rules["port_fill"].params
        fill = p["one"] if len(trunks) == 1 else p["two"] if len(trunks) == 2 else p["more"]
        area = sum(self.trunks[t]["cable"]["diameter_mm"] ** 2 for t in trunks)
        return bool(area > fill * self.ports[port]["bore_mm"] ** 2 + EPS)

    def cost(self, rule: str) -> tuple[int, int]:
        """Return what one broken subject of a rule adds to broken_must and broken_prefer."""
        level = self.rules[rule].level
        return (1, 0) if level == "must" else (0, self.rules[rule].weight) if level == "prefer" else (0, 0)

    def hard(self, rule: str) -> bool:
        """Whether no plan breaks the rule."""
        kind, level, *_ = self.rules[rule]
        return kind == "always" or (kind == "physical" and level == "must")


class Plan:
    """A decision laid out, with one method for each rule that names the broken subjects."""

    def __init__(self, facts: Facts, decision: Decision, *, ways: bool = True) -> None:
        self.facts = facts
        self.decision = decision
        self.ways = ways  # False in the search, while options and ends are open: rules on them cannot be asked
        self.k = {t: tuple(decision.k.get(t, (1,) * len(subunits))) for t, subunits in facts.subunits.items()}
        self.uneven = [
            f"{t}/{s}"
            for t, subunits in facts.subunits.items()
            for s, (subunit, k) in enumerate(zip(subunits, self.k[t], strict=True), 1)
            if k < 1 or subunit.ribbons % k
        ]
        if self.uneven:
            raise ValueError(f"not divided into equal groups of whole ribbons: {self.uneven}")
        self.fibres: dict[Leg, tuple[int, int]] = {}
        self.leg_of: dict[tuple[str, int], Leg] = {}
        for t, subunits in facts.subunits.items():
            for s in range(1, len(subunits) + 1):
                for g in range(1, self.k[t][s - 1] + 1):
                    leg = (t, s, g)
                    self.fibres[leg] = first, last = facts.leg_fibres(leg, self.k[t][s - 1])
                    for f in range(first, last + 1):
                        self.leg_of[t, f] = leg
        for leg, place in decision.legs.items():
            if place and (leg not in self.fibres or place not in facts.place_order):
                raise ValueError(f"{leg} in {place}: no such leg or place")
        # in the order of the trunk list, then subunit, then group
        self.placed: dict[Leg, Place] = {leg: at for leg in self.fibres if (at := decision.legs.get(leg)) is not None}
        inside = {leg[0] for leg in self.placed}
        self.box = [t for t in facts.trunks if {t, facts.other_end.get(t)} & inside]
        self.used = sorted(set(self.placed.values()), key=facts.place_order.__getitem__)
        self.splices_of: dict[Leg, list[Splice]] = {leg: [] for leg in self.fibres}
        self.in_tray: dict[Place, list[Splice]] = {place: [] for place in self.used}
        self.loose: list[Splice] = []
        for splice in facts.splices:
            a, b = self.leg_of[splice.a, splice.a_fibre], self.leg_of[splice.b, splice.b_fibre]
            self.splices_of[a].append(splice)
            self.splices_of[b].append(splice)
            at = self.placed.get(a)
            if at is not None and at == self.placed.get(b):
                self.in_tray[at].append(splice)
            else:
                self.loose.append(splice)
        if unknown := [at for at in decision.divide_at.values() if at not in (None, *DIVISIONS)]:
            raise ValueError(f"a trunk is divided at the tray or at the port, not at {unknown}")
        self.divide_at = {t: self._divided(t) for t in self.box}
        self.ribbons = {t: decision.ribbons.get(t, facts.ribbon_words(t)[0]) for t in self.box}
        if idle := [leg for leg in self.placed if not self.splices_of[leg] and not self.opened(leg[0], leg[1])]:
            raise ValueError(f"idle legs that are not parked go to no tray: {idle}")

    # -- words ---------------------------------------------------------------------------------------------------

    def _divided(self, t: str) -> str:
        """Where a trunk in the box is divided, as its plan says it."""
        own = self.facts.divisions(t)
        if "tray" in own and all(self.k[t][leg[1] - 1] == 1 for leg in self.placed if leg[0] == t):
            return "tray"
        return self.decision.divide_at.get(t) or own[0]

    def opened(self, t: str, s: int) -> bool:
        """Whether a subunit's tube is opened at the tray: k > 1, a spliced fibre and a placed leg."""
        divided = self.k[t][s - 1] > 1 and self.facts.spliced[t][s - 1]
        return divided and self.divide_at.get(t) == "tray" and bool(self.of_subunit(t, s))

    def all_legs(self, t: str, s: int) -> list[Leg]:
        """All legs of a subunit, placed or not."""
        return [(t, s, g) for g in range(1, self.k[t][s - 1] + 1)]

    def own_tube(self, t: str, s: int) -> bool:
        """Whether the own tube of a subunit of a trunk in the box travels for its placed legs."""
        return self.facts.own_tube(t, self.k[t][s - 1], self.divide_at[t])

    def tube(self, t: str, s: int) -> tuple[float, float] | None:
        """Diameter and least radius of what travels for a leg of a trunk in the box; None if no tube holds it."""
        return self.facts.traveller(t, s, self.k[t][s - 1], self.divide_at[t])

    def option(self, t: str) -> Option:
        """Port, travel and loops of a trunk in the box."""
        option = self.decision.trunks.get(t)
        if option is None:
            raise ValueError(f"{t} has placed legs but no port, travel and loops")
        return option

    def end(self, stack: str) -> str:
        """End used on a used stack."""
        end = self.decision.ends.get(stack)
        if end is None:
            raise ValueError(f"{stack} is used but has no end")
        return end

    def name(self, leg: Leg) -> str:
        """Write the leg as plans do: ``N1/3.2``, or ``N1/3`` where k = 1."""
        t, s, g = leg
        return f"{t}/{s}" if self.k[t][s - 1] == 1 else f"{t}/{s}.{g}"

    def of_subunit(self, t: str, s: int) -> list[Leg]:
        """Placed legs of a subunit, by group."""
        return [leg for leg in self.placed if leg[:2] == (t, s)]

    def placed_subunits(self, t: str) -> list[int]:
        """Subunits of a trunk with placed legs, in order."""
        return sorted({leg[1] for leg in self.placed if leg[0] == t})

    def route_mm(self, leg: Leg) -> int:
        """Length of a placed leg from the port to the sleeve."""
        stack, _ = place = self.placed[leg]
        rise = self.facts.rise_mm(place) + self.facts.more_inside_mm(place)
        return self.facts.base_mm(self.option(leg[0]), stack, self.end(stack)) + rise

    def cut_mm(self, leg: Leg) -> int:
        """Length to which a placed leg is cut."""
        return self.facts.cut_mm(leg[0], self.option(leg[0])[2], self.route_mm(leg))

    def inside_mm(self, leg: Leg) -> int:
        """Length inside the tray."""
        return int(self.facts.tray(self.placed[leg])["inside_mm"])

    def windows(self) -> dict[str, tuple[Through, int, int, list[int]]]:
        """By the end where it enters: each trunk that goes through and is in the box, its window, loops and direct way."""
        found = {}
        for item in self.facts.through:
            if item.ends[0] in self.box:
                cuts: dict[tuple[str, int], int] = {}
                for leg in self.placed:
                    if leg[0] in item.ends:
                        cuts[leg[:2]] = max(cuts.get(leg[:2], 0), self.cut_mm(leg))
                options = [self.option(t) for t in item.ends]
                found[item.ends[0]] = (item, *self.facts.window(item, options, cuts))
        return found

    def strip_mm(self, t: str) -> int:
        """Length over which a trunk in the box is stripped; of one that goes through, its window."""
        for item, length, _, _ in self.windows().values():
            if t in item.ends:
                return length
        loops = self.option(t)[2]
        return self.facts.strip_mm(loops, [self.cut_mm(leg) for leg in self.placed if leg[0] == t])

    def fibre_ends(self, place: Place) -> int:
        """Fibre ends in a tray: two a splice, one a parked fibre."""
        return 2 * len(self.in_tray[place]) + len(self.parked(place))

    def tied(self) -> list[list[Place]]:
        """Group used places that opened subunits tie to each other: all groups of two and more, in place order."""
        group: dict[Place, set[Place]] = {place: {place} for place in self.used}
        for t in self.box:
            for s in self.placed_subunits(t):
                if self.opened(t, s):
                    merged = set().union(*(group[self.placed[leg]] for leg in self.of_subunit(t, s)))
                    group.update(dict.fromkeys(merged, merged))
        order = self.facts.place_order.__getitem__
        return [
            sorted(group[place], key=order)
            for place in self.used
            if len(group[place]) > 1 and place == min(group[place], key=order)
        ]

    def parked(self, place: Place) -> list[tuple[str, int]]:
        """Unspliced fibres of the legs in a tray."""
        return [
            (leg[0], f)
            for leg, at in self.placed.items()
            if at == place
            for f in range(self.fibres[leg][0], self.fibres[leg][1] + 1)
            if (leg[0], f) not in self.facts.partner
        ]

    def sleeve_runs(self, place: Place) -> list[list[tuple[str, int, str, int]]]:
        """Longest runs of splices that share sleeves, rising by one on both sides; the earlier trunk first.

        As they are, ribbons end a run. Those that are split do not; made anew, their new edges do. A run ends in any case
        with a subunit, and where ribbons of the cables end on both sides at once.
        """
        pairs: set[tuple[str, int, str, int]] = set()
        for x in self.in_tray[place]:
            straight = self.facts.trunk_order[x.a] < self.facts.trunk_order[x.b]
            pairs.add((x.a, x.a_fibre, x.b, x.b_fibre) if straight else (x.b, x.b_fibre, x.a, x.a_fibre))
        ribbon, subunit_of = self.facts.ribbon, self.facts.subunit_of

        def cut(t: str, f: int) -> bool:
            """Whether a run ends before this fibre, as the ribbons of its trunk are when they are spliced."""
            word = self.ribbons[t]
            if word == "split":
                return False
            if word == "as_they_are":
                return ribbon[t, f - 1] != ribbon[t, f]
            first = self.facts.subunits[t][subunit_of[t, f] - 1].first
            return (f - 1 - first) // int(word) != (f - first) // int(word)

        def follows(one: tuple[str, int, str, int], other: tuple[str, int, str, int]) -> bool:
            if (one[0], one[1] + 1, one[2], one[3] + 1) != other:
                return False
            sides = ((one[:2], other[:2]), (one[2:], other[2:]))
            if any(subunit_of[a] != subunit_of[b] for a, b in sides) or all(ribbon[a] != ribbon[b] for a, b in sides):
                return False
            return not any(cut(*b) for _, b in sides)

        runs: list[list[tuple[str, int, str, int]]] = []
        for pair in sorted(pairs, key=lambda p: (self.facts.trunk_order[p[0]], p[1])):
            if runs and follows(runs[-1][-1], pair):
                runs[-1].append(pair)
            else:
                runs.append([pair])
        return runs

    def sleeves(self, place: Place) -> list[list[tuple[str, int, str, int]]]:
        """Cut the runs into sleeves, each from its lowest fibre."""
        size = self.facts.tray(place)["sleeve_fibres"]
        return [run[i : i + size] for run in self.sleeve_runs(place) for i in range(0, len(run), size)]

    def guide_passes(self, guide: int) -> list[tuple[str, float, int]]:
        """List what passes a guide: name, diameter in mm and how often."""
        passes: list[tuple[str, float, int]] = []
        for t in self.box:
            loops = self.option(t)[2]
            for s, (subunit, k) in enumerate(zip(self.facts.subunits[t], self.k[t], strict=True), 1):
                if s in self.facts.uncut[t]:
                    continue
                placed = self.of_subunit(t, s)
                if not placed:
                    if self.facts.coiled(t):
                        passes.append((f"{t}/{s}", subunit.diameter_mm, loops))
                    continue
                tube = self.tube(t, s)
                if tube is None:
                    continue
                own = self.own_tube(t, s)
                for leg in placed[:1] if own else placed:
                    stack = self.placed[leg][0]
                    way, _ = self.facts.direct_way(self.option(t), stack, self.end(stack))
                    passes.append((f"{t}/{s}" if own else self.name(leg), tube[0], loops + (guide in way)))
                if not own and self.facts.coiled(t):
                    passes.extend(
                        (self.name((t, s, g)), tube[0], loops) for g in range(1, k + 1) if (t, s, g) not in self.placed
                    )
        for t, (_, _, loops, way) in self.windows().items():
            passes += [
                (f"{t}/{s}", self.facts.subunits[t][s - 1].diameter_mm, loops + (guide in way))
                for s in sorted(self.facts.uncut[t])
            ]
        return passes

    def filled_mm2(self, guide: int) -> float:
        """Cross-section that passes a guide, each pass counted."""
        return sum(n * math.pi * diameter**2 / 4 for _, diameter, n in self.guide_passes(guide))

    def lows(self) -> dict[Leg, int]:
        """``low`` of every placed leg."""
        low: dict[Leg, int] = {}
        before: Leg | None = None
        for leg, (stack, position) in self.placed.items():
            low[leg] = position
            if before is not None and before[:2] == leg[:2]:
                stack_before, position_before = self.placed[before]
                if stack == stack_before and position in (position_before, position_before + 1):
                    low[leg] = low[before]
            before = leg
        return low

    def travellers(self, t: str) -> list[Traveller]:
        """List what travels for a trunk: own tubes with all their placed legs, and each leg in a tube of the set."""
        found: list[Traveller] = []
        for s in self.placed_subunits(t):
            legs = self.of_subunit(t, s)
            found.extend([tuple(legs)] if self.own_tube(t, s) else [(leg,) for leg in legs])
        return found

    def traveller_name(self, traveller: Traveller) -> str:
        """Write an own tube as ``N1/3``, a leg in a tube of the set by its own name."""
        t, s, _ = traveller[0]
        return f"{t}/{s}" if self.own_tube(t, s) else self.name(traveller[0])

    def crossings(self) -> list[tuple[Traveller, Traveller]]:
        """Pairs of travellers of one trunk some legs of which cross."""
        low = self.lows()
        return [
            (u, v)
            for t in self.box
            for u, v in itertools.combinations(self.travellers(t), 2)
            if any(low[g] > low[h] for g in u for h in v)
        ]

    def irregular(self) -> int:
        """Count the steps of the lead trunks' subunits off the turn of the stacks, and how uneven the stacks are."""
        stacks = list(self.facts.stacks)
        steps = 0
        for t in self.facts.leads:
            first = [
                next((stacks.index(self.placed[leg][0]) for leg in self.of_subunit(t, s) if self.splices_of[leg]), None)
                for s in self.placed_subunits(t)
            ]
            walk = [stack for stack in first if stack is not None]
            steps += sum(b != (a + 1) % len(stacks) for a, b in itertools.pairwise(walk))
        in_use = [sum(place[0] == stack for place in self.used) for stack in stacks]
        counts = [n for n in in_use if n]
        return steps + (max(counts) - min(counts) if counts else 0)

    def by_port(self) -> dict[str, list[str]]:
        """Trunks in the box by the port at which they enter."""
        ports: dict[str, list[str]] = {}
        for t in self.box:
            ports.setdefault(self.option(t)[0], []).append(t)
        return {port: ports[port] for port in self.facts.ports if port in ports}

    # -- rules: each yields the subjects at which it is broken ------------------------------------------------------

    def whole_legs(self) -> Iterator[str]:
        """Yield placed legs with a splice whose other leg is not in the same tray."""
        for leg, place in self.placed.items():
            for x in self.splices_of[leg]:
                ends = (self.leg_of[x.a, x.a_fibre], self.leg_of[x.b, x.b_fibre])
                if any(self.placed.get(other) != place for other in ends):
                    yield self.name(leg)
                    break

    def equal_groups(self) -> Iterator[str]:
        """Yield nothing: a decision that divides a subunit unevenly is refused when it is read."""
        yield from self.uneven

    def own_limits(self) -> Iterator[str]:
        """Yield trunks outside their own limits."""
        for t in self.box:
            port, travel, loops = self.option(t)
            if (
                port not in self.facts.own_ports(t)
                or travel not in self.facts.own_travel(t)
                or loops not in self.facts.own_loops(t)
                or self.divide_at[t] not in self.facts.divisions(t)
                or self.ribbons[t] not in self.facts.ribbon_words(t)
            ):
                yield t

    def one_end(self) -> Iterator[str]:
        """Yield nothing: a decision names one end a stack."""
        yield from ()

    def _scattered(self, t: str) -> Iterator[str]:
        for s in range(1, len(self.facts.subunits[t]) + 1):
            places = [self.placed[leg] for leg in self.of_subunit(t, s)]
            if any(b[0] != a[0] or b[1] not in (a[1], a[1] + 1) for a, b in itertools.pairwise(places)):
                yield f"{t}/{s}"

    def divided_at_the_tray(self) -> Iterator[str]:
        """Yield subunits divided at the tray whose legs do not lie one on another."""
        for t in self.box:
            if self.divide_at[t] == "tray":
                yield from self._scattered(t)

    def opened_tube(self) -> Iterator[str]:
        """Yield opened subunits with a leg that lies in no tray."""
        for t in self.box:
            for s in self.placed_subunits(t):
                if self.opened(t, s) and any(leg not in self.placed for leg in self.all_legs(t, s)):
                    yield f"{t}/{s}"

    def leg_tube(self) -> Iterator[str]:
        """Yield subunits with a placed leg that no tube of the set holds."""
        for t in self.box:
            for s in self.placed_subunits(t):
                if self.tube(t, s) is None:
                    yield f"{t}/{s}"

    def uncut_tube(self) -> Iterator[str]:
        """Yield nothing: a decision places no leg of a subunit without a spliced fibre."""
        yield from ()

    def tray_fibres(self) -> Iterator[str]:
        """Yield trays with more fibre ends than two a place."""
        for place in self.used:
            if self.fibre_ends(place) > 2 * self.facts.tray(place)["fibres"]:
                yield f"{place[0]}/{place[1]}"

    def tray_sleeves(self) -> Iterator[str]:
        """Yield trays with more sleeves than places for them."""
        for place in self.used:
            if len(self.sleeves(place)) > self.facts.tray(place)["sleeves"]:
                yield f"{place[0]}/{place[1]}"

    def entrance_legs(self) -> Iterator[str]:
        """Yield trays with too many legs through one entrance."""
        for place in self.used:
            ways = [self.option(leg[0])[1] for leg, at in self.placed.items() if at == place]
            if max(ways.count(w) for w in TRAVELS) > self.facts.tray(place)["entrance_legs"]:
                yield f"{place[0]}/{place[1]}"

    def guide_fill(self) -> Iterator[str]:
        """Yield guides that are too full."""
        fill = self.facts.rules["guide_fill"].params["fill"]
        for i, guide in enumerate(self.facts.guides):
            if self.filled_mm2(i) > fill * guide["opening_mm2"] + EPS:
                yield guide["id"]

    def bend_radius(self) -> Iterator[str]:
        """Yield subunits with a placed leg for which something travels that the track bends too tightly."""
        for t in self.box:
            for s in self.placed_subunits(t):
                tube = self.tube(t, s)
                if tube is not None and tube[1] > self.facts.track_radius_mm + EPS:
                    yield f"{t}/{s}"
        for item in self.facts.through:
            t = item.ends[0]
            for s in sorted(self.facts.uncut[t]) if t in self.box else ():
                if self.facts.subunits[t][s - 1].least_radius_mm > self.facts.track_radius_mm + EPS:
                    yield f"{t}/{s}"

    def fibre_bend(self) -> Iterator[str]:
        """Yield subunits with a leg in a tray that bends its fibre too tightly."""
        for t in self.box:
            least = FIBRE_RADIUS_MM[self.facts.trunks[t]["cable"].get("fibre") or "G.652.D"]
            for s in self.placed_subunits(t):
                trays = [self.facts.tray(self.placed[leg]) for leg in self.of_subunit(t, s)]
                if any(tray["min_radius_mm"] < least - EPS for tray in trays):
                    yield f"{t}/{s}"

    def reach(self) -> Iterator[str]:
        """Yield trunks with a leg that does not let its tray reach the bench."""
        bench = self.facts.rules["reach"].params["bench_mm"]
        for t in self.box:
            if any(self.route_mm(leg) - self.inside_mm(leg) < bench for leg in self.placed if leg[0] == t):
                yield t

    def exposed(self) -> Iterator[str]:
        """Yield trunks that are stripped further than they may be."""
        for t in self.box:
            most = self.facts.trunks[t].get("exposed_mm")
            if most is not None and self.strip_mm(t) > most:
                yield t

    def sheath_window(self) -> Iterator[str]:
        """Yield trunks that go through whose window is longer than the slack of their cable."""
        for item, length, _, _ in self.windows().values():
            if item.slack_mm is not None and length > item.slack_mm:
                yield item.trunk

    def port_seal(self) -> Iterator[str]:
        """Yield ports of which no seal takes all their trunks, or that are too narrow for them."""
        for port, trunks in self.by_port().items():
            if not self.facts.port_takes(port, trunks):
                yield port

    def no_empty_below(self) -> Iterator[str]:
        """Yield used places above an unused one."""
        for stack, position in self.used:
            same = position > 1 and self.facts.tray((stack, position)) == self.facts.tray((stack, position - 1))
            if same and (stack, position - 1) not in self.used:
                yield f"{stack}/{position}"

    def slack_loops(self) -> Iterator[str]:
        """Yield trunks with too few or too many loops."""
        p = self.facts.rules["slack_loops"].params
        for t in self.box:
            if not p["least"] <= self.option(t)[2] <= p["most"]:
                yield t

    def apart(self) -> Iterator[str]:
        """Yield pairs of joins that share a tray, or a stack, and must not."""
        where: dict[str, set[Place]] = {name: set() for name in self.facts.join_names}
        for place, splices in self.in_tray.items():
            for x in splices:
                where[self.facts.join_names[x.join]].add(place)
        for a, b, scope in self.facts.apart:
            one, other = where[a], where[b]
            if one & other or (scope == "stack" and {p[0] for p in one} & {p[0] for p in other}):
                yield f"{a}+{b}"

    def _keeps(self, pin: Pin) -> bool:
        got: dict[str, Any]
        if not pin.subunit:
            if pin.trunk not in self.box:
                return False
            if not self.ways:
                return True
            got = dict(zip(("port", "travel", "loops"), self.option(pin.trunk), strict=True))
            got["divide_at"] = self.divide_at[pin.trunk]
            got["ribbons"] = self.ribbons[pin.trunk]
        else:
            leg = (pin.trunk, pin.subunit, pin.group)
            if self.k[pin.trunk][pin.subunit - 1] != pin.k or leg not in self.placed:
                return False
            got = dict(zip(("stack", "position"), self.placed[leg], strict=True))
        return all(got[key] == value for key, value in pin.want.items())

    def pin(self) -> Iterator[str]:
        """Yield pins that are not built and not kept."""
        yield from (pin.subject for pin in self.facts.pins if not pin.built and not self._keeps(pin))

    def built_pin(self) -> Iterator[str]:
        """Yield built pins that are not kept."""
        yield from (pin.subject for pin in self.facts.pins if pin.built and not self._keeps(pin))

    def opposite_travel(self) -> Iterator[str]:
        """Yield joined pairs of trunks in the box that travel the same way."""
        for a, b in itertools.combinations(self.box, 2):
            if (a, b) in self.facts.joined and self.option(a)[1] == self.option(b)[1]:
                yield f"{a}+{b}"

    def subunit_together(self) -> Iterator[str]:
        """Yield subunits divided at the port whose legs do not lie one on another."""
        for t in self.box:
            if self.divide_at[t] == "port":
                yield from self._scattered(t)

    def alternate_stacks(self) -> Iterator[str]:
        """Yield subunits of lead trunks after which the stacks are out of balance."""
        for t in self.facts.leads:
            counts = dict.fromkeys(self.facts.stacks, 0)
            for s in self.placed_subunits(t):
                counts[self.placed[self.of_subunit(t, s)[0]][0]] += 1
                if max(counts.values()) - min(counts.values()) > 1:
                    yield f"{t}/{s}"

    def natural_travel(self) -> Iterator[str]:
        """Yield trunks that travel against the way their port turns."""
        for t in self.box:
            port, travel, _ = self.option(t)
            if (self.facts.ports[port].get("turns") or "both") not in ("both", travel):
                yield t

    def same_division(self) -> Iterator[str]:
        """Yield trunks that divide equal subunits differently."""
        for t in self.box:
            ways: dict[tuple[int, int], set[int]] = {}
            for s in self.placed_subunits(t):
                subunit = self.facts.subunits[t][s - 1]
                ways.setdefault((subunit.ribbons, subunit.ribbon_fibres), set()).add(self.k[t][s - 1])
            if any(len(ks) > 1 for ks in ways.values()):
                yield t

    def tray_pair(self) -> Iterator[str]:
        """Yield trays with splices of more than one pair of trunks."""
        for place in self.used:
            if len({self.facts.pair(x.a, x.b) for x in self.in_tray[place]}) > 1:
                yield f"{place[0]}/{place[1]}"

    def tied_trays(self) -> Iterator[str]:
        """Yield used places that are tied to too many others."""
        most = self.facts.rules["tied_trays"].params["trays"]
        size = dict.fromkeys(self.used, 1) | {place: len(group) for group in self.tied() for place in group}
        for place in self.used:
            if size[place] > most:
                yield f"{place[0]}/{place[1]}"

    def breakout(self) -> Iterator[str]:
        """Yield trunks divided at the port that might be divided at the tray."""
        for t in self.box:
            divided = any(self.k[t][s - 1] > 1 for s in self.placed_subunits(t))
            if divided and self.divide_at[t] == "port" and "tray" in self.facts.divisions(t):
                yield t

    def ribbon_work(self) -> Iterator[str]:
        """Yield trunks whose ribbons are worked on and might be spliced as they are."""
        for t in self.box:
            if self.ribbons[t] != "as_they_are" and "as_they_are" in self.facts.ribbon_words(t):
                yield t

    def re_ribbonised(self) -> Iterator[str]:
        """Yield trunks that are re-ribbonised and might do with less."""
        for t in self.box:
            if isinstance(self.ribbons[t], int) and any(isinstance(w, str) for w in self.facts.ribbon_words(t)):
                yield t

    def separated_ribbons(self) -> Iterator[str]:
        """Yield trays for single fibres with legs of ribbons, in boxes with stacks of several kinds of trays."""
        for place in self.used if self.facts.mixed else ():
            ribbons = any(not self.facts.loose(leg[0]) for leg, at in self.placed.items() if at == place)
            if self.facts.tray(place)["sleeve_fibres"] == 1 and ribbons:
                yield f"{place[0]}/{place[1]}"

    def ribbonised_fibres(self) -> Iterator[str]:
        """Yield trays for ribbons with splices between loose fibres, in boxes with stacks of several kinds of trays."""
        for place in self.used if self.facts.mixed else ():
            loose = any(self.facts.loose(x.a) and self.facts.loose(x.b) for x in self.in_tray[place])
            if self.facts.tray(place)["sleeve_fibres"] > 1 and loose:
                yield f"{place[0]}/{place[1]}"

    def reserve(self) -> Iterator[str]:
        """Yield stacks with too few unused places outward of the last used one."""
        least = self.facts.rules["reserve"].params["trays"]
        for s, stack in self.facts.stacks.items():
            last = max((position for at, position in self.used if at == s), default=0)
            if stack["positions"] - last < least:
                yield s

    def stack_trunks(self) -> Iterator[str]:
        """Yield stacks with legs of too many trunks."""
        most = self.facts.rules["stack_trunks"].params["trunks"]
        for s in self.facts.stacks:
            if len({leg[0] for leg, place in self.placed.items() if place[0] == s}) > most:
                yield s

    def port_fill(self) -> Iterator[str]:
        """Yield ports that are too full for a conduit."""
        for port, trunks in self.by_port().items():
            if self.facts.port_full(port, trunks):
                yield port

    # -- judgement -------------------------------------------------------------------------------------------------

    def broken(self, rules: Iterable[str] | None = None) -> list[Broken]:
        """Return every broken (rule, level, subject) in the order of the rules; rules at off are not looked at."""
        found: list[Broken] = []
        for rule in RULES if rules is None else rules:
            level = self.facts.rules[rule].level
            if rule == "pin":
                found.extend(("pin", "always", subject) for subject in self.built_pin())
            if level != "off":
                check: Callable[[], Iterator[str]] = getattr(self, rule.replace(" ", "_"))
                found.extend((rule, level, subject) for subject in dict.fromkeys(check()))
        return found

    def tally(self, broken: Iterable[Broken]) -> tuple[bool, int, int]:
        """Whether nothing is broken that no plan breaks, and the second and third goal."""
        feasible, must, prefer = True, 0, 0
        for rule, level, _ in broken:
            if level == "always" or (level == "must" and self.facts.rules[rule].kind == "physical"):
                feasible = False
            must += level == "must"
            prefer += self.facts.rules[rule].weight if level == "prefer" else 0
        return feasible, must, prefer

    def figures(self) -> Json:
        """Return the figures of the plan, named and ordered as in a plan's JSON, and what passes each guide."""
        facts = self.facts
        trunks = []
        for t in facts.trunks:
            inside = t in self.box
            port, travel, loops = self.option(t) if inside else (None, None, None)
            trunks.append(
                {
                    "trunk": t,
                    "port": port,
                    "travel": travel,
                    "loops": loops,
                    "divide_at": self.divide_at.get(t),
                    "strip_mm": self.strip_mm(t) if inside else None,
                    **({"ribbons": self.ribbons[t]} if inside and t in facts.ribbons_said else {}),
                }
            )
        trays = []
        for place in self.used:
            parked: dict[str, list[int]] = {}
            for t, f in self.parked(place):
                parked.setdefault(t, []).append(f)
            trays.append(
                {
                    "stack": place[0],
                    "position": place[1],
                    "ends": self.fibre_ends(place),
                    "sleeves": len(self.sleeves(place)),
                    "splices": [
                        {
                            "sleeve": n,
                            "a": write_run(run[0][0], run[0][1], run[-1][1]),
                            "b": write_run(run[0][2], run[0][3], run[-1][3]),
                        }
                        for n, run in enumerate(self.sleeves(place), 1)
                    ],
                    "parked": [write_run(t, *run) for t, fs in parked.items() for run in _runs(fs)],
                }
            )
        unplaced = []
        for j, join in enumerate(facts.job["joins"]):
            a, a_first, _ = parse_run(join["a"])
            b, b_first, _ = parse_run(join["b"])
            for first, last in _runs(x.a_fibre for x in self.loose if x.join == j):
                shift = b_first - a_first
                unplaced.append({"a": write_run(a, first, last), "b": write_run(b, first + shift, last + shift)})
        windows = self.windows()
        through = [
            {
                "trunk": item.trunk,
                "ends": list(item.ends),
                "window_mm": windows[item.ends[0]][1] if item.ends[0] in windows else None,
                "loops": windows[item.ends[0]][2] if item.ends[0] in windows and facts.uncut[item.ends[0]] else None,
                "cut": [
                    s for s in range(1, len(facts.subunits[item.ends[0]]) + 1) if s not in facts.uncut[item.ends[0]]
                ],
                "uncut": sorted(facts.uncut[item.ends[0]]),
            }
            for item in facts.through
        ]
        return {
            "trunks": trunks,
            **({"through": through} if through else {}),
            "legs": self._leg_figures(),
            "trays": trays,
            "tied": [[f"{stack}/{position}" for stack, position in group] for group in self.tied()],
            "crossings": [[self.traveller_name(u), self.traveller_name(v)] for u, v in self.crossings()],
            "unplaced": unplaced,
            "guides": {
                guide["id"]: {"filled_mm2": self.filled_mm2(i), "passes": self.guide_passes(i)}
                for i, guide in enumerate(facts.guides)
            },
            "low": {self.name(leg): low for leg, low in self.lows().items()},
        }

    def _leg_figures(self) -> list[Json]:
        legs = []
        for t, subunits in self.facts.subunits.items():
            for s, subunit in enumerate(subunits, 1):
                if s in self.facts.uncut[t]:
                    continue
                if not self.of_subunit(t, s):
                    entry = self._leg_entry((t, s, 1), 1, (subunit.first, subunit.last))
                    legs.append(entry | {"leg": f"{t}/{s}", "idle": not self.facts.spliced[t][s - 1]})
                    continue
                k = self.k[t][s - 1]
                for g in range(1, k + 1):
                    leg = (t, s, g)
                    entry = self._leg_entry(leg, k, self.fibres[leg])
                    if leg in self.placed:
                        entry |= self._placed_entry(leg)
                    legs.append(entry)
        return legs

    def _leg_entry(self, leg: Leg, k: int, fibres: tuple[int, int]) -> Json:
        empty = ("stack", "position", "end", "route_mm", "entrance_mark_mm", "cut_mm", "tube_mm")
        return {
            "leg": self.name(leg),
            "trunk": leg[0],
            "subunit": leg[1],
            "group": leg[2],
            "of": k,
            "fibres": f"{fibres[0]}-{fibres[1]}",
            **dict.fromkeys(empty),
            "idle": not self.splices_of[leg],
        }

    def _placed_entry(self, leg: Leg) -> Json:
        stack, position = self.placed[leg]
        route = self.route_mm(leg)
        tube = self.tube(leg[0], leg[1])
        return {
            "stack": stack,
            "position": position,
            "end": self.end(stack),
            "route_mm": route,
            "entrance_mark_mm": self.facts.transition_mm(leg[0]) + route - self.inside_mm(leg),
            "cut_mm": self.cut_mm(leg),
            "tube_mm": None if tube is None else tube[0],
        }


def judge(job: Json | Facts, decision: Decision) -> Judgement:
    """Judge one decision.

    Parameters
    ----------
    job : dict or Facts
        The resolved job, or what was read from it before.
    decision : Decision
        The decision; trunks without a placed leg must have no port, travel, loops and division, unused stacks no end.

    Returns
    -------
    Judgement
        The eight goals in the order of section 11, the broken (rule, level, subject) (a built pin counts as broken at
        level ``always``), whether no always rule, built pin or physical rule at must is broken, and the figures.

    Raises
    ------
    ValueError
        If the decision cannot be written as a plan: uneven groups, an idle leg in a tray that is not parked, a trunk
        with a placed leg but without a port or the other way round, a trunk without a placed leg that is divided, a
        used stack without an end or the other way round.
    """
    facts = job if isinstance(job, Facts) else Facts(job)
    plan = Plan(facts, decision)
    if [t for t in facts.trunks if decision.trunks.get(t)] != plan.box:
        raise ValueError(f"exactly the trunks {plan.box} have placed legs")
    if {s for s, end in decision.ends.items() if end} != {place[0] for place in plan.used}:
        raise ValueError("exactly the used stacks have an end")
    if outside := [t for t, at in decision.divide_at.items() if at and t not in plan.box]:
        raise ValueError(f"without a placed leg nothing is divided: {outside}")
    broken = plan.broken()
    feasible, must, prefer = plan.tally(broken)
    length = sum(plan.cut_mm(leg) for leg in plan.placed)
    of_layout = (len(plan.placed), len(plan.used), len(plan.crossings()))
    goals = (len(plan.loose), must, prefer, *of_layout, length, plan.irregular())
    return Judgement(goals, broken, feasible, plan.figures())


def decision_of_plan(plan: Json) -> Decision:
    """Read the decision out of a plan's JSON; raise ValueError if legs of one stack name different ends."""
    trunks = {e["trunk"]: (e["port"], e["travel"], e["loops"]) for e in plan["trunks"] if e["port"] is not None}
    divide_at = {e["trunk"]: e["divide_at"] for e in plan["trunks"] if e["port"] is not None}
    ks: dict[str, dict[int, int]] = {}
    legs: dict[Leg, Place | None] = {}
    ends: dict[str, str] = {}
    for entry in plan["legs"]:
        ks.setdefault(entry["trunk"], {})[entry["subunit"]] = entry["of"]
        if entry["stack"] is not None:
            legs[entry["trunk"], entry["subunit"], entry["group"]] = (entry["stack"], entry["position"])
            if ends.setdefault(entry["stack"], entry["end"]) != entry["end"]:
                raise ValueError(f"{entry['stack']}: legs use different ends")
    for item in plan.get("through", ()):
        for t in item["ends"]:
            ks.setdefault(t, {}).update(dict.fromkeys(item["uncut"], 1))
    ribbons = {e["trunk"]: e["ribbons"] for e in plan["trunks"] if "ribbons" in e}
    return Decision(trunks, {t: tuple(k[s] for s in sorted(k)) for t, k in ks.items()}, legs, ends, divide_at, ribbons)


# -- search --------------------------------------------------------------------------------------------------------

UNDECIDED, OUT = -2, -1
Pair = tuple[int, int]
Cut = Callable[["Split", Sequence[int], int, int, int], bool]


class Group(NamedTuple):
    """Legs that splices connect, or one parked leg: in one tray, or out together."""

    legs: tuple[int, ...]
    splices: int
    parked: int  # fibres
    trunks: frozenset[str]
    pairs: frozenset[tuple[str, str]]
    allowed: tuple[int, ...]  # places, by place order


class Travelling(NamedTuple):
    """All of one trunk that its port, travel, loops and the ends depend on."""

    trunk: str
    divide_at: str
    ribbons: str | int
    items: tuple[tuple[float, str | None], ...]  # diameter of what travels; the stack where it turns off, if it does
    rises: tuple[
        tuple[str, tuple[Pair, ...]], ...
    ]  # per stack, rise_mm of its placed legs and what is more inside, sorted
    units: tuple[
        tuple[int, str, int], ...
    ] = ()  # of an end of a trunk that goes through: subunit, stack and rise_mm of legs


class Ways:
    """Ports, travel, loops and ends of the trunks in the box, for a given layout of their legs."""

    def __init__(self, facts: Facts) -> None:
        self.facts = facts
        self.options = {
            t: list(itertools.product(facts.own_ports(t), facts.own_travel(t), facts.own_loops(t)))
            for t in facts.trunks
        }
        for pin in facts.pins:
            if pin.built and not pin.subunit:
                self.options[pin.trunk] = [o for o in self.options[pin.trunk] if self._fits(pin, o)]
        fill = facts.rules["guide_fill"].params["fill"]
        self.guide_room = [fill * guide["opening_mm2"] + EPS for guide in facts.guides]
        self._best: dict[Any, tuple[int, int, int] | None] = {}
        self._open: dict[Any, bool] = {}
        self._takes: dict[tuple[str, tuple[str, ...]], bool] = {}
        self._relaxed: dict[frozenset[tuple[str, str, str | int]], Pair] = {}
        self._base: dict[tuple[Option, str, str], tuple[list[int], int]] = {}
        self.groups: dict[Any, Group] = {}  # of all splits
        self.shortest: dict[tuple[str, int], int] = {}  # trunk, place
        self._sized: dict[Any, tuple[int, int, int, tuple[float, ...]] | None] = {}

    @staticmethod
    def _fits(pin: Pin, option: Option, at: str | None = None, word: str | int | None = None) -> bool:
        got: dict[str, Any] = dict(zip(("port", "travel", "loops"), option, strict=True))
        if at is not None:
            got["divide_at"] = at
        if word is not None:
            got["ribbons"] = word
        return all(got[k] == v for k, v in pin.want.items() if k in got)

    def way(self, option: Option, stack: str, end: str) -> tuple[list[int], int]:
        """Direct way and base length, remembered."""
        key = (option, stack, end)
        if key not in self._base:
            self._base[key] = (self.facts.direct_way(*key)[0], self.facts.base_mm(*key))
        return self._base[key]

    def size(
        self, trunk: Travelling, option: Option, ends: Mapping[str, str]
    ) -> tuple[int, int, int, tuple[float, ...]] | None:
        """Broken must and prefer, length and load of the guides for one trunk; None if something hard is broken."""
        key = (trunk, option, tuple(ends[s] for s, _ in trunk.rises))
        if key not in self._sized:
            self._sized[key] = self._measure(trunk, option, ends)
        return self._sized[key]

    def _measure(
        self, trunk: Travelling, option: Option, ends: Mapping[str, str]
    ) -> tuple[int, int, int, tuple[float, ...]] | None:
        facts = self.facts
        t, at, word, items, rises, _ = trunk
        loops = option[2]
        length = 0
        short = False
        longest = 0
        for stack, of_stack in rises:
            base = self.way(option, stack, ends[stack])[1]
            cuts = [facts.cut_mm(t, loops, base + sum(rise)) for rise in of_stack]
            length += sum(cuts)
            inside = facts.stacks[stack]["tray"]["inside_mm"]
            short = short or base + min(rise for rise, _ in of_stack) - inside < facts.rules["reach"].params["bench_mm"]
            longest = max(longest, *cuts)
        limit = facts.trunks[t].get("exposed_mm")
        bare = limit is not None and facts.strip_mm(loops, [longest]) > limit
        must, prefer = self.own(t, at, word, option)
        for rule, broken in (("reach", short), ("exposed", bare)):
            if broken:
                if facts.hard(rule):
                    return None
                must, prefer = _plus((must, prefer), facts.cost(rule))
        load = [0.0] * len(facts.guides)
        for diameter, turns_off in items:
            area = math.pi * diameter**2 / 4
            for i in range(len(load)):
                load[i] += loops * area
            if turns_off is not None:
                for i in self.way(option, turns_off, ends[turns_off])[0]:
                    load[i] += area
        return must, prefer, length, tuple(load)

    def own(self, t: str, at: str, word: str | int, option: Option) -> Pair:
        """Broken must and prefer of one trunk that depend on its option, on where it is divided and on its ribbons alone."""
        facts = self.facts
        port, travel, loops = option
        total = (0, 0)
        if (facts.ports[port].get("turns") or "both") not in ("both", travel):
            total = _plus(total, facts.cost("natural_travel"))
        loop_rule = facts.rules["slack_loops"].params
        if not loop_rule["least"] <= loops <= loop_rule["most"]:
            total = _plus(total, facts.cost("slack_loops"))
        for pin in facts.pins:
            if pin.trunk == t and not pin.subunit and not pin.built and not self._fits(pin, option, at, word):
                total = _plus(total, facts.cost("pin"))
        return total

    def _facing(self, chosen: Sequence[tuple[str, Option]]) -> Pair:
        """Return what the last chosen trunk adds to opposite_travel."""
        total = (0, 0)
        t, option = chosen[-1]
        for u, other in chosen[:-1]:
            if self.facts.pair(t, u) in self.facts.joined and other[1] == option[1]:
                total = _plus(total, self.facts.cost("opposite_travel"))
        return total

    def _port_takes(self, port: str, trunks: tuple[str, ...]) -> bool:
        if (port, trunks) not in self._takes:
            self._takes[port, trunks] = self.facts.port_takes(port, trunks)
        return self._takes[port, trunks]

    def _together(
        self, chosen: Sequence[tuple[str, Option]], trays: tuple[Any, ...], load: Sequence[float], last: bool
    ) -> Pair | None:
        """Broken must and prefer of the trunks chosen so far taken together; None if something hard is broken.

        Before the last trunk is chosen only rules that no further trunk can mend are looked at.
        """
        facts = self.facts
        total = (0, 0)
        broken: dict[str, int] = {}
        ports: dict[str, list[str]] = {}
        for t, option in chosen:
            ports.setdefault(option[0], []).append(t)
        broken["port_seal"] = sum(not self._port_takes(port, tuple(trunks)) for port, trunks in ports.items())
        broken["guide_fill"] = sum(map(gt, load, self.guide_room))
        broken["entrance_legs"] = 0
        for place, counts in trays:
            most = facts.tray(place)["entrance_legs"]
            if sum(counts) <= most:
                continue
            ways = dict.fromkeys(TRAVELS, 0)
            for (_, option), n in zip(chosen, counts, strict=False):
                ways[option[1]] += n
            broken["entrance_legs"] += max(ways.values()) > most
        if last:
            broken["port_fill"] = sum(facts.port_full(port, trunks) for port, trunks in ports.items())
        for rule, n in broken.items():
            if n and facts.hard(rule):
                return None
            must, prefer = facts.cost(rule)
            total = _plus(total, (n * must, n * prefer))
        return total

    def every(
        self, layout: tuple[Any, ...], bound: list[tuple[int, int, int]] | None = None
    ) -> Iterator[tuple[tuple[int, int, int], dict[str, Option], dict[str, str]]]:
        """Yield (broken must, broken prefer, length), options and ends of every way that breaks nothing hard.

        With ``bound``, a list of one value that the caller lowers, ways that are not below it are skipped.
        """
        trunks, trays = layout
        stacks = list(dict.fromkeys(place[0] for place, _ in trays))
        for names in itertools.product(*(self.facts.ends[s] for s in stacks)):
            ends = dict(zip(stacks, names, strict=True))
            sized = []
            for trunk in trunks:
                row = [(size, o) for o in self.options[trunk.trunk] if (size := self.size(trunk, o, ends)) is not None]
                sized.append(sorted(row, key=lambda entry: entry[0][:3]))
            zero = (0.0,) * len(self.facts.guides)
            for found, chosen in self._choose(trunks, trays, sized, [], (0, 0, 0), zero, bound, ends):
                yield found, dict(chosen), ends

    def _windows(
        self, trunks: tuple[Travelling, ...], chosen: Sequence[tuple[str, Option]], ends: Mapping[str, str]
    ) -> tuple[Pair, list[float]] | None:
        """Broken must and prefer of windows, and the load of what passes uncut; None if something hard is broken."""
        facts, options, total = self.facts, dict(chosen), (0, 0)
        load = [0.0] * len(facts.guides)
        for item in facts.through:
            if item.ends[0] not in options:
                continue
            cuts: dict[tuple[str, int], int] = {}
            for t, *_, units in trunks:
                for s, stack, rise in units if t in item.ends else ():
                    route = self.way(options[t], stack, ends[stack])[1] + rise
                    cuts[t, s] = max(cuts.get((t, s), 0), facts.cut_mm(t, options[t][2], route))
            length, loops, way = facts.window(item, [options[t] for t in item.ends], cuts)
            if item.slack_mm is not None and length > item.slack_mm:
                if facts.hard("sheath_window"):
                    return None
                total = _plus(total, facts.cost("sheath_window"))
            for s in facts.uncut[item.ends[0]]:
                area = math.pi * facts.subunits[item.ends[0]][s - 1].diameter_mm ** 2 / 4
                for i in range(len(load)):
                    load[i] += (loops + (i in way)) * area
        return total, load

    def _choose(
        self,
        trunks: tuple[Travelling, ...],
        trays: tuple[Any, ...],
        sized: list[list[tuple[tuple[int, int, int, tuple[float, ...]], Option]]],
        chosen: list[tuple[str, Option]],
        total: tuple[int, int, int],
        load: tuple[float, ...],
        bound: list[tuple[int, int, int]] | None,
        ends: Mapping[str, str],
    ) -> Iterator[tuple[tuple[int, int, int], list[tuple[str, Option]]]]:
        n = len(chosen)
        if n == len(trunks):
            if not trunks:
                yield (0, 0, 0), []
            return
        last = n + 1 == len(trunks)
        for (must, prefer, length, more), option in sized[n]:
            now = [*chosen, (trunks[n].trunk, option)]
            facing = self._facing(now)
            sums = (total[0] + must + facing[0], total[1] + prefer + facing[1], total[2] + length)
            if bound is not None and sums >= bound[0]:
                continue
            loads = tuple(a + b for a, b in zip(load, more, strict=True))
            if last and self.facts.through:
                windows = self._windows(trunks, now, ends)
                if windows is None:
                    continue
                sums = (*_plus(sums[:2], windows[0]), sums[2])
                loads = tuple(a + b for a, b in zip(loads, windows[1], strict=True))
            joint = self._together(now, trays, loads, last)
            if joint is None:
                continue
            if last:
                done = (sums[0] + joint[0], sums[1] + joint[1], sums[2])
                if bound is None or done < bound[0]:
                    yield done, now
            else:
                yield from self._choose(trunks, trays, sized, now, sums, loads, bound, ends)

    def best(self, layout: tuple[Any, ...]) -> tuple[int, int, int] | None:
        """Return the least (broken must, broken prefer, length) of a layout; None if all break something hard."""
        if layout not in self._best:
            bound = [(10**9, 0, 0)]
            answer = None
            for found, _, _ in self.every(layout, bound):
                bound[0] = answer = found
            self._best[layout] = answer
        return self._best[layout]

    def open(self, layout: tuple[Any, ...]) -> bool:
        """Whether any way of the layout breaks nothing hard."""
        if layout not in self._open:
            self._open[layout] = next(self.every(layout), None) is not None
        return self._open[layout]

    def relaxed(self, box: frozenset[tuple[str, str, str | int]]) -> Pair:
        """Return a lower bound on broken must and prefer of the ways of trunks that are surely in the box.

        The box names each trunk with where it is divided and what is done with its ribbons.
        """
        if box not in self._relaxed:
            divide_at = {t: (at, word) for t, at, word in box}
            trunks = [t for t in self.facts.trunks if t in divide_at]
            rows: list[list[tuple[Option, Pair]]] = []
            for t in trunks:
                cheapest: dict[str, tuple[Pair, Option]] = {}
                for option in self.options[t]:
                    entry = (self.own(t, *divide_at[t], option), option)
                    cheapest[option[1]] = min(entry, cheapest.get(option[1], entry))
                rows.append([(option, own) for own, option in cheapest.values()])
            answer = (10**9, 0)
            for picked in itertools.product(*rows):
                total = (0, 0)
                chosen: list[tuple[str, Option]] = []
                for t, (option, own) in zip(trunks, picked, strict=True):
                    chosen.append((t, option))
                    total = _plus(_plus(total, own), self._facing(chosen))
                answer = min(answer, total)
            self._relaxed[box] = answer
        return self._relaxed[box]


def _plus(a: Pair, b: Pair) -> Pair:
    return a[0] + b[0], a[1] + b[1]


Layout = tuple[Plan, int, int, tuple[Any, ...]]  # with broken must and prefer, and what the ways depend on


class Split:
    """One choice of where each trunk is divided and of k for every subunit.

    It has the legs, their groups, and the depth-first walk over the places. Groups whose legs opened subunits connect
    are a bunch: all are placed, or none.
    """

    def __init__(
        self,
        facts: Facts,
        ways: Ways,
        ks: dict[str, tuple[int, ...]],
        divide_at: dict[str, str],
        ribbons: dict[str, str | int],
    ) -> None:
        self.facts = facts
        self.ribbons = ribbons
        self.ways = ways
        self.ks = ks
        self.divide_at = divide_at
        self.legs: list[Leg] = [
            (t, s, g) for t in facts.trunks for s, k in enumerate(ks[t], 1) for g in range(1, k + 1)
        ]
        index = {leg: i for i, leg in enumerate(self.legs)}
        spans = [facts.leg_fibres(leg, ks[leg[0]][leg[1] - 1]) for leg in self.legs]
        leg_of = {
            (leg[0], f): index[leg]
            for leg, (first, last) in zip(self.legs, spans, strict=True)
            for f in range(first, last + 1)
        }
        root = list(range(len(self.legs)))

        def find(i: int) -> int:
            while root[i] != i:
                i = root[i]
            return i

        for x in facts.splices:
            a, b = find(leg_of[x.a, x.a_fibre]), find(leg_of[x.b, x.b_fibre])
            root[max(a, b)] = min(a, b)
        members: dict[int, list[int]] = {}
        for f in facts.partner:
            members.setdefault(find(leg_of[f]), [])
        for i, (t, s, _) in enumerate(self.legs):
            if self._opens(t, s):
                members.setdefault(find(i), [])  # a parked leg is a group by itself
        for i in range(len(self.legs)):
            if find(i) in members:
                members[find(i)].append(i)
        self.forced: dict[int, dict[str, Any]] = {}
        self.pinned: list[tuple[int | None, dict[str, Any]]] = []
        self.possible = True
        for pin in facts.pins:
            if not pin.subunit:
                continue
            same = ks[pin.trunk][pin.subunit - 1] == pin.k
            leg = index[pin.trunk, pin.subunit, pin.group] if same else None
            if not pin.built:
                self.pinned.append((leg, pin.want))
            elif leg is None:
                self.possible = False
            else:
                self.forced[leg] = pin.want
                self.possible = self.possible and find(leg) in members
        self.groups = [self._group(members[r], leg_of) for r in sorted(members)]  # shared between splits where equal
        group_of = {i: n for n, group in enumerate(self.groups) for i in group.legs}
        # per group, the first group of its bunch
        self.first = list(range(len(self.groups)))
        for (t, s, _), i in index.items():
            if self._opens(t, s):
                one, other = self.first[group_of[i]], self.first[group_of[index[t, s, 1]]]
                self.first = [min(one, other) if n in (one, other) else n for n in self.first]
        self.bunch_splices = [0] * len(self.groups)
        for n, group in enumerate(self.groups):
            self.bunch_splices[self.first[n]] += group.splices
        must = {self.first[group_of[i]] for i in self.forced if i in group_of}
        self.must_groups = [n in must for n in self.first]
        # subunits as slices of the leg list, per trunk
        self.subunits: dict[str, list[list[int]]] = {
            t: [[index[t, s, g] for g in range(1, k + 1)] for s, k in enumerate(ks[t], 1)] for t in facts.trunks
        }
        self.place_stack = [p[0] for p in facts.places]
        self.place_position = [p[1] for p in facts.places]
        self.rise = [facts.rise_mm(place) for place in facts.places]
        self.more_inside = [facts.more_inside_mm(place) for place in facts.places]
        self.total_legs = sum(len(group.legs) for group in self.groups)

    def _opens(self, t: str, s: int) -> bool:
        """Whether the subunit is opened as soon as a leg of it is placed."""
        return self.divide_at[t] == "tray" and self.ks[t][s - 1] > 1 and self.facts.spliced[t][s - 1]

    def _group(self, legs: list[int], leg_of: Mapping[tuple[str, int], int]) -> Group:
        key = tuple(
            (leg, self.ks[leg[0]][leg[1] - 1], self.divide_at[leg[0]], self.ribbons[leg[0]])
            for leg in (self.legs[i] for i in legs)
        )
        if key not in self.ways.groups:
            self.ways.groups[key] = self._new_group(legs, leg_of)
        return self.ways.groups[key]._replace(legs=tuple(legs))

    def _new_group(self, legs: list[int], leg_of: Mapping[tuple[str, int], int]) -> Group:
        facts = self.facts
        inside = set(legs)
        splices = [x for x in facts.splices if leg_of[x.a, x.a_fibre] in inside]
        fibres = 0
        for i in legs:
            first, last = facts.leg_fibres(self.legs[i], self.ks[self.legs[i][0]][self.legs[i][1] - 1])
            fibres += last - first + 1
        wanted = [(key, value) for i in legs for key, value in self.forced.get(i, {}).items()]
        allowed = []
        for p, place in enumerate(facts.places):
            # alone at the place: what is broken here stays broken whatever else is placed
            there: dict[Leg, Place | None] = {self.legs[i]: place for i in legs}
            plan = Plan(facts, Decision({}, self.ks, there, {}, self.divide_at, self.ribbons), ways=False)
            rules = ("leg tube", "tray_fibres", "tray_sleeves", "bend_radius", "fibre_bend")
            at = {"stack": place[0], "position": place[1]}
            if (
                plan.tally(plan.broken(rules))[0]
                and all(at[k] == v for k, v in wanted)
                and self._reachable(legs, place)
            ):
                allowed.append(p)
        return Group(
            tuple(legs),
            len(splices),
            fibres - 2 * len(splices),
            frozenset(self.legs[i][0] for i in legs),
            frozenset(facts.pair(x.a, x.b) for x in splices),
            tuple(sorted(allowed)),
        )

    def _reachable(self, legs: list[int], place: Place) -> bool:
        """Whether each trunk has at least one way to the place that breaks nothing hard by itself."""
        return all(
            any(
                self.ways.size(Travelling(t, self.divide_at[t], self.ribbons[t], (), rises), option, {place[0]: end})
                is not None
                for option in self.ways.options[t]
                for end in self.facts.ends[place[0]]
            )
            for t in {self.legs[i][0] for i in legs}
            for rises in [((place[0], ((self.facts.rise_mm(place), self.facts.more_inside_mm(place)),)),)]
        )

    def layout(self, where: Sequence[int], *, whole: bool) -> tuple[Any, ...]:
        """All that the ways depend on: what travels where for each trunk, and the legs of each tray.

        If the layout is not yet ``whole``, only what can no longer lessen is in it: a subunit whose legs need tubes
        of the set but that has no placed leg yet might travel in slimmer tubes than its own.
        """
        facts = self.facts
        trunks = []
        box: list[str] = []
        held: dict[int, dict[str, int]] = {}
        inside = {self.legs[i][0] for i, w in enumerate(where) if w >= 0}
        for t, subunits in self.subunits.items():
            at = self.divide_at[t]
            units: list[tuple[int, str, int]] = []
            items: list[tuple[float, str | None]] = []
            rises: dict[str, list[Pair]] = {}
            for s, legs in enumerate(subunits, 1):
                own = facts.own_tube(t, len(legs), at)
                placed = [where[i] for i in legs if where[i] >= 0]
                if s in facts.uncut[t]:
                    continue
                if not placed:
                    if facts.coiled(t) and (own or whole):
                        items.append((facts.subunits[t][s - 1].diameter_mm, None))
                    continue
                tube = facts.traveller(t, s, len(legs), at)
                diameter = tube[0] if tube else 0.0
                if not own and facts.coiled(t):
                    items += [(diameter, None)] * (len(legs) - len(placed))
                items += [(diameter, self.place_stack[w]) for w in (placed[:1] if own else placed)]
                for w in placed:
                    rises.setdefault(self.place_stack[w], []).append((self.rise[w], self.more_inside[w]))
                    held.setdefault(w, {}).setdefault(t, 0)
                    held[w][t] += 1
                    if t in facts.other_end:
                        units.append((s, self.place_stack[w], self.rise[w] + self.more_inside[w]))
            if rises or facts.other_end.get(t) in inside:
                box.append(t)
                spread = tuple((stack, tuple(sorted(r))) for stack, r in rises.items())
                trunks.append(Travelling(t, at, self.ribbons[t], tuple(items), spread, tuple(units)))
        trays = tuple(
            (self.facts.places[w], tuple(counts.get(t, 0) for t in box)) for w, counts in sorted(held.items())
        )
        return tuple(trunks), trays

    def canonical(self, where: Sequence[int]) -> bool:
        """Whether every divided subunit has a placed leg, and every trunk whose ribbons are not at the first of its list.

        Otherwise the same plan is met at k = 1, or with that first.

        With it a trunk divided at the port has a placed leg of k > 1 or may not be divided at the tray: see _splits.
        """
        return all(
            len(legs) == 1 or any(where[i] >= 0 for i in legs)
            for subunits in self.subunits.values()
            for legs in subunits
        ) and all(
            self.ribbons[t] == _ribbon_words(self.facts, t)[0] or any(where[i] >= 0 for legs in subunits for i in legs)
            for t, subunits in self.subunits.items()
        )

    def walk(self, cut: Cut | None) -> Iterator[Layout]:
        """Yield every layout of the groups that breaks nothing hard, save where ``cut`` says to turn back.

        With each layout come broken must and broken prefer of the rules that need no options and ends.
        """
        if not self.possible:
            return
        where = [UNDECIDED] * len(self.legs)
        for i in range(len(self.legs)):
            if not any(i in group.legs for group in self.groups):
                where[i] = OUT
        room = {
            p: 2 * self.facts.tray(place)["fibres"] if self.facts.hard("tray_fibres") else 10**9
            for p, place in enumerate(self.facts.places)
        }
        yield from self._walk(0, 0, len(self.facts.splices), where, room, cut)

    def _walk(
        self,
        n: int,
        unplaced: int,
        still: int,
        where: list[int],
        room: dict[int, int],
        cut: Cut | None,
    ) -> Iterator[Layout]:
        """Place the groups from the n-th on; ``still`` splices are neither placed nor known to stay out."""
        if cut is not None:
            lost = unplaced + max(0, still - sum(ends // 2 for ends in room.values()))
            if cut(self, where, n, unplaced, lost):
                return
        if n == len(self.groups):
            if self.canonical(where):
                places = self.facts.places
                legs: dict[Leg, Place | None] = {
                    leg: places[w] if w >= 0 else None for leg, w in zip(self.legs, where, strict=True)
                }
                plan = Plan(self.facts, Decision({}, self.ks, legs, {}, self.divide_at, self.ribbons), ways=False)
                feasible, must, prefer = plan.tally(plan.broken(place_rules()))
                if feasible:
                    yield plan, must, prefer, self.layout(where, whole=True)
            return
        group = self.groups[n]
        size = 2 * group.splices + group.parked
        bunch = self.bunch(where, n)
        for p in group.allowed if bunch != OUT else ():
            if room[p] < size:
                continue
            for i in group.legs:
                where[i] = p
            last = n + 1 == len(self.groups)
            if self._together(where, group) and (last or self.ways.open(self.layout(where, whole=False))):
                room[p] -= size
                yield from self._walk(n + 1, unplaced, still - group.splices, where, room, cut)
                room[p] += size
        if bunch == OUT or (bunch == UNDECIDED and not self.must_groups[n]):
            for i in group.legs:
                where[i] = OUT
            lost = self.bunch_splices[n] if bunch == UNDECIDED else 0  # else told at the first group of the bunch
            yield from self._walk(n + 1, unplaced + lost, still - lost, where, room, cut)
        for i in group.legs:
            where[i] = UNDECIDED

    def bunch(self, where: Sequence[int], n: int) -> int:
        """Where the first group of the bunch of group n lies: a place, OUT, or UNDECIDED if it comes later."""
        return where[self.groups[self.first[n]].legs[0]]

    def _together(self, where: Sequence[int], group: Group) -> bool:
        """Whether the rule "divided at the tray" can still be kept by the subunits of the group just placed."""
        for i in group.legs:
            t, s, g = self.legs[i]
            if self.divide_at[t] == "port":
                continue
            for j in self.subunits[t][s - 1]:
                if where[j] >= 0 and j != i:
                    step = self.legs[j][2] - g
                    rise = self.place_position[where[j]] - self.place_position[where[i]]
                    if self.place_stack[where[j]] != self.place_stack[where[i]]:
                        return False
                    if not min(0, step) <= rise <= max(0, step):
                        return False
        return True

    def bound(self, where: Sequence[int], n: int) -> tuple[int, int, int, int, int, int]:
        """Lower bounds from the groups decided so far: broken must, broken prefer, legs, trays, crossings, length."""
        facts = self.facts
        must = prefer = crossings = legs = length = 0
        pair_m, pair_p = facts.cost("tray_pair")
        if pair_m or pair_p:
            held: dict[int, set[tuple[str, str]]] = {}
            for group in self.groups[:n]:
                w = where[group.legs[0]]
                if w >= 0:
                    held.setdefault(w, set()).update(group.pairs)
            mixed = sum(len(pairs) > 1 for pairs in held.values())
            must, prefer = must + mixed * pair_m, prefer + mixed * pair_p
        pin_m, pin_p = facts.cost("pin")
        for leg, want in self.pinned:
            if leg is None or not self._keeps(where[leg], want):
                must, prefer = must + pin_m, prefer + pin_p
        for t, subunits in self.subunits.items():
            m, p, c = self._trunk_bound(t, subunits, where)
            must, prefer, crossings = must + m, prefer + p, crossings + c
        for i, w in enumerate(where):
            if w >= 0:
                legs += 1
                length += self.shortest(self.legs[i][0], w)
        m, p = self._tied_bound(where)
        return must + m, prefer + p, legs, len({w for w in where if w >= 0}), crossings, length

    def _tied_bound(self, where: Sequence[int]) -> Pair:
        """Broken must and prefer of tied_trays: a group of tied places that is too large stays so."""
        must, prefer = self.facts.cost("tied_trays")
        if not must and not prefer:
            return 0, 0
        group = {w: {w} for w in where if w >= 0}
        for t, subunits in self.subunits.items():
            for s, legs in enumerate(subunits, 1):
                held = [group[where[i]] for i in legs if where[i] >= 0]
                if len(held) > 1 and self._opens(t, s):
                    merged = set().union(*held)
                    group.update(dict.fromkeys(merged, merged))
        n = sum(len(tied) > self.facts.rules["tied_trays"].params["trays"] for tied in group.values())
        return n * must, n * prefer

    def _keeps(self, w: int, want: Mapping[str, Any]) -> bool:
        if w == UNDECIDED:
            return True
        return w >= 0 and all(
            {"stack": self.place_stack[w], "position": self.place_position[w]}[k] == v for k, v in want.items()
        )

    def _trunk_bound(self, t: str, subunits: list[list[int]], where: Sequence[int]) -> tuple[int, int, int]:
        facts = self.facts
        must = prefer = 0
        at_port = self.divide_at[t] == "port"
        scatter = facts.cost("subunit_together") if at_port else (0, 0)
        balance = facts.cost("alternate_stacks") if t in facts.leads else (0, 0)
        counts = dict.fromkeys(facts.stacks, 0)
        counting = True
        divided = False
        lows: list[list[int]] = []  # per traveller
        for legs in subunits:
            known, before, low, scattered = True, -1, 0, False
            first: str | None = None
            of_subunit: list[int] = []
            for i in legs:
                w = where[i]
                divided = divided or (w >= 0 and len(legs) > 1)
                if w == UNDECIDED:
                    known = False
                elif w >= 0 and known:
                    position = self.place_position[w]
                    if before >= 0 and self.place_stack[before] == self.place_stack[w]:
                        step = position - self.place_position[before]
                        if step not in (0, 1):
                            low, scattered = position, True
                    else:
                        scattered = scattered or before >= 0
                        low = position
                    if first is None:
                        first = self.place_stack[w]
                    before = w
                    of_subunit.append(low)
            if facts.own_tube(t, len(legs), self.divide_at[t]):
                lows.append(of_subunit)
            else:
                lows += [[low] for low in of_subunit]
            if scattered:
                must, prefer = must + scatter[0], prefer + scatter[1]
            if first is None:
                counting = counting and known
            elif counting:
                counts[first] += 1
                if max(counts.values()) - min(counts.values()) > 1:
                    must, prefer = must + balance[0], prefer + balance[1]
        if divided and at_port and "tray" in facts.divisions(t):
            broken = facts.cost("breakout")
            must, prefer = must + broken[0], prefer + broken[1]
        crossings = sum(max(u) > min(v) for u, v in itertools.combinations(lows, 2) if u and v)
        return must, prefer, crossings

    def shortest_sum(self, plan: Plan) -> int:
        """Return a lower bound on the length of a layout."""
        return sum(self.shortest(leg[0], self.facts.place_order[place]) for leg, place in plan.placed.items())

    def shortest(self, t: str, p: int) -> int:
        """Return the shortest cut of the trunk to a place, over all its options and the stack's ends."""
        memo = self.ways.shortest
        if (t, p) not in memo:
            place = self.facts.places[p]
            rise = self.facts.rise_mm(place) + self.facts.more_inside_mm(place)
            memo[t, p] = min(
                (
                    self.facts.cut_mm(t, option[2], self.ways.way(option, place[0], end)[1] + rise)
                    for option in self.ways.options[t]
                    for end in self.facts.ends[place[0]]
                ),
                default=0,
            )
        return memo[t, p]


def _divisions(facts: Facts, t: str) -> list[tuple[str, tuple[int, ...]]]:
    """All ways to divide a trunk: where, and each subunit in how many; a subunit without a spliced fibre in one.

    Each in the form in which a plan says it: a trunk that is nowhere divided is divided at the tray, if it may be.
    """
    counts = [divisors(x.ribbons) if facts.spliced[t][s] else [1] for s, x in enumerate(facts.subunits[t])]
    own = facts.divisions(t)
    built = [pin.want["divide_at"] for pin in facts.pins if pin.trunk == t and pin.built and "divide_at" in pin.want]
    return [
        (at, ks)
        for at in own
        for ks in itertools.product(*counts)
        if (at == own[0] or any(k > 1 for k in ks)) and all(at == wanted for wanted in built)
    ]


def _ribbon_words(facts: Facts, t: str) -> list[str | int]:
    """Name what may be done with the ribbons of a trunk beside what is built."""
    built = [pin.want["ribbons"] for pin in facts.pins if pin.trunk == t and pin.built and "ribbons" in pin.want]
    return [word for word in facts.ribbon_words(t) if all(word == wanted for wanted in built)]


def _splits(facts: Facts, ways: Ways) -> list[Split]:
    """All choices of k and of where to divide, those with the fewest legs first."""
    splits = []
    for picked in itertools.product(*(_divisions(facts, t) for t in facts.trunks)):
        chosen = dict(zip(facts.trunks, picked, strict=True))
        ks = {t: ks for t, (_, ks) in chosen.items()}
        for words in itertools.product(*(_ribbon_words(facts, t) for t in facts.trunks)):
            ribbons = dict(zip(facts.trunks, words, strict=True))
            splits.append(Split(facts, ways, ks, {t: at for t, (at, _) in chosen.items()}, ribbons))
    return sorted(splits, key=lambda split: split.total_legs)


def _said(plan: Plan) -> dict[str, str | int]:
    return {t: plan.ribbons[t] for t in plan.facts.ribbons_said if t in plan.ribbons}


def _full(plan: Plan, trunks: Mapping[str, Option], ends: Mapping[str, str]) -> Decision:
    return Decision(dict(trunks), plan.k, dict(plan.placed), dict(ends), dict(plan.divide_at), _said(plan))


def complete_order(goals: Sequence[str]) -> tuple[str, ...]:
    """Complete a list of goals that may be put in another order: what it leaves out follows at its usual place."""
    if len(set(goals)) != len(goals) or set(goals) - set(GOAL_ORDER):
        raise ValueError(f"the goals that may be put in another order are {GOAL_ORDER}, each once, not {goals}")
    return (*goals, *(goal for goal in GOAL_ORDER if goal not in goals))


def _with(goals: Sequence[int], way: tuple[int, int, int]) -> list[int]:
    """Add broken must, broken prefer and length of a way to the goals of a layout."""
    return [goals[0], goals[1] + way[0], goals[2] + way[1], *goals[3:6], goals[6] + way[2], goals[7]]


class _Search:
    """The search of :func:`solve`: all splits, depth first over the places, with the best plan so far as a bound."""

    def __init__(self, facts: Facts, goal_order: Sequence[str]) -> None:
        self.order = (0, 1, 2, *(GOALS.index(goal) for goal in complete_order(goal_order)), 7)
        self.ways = Ways(facts)
        self.splits = _splits(facts, self.ways)
        self.best: Goals | None = None
        self.decision: Decision | None = None
        self.collecting = False

    def ordered(self, goals: Sequence[int]) -> Goals:
        """Goals in the order in which they are compared."""
        a, b, c, d, e, f, g, h = (goals[i] for i in self.order)
        return a, b, c, d, e, f, g, h

    def cut(self, split: Split, where: Sequence[int], n: int, unplaced: int, lost: int) -> bool:
        """Whether no completion of the groups decided so far is better than the best plan known.

        Each component is a lower bound, so the bound in lexicographic order is one too.
        """
        if self.best is None or lost < self.best[0]:
            return False
        if lost > self.best[0]:
            return True
        must, prefer, legs, trays, crossings, length = split.bound(where, n)
        box = {split.legs[i][0] for i, w in enumerate(where) if w >= 0}
        rest = range(n, len(split.groups))
        decided = {g: split.bunch(where, g) for g in rest}
        open_bunches = {split.first[g] for g in rest if decided[g] == UNDECIDED}
        none_more = all(unplaced + split.bunch_splices[g] > self.best[0] for g in open_bunches)
        for g in rest:
            # groups that have to be placed: their bunch is placed, or no further bunch can stay out
            if decided[g] >= 0 or (decided[g] == UNDECIDED and none_more):
                group = split.groups[g]
                if not group.allowed:
                    return True
                legs += len(group.legs)
                box |= group.trunks
                for i in group.legs:
                    length += min(split.shortest(split.legs[i][0], p) for p in group.allowed)
        more = self.ways.relaxed(frozenset((t, split.divide_at[t], split.ribbons[t]) for t in box))
        bound = self.ordered((lost, must + more[0], prefer + more[1], legs, trays, crossings, length, 0))
        return bound > self.best if self.collecting else bound >= self.best

    def _layouts(self) -> Iterator[tuple[Goals, Plan, tuple[Any, ...], tuple[int, int, int]]]:
        for split in self.splits:
            for plan, must, prefer, layout in split.walk(self.cut):
                of_layout = (len(plan.placed), len(plan.used), len(plan.crossings()))
                goals = [len(plan.loose), must, prefer, *of_layout, 0, plan.irregular()]
                box = frozenset((t, split.divide_at[t], split.ribbons[t]) for t in plan.box)
                least = (*self.ways.relaxed(box), split.shortest_sum(plan))
                if self.best is not None:
                    bound = self.ordered(_with(goals, least))
                    if bound > self.best or (bound == self.best and not self.collecting):
                        continue
                way = self.ways.best(layout)
                if way is not None:
                    yield self.ordered(_with(goals, way)), plan, layout, way

    def run(self) -> None:
        """Find the best goals and one decision that has them."""
        for goals, plan, layout, way in self._layouts():
            if self.best is None or goals < self.best:
                self.best = goals
                _, trunks, ends = next(found for found in self.ways.every(layout) if found[0] == way)
                self.decision = _full(plan, trunks, ends)

    def collect(self) -> list[Decision]:
        """All decisions with the best goals, after :meth:`run`."""
        self.collecting = True
        return [
            _full(plan, trunks, ends)
            for goals, plan, layout, way in self._layouts()
            if goals == self.best
            for found, trunks, ends in self.ways.every(layout)
            if found == way
        ]


def all_feasible(job: Json | Facts) -> Iterator[Decision]:
    """Yield every decision that keeps all always rules, built pins and physical rules at must, each once.

    A subunit without a placed leg has k = 1, as in a plan; a trunk without one has no option, an unused stack no end.
    """
    facts = job if isinstance(job, Facts) else Facts(job)
    ways = Ways(facts)
    for split in _splits(facts, ways):
        for plan, _, _, layout in split.walk(None):
            for _, trunks, ends in ways.every(layout):
                yield _full(plan, trunks, ends)


def solve(job: Json | Facts, goal_order: Sequence[str] = GOAL_ORDER, *, every: bool = False) -> Best | None:
    """Find the best plan of a tiny job by enumeration.

    Parameters
    ----------
    job : dict or Facts
        The resolved job.
    goal_order : sequence of str, optional
        Order of the goals legs, trays, crossings and leg_length_mm; what is left out follows in this order. The goals
        that are returned keep the order of section 11.
    every : bool, optional
        Also collect all optimal decisions.

    Returns
    -------
    Best or None
        None only if built pins leave no plan at all.
    """
    facts = job if isinstance(job, Facts) else Facts(job)
    search = _Search(facts, goal_order)
    search.run()
    if search.best is None or search.decision is None:
        return None
    optimal = search.collect() if every else []
    goals, _, feasible, _ = judge(facts, search.decision)
    if not feasible or search.ordered(goals) != search.best:
        raise AssertionError(f"the search says {search.best}, the judgement {goals}, feasible {feasible}")
    return Best(goals, search.decision, optimal)
