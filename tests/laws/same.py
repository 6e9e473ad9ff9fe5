"""Changes that leave every goal as it is; each docstring says why."""

from __future__ import annotations

import copy
import random
from collections.abc import Callable, Iterable
from itertools import pairwise
from typing import Any

from tests.build import Json
from tests.laws.law import Law
from trayopt.domain.ranges import Run, parse_run

OTHER = {"clockwise": "counterclockwise", "counterclockwise": "clockwise"}


def runs_changed(job: Json, change: Callable[[Run], Run]) -> None:
    """Change every run that the joins and pins of a job name."""
    for item in [*job["joins"], *job["pins"]]:
        for key in {"a", "b", "leg"} & set(item):
            item[key] = str(change(parse_run(item[key])))


def trays(job: Json) -> Iterable[Json]:
    """Give the kinds of tray of all stacks, those of their ranges of positions too."""
    return [item["tray"] for stack in job["enclosure"]["stacks"] for item in (stack, *stack["trays"])]


def through(job: Json) -> list[Json]:
    """Give the trunks that go through the box; each names two of the trunks as its ends."""
    found: list[Json] = job.get("through", [])
    return found


def entrances(job: Json) -> Iterable[Json]:
    """Give every entrance of the box."""
    return [end[travel] for stack in job["enclosure"]["stacks"] for end in stack["ends"] for travel in OTHER]


def places_in_plane(job: Json) -> Iterable[Json]:
    """Give everything of the box that has a place in the x, y plane, save the trays themselves, which no figure looks at."""
    box = job["enclosure"]
    return [*box["track"]["guides"], *box["ports"], *entrances(job)]


def renamed(job: Json, rng: random.Random) -> Json:
    """Name all things anew: rules and goals ask which thing it is, and no order follows from what it is called.

    Trunks, the ends of those that go through, stacks, ends, ports, guides and joins get names whose order by letters is drawn.
    """
    box = job["enclosure"]

    def names(things: Iterable[Json], key: str = "id") -> dict[Any, str]:
        """Name things anew, and say what the new name of each old one is."""
        things = list(things)
        fresh = rng.sample([f"{letter}{i}" for letter in "az" for i in range(len(things))], len(things))
        made = {None: None} | {thing[key]: name for thing, name in zip(things, fresh, strict=True)}
        for thing in things:
            thing[key] = made[thing[key]]
        return made  # type: ignore[return-value]

    guides, ports = names(box["track"]["guides"]), names(box["ports"])
    stacks, trunks, joins = names(box["stacks"]), names(job["trunks"]), names(job["joins"], "name")
    for stack in box["stacks"]:
        names(stack["ends"])
    for thing in [*box["ports"], *entrances(job)]:
        thing["guide"] = guides[thing["guide"]]
    for trunk in job["trunks"]:
        if trunk["ports"] != "any":
            trunk["ports"] = [ports[port] for port in trunk["ports"]]
    runs_changed(job, lambda run: Run(trunks[run.trunk], run.first, run.last))
    for item in through(job):
        item |= {"trunk": f"as {item['trunk']}", "ends": [trunks[end] for end in item["ends"]]}
    for entry in job["apart"]:
        entry["joins"] = [joins[name] for name in entry["joins"]]
    for pin in job["pins"]:
        for key, made in (("trunk", trunks), ("port", ports), ("stack", stacks)):
            if key in pin:
                pin[key] = made[pin[key]]
    return job


def trunks_in_another_order(job: Json, rng: random.Random) -> Json:
    """List trunks in another order: it has no part in any figure.

    Which trunk leads follows from the joins, a pair of trunks is one subject whichever stands first, and sleeves are counted
    alike from both sides. Crossings and irregular look at one trunk at a time and are summed.
    """
    rng.shuffle(job["trunks"])
    return job


def lists_in_another_order(job: Json, rng: random.Random) -> Json:
    """List in another order what is a set: ports, seals, ends, tubes, pins, what is to be apart; the ring has no first guide."""
    box = job["enclosure"]
    for items in (
        box["ports"], *(port["seals"] for port in box["ports"]), *(stack["ends"] for stack in box["stacks"]),
        job["tubes"]["tubes"], job["pins"], job["apart"],
        *(trunk[key] for trunk in job["trunks"] for key in ("loops", "ports") if trunk[key] != "any"),
    ):  # fmt: skip
        rng.shuffle(items)
    guides = box["track"]["guides"]
    start = rng.randrange(len(guides))
    box["track"]["guides"] = guides[start:] + guides[:start]
    return job


def stacks_turned_round(job: Json, rng: random.Random) -> Json | None:
    """Let another stack be the first: irregular takes the list as a circle, and nothing else looks at its order.

    Place order, in which plans are written, is another one; no goal counts by it.
    """
    stacks = job["enclosure"]["stacks"]
    if len(stacks) == 1:
        return None
    start = rng.randrange(1, len(stacks))
    job["enclosure"]["stacks"] = stacks[start:] + stacks[:start]
    return job


def mirrored(job: Json, rng: random.Random) -> Json:
    """Mirror the box: clockwise and counterclockwise change places, and every straight piece is as long as before.

    Guides are listed the other way, so that they are clockwise again; a box may also be mirrored top to bottom.
    """
    box = job["enclosure"]
    axis = rng.choice([0, 1])
    key, size = ("x_mm", "y_mm")[axis], int(box["size_mm"][axis])
    for thing in places_in_plane(job):
        thing[key] = size - thing[key]
    for stack in box["stacks"]:
        stack["at_mm"][axis] = int(size - stack["at_mm"][axis] - stack["tray"]["size_mm"][axis])
        for end in stack["ends"]:
            end["clockwise"], end["counterclockwise"] = end["counterclockwise"], end["clockwise"]
    box["track"]["guides"].reverse()
    for item, word in [
        *((port, "turns") for port in box["ports"]), *((trunk, "travel") for trunk in job["trunks"]),
        *((pin, "travel") for pin in job["pins"]),
    ]:  # fmt: skip
        if item.get(word) in OTHER:
            item[word] = OTHER[item[word]]
    return job


def moved(job: Json, rng: random.Random) -> Json:
    """Move the origin of coordinates, in the plane and in depth: lengths are distances."""
    x, y, z = (rng.randint(-300, 300) for _ in range(3))
    for thing in places_in_plane(job):
        thing["x_mm"] += x
        thing["y_mm"] += y
    track = job["enclosure"]["track"]
    track["z_mm"] = [edge + z for edge in track["z_mm"]]
    for stack in job["enclosure"]["stacks"]:
        stack["base_z_mm"] += z
    return job


def joins_cut_and_turned(job: Json, rng: random.Random) -> Json | None:
    """List joins as two, the second part with its sides changed over and at the end of the list.

    Each trunk is named first by the same side as before, so that the same trunks lead; sleeves are counted over runs of
    splices, whichever joins they come from. Joins that are to be apart stay whole, for each pair of them is a subject.
    """
    held = {name for entry in job["apart"] for name in entry["joins"]}
    rest = []
    for join in job["joins"]:
        a, b = parse_run(join["a"]), parse_run(join["b"])
        if join["name"] in held or a.count < 2:
            continue
        cut = rng.randrange(1, a.count)
        first, second = (
            [Run(run.trunk, run.first + since, run.first + upto - 1) for run in (a, b)]
            for since, upto in ((0, cut), (cut, a.count))
        )
        join |= {"a": str(first[0]), "b": str(first[1])}
        rest.append({"a": str(second[1]), "b": str(second[0]), "name": f"{join['name']} rest"})
    rng.shuffle(rest)
    job["joins"] += rest
    return job if rest else None


def subunits_listed_singly(job: Json, rng: random.Random) -> Json | None:
    """List equal subunits one by one instead of as one group: rules look at each subunit."""
    del rng
    found = False
    for trunk in job["trunks"]:
        groups = trunk["cable"]["subunits"]
        found |= any(group["count"] > 1 for group in groups)
        trunk["cable"]["subunits"] = [
            copy.deepcopy(group) | {"count": 1} for group in groups for _ in range(group["count"])
        ]
    return job if found else None


def trunk_without_join(job: Json, rng: random.Random) -> Json:
    """Add a trunk without a join: it has no leg to place and stays outside, where no rule looks at it."""
    trunk = copy.deepcopy(rng.choice(job["trunks"])) | {"id": "unused"}
    trunk["cable"]["diameter_mm"] *= rng.choice([1, 3])
    trunk.pop("uncut", None)
    job["trunks"].insert(rng.randint(0, len(job["trunks"])), trunk)
    return job


def port_without_seals(job: Json, rng: random.Random) -> Json | None:
    """Add a port without seals, which takes no trunk: where port_seal is at must, no plan lets one enter there."""
    if job["rules"]["port_seal"]["level"] != "must":
        return None
    ports = job["enclosure"]["ports"]
    port = copy.deepcopy(rng.choice(ports)) | {"id": "sealed off", "seals": [], "turns": "both"}
    ports.insert(rng.randint(0, len(ports)), port)
    for trunk in job["trunks"]:
        if trunk["ports"] != "any":
            trunk["ports"].insert(rng.randint(0, len(trunk["ports"])), port["id"])
    return job


def end_twice(job: Json, rng: random.Random) -> Json:
    """Add an end with the two entrances of another one: it gives no route that was not there before."""
    stack = rng.choice(job["enclosure"]["stacks"])
    twin = copy.deepcopy(rng.choice(stack["ends"])) | {"id": "twin"}
    stack["ends"].insert(rng.randint(0, len(stack["ends"])), twin)
    return job


def guide_on_the_way(job: Json, rng: random.Random) -> Json | None:
    """Add a guide that is never full in the middle of a hop along an axis, which it cuts into two whole numbers of mm.

    The allowance for a lay at the outer edge stands in the job, so that its width counts for nothing.
    """
    guides = job["enclosure"]["track"]["guides"]
    hops = list(pairwise([*guides, guides[0]]))
    fit = [i for i, (a, b) in enumerate(hops) if along_an_axis(a, b) and a != b]
    if not fit:
        return None
    i = rng.choice(fit)
    a, b = hops[i]
    between = {key: (a[key] + b[key]) // 2 for key in ("x_mm", "y_mm")}
    guides.insert(i + 1, between | {"id": "between", "opening_mm2": 25_000.0, "width_mm": 10.0})
    return job


def along_an_axis(a: Json, b: Json) -> bool:
    """Whether a piece between two things of the box is as long as the one number in which their places differ."""
    return bool(a["x_mm"] == b["x_mm"] or a["y_mm"] == b["y_mm"])


def tube_that_is_never_taken(job: Json, rng: random.Random) -> Json:
    """Add a tube that is thicker than another and no wider inside: the one with the smallest diameter is taken."""
    tubes = job["tubes"]["tubes"]
    wide = max(tubes, key=lambda tube: tube["bore_mm"])
    thick = max(tube["diameter_mm"] for tube in tubes)
    worse = {"bore_mm": wide["bore_mm"], "diameter_mm": thick + 1, "least_radius_mm": 1}
    tubes.insert(rng.randint(0, len(tubes)), worse)
    return job


def idle_subunit_cut_back(job: Json, rng: random.Random) -> Json | None:
    """Add a subunit without a splice: it lies in no tray, and cut back it passes no guide either."""
    del rng
    trunks = [trunk for trunk in job["trunks"] if trunk["idle"] == "cut_back"]
    for trunk in trunks:
        groups = trunk["cable"]["subunits"]
        groups.append(copy.deepcopy(groups[0]) | {"count": 1})
    return job if trunks else None


def twice_as_thick(job: Json, rng: random.Random) -> Json:
    """Double all diameters and the radii of tubes and track, and take openings four times as large: the same things fit.

    Every comparison of thickness has the same factor on both sides. Radii of fibres in trays are left as they are on both
    sides, and lengths hold no thickness, for the allowance stands in the job.
    """
    del rng
    box = job["enclosure"]
    box["track"]["min_radius_mm"] *= 2
    for guide in box["track"]["guides"]:
        guide["opening_mm2"] *= 4
    cables = [trunk["cable"] for trunk in job["trunks"]]
    for thing in [
        *box["ports"], *(seal for port in box["ports"] for seal in port["seals"]), *job["tubes"]["tubes"],
        *cables, *(group for cable in cables for group in cable["subunits"]),
    ]:  # fmt: skip
        for key in ("bore_mm", "least_mm", "most_mm", "diameter_mm", "least_radius_mm", "coating_mm"):
            if thing.get(key) is not None:
                thing[key] *= 2
        if thing.get("ribbon_mm"):
            thing["ribbon_mm"] = [2 * side for side in thing["ribbon_mm"]]
    return job


SAME = [
    Law(change)
    for change in (
        renamed, trunks_in_another_order, lists_in_another_order, stacks_turned_round, mirrored, moved, joins_cut_and_turned,
        subunits_listed_singly, trunk_without_join, port_without_seals, end_twice, guide_on_the_way,
        tube_that_is_never_taken, idle_subunit_cut_back, twice_as_thick,
    )
]  # fmt: skip
"""Changes that leave all goals as they are."""
