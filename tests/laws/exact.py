"""Changes under which goals move by what can be told beforehand; each docstring says why."""

from __future__ import annotations

import copy
import random
from itertools import pairwise
from math import sqrt

from tests.build import Json
from tests.laws.law import Goals, Law
from tests.laws.same import along_an_axis, places_in_plane, runs_changed, through, trays
from trayopt.domain.ranges import Run
from trayopt.track.lengths import CUT_STEP_MM

LONGER_MM = 3 * CUT_STEP_MM
STRAIGHTEN_MM = 100
"""Guides this near to the edge of the ring, as it is drawn, are put on it."""


def each_leg_longer(job: Json, rng: random.Random) -> Json | None:
    """Make every leg longer by a whole number of steps of its cut: the total grows by that for each leg.

    The number of legs counts before the length, so that it is settled where lengths are compared. What a trunk is stripped of
    and what it has exposed grow by as much, and what a tray frees for the bench has no part in it. Not so where a trunk goes
    through: what passes uncut makes as many loops as fit the longest leg, so that a longer leg may fill guides.
    """
    if through(job):
        return None
    exposed = job["rules"]["exposed"]["parameters"]
    where = rng.choice(["tray", "cable", "splice"])
    if where == "tray":
        for tray in trays(job):
            tray["inside_mm"] += LONGER_MM
    elif where == "cable":
        for trunk in job["trunks"]:
            trunk["transition_mm"] += LONGER_MM
    else:
        exposed["resplice_mm"] += LONGER_MM
    exposed["least_mm"] += LONGER_MM
    for trunk in job["trunks"]:
        if trunk["exposed_mm"] is not None:
            trunk["exposed_mm"] += LONGER_MM
    return job


def _with_longer_legs(goals: Goals) -> Goals:
    return goals | {"leg_length_mm": goals["leg_length_mm"] + LONGER_MM * goals["legs"]}


def on_a_grid(job: Json, rng: random.Random) -> Json:
    """Draw a box anew, every piece of a route along an axis and of whole steps of the cut, so that nothing is rounded."""
    del rng
    box = job["enclosure"]
    guides = box["track"]["guides"]
    for thing in places_in_plane(job):
        thing["x_mm"], thing["y_mm"] = _step(thing["x_mm"]), _step(thing["y_mm"])
    for key in ("x_mm", "y_mm"):
        edges = [edge(guide[key] for guide in guides) for edge in (min, max)]
        for guide in guides:
            guide[key] = next((edge for edge in edges if abs(guide[key] - edge) <= STRAIGHTEN_MM), guide[key])
    at = {guide["id"]: guide for guide in guides}
    for thing in places_in_plane(job):
        if "guide" in thing:
            thing["x_mm"] = at[thing["guide"]]["x_mm"]
    track, exposed = box["track"], job["rules"]["exposed"]["parameters"]
    track["z_mm"] = [_step(edge) for edge in track["z_mm"]]
    for stack in box["stacks"]:
        stack |= {key: _step(stack[key]) for key in ("base_z_mm", "pitch_mm")}
        for item in stack["trays"]:
            item["pitch_mm"] = None if item["pitch_mm"] is None else _step(item["pitch_mm"])
    for tray in trays(job):
        tray["inside_mm"] = _step(tray["inside_mm"])
    for trunk in job["trunks"]:
        trunk["transition_mm"] = _step(trunk["transition_mm"])
    exposed |= {key: _step(exposed[key]) for key in ("resplice_mm", "allowance_mm")}
    for pin in job["pins"]:
        pin["built"] = False
    return job


def _step(mm: int) -> int:
    return round(mm / CUT_STEP_MM) * CUT_STEP_MM


def twice_as_long(job: Json, rng: random.Random) -> Json | None:
    """Double all lengths of a box in which no piece of a route is rounded: cuts are twice as long, and bounds twice as far."""
    del rng
    box = job["enclosure"]
    guides = box["track"]["guides"]
    if not all(along_an_axis(a, b) for a, b in pairwise([*guides, guides[0]])):
        return None
    for thing in places_in_plane(job):
        thing["x_mm"] *= 2
        thing["y_mm"] *= 2
    box["track"]["z_mm"] = [2 * edge for edge in box["track"]["z_mm"]]
    for stack in box["stacks"]:
        stack["base_z_mm"] *= 2
        stack["pitch_mm"] *= 2
        for item in stack["trays"]:
            item["pitch_mm"] = None if item["pitch_mm"] is None else 2 * item["pitch_mm"]
    for tray in trays(job):
        tray["inside_mm"] *= 2
    for item in through(job):
        item["slack_mm"] = None if item["slack_mm"] is None else 2 * item["slack_mm"]
    for trunk in job["trunks"]:
        trunk["transition_mm"] *= 2
        trunk["exposed_mm"] = None if trunk["exposed_mm"] is None else 2 * trunk["exposed_mm"]
    for rule in ("reach", "exposed"):
        parameters = job["rules"][rule]["parameters"]
        parameters |= {key: 2 * value for key, value in parameters.items()}
    return job


def twice_the_fibres(job: Json, rng: random.Random) -> Json | None:
    """Make two fibres of each: ribbons, trays, sleeves and runs hold twice as many, and twice the splices stay out.

    The same divisions fit the same trays. Bores are left as they are: for flat ribbons they hold no number of fibres, and the
    coating of round ones is thinner by √2. Ribbons that are made anew are twice as wide. Not so where stacks carry trays of
    several kinds: then it counts which of them take single fibres, and these would take two.
    """
    del rng
    if any(stack["trays"] for stack in job["enclosure"]["stacks"]):
        return None
    if any(word > 48 for trunk in job["trunks"] for word in trunk["ribbons"] if isinstance(word, int)):
        return None
    for item in [*job["trunks"], *job["pins"]]:
        given = item.get("ribbons")
        if isinstance(given, list):
            item["ribbons"] = [2 * word if isinstance(word, int) else word for word in given]
        elif isinstance(given, int):
            item["ribbons"] = 2 * given
    cables = [trunk["cable"] for trunk in job["trunks"]]
    if any(group["ribbon_fibres"] > 48 for cable in cables for group in cable["subunits"]):
        return None
    for cable in cables:
        cable["coating_mm"] /= sqrt(2)
        for group in cable["subunits"]:
            group["ribbon_fibres"] *= 2
    for stack in job["enclosure"]["stacks"]:
        stack["tray"]["fibres"] *= 2
        stack["tray"]["sleeve_fibres"] *= 2
    runs_changed(job, lambda run: Run(run.trunk, 2 * run.first - 1, 2 * run.last))
    return job


def preferences_weigh_more(job: Json, rng: random.Random) -> Json:
    """Multiply every weight by three: every sum of weights is three times as large, and orders plans as before."""
    del rng
    for setting in job["rules"].values():
        setting["weight"] *= 3
    return job


def stacks_in_another_order(job: Json, rng: random.Random) -> Json | None:
    """List stacks in any other order: irregular, the last goal, alone asks which stack follows which.

    Rule alternate_stacks counts them and asks for no order.
    """
    stacks = job["enclosure"]["stacks"]
    rng.shuffle(stacks)
    return job if len(stacks) > 1 else None


def stack_that_takes_no_leg(job: Json, rng: random.Random) -> Json | None:
    """Add a stack in whose trays no fibre may be bent: it stays empty, and counts only where stacks are taken in turn.

    That is in alternate_stacks, which is off here, and in irregular, which is not compared. Its trays have the id of others.
    """
    if job["rules"]["fibre_bend"]["level"] != "must":
        return None
    stacks = job["enclosure"]["stacks"]
    stack = copy.deepcopy(rng.choice(stacks)) | {"id": "too tight"}
    stack["tray"]["min_radius_mm"] = 1
    stack["trays"] = []
    stack["positions"] = max(stack["positions"], int(job["rules"]["reserve"]["parameters"]["trays"]))
    stacks.insert(rng.randint(0, len(stacks)), stack)
    return job


def without_turns(job: Json, rng: random.Random) -> Json:
    """Let stacks be taken in any turn."""
    del rng
    job["rules"]["alternate_stacks"]["level"] = "off"
    return job


def at_the_port(job: Json, rng: random.Random) -> Json:
    """Let every trunk be divided at the port, and its subunits be parted; nothing is built."""
    without_turns(job, rng)
    job["rules"]["subunit_together"]["level"] = "off"
    for trunk in job["trunks"]:
        trunk["divide_at"] = ["port"]
    for pin in job["pins"]:
        pin["built"] = False
        pin.pop("divide_at", None)
    return job


def all_trays_equally_deep(job: Json, rng: random.Random) -> Json:
    """Let the trays of a stack be the same but for their order: of one kind, at one distance from the track, none pinned."""
    without_turns(job, rng)
    for stack in job["enclosure"]["stacks"]:
        stack |= {"pitch_mm": 0, "trays": []}
    job["pins"] = [pin | {"built": False} for pin in job["pins"] if "trunk" in pin]
    return job


def numbered_backwards(job: Json, rng: random.Random) -> Json:
    """Count fibres from the other end: numbers name the same ribbons, legs, pairs and runs of splices.

    What asks for an order of legs may move: crossings, irregular, alternate_stacks, which is off, and the rules that let the
    positions of a subunit's legs stay or rise. These do not ask trunks that are divided at the port. Divided at the tray,
    legs that rose fall; where trays of a stack differ in nothing but their order, they rise again in the plan that has
    each stack upside down, up to its last used place, and it has no more empty places under used ones.
    """
    del rng
    fibres = {}
    for trunk in job["trunks"]:
        groups = trunk["cable"]["subunits"]
        groups.reverse()
        numbers = sum(group["count"] for group in groups)
        if "uncut" in trunk:
            trunk["uncut"] = sorted(numbers + 1 - number for number in trunk["uncut"])
        fibres[trunk["id"]] = sum(group["count"] * group["ribbons"] * group["ribbon_fibres"] for group in groups)
    runs_changed(job, lambda r: Run(r.trunk, fibres[r.trunk] + 1 - r.last, fibres[r.trunk] + 1 - r.first))
    return job


LENGTH_FIRST = ("legs", "trays", "leg_length_mm", "crossings")

COMPOSABLE = [
    Law(each_leg_longer, _with_longer_legs),
    Law(twice_the_fibres, lambda goals: goals | {"unplaced": 2 * goals["unplaced"]}),
    Law(preferences_weigh_more, lambda goals: goals | {"broken_prefer": 3 * goals["broken_prefer"]}),
]
"""Changes of any job that move the goals as is told here, one upon another."""

EXACT = [
    *COMPOSABLE,
    Law(twice_as_long, lambda goals: goals | {"leg_length_mm": 2 * goals["leg_length_mm"]}, ready=on_a_grid),
    Law(stacks_in_another_order, upto=7),
    Law(stack_that_takes_no_leg, ready=without_turns, upto=7),
    Law(numbered_backwards, ready=at_the_port, order=LENGTH_FIRST, upto=6),
    Law(numbered_backwards, ready=all_trays_equally_deep, order=LENGTH_FIRST, upto=6),
]
"""These, and changes of jobs that are made ready for them."""
