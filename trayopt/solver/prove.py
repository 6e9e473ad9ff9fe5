"""Proofs of a plan asked again: for each goal, whether there is a plan that is better than the plan's bound says.

The question is put to a plain model: all rules, all divisions, every goal encoded, and nothing that a relaxation counted. The
goals before are held at most at the plan's values. So the author of a bound has no part in the answer, nor has any other
relaxation; a plan that the model gives is recounted in plain Python before it refutes a bound.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from typing import Literal

from trayopt.domain.assignment import Assignment
from trayopt.domain.job import Job
from trayopt.domain.plan import GoalName
from trayopt.errors import SolverFault
from trayopt.goals.registry import BY_ID, measure_all
from trayopt.rules.judge import judge, no_plan_breaks
from trayopt.solver.model.clock import Clock, OutOfTime
from trayopt.solver.model.model import Model
from trayopt.solver.model.posting import Policy, build
from trayopt.solver.model.run import Tuning, hint, run
from trayopt.track.laid import Laid

Answer = Literal["confirmed", "refuted", "not settled", "not asked", "nothing claimed"]
MOST_LITERALS = 200_000
"""Legs times places above which a plain model is not made: it would not be settled, and would fill the memory."""
ANY_IS_ENOUGH = 1e9
"""Gap at which a question is left: each plan below the bound refutes it, the least of them no more than another."""


@dataclass(frozen=True)
class Claim:
    """What a plan says of one goal: its value, its bound (None where it claims nothing), and who proved the bound."""

    goal: GoalName
    value: int
    bound: int | None
    by: str | None = None


@dataclass(frozen=True)
class Proof:
    """What became of a claim; ``better`` is a plan that refutes it, ``why`` says why a claim is not settled or not asked."""

    claim: Claim
    answer: Answer
    better: Assignment | None = None
    why: str = ""

    def plain(self) -> dict[str, object]:
        """Return the proof as plain data, without the plan that refutes the claim."""
        return {**asdict(self.claim), "answer": self.answer, "why": self.why}


Progress = Callable[[float, GoalName, int | None, int | None], None]
"""Called with seconds, the goal in work, its value and the bound that is asked for."""


def prove(
    job: Job,
    known: Assignment,
    claims: Sequence[Claim],
    clock: Clock,
    tuning: Tuning,
    progress: Progress | None = None,
) -> Iterator[Proof]:
    """Ask in the order of the goals whether each claim holds; claims after a refuted claim are not asked.

    Parameters
    ----------
    job, known
        The job, and the decisions of the plan.
    claims
        What the plan says of its goals, in the order in which they count; values are right.
    clock
        Its limit is shared out among the questions that are left.
    tuning
        How the solver searches.
    progress
        Told of each question, and of the bound that the solver reaches on it.

    Raises
    ------
    SolverFault
        Where the plain model gives a plan that is not better by a recount, or breaks what no plan breaks.
    """
    refuted = False
    for i, claim in enumerate(claims):
        if claim.bound is None:
            yield Proof(claim, "nothing claimed")
        elif refuted:
            yield Proof(claim, "not asked", why="a goal before it is refuted")
        elif claim.value < claim.bound:
            refuted = True
            yield Proof(claim, "refuted", known)
        elif claim.bound <= 0:
            yield Proof(claim, "confirmed")
        else:
            open_ = sum(1 for later in claims[i:] if later.bound)
            part = None if clock.left is None else clock.left / open_
            proof = _asked(job, known, claims[: i + 1], clock, tuning, part, progress)
            refuted = proof.answer == "refuted"
            yield proof


def _asked(
    job: Job,
    known: Assignment,
    claims: Sequence[Claim],
    clock: Clock,
    tuning: Tuning,
    part: float | None,
    progress: Progress | None,
) -> Proof:
    """Ask a plain model for a plan below the bound of the last claim, the goals before held at their values."""
    claim = claims[-1]
    least = claim.bound or 0
    if clock.over:
        return Proof(claim, "not settled", why="interrupted" if clock.interrupted else "the time is over")
    size = len(job.enclosure.places) * sum(
        len(job.legs_in(subunit, of, job.trunk_by_id[subunit.trunk].divide_at[0]))
        for subunit in job.subunits
        for of in subunit.divisions
    )
    if size > MOST_LITERALS:
        return Proof(claim, "not settled", why=f"a plain model has {size:,} literals; {MOST_LITERALS:,} are the most")
    limits = {before.goal: before.value for before in claims[:-1]}
    ends = None if part is None else clock.spent + part
    if progress is not None:
        progress(clock.seconds, claim.goal, claim.value, None)
    try:
        model = plain_model(job, limits, clock)
    except OutOfTime:
        return Proof(claim, "not settled", why="the time is over")
    expression = BY_ID[claim.goal].encode(job, model)
    model.require(expression <= least - 1)
    if not isinstance(expression, int):
        model.minimize(expression)
    hint(model, known)

    def watch(_: int | None, bound: int | None) -> None:
        if progress is not None:
            progress(clock.seconds, claim.goal, claim.value, bound)

    slice_s = None if ends is None else max(0.0, ends - clock.spent)
    asked = replace(tuning, prove=True, slice_s=slice_s)
    outcome = run(model, clock, asked, watch, gap=ANY_IS_ENOUGH)
    if outcome.assignment is None:
        why = "interrupted" if clock.interrupted else "the time is over"
        return Proof(claim, "confirmed") if outcome.proven else Proof(claim, "not settled", why=why)
    _recount(job, outcome.assignment, claim, limits)
    return Proof(claim, "refuted", outcome.assignment)


def plain_model(job: Job, limits: Mapping[GoalName, int], clock: Clock | None = None) -> Model:
    """Make a model of all plans that meet the limits of some goals: rules, divisions and goals, and no cut of a relaxation.

    Where no splice may stay out, and no must or preference may be broken, that is said of legs and rules themselves.

    Raises
    ------
    OutOfTime
        Where a clock is given and over.
    """
    policy = Policy(
        must="hard" if limits.get("broken_must") == 0 else "soft",
        prefer="hard" if limits.get("broken_prefer") == 0 else "soft",
    )
    model = build(job, policy, all_placed=limits.get("unplaced") == 0, clock=clock, cuts=False)
    for goal, most in limits.items():
        model.require(BY_ID[goal].encode(job, model) <= most)
    return model


def _recount(job: Job, better: Assignment, claim: Claim, limits: Mapping[GoalName, int]) -> None:
    """Make sure that a plan of the plain model refutes a claim."""
    laid = Laid(job, better)
    values = measure_all(laid)
    wrong = [f"{goal} {values[goal]:,}" for goal, most in limits.items() if values[goal] > most]
    if values[claim.goal] >= (claim.bound or 0):
        wrong.append(f"{claim.goal} {values[claim.goal]:,}")
    wrong += [str(found) for found in judge(job, laid) if no_plan_breaks(found)]
    if wrong:
        raise SolverFault(f"the plain model gave a plan that it does not hold: {'; '.join(wrong)}")
