"""What rules say of a job without a plan: counts of the whole box, and the part of it that a subject names."""

from __future__ import annotations

import pytest

from tests.build import Json, job_of
from tests.case_files import put
from tests.strategies import worked_example
from trayopt.domain.hardware import Place
from trayopt.rules.registry import BY_ID
from trayopt.rules.words import place_of
from trayopt.track.lengths import lengths_of
from trayopt.track.window import least_mm


def through(slack_mm: int | None) -> Json:
    """Give the worked example with P going through, in at bl and out at br, and its first subunit spliced to Q."""
    data = worked_example()
    data["trunks"][0] |= {"through": True, "ports": ["bl", "br"]}
    if slack_mm is not None:
        data["trunks"][0]["slack_mm"] = slack_mm
    data["enclosure"]["ports"][1]["seals"] = [{"holes": 2, "least_mm": 8, "most_mm": 16}]
    data["joins"] = [{"a": "P.in:1-24", "b": "Q:1-24"}]
    return data


def test_a_window_is_short_where_the_slack_is_known_and_less_than_the_least_window() -> None:
    rule = BY_ID["sheath_window"]
    unknown = job_of(through(None))
    assert not rule.short(unknown)
    known = job_of(through(90_000))
    least = least_mm(known, known.through[0], lengths_of(known))
    assert [rule.short(job_of(through(slack))) for slack in (least - 1, least, least + 1)] == [True, False, False]


@pytest.mark.parametrize(("sleeves", "sleeve_fibres", "short"), [(2, 12, False), (1, 12, False), (1, 6, True)])
def test_sleeves_are_short_where_all_trays_together_have_too_few(
    sleeves: int, sleeve_fibres: int, *, short: bool
) -> None:
    """Four trays; 48 splices take 4 sleeves of 12 or 8 of 6."""
    data = worked_example()
    for i in (0, 1):
        put(data, f"enclosure.stacks.{i}.tray.sleeves", sleeves)
        put(data, f"enclosure.stacks.{i}.tray.sleeve_fibres", sleeve_fibres)
    assert BY_ID["tray_sleeves"].short(job_of(data)) is short


def test_what_is_said_of_a_guide_is_its_own_opening() -> None:
    data = worked_example()
    guides = data["enclosure"]["track"]["guides"]
    for i, guide in enumerate(guides):
        guide["opening_mm2"] = 1500 + 100 * i
    job = job_of(data)
    for i, guide in enumerate(guides):
        text = BY_ID["guide_fill"].say(job, guide["id"])
        assert text.startswith(
            f"{guide['id']}: 50 % of its opening of {1500 + 100 * i:,} mm² are {750 + 50 * i:,} mm²; "
        )


def test_a_subject_names_a_place() -> None:
    assert place_of("left/3") == Place("left", 3)
