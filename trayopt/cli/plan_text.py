"""A plan as text: its decisions, its proofs, its broken rules, and the load of every tray."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING

from rich.console import Console, ConsoleOptions, Group, RenderResult
from rich.measure import Measurement
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from trayopt.cli.plan_words import (
    CAUTION,
    conflict_words,
    divisions,
    goal_state,
    legs_in,
    mm,
    one_line,
    outcome,
    tied,
    unused,
    way_out_words,
    window_words,
)
from trayopt.domain.hardware import Place
from trayopt.rules.registry import BY_ID
from trayopt.rules.words import listed, several

if TYPE_CHECKING:
    from rich.console import RenderableType

    from trayopt.api import Habits
    from trayopt.domain.job import Job
    from trayopt.domain.plan import Plan, PlanBroken

MOST_COLUMNS = 120
MOST_ALIKE = 12
"""Number of broken preferences of a rule, and of unplaced runs, that are listed; the rest is only counted."""


class Items:
    """Short texts with two spaces between them: on one line if they fit, otherwise each group on lines of its own.

    Parameters
    ----------
    groups
        The texts, in groups that belong together.
    cell, line
        The least width of a text, and the width of the longest line in the column, so that all items of a column have the same
        layout.
    """

    def __init__(self, groups: Sequence[Sequence[str]], cell: int = 0, line: int = 0) -> None:
        self.groups = [[item.ljust(cell) for item in group] for group in groups if group]
        self.line = max(line, len(self._one_line()))
        self.widest = max((len(item.rstrip()) for group in self.groups for item in group), default=0)

    def _one_line(self) -> str:
        return "  ".join(item for group in self.groups for item in group).rstrip()

    def __rich_measure__(self, console: Console, options: ConsoleOptions) -> Measurement:
        """Return the least and the greatest width of the layout."""
        return Measurement(self.widest, self.line).with_maximum(options.max_width)

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """Lay the texts out in the available width."""
        if self.line <= options.max_width:
            yield Text(self._one_line())
            return
        lines = [line for group in self.groups for line in self._wrapped(group, options.max_width)]
        yield Text("\n".join(lines), overflow="fold")

    def _wrapped(self, group: Sequence[str], width: int) -> list[str]:
        lines = [""]
        for item in group:
            if lines[-1] and len(lines[-1]) + 2 + len(item.rstrip()) > width:
                lines.append("")
            lines[-1] += f"  {item}" if lines[-1] else item
        return [line.rstrip() for line in lines]


def plan_blocks(job: Job, plan: Plan, *, whole: bool = False, habits: Habits | None = None) -> Iterator[RenderableType]:
    """Yield the answer block by block; with ``whole``, every leg and every broken rule is listed.

    ``habits`` says which preferences no plan can keep, and which are expensive.
    """
    yield Text(one_line(plan.job.title) or "job without a title", style="bold")
    yield Text(
        f"{job.enclosure.id}, {several(len(job.trunks), 'trunk')}, {several(job.splices, 'splice')}", style="dim"
    )
    yield ""
    word, rest = outcome(plan)
    yield Text.assemble((word, f"bold {_shade(plan)}"), rest)
    if plan.status == "none":
        yield from _why_not(plan)
        return
    yield from _block("Goals, in the order in which they count", _goals(plan))
    yield from _block("Trunks", _trunks(plan))
    windows = [window_words(row) for row in plan.through if row.window_mm is not None]
    if windows:
        yield from _block("Through the box", _points(windows))
    if plan.trays:
        caption = Items([unused(job, plan), tied(plan)])
        yield from _block(
            f"Trays: {len(plan.trays)} of {len(job.enclosure.places)} in use", Group(_trays(job, plan), caption)
        )
    if whole:
        yield from _block("Legs", _legs(plan))
    never = {} if habits is None else habits.never
    for level, title in (("must", "Musts that this plan breaks"), ("prefer", "Preferences that this plan breaks")):
        broken = [item for item in plan.broken if item.level == level and (item.rule, item.subject) not in never]
        if broken:
            yield from _block(title, _broken(job, broken, all_of_them=whole or level == "must"))
    lost = [item for item in plan.broken if (item.rule, item.subject) in never]
    if lost:
        yield from _block("Preferences that no plan of this job can keep", _never(lost, never))
    if habits is not None and habits.dear:
        yield from _block("Preferences that cost much to keep (trayopt explain JOB --prices)", _points(habits.dear))
    if plan.unplaced:
        yield from _unplaced(plan, whole)
    yield from _why_not(plan)
    yield ""
    yield Text(CAUTION, style="italic")


def plan_text(job: Job, plan: Plan, *, width: int = 80, whole: bool = False, habits: Habits | None = None) -> str:
    """Write the answer as plain text of at most ``width`` columns."""
    from io import StringIO

    console = Console(
        file=StringIO(), width=min(width, MOST_COLUMNS), highlight=False, markup=False, emoji=False, color_system=None
    )
    for block in plan_blocks(job, plan, whole=whole, habits=habits):
        console.print(block)
    written = console.file.getvalue()  # type: ignore[attr-defined]
    return "".join(f"{line.rstrip()}\n" for line in written.splitlines())


def _block(title: str, content: RenderableType) -> Iterator[RenderableType]:
    yield ""
    yield Text(title, style="bold underline")
    yield content


def _shade(plan: Plan) -> str:
    if plan.status == "none" or plan.value("unplaced") or plan.value("broken_must"):
        return "red"
    return "green" if plan.status == "optimal" else "yellow"


def _table(*columns: str) -> Table:
    """Make a table without rules; a column whose name begins with ``>`` is aligned to the right."""
    table = Table(box=None, padding=(0, 2, 0, 0), pad_edge=False, header_style="dim")
    for name in columns:
        table.add_column(name.removeprefix(">"), justify="right" if name.startswith(">") else "left", overflow="fold")
    return table


def _goals(plan: Plan) -> Table:
    table = _table("goal", ">value", ">bound", "")
    for item in plan.goals:
        shade = "green" if item.bound == item.value else "yellow"
        bound = "-" if item.bound is None else f"{item.bound:,}"
        table.add_row(item.goal, f"{item.value:,}", bound, Text(goal_state(item), style=shade))
    return table


def _trunks(plan: Plan) -> Table:
    table = _table("trunk", "port", "travel", ">loops", ">strip mm", "subunits")
    for row in plan.trunks:
        if row.port is None:
            table.add_row(row.trunk, "stays outside")
            continue
        table.add_row(
            row.trunk, row.port, row.travel, str(row.loops), mm(row.strip_mm), Items([divisions(plan, row.trunk)])
        )
    return table


def _trays(job: Job, plan: Plan) -> Table:
    table = _table("place", "legs (fibres)", ">ends", ">sleeves")
    inside = legs_in(job, plan)
    cell = max(len(text) for groups in inside.values() for legs in groups for text in legs)
    line = max(Items(groups, cell).line for groups in inside.values())
    for tray in plan.trays:
        place = Place(tray.stack, tray.position)
        kind = job.enclosure.tray_at(place)
        table.add_row(
            str(place),
            Items(inside[place], cell, line),
            f"{tray.ends}/{2 * kind.fibres}",
            f"{tray.sleeves}/{kind.sleeves}",
        )
    return table


def _legs(plan: Plan) -> Table:
    table = _table("leg", "fibres", "tray", "end", ">mark mm", ">cut mm", ">tube mm")
    for leg in plan.legs:
        if leg.stack is None or leg.position is None:
            table.add_row(leg.leg, leg.fibres, "idle" if leg.idle else "no tray")
            continue
        place = str(Place(leg.stack, leg.position)) + (" parked" if leg.idle else "")
        tube = "" if leg.tube_mm is None else f"{leg.tube_mm:g}"
        table.add_row(leg.leg, leg.fibres, place, leg.end, mm(leg.entrance_mark_mm), mm(leg.cut_mm), tube)
    return table


def _broken(job: Job, broken: Sequence[PlanBroken], *, all_of_them: bool) -> RenderableType:
    grid = Table.grid(padding=(0, 2, 0, 0))
    grid.add_column(overflow="fold")
    grid.add_column(overflow="fold")
    alike: dict[tuple[str, str], list[PlanBroken]] = {}  # what is said of a group of trays is said once
    for item in broken:
        alike.setdefault((item.rule, item.because), []).append(item)
    rows: dict[str, int] = {}
    more: dict[str, int] = {}
    for (rule, because), items in alike.items():
        rows[rule] = rows.get(rule, 0) + 1
        if not all_of_them and rows[rule] > MOST_ALIKE:
            more[rule] = more.get(rule, 0) + len(items)
            continue
        weight = job.rules[rule].weight if items[0].level == "prefer" and rule in job.rules else 1
        counts = weight * len(items)
        times = f" (counts {counts})" if counts > 1 else ""
        grid.add_row(f"{BY_ID[rule].name} {listed([item.subject for item in items])}{times}", because)
    for rule, found in more.items():
        grid.add_row(f"{BY_ID[rule].name}", f"and {several(found, 'more subject')} (-v lists all)")
    return grid


def _never(lost: Sequence[PlanBroken], why: Mapping[tuple[str, str], str]) -> RenderableType:
    """List preferences that no plan can keep, with their root; preferences with the same root share a row."""
    by_root: dict[str, list[str]] = {}
    for item in lost:
        by_root.setdefault(why[item.rule, item.subject], []).append(f"{BY_ID[item.rule].name} {item.subject}")
    return _points([f"{listed(names)}: {root or 'trayopt explain JOB says why'}" for root, names in by_root.items()])


def _unplaced(plan: Plan, whole: bool) -> Iterator[RenderableType]:
    runs = [f"{run.a} to {run.b}" for run in plan.unplaced]
    shown = runs if whole else runs[:MOST_ALIKE]
    if len(shown) < len(runs):
        shown.append(f"and {several(len(runs) - len(shown), 'more run')} (-v lists all)")
    yield from _block(f"Without a tray: {several(plan.value('unplaced'), 'splice')}", Items([shown]))


def _why_not(plan: Plan) -> Iterator[RenderableType]:
    head, reasons = conflict_words(plan.explanation or {})
    if reasons:
        yield from _block(head, _points(reasons))
    ways = way_out_words(plan.explanation or {})
    if ways:
        yield from _block("Ways out", _points(ways))
    elif plan.status != "none" and (plan.value("unplaced") or plan.value("broken_must")):
        says = "proves ways out of it" if reasons else "says what is in the way, and what would help"
        yield ""
        yield Text(f"trayopt explain JOB {says}.")


def _points(sentences: Sequence[str]) -> Group:
    return Group(*(_hanging("-", sentence) for sentence in sentences))


def _hanging(mark: str, sentence: str) -> RenderableType:
    grid = Table.grid(padding=(0, 1, 0, 0))
    grid.add_column()
    grid.add_column(overflow="fold")
    grid.add_row(mark, sentence)
    return Padding(grid, 0)
