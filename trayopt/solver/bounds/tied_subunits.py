"""Which trays subunits divided at the tray tie to each other wherever they lie: counted before any tray is chosen.

It holds for every plan that places every splice. An opened subunit ties the places of its legs, and all its fibres are in
them, parked ones too, with the other ends of its splices; one that stays whole lies in one place. A subunit that it is spliced
to, if that is divided at the tray as well, shares a tray with it. So places that such subunits lie in together are tied to each
other. Taken for granted is only which trunks are divided at the tray.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from trayopt.domain.base import DivideAt
from trayopt.domain.cablework import Subunit
from trayopt.domain.job import Job
from trayopt.domain.splicing import Done
from trayopt.domain.tied import tied
from trayopt.rules.reserve import Reserve
from trayopt.rules.tied_trays import TiedTrays
from trayopt.solver.model.base import Key


class Group(NamedTuple):
    """Subunits that lie in places tied to each other, the fibre ends in these places, and the fewest of them."""

    subunits: tuple[Key, ...]
    load: int
    places: int

    @property
    def first(self) -> Key:
        """One of the subunits."""
        return self.subunits[0]


@dataclass(frozen=True)
class Tied:
    """What subunits of some trunks tie, where these trunks are divided at the tray.

    Parameters
    ----------
    trunks
        The trunks that are divided at the tray.
    over
        Groups of subunits that take more places than may be tied to each other.
    apart
        Other groups, where no two find room in so many places; none where the box plainly has places for all of them.
    small
        The groups that are left.
    """

    trunks: tuple[str, ...]
    over: tuple[Group, ...]
    apart: tuple[Group, ...]
    small: tuple[Group, ...]

    @property
    def groups(self) -> tuple[Group, ...]:
        """All groups."""
        return (*self.over, *self.apart, *self.small)


def room_of(job: Job) -> int:
    """Return the most fibre ends that a tray of the box takes."""
    return 2 * max(tray.fibres for tray in job.enclosure.trays)


def places_of(job: Job, subunit: Subunit, of: int, room: int, *, within: bool) -> int:
    """Count the places that an opened subunit takes at least: its legs fill place after place, in order.

    ``within`` says that there are splices between two of its own fibres: then both ends of some are its own, and only its
    fibres are counted.
    """
    places, left = 0, 0
    for leg in subunit.legs(of):
        load = job.ends(leg) + (0 if within else job.spliced_fibres(leg))
        if not places or load > left:
            places, left = places + 1, room
        left -= load
    return places


def splices_between(job: Job) -> Counter[tuple[Key, Key]]:
    """Count the splices between subunits."""
    found: Counter[tuple[Key, Key]] = Counter()
    for piece in job.pieces:
        a, b = ((side.trunk, job.trunk_by_id[side.trunk].subunit_of(side.first).number) for side in (piece.a, piece.b))
        found[a, b] += piece.count
    return found


class Sleeved(NamedTuple):
    """Sleeves of the opened subunits of a trunk that take more places by them than may be tied to each other.

    ``least`` are those of subunits that do whatever is done with ribbons, ``more`` what is to be added where something is done.
    """

    trunk: str
    least: int
    more: Mapping[Done, int]


def tied_by_sleeves(
    job: Job, open_: Mapping[Key, Sequence[int]], options: Mapping[str, Sequence[DivideAt]]
) -> list[Sleeved]:
    """Find the trunks with subunits that, opened at the tray, bring more sleeves than so many trays hold."""
    size, room = max(t.sleeve_fibres for t in job.enclosure.trays), max(t.sleeves for t in job.enclosure.trays)
    most = TiedTrays().parameters(job).trays * room
    least: Counter[Key] = Counter()
    more: dict[Key, Counter[Done]] = defaultdict(Counter)
    for run in job.sleeve_runs:
        for side in dict.fromkeys((s.trunk, job.trunk_by_id[s.trunk].subunit_of(s.first).number) for s in run[:2]):
            least[side] += run.sleeves(size)
            more[side].update(run.more(size))
    found = []
    for trunk, at in options.items():
        opened = [key for key, of in open_.items() if key[0] == trunk and "tray" in at and of and 1 not in of]
        beside: Counter[Done] = Counter()
        for key in opened:
            if len({tuple(name for name, _ in done) for done in more[key]}) > 1:
                continue  # spliced to several trunks with choices of their own
            for done, extra in more[key].items():
                over = least[key] + extra > most
                beside[done] += extra + (0 if least[key] > most else least[key]) if over else 0
        always = sum(least[key] for key in opened if least[key] > most)
        if always or +beside:
            found.append(Sleeved(trunk, always, +beside))
    return found


def tied_subunits(
    job: Job, open_: Mapping[Key, Sequence[int]], options: Mapping[str, Sequence[DivideAt]]
) -> list[Tied]:
    """Find what is tied in too many places, or in places that no two groups share, for each trunk, joined pair, and all."""
    at_tray = tuple(trunk for trunk, at in options.items() if "tray" in at)
    inside = {key for key, of in open_.items() if key[0] in at_tray and of}
    splices = splices_between(job)
    pairs = [pair for pair in job.joined_pairs if all(trunk in at_tray for trunk in pair)]
    touching: dict[str, list[tuple[Key, Key, int]]] = {trunk: [] for trunk in at_tray}
    for (a, b), count in splices.items():
        for trunk in {a[0], b[0]} & touching.keys():
            touching[trunk].append((a, b, count))
    room, most = room_of(job), TiedTrays().parameters(job).trays
    places = {
        key: min(places_of(job, job.subunit_of_leg[key], of, room, within=(key, key) in splices) for of in open_[key])
        for key in inside
    }
    found: dict[tuple[str, ...], Tied] = {}
    for trunks in dict.fromkeys([*((trunk,) for trunk in at_tray), *pairs, at_tray]):
        edges = {(a, b): count for trunk in trunks for a, b, count in touching[trunk]}
        here = sorted(key for key in inside if key[0] in trunks)
        groups = _groups(job, here, edges, places, room)
        over = tuple(group for group in groups if group.places > most)
        apart = tuple(group for group in groups if group.places <= most and 2 * group.load > most * room)
        least = -(-sum(group.load for group in over) // room)
        if _to_use(job) - least - sum(group.places for group in apart) >= most * len(job.enclosure.stacks):
            apart = ()
        if over or apart:
            small = tuple(group for group in groups if group not in {*over, *apart})
            found[trunks] = Tied(trunks, over, apart, small)
    return list(found.values())


def _groups(
    job: Job,
    keys: Sequence[Key],
    splices: Mapping[tuple[Key, Key], int],
    places: Mapping[Key, int],
    room: int,
) -> list[Group]:
    """Find the groups of subunits that are tied to each other, with their fibre ends and the fewest places that they take."""
    known = set(keys)
    group = tied(keys, (pair for pair in splices if known.issuperset(pair)))
    loads: Counter[int] = Counter()
    takes: dict[int, int] = {}
    for key in keys:
        loads[group[key]] += job.subunit_of_leg[key].fibres
        takes[group[key]] = max(takes.get(group[key], 0), places[key])
    for pair, count in splices.items():
        inside = [key for key in pair if key in known]
        if len(inside) == 1:
            loads[group[inside[0]]] += count
    return [
        Group(tuple(key for key in keys if group[key] == number), load, max(takes[number], -(-load // room)))
        for number, load in sorted(loads.items())
    ]


def _to_use(job: Job) -> int:
    """Count the places of the box without those that a rule asks to keep free."""
    kept = 0 if job.rules[Reserve.id].level == "off" else Reserve().parameters(job).trays
    return sum(max(0, stack.positions - kept) for stack in job.enclosure.stacks)
