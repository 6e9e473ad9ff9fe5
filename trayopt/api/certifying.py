"""F5: certificates, which make the bounds of a plan checkable without the solver, and their check."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from trayopt.api.plans import document_of
from trayopt.domain.job import Job

if TYPE_CHECKING:
    from trayopt.certificate.standing import Checked
    from trayopt.domain.certificate import Certificate
    from trayopt.domain.plan import GoalName, Plan
    from trayopt.errors import Fault

HINT = "make a plan of it, for a table states no bounds"


@dataclass(frozen=True)
class Verified:
    """The result of checking a certificate, goal by goal."""

    goals: tuple[Checked, ...]

    @property
    def refused(self) -> bool:
        """Whether an argument of the certificate is wrong."""
        return any(goal.standing == "refused" for goal in self.goals)

    @property
    def whole(self) -> bool:
        """Whether every goal was checked, so that nothing rests on the solver."""
        return all(goal.standing == "checked" for goal in self.goals)

    def as_dict(self) -> dict[str, Any]:
        """Return the result as plain data."""
        return {"refused": self.refused, "whole": self.whole, "goals": [asdict(goal) for goal in self.goals]}


def certify(job: Job, plan: Plan, *, time_limit_s: float | None = 60.0) -> Certificate:
    """Make the certificate of a plan: an argument for each goal with a proven bound, if an argument is found.

    Parameters
    ----------
    job, plan
        The job, and a plan of this job with its bounds, as ``solve`` returns it.
    time_limit_s
        Most seconds for all goals together; None for no limit.

    Returns
    -------
    Certificate
        The verifier has checked each of its arguments. A goal without an argument rests on the solver's search.

    Raises
    ------
    InputError
        If the plan names something that the job does not have.
    """
    from trayopt.checker.checking import lay
    from trayopt.goals.registry import measure_all
    from trayopt.solver.certify import certify as certified
    from trayopt.solver.model.clock import Clock

    measured = measure_all(lay(job, plan))
    values: dict[GoalName, int] = {item.goal: measured[item.goal] for item in plan.goals}
    bounds = {item.goal: item.bound for item in plan.goals}
    return certified(job, values, bounds, Clock(time_limit_s))


def verify(
    job: Job,
    plan: Plan | str | Path,
    certificate: Certificate | str | Path,
    *,
    warn: Callable[[Fault], None] | None = None,
) -> Verified:
    """Check a certificate against a job and a plan, in plain Python with exact numbers and without the solver.

    Parameters
    ----------
    job
        The job, as ``load_job`` returns it.
    plan
        The plan, or its file in JSON; its values are measured again.
    certificate
        The certificate, or its file; it only gives hints, which are checked.
    warn
        Called with a warning if the plan is of a former format, which claims no bounds.

    Returns
    -------
    Verified
        ``goals`` says for each goal ``checked``, ``rests on the solver's search``, or ``refused`` with the reason.

    Raises
    ------
    InputError
        If a file cannot be read, or the plan names something that the job does not have.
    """
    from trayopt.certificate.rules import plans_of
    from trayopt.certificate.standing import verify as verified
    from trayopt.checker.checking import lay
    from trayopt.domain.certificate import Certificate
    from trayopt.formats.json_in import read_model
    from trayopt.goals.registry import measure_all

    document, source = document_of(job, plan, HINT, warn)
    said = certificate if isinstance(certificate, Certificate) else read_model(certificate, Certificate)
    measured = measure_all(lay(job, document, source))
    values: dict[GoalName, int] = {item.goal: measured[item.goal] for item in document.goals}
    return Verified(tuple(verified(job, values, said, plans_of)))
