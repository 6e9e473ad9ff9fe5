"""What to do about a finding: a change that was tried, or what in general helps."""

from __future__ import annotations

from trayopt.domain.finding import Finding
from trayopt.domain.job import Job
from trayopt.review.trials import tried
from trayopt.rules.registry import BY_ID
from trayopt.track.laid import Laid


def advice(job: Job, laid: Laid, finding: Finding) -> str:
    """Say in one sentence what to change: a change that was tried, or what in general helps and that none was found."""
    change = tried(job, laid, finding)
    if change is not None:
        return f"{change} (tried: it ends this finding and breaks no other rule that has to hold)"
    general = BY_ID[finding.rule].advise(job, laid, finding.subject)
    return f"{general}; no single change that was tried does it alone: trayopt mend finds the nearest plan"
