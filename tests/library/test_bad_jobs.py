"""Every kind of fault of a job, all at once and each at its place, in a corpus of jobs that name them themselves."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.expected import expected, told
from trayopt import load_job
from trayopt.errors import InputError
from trayopt.rules.registry import SETTABLE

BAD = sorted((Path(__file__).parent / "bad").glob("*.yaml"))


@pytest.mark.parametrize("path", BAD, ids=lambda path: path.stem)
def test_every_fault_is_told_at_its_place(path: Path) -> None:
    with pytest.raises(InputError) as wrong:
        load_job(path)
    rules = ", ".join(SETTABLE)
    assert told(path, wrong.value.faults) == [text.replace("{rules}", rules) for text in expected(path)]
    assert all(fault.line > 0 and fault.column > 0 for fault in wrong.value.faults)
