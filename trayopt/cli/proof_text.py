"""The result of proving the bounds of a plan again, as text."""

from __future__ import annotations

from typing import TYPE_CHECKING

from trayopt.cli.output import columns, table
from trayopt.rules.words import listed

if TYPE_CHECKING:
    from trayopt.api import Proofs


def proofs_text(proofs: Proofs) -> str:
    """Write a row for each goal, and the verdict."""
    from trayopt.solver.model.bound import proven_by

    rows = []
    for proof in proofs.answers:
        claim = proof.claim
        bound = "-" if claim.bound is None else f"{claim.bound:,}"
        by = "" if claim.bound is None else proven_by(claim.by)
        why = f": {proof.why}" if proof.why else ""
        rows.append([claim.goal, f"{claim.value:,}", bound, by, f"{proof.answer}{why}"])
    heads = ["goal", "plan", "bound", "claimed", "proven again by search alone"]
    said = proofs_words(proofs)
    return f"{table(heads, rows, right=(1, 2), width=columns())}{said[0].upper()}{said[1:]}.\n"


def proofs_words(proofs: Proofs) -> str:
    """Write the verdict on the bounds in one line."""
    refuted = next((proof.claim for proof in proofs.answers if proof.answer == "refuted"), None)
    if refuted is not None and proofs.plan is not None:
        return f"the bound {refuted.bound:,} of {refuted.goal} is refuted by a plan with {proofs.plan.value(refuted.goal):,}"
    open_ = [proof.claim.goal for proof in proofs.answers if proof.answer == "not settled"]
    if open_:
        return f"no bound is refuted, and {listed(open_)} {'is' if len(open_) == 1 else 'are'} not settled"
    return "every bound that the plan claims is confirmed"
