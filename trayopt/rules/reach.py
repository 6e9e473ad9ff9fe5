"""reach: every tray can be brought to the bench on its freed legs."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Annotated

from pydantic import Field

from trayopt.domain.base import Frozen
from trayopt.domain.job import Job
from trayopt.domain.said import said
from trayopt.rules.base import Breach, Post, Rule
from trayopt.rules.encoding import forbid_places
from trayopt.rules.words import joined, listed, several
from trayopt.track.laid import Laid
from trayopt.track.routes import routes_of, ways_to

if TYPE_CHECKING:
    from trayopt.rules.variables import Variables


class ReachParameters(Frozen):
    """``bench_mm`` is the length that a tray needs to be brought to the bench."""

    bench_mm: Annotated[int, Field(ge=0, le=100_000)] = 2000


class Reach(Rule[ReachParameters]):
    """Broken when route_mm − inside_mm of a placed leg is below ``bench_mm``."""

    id = "reach"
    kind = "physical"
    subject = "trunk"
    statement = "a placed leg frees less length than the tray needs to be brought to the bench"
    why = "A tray is spliced at the bench: its legs must be long enough to be taken off the track and carried there."
    Parameters = ReachParameters
    blamed = 1
    helped_by = frozenset({"bench", "loops"})
    says_all = True

    def check(self, job: Job, laid: Laid) -> Iterator[Breach]:
        """Compare the length from port to entrance of every placed leg with the bench."""
        bench = self.parameters(job).bench_mm
        for trunk, legs in laid.legs.items():
            short = [item for item in legs if item.free_mm < bench]
            if short:
                worst = min(short, key=lambda item: item.free_mm)
                yield Breach(
                    trunk,
                    said(
                        "{worst_leg} frees {worst_free_mm:,} mm, but its tray {worst_place} needs {bench:,} mm to come to the "
                        "bench; too short: {legs} of {trunk}",
                        worst_leg=worst.leg,
                        worst_free_mm=worst.free_mm,
                        worst_place=worst.place,
                        bench=bench,
                        legs=several(len(short), "leg"),
                        trunk=trunk,
                    ),
                )

    def encode(self, job: Job, x: Variables, post: Post) -> None:
        """Forbid each pair of a way and a place for which the freed length does not reach the bench."""
        bench = self.parameters(job).bench_mm
        for trunk in job.trunks:
            forbid_places(x, post, trunk, lambda way, place, end: x.routes.free_mm(way, place, end) < bench)

    def say(self, job: Job, subject: str) -> str:
        """Say which length the bench needs, and how long the ring is."""
        bench = self.parameters(job).bench_mm
        ring = routes_of(job).ring.length_mm
        loops = listed(job.trunk_by_id[subject].loops, "or")
        return said(
            "{subject}: trays need {bench:,} mm to come to the bench; a loop gives {ring:,} mm, it may make {loops}",
            subject=subject,
            bench=bench,
            ring=ring,
            loops=loops,
        )

    def need(self, job: Job, subject: str) -> str:
        """Say how much length the bench asks for, and how much each number of loops gives at least and at most."""
        trunk = job.trunk_by_id[subject]
        bench = self.parameters(job).bench_mm
        routes = routes_of(job)
        free: dict[int, list[int]] = {}
        for way, place, end in ways_to(job, trunk):
            free.setdefault(way.loops, []).append(routes.free_mm(way, place, end))
        gives = [
            said("{loops} {least:,} to {most:,} mm", loops=several(loops, "loop"), least=min(mm), most=max(mm))
            for loops, mm in sorted(free.items())
        ]
        return said(
            "{subject}: trays need {bench:,} mm to come to the bench; {gives}",
            subject=subject,
            bench=bench,
            gives=joined(gives) if gives else said("no way leads it to a tray"),
        )

    def advise(self, job: Job, laid: Laid, subject: str) -> str:
        """Say what frees more length."""
        way = laid.ways.get(subject)
        loops = sorted(set(job.trunk_by_id[subject].loops))
        more = [count for count in loops if way is not None and count > way.loops]
        extra = f"give {subject} {more[0]} loops, " if more else ""
        return f"{extra}let {subject} travel the longer way round, or take a stack further from its port"
