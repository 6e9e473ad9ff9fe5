"""Cross-references between the parts of a job: trunks, ports, joins, and joins that are kept apart."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import NamedTuple

from trayopt.domain.ranges import Run, span
from trayopt.domain.said import said
from trayopt.errors import Fault
from trayopt.formats.locate import Spot, describe
from trayopt.formats.validate import did_you_mean
from trayopt.library.parts import Parts
from trayopt.library.through import TrunkAt, resolved_faults, through_faults


def cross_faults(parts: Parts) -> Iterator[Fault]:
    """Find contradictions between trunks, joins and ``apart``."""
    yield from _trunk_faults(parts)
    yield from _join_faults(parts)
    yield from _spliced_twice(parts)
    yield from _apart_faults(parts)


def run_faults(parts: Parts, run: Run, spot: Spot) -> Iterator[Fault]:
    """Find a run of a trunk that does not exist, or a run beyond the fibres of its cable."""
    if run.trunk not in parts.trunk_names:
        yield no_trunk(parts, run.trunk, spot)
        return
    trunk = parts.trunk_by_id.get(run.trunk)
    if trunk is not None and run.last > trunk.cable.fibres:
        most = trunk.cable.fibres
        yield spot.fault(
            said("the run goes beyond the cable of trunk {trunk}", trunk=run.trunk),
            found=str(run),
            allowed=said("fibres 1-{most}", most=most),
        )


def no_trunk(parts: Parts, name: str, spot: Spot) -> Fault:
    """Return the fault of a name that is no trunk's; for a trunk that goes through, the fault asks which end is meant."""
    names = sorted(parts.trunk_names)
    ends = next((item.ends for item in parts.gone if item.trunk == name), None)
    if ends is not None:
        message = said("{name} goes through the box: say which of its two ends is meant", name=name)
        return spot.fault(message, found=describe(name), allowed=", ".join(ends))
    found, allowed = describe(name), ", ".join(names[:20])
    return spot.fault(said("there is no such trunk"), found=found, allowed=allowed, hint=did_you_mean(name, names))


def _trunk_faults(parts: Parts) -> Iterator[Fault]:
    first: dict[str, TrunkAt] = {}
    for at in parts.trunks:
        trunk = at.trunk
        if trunk.id in first:
            before = first[trunk.id].spot("id")
            message = said(
                "the trunk {trunk} is given twice; first in {before}", trunk=describe(trunk.id), before=before.told
            )
            yield at.spot("id").fault(message, allowed=said("every id once"), hint=said("rename one of them"))
        first.setdefault(trunk.id, at)
        if at.side == 1:
            told = {
                (fault.line, fault.column, fault.where)
                for fault in _limit_faults(parts, parts.trunks[-1 + parts.trunks.index(at)])
            }
            yield from (f for f in _limit_faults(parts, at) if (f.line, f.column, f.where) not in told)
        else:
            yield from _limit_faults(parts, at)
    yield from through_faults(parts.gone, parts.trunk_by_id, parts.located)
    if not parts.gone:
        yield from resolved_faults(parts.through.items(), parts.trunk_by_id, parts.located)


def _limit_faults(parts: Parts, at: TrunkAt) -> Iterator[Fault]:
    trunk = at.trunk
    yield from _repeats(at.spot, "loops", trunk.loops)
    yield from _listed_twice(at, "divide_at", trunk.divide_at)
    yield from _listed_twice(at, "ribbons", trunk.ribbons)
    yield from _ribbon_faults(at)
    if "tray" in trunk.divide_at and not trunk.cable.tubes:
        message = said(
            "trunk {trunk} cannot be divided at the tray: the subunits of cable {cable} have no tubes",
            trunk=trunk.id,
            cable=trunk.cable.id,
        )
        hint = said("leave divide_at out, or say tubes: true in the cable where each subunit has a tube of its own")
        yield at.spot("divide_at").fault(message, found="tray", allowed="port", hint=hint)
    if trunk.ports == "any":
        return
    if not trunk.ports:
        hint = said("leave ports out for any port")
        yield at.spot("ports").fault(
            said("trunk {trunk} has no port by which it may enter", trunk=trunk.id),
            found=said("an empty list"),
            hint=hint,
        )
    yield from _repeats(at.spot, "ports", trunk.ports)
    for j, port in enumerate(trunk.ports):
        yield from port_faults(parts, port, at.spot("ports", j))


def port_faults(parts: Parts, port: str, spot: Spot) -> Iterator[Fault]:
    """Find a port that the enclosure does not have."""
    if parts.enclosure is not None and port not in parts.enclosure.port_by_id:
        names = list(parts.enclosure.port_by_id)
        message = said("enclosure {enclosure} has no such port", enclosure=parts.enclosure.id)
        yield spot.fault(message, found=describe(port), allowed=", ".join(names), hint=did_you_mean(port, names))


def _repeats(spot: Callable[..., Spot], key: str, values: tuple[str, ...] | tuple[int, ...]) -> Iterator[Fault]:
    for j, value in enumerate(values):
        if value in values[:j]:
            yield spot(key, j).fault(
                said("{key} lists {value} twice", key=key, value=value),
                allowed=said("every one once"),
                hint=said("take one out"),
            )


def _listed_twice(at: TrunkAt, key: str, words: Sequence[str | int]) -> Iterator[Fault]:
    """Find a word that a trunk lists twice. The words are sorted by now, so the fault is at the place of the whole list."""
    for word in dict.fromkeys(word for word in words if words.count(word) > 1):
        yield at.spot(key).fault(
            said("{key} lists {word} twice", key=key, word=word),
            allowed=said("every one once"),
            hint=said("take one out"),
        )


def _ribbon_faults(at: TrunkAt) -> Iterator[Fault]:
    """Find a width of new ribbons that all ribbons of the trunk have already."""
    trunk = at.trunk
    widths = {group.ribbon_fibres for group in trunk.cable.subunits}
    for word in trunk.ribbons:
        if {word} == widths:
            yield at.spot("ribbons").fault(
                said("the ribbons of trunk {trunk} have {word} fibres already", trunk=trunk.id, word=word),
                found=str(word), allowed=said("as_they_are, split, or another width"), hint=said("say as_they_are"),
            )  # fmt: skip


def _join_faults(parts: Parts) -> Iterator[Fault]:
    first: dict[str, Spot] = {}
    for item in parts.joins:
        join = item.join
        yield from run_faults(parts, join.a, item.a)
        yield from run_faults(parts, join.b, item.b)
        if join.a.count != join.b.count:
            found = said(
                "{n} fibre in a, {other} in b|{n} fibres in a, {other} in b", n=join.a.count, other=join.b.count
            )
            yield item.b.fault(
                said("the sides of join {join} are not equally long", join=join.name),
                found=found,
                allowed=said("as many in a as in b"),
            )
        if join.a.trunk == join.b.trunk:
            found = said("{a} to {b}", a=join.a, b=join.b)
            yield item.b.fault(
                said("join {join} splices trunk {trunk} to itself", join=join.name, trunk=join.a.trunk),
                found=found,
                allowed=said("two trunks"),
            )
        if join.name in first:
            message = said(
                "the join {join} is given twice; first in {first}",
                join=describe(join.name),
                first=first[join.name].told,
            )
            hint = said("rename one of them; a join without a name is named by its index from 0")
            yield item.name.fault(message, allowed=said("every name once"), hint=hint)
        first.setdefault(join.name, item.name)


class _Side(NamedTuple):
    first: int
    last: int
    join: str
    spot: Spot


def _spliced_twice(parts: Parts) -> Iterator[Fault]:
    """Find fibres in two joins: compare each run with the run before it that reaches furthest."""
    sides: dict[str, list[_Side]] = {}
    for item in parts.joins:
        if item.join.a.trunk != item.join.b.trunk:
            for run, spot in ((item.join.a, item.a), (item.join.b, item.b)):
                sides.setdefault(run.trunk, []).append(_Side(run.first, run.last, item.join.name, spot))
    for trunk, runs in sides.items():
        runs.sort(key=lambda side: (side.first, side.last))
        furthest = runs[0]
        for side in runs[1:]:
            if side.first <= furthest.last:
                early, late = sorted((furthest, side), key=lambda one: (one.spot.line, one.spot.column))
                fibres = f"{trunk}:{span(side.first, min(side.last, furthest.last))}"
                count = min(side.last, furthest.last) - side.first + 1
                message = said(
                    "fibre {fibres} is spliced twice, in join {join} and in join {other}"
                    "|fibres {fibres} are spliced twice, in join {join} and in join {other}",
                    n=count, fibres=fibres, join=early.join, other=late.join,
                )  # fmt: skip
                where = said("the other is in {spot}", spot=early.spot.told)
                yield late.spot.fault(message, allowed=said("every fibre once"), hint=where)
            furthest = max(furthest, side, key=lambda one: one.last)


def _apart_faults(parts: Parts) -> Iterator[Fault]:
    for i, apart in parts.aparts.items():
        yield from _repeats(lambda key, j, i=i: parts.spot("apart", i, key, j), "joins", apart.joins)
        for j, name in enumerate(apart.joins):
            if name not in parts.join_names and parts.joins_whole:
                names = sorted(parts.join_names)
                hint = did_you_mean(name, names) or "a join without a name is named by its index from 0"
                spot = parts.spot("apart", i, "joins", j)
                yield spot.fault(
                    said("there is no such join"), found=describe(name), allowed=", ".join(names[:20]), hint=hint
                )
