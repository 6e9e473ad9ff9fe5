"""The result of checking a certificate, as text."""

from __future__ import annotations

from typing import TYPE_CHECKING

from trayopt.cli.output import columns, table
from trayopt.rules.words import listed

if TYPE_CHECKING:
    from trayopt.api import Verified


def verified_text(verified: Verified) -> str:
    """Write a row for each goal, and the verdict."""
    rows = [
        [goal.goal, f"{goal.least:,}", f"{goal.standing}: {goal.why}" if goal.why else goal.standing]
        for goal in verified.goals
    ]
    said = verified_words(verified)
    heads = ["goal", "at least", "by the certificate, without the solver"]
    return f"{table(heads, rows, right=(1,), width=columns())}{said[0].upper()}{said[1:]}.\n"


def verified_words(verified: Verified) -> str:
    """Write the verdict on the certificate in one line."""
    refused = [goal.goal for goal in verified.goals if goal.standing == "refused"]
    if refused:
        return f"the certificate is refused: its {listed(refused)} {'proves' if len(refused) == 1 else 'prove'} nothing"
    rest = [goal.goal for goal in verified.goals if goal.standing != "checked"]
    if rest:
        return f"the certificate was checked, and {listed(rest)} {'rests' if len(rest) == 1 else 'rest'} on the solver's search"
    return "every goal was checked without the solver"
