"""Settings for all tests, and the example rule for those that ask for it."""

from __future__ import annotations

import os
from collections.abc import Iterator

import pytest
from hypothesis import settings

from tests.example_rule import registered

os.environ.pop("PYTHONDONTWRITEBYTECODE", None)  # commands that tests run keep their bytecode, as installed ones do
settings.register_profile("trayopt", deadline=None, print_blob=True)
settings.load_profile("trayopt")


@pytest.fixture(scope="module")
def example_rule() -> Iterator[None]:
    """Have the example rule among all rules while a file of tests runs."""
    with registered():
        yield
