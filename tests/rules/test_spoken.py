"""What rules say of the hand-worked cases: each sentence is made of forms that the catalogues have, with all its values."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from tests.build import Json
from tests.rules.test_cases import lay, read
from tests.strategies import worked_example
from trayopt.api import load_job
from trayopt.domain.pins import TrunkPin
from trayopt.domain.said import Said
from trayopt.library.find import shipped
from trayopt.rules.registry import BY_ID, RULES
from trayopt.rules.tongues import tongue_of
from trayopt.track.laid import Laid

BROKEN = [(rule.id, case) for rule in RULES for case in read(rule.id) if case["broken"]]
TONGUE = tongue_of("de")


def sentences(rule: str, laid: Laid) -> Iterator[str]:
    """Give what a rule says of a plan that breaks it, in the order in which people come to read it."""
    for breach in BY_ID[rule].check(laid.job, laid):
        yield breach.because
        yield BY_ID[rule].say(laid.job, breach.subject)
        yield BY_ID[rule].need(laid.job, breach.subject)


@pytest.mark.parametrize(("rule", "case"), [pytest.param(*each, id=f"{each[0]}: {each[1]['name']}") for each in BROKEN])
def test_every_sentence_of_a_case_is_said_whole(rule: str, case: Json) -> None:
    laid = lay(case)
    for text in sentences(rule, laid):
        assert isinstance(text, Said), text
        assert TONGUE.knows(text), text
        assert "None" not in text
        assert text == text.strip()
        assert TONGUE.say(text) != text
    for breach in BY_ID[rule].check(laid.job, laid):
        advice = BY_ID[rule].advise(laid.job, laid, breach.subject)
        assert advice[0].islower(), advice
        assert "None" not in advice


@pytest.mark.parametrize(
    ("exposed", "said"),
    [
        (
            3_000,
            "S1: the least to strip is 3,950 mm (by bottom-right, clockwise, 1 loop, to right/2); exposed: 3,000 mm",
        ),
        (4_000, "S1: 3,950 to 8,550 mm have to be stripped, depending on the way and the place; exposed: 4,000 mm"),
    ],
)
def test_a_tail_that_some_ways_leave_long_enough_is_said_with_both_ends(exposed: int, said: str) -> None:
    job = load_job(shipped() / "standard" / "no-2x864-short-tail-wall-3x8.yaml")
    trunks = [trunk.model_copy(update={"exposed_mm": exposed} if trunk.id == "S1" else {}) for trunk in job.trunks]
    assert BY_ID["exposed"].need(job.model_copy(update={"trunks": tuple(trunks)}), "S1") == said


def test_what_is_built_bounds_the_length_to_strip() -> None:
    """By the way with the shortest tail 3,000 mm would be too little by 950; the way that S1 was laid by leaves no other."""
    job = load_job(shipped() / "standard" / "no-2x864-short-tail-wall-3x8.yaml")
    pin = TrunkPin(trunk="S1", port="bottom-left", travel="clockwise", loops=2, built=True)
    text = BY_ID["exposed"].need(job.model_copy(update={"pins": (pin,)}), "S1")
    assert "by bottom-left, clockwise, 2 loops" in text


@pytest.mark.parametrize(
    ("name", "slack", "said"),
    [
        # The job's own head says 8,700 mm, which its best plan has; with the ends laid otherwise 7,800 mm would do.
        ("288-through-second-branch-wall-2x6", 8_000, "8,700 mm or more; 8,000 mm of its cable can be drawn in"),
        ("288-through-tap-of-48-wall-2x6", 6_000, "6,050 mm or more; 6,000 mm of its cable can be drawn in"),
        (
            "288-through-tap-of-48-wall-2x6",
            7_000,
            "6,050 to 10,450 mm, by the ways and the places; 7,000 mm of its cable can be drawn in",
        ),
    ],
)
def test_a_window_is_bounded_by_what_is_built_and_said_with_both_ends(name: str, slack: int, said: str) -> None:
    job = load_job(shipped() / "standard" / f"{name}.yaml")
    through = tuple(item.model_copy(update={"slack_mm": slack}) for item in job.through)
    told = BY_ID["sheath_window"].need(job.model_copy(update={"through": through}), "M1")
    assert told == f"M1: the window in its sheath is {said}"


def test_one_splice_is_said_in_the_singular() -> None:
    job = load_job({**worked_example(), "joins": [{"a": "P:1", "b": "Q:1"}]})
    text = BY_ID["opposite_travel"].say(job, "P+Q")
    assert text == "P+Q: P and Q are joined by 1 splice and should travel in opposite directions"
    assert TONGUE.say(text) == "P+Q: P und Q sind durch 1 Spleiß verbunden und sollen einander entgegen laufen"
