"""Random jobs of the kind that a designer brings: trunks and boxes of the library, with wishes and limits.

``draw(seed, index)`` gives the same job on every machine. The families take turns: nine for the first 200
jobs, three that came later (``mixes_later``) for the others. Everything else is drawn: box, cables,
counts, where runs begin, divisions at the tray or at the port, limits of trunks, pins, joins that are to be apart, levels
and weights of rules. About a third of the jobs ask for more than their box can hold.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from functools import cache
from itertools import combinations, pairwise
from math import exp, log

from benchmarks import mixes_later
from benchmarks.boxes import Json
from trayopt.domain.cable import Cable
from trayopt.domain.hardware import Enclosure
from trayopt.errors import InputError

FIRST_JOBS, JOBS = 200, 260
"""Jobs of one seed that the first nine families draw, and all of them."""
LEAST, MOST = 72, 2500
"""Splices of a job."""
TRIES = 200
"""Draws for one job: a draw that the library cannot join, or that is no job, is drawn again."""
PREFIX = "mix-"


@cache
def library() -> tuple[tuple[Enclosure, ...], tuple[Cable, ...]]:
    """Give the boxes and the cables of the library, in the order of their ids."""
    from trayopt.api import library_survey

    models = [entry.model for entry in library_survey().entries]
    boxes = sorted((item for item in models if isinstance(item, Enclosure)), key=lambda item: str(item.id))
    cables = sorted((item for item in models if isinstance(item, Cable)), key=lambda item: str(item.id))
    return tuple(boxes), tuple(cables)


class Again(Exception):  # noqa: N818 - no fault: the next draw is tried
    """A draw that comes to nothing: no cable of the library is large enough, or a box has no such place."""


@dataclass
class Draw:
    """One job while it is drawn."""

    rng: random.Random
    box: Enclosure
    splices: int
    trunks: list[Json] = field(default_factory=list)
    cables: dict[str, Cable] = field(default_factory=dict)
    used: dict[str, int] = field(default_factory=dict)
    joins: list[Json] = field(default_factory=list)

    def trunk(self, fibres: int, of: Callable[[Cable], bool] | None = None) -> str:
        """Add a trunk of a cable that has so many fibres, and not many times as many; of a kind, where one is asked for."""
        fitting = [cable for cable in library()[1] if fibres <= cable.fibres <= max(6 * fibres, 432)]
        fitting = fitting if of is None else [cable for cable in fitting if of(cable)]
        if not fitting:
            raise Again
        name = f"{'NESWABCD'[len(self.trunks)]}1"
        cable = self.rng.choice(fitting)
        self.cables[name] = cable
        self.trunks.append({"id": name, "cable": cable.id})
        self.used[name] = 1
        return name

    def join(self, a: str, b: str, count: int, *, at: tuple[int, int] | None = None) -> None:
        """Join the next fibres of two trunks, or runs from two first fibres on."""
        first = (self.used[a], self.used[b]) if at is None else at
        for name, low in zip((a, b), first, strict=True):
            if count < 1 or low + count - 1 > self.cables[name].fibres:
                raise Again
        runs = [f"{name}:{low}-{low + count - 1}" for name, low in zip((a, b), first, strict=True)]
        self.joins.append({"a": runs[0], "b": runs[1], "name": f"j{len(self.joins) + 1}"})
        if at is None:
            self.used[a] += count
            self.used[b] += count

    def unit(self, least: int = 12) -> int:
        """Draw a number of fibres that crews think in."""
        return self.rng.choice([n for n in (12, 24, 36, 48, 72, 96, 144) if n >= least])


def rounded(count: float, to: int = 12) -> int:
    """Round to whole ribbons, at least one."""
    return max(to, round(count / to) * to)


def straight(draw: Draw) -> None:
    """Join two trunks end to end."""
    count = rounded(draw.splices)
    draw.join(draw.trunk(count), draw.trunk(count), count)


def offset(draw: Draw) -> None:
    """Join two trunks from different fibres on, so that subunits do not face each other."""
    count = rounded(draw.splices)
    shift = draw.unit() * draw.rng.choice((1, 1, 2, 3))
    a, b = draw.trunk(count), draw.trunk(count + shift)
    draw.join(a, b, count, at=(1, 1 + shift))


def shuffled(draw: Draw) -> None:
    """Join blocks of two trunks in another order."""
    size = draw.unit(24)
    blocks = max(2, min(24, draw.splices // size))
    a, b = draw.trunk(blocks * size), draw.trunk(blocks * size)
    order = list(range(blocks))
    for _ in range(draw.rng.choice((1, 3, blocks))):
        i, j = draw.rng.randrange(blocks), draw.rng.randrange(blocks)
        order[i], order[j] = order[j], order[i]
    for i, j in enumerate(order):
        draw.join(a, b, size, at=(1 + i * size, 1 + j * size))


def branch(draw: Draw) -> None:
    """Join one trunk to several smaller ones."""
    number = draw.rng.randint(2, 6)
    parts = shares(draw, number)
    main = draw.trunk(sum(parts))
    for part in parts:
        draw.join(main, draw.trunk(part), part)


def chain(draw: Draw) -> None:
    """Join each trunk to the next."""
    parts = shares(draw, draw.rng.randint(2, 5))
    needs = [parts[0], *(a + b for a, b in pairwise(parts)), parts[-1]]
    names = [draw.trunk(need) for need in needs]
    for (a, b), part in zip(pairwise(names), parts, strict=True):
        draw.join(a, b, part)


def ring(draw: Draw) -> None:
    """Join each trunk to the next, and the last to the first."""
    parts = shares(draw, draw.rng.randint(3, 6))
    names = [draw.trunk(a + b) for a, b in zip(parts, [parts[-1], *parts[:-1]], strict=True)]
    for i, part in enumerate(parts):
        draw.join(names[i], names[(i + 1) % len(names)], part)


def mesh(draw: Draw) -> None:
    """Join every trunk to every other one."""
    number = draw.rng.randint(3, 5)
    share = rounded(draw.splices / (number * (number - 1) / 2))
    names = [draw.trunk(share * (number - 1)) for _ in range(number)]
    for a, b in combinations(names, 2):
        draw.join(a, b, share)


def taps(draw: Draw) -> None:
    """Take a few fibres out of the middle of a trunk that goes on to another one, and here and there from its end."""
    number = draw.rng.randint(1, 4)
    size = draw.unit()
    through = rounded(max(draw.splices - number * size, 72))
    main, on = draw.trunk(through + number * size), draw.trunk(through + number * size)
    at = 1
    for _ in range(number):
        gap = rounded(through / number)
        length = min(gap, through + number * size - at + 1)
        draw.join(main, on, length, at=(at, at))
        at += length
        if at + size - 1 > through + number * size:
            break
        tap = draw.trunk(size)
        draw.join(main, tap, size, at=(at, 1))
        at += size


def pairs(draw: Draw) -> None:
    """Join pairs of trunks that have nothing to do with each other."""
    for part in shares(draw, draw.rng.randint(2, 3)):
        draw.join(draw.trunk(part), draw.trunk(part), part)


FAMILIES: dict[str, Callable[[Draw], None]] = {
    made.__name__: made for made in (straight, offset, shuffled, branch, chain, ring, mesh, taps, pairs)
}


def mixed_trays(draw: Draw) -> None:
    """Join trunks as another family does, in a box whose outer trays take single fibres."""
    mixes_later.mixed_trays(draw, draw.rng.choice((straight, offset, branch, chain, taps, pairs)))


LATER: dict[str, Callable[[Draw], None]] = {
    "midspan": mixes_later.midspan,
    "mixed_trays": mixed_trays,
    "widths": mixes_later.widths,
}


def family_of(index: int) -> str:
    """Name the family whose turn a job of a set is."""
    if index <= FIRST_JOBS:
        return list(FAMILIES)[(index - 1) % len(FAMILIES)]
    return list(LATER)[(index - 1 - FIRST_JOBS) % len(LATER)]


def shares(draw: Draw, number: int) -> list[int]:
    """Part the splices into so many shares of whole ribbons."""
    weights = [draw.rng.uniform(0.5, 2.0) for _ in range(number)]
    return [rounded(draw.splices * weight / sum(weights)) for weight in weights]


def wishes(draw: Draw) -> Json:
    """Draw what a job says beside its trunks and joins."""
    rng = draw.rng
    more: Json = {}
    at = rng.choice(("tray", "port", "mixed"))
    for trunk in draw.trunks:
        trunk["divide_at"] = rng.choice(("tray", "port")) if at == "mixed" else at
        if rng.random() < 0.15:
            trunk["idle"] = "cut_back"
        if rng.random() < 0.2:
            trunk["loops"] = rng.choice(([1], [2], [1, 2]))
        if rng.random() < 0.15:
            trunk["travel"] = rng.choice(("clockwise", "counterclockwise"))
        if rng.random() < 0.2:
            ports = [str(port.id) for port in draw.box.ports]
            trunk["ports"] = sorted(rng.sample(ports, rng.randint(1, len(ports))))
        if rng.random() < 0.15:
            trunk["exposed_mm"] = rng.choice((3000, 3500, 4000, 5000, 7000))
    rules: Json = {}
    for name in (
        "alternate_stacks",
        "same_division",
        "subunit_together",
        "tray_pair",
        "opposite_travel",
        "natural_travel",
    ):
        chance = rng.random()
        if chance < 0.12:
            rules[name] = "must"
        elif chance < 0.24:
            rules[name] = "off"
        elif chance < 0.36:
            rules[name] = {"level": "prefer", "weight": rng.randint(1, 5)}
    if rng.random() < 0.15:
        rules["reserve"] = {"level": rng.choice(("must", "prefer")), "trays": rng.randint(1, 2)}
    if rng.random() < 0.1:
        rules["guide_fill"] = {"level": "must", "fill": rng.choice((0.3, 0.4, 0.6))}
    if rules:
        more["rules"] = rules
    names = [str(join["name"]) for join in draw.joins]
    if len(names) > 1 and rng.random() < 0.2:
        more["apart"] = [{"joins": rng.sample(names, 2), "scope": rng.choice(("tray", "tray", "stack"))}]
    pins = [pin(draw, trunk) for trunk in draw.trunks if rng.random() < 0.1]
    if pins:
        more["pins"] = pins
    return more


def pin(draw: Draw, trunk: Json) -> Json:
    """Pin the way of a trunk, or the first leg of its first subunit."""
    rng, name = draw.rng, str(trunk["id"])
    if rng.random() < 0.5:
        port = str(rng.choice(trunk.get("ports") or [str(port.id) for port in draw.box.ports]))
        return {"trunk": name, "port": port}
    cable = draw.cables[name]
    first = cable.subunits[0]
    whole = first.ribbons * first.ribbon_fibres
    parts = [k for k in range(1, first.ribbons + 1) if first.ribbons % k == 0]
    stack = rng.choice(draw.box.stacks)
    return {
        "leg": f"{name}:1-{whole // rng.choice(parts)}",
        "stack": str(stack.id),
        "position": rng.randint(1, min(3, stack.positions)),
    }


def draw(seed: int, index: int) -> Json:
    """Draw a job: the same for the same seed and index.

    Parameters
    ----------
    seed
        Of the set of jobs.
    index
        Which of its jobs, from 1; its family is the one whose turn it is, of the first nine up to ``FIRST_JOBS``.
    """
    from trayopt import load_job

    boxes, _ = library()
    family = family_of(index)
    rng = random.Random(f"{seed}/{index}")
    for _ in range(TRIES):
        box = rng.choice(boxes)
        room = sum(stack.positions * stack.tray.fibres for stack in box.stacks)
        load = rng.uniform(0.95, 1.6) if rng.random() < 0.2 else rng.uniform(0.1, 0.95)
        most = min(MOST, room * load)
        if most < LEAST:
            continue
        made = Draw(rng, box, rounded(exp(rng.uniform(log(max(LEAST, most / 4)), log(most)))))
        try:
            (FAMILIES | LATER)[family](made)
            job: Json = {
                "schema": "trayopt/job/2",
                "title": f"Mix {seed}-{index}: {family} in {made.box.id}",
                "enclosure": box.id if made.box is box else made.box.model_dump(mode="json"),
                "trunks": made.trunks,
                "joins": made.joins,
            } | wishes(made)
            job = mixes_later.as_said(made, job)
            if LEAST <= load_job(job).splices <= MOST:
                return job
        except (Again, InputError):
            continue
    raise RuntimeError(f"{TRIES} draws of {family} came to no job; seed {seed}, job {index}")


def name_of(seed: int, index: int) -> str:
    """Name a job of a set, as cases are named."""
    return f"{PREFIX}{seed}-{index:03}"


def named(name: str) -> Json:
    """Draw the job of a name again."""
    seed, _, index = name.removeprefix(PREFIX).partition("-")
    return draw(int(seed), int(index))


def names_of(seed: int, number: int = JOBS) -> Iterator[str]:
    """Name the jobs of a set."""
    return (name_of(seed, index) for index in range(1, number + 1))
