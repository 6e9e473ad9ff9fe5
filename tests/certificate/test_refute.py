"""Trees that are found for rows of jobs: small ones, as splits are tried before one is taken."""

from __future__ import annotations

import pytest

from tests.cli.run import ROOT
from trayopt import load_job
from trayopt.certificate.rules import plans_of
from trayopt.domain.certificate import CertificateGoal
from trayopt.solver.certify import _Open
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


@pytest.mark.slow
def test_guides_that_are_over_full_take_few_splits() -> None:
    """Each trunk alone fills a guide that all its legs pass; without rows that say so 60 s were not enough."""
    job = load_job(ROOT / "models/standard/what-if-2x864-guide-fill-wall-2x6.yaml")
    plans = plans_of(job, {"unplaced": 0, "broken_must": 0})
    plans.below("broken_prefer", 6)
    tree = refutation(plans, Clock(), 200)
    assert tree is not None
    plans.refute(tree)


def test_preferences_of_a_large_box_are_refuted_without_rows_of_patterns() -> None:
    """Both trunks of 6,912 fibres break out at the port, or their tubes tie three trays: that needs no patterns."""
    job = load_job(ROOT / "models/standard/2x6912-cabinet-3x24.yaml")
    item = CertificateGoal(goal="broken_prefer", least=2, argument="none")
    found = _Open(item, job, {"unplaced": 0, "broken_must": 0}).at_once(Clock())
    assert found is not None
    (leaf,) = found.nodes
    assert leaf.prices is not None
    assert all(" on " not in name and " at " not in name for name in leaf.prices)
