"""What each way to break a good plan makes, as a reviewer is handed it: the job, and a table or a plan document."""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from tests.build import plan_of
from tests.review.mutations import MUTATIONS, SOLVER, Broken, Case, Mutation
from trayopt.checker import Report, measure
from trayopt.domain.assignment import Assignment, Way
from trayopt.domain.cablework import Leg
from trayopt.domain.hardware import Place
from trayopt.domain.job import Job
from trayopt.domain.plan import Plan
from trayopt.domain.ranges import span
from trayopt.review.handmade import Handmade
from trayopt.review.reading import parse_handmade
from trayopt.track.laid import Claim, Laid

HEAD = "trunk,fibres,stack,position,port,travel,loops,end"


@dataclass
class Handed:
    """A broken plan as it is handed in: a table as text, or a plan document."""

    name: str
    job: Job
    text: str = ""
    plan: Plan | None = None
    broken: Broken | None = None

    def made(self, *, lenient: bool = False) -> Handmade:
        """Read the table."""
        return parse_handmade(self.job, self.text.encode(), "plan.csv", lenient=lenient)


def table_text(claims: Sequence[Claim], ways: Mapping[str, Way]) -> str:
    """Write claims as a table; the way of a trunk stands in its first row."""
    lines, told = [HEAD], set()
    for claim in claims:
        way = ways.get(claim.trunk) if claim.trunk not in told else None
        told.add(claim.trunk)
        cells = [claim.trunk, span(claim.first, claim.last), *claim.place, *(way or ("", "", "")), claim.end or ""]
        lines.append(",".join(map(str, cells)))
    return "\n".join(lines) + "\n"


class Recorder(Case):
    """A case that keeps what it was asked to check."""

    handed: Handed | None = None

    def of_claims(self, claims: Sequence[Claim], ways: dict[str, Way] | None = None) -> Report:
        """Check rows, and keep them as a table."""
        self.handed = Handed("", self.job, table_text(claims, ways or self.good.ways))
        return super().of_claims(claims, ways)

    def moved(self, places: dict[Leg, Place]) -> Report:
        """Check legs elsewhere, and keep all as a table."""
        laid = Laid(self.job, replace(self.good, places={**self.good.places, **places}))
        self.handed = Handed("", self.job, table_text(laid.claims, self.good.ways))
        return super().moved(places)

    def way(self, trunk: str, way: Way) -> Report:
        """Check another way, and keep all as a table."""
        self.handed = Handed("", self.job, table_text(self.claims, {**self.good.ways, trunk: way}))
        return super().way(trunk, way)

    def elsewhere(self, change: Callable[[dict[str, Any]], None]) -> Report:
        """Check against another job, and keep the table for that job."""
        self.handed = Handed("", self.other(change), table_text(self.claims, self.good.ways))
        return super().elsewhere(change)

    def document(self, change: Callable[[dict[str, Any]], str]) -> Broken:
        """Check a changed document, and keep it."""
        plan = measure(self.job, self.good, status="feasible", stopped="gap", bounds={}, solver=SOLVER).plain()
        change(plan)
        self.handed = Handed("", self.job, plan=plan_of(plan))
        return Broken(super().document(lambda data: "").report)


def handed(job: Job, good: Assignment, seed: int | str, mutations: Sequence[Mutation] = MUTATIONS) -> Iterator[Handed]:
    """Break a good plan in every way that applies to it."""
    rng = random.Random(seed)
    for mutation in mutations:
        case = Recorder(job, good, rng)
        broken = mutation(case)
        if broken is not None and case.handed is not None:
            case.handed.name, case.handed.broken = mutation.__name__, broken
            yield case.handed
