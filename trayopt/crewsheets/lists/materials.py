"""Materials, with spares, and tools for a plan."""

from __future__ import annotations

from collections.abc import Iterator
from math import ceil

from trayopt.crewsheets.book import Book
from trayopt.crewsheets.marks import Marks
from trayopt.crewsheets.step_facts import direct_of
from trayopt.crewsheets.tables import Cell, Column, Table
from trayopt.crewsheets.units import Teller
from trayopt.domain.plan import PlanLeg
from trayopt.domain.trunk import Trunk

MATERIALS = (
    Column("item"), Column("size"), Column("where"), Column("needed", "decimal"), Column("spare", "decimal"),
    Column("total", "decimal"), Column("unit"),
)  # fmt: skip
TOOLS = (Column("tool"), Column("size"), Column("for_trunks"))
BENCH = ("marker", "tape_measure", "mat", "shard_bin", "eyewear", "gloves")
"""Tools that every bench needs."""
FILLED: frozenset[str] = frozenset({"loose_tube", "central_tube", "ribbon"})
"""Constructions whose tubes are usually filled with gel; bundles and slotted cores are usually dry (common practice)."""


def materials_table(book: Book, marks: Marks, labels: int, tell: Teller) -> Table:
    """Return everything that is used up or stays in the box, without what is built already."""
    rows: list[tuple[Cell, ...]] = []
    for part in (
        _trays(book, tell),
        _sleeves(book, tell),
        _matrix(book, tell),
        _tubes(book, marks, tell),
        _ports(book, tell),
        _mounting(book, tell),
        _small(book, tell),
    ):
        rows += part
    rows.append(_row(tell, "labels", "", "", labels, 0, "piece"))
    return Table("materials", MATERIALS, rows)


def _row(tell: Teller, item: str, size: str, where: str, needed: float, spare: float, unit: str) -> tuple[Cell, ...]:
    exact = round(needed + spare, 3)
    return tell(f"material.{item}"), size, where, needed, spare, exact, tell(f"unit.{unit}")


def _share(count: int, percent: float) -> int:
    return ceil(round(count * percent / 100, 9))


def _trays(book: Book, tell: Teller) -> Iterator[tuple[Cell, ...]]:
    stacks: dict[str, dict[str, int]] = {}
    for tray in book.new_trays:
        count = stacks.setdefault(book.hardware(tray).id, {})
        count[tray.stack] = count.get(tray.stack, 0) + 1
    for kind, where in stacks.items():
        places = ", ".join(f"{stack}: {count}" for stack, count in where.items())
        yield _row(tell, "tray", kind, places, sum(where.values()), book.settings.materials.spare_trays, "piece")


def _sleeves(book: Book, tell: Teller) -> Iterator[tuple[Cell, ...]]:
    kinds: dict[int, int] = {}
    for sleeve in book.sleeves_to_make:
        size = book.hardware(book.trays[sleeve.tray]).sleeve_fibres
        kinds[size] = kinds.get(size, 0) + 1
    for size, count in sorted(kinds.items()):
        spare = _share(count, book.settings.materials.spare_sleeves_percent)
        yield _row(tell, "sleeve", tell("size.fibres", n=size), "", count, spare, "piece")


def _matrix(book: Book, tell: Teller) -> Iterator[tuple[Cell, ...]]:
    """Yield the material that holds together the fibres of new ribbons, by trunk and width."""
    found: dict[tuple[str, int], int] = {}
    for tray in book.work_trays:
        for ribbon in book.handlings[tray].made:
            found[ribbon.trunk, ribbon.width] = found.get((ribbon.trunk, ribbon.width), 0) + 1
    for (trunk, width), count in found.items():
        spare = _share(count, book.settings.materials.spare_matrix_percent)
        yield _row(tell, "matrix", tell("size.ribbon", n=width), trunk, count, spare, "piece")


def tube_mm(book: Book, marks: Marks) -> dict[tuple[float | None, float], int]:
    """Return the length of tube over legs, in mm, by (diameter, bore).

    Legs of trunks that are divided at the port travel in tubes of the set. Coiled legs lie in such a tube over the stripped
    length. Legs that were parted from a leg in service have their tubes already. A leg of a tube that is opened at trays has a
    piece of tube over it, from the end of the opened tube. If the set has no tube for a piece, the diameter is None and the bore
    is the bore that the leg needs.
    """
    found: dict[tuple[float | None, float], int] = {}

    def need(leg: PlanLeg, length: int) -> None:
        trunk, subunit = book.job.trunk_by_id[leg.trunk], book.subunit(leg)
        tube = book.routes.leg_tube(trunk, subunit, leg.of)
        bore = ceil(trunk.cable.bore_mm(subunit.ribbons // leg.of, subunit.ribbon_fibres) * 10) / 10
        key = (None, bore) if tube is None else (tube.diameter_mm, tube.bore_mm)
        found[key] = found.get(key, 0) + length

    for leg in book.work_legs:
        mark = marks.of[leg.leg]
        if not book.own_tube(leg):
            if leg.leg not in book.parted_before:
                need(leg, mark.tube_end)
        elif mark.protection:
            need(leg, mark.protection)
    for trunk in book.trunks:
        for leg in book.coiled_now(trunk.id):
            if leg.of > 1:
                need(leg, marks.strip[trunk.id])
    return found


def _tubes(book: Book, marks: Marks, tell: Teller) -> Iterator[tuple[Cell, ...]]:
    for (diameter, bore), length in sorted(
        tube_mm(book, marks).items(), key=lambda item: (item[0][0] or 0, item[0][1])
    ):
        needed = ceil(length / 100) / 10
        waste = ceil(round(needed * book.settings.materials.tube_waste_percent / 10, 6)) / 10
        if diameter is None:
            size, where = tell("size.bore", bore=tell.size(bore)), tell("where.no_tube", tubes=book.job.tubes.id)
        else:
            size, where = tell("size.tube", diameter=tell.size(diameter), bore=tell.size(bore)), book.job.tubes.id
        yield _row(tell, "tube", size, where, needed, waste, "metre")


def _ports(book: Book, tell: Teller) -> Iterator[tuple[Cell, ...]]:
    at: dict[str, list[Trunk]] = {}
    for trunk in book.trunks:
        at.setdefault(book.ways[trunk.id].port or "", []).append(trunk)
    for port_id, there in at.items():
        port = book.job.enclosure.port_by_id[port_id]
        trunks = [trunk for trunk in there if trunk.id not in book.built_trunks]
        if not trunks:
            continue
        seal = port.seal_for([trunk.cable.diameter_mm for trunk in there])
        fitted = port.seal_for([t.cable.diameter_mm for t in there if t.id in book.built_trunks])
        if seal is not None and (len(trunks) == len(there) or seal != fitted):
            size = tell("size.seal", n=seal.holes, least=tell.size(seal.least_mm), most=tell.size(seal.most_mm))
            round_ = [trunk.id for trunk in trunks if trunk.id in book.job.other_end]
            where = tell("where.opens", port=port_id, trunks=", ".join(round_)) if round_ else port_id
            yield _row(tell, "seal", size, where, 1, 0, "piece")
            if seal.holes > len(there):
                yield _row(tell, "plug", "", port_id, seal.holes - len(there), 0, "piece")
        sizes: dict[float, list[str]] = {}
        for trunk in trunks:
            sizes.setdefault(trunk.cable.diameter_mm, []).append(trunk.id)
        for diameter, names in sizes.items():
            where = f"{port_id}: {', '.join(names)}"
            yield _row(tell, "strain", tell.size(diameter), where, len(names), 0, "piece")
    for trunk in book.trunks:
        if needs_breakout(book, trunk):
            ways = sum(count for _, count in book.tubes_of(trunk.id))
            ways += sum(leg.of > 1 for leg in book.coiled_now(trunk.id))
            ways -= sum(leg.leg in book.parted_before for leg in book.work[trunk.id])
            yield _row(tell, "breakout", tell("size.ways", n=ways), trunk.id, 1, 0, "piece")


def needs_breakout(book: Book, trunk: Trunk) -> bool:
    """Whether a trunk gets a breakout kit, because some of its new legs are put into tubes of the set."""
    return any(not book.own_tube(leg) and leg.leg not in book.parted_before for leg in book.work.get(trunk.id, []))


def guide_passes(book: Book, trunk: str) -> int:
    """Count how often a trunk's new bundle passes guides: each guide once for each loop, and once more on the direct way."""
    if not book.tubes_of(trunk):
        return 0
    guides = len(book.job.enclosure.track.guides)
    direct = {guide for leg in book.work[trunk] for guide in direct_of(book, leg.leg)}
    return guides * (book.ways[trunk].loops or 0) + len(direct)


def _mounting(book: Book, tell: Teller) -> Iterator[tuple[Cell, ...]]:
    """Yield the parts that the enclosure lists, for everything new in the box; a box in service has its own parts already."""
    new = [trunk.id for trunk in book.new_trunks]
    served = {book.ways[trunk].port for trunk in book.built_trunks}
    standing = {tray.stack for tray, state in zip(book.trays, book.states, strict=True) if state != "new"}
    times = {
        "box": 0 if book.built_trunks else 1,
        "port": len({book.ways[trunk].port for trunk in new} - served),
        "stack": len({tray.stack for tray in book.new_trays} - standing),
        "tray": len(book.new_trays),
        "trunk": len(new),
    }
    for part in book.job.enclosure.parts:
        if times[part.each]:
            where = tell(f"each.{part.each}")
            yield (
                part.name,
                part.size,
                where,
                part.count * times[part.each],
                0,
                part.count * times[part.each],
                tell("unit.piece"),
            )


def _small(book: Book, tell: Teller) -> Iterator[tuple[Cell, ...]]:
    chosen, legs = book.settings.materials, len(book.work_legs)
    ties = chosen.ties_per_leg * legs + chosen.ties_per_guide_pass * sum(guide_passes(book, t) for t in book.legs)
    yield _row(tell, "ties", "", "", ties, _share(ties, chosen.spare_ties_percent), "piece")
    yield _row(tell, "tape", "", tell("where.tie_down"), ceil(chosen.tape_mm_per_leg * legs / 100) / 10, 0, "metre")
    caps: dict[float, int] = {}
    for item in book.passing:
        for cut in item.cuts:
            diameter = book.job.subunit_of_leg[item.ends[0], cut.unit].diameter_mm
            caps[diameter] = caps.get(diameter, 0) + len(cut.capped)
    single = [trunk.id for trunk in book.trunks if trunk.id not in book.job.other_end]
    for leg in (leg for name in single for leg in book.cut_back_now(name)):
        diameter = book.job.subunit_of_leg[leg.trunk, leg.subunit].diameter_mm
        caps[diameter] = caps.get(diameter, 0) + 1
    for diameter, count in sorted(caps.items()):
        if count:
            yield _row(tell, "cap", tell("size.cap", size=tell.size(diameter)), "", count, 0, "piece")
    splices = len(book.sleeves_to_make)
    yield _row(tell, "wipes", "", "", ceil(chosen.wipes_per_splice * splices), 0, "piece")
    yield _row(tell, "solvent", "", "", ceil(chosen.solvent_ml_per_splice * splices), 0, "millilitre")
    for trunk, new in book.work.items():
        if book.job.trunk_by_id[trunk].cable.construction in FILLED:
            opened = len({leg.subunit for leg in new})
            needed = ceil(chosen.gel_solvent_ml_per_subunit * opened)
            yield _row(tell, "gel_solvent", "", tell("where.filled", trunk=trunk), needed, 0, "millilitre")


def tools_table(book: Book, tell: Teller) -> Table:
    """Return the tools for the work: for the cables, for the splices, and for every bench."""
    found: dict[tuple[str, str], dict[str, None]] = {}

    def need(tool: str, size: str, trunk: str) -> None:
        found.setdefault((tool, size), {})[trunk] = None

    touched = {run.trunk for sleeve in book.sleeves_to_make for run in (sleeve.a, sleeve.b)} | set(book.work)
    trunks = [trunk for trunk in book.trunks if trunk.id in touched]
    for trunk in trunks:
        for tool, size in _opening_tools(book, trunk, tell):
            need(tool, size, trunk.id)
    for tool, size, name in _splicing_tools(book, tell):
        need(tool, size, name)
    waves = ", ".join(f"{wave} nm" for wave in book.settings.tests.wavelengths_nm)
    for tool, size in (*((tool, "") for tool in BENCH), ("tester", waves), ("launch", waves), ("fault_finder", "")):
        for trunk in trunks:
            need(tool, size, trunk.id)
    rank = book.job.trunk_rank
    rows = [
        (tell(f"tool.{tool}"), size, ", ".join(sorted(names, key=rank.__getitem__)))
        for (tool, size), names in found.items()
    ]
    return Table("tools", TOOLS, rows)


def _opening_tools(book: Book, trunk: Trunk, tell: Teller) -> Iterator[tuple[str, str]]:
    """Yield the tools that open a cable and its tubes; the jacket of a built trunk is off already."""
    cable = trunk.cable
    if trunk.id not in book.built_trunks:
        yield "jacket", tell.size(cable.diameter_mm)
        yield "armour", tell.size(cable.diameter_mm)
        yield "shears", ""
    if cable.construction == "slotted_core" and trunk.id not in book.built_trunks:
        yield "core", tell.size(cable.diameter_mm)
    if cable.tubes:
        opened = {leg.subunit for leg in book.work.get(trunk.id, [])}
        for diameter in sorted({unit.diameter_mm for unit in trunk.subunits if unit.number in opened}):
            yield "tube_cutter", tell.size(diameter)


def _splicing_tools(book: Book, tell: Teller) -> Iterator[tuple[str, str, str]]:
    """Yield the tools for splicing, by trunk: a splicer for both sides, holders for each width, and tools for ribbon work.

    Trunks whose ribbons are spliced to each other share a splicer, for the widest group that is spliced at once. A group of
    fewer fibres than its ribbon has is split off. Parts side by side share a holder; new ribbons have holders of their own
    width, and are separated by the tool that splits them.
    """
    widest: dict[str, int] = {}
    together = {trunk.id: {trunk.id} for trunk in book.job.trunks}
    held: dict[str, set[int]] = {}
    split: dict[str, set[int]] = {}
    made: dict[str, set[int]] = {}
    single: dict[str, None] = {}
    for sleeve in book.sleeves_to_make:
        count = sleeve.a.count
        for run in (sleeve.a, sleeve.b):
            side = book.job.trunk_by_id[run.trunk]
            own = side.subunit_of(run.first).ribbon_fibres
            word = book.ribbons[run.trunk]
            width = word if isinstance(word, int) else max(own, count)
            if side.in_ribbons and (count < width or width != own):
                split.setdefault(run.trunk, set()).add(own)
            if count == 1:
                single[run.trunk] = None
            else:
                widest[run.trunk] = max(count, widest.get(run.trunk, 0))
                held.setdefault(run.trunk, set()).add(width)
            if isinstance(word, int) and word != own:
                made.setdefault(run.trunk, set()).add(word)
        if count > 1 and together[sleeve.a.trunk] is not together[sleeve.b.trunk]:
            joined = together[sleeve.a.trunk] | together[sleeve.b.trunk]
            together.update(dict.fromkeys(joined, joined))
    for trunk in book.trunks:
        cable, name = trunk.cable, trunk.id
        if name in single:
            yield "single_splicer", "", name
        if name in widest:
            yield "splicer", tell("size.fibres", n=max(widest.get(other, 0) for other in together[name])), name
        pitch = round(cable.coating_mm * 1000)
        for width in sorted(held.get(name, ())):
            size = tell("size.holder", n=width, pitch=pitch)
            yield "holders", size, name
            yield "stripper", size, name
            if cable.construction == "loose_tube" or width in made.get(name, ()):
                yield "ribboniser", size, name
            if cable.construction == "partly_bonded_ribbon":
                yield "aligner", size, name
        for width in sorted(split.get(name, ())):
            yield "splitter", tell("size.ribbon", n=width), name
