"""F5: prove the bounds of a plan again, by a model that uses no relaxation."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from trayopt.api.plans import document_of
from trayopt.domain.base import remade
from trayopt.domain.job import Job

if TYPE_CHECKING:
    from trayopt.domain.plan import Plan
    from trayopt.errors import Fault
    from trayopt.solver.prove import Proof
    from trayopt.solver.solve import Progress


@dataclass(frozen=True)
class Proofs:
    """The result of proving the bounds of a plan again: an answer for each goal, and the plan that refutes a bound."""

    answers: tuple[Proof, ...]
    plan: Plan | None = None

    @property
    def refuted(self) -> bool:
        """Whether there is a plan that is better than a bound."""
        return self.plan is not None

    @property
    def confirmed(self) -> bool:
        """Whether every bound that the plan states was proven again."""
        return all(proof.answer in {"confirmed", "nothing claimed"} for proof in self.answers)

    def as_dict(self) -> dict[str, Any]:
        """Return the result as plain data."""
        return {
            "schema": "trayopt/proof/1",
            "confirmed": self.confirmed,
            "refuted": self.refuted,
            "goals": [proof.plain() for proof in self.answers],
            "plan": None if self.plan is None else self.plan.plain(),
        }


def prove(
    job: Job,
    plan: Plan | str | Path,
    *,
    time_limit_s: float | None = 60.0,
    workers: int = 8,
    seed: int = 1,
    progress: Progress | None = None,
    warn: Callable[[Fault], None] | None = None,
) -> Proofs:
    """Prove the bounds of a plan again: for each goal, ask for a plan below its bound that is as good on the goals before.

    The question goes to a plain model of the rules, which uses neither the relaxation that proved the bound nor any other.

    Parameters
    ----------
    job
        The job, as ``load_job`` returns it.
    plan
        The plan, or its file in JSON; its values are measured again.
    time_limit_s
        Most seconds for all goals together, shared among the goals that are left; None for no limit.
    workers, seed
        Search threads, and the seed of their random choices.
    progress
        Called with seconds, goal, value, and the bound that is proven so far.
    warn
        Called with a warning if the file is of a former format, which claims no bounds.

    Returns
    -------
    Proofs
        ``answers`` says for each goal ``confirmed``, ``refuted``, ``not settled`` (in time, or because the model is too large),
        ``not asked`` (after a refuted goal) or ``nothing claimed``. ``plan`` is the plan that refutes a bound.

    Raises
    ------
    InputError
        If the plan cannot be read, names something that the job does not have, is empty, or could not be built.
    SolverFault
        If the plain model returns a plan that is not better by a recount.
    """
    from trayopt.checker import assignment_of, measure
    from trayopt.checker.checking import lay
    from trayopt.errors import InputError
    from trayopt.goals.registry import measure_all, order
    from trayopt.rules.judge import judge as judged
    from trayopt.rules.judge import no_plan_breaks
    from trayopt.solver.model.clock import Clock
    from trayopt.solver.model.run import Tuning
    from trayopt.solver.prove import Claim
    from trayopt.solver.prove import prove as asked

    document, source = document_of(job, plan, "make a plan of it, for a table states no bounds", warn)
    laid = lay(job, document, source)
    stops = [found for found in judged(job, laid) if no_plan_breaks(found)]
    if document.status == "none" or stops:
        found = stops[0].because if stops else "the search was stopped before it found a plan"
        raise InputError.one("there is no plan here whose bounds could be proven", source=source, found=found)
    try:
        names = [goal.id for goal in order([item.goal for item in document.goals])]
    except ValueError as wrong:
        raise InputError.one(str(wrong), source=source) from wrong
    values, said = measure_all(laid), {item.goal: item for item in document.goals}
    claims = [
        Claim(name, values[name], item.bound if item else None, item.by if item else None)
        for name in names
        for item in (said.get(name),)
    ]
    clock, tuning = Clock(time_limit_s), Tuning(workers=workers, seed=seed)
    answers = tuple(asked(job, assignment_of(job, document, source)[0], claims, clock, tuning, progress))
    better = next((proof.better for proof in answers if proof.better is not None), None)
    if better is None:
        return Proofs(answers)
    solver = remade(document.solver, seed=seed, workers=workers, deterministic_time=clock.effort)
    refuting = measure(job, better, status="feasible", stopped="gap", bounds={}, solver=solver, goal_order=names)
    return Proofs(answers, refuting)
