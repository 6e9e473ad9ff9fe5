"""whole legs: a leg lies whole in one tray, together with every leg to which it is spliced."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from trayopt.domain.job import Job
from trayopt.domain.ranges import Run
from trayopt.domain.said import said
from trayopt.rules.base import Breach, NoParameters, Post, Rule
from trayopt.track.laid import Claim, Laid

if TYPE_CHECKING:
    from trayopt.rules.variables import Variables


def _name(job: Job, claim: Claim) -> str:
    """Name a claimed run by its leg, or by its fibres if no division has such a leg."""
    leg = job.trunk_by_id[claim.trunk].subunit_of(claim.first).leg_of_run(claim.first, claim.last)
    return str(Run(claim.trunk, claim.first, claim.last)) if leg is None else str(leg)


class WholeLegs(Rule[NoParameters]):
    """Broken when a leg is in two trays, or the two fibres of a splice are not in one tray."""

    id = "whole_legs"
    named = "whole legs"
    kind = "always"
    subject = "leg"
    statement = "a leg is in two trays, or the two fibres of a splice are not in one tray"
    why = "A splice joins two fibres in one sleeve, and a leg is one bundle: neither can be in two trays."
    of_ways = False

    def check(self, job: Job, laid: Laid) -> Iterator[Breach]:
        """Look up both fibres of every splice, and every fibre that is given a tray twice."""
        held: dict[str, list[Claim | None]] = {trunk.id: [None] * (trunk.cable.fibres + 1) for trunk in job.trunks}
        broken: dict[Claim, str] = {}
        for claim in laid.claims:
            of_trunk, fibres = held[claim.trunk], slice(claim.first, claim.last + 1)
            before = of_trunk[fibres]
            of_trunk[fibres] = [first or claim for first in before]
            for fibre, first in enumerate(before, start=claim.first):
                if first is not None and first.place != claim.place and not (first in broken and claim in broken):
                    text = said(
                        "fibre {fibre} of {claim_trunk} is in {first_place} and in {claim_place}",
                        fibre=fibre,
                        claim_trunk=claim.trunk,
                        first_place=first.place,
                        claim_place=claim.place,
                    )
                    broken.setdefault(first, text)
                    broken.setdefault(claim, text)
        for join in job.joins:
            of_a = held[join.a.trunk][join.a.first : join.a.last + 1]
            of_b = held[join.b.trunk][join.b.first : join.b.last + 1]
            for i, (a, b) in enumerate(zip(of_a, of_b, strict=True)):
                if a is b or (a and a.place) == (b and b.place):
                    continue
                untold = [side for side in (a, b) if side is not None and side not in broken]
                if not untold:
                    continue  # a leg is told once, by its first fibre: in a long table most fibres of a leg are wrong alike
                text = said(
                    "fibre {a} of {trunk_a} is in {place_a}, fibre {b} of {trunk_b}, to which it is spliced, in {place_b}",
                    a=join.a.first + i,
                    trunk_a=join.a.trunk,
                    place_a=a.place if a else said("no tray"),
                    b=join.b.first + i,
                    trunk_b=join.b.trunk,
                    place_b=b.place if b else said("no tray"),
                )
                broken.update(dict.fromkeys(untold, text))
        told: set[str] = set()
        for claim in sorted(broken, key=lambda claim: (job.trunk_rank[claim.trunk], claim.first, claim.last)):
            subject = _name(job, claim)
            if subject not in told:
                told.add(subject)
                yield Breach(subject, broken[claim])

    def encode(self, job: Job, x: Variables, post: Post) -> None:
        """Post nothing: the model's variables place whole legs, and ties hold the two sides of every splice together."""

    def say(self, job: Job, subject: str) -> str:
        """Say which legs must lie in the tray of a leg."""
        del job
        return said(
            "{subject}: it lies whole in one tray, and every leg that it is spliced to lies in the same one",
            subject=subject,
        )

    def advise(self, job: Job, laid: Laid, subject: str) -> str:
        """Say what to change."""
        del job, laid, subject
        return "give both sides of every splice the same tray, and every leg one tray only"
