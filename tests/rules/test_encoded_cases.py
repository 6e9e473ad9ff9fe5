"""The model reads a hand-worked case as the check does: it has the case's plan if, and only if, the plan keeps the rule."""

from __future__ import annotations

import pytest

from tests.build import job_of
from tests.goals.test_encoded import counted, held
from tests.rules.test_cases import UNCLAIMED, data_of, lay
from trayopt.domain.assignment import Assignment
from trayopt.goals.registry import BY_ID as GOALS
from trayopt.rules.registry import RULES
from trayopt.solver.model.posting import Policy, build

LIMITS = ("tray_fibres", "entrance_legs", "bend_radius", "fibre_bend", "sheath_window")
"""Rules that the legs and ways of a case decide alone, with no rule of another kind beside them."""
OFF = {rule.id: "off" for rule in RULES if rule.kind != "always"}


@pytest.mark.parametrize(("rule", "case"), [param for param in UNCLAIMED if param.values[0] in LIMITS])
def test_case(rule: str, case: dict[str, object]) -> None:
    data = data_of(case)
    entry = data["rules"].get(rule, {})
    data["rules"] = {**OFF, rule: {**(entry if isinstance(entry, dict) else {}), "level": "must"}}
    laid = lay(case, job_of(data))
    model = build(laid.job, Policy(), all_placed=False)
    held(model, Assignment(laid.ways, laid.place_of, laid.ends, laid.divide_at, laid.ribbons))
    assert (counted(model, GOALS["legs"]) is None) is bool(case["broken"])
