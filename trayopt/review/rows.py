"""Faults of single rows that no rule covers: joins, sleeves, idle legs, lengths."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator

from trayopt.domain.decision import RunAt
from trayopt.domain.hardware import Place
from trayopt.domain.job import Job
from trayopt.domain.plan import Plan
from trayopt.review.handmade import Handmade, Line, SpliceRow
from trayopt.review.remarks import Remark
from trayopt.rules.uncut_tube import UncutTube
from trayopt.rules.words import listed, several
from trayopt.solver.model.decisions import spliced_in
from trayopt.track.laid import Laid


def row_remarks(job: Job, made: Handmade, laid: Laid) -> list[Remark]:
    """Find splices that the job does not ask for, sleeves that hold too much, and trays for legs that are not parked."""
    lists = (made, *made.beside)
    splices = [found for some in lists for found in (*_joins(job, laid, some), *_sleeves(job, some))]
    return [*splices, *_idle(job, made, laid)]


def figure_remarks(job: Job, made: Handmade, laid: Laid, plan: Plan) -> list[Remark]:
    """Find wrong lengths in the table."""
    right = {(leg.trunk, leg.fibres): leg.cut_mm for leg in plan.legs}
    found = []
    for entry in made.placed:
        if entry.cut is None:
            continue
        leg = job.trunk_by_id[entry.run.trunk].subunit_of(entry.run.first).leg_of_run(entry.run.first, entry.run.last)
        if leg is None or leg not in laid.place_of:
            continue
        want = right.get((leg.trunk, job.subunit(leg).leg_span(leg)))
        if want is not None and want != entry.cut:
            short = f"{want - entry.cut} mm short" if entry.cut < want else f"{entry.cut - want} mm long"
            found.append(
                Remark(
                    "cut_mm", "figure", str(leg), entry.lines, tuple(line.cell("cut") for line in entry.lines),
                    f"the table cuts {leg} at {entry.cut} mm, {short}", f"{want} mm", f"write {want} mm",
                )
            )  # fmt: skip
    return found


def _joins(job: Job, laid: Laid, made: Handmade) -> Iterator[Remark]:
    """Compare every row of splices with the joins of the job; uncut tubes must not be spliced."""
    if not made.splices:
        return
    partner: dict[tuple[str, int], tuple[str, int]] = {}
    for join in job.joins:
        for i in range(join.a.count):
            a, b = (join.a.trunk, join.a.first + i), (join.b.trunk, join.b.first + i)
            partner[a], partner[b] = b, a
    for row in made.splices:
        text = _differs(row, partner)
        whole = _uncut(job, row) if text else {}
        if whole:
            rule, names = UncutTube(), list(whole)
            cells = tuple(row.line.cell(*side) for side in whole.values())
            text = f"{text}; {listed(names)} {'passes' if len(names) == 1 else 'pass'} uncut"
            yield Remark(
                rule.id, "always", names[0], (row.line,), cells, text,
                rule.say(job, names[0]), rule.advise(job, laid, names[0]),
            )  # fmt: skip
        elif text:
            columns = ("to fibres", "to", "to trunk")
            yield Remark(
                "joins", "always", f"{row.a}", (row.line,), (row.line.cell(*columns),), text,
                "the joins of the job", "splice what the job joins, or change the job",
            )  # fmt: skip


def _uncut(job: Job, row: SpliceRow) -> dict[str, tuple[str, ...]]:
    """Return the tubes of a row of splices that pass uncut, each with the columns that name it."""
    sides = [(row.a, ("from fibres", "from", "from trunk")), (row.b, ("to fibres", "to", "to trunk"))]
    return {
        unit.name: columns
        for run, columns in sides
        if run is not None
        for unit in job.trunk_by_id[run.trunk].passing
        if run.first <= unit.last and run.last >= unit.first
    }


def _differs(row: SpliceRow, partner: dict[tuple[str, int], tuple[str, int]]) -> str:
    if row.b is None:
        return ""
    for i in range(row.a.count):
        fibre = (row.a.trunk, row.a.first + i)
        want = partner.get(fibre)
        if want != (row.b.trunk, row.b.first + i):
            to = "nothing" if want is None else f"fibre {want[1]} of {want[0]}"
            return (
                f"the row splices fibre {fibre[1]} of {fibre[0]} to fibre {row.b.first + i} of {row.b.trunk}; "
                f"the job splices it to {to}"
            )
    return ""


def _sleeves(job: Job, made: Handmade) -> Iterator[Remark]:
    """Find sleeves with too many splices, with more than one run, or with a number above the sleeves of the tray."""
    held: dict[tuple[Place, int], list[SpliceRow]] = defaultdict(list)
    for row in made.splices:
        if row.place is not None and row.sleeve is not None:
            held[row.place, row.sleeve].append(row)
    for (place, sleeve), rows in held.items():
        tray = job.enclosure.tray_at(place)
        count = sum(row.a.count for row in rows)
        lines: tuple[Line, ...] = tuple(row.line for row in rows)
        cells = tuple(line.cell("sleeve") for line in lines)
        if sleeve > tray.sleeves:
            text = f"sleeve {sleeve} of {place} is beyond the tray's {tray.sleeves}"
            yield _sleeve(place, sleeve, lines, cells, text, f"1 to {tray.sleeves}", "number the sleeves from 1")
        if count > tray.sleeve_fibres:
            text = f"sleeve {sleeve} of {place} holds {several(count, 'splice')}"
            limit = str(several(tray.sleeve_fibres, "splice"))
            yield _sleeve(place, sleeve, lines, cells, text, limit, "give every ribbon a sleeve of its own")


def _sleeve(
    place: Place, sleeve: int, lines: tuple[Line, ...], cells: tuple[str, ...], found: str, allowed: str, mend: str
) -> Remark:
    return Remark("sleeve", "figure", f"{place} sleeve {sleeve}", lines, cells, found, allowed, mend)


def _idle(job: Job, made: Handmade, laid: Laid) -> Iterator[Remark]:
    """Find runs without a spliced fibre that have a tray but are not legs of an opened tube."""
    for entry in made.placed:
        trunk = job.trunk_by_id[entry.run.trunk]
        if trunk.subunit_of(entry.run.first) in trunk.passing:
            continue
        if entry.place is not None and not spliced_in(job, RunAt(*entry.run, entry.place)):
            leg = (
                job.trunk_by_id[entry.run.trunk].subunit_of(entry.run.first).leg_of_run(entry.run.first, entry.run.last)
            )
            if leg in laid.place_of:
                continue
            cells = tuple(line.cell("position", "tray", "fibres") for line in entry.lines)
            yield Remark(
                "idle", "figure", str(entry.run), entry.lines, cells,
                f"{entry.run} has no spliced fibre, but this row puts it in {entry.place}",
                "no tray for an idle leg, unless its tube is opened at the trays",
                "delete the row",
            )  # fmt: skip
