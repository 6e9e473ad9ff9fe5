"""The outcomes of a job, with their words and marks."""

from __future__ import annotations

from typing import Literal

Outcome = Literal[
    "fits", "fits_with_broken_preference", "not_settled", "does_not_fit", "no_plan", "wrong_input", "failed"
]
OUTCOMES: dict[str, str] = {
    "fits": "fits",
    "fits_with_broken_preference": "fits, with a broken preference",
    "not_settled": "not settled in the time",
    "does_not_fit": "does not fit",
    "no_plan": "stopped before any plan",
    "wrong_input": "the job is wrong",
    "failed": "failed",
}
"""The outcomes in words, from best to worst."""
MARKS = {
    "fits": "✓",
    "fits_with_broken_preference": "~",
    "not_settled": "?",
    "does_not_fit": "✕",
    "no_plan": "…",
    "wrong_input": "!",
    "failed": "!",
}
GOAL_WORDS: dict[str, str] = {
    "unplaced": "splices without a tray",
    "broken_must": "broken musts",
    "broken_prefer": "weight of broken preferences",
    "legs": "legs",
    "trays": "trays",
    "crossings": "crossings",
    "leg_length_mm": "mm of legs",
    "irregular": "irregular",
}
FITTING = ("fits", "fits_with_broken_preference")
OPEN = ("not_settled", "no_plan")
"""Outcomes that more time may change."""
WITHOUT_ANSWER = ("wrong_input", "failed")
"""Outcomes without an answer: nobody looked for a plan, or the search failed."""
Failure = Literal["crash", "hang", "memory", "fault"]
