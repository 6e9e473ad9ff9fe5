"""Comparison of two plans of a job: goals, trunks and legs that differ, and findings that only one plan has."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

from trayopt.checker import judge_bounds
from trayopt.domain.job import Job
from trayopt.domain.ranges import Run
from trayopt.domain.said import joined, said
from trayopt.errors import InputError
from trayopt.review.desk import Review, bound_remark
from trayopt.rules.judge import judge, no_plan_breaks
from trayopt.rules.words import ribbons_are
from trayopt.track.laid import Laid

SCHEMA = "trayopt/compare/1"


@dataclass(frozen=True)
class Pair:
    """Two reviews of one job, for a comparison."""

    job: Job
    a: Review
    b: Review

    @property
    def sources(self) -> tuple[str, str]:
        """The names of the two files."""
        return self.a.made.source, self.b.made.source

    @property
    def laid(self) -> tuple[Laid, Laid]:
        """The two plans as they lie in the box."""
        assert self.a.laid is not None
        assert self.b.laid is not None
        return self.a.laid, self.b.laid

    def as_dict(self) -> dict[str, Any]:
        """Return the comparison as plain data."""
        one, other = self.a.goals, self.b.goals
        return {
            "schema": SCHEMA,
            "job": {"title": self.job.title, "digest": self.job.digest},
            "plans": list(self.sources),
            "notes": self.notes(),
            "passed": [self.a.passed, self.b.passed],
            "better": self.better(one, other),
            "goals": [{"goal": g, "a": one[g], "b": other[g], "difference": other[g] - one[g]} for g in one],
            "trunks": self.trunks(),
            "legs": self.legs(),
            "findings": self.findings(),
        }

    def notes(self) -> list[str]:
        """Return the notes on each file as a whole."""
        return [f"{name}: {note}" for name, review in (("A", self.a), ("B", self.b)) for note in review.made.notes]

    def better(self, one: dict[str, int], other: dict[str, int]) -> str:
        """Return the better plan: the plan that passes; if both or neither pass, the first goal that differs decides."""
        if self.a.passed != self.b.passed:
            return "A" if self.a.passed else "B"
        a, b = list(one.values()), list(other.values())
        return "same" if a == b else ("A" if a < b else "B")

    def trunks(self) -> list[dict[str, str]]:
        """Return the trunks whose ways, or places of division, differ."""
        found = []
        for trunk in self.job.trunk_by_id:
            a, b = (_way(laid, trunk) for laid in self.laid)
            if a != b:
                found.append({"trunk": trunk, "a": a, "b": b})
        return found

    def legs(self) -> list[dict[str, str]]:
        """Return the runs of fibres that lie in different trays or legs; in each plan, a whole run lies in one tray and leg."""
        found = []
        for subunit in self.job.subunits:
            edges = {subunit.first, subunit.last + 1}
            sides = []
            for laid in self.laid:
                claims = [c for c in laid.claims if c.trunk == subunit.trunk and c.first <= subunit.last >= c.first]
                claims = [c for c in claims if c.last >= subunit.first]
                edges |= {max(c.first, subunit.first) for c in claims} | {min(c.last, subunit.last) + 1 for c in claims}
                sides.append(claims)
            for first, end in pairwise(sorted(edges)):
                a, b = (_where(self.job, claims, first) for claims in sides)
                if a != b:
                    found.append({"fibres": str(Run(subunit.trunk, first, end - 1)), "a": a, "b": b})
        return found

    def findings(self) -> list[dict[str, str]]:
        """Return the findings that only one plan has."""
        keys = [{(r.rule, r.subject) for r in review.remarks} for review in (self.a, self.b)]
        found = []
        for name, review, others in (("A", self.a, keys[1]), ("B", self.b, keys[0])):
            for remark in review.remarks:
                if (remark.rule, remark.subject) not in others:
                    found.append(
                        {"plan": name, "level": remark.level, "rule": remark.rule, "subject": remark.subject,
                         "found": remark.found}
                    )  # fmt: skip
        return found


def compare(job: Job, a: Review, b: Review) -> Pair:
    """Compare two reviewed plans.

    Raises
    ------
    InputError
        If a plan has damaged cells.
    """
    faults = [fault for review in (a, b) for fault in review.made.faults]
    if faults:
        raise InputError(faults)
    return Pair(job, _against(a, b, "plan B"), _against(b, a, "plan A"))


def _against(review: Review, other: Review, name: str) -> Review:
    """Judge the claimed bounds of one plan by the values of the other plan, if that plan can be built."""
    if not review.bounds or review.report is None or other.laid is None:
        return review
    if any(no_plan_breaks(found) for found in judge(other.job, other.laid)):
        return review
    values = {str(item.goal): item.value for item in review.report.plan.goals}
    claims = judge_bounds(review.bounds, values, other.goals)
    refuted = [bound_remark(claim, name) for claim in claims if claim.standing == "refuted"]
    return replace(review, bounds=claims, remarks=(*review.remarks, *refuted))


def _way(laid: Laid, trunk: str) -> str:
    way = laid.ways.get(trunk)
    if way is None:
        return said("outside")
    at = said("divided at the tray") if laid.divide_at[trunk] == "tray" else said("divided at the port")
    facts = [way.port, said(way.travel), said("{n:,} loop|{n:,} loops", n=way.loops), at]
    if laid.job.trunk_by_id[trunk].may_work_ribbons:
        facts.append(said("ribbons {word}", word=ribbons_are(laid.ribbons[trunk])))
    return joined(facts)


def _where(job: Job, claims: Sequence[Any], fibre: int) -> str:
    for claim in claims:
        if claim.first <= fibre <= claim.last:
            leg = job.trunk_by_id[claim.trunk].subunit_of(claim.first).leg_of_run(claim.first, claim.last)
            name = str(leg) if leg is not None else f"{claim.first}-{claim.last}"
            if leg is not None and leg.of > 1:
                return said("{place} as {leg} of {of}", place=claim.place, leg=name, of=leg.of)
            return said("{place} as {leg}", place=claim.place, leg=name)
    return said("in no tray")
