"""Single changes of a plan that end a finding; each change is judged before it becomes advice.

A change moves rows that splices bind together to another tray, takes a row out, parks the idle legs of an opened tube, leads a
trunk another way, divides it elsewhere, or changes its ribbon work. It counts only if the finding is gone, no rule that has to
hold is newly broken, and no splice loses its tray. For a finding of a preference, the broken preferences must not weigh more than
before.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import islice, product
from typing import NamedTuple
from weakref import WeakKeyDictionary

from trayopt.checker import assignment_of_claims
from trayopt.domain.assignment import Way
from trayopt.domain.base import DivideAt, RibbonWord
from trayopt.domain.decision import RunAt
from trayopt.domain.finding import Finding
from trayopt.domain.hardware import Place
from trayopt.domain.job import Job
from trayopt.domain.ranges import Run
from trayopt.review.parked import bare_legs
from trayopt.rules.judge import judge
from trayopt.rules.opened_tube import OpenedTube
from trayopt.rules.own_limits import OwnLimits
from trayopt.rules.registry import BY_ID
from trayopt.rules.uncut_tube import UncutTube
from trayopt.rules.words import listed, ribbons_are, several
from trayopt.solver.model.decisions import spliced_in
from trayopt.track.laid import Claim, Laid

MOST_TRIES = 150
"""Greatest number of changes that are tried for one finding."""
MOST_ROWS = 20_000
"""Greatest number of rows that are judged for one plan in total, so that fewer changes of a large plan are tried."""

MOST_CLAIMS = 3_000
"""Greatest number of rows of a plan for which changes are tried at all."""


class Change(NamedTuple):
    """A changed plan, and the change in words."""

    claims: Sequence[Claim]
    ways: Mapping[str, Way]
    divide_at: Mapping[str, DivideAt]
    text: str
    ribbons: Mapping[str, RibbonWord] | None = None
    """The ribbon work, if it changes."""


class _State(NamedTuple):
    failing: set[tuple[str, str]]
    unplaced: int
    weight: int


OF_PLACES = frozenset({"stack", "tray", "position", "end"})
"""Cells of a row that say where a leg lies."""

_spent: WeakKeyDictionary[Laid, int] = WeakKeyDictionary()
_bindings: WeakKeyDictionary[Laid, list[set[int]]] = WeakKeyDictionary()


def tried(job: Job, laid: Laid, finding: Finding) -> str | None:
    """Return, in words, a single change that ends a finding and causes no other; None if none was found."""
    if len(laid.claims) > MOST_CLAIMS or _spent.get(laid, 0) > MOST_ROWS:
        return None
    before = _state(job, laid)
    for change in islice(_changes(job, laid, finding), MOST_TRIES):
        spent = _spent.get(laid, 0) + len(change.claims)
        if spent > MOST_ROWS:
            return None
        _spent[laid] = spent
        after = changed(job, laid, change)
        if not _gone(job, after, finding) or _unplaced(after) > before.unplaced:
            continue  # most changes end here: the other rules need not be asked
        now = _state(job, after)
        if now.failing <= before.failing and (finding.level != "prefer" or now.weight <= before.weight):
            return change.text
    return None


def met(job: Job, laid: Laid, a: Run, b: Run) -> str | None:
    """Say a single change after which both sides of splices without a tray lie in one; None where none was found."""
    if len(laid.claims) > MOST_CLAIMS:
        return None
    before = _state(job, laid)
    for change in _meetings(laid, a, b):
        spent = _spent.get(laid, 0) + len(change.claims)
        if spent > MOST_ROWS:
            return None
        _spent[laid] = spent
        after = changed(job, laid, change)
        if _unplaced(after) <= before.unplaced - a.count and _state(job, after).failing <= before.failing:
            return change.text
    return None


def _meetings(laid: Laid, a: Run, b: Run) -> Iterator[Change]:
    """Bring the rows of one side to the trays of the other, leg by leg; a side that has no row gets one.

    Of a trunk without a row nothing says by which way it comes: no row is written for it.
    """
    sides = [
        [c for c in laid.claims if c.trunk == run.trunk and c.first <= run.last and c.last >= run.first]
        for run in (a, b)
    ]
    for (moved, run), there in ((sides[1], b), sides[0]), ((sides[0], a), sides[1]):
        if run.trunk not in laid.ways:
            continue
        if len({claim.place for claim in there}) == 1 and not moved:
            claim = there[0]._replace(trunk=run.trunk, first=run.first, last=run.last)
            yield Change([*laid.claims, claim], laid.ways, laid.divide_at, f"write {run} in {claim.place}")
        elif len(there) == len(moved):
            new = {claim: claim._replace(place=to.place, end=to.end) for claim, to in zip(moved, there, strict=True)}
            words = [f"{_run(claim)} to {to.place}" for claim, to in new.items() if claim.place != to.place]
            claims = [new.get(claim, claim) for claim in laid.claims]
            yield Change(claims, laid.ways, laid.divide_at, f"move {listed(words)}")


def changed(job: Job, laid: Laid, change: Change) -> Laid:
    """Return a changed plan as it lies in the box."""
    ribbons = laid.ribbons if change.ribbons is None else change.ribbons
    made = assignment_of_claims(job, change.ways, change.claims, change.divide_at, ribbons)
    return Laid(job, replace(made, ends={**laid.ends, **made.ends}), change.claims)


def _state(job: Job, laid: Laid) -> _State:
    found = judge(job, laid)
    return _State(
        {(item.rule, item.subject) for item in found if item.level != "prefer"},
        _unplaced(laid),
        sum(job.rules[item.rule].weight for item in found if item.level == "prefer"),
    )


def _gone(job: Job, laid: Laid, finding: Finding) -> bool:
    """Whether a finding is gone, according to its own rule."""
    return all(breach.subject != finding.subject for breach in BY_ID[finding.rule].check(job, laid))


def _unplaced(laid: Laid) -> int:
    return sum(piece.a.count for piece, place in laid.piece_places if place is None)


def _changes(job: Job, laid: Laid, finding: Finding) -> Iterator[Change]:
    if finding.rule == UncutTube.id:
        yield from _out_of_trays(job, laid, finding)
        return
    trunks = _trunks(job, laid, finding)
    yield from _parked(job, laid, finding)
    yield from _divided_elsewhere(job, laid, finding)
    yield from _ribbons_otherwise(job, laid, finding)
    if BY_ID[finding.rule].of_ways:
        yield from _other_ways(job, laid, trunks)
    yield from _other_places(job, laid, _claims(job, laid, finding, trunks), moves=_of_places(finding))


def _of_places(finding: Finding) -> bool:
    """Whether it can matter to the rule of a finding where legs lie."""
    rule = BY_ID[finding.rule]
    return not rule.ways_only and not OF_PLACES.isdisjoint(rule.cells)


def _trunks(job: Job, laid: Laid, finding: Finding) -> list[str]:
    """Return the trunks for which another way may help."""
    kind, subject = BY_ID[finding.rule].subject, finding.subject
    names = {
        "trunk": [subject],
        "pair of trunks": subject.split("+"),
        "port": [trunk for trunk, way in laid.ways.items() if way.port == subject],
        "guide": list(laid.ways),
        "pin": [subject],
        "tray place": list(laid.ways) if BY_ID[finding.rule].by_travel else [],
    }.get(kind, [])
    return [trunk for trunk in names if trunk in laid.ways and trunk in job.trunk_by_id]


def _parked(job: Job, laid: Laid, finding: Finding) -> Iterator[Change]:
    """Park the bare legs of an opened tube: with the leg before it, with the leg after it, or in the next tray outward."""
    bare = [
        leg for leg in bare_legs(laid) if finding.rule == OpenedTube.id and finding.subject == job.subunit(leg).name
    ]
    if not bare:
        return
    legs = laid.by_subunit[bare[0].trunk, bare[0].subunit]
    for step in (0, 1):
        places = {item.leg: (item.place, item.end) for item in legs}
        claims, words = list(laid.claims), []
        for leg in bare:
            before = [there for other, there in places.items() if other.group < leg.group]
            place, end = before[-1] if before else next(iter(places.values()))
            outward = Place(place.stack, place.position + step * bool(before))
            place = outward if outward in job.enclosure.place_rank else place
            places[leg] = (place, end)
            places = dict(sorted(places.items(), key=lambda item: item[0].group))
            claims.append(Claim(leg.trunk, *job.subunit(leg).leg_run(leg), place, end))
            words.append(f"{_run(claims[-1])} in {place}")
        yield Change(claims, laid.ways, laid.divide_at, f"park {listed(words)}")


def _out_of_trays(job: Job, laid: Laid, finding: Finding) -> Iterator[Change]:
    """Take an uncut tube out of the trays, since it may not lie in any."""
    unit = next(unit for trunk in job.trunks for unit in trunk.passing if unit.name == finding.subject)
    inside = [c for c in laid.claims if c.trunk == unit.trunk and c.first <= unit.last and c.last >= unit.first]
    text = f"take {listed([f'{_run(claim)} out of {claim.place}' for claim in inside])}: the tube stays whole"
    yield Change([claim for claim in laid.claims if claim not in inside], laid.ways, laid.divide_at, text)


def _divided_elsewhere(job: Job, laid: Laid, finding: Finding) -> Iterator[Change]:
    """Divide a trunk at the other place that its list allows; if that is the port, its idle legs leave their trays."""
    if not BY_ID[finding.rule].of_divisions and BY_ID[finding.rule].subject != "subunit":
        return
    kind, subject = BY_ID[finding.rule].subject, finding.subject
    of_place = {leg.trunk: None for place, legs in laid.trays.items() if str(place) == subject for leg in legs}
    names = {"trunk": [subject], "subunit": [subject.rpartition("/")[0]], "tray place": list(of_place)}.get(kind, [])
    for trunk in names:
        others = [at for at in job.trunk_by_id[trunk].divide_at if at != laid.divide_at.get(trunk)]
        for at in others if trunk in laid.divide_at else ():
            claims = [claim for claim in laid.claims if at == "tray" or claim.trunk != trunk or _spliced(job, claim)]
            yield Change(claims, laid.ways, {**laid.divide_at, trunk: at}, f"divide {trunk} at the {at}")


def _ribbons_otherwise(job: Job, laid: Laid, finding: Finding) -> Iterator[Change]:
    """Change the ribbon work of a trunk to another work of its list, the least work first."""
    rule, subject = BY_ID[finding.rule], finding.subject
    if "ribbons" not in rule.helped_by and not isinstance(rule, OwnLimits):
        return
    of_place = {leg.trunk: None for place, legs in laid.trays.items() if str(place) == subject for leg in legs}
    for trunk in {"trunk": [subject], "tray place": list(of_place)}.get(rule.subject, []):
        for word in job.trunk_by_id[trunk].ribbons if trunk in laid.ways else ():
            if word != laid.ribbons[trunk]:
                text = f"splice {trunk} with its ribbons {ribbons_are(word)}"
                yield Change(laid.claims, laid.ways, laid.divide_at, text, {**laid.ribbons, trunk: word})


def _spliced(job: Job, claim: Claim) -> bool:
    return bool(spliced_in(job, RunAt(*claim[:3], claim.place)))


def _other_ways(job: Job, laid: Laid, trunks: Sequence[str]) -> Iterator[Change]:
    """Lead a trunk another way; ways that change the fewest parts come first."""
    options = []
    for trunk in trunks:
        now, own = laid.ways[trunk], job.trunk_by_id[trunk]
        for way in product(own.allowed_ports(job.enclosure), own.travels, sorted(set(own.loops))):
            differs = sum(one != other for one, other in zip(way, now, strict=True))
            if differs:
                options.append((differs, trunk, Way(*way)))
    for _, trunk, way in sorted(options, key=lambda item: item[0]):
        now = laid.ways[trunk]
        parts = [
            *[f"in at {way.port}"] * (way.port != now.port),
            *[way.travel] * (way.travel != now.travel),
            *[f"with {several(way.loops, 'loop')}"] * (way.loops != now.loops),
        ]
        yield Change(laid.claims, {**laid.ways, trunk: way}, laid.divide_at, f"lead {trunk} {listed(parts)}")


def _claims(job: Job, laid: Laid, finding: Finding, trunks: Sequence[str]) -> list[int]:
    """Return the indices of the rows for which another tray may help."""
    kind, subject = BY_ID[finding.rule].subject, finding.subject
    found = []
    for i, claim in enumerate(laid.claims):
        trunk = job.trunk_by_id[claim.trunk]
        subunit = trunk.subunit_of(claim.first)
        leg = subunit.leg_of_run(claim.first, claim.last)
        names = {str(claim.place), claim.place.stack, subunit.name, str(Run(*claim[:3])), str(leg)}
        if subject in names or (kind in {"trunk", "guide"} and claim.trunk in trunks):
            found.append(i)
    return found


def _other_places(job: Job, laid: Laid, chosen: Sequence[int], *, moves: bool) -> Iterator[Change]:
    """Take out a row that is there twice; with ``moves``, move rows to another tray.

    One row is moved, with or without rows bound to it by splices, or all rows of a tray.
    """
    claims = laid.claims
    twice = Counter(claim[:3] for claim in claims)
    for i in chosen:
        if twice[claims[i][:3]] > 1:
            rest = [claim for j, claim in enumerate(claims) if j != i]
            yield Change(rest, laid.ways, laid.divide_at, f"take {_run(claims[i])} out of {claims[i].place}")
    if not moves:
        return
    if laid not in _bindings:
        _bindings[laid] = _bound(job, claims)
    bound = _bindings[laid]
    sets: dict[tuple[int, ...], None] = {}
    for i in reversed(chosen):
        sets[i,] = None
        sets[tuple(sorted({i, *bound[i]}))] = None
    for place in dict.fromkeys(claims[i].place for i in chosen):
        sets[tuple(i for i, claim in enumerate(claims) if claim.place == place)] = None
    for moved in sorted(sets, key=len):
        near = [claims[j].place for i in moved for j in bound[i]]
        here = claims[moved[0]].place
        for place in dict.fromkeys([*near, *sorted(job.enclosure.places, key=lambda p: _far(p, here))]):
            if any(claims[i].place != place for i in moved):
                end = next((claim.end for claim in claims if claim.place.stack == place.stack), None)
                new = list(claims)
                for i in moved:
                    new[i] = claims[i]._replace(place=place, end=end)
                yield Change(
                    new, laid.ways, laid.divide_at, f"move {listed([_run(claims[i]) for i in moved])} to {place}"
                )


def _far(place: Place, here: Place) -> tuple[int, bool]:
    return abs(place.position - here.position), place.stack != here.stack


def _run(claim: Claim) -> str:
    return str(Run(*claim[:3]))


def _bound(job: Job, claims: Sequence[Claim]) -> list[set[int]]:
    """Return, for each row, the rows to which splices bind it directly."""
    by_trunk: dict[str, list[int]] = {}
    for i, claim in enumerate(claims):
        by_trunk.setdefault(claim.trunk, []).append(i)
    found: list[set[int]] = [set() for _ in claims]
    for piece in job.pieces:
        sides = [
            [i for i in by_trunk.get(run.trunk, ()) if claims[i].first <= run.last and claims[i].last >= run.first]
            for run in (piece.a, piece.b)
        ]
        for one, other in product(*sides):
            found[one].add(other)
            found[other].add(one)
    return found
