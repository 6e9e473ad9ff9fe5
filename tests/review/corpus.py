"""The corpus of hand-made tables, each reviewed once for all tests."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

from trayopt.api import load_job
from trayopt.domain.job import Job
from trayopt.formats.yaml_in import read_yaml
from trayopt.review.desk import Review, review_table
from trayopt.review.reading import read_handmade

TABLES = Path(__file__).parent / "tables"
EXPECTED: dict[str, dict[str, Any]] = read_yaml(TABLES / "expected.yaml").data


@cache
def scenario() -> Job:
    """Give the job for which the tables were made."""
    return load_job(TABLES / "quay.yaml")


@cache
def reviewed(name: str) -> Review:
    """Review a table of the corpus."""
    return review_table(scenario(), read_handmade(scenario(), TABLES / name), complete_s=60)
