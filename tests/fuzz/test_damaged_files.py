"""Whatever stands in a file, the command that reads it ends with 0, 1 or 2, and says at which place what is wrong."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.fuzz.kinds import KINDS, files, read, wrong

USUAL, WHOLE = 12, 300
"""Damaged files of each kind, in the usual run and in the whole one."""


def hold(name: str, first: int, last: int, folder: Path) -> None:
    """Read damaged files, and ask that some of them are refused."""
    refused = 0
    for seed, data in files(name, range(first, last)):
        answer = read(KINDS[name], data, folder)
        assert not wrong(answer), f"{name}, seed {seed}: {wrong(answer)}\n{data[:2000]!r}"
        refused += answer.code == 2
    assert refused > (last - first) // 6, "the damage is told"


@pytest.mark.parametrize("name", KINDS)
def test_damaged_files(name: str, tmp_path: Path) -> None:
    hold(name, 0, USUAL, tmp_path)


@pytest.mark.slow
@pytest.mark.parametrize("name", KINDS)
def test_hundreds_of_damaged_files(name: str, tmp_path: Path) -> None:
    hold(name, USUAL, WHOLE + USUAL, tmp_path)


def test_what_is_wrong_with_an_answer_is_seen() -> None:
    from tests.fuzz.kinds import Answer

    fault = {"source": "a.yaml", "line": 0, "where": "", "message": "a key is not allowed"}
    assert "exit 4" in wrong(Answer(4, [], "a fault of trayopt itself"))
    assert "no place" in wrong(Answer(2, [fault], ""))
    assert "without a fault" in wrong(Answer(2, [], ""))
    assert wrong(Answer(2, [fault | {"line": 3}], "")) == ""
