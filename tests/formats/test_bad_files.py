"""Every kind of fault of a YAML file, told at its line and column, in a corpus of files that name it themselves."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.expected import expected, told
from trayopt.errors import InputError
from trayopt.formats.yaml_in import read_yaml

BAD = sorted((Path(__file__).parent / "bad").glob("*.yaml"))


@pytest.mark.parametrize("path", BAD, ids=lambda path: path.stem)
def test_every_fault_is_told_at_its_place(path: Path) -> None:
    try:
        faults = tuple(sorted(read_yaml(path).faults))
    except InputError as wrong:
        faults = wrong.faults
    assert told(path, faults) == expected(path)
    assert faults
