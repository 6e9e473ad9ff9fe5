"""How many cores this process may use."""

from __future__ import annotations

import os


def cores() -> int:
    """Count the cores that this process may use."""
    try:
        return len(os.sched_getaffinity(0))
    except AttributeError:  # where the system does not tell
        return os.cpu_count() or 1
