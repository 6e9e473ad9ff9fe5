"""What became of the certificate of a plan, as text."""

from __future__ import annotations

from typing import TYPE_CHECKING

from trayopt.cli.output import columns, table
from trayopt.rules.words import listed

if TYPE_CHECKING:
    from trayopt.api import Verified


def verified_text(verified: Verified) -> str:
    """Write an answer for each goal, and what they come to."""
    rows = [
        [goal.goal, f"{goal.least:,}", f"{goal.standing}: {goal.why}" if goal.why else goal.standing]
        for goal in verified.goals
    ]
    said = verified_words(verified)
    heads = ["goal", "at least", "by the certificate, without the solver"]
    return f"{table(heads, rows, right=(1,), width=columns())}{said[0].upper()}{said[1:]}.\n"


def verified_words(verified: Verified) -> str:
    """Say in one line what became of the certificate."""
    refused = [goal.goal for goal in verified.goals if goal.standing == "refused"]
    if refused:
        return f"the certificate is refused: its {listed(refused)} {'proves' if len(refused) == 1 else 'prove'} nothing"
    rest = [goal.goal for goal in verified.goals if goal.standing != "checked"]
    if rest:
        return f"the certificate was checked, and {listed(rest)} {'rests' if len(rest) == 1 else 'rest'} on the solver's search"
    return "every goal was checked without the solver"
