"""The memory of a machine, the memory that a process holds, and a limit for it."""

from __future__ import annotations

import os
from pathlib import Path

MB = 1024 * 1024
BASE_MB = 1024
"""Address space that a process may take beyond its limit. The limit is for the memory it holds, which is watched from outside."""
LEAST_MB = 512
SHARE = 0.8


def resident_mb(pid: int | str = "self") -> int:
    """Return the memory that a process holds, in MB; 0 if the system does not say."""
    try:
        pages = int(Path(f"/proc/{pid}/statm").read_text(encoding="ascii").split()[1])
    except (OSError, ValueError, IndexError):
        return 0
    return pages * os.sysconf("SC_PAGE_SIZE") // MB


def limit_address_space(memory_mb: int) -> None:
    """Make requests for memory fail beyond a limit, if the system can do this."""
    try:
        import resource
    except ImportError:
        return
    used = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[0]) * os.sysconf("SC_PAGE_SIZE")
    hard = resource.getrlimit(resource.RLIMIT_AS)[1]
    wanted = used + (memory_mb + BASE_MB) * MB
    if hard == resource.RLIM_INFINITY or wanted < hard:
        resource.setrlimit(resource.RLIMIT_AS, (wanted, hard))


def share_mb(workers: int) -> int:
    """Return each worker's share of most of the memory of this machine or container, in MB; 0 if it is not known."""
    totals = []
    try:
        totals.append(os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES") // MB)
    except (AttributeError, ValueError, OSError):
        return 0
    for name in ("/sys/fs/cgroup/memory.max", "/sys/fs/cgroup/memory/memory.limit_in_bytes"):
        try:
            totals.append(int(Path(name).read_text(encoding="ascii")) // MB)
        except (OSError, ValueError):
            continue
    return max(LEAST_MB, int(min(totals) * SHARE / workers))
