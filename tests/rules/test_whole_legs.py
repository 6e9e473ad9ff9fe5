"""How whole legs are told: once a leg, however many of its fibres are apart."""

from __future__ import annotations

import json
from typing import Any

import pytest

from tests.review.good_plans import FILE, STANDARD, assignment_of
from trayopt.api import load_job
from trayopt.checker import assignment_of_claims
from trayopt.domain.said import said
from trayopt.rules import whole_legs
from trayopt.rules.registry import BY_ID
from trayopt.track.laid import Laid


def test_a_leg_apart_from_its_splices_is_told_once_and_not_fibre_by_fibre(monkeypatch: pytest.MonkeyPatch) -> None:
    name = "2x288-wall-2x6.yaml"
    job = load_job(STANDARD / name)
    plan = assignment_of(job, json.loads(FILE.read_text())[name])
    laid = Laid(job, plan)
    places = {claim.place for claim in laid.claims}
    claims = [c._replace(place=min(places - {c.place})) if c.trunk == job.trunks[0].id else c for c in laid.claims]
    apart = Laid(job, assignment_of_claims(job, plan.ways, claims, plan.divide_at), claims)
    made: list[str] = []

    def counted(form: str, **values: Any) -> str:
        made.append(form)
        return said(form, **values)

    monkeypatch.setattr(whole_legs, "said", counted)
    told = list(BY_ID["whole_legs"].check(job, apart))
    assert len(told) == len(claims)
    assert len(made) <= len(claims)
