"""Shares and quantiles of the mixes: how many are proven within which time, start included, and which are slow."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from math import ceil, inf
from typing import Any

from benchmarks.report import gap, proof_s, table

WITHIN_S = (2.0, 10.0, 60.0)
SLOWEST = 10

Result = Mapping[str, Any]


def whole_s(result: Result) -> float | None:
    """Give the seconds from the start of the process until every goal was proven; None where one was not."""
    took = proof_s(result)
    if took is None:
        return None
    phases = result["phases"]
    return took + sum(float(phases.get(name, 0.0)) for name in ("start", "solver_import", "read"))


def family_of(result: Result) -> str:
    """Give the family that a result's case was drawn from."""
    return str(result.get("family", ""))


def left_out(result: Result) -> bool:
    """Whether the plan leaves splices out."""
    vector = result.get("vector") or []
    return bool(vector) and vector[0] > 0


def quantile(values: Sequence[float], part: float) -> float:
    """Give the least of the values that so large a part of them does not exceed."""
    ordered = sorted(values)
    return ordered[max(1, ceil(part * len(ordered))) - 1]


def row(name: str, results: Sequence[Result], limit_s: float) -> list[object]:
    """Count one group of results: jobs, shares proven within so many seconds, median and nine tenths."""
    times = [whole_s(result) for result in results]
    known = [limit_s if took is None else took for took in times]
    shares = [
        f"{100 * sum(took is not None and took <= most for took in times) / len(times):.1f} %" for most in WITHIN_S
    ]
    return [name, len(results), *shares, f"{quantile(known, 0.5):.2f}", f"{quantile(known, 0.9):.2f}"]


def shares(results: Sequence[Result], limit_s: float) -> str:
    """Write the tables of one set of mixes; what was not proven counts as the limit."""
    own = [result for result in results if result["method"] == "trayopt"]
    groups: list[tuple[str, list[Result]]] = [
        ("all", own),
        ("every splice placed", [item for item in own if not left_out(item)]),
        ("splices left out", [item for item in own if left_out(item)]),
    ]
    groups += [(name, [item for item in own if family_of(item) == name]) for name in _once(map(family_of, own))]
    head = ["jobs", "number", *(f"proven in {most:g} s" for most in WITHIN_S), "median s", "9 of 10 within s"]
    parts = [table(head, [row(name, found, limit_s) for name, found in groups if found])]
    slow = sorted(own, key=_slowness, reverse=True)[:SLOWEST]
    lines = [
        [
            item["case"],
            item["seed"],
            family_of(item),
            item.get("splices", ""),
            f"{took:.2f}" if (took := whole_s(item)) is not None else f"> {limit_s:g}: {gap(item)}",
        ]
        for item in slow
    ]
    parts.append(table(["slowest", "seed of the solver", "family", "splices", "seconds"], lines))
    return "\n\n".join(parts)


def _slowness(result: Result) -> float:
    took = whole_s(result)
    return inf if took is None else took


def _once(names: Iterable[str]) -> list[str]:
    return list(dict.fromkeys(names))
