"""The scenario of the tables: two harbour sheds spliced to the feeder that comes over the quay."""

from __future__ import annotations

import pytest

from tests.review.corpus import TABLES, scenario
from trayopt.domain.job import Job


@pytest.fixture(scope="session")
def quay() -> Job:
    """Give the job for which the tables were made."""
    return scenario()


@pytest.fixture
def good() -> str:
    """Give a good table, as text."""
    return (TABLES / "good-plain.csv").read_text()
