"""alternate_stacks: the subunits of a lead trunk go to the stacks in turn."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from trayopt.domain.job import Job
from trayopt.domain.said import said
from trayopt.rules.base import Breach, NoParameters, Post, Rule
from trayopt.rules.words import listed
from trayopt.track.laid import Laid

if TYPE_CHECKING:
    from trayopt.rules.variables import Literal, Variables


class AlternateStacks(Rule[NoParameters]):
    """Broken when, after a subunit of a lead trunk, the counts of two stacks of the enclosure differ by more than 1."""

    id = "alternate_stacks"
    kind = "practice"
    level = "prefer"
    subject = "subunit"
    of_ways = False
    statement = "after this subunit of a lead trunk, the counts of two stacks differ by more than 1"
    why = "Stacks that fill in turn keep the trunk's order at every depth; one stack filled first crosses the next."
    cells = ("stack", "tray", "position")
    kept_by_more = True

    def check(self, job: Job, laid: Laid) -> Iterator[Breach]:
        """Walk the subunits of every lead trunk in the box and count their stacks."""
        for trunk in laid.trunks():
            if trunk.id not in job.lead_trunks:
                continue
            counts = {stack.id: 0 for stack in job.enclosure.stacks}
            for subunit in trunk.subunits:
                legs = laid.by_subunit.get((trunk.id, subunit.number))
                if not legs:
                    continue
                counts[legs[0].place.stack] += 1
                if max(counts.values()) - min(counts.values()) > 1:
                    shares = ", ".join(f"{stack} {count}" for stack, count in counts.items())
                    yield Breach(
                        subunit.name,
                        said(
                            "up to {subunit_name}, subunits of {trunk} are spread as {shares}",
                            subunit_name=subunit.name,
                            trunk=trunk.id,
                            shares=shares,
                        ),
                    )

    def encode(self, job: Job, x: Variables, post: Post) -> None:
        """Keep the running counts of any two stacks within one of each other, after each subunit that has a placed leg."""
        stacks = [stack.id for stack in job.enclosure.stacks]
        for trunk in job.trunks:
            if trunk.id not in job.lead_trunks or len(stacks) < 2:
                continue
            counts: dict[str, list[Literal]] = {stack: [] for stack in stacks}
            for subunit in trunk.subunits:
                placed = x.has_placed(subunit)
                if isinstance(placed, int) and not placed:
                    continue
                for stack in stacks:
                    counts[stack].append(x.first_on(subunit, stack))
                for a in stacks:
                    for b in stacks:
                        if a != b:
                            post(sum(counts[a]) - sum(counts[b]) <= 1, subunit.name, (placed,))

    def say(self, job: Job, subject: str) -> str:
        """Say how the subunits should be shared out."""
        stacks = listed([stack.id for stack in job.enclosure.stacks])
        return said(
            "{subject}: up to this subunit {stacks} take turns, so that no stack has two subunits more than another",
            subject=subject,
            stacks=stacks,
        )

    def advise(self, job: Job, laid: Laid, subject: str) -> str:
        """Say what to change."""
        del job, laid, subject
        return "begin this subunit on the stack that has had fewer subunits of the trunk so far"
