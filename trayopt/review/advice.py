"""Advice on a finding: a change that was tried, or what helps in general."""

from __future__ import annotations

from trayopt.domain.finding import Finding
from trayopt.domain.job import Job
from trayopt.domain.ranges import Run
from trayopt.review.trials import met, tried
from trayopt.rules.registry import BY_ID
from trayopt.track.laid import Laid

NEAREST = "trayopt mend finds the nearest plan, or proves that there is none"
BEST = "trayopt solve finds the best plan"
"""What to do about a preference: a plan that keeps every must has nothing to mend."""


def advice(job: Job, laid: Laid, finding: Finding) -> str:
    """Return one sentence of advice: a change that was tried, or, if none was found, what helps in general."""
    general = BY_ID[finding.rule].advise(job, laid, finding.subject)
    return _said(tried(job, laid, finding), general, BEST if finding.level == "prefer" else NEAREST)


def advice_to_meet(job: Job, laid: Laid, a: Run, b: Run) -> str:
    """Return one sentence of advice for splices whose sides do not lie in one tray."""
    most = max(tray.fibres for tray in job.enclosure.trays)
    general = f"give {a} and {b} the same tray" if a.count <= most else f"give {a} and {b} the same trays, leg by leg"
    return _said(met(job, laid, a, b), general, NEAREST)


def _said(change: str | None, general: str, otherwise: str) -> str:
    if change is not None:
        return f"{change} (tried: this ends the finding and breaks nothing else that must hold)"
    return f"{general}; no single change that was tried is enough: {otherwise}"
