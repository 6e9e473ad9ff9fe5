"""The scenario of the tables: two harbour sheds spliced to the feeder that comes over the quay."""

from __future__ import annotations

from pathlib import Path

import pytest

from trayopt.api import load_job
from trayopt.domain.job import Job

TABLES = Path(__file__).parent / "tables"


@pytest.fixture(scope="session")
def quay() -> Job:
    """Give the job for which the tables were made."""
    return load_job(TABLES / "quay.yaml")


@pytest.fixture
def good() -> str:
    """Give a good table, as text."""
    return (TABLES / "good-plain.csv").read_text()
