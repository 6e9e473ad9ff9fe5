"""apart: joins on diverse routes never share a tray (or, by scope, a stack)."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from trayopt.domain.base import remade
from trayopt.domain.hardware import Place
from trayopt.domain.job import Apart, Job
from trayopt.domain.said import said
from trayopt.rules.base import Breach, NoParameters, Post, Rule
from trayopt.rules.words import listed, several
from trayopt.track.laid import Laid

if TYPE_CHECKING:
    from trayopt.rules.variables import Variables


class KeptApart(Rule[NoParameters]):
    """Broken when two joins that must be apart have splices in one tray (or, by scope, on one stack)."""

    id = "apart"
    kind = "practice"
    subject = "pair of joins"
    of_ways = False
    statement = "two joins that must be kept apart have splices in one tray (with scope: stack, on one stack)"
    why = "Diverse routes are worth their price only if one accident, or one open tray, cannot touch both."
    asked_for = True
    helped_by = frozenset({"trays", "tray_types", "divide_at", "box"})
    says_all = True

    def check(self, job: Job, laid: Laid) -> Iterator[Breach]:
        """Compare the places of the splices of every pair of joins that must be apart."""
        used: dict[str, dict[Place, None]] = {join.name: {} for join in job.joins}
        for piece, place in laid.piece_places:
            if place is not None:
                used[job.joins[piece.join].name][place] = None
        for entry in job.apart:
            for a, b in entry.pairs:
                if entry.scope == "tray":
                    shared = [str(place) for place in job.enclosure.places if place in used[a] and place in used[b]]
                else:
                    stacks = {place.stack for place in used[a]} & {place.stack for place in used[b]}
                    shared = [stack.id for stack in job.enclosure.stacks if stack.id in stacks]
                if shared:
                    text = said(
                        "{a} and {b} must be kept apart, but share the {scope} {shared}",
                        a=a,
                        b=b,
                        scope=said(entry.scope),
                        shared=listed(shared),
                    )
                    yield Breach(f"{a}+{b}", text)

    def encode(self, job: Job, x: Variables, post: Post) -> None:
        """Let at most one of two joins have splices in a tray (or on a stack)."""
        index = {join.name: i for i, join in enumerate(job.joins)}
        for item in job.apart:
            for a, b in item.pairs:
                if item.scope == "stack":
                    for stack in job.enclosure.stacks:
                        post(x.join_on(index[a], stack.id) + x.join_on(index[b], stack.id) <= 1, f"{a}+{b}")
                else:
                    for place in job.enclosure.places:
                        post(x.join_at(index[a], place) + x.join_at(index[b], place) <= 1, f"{a}+{b}")

    def say(self, job: Job, subject: str) -> str:
        """Say which joins must be apart, and how many splices they have."""
        counts = {join.name: join.a.count for join in job.joins}
        for entry in job.apart:
            for a, b in entry.pairs:
                if f"{a}+{b}" == subject:
                    return said(
                        "{subject}: {a} with {of_a:,} splices and {b} with {of_b:,} never share a {scope}",
                        subject=subject,
                        a=a,
                        of_a=counts[a],
                        b=b,
                        of_b=counts[b],
                        scope=said(entry.scope),
                    )
        return said("{subject}: the job does not keep these joins apart", subject=subject)

    def need(self, job: Job, subject: str) -> str:
        """Say which joins must be apart, and how many trays and stacks there are for them."""
        stacks, trays = several(len(job.enclosure.stacks), "stack"), several(len(job.enclosure.places), "tray")
        return said(
            "{asked}; the box has {stacks} with {trays} in all",
            asked=self.say(job, subject),
            stacks=stacks,
            trays=trays,
        )

    def without(self, job: Job, subject: str) -> Job:
        """Remove the pair from the job's ``apart``; an entry of more than two joins is replaced by its other pairs."""
        found = []
        for entry in job.apart:
            pairs = [pair for pair in entry.pairs if "+".join(pair) != subject]
            if len(pairs) == len(entry.pairs):
                found.append(entry)
            else:
                found += [Apart(joins=pair, scope=entry.scope) for pair in pairs]
        return remade(job, apart=tuple(found))

    def advise(self, job: Job, laid: Laid, subject: str) -> str:
        """Say what to change."""
        del job, laid, subject
        return "move the legs of one of the two joins to other trays (or another stack)"
