"""What rules say of the hand-worked cases: each sentence is made of forms that the catalogues have, with all its values."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from tests.build import Json
from tests.rules.test_cases import lay, read
from trayopt.domain.said import Said
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
