"""Open parts of a table: fibres without a tray, trunks without a way, stacks without an end."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator, Sequence
from functools import cached_property

from trayopt.domain.finding import Finding
from trayopt.domain.hardware import Place
from trayopt.domain.job import Job
from trayopt.domain.ranges import Run, joined, parse_span, span
from trayopt.formats.locate import printable
from trayopt.review.handmade import Handmade, Line
from trayopt.review.parked import bare_legs
from trayopt.review.remarks import Remark
from trayopt.rules.whole_legs import WholeLegs
from trayopt.rules.words import listed, several
from trayopt.track.laid import Laid


def open_remarks(job: Job, made: Handmade) -> list[Remark]:
    """Make a remark for each part that the table leaves open."""
    return [*_fibres(job, made), *_ways(job, made), *_ends(job, made)]


def parked_remarks(job: Job, made: Handmade, laid: Laid) -> list[Remark]:
    """Make a remark for each idle leg of an opened tube for which the table gives no tray."""
    found = []
    for leg in bare_legs(laid):
        subunit = job.subunit(leg)
        run = Run(leg.trunk, *subunit.leg_run(leg))
        lines = tuple(dict.fromkeys(_near(made, run)))
        cells = tuple(dict.fromkeys(filter(None, (line.cell("position", "tray", "stack") for line in lines))))
        text = f"{run} has no splice, but its tube ({subunit.name}) is opened at the trays, and no row gives it a tray"
        found.append(
            Remark(
                "table", "open", f"{run}", lines, cells, text, "a tray for every leg of an opened tube",
                f"add a row that parks {run}, or let trayopt complete the table",
            )
        )  # fmt: skip
    return found


class Waiting:
    """The legs that seem apart from their splices only because a table leaves the other side open."""

    def __init__(self, job: Job, made: Handmade) -> None:
        self._job, self._made = job, made

    def is_all(self, finding: Finding) -> bool:
        """Whether a finding says no more than that the other side of its leg is open."""
        if finding.rule != WholeLegs.id or self._apart is None:
            return False
        trunk, _, text = finding.subject.partition(":")
        if not text:
            return finding.subject not in self._legs
        first, last = parse_span(text)
        return not any(first <= fibre <= last for fibre in self._apart.get(trunk, ()))

    @cached_property
    def _apart(self) -> dict[str, list[int]] | None:
        """Fibres, by trunk, that lie in another tray than the fibre to which they are spliced; None if one lies in two trays."""
        places: dict[str, dict[int, Place]] = {}
        for entry in self._made.placed:
            of_trunk = places.setdefault(entry.run.trunk, {})
            for fibre in range(entry.run.first, entry.run.last + 1):
                if entry.place is not None and of_trunk.setdefault(fibre, entry.place) != entry.place:
                    return None
        found: dict[str, list[int]] = {}
        for join in self._job.joins:
            of_a, of_b = places.get(join.a.trunk, {}), places.get(join.b.trunk, {})
            for i in range(join.a.count):
                a, b = of_a.get(join.a.first + i), of_b.get(join.b.first + i)
                if a is not None and b is not None and a != b:
                    found.setdefault(join.a.trunk, []).append(join.a.first + i)
                    found.setdefault(join.b.trunk, []).append(join.b.first + i)
        return found

    @cached_property
    def _legs(self) -> set[str]:
        """The legs, of every division, that hold one of these fibres."""
        return {
            str(subunit.leg_of_fibre(fibre, of))
            for trunk, fibres in (self._apart or {}).items()
            for fibre in fibres
            for subunit in (self._job.trunk_by_id[trunk].subunit_of(fibre),)
            for of in subunit.divisions
        }


def unplaced_remarks(job: Job, made: Handmade, laid: Laid) -> list[Remark]:
    """Make a remark for each longest run of splices of a join without a tray, or without a row in a list of splices."""
    from trayopt.review.advice import advice_to_meet

    remarks = []
    for a, b in _without_a_tray(laid):
        has = "has" if a.count == 1 else "have"
        text = f"{several(a.count, 'splice')} of {a} to {b} {has} no tray that holds both sides"
        remarks.append(_unplaced(made, a, b, text, advice_to_meet(job, laid, a, b)))
    for of_list in made.lists:
        where = f" of sheet '{printable(of_list.sheet)}'" if made.beside else ""
        for a, b in _unnamed(job, made, of_list, laid):
            verb = "is" if a.count == 1 else "are"
            text = f"{several(a.count, 'splice')} of {a} to {b} {verb} in no row{where}"
            mend = "add the missing rows, or let trayopt complete the table: check -o"
            remarks.append(_unplaced(of_list, a, b, text, mend))
    return remarks


def unnamed(job: Job, made: Handmade, laid: Laid) -> list[tuple[Run, Run]]:
    """Return the splices that lie in a tray with their legs, but that a list of splices does not name."""
    lists = [_unnamed(job, made, of_list, laid) for of_list in made.lists]
    if len(lists) < 2:
        return lists[0] if lists else []
    found = []
    for join in job.joins:
        gaps = joined((a.first, a.last) for gaps in lists for a, _ in gaps if a.trunk == join.a.trunk)
        for first, last in gaps:
            one, other = max(first, join.a.first), min(last, join.a.last)
            if one <= other:
                shift = join.b.first - join.a.first
                found.append((Run(join.a.trunk, one, other), Run(join.b.trunk, one + shift, other + shift)))
    return found


def _unnamed(job: Job, made: Handmade, of_list: Handmade, laid: Laid) -> list[tuple[Run, Run]]:
    """Return the splices that a list does not name; next to a table of legs, only splices of legs with a row there."""
    if of_list.lost:
        return []
    rows: dict[str, list[tuple[int, int]]] = {}
    for row in of_list.splices:
        for run in (row.a, row.b):
            if run is not None and row.place is not None:
                rows.setdefault(run.trunk, []).append((run.first, run.last))
    for trunk, runs in rows.items():
        rows[trunk] = joined(runs)
    nowhere: dict[str, list[tuple[int, int]]] = {}
    for a, _ in _without_a_tray(laid):
        nowhere.setdefault(a.trunk, []).append((a.first, a.last))
    found = []
    for join in job.joins:
        known = joined([*rows.get(join.a.trunk, ()), *nowhere.get(join.a.trunk, ())])
        if of_list is not made:
            legs = joined((e.run.first, e.run.last) for e in made.placed if e.run.trunk == join.a.trunk)
            known = joined([*known, *left_over((join.a.first, join.a.last), legs)])
        shift = join.b.first - join.a.first
        for first, last in left_over((join.a.first, join.a.last), known):
            found.append((Run(join.a.trunk, first, last), Run(join.b.trunk, first + shift, last + shift)))
    return found


def left_over(run: tuple[int, int], covered: Sequence[tuple[int, int]]) -> list[tuple[int, int]]:
    """Return the parts of a run that are not covered by other runs, which are in order and do not overlap."""
    at, last = run
    found = []
    start = bisect_left(covered, (at, 0))
    for one, other in covered[max(start - 1, 0) :]:
        if one > last:
            break
        if one > at:
            found.append((at, one - 1))
        at = max(at, other + 1)
    if at <= last:
        found.append((at, last))
    return found


def _without_a_tray(laid: Laid) -> list[tuple[Run, Run]]:
    """Return the splices whose sides do not lie in one tray, as longest runs of a join."""
    runs: list[list[int]] = []
    for piece, place in laid.piece_places:
        if place is not None:
            continue
        last = runs[-1] if runs else None
        if last is not None and last[0] == piece.join and last[2] + 1 == piece.a.first and last[4] + 1 == piece.b.first:
            last[2], last[4] = piece.a.last, piece.b.last
        else:
            runs.append([piece.join, piece.a.first, piece.a.last, piece.b.first, piece.b.last])
    joins = laid.job.joins
    return [(Run(joins[i].a.trunk, a0, a1), Run(joins[i].b.trunk, b0, b1)) for i, a0, a1, b0, b1 in runs]


def _unplaced(made: Handmade, a: Run, b: Run, found: str, mend: str) -> Remark:
    lines = tuple(dict.fromkeys([*_near(made, a), *_near(made, b)]))
    cells = tuple(dict.fromkeys(line.cell("position", "tray", "stack") for line in lines))
    cells = tuple(cell for cell in cells if cell)
    return Remark("unplaced", "unplaced", f"{a}", lines, cells, found, "every splice in a tray", mend)


def _near(made: Handmade, run: Run) -> list[Line]:
    """Return the rows that name fibres of a run, or the row before the gap."""
    touching = made.by_fibre.over(run)
    if touching:
        return [line for entry in touching for line in entry.lines]
    before = made.by_fibre.before(run)
    return [] if before is None else list(before.lines[-1:])


def _fibres(job: Job, made: Handmade) -> Iterator[Remark]:
    for trunk in job.trunks:
        covered = joined((entry.run.first, entry.run.last) for entry in made.placed if entry.run.trunk == trunk.id)
        spliced = (run for subunit in trunk.subunits for run in job.spliced[trunk.id, subunit.number])
        for first, last in joined(gap for run in spliced for gap in left_over(run, covered)):
            run = Run(trunk.id, first, last)
            lines = tuple(dict.fromkeys(_near(made, run)))
            cells = tuple(dict.fromkeys(line.cell("position", "tray", "stack") for line in lines))
            yield Remark(
                "table", "open", f"{run}", lines, cells, f"fibres {span(first, last)} of {trunk.id} have no tray in this table",
                "a tray for every spliced fibre", "add the missing rows, or let trayopt complete the table",
            )  # fmt: skip


def _ways(job: Job, made: Handmade) -> Iterator[Remark]:
    placed = {entry.run.trunk for entry in made.placed}
    inside = {end.id for trunk in placed for end in job.ends_of(job.trunk_by_id[trunk])}
    for trunk in job.trunks:
        decided = made.ways.get(trunk.id, {})
        asked = ["port", "travel", "loops", *["ribbons"] * (len(trunk.ribbons) > 1)]
        missing = [key for key in asked if key not in decided]
        if trunk.id in inside and missing:
            lines = tuple(line for entry in made.placed if entry.run.trunk == trunk.id for line in entry.lines[:1])[:1]
            sides = [f"{side}{part}" for side in ("from", "to") for part in (" trunk", "", " fibres")]
            cells = tuple(line.cell(*missing, "trunk", *sides, "fibres") for line in lines)
            yield Remark(
                "table", "open", trunk.id, lines, cells, f"{', '.join(missing)} of {trunk.id} not given, so nothing is proven",
                f"{listed(asked)} of every such trunk", f"write {', '.join(missing)} in one row of {trunk.id}",
            )  # fmt: skip


def _ends(job: Job, made: Handmade) -> Iterator[Remark]:
    told = made.ends()
    for stack in job.enclosure.stacks:
        lines = [line for e in made.placed if e.place is not None and e.place.stack == stack.id for line in e.lines]
        if len(stack.ends) > 1 and stack.id not in told and lines:
            ends = ", ".join(end.id for end in stack.ends)
            yield Remark(
                "table", "open", stack.id, (lines[0],), (lines[0].cell("end", "stack", "tray"),),
                f"the end of {stack.id} is not given, so nothing is proven", ends, f"write the end in a row of {stack.id}",
            )  # fmt: skip
