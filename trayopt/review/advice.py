"""Advice on a finding: a change that was tried, or what helps in general."""

from __future__ import annotations

from trayopt.domain.finding import Finding
from trayopt.domain.job import Job
from trayopt.review.trials import tried
from trayopt.rules.registry import BY_ID
from trayopt.track.laid import Laid


def advice(job: Job, laid: Laid, finding: Finding) -> str:
    """Return one sentence of advice: a change that was tried, or, if none was found, what helps in general."""
    change = tried(job, laid, finding)
    if change is not None:
        return f"{change} (tried: it ends this finding and breaks no other rule that has to hold)"
    general = BY_ID[finding.rule].advise(job, laid, finding.subject)
    return f"{general}; no single change that was tried does it alone: trayopt mend finds the nearest plan"
