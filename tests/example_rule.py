"""A rule by the recipe of DEVELOPERS.md: at most so many trunks on a stack; registered by the tests as long as they need it.

This file is the rule, ``cases/stack_trunks.yaml`` its case file, ``Plan.stack_trunks`` of ``oracle.py`` its second reading;
``registered`` stands for its line in the registry.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

from pydantic import Field

from tests import oracle
from trayopt.domain.base import Frozen
from trayopt.domain.job import Job
from trayopt.rules.base import Breach, Post, Rule
from trayopt.rules.registry import RULES, register
from trayopt.rules.words import listed, several
from trayopt.track.laid import Laid

if TYPE_CHECKING:
    from trayopt.rules.variables import Variables


class StackTrunksParameters(Frozen):
    """Parameters of ``stack_trunks``."""

    trunks: int = Field(default=2, ge=1)
    """Most trunks with legs on one stack."""


class StackTrunks(Rule[StackTrunksParameters]):
    """Broken when more trunks than are allowed have a placed leg on one stack."""

    id = "stack_trunks"
    kind = "practice"
    level = "off"
    subject = "stack"
    statement = "more than `trunks` (2) trunks have a placed leg on one stack"
    why = "Work on one route opens only the stack of that route."
    Parameters = StackTrunksParameters

    def check(self, job: Job, laid: Laid) -> Iterator[Breach]:
        """Collect the trunks on every stack."""
        most = self.parameters(job).trunks
        for stack in job.enclosure.stacks:
            here = [trunk for trunk, legs in laid.legs.items() if any(leg.place.stack == stack.id for leg in legs)]
            if len(here) > most:
                yield Breach(stack.id, f"{stack.id} has legs of {listed(here)}: {len(here)} trunks, {most} are allowed")

    def encode(self, job: Job, x: Variables, post: Post) -> None:
        """Count the trunks on every stack."""
        most = self.parameters(job).trunks
        for stack in job.enclosure.stacks:
            post(sum(x.trunk_on(trunk, stack.id) for trunk in job.trunks) <= most, stack.id)

    def say(self, job: Job, subject: str) -> str:
        """Say how many trunks a stack takes."""
        most = several(self.parameters(job).trunks, "trunk")
        return f"{subject}: {most} at most have legs on it; the job has {len(job.trunks)}"


EVERY: tuple[Rule[Any], ...] = (*RULES, StackTrunks())
"""Every rule of the registry, and the example."""
SETTABLE: tuple[str, ...] = tuple(rule.id for rule in EVERY if rule.kind != "always")
"""Those that have a level, by id."""


@contextmanager
def registered() -> Iterator[None]:
    """Have the example among the rules of the package and of the oracle."""
    oracle.RULES.update(oracle.EXAMPLE)
    try:
        with register(EVERY[-1]):
            yield
    finally:
        for name in oracle.EXAMPLE:
            del oracle.RULES[name]
