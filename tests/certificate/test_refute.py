"""Trees that are found for rows of jobs: small ones, as splits are tried before one is taken."""

from __future__ import annotations

import pytest

from tests.cli.run import ROOT
from trayopt import load_job
from trayopt.certificate.rules import plans_of
from trayopt.solver.model.clock import Clock
from trayopt.solver.refute import refutation


@pytest.mark.slow
def test_the_least_broken_preferences_of_subunits_that_do_not_match_take_few_splits() -> None:
    """Where the number farthest from whole is split, 300 nodes are not enough."""
    plans = plans_of(load_job(ROOT / "models/standard/2x432-mixed-against-144.yaml"), {"unplaced": 0, "broken_must": 0})
    plans.below("broken_prefer", 3)
    tree = refutation(plans, Clock(), 60, plans.of_lengths)
    assert tree is not None
    plans.refute(tree)
