"""The part of a job that is left when some trunks stay outside and everything else that can be is placed.

With a trunk goes every lot (``lots.py``) in which it has a splice: that is lost in every plan without these trunks. A plan that
loses no more is a complete plan of the part:

* Its joins are what is left of the joins. A trunk without a join is in no plan of the part, as if it was idle. Two trunks that
  come in by other joins are a joined pair, though all splices between them are lost.
* No leg holds fibres of both kinds, those with a splice of the part and those with one that is lost: divisions that make such a
  leg are barred. A tube that is opened at a tray leaves no leg outside, so a trunk of which a subunit has fibres of both kinds is
  divided at the port.
* Pins of what stays outside are broken in every such plan, and ``breakout`` is by a trunk that has to be divided at the port and
  need not have been. The part does not ask for these: they are its price.

The other way round each complete plan of the part is such a plan of the job. Nothing follows of plans that leave out more.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import replace
from functools import cached_property
from typing import NamedTuple

from trayopt.domain.base import remade
from trayopt.domain.cablework import Subunit
from trayopt.domain.job import Apart, Job, Join
from trayopt.domain.pins import LegPin, TrunkPin
from trayopt.domain.plan import GoalName
from trayopt.domain.ranges import Run
from trayopt.domain.splicing import Piece
from trayopt.domain.trunk import Trunk
from trayopt.rules.breakout import Breakout
from trayopt.rules.pin import Pinned
from trayopt.solver.model.lots import lots_of


class PartedTrunk(Trunk):
    """A trunk of which some fibres have no splice in a part: divisions that mix these with others are barred, by subunit."""

    barred: tuple[tuple[int, tuple[int, ...]], ...]

    @cached_property
    def units(self) -> tuple[Subunit, ...]:
        """Every subunit of its cable, without the divisions that are barred."""
        barred = dict(self.barred)
        return tuple(replace(unit, barred=barred.get(unit.number, ())) for unit in super().units)


class PartOfJob(Job):
    """What is left of a job: joins are missing, and yet the same trunks lead, and the same pairs are joined."""

    leads: frozenset[str]
    pairs: tuple[tuple[str, str], ...]

    @cached_property
    def joined_pairs(self) -> tuple[tuple[str, str], ...]:
        """The pairs of the whole job of which both trunks have a splice in the part."""
        return tuple(pair for pair in self.pairs if all(self.spliced_in(self.trunk_by_id[name]) for name in pair))

    @cached_property
    def lead_trunks(self) -> frozenset[str]:
        """The lead trunks of the whole job."""
        return self.leads


class Part(NamedTuple):
    """A part of a job, and what each goal is more in the job than in the part."""

    job: Job
    price: dict[GoalName, int]


def lost_pieces(job: Job, outside: Collection[str]) -> set[Piece]:
    """Return the pieces of joins that no plan places which leaves these trunks outside."""
    return {
        piece
        for lot in lots_of(job)
        if any({piece.a.trunk, piece.b.trunk} & set(outside) for piece in lot.pieces)
        for piece in lot.pieces
    }


def without_trunks(job: Job, outside: Collection[str]) -> Part | None:
    """Return the part of a job without some trunks; None where nothing is left, or where it cannot be told.

    Trunks that go through, and what is built, are not asked for: of such jobs there is no part.
    """
    lost = lost_pieces(job, outside)
    kept = [piece for piece in job.pieces if piece not in lost]
    apart = _apart(job, lost)
    if job.through or not kept or any(pin.built for pin in job.pins) or apart is None:
        return None
    fields = {name: getattr(job, name) for name in Job.model_fields}
    left = dict(fields, joins=tuple(_joins(job, kept)), apart=apart)
    part = PartOfJob.model_construct(**left, leads=job.lead_trunks, pairs=job.joined_pairs)
    if len(part.sleeve_runs) < sum(_is_of(part, run.a) for run in job.sleeve_runs):
        return None
    price: dict[GoalName, int] = {"unplaced": job.splices - part.splices, "broken_must": 0, "broken_prefer": 0}
    trunks = tuple(_trunk(job, part, trunk, price) for trunk in job.trunks)
    out = {trunk.id for trunk in job.trunks if job.spliced_in(trunk) and not part.spliced_in(trunk)}
    pins = tuple(pin for pin in job.pins if not _is_broken(job, part, out, pin))
    for _ in {pin.subject for pin in job.pins} - {pin.subject for pin in pins}:
        _charge(job, Pinned.id, price)
    return Part(remade(part, trunks=trunks, pins=pins), price)


def _joins(job: Job, kept: Sequence[Piece]) -> Iterator[Join]:
    """Yield the joins that are left; pieces that continue each other become one join."""
    runs: list[Piece] = []
    for piece in kept:
        last = runs[-1] if runs else None
        if last is not None and (last.join, last.a.last + 1, last.b.last + 1) == (
            piece.join,
            piece.a.first,
            piece.b.first,
        ):
            runs[-1] = Piece(last.join, last.a._replace(last=piece.a.last), last.b._replace(last=piece.b.last))
        else:
            runs.append(piece)
    for run in runs:
        yield remade(job.joins[run.join], a=run.a, b=run.b)


def _apart(job: Job, lost: Collection[Piece]) -> tuple[Apart, ...] | None:
    """Return what is kept apart of the joins that are left; None where one of these is left in part."""
    gone = {job.joins[piece.join].name for piece in lost}
    whole = gone - {job.joins[piece.join].name for piece in job.pieces if piece not in lost}
    if any(name in gone - whole for item in job.apart for name in item.joins):
        return None
    left = (remade(item, joins=tuple(name for name in item.joins if name not in gone)) for item in job.apart)
    return tuple(item for item in left if len(item.joins) > 1)


def _is_of(part: Job, run: Run) -> bool:
    """Whether some fibre of a run has a splice of the part."""
    spliced = part.spliced[run.trunk, part.trunk_by_id[run.trunk].subunit_of(run.first).number]
    return any(first <= run.last and run.first <= last for first, last in spliced)


def _trunk(job: Job, part: Job, trunk: Trunk, price: dict[GoalName, int]) -> Trunk:
    """Return a trunk as it is divided in the part."""
    barred = tuple((s.number, tuple(_barred(job, part, s))) for s in trunk.subunits if _is_parted(job, part, s))
    if not barred:
        return trunk
    if trunk.divided_only_at is None:
        _charge(job, Breakout.id, price)
    fields = {name: getattr(trunk, name) for name in Trunk.model_fields}
    return PartedTrunk.model_construct(**dict(fields, divide_at=("port",)), barred=barred)


def _is_parted(job: Job, part: Job, subunit: Subunit) -> bool:
    """Whether a subunit has a splice of the part, and loses another."""
    return 0 < part.spliced_fibres(subunit.leg(1, 1)) < job.spliced_fibres(subunit.leg(1, 1))


def _barred(job: Job, part: Job, subunit: Subunit) -> Iterator[int]:
    """Yield the divisions with a leg that has a splice of the part and loses another splice."""
    for of in subunit.divisions:
        if any(0 < part.spliced_fibres(leg) < job.spliced_fibres(leg) for leg in subunit.legs(of)):
            yield of


def _is_broken(job: Job, part: Job, out: Collection[str], pin: LegPin | TrunkPin) -> bool:
    """Whether a pin asks for what stays outside."""
    if isinstance(pin, TrunkPin):
        return pin.trunk in out
    leg = job.pinned_leg(pin)
    without = not part.spliced_fibres(job.subunit(leg).leg(1, 1))  # no leg of it has a tray, not even a parked one
    return without or part.spliced_fibres(leg) < job.spliced_fibres(leg)


def _charge(job: Job, rule: str, price: dict[GoalName, int]) -> None:
    """Add one broken subject of a rule to a price."""
    setting = job.rules[rule]
    if setting.level == "must":
        price["broken_must"] += 1
    elif setting.level == "prefer":
        price["broken_prefer"] += setting.weight
