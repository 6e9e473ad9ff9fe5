"""same_division: equal subunits of a trunk are divided alike."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from typing import TYPE_CHECKING

from trayopt.domain.cablework import Subunit
from trayopt.domain.job import Job
from trayopt.domain.said import said
from trayopt.rules.base import Breach, NoParameters, Post, Rule
from trayopt.rules.words import joined, several
from trayopt.track.laid import Laid

if TYPE_CHECKING:
    from trayopt.rules.variables import Variables


class SameDivision(Rule[NoParameters]):
    """Broken when two subunits of one trunk with placed legs and equal ribbons have different k."""

    id = "same_division"
    kind = "practice"
    level = "prefer"
    subject = "trunk"
    of_ways = False
    statement = "two subunits of one trunk with placed legs and equal ribbons are divided differently"
    why = "A crew that marks and divides every tube alike makes fewer mistakes."
    cells = ("fibres", "from fibres", "from")
    of_divisions = True

    def check(self, job: Job, laid: Laid) -> Iterator[Breach]:
        """Compare the divisions of equal subunits of every trunk in the box."""
        for trunk in laid.trunks():
            first: dict[tuple[int, int], Subunit] = {}
            for subunit in trunk.subunits:
                of = laid.division.get((trunk.id, subunit.number))
                if of is None:
                    continue
                like = first.setdefault((subunit.ribbons, subunit.ribbon_fibres), subunit)
                before = laid.division[trunk.id, like.number]
                if before != of:
                    yield Breach(
                        trunk.id,
                        said(
                            "{like_name} is divided into {legs}, and {subunit_name}, which is equal, into {of}",
                            like_name=like.name,
                            legs=several(before, "leg"),
                            subunit_name=subunit.name,
                            of=of,
                        ),
                    )
                    break

    def encode(self, job: Job, x: Variables, post: Post) -> None:
        """Let each class of equal subunits of a trunk use at most one k."""
        for trunk in job.trunks:
            alike: dict[tuple[int, int], list[Subunit]] = {}
            for subunit in trunk.subunits:
                if x.divisions(subunit):
                    alike.setdefault((subunit.ribbons, subunit.ribbon_fibres), []).append(subunit)
            for subunits in alike.values():
                open_ = sorted({of for subunit in subunits for of in x.divisions(subunit)})
                if len(subunits) < 2 or len(open_) < 2:
                    continue
                common = {of: x.literal(f"{trunk.id} in {of}") for of in open_}
                x.require(sum(common.values()) == 1)
                for subunit in subunits:
                    for of in x.divisions(subunit):
                        post(x.divided(subunit, of) <= common[of], trunk.id, (x.has_placed(subunit),))

    def say(self, job: Job, subject: str) -> str:
        """Say which subunits of a trunk are equal."""
        sizes = Counter((subunit.ribbons, subunit.ribbon_fibres) for subunit in job.trunk_by_id[subject].subunits)
        alike = joined(
            said(
                "{subunits} of {ribbons} of {fibres}",
                subunits=several(n, "subunit"),
                ribbons=several(ribbons, "ribbon"),
                fibres=fibres,
            )
            for (ribbons, fibres), n in sizes.items()
        )
        return said("{subject}: equal subunits are divided alike; it has {alike}", subject=subject, alike=alike)

    def advise(self, job: Job, laid: Laid, subject: str) -> str:
        """Say what to change."""
        del job, laid, subject
        return "divide equal subunits of the trunk into the same number of legs"
