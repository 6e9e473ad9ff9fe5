"""breakout: a trunk that may be divided at the tray is not divided at its port."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from trayopt.domain.job import Job
from trayopt.domain.said import said
from trayopt.rules.base import Breach, NoParameters, Post, Rule
from trayopt.rules.words import several
from trayopt.track.laid import Laid

if TYPE_CHECKING:
    from trayopt.rules.variables import Variables


class Breakout(Rule[NoParameters]):
    """Broken when a trunk whose list has ``tray`` is divided at the port with a placed leg of more than one."""

    id = "breakout"
    kind = "practice"
    level = "prefer"
    subject = "trunk"
    of_ways = False
    statement = "a trunk that may be divided at the tray is divided at the port, with a subunit in more than one leg"
    why = "A breakout at the port costs a tube for each leg and leaves the fibres without their own tube all the way."
    cells = ("fibres", "from fibres", "from")
    way_cells = ("divide_at",)
    of_divisions = True
    helped_by = frozenset({"divide_at"})

    def applies(self, job: Job, subject: str) -> bool:
        """Whether the trunk may be divided at either place."""
        return job.trunk_by_id[subject].divided_only_at is None

    def check(self, job: Job, laid: Laid) -> Iterator[Breach]:
        """Find trunks that are divided at the port although they may be divided at the tray."""
        for trunk in laid.trunks():
            if "tray" in trunk.divide_at and laid.divide_at[trunk.id] == "port":
                legs = sum(item.leg.of > 1 for item in laid.legs[trunk.id])
                if legs:
                    yield Breach(
                        trunk.id,
                        said(
                            "{trunk} is divided at the port, {legs} in tubes of their own; its subunits have "
                            "tubes that reach the trays",
                            trunk=trunk.id,
                            legs=several(legs, "leg"),
                        ),
                    )

    def encode(self, job: Job, x: Variables, post: Post) -> None:
        """Divide every trunk at the tray if its list allows it."""
        for trunk in job.trunks:
            if "tray" in trunk.divide_at and "port" in x.divide_options(trunk):
                post(x.divided_at(trunk, "port") <= 0, trunk.id)

    def say(self, job: Job, subject: str) -> str:
        """Say where the trunk may be divided."""
        del job
        return said(
            "{subject}: its subunits have tubes of their own, and are opened at the trays rather than at the port",
            subject=subject,
        )

    def advise(self, job: Job, laid: Laid, subject: str) -> str:
        """Say what to change."""
        del job, laid
        return f"divide {subject} at the tray, or say in the job that it is divided at the port"
