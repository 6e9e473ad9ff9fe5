"""Puts the rules into a model: hard, as groups that may be let go at a price, or as groups under a guard."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

from trayopt.domain.assignment import Way
from trayopt.domain.finding import Group
from trayopt.domain.job import Job
from trayopt.rules.base import Rule
from trayopt.rules.registry import RULES
from trayopt.solve.model import Key, Model

Mode = Literal["hard", "soft", "guard", "free"]


@dataclass(frozen=True)
class Policy:
    """How the rules enter a model.

    ``must`` and ``prefer`` tell what becomes of practice rules at must and of any rule at prefer: ``hard`` (no plan of the
    model breaks one), ``soft`` (each subject has a literal that lets it go) or ``free`` (left out). Always rules, built pins
    and physical rules at must are always hard.
    """

    must: Mode = "soft"
    prefer: Mode = "soft"

    def mode(self, job: Job, rule: Rule[Any]) -> Mode:
        """Give the mode of one rule in a job."""
        if rule.kind == "always":
            return "hard"
        level = job.rules[rule.id].level
        if level == "off":
            return "free"
        if level == "must":
            return "hard" if rule.kind == "physical" else self.must
        return self.prefer


def build(
    job: Job,
    policy: Policy,
    *,
    all_placed: bool,
    divisions: Mapping[Key, Sequence[int]] | None = None,
    ways: Mapping[str, Sequence[Way]] | None = None,
) -> Model:
    """Make the model of a job with all its rules, without a goal."""
    model = Model(job, divisions=divisions, ways=ways, all_placed=all_placed)
    modes = {rule.id: policy.mode(job, rule) for rule in RULES}
    model.kept = {rule for rule, mode in modes.items() if mode == "hard"}
    built = {pin.subject for pin in job.pins if pin.built}
    for rule in RULES:
        mode = modes[rule.id]
        if mode != "free" or (rule.id == "pin" and built):
            rule.encode(job, model, Poster(model, rule.id, mode, built if rule.id == "pin" else frozenset()))
    for trunk in job.trunks:
        for way in model.ways(trunk):
            model.goes(trunk, way)
    return model


class Poster:
    """Posts the constraints of one rule into a model."""

    def __init__(self, model: Model, rule: str, mode: Mode, facts: set[str] | frozenset[str]) -> None:
        self.model, self.rule, self.mode, self.facts = model, rule, mode, facts

    def __call__(self, constraint: Any, subject: str, when: tuple[Any, ...] = ()) -> None:
        """Post one constraint for (rule, subject)."""
        if constraint is True:
            return
        if self.mode == "hard" or subject in self.facts:
            self.model.require(constraint, *when)
        elif self.mode == "soft":
            group = Group(self.rule, subject)
            if group not in self.model.let_go:
                self.model.let_go[group] = self.model.literal(f"without {group}")
            self.model.require(constraint, ~self.model.let_go[group], *when)
