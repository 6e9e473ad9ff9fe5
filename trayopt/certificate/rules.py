"""Rows of the rules, written from their statements and not from their encodings.

If a rule has no row, or a row that asks less than the rule, the rows let in more plans. So everything that is proven for the rows
holds for all plans.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from fractions import Fraction
from itertools import combinations, pairwise
from math import floor
from typing import Any

from trayopt.certificate.check import Unknown
from trayopt.certificate.guides import fill_guides
from trayopt.certificate.neighbours import keep_near
from trayopt.certificate.orders import order
from trayopt.certificate.patterns import Key
from trayopt.certificate.places import Placed
from trayopt.certificate.rings import close_rings
from trayopt.domain.base import AS_THEY_ARE
from trayopt.domain.cablework import Leg, Subunit
from trayopt.domain.digest import first_keys, without_later_defaults
from trayopt.domain.job import Job
from trayopt.domain.pins import LegPin
from trayopt.domain.plan import GoalName
from trayopt.track.window import extents_mm, passages

MOST_STEPS = 40
"""Greatest number of subunits of a trunk between whose pairs steps are counted, where splices may stay out."""
LATER_KEYS = (
    "enclosure.parts",
    "enclosure.stacks.trays",
    "enclosure.track.guides.width_mm",
    "pins.divide_at",
    "pins.measured_mm",
    "pins.ribbons",
    "pins.tries_left",
    "through",
    "trunks.cable.tubes",
    "trunks.ribbons",
    "trunks.uncut",
)
"""Keys of jobs, added after version 0.1.0, that the rows take into account.

What was measured of a built leg, and the tries that are left, are facts for the crew: they change no plan, so they need no row.
"""


def plans_of(job: Job, given: Mapping[GoalName, int], *, orders: bool = False) -> Placed:
    """Return the rows for the plans of a job that are as good on given goals; with ``orders``, also the order on a stack.

    Raises
    ------
    Unknown
        If the job has a key that no row takes into account.
    TooMany
        If there are too many patterns, or too many places for them.
    """
    if unknown := sorted(unknown_keys(job)):
        raise Unknown(f"arguments do not know what the job says by {', '.join(unknown)}")
    x = Placed(job, given)
    for part in (
        _together,
        _seal,
        fill_guides,
        _open_windows,
        _prefer_ways,
        _prefer_stacks,
        _tie_trays,
        close_rings,
        keep_near,
        _pin,
        _regular,
    ):
        part(x)
    x.hold()
    if orders:
        with_orders(x)
    return x


def with_orders(x: Placed) -> None:
    """Add the rows that need the place of each pattern to the rows of a job.

    Raises
    ------
    TooMany
        If there are too many patterns times places, or splices may stay out.
    """
    order(x)
    x.hold()


def _together(x: Placed) -> None:
    """Add the rows of ``subunit_together``: all legs of a subunit are on the stack of its first leg, unless torn at the port."""
    for s in x.spliced:
        key = (s.trunk, s.number)
        torn = x.torn[key] = x.number(f"{s.name} torn", int("port" in x.job.trunk_by_id[s.trunk].divide_at))
        x.row(f"{s.name} torn at the port", [(1, torn), (-1, x.port[s.trunk])], 0)
        x.let("subunit_together", s.name, [(1, torn)], 0)
        for stack in x.stacks:
            first = x.first[key, stack.id] = x.number(f"{s.name} begins on {stack.id}", rank=100)
            begin: list[tuple[int, int]] = []
            for k in x.divisions[key]:
                legs = x.job.spliced_legs(s, k)
                begin += x.on.get((legs[0], stack.id), ())
                for leg in s.legs(k):
                    here = x.on.get((leg, stack.id), ())
                    if here:
                        x.row(f"{leg} of {k} on {stack.id}", [*here, (-1, first), (-1, torn)], 0)
            if x.whole:
                x.row(f"{s.name} begins {stack.id}", [(1, first), *((-f, n) for f, n in begin)], 0, equal=True)
        x.row(f"{s.name} begins", [(1, x.first[key, stack.id]) for stack in x.stacks], 1, equal=x.whole)


def _seal(x: Placed) -> None:
    """Add the rows of ports: one seal takes all trunks that enter, and the bore has room for them."""
    if not x.hard("port_seal"):
        return
    for port in x.job.enclosure.ports:
        wide = {t: t.cable.diameter_mm for t in (*x.trunks, *x.guests)}
        seals = [(seal, x.number(f"seal {i} of {port.id}")) for i, seal in enumerate(port.seals)]
        x.row(f"seal of {port.id}", [(1, n) for _, n in seals], 1)
        entering = []
        for t, d in wide.items():
            enters = x.ways(t.id, port=port.id)
            entering += enters
            fits = [(-1, n) for seal, n in seals if seal.takes(d)] if port.passes([d]) else []
            x.row(f"{t.id} enters {port.id}", [*enters, *fits], 0)
        x.row(f"holes of {port.id}", [*entering, *((-seal.holes, n) for seal, n in seals)], 0)
        for a, b in combinations(wide, 2):
            if not port.passes([wide[a], wide[b]]):
                x.row(
                    f"{a.id} beside {b.id} in {port.id}",
                    [*x.ways(a.id, port=port.id), *x.ways(b.id, port=port.id)],
                    1,
                )


def _open_windows(x: Placed) -> None:
    """Add the rows of ``sheath_window``: the ends do not take ways for which the window would be longer than the slack."""
    for item in x.job.through if x.hard("sheath_window") else ():
        if item.slack_mm is None:
            continue
        one, other = (x.job.trunk_by_id[end] for end in item.ends)
        least = [{way: extent[0] for way, extent in extents_mm(x.job, end, x.lengths).items()} for end in (one, other)]
        between = {(way, port): passage for way, port, passage in passages(x.job, item, x.lengths)}
        for way, here in least[0].items():
            for back, there in least[1].items():
                length = here + there
                if one.uncut:
                    passage = between[way._replace(loops=0), back.port]
                    length = passage.length_mm(passage.loops_for(length))
                if length > item.slack_mm and (one.id, way) in x.way and (other.id, back) in x.way:
                    terms = [(1, x.way[one.id, way]), (1, x.way[other.id, back])]
                    x.row(f"window of {item} {way} {back}", terms, 1)


def _prefer_ways(x: Placed) -> None:
    """Add the rows of rules on ways and on places of division."""
    loops = x.job.rules["slack_loops"].parameters
    for t in (*x.trunks, *x.guests):
        all_of = {way: n for (trunk, way), n in x.way.items() if trunk == t.id}
        x.let(
            "slack_loops",
            t.id,
            [(1, n) for w, n in all_of.items() if not loops["least"] <= w.loops <= loops["most"]],
            0,
        )
        turns = {w: x.job.enclosure.port_by_id[w.port].turns for w in all_of}
        x.let("natural_travel", t.id, [(1, n) for w, n in all_of.items() if turns[w] not in {"both", w.travel}], 0)
        for s in x.spliced if len(t.divide_at) == 2 else ():
            if s.trunk == t.id:
                parted = [(1, n) for (key, k), n in x.of.items() if key == (t.id, s.number) and k > 1]
                x.let("breakout", t.id, [(1, x.port[t.id]), *parted], 1)
        alike: dict[tuple[int, int], list[Subunit]] = {}
        for s in x.spliced:
            if s.trunk == t.id:
                alike.setdefault((s.ribbons, s.ribbon_fibres), []).append(s)
        for size, some in alike.items():
            ks = sorted({k for s in some for k in x.divisions[s.trunk, s.number]})
            common = {k: x.number(f"{t.id} {size} in {k}", rank=700) for k in ks}
            x.row(f"{t.id} {size} alike", [(1, n) for n in common.values()], 1)
            for s in some:
                for k in x.divisions[s.trunk, s.number]:
                    x.let("same_division", t.id, [(1, x.of[(s.trunk, s.number), k]), (-1, common[k])], 0)
        if len(t.ribbons) > 1:
            more = [word for word in t.ribbons if word != AS_THEY_ARE] if AS_THEY_ARE in t.ribbons else []
            anew = [word for word in t.ribbons if isinstance(word, int)] if t.keeps_or_splits else []
            for rule, words in (("ribbon_work", more), ("re_ribbonised", anew)):
                if words:
                    x.let(rule, t.id, [*((1, x.word[t.id, word]) for word in words), *x.ways(t.id)], 1)
    inside = {t.id for t in (*x.trunks, *x.guests)}
    for a, b in x.job.joined_pairs:
        for travel in ("clockwise", "counterclockwise"):
            if {a, b} <= inside:
                x.let("opposite_travel", f"{a}+{b}", [*x.ways(a, travel=travel), *x.ways(b, travel=travel)], 1)


def _prefer_stacks(x: Placed) -> None:
    """Add the rows of rules on stacks: subunits of lead trunks take turns, and trays stay in reserve."""
    for t in x.trunks:
        if t.id not in x.job.lead_trunks:
            continue
        so_far: list[Key] = []
        for s in x.spliced:
            if s.trunk != t.id:
                continue
            so_far.append((s.trunk, s.number))
            out = 0 if x.whole else len(so_far)
            fair, rest = divmod(len(so_far), len(x.stacks))
            for stack in x.stacks:
                count = [(1, x.first[key, stack.id]) for key in so_far]
                here = [(out, x.first[so_far[-1], other.id]) for other in x.stacks] if out else []
                most = fair + (rest > 0)
                if x.whole:
                    x.let("alternate_stacks", s.name, count, most, by=len(so_far) - most)
                    x.let("alternate_stacks", s.name, [(-1, n) for _, n in count], -fair, by=fair)
                    continue
                for other in x.stacks:
                    if other is not stack:
                        less = [(-1, x.first[key, other.id]) for key in so_far]
                        x.let("alternate_stacks", s.name, [*count, *less, *here], 1 + out, by=len(so_far))
    kept = int(x.job.rules["reserve"].parameters["trays"])
    for stack in x.stacks:
        for place in x.places:
            if place.stack == stack.id and place.position > stack.positions - kept:
                x.let("reserve", stack.id, [(1, x.used[place])], 0)


def _tie_trays(x: Placed) -> None:
    """Add the rows of ``tied_trays``: opened tubes tie the places that their legs need, and too many tied places are broken.

    A single tube may need too many places. The tubes of a trunk waste room if no whole number of tubes fills as many places
    as may be tied.
    """
    rule = x.job.rules["tied_trays"]
    if rule.level == "off":
        return
    most = int(rule.parameters["trays"])
    broken = [term for place in x.places if (term := x.broken("tied_trays", str(place)))]
    for t in x.trunks:
        opened: list[tuple[int, int]] = []
        full = Fraction(0)
        for s in x.spliced:
            ks = [k for k in x.parked.get((s.trunk, s.number), ()) if k in x.divisions[s.trunk, s.number]]
            for k in ks if s.trunk == t.id else ():
                for i, others in enumerate(x.others):
                    together = max(1, _most_together(x, set(s.legs(k)), x.views[i]))
                    if not i:
                        full = max(full, Fraction(together, k))
                    places = -(-k // together)
                    if places > most:
                        first = x.job.spliced_legs(s, k)[0]
                        one = [(1, x.of[(t.id, s.number), k])] if x.whole else x.placed(first)
                        alone = [*((places * f, n) for f, n in one), *((-places, n) for n in (x.port[t.id], *others))]
                        x.row(f"{s.name} in {k} ties {i}", [*alone, *broken], 0)
                opened.append((1, x.of[(t.id, s.number), k]))
            if ks and s.trunk == t.id:
                opened.append((-1, x.port[t.id]))
        kept = max(Fraction(floor(full * n), n) for n in range(1, most + 1))
        if x.whole and opened and full > kept:
            scale = full.denominator * kept.denominator
            filled = [(-int(scale * kept), n) for n in x.used.values()]
            over = [(int(scale * (full - kept)) * f, n) for f, n in broken]
            x.row(f"opened tubes of {t.id}", [*((scale * f, n) for f, n in opened), *filled, *over], 0)


def _most_together(x: Placed, legs: set[Leg], work: Job | None) -> int:
    """Return the most legs of a subunit that fit into one tray, by the ends and sleeves of the patterns that hold them.

    ``work`` is the job with settled ribbon work; without it the fewest sleeves count.
    """
    most = 0
    for tray in {x.job.enclosure.tray_at(place) for place in x.places}:
        with_them = [(p, sum(leg in legs for leg in p.legs)) for p in x.patterns if not legs.isdisjoint(p.legs)]
        fill = 2 * tray.fibres if x.hard("tray_fibres") else x.job.splices * 2
        here = floor(fill * max((Fraction(n, p.ends) for p, n in with_them), default=Fraction(0)))
        sleeves = [(p.sleeves(tray.sleeve_fibres, work), n) for p, n in with_them]
        if x.hard("tray_sleeves") and all(needed for needed, _ in sleeves):
            here = min(
                here, floor(tray.sleeves * max((Fraction(n, needed) for needed, n in sleeves), default=Fraction(0)))
            )
        most = max(most, here)
    return most


def _pin(x: Placed) -> None:
    """Add the rows of pins; no plan breaks a built pin."""
    for pin in x.job.pins:
        if isinstance(pin, LegPin):
            leg = x.job.pinned_leg(pin)
            there = set(x.job.places_of(pin))
            kinds = {kind for kind, alike in x.kinds.items() if any(leg in p.legs for p in alike)}
            asked = [
                [(-f, n) for stack in {place.stack for place in there} for f, n in x.on.get((leg, stack), ())],
                [(-1, n) for (kind, place), n in x.at.items() if kind in kinds and place in there],
            ]
        else:
            wanted = {key: getattr(pin, key) for key in ("port", "travel", "loops") if getattr(pin, key) is not None}
            asked = [[(-f, n) for f, n in x.ways(pin.trunk, **wanted)]]
            if pin.ribbons is not None and (pin.trunk, pin.ribbons) in x.word:
                asked.append([(-1, x.word[pin.trunk, pin.ribbons])])
            if pin.divide_at == "port" and pin.trunk in x.port:
                asked.append([(-1, x.port[pin.trunk])])
        for i, terms in enumerate(asked):
            if pin.built:
                x.row(f"built {pin.subject} {i} {len(x.rows)}", terms, -1)
            else:
                x.let("pin", pin.subject, terms, -1)


def _regular(x: Placed) -> None:
    """Add the rows of irregularity: steps of lead trunks that skip the next stack, and uneven stacks in use."""
    steps: list[tuple[int, int]] = []
    ids = [stack.id for stack in x.stacks]
    follows = dict(zip(ids, [*ids[1:], ids[0]], strict=True))
    for t in x.trunks if len(ids) > 1 else ():
        if not x.whole:
            steps += _steps_of_some(x, t.id, follows)
            continue
        walk = [s for s in x.spliced if s.trunk == t.id] if t.id in x.job.lead_trunks else []
        for before, s in pairwise(walk):
            steps.append((1, x.number(f"{s.name} out of turn")))
            for turn in ids:
                one, other = x.first[(t.id, before.number), turn], x.first[(t.id, s.number), follows[turn]]
                x.row(f"{s.name} after {turn}", [(1, one), (-1, other), (-1, steps[-1][1])], 0)
    deepest = max(stack.positions for stack in x.stacks)
    highest, lowest = x.number("highest stack", deepest), x.number("lowest stack", deepest)
    x.row("lowest not above highest", [(1, lowest), (-1, highest)], 0)
    in_use = {stack.id: x.number(f"{stack.id} in use", rank=400) for stack in x.stacks}
    for stack in x.stacks:
        height = x.number(f"height of {stack.id}", stack.positions, rank=300)
        used = [n for place, n in x.used.items() if place.stack == stack.id]
        x.row(f"trays on {stack.id}", [*((1, n) for n in used), (-1, height)], 0, equal=True)
        x.row(f"{stack.id} is in use", [(1, height), (-stack.positions, in_use[stack.id])], 0)
        x.row(f"{stack.id} is used", [(-1, height), (1, in_use[stack.id])], 0)
        x.row(f"{stack.id} not above", [(1, height), (-1, highest)], 0)
        x.row(f"{stack.id} not below", [(1, lowest), (-1, height), (deepest, in_use[stack.id])], deepest)
    x.goals["irregular"] = [*steps, (1, highest), (-1, lowest)]


def _steps_of_some(x: Placed, trunk: str, follows: Mapping[str, str]) -> list[tuple[int, int]]:
    """Add the rows of steps from each subunit to the next one with a placed splice, where splices may stay out.

    A subunit that is torn takes no step that counts.
    """
    walk = [s for s in x.spliced if s.trunk == trunk] if trunk in x.job.lead_trunks else []
    if len(walk) > MOST_STEPS:
        return []
    steps: list[tuple[int, int]] = []
    here: dict[tuple[Key, str], int] = {}
    some: dict[Key, int] = {}
    for s in walk:
        key = (s.trunk, s.number)
        legs = [leg for k in x.divisions[key] for leg in x.job.spliced_legs(s, k)]
        for stack in follows:
            here[key, stack] = x.number(f"{s.name} has some on {stack}")
            for leg in legs:
                placed = x.on.get((leg, stack), ())
                x.row(f"{leg} of {leg.of} is some on {stack}", [*placed, (-1, here[key, stack])], 0)
        some[key] = x.number(f"{s.name} has some")
        x.row(f"{s.name} has none", [(1, some[key]), *((-f, n) for leg in legs for f, n in x.placed(leg))], 0)
    for i, s in enumerate(walk[1:], start=1):
        after = (s.trunk, s.number)
        steps.append((1, x.number(f"{s.name} out of turn")))
        for j, one in enumerate(walk[:i]):
            before = (one.trunk, one.number)
            free = [(-1, some[b.trunk, b.number]) for b in walk[j + 1 : i]]
            free += [(-1, n) for n in (x.torn[before], x.torn[after], steps[-1][1])]
            for turn, following in follows.items():
                others = [(1, here[after, stack]) for stack in follows if stack != following]
                x.row(f"{s.name} next after {one.name} on {turn}", [(1, here[before, turn]), *others, *free], 1)
    return steps


def unknown_keys(job: Job) -> set[str]:
    """Return the paths of keys of a job that matter for plans and that no row takes into account."""
    return {path for path in _paths(without_later_defaults(job, job.plain()))} - {*first_keys(), *LATER_KEYS}


def _paths(data: Any, at: str = "") -> Iterator[str]:
    """Yield the paths of all keys, without the content of rules, mounting parts and known later keys."""
    if isinstance(data, list):
        for item in data:
            yield from _paths(item, at)
    elif isinstance(data, dict):
        for key, value in data.items():
            path = f"{at}.{key}" if at else key
            yield path
            if path not in {"rules", *LATER_KEYS}:
                yield from _paths(value, path)
