"""F5: what is left of a limit of time when a search begins, so that the answer is there within the limit."""

from __future__ import annotations

import time

TELLING_S, TELLING_PART = 0.15, 0.25
"""Time that is kept for the answer: seconds at least, or a part of the time that was spent before the search."""
LEAST_PART = 0.1
"""Part of a limit that a search has at least."""


def time_left(limit_s: float, began: float) -> float:
    """Return the seconds of a limit that a search may use, without the time so far and some time for the answer.

    Parameters
    ----------
    limit_s
        The limit in seconds.
    began
        When the limit began, by the monotonic clock, which all processes of a machine share.
    """
    spent = time.monotonic() - began
    return max(limit_s - spent - max(TELLING_S, TELLING_PART * spent), LEAST_PART * limit_s)
