"""Charts as plain SVG: time against fibres with the fitted exponent, and open goals over time.

Axes by logarithm, stairs and fitted lines serve these tables alone, so ``trayopt.pictures`` does not know them.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from html import escape
from typing import Any

from benchmarks.cases import Case
from benchmarks.journal import GOAL_ORDER
from benchmarks.report import NAMES, Result, proof_s

WIDTH, HEIGHT, LEFT, BOTTOM, TOP, RIGHT = 720, 400, 70, 50, 40, 220
COLOURS = ("#0b6e4f", "#b3541e", "#3b5b92", "#7a3b69", "#6b6b6b")
SHAPES = ("circle", "square", "diamond", "cross", "ring")
Point = tuple[float, float]


def fit(points: Sequence[Point]) -> tuple[float, float] | None:
    """Fit time = factor x size ** exponent by least squares of the logarithms; None for fewer than three sizes."""
    if len({x for x, _ in points}) < 3:
        return None
    xs, ys = [math.log(x) for x, _ in points], [math.log(y) for _, y in points]
    mx, my = sum(xs) / len(xs), sum(ys) / len(ys)
    slope = sum((x - mx) * (y - my) for x, y in zip(xs, ys, strict=True)) / sum((x - mx) ** 2 for x in xs)
    return slope, math.exp(my - slope * mx)


class Axis:
    """One axis, by logarithm or straight."""

    def __init__(self, values: Sequence[float], start: float, end: float, *, log: bool) -> None:
        self.log = log
        low, high = min(values), max(values)
        if log:
            low, high = 10 ** math.floor(math.log10(low)), 10 ** math.ceil(math.log10(high) + 1e-9)
        self.low, self.high, self.start, self.end = low, max(high, low + 1e-9), start, end

    def at(self, value: float) -> float:
        """Give the place of a value, in pixels."""
        scale: Callable[[float], float] = math.log10 if self.log else float
        part = (scale(value) - scale(self.low)) / (scale(self.high) - scale(self.low))
        return self.start + part * (self.end - self.start)

    def ticks(self) -> list[float]:
        """Give the values that are written."""
        if self.log:
            first, last = round(math.log10(self.low)), round(math.log10(self.high))
            return [10.0**power for power in range(first, last + 1)]
        return [float(value) for value in range(math.ceil(self.low), math.floor(self.high) + 1)]


def chart(
    title: str,
    series: Mapping[str, Sequence[Point]],
    x_name: str,
    y_name: str,
    *,
    log_y: bool = True,
    lines: Mapping[str, Sequence[Point]] | None = None,
    stairs: bool = False,
) -> str:
    """Draw points by series, with a mark and a colour each, and lines beside them."""
    lines = lines or {}
    every = [point for points in (*series.values(), *lines.values()) for point in points]
    x = Axis([p[0] for p in every], LEFT, WIDTH - RIGHT, log=True)
    y = Axis([p[1] for p in every] + ([] if log_y else [0.0]), HEIGHT - BOTTOM, TOP, log=log_y)
    out = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" font-family="sans-serif" font-size="12">',
        f'<title>{escape(title)}</title><rect width="{WIDTH}" height="{HEIGHT}" fill="white"/>',
        f'<text x="{LEFT}" y="22" font-size="15">{escape(title)}</text>',
    ]
    for value in x.ticks():
        at = f"{x.at(value):.1f}"
        out.append(f'<line x1="{at}" y1="{TOP}" x2="{at}" y2="{HEIGHT - BOTTOM}" stroke="#ddd"/>')
        out.append(f'<text x="{at}" y="{HEIGHT - BOTTOM + 16}" text-anchor="middle">{value:g}</text>')
    for value in y.ticks():
        at = f"{y.at(value):.1f}"
        out.append(f'<line x1="{LEFT}" y1="{at}" x2="{WIDTH - RIGHT}" y2="{at}" stroke="#ddd"/>')
        out.append(f'<text x="{LEFT - 6}" y="{y.at(value) + 4:.1f}" text-anchor="end">{value:g}</text>')
    out.append(f'<text x="{(LEFT + WIDTH - RIGHT) / 2}" y="{HEIGHT - 12}" text-anchor="middle">{escape(x_name)}</text>')
    middle = (TOP + HEIGHT - BOTTOM) / 2
    out.append(f'<text transform="translate(18 {middle}) rotate(-90)" text-anchor="middle">{escape(y_name)}</text>')
    names = list(dict.fromkeys([*series, *lines]))
    for i, name in enumerate(names):
        colour, shape = COLOURS[i % len(COLOURS)], SHAPES[i % len(SHAPES)]
        placed = [(x.at(a), y.at(b)) for a, b in series.get(name, ())]
        if stairs and placed:
            path = f"M{placed[0][0]:.1f} {placed[0][1]:.1f}" + "".join(f"H{a:.1f}V{b:.1f}" for a, b in placed[1:])
            out.append(f'<path d="{path}" fill="none" stroke="{colour}" stroke-width="2"/>')
            placed = placed[-1:]
        out += [_mark(shape, a, b, colour) for a, b in placed]
        if name in lines:
            path = "M" + "L".join(f"{x.at(a):.1f} {y.at(b):.1f}" for a, b in lines[name])
            out.append(f'<path d="{path}" fill="none" stroke="{colour}" stroke-dasharray="5 4"/>')
        row = TOP + 14 + 20 * i
        out.append(_mark(shape, WIDTH - RIGHT + 16, row - 4, colour))
        out.append(f'<text x="{WIDTH - RIGHT + 26}" y="{row}">{escape(name)}</text>')
    return "\n".join([*out, "</svg>"]) + "\n"


def _mark(shape: str, x: float, y: float, colour: str) -> str:
    if shape == "circle":
        return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="4" fill="{colour}"/>'
    if shape == "square":
        return f'<rect x="{x - 4:.1f}" y="{y - 4:.1f}" width="8" height="8" fill="{colour}"/>'
    if shape == "diamond":
        return f'<path d="M{x:.1f} {y - 5:.1f}l5 5l-5 5l-5 -5z" fill="{colour}"/>'
    if shape == "cross":
        return f'<path d="M{x - 4:.1f} {y - 4:.1f}l8 8m0 -8l-8 8" stroke="{colour}" stroke-width="2" fill="none"/>'
    return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="4" fill="none" stroke="{colour}" stroke-width="2"/>'


def growth(cases: Mapping[str, Case], results: Sequence[Result]) -> tuple[str, dict[str, float]] | None:
    """Draw the time to proof against fibres in each group of sizes, with the fitted exponents.

    A case counts with its worst seed; one that a seed did not prove has no time, and is left out.
    """
    points: dict[str, list[Point]] = {}
    for name in dict.fromkeys(str(result["case"]) for result in results if result["method"] == "trayopt"):
        case = cases[name]
        took = [proof_s(r, case.until) for r in results if r["case"] == name and r["method"] == "trayopt"]
        if case.size is not None and None not in took:
            worst = max(seconds for seconds in took if seconds is not None)
            points.setdefault(case.size[0], []).append((float(case.size[1]), max(worst, 1e-3)))
    if not points:
        return None
    series: dict[str, Sequence[Point]] = {}
    lines: dict[str, Sequence[Point]] = {}
    exponents: dict[str, float] = {}
    for group, found in points.items():
        fitted = fit(found)
        name = group
        if fitted is not None:
            exponents[group] = fitted[0]
            name = f"{group}: fibres^{fitted[0]:.2f}"
            lines[name] = [(size, fitted[1] * size ** fitted[0]) for size in sorted({size for size, _ in found})]
        series[name] = found
    return chart("Time to proof against fibres", series, "spliced fibres", "seconds", lines=lines), exponents


def open_goals(result: Result) -> list[Point]:
    """Give goals still open over time: whole ones, and the gap of the one in work as a part of one."""
    at: Mapping[str, float] = result.get("proven_at", {})
    proven = sorted((seconds, "", None, None) for seconds in at.values())
    steps: list[tuple[float, Any, Any, Any]] = sorted(
        [*proven, *(tuple(event) for event in result.get("events", ()))], key=lambda event: event[0]
    )
    points: list[Point] = [(0.01, float(len(GOAL_ORDER)))]
    value: int | None = None
    bound: int | None = None
    before = ""
    for seconds, goal, new_value, new_bound in steps:
        done = sum(moment <= seconds for moment in at.values())
        part = 1.0
        if goal != before:
            value, bound, before = None, None, goal
        if goal and at.get(goal, math.inf) > seconds:
            value = new_value if new_value is not None else value
            bound = new_bound if new_bound is not None else bound
            if value is not None and bound is not None:
                part = min(1.0, max(0.0, (value - max(bound, 0)) / max(1, value)))
        left = len(GOAL_ORDER) - done
        points.append((max(seconds, 0.01), min(points[-1][1], max(0.0, left - 1 + part) if left else 0.0)))
    if not result.get("proven"):
        points.append((max(0.01, float(result.get("seconds", 0.01))), points[-1][1]))
    return points


def gaps(results: Sequence[Result], case: str) -> str:
    """Draw the goals still open over time for every method that proves."""
    series = {
        NAMES[result["method"]]: open_goals(result)
        for result in results
        if result["case"] == case
        and result["method"] in {"trayopt", "plain_cpsat", "milp_highs"}
        and "seconds" in result
    }
    return chart(
        f"Goals not yet proven: {case}", series, "seconds", "goals, gap of the one in work", log_y=False, stairs=True
    )
