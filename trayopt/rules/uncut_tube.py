"""uncut tube: the tubes of a through trunk that are not cut stay whole."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from trayopt.domain.job import Job
from trayopt.domain.ranges import Run
from trayopt.domain.said import said
from trayopt.rules.base import Breach, NoParameters, Post, Rule
from trayopt.rules.words import listed
from trayopt.track.laid import Laid

if TYPE_CHECKING:
    from trayopt.rules.variables import Variables


class UncutTube(Rule[NoParameters]):
    """Broken when fibres of a tube that passes uncut lie in a tray."""

    id = "uncut_tube"
    named = "uncut tube"
    kind = "always"
    subject = "subunit"
    of_ways = False
    statement = "a tray holds fibres of a tube that passes uncut"
    why = "A tube that passes uncut may carry live light; no mark and no step cuts it."
    cells = ("fibres", "from fibres", "from")

    def check(self, job: Job, laid: Laid) -> Iterator[Breach]:
        """Find rows of the plan that name fibres of uncut tubes."""
        for trunk in job.trunks:
            for unit in trunk.passing:
                rows = [c for c in laid.claims if c.trunk == trunk.id and c.first <= unit.last and c.last >= unit.first]
                if rows:
                    lie = listed(
                        [
                            said("{run} in {row_place}", run=Run(row.trunk, row.first, row.last), row_place=row.place)
                            for row in rows
                        ]
                    )
                    yield Breach(
                        unit.name,
                        said(
                            "the tube of {unit_name} passes uncut, and the plan has {lie}", unit_name=unit.name, lie=lie
                        ),
                    )

    def encode(self, job: Job, x: Variables, post: Post) -> None:
        """Post nothing: no model has legs of tubes that pass uncut."""

    def say(self, job: Job, subject: str) -> str:
        """Say which tubes of a trunk pass uncut."""
        trunk, _, _ = subject.rpartition("/")
        numbers = listed(job.trunk_by_id[trunk].uncut)
        return said(
            "{subject}: tubes {numbers} of {trunk} pass uncut, as no join and no cut of the job names them",
            subject=subject,
            numbers=numbers,
            trunk=trunk,
        )

    def advise(self, job: Job, laid: Laid, subject: str) -> str:
        """Say how to change the job so that the tube is cut."""
        del job, laid
        return f"take {subject} out of the trays; if it is to be cut, join its fibres, or name it under cut"
