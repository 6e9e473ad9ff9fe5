"""one end: all legs on a stack enter its trays at the same end."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from trayopt.domain.job import Job
from trayopt.domain.said import said
from trayopt.rules.base import Breach, NoParameters, Post, Rule
from trayopt.rules.words import listed
from trayopt.track.laid import Laid

if TYPE_CHECKING:
    from trayopt.rules.variables import Variables


class OneEnd(Rule[NoParameters]):
    """Broken when legs on one stack use different ends."""

    id = "one_end"
    named = "one end"
    kind = "always"
    subject = "stack"
    of_ways = False
    statement = "legs on one stack use different ends"
    why = "A tray is lifted about one side; legs at two ends tie it down."
    cells = ("end", "stack", "tray")
    odd_by = "end"

    def check(self, job: Job, laid: Laid) -> Iterator[Breach]:
        """Collect the ends at which the plan brings legs into each stack."""
        ends: dict[str, dict[str, None]] = {}
        for claim in laid.claims:
            if claim.end is not None:
                ends.setdefault(claim.place.stack, {})[claim.end] = None
        for stack in job.enclosure.stacks:
            used = ends.get(stack.id, {})
            if len(used) > 1:
                yield Breach(
                    stack.id,
                    said(
                        "legs enter the trays of {stack} at {ends}; one end is allowed",
                        stack=stack.id,
                        ends=listed(sorted(used)),
                    ),
                )

    def encode(self, job: Job, x: Variables, post: Post) -> None:
        """Post nothing: the model has exactly one end a stack."""

    def say(self, job: Job, subject: str) -> str:
        """Say which ends a stack has."""
        ends = [end.id for end in job.enclosure.stack_by_id[subject].ends]
        return said("{subject}: all its legs enter at one end, {ends}", subject=subject, ends=listed(ends, "or"))

    def advise(self, job: Job, laid: Laid, subject: str) -> str:
        """Name one end for all."""
        del job
        return f"write one end for every leg on {subject}, such as {laid.ends[subject]}"
