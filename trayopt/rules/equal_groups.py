"""equal groups: a subunit is divided into equal groups of whole ribbons."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from trayopt.domain.job import Job
from trayopt.domain.ranges import span
from trayopt.domain.said import said
from trayopt.rules.base import Breach, NoParameters, Post, Rule
from trayopt.rules.words import listed, several
from trayopt.track.laid import Claim, Laid

if TYPE_CHECKING:
    from trayopt.rules.variables import Variables


class EqualGroups(Rule[NoParameters]):
    """Broken when a subunit is not divided into equal groups of whole ribbons."""

    id = "equal_groups"
    named = "equal groups"
    kind = "always"
    subject = "subunit"
    statement = "a subunit is not divided into equal groups of whole ribbons"
    why = "A leg is marked, tied and found again by its number, so the groups are equal, and no ribbon belongs to two of them."
    cells = ("fibres", "from fibres", "from")
    of_divisions = True
    odd_by = "division"
    of_ways = False

    def check(self, job: Job, laid: Laid) -> Iterator[Breach]:
        """Look for runs that cannot be legs, and for legs of two divisions in one subunit."""
        runs: dict[tuple[str, int], list[Claim]] = {}
        for claim in laid.claims:
            trunk = job.trunk_by_id[claim.trunk]
            for number in range(trunk.subunit_of(claim.first).number, trunk.subunit_of(claim.last).number + 1):
                runs.setdefault((claim.trunk, number), []).append(claim)
        for subunit in job.subunits:
            found = runs.get((subunit.trunk, subunit.number), [])
            odd = [claim for claim in found if subunit.leg_of_run(claim.first, claim.last) is None]
            sizes = sorted({claim.last - claim.first + 1 for claim in found}, reverse=True)
            if odd:
                yield Breach(
                    subunit.name,
                    said(
                        "fibres {first} of {subunit_trunk} are not an equal group of whole ribbons of "
                        "{subunit_name}, which has {all} in {ribbons} of {subunit_ribbon_fibres}",
                        first=span(odd[0].first, odd[0].last),
                        subunit_trunk=subunit.trunk,
                        subunit_name=subunit.name,
                        all=span(subunit.first, subunit.last),
                        ribbons=several(subunit.ribbons, "ribbon"),
                        subunit_ribbon_fibres=subunit.ribbon_fibres,
                    ),
                )
            elif len(sizes) > 1:
                yield Breach(
                    subunit.name,
                    said(
                        "{subunit_name} is divided into unequal groups of {sizes} fibres",
                        subunit_name=subunit.name,
                        sizes=listed(sizes),
                    ),
                )

    def encode(self, job: Job, x: Variables, post: Post) -> None:
        """Post nothing: the model knows only legs that are equal groups of whole ribbons."""

    def say(self, job: Job, subject: str) -> str:
        """Say into how many legs a subunit can be divided."""
        trunk, _, number = subject.rpartition("/")
        subunit = job.subunit_of_leg[trunk, int(number)]
        return said(
            "{subject}: {ribbons} of {subunit_ribbon_fibres} can be divided into {divisions} equal groups",
            subject=subject,
            ribbons=several(subunit.ribbons, "ribbon"),
            subunit_ribbon_fibres=subunit.ribbon_fibres,
            divisions=listed(subunit.divisions, "or"),
        )

    def advise(self, job: Job, laid: Laid, subject: str) -> str:
        """Say which equal legs there can be."""
        del laid
        trunk, _, number = subject.rpartition("/")
        subunit = job.subunit_of_leg[trunk, int(number)]
        texts = []
        for of in subunit.divisions[:4]:
            first = [subunit.leg_span(leg) for leg in subunit.legs(of)[:3]]
            texts.append(f"{', '.join(first)}{' …' if of > 3 else ''}" if of > 1 else f"whole, {first[0]}")
        return f"divide {subject} into equal legs of whole ribbons: {'; or '.join(texts)}"
