"""What is done with ribbons is settled by one search: relaxations know the sleeves that each choice takes beyond the fewest."""

from __future__ import annotations

from typing import Any

import pytest

from trayopt.api import load_job
from trayopt.domain.job import Job
from trayopt.domain.plan import GoalName
from trayopt.solver.bounds.division import Divider
from trayopt.solver.bounds.partition_bounds import FirstGoals
from trayopt.solver.bounds.preference_bounds import preference_bound
from trayopt.solver.bounds.segments import Segments
from trayopt.solver.heuristics.completion import RelaxedModel
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.posting import Policy
from trayopt.solver.solve import Options, solve

DECIDED = ["as_they_are", "split", 12]


def starred(words: list[Any], others: list[Any], box: str = "wall-2x10") -> Job:
    """Make a job of 864 fibres in ribbons of 16 that three trunks in ribbons of 12 share."""
    trunks = [{"id": "H", "cable": "partly-bonded-864-6x144-r16", "ribbons": words}]
    trunks += [{"id": t, "cable": "partly-bonded-288-2x144", "ribbons": others} for t in "ABC"]
    joins = [{"a": f"H:{288 * i + 1}-{288 * i + 288}", "b": f"{t}:1-288"} for i, t in enumerate("ABC")]
    return load_job({"schema": "trayopt/job/2", "title": "star", "enclosure": box, "trunks": trunks, "joins": joins})


def twelve_on_eight(words: list[Any]) -> Job:
    """Make a job whose box has 144 sleeves for 192, if its ribbons are spliced as they are."""
    trunks = [
        {"id": "N", "cable": "slotted-core-576-6x96-r8", "ribbons": words},
        {"id": "S", "cable": "ribbon-576-6x96"},
    ]
    joins = [{"a": "N:1-576", "b": "S:1-576"}]
    return load_job(
        {"schema": "trayopt/job/2", "title": "r8", "enclosure": "wall-2x6", "trunks": trunks, "joins": joins}
    )


def proven(job: Job, effort: float) -> dict[GoalName, int | None]:
    """Solve a job with so much deterministic time, and give what is proven."""
    found = solve(job, Options(time_limit_s=effort, reproducible=True))
    assert found.status == "optimal", found
    return found.bounds


def test_more_choices_than_can_be_tried_one_by_one_are_proven() -> None:
    """Of 81 choices the one is best that splits the ribbons of the hub alone."""
    assert proven(starred(DECIDED, ["as_they_are", "split", 16]), 40)["broken_prefer"] == 1


@pytest.mark.parametrize("words", [["as_they_are", 12], ["as_they_are", "split"]])
def test_the_cheapest_choice_is_left_where_it_has_no_room(words: list[Any]) -> None:
    """Splices would stay out with ribbons as they are: to search all plans of that choice first would take minutes."""
    assert proven(twelve_on_eight(words), 20)["unplaced"] == 0


def test_the_outline_pays_for_the_room_of_all_trays() -> None:
    job = twelve_on_eight(["as_they_are", 12])
    assert preference_bound(job, Divider(job).open, Clock(None)) == 2


def test_blocks_pay_for_the_sleeves_of_a_choice() -> None:
    """As they are, ribbons of 16 take so many trays that two trunks are broken out at the port; split they cost 1."""
    trunks = [
        {"id": "N", "cable": "partly-bonded-864-6x144-r16", "ribbons": DECIDED},
        {"id": "S", "cable": "partly-bonded-864-6x144"},
    ]
    joins = [{"a": "N:1-864", "b": "S:1-864"}]
    job = load_job(
        {"schema": "trayopt/job/2", "title": "16", "enclosure": "wall-2x10", "trunks": trunks, "joins": joins}
    )
    clock, divider, policy = Clock(None), Divider(job), Policy("hard", "soft")
    blocks = Segments(divider, divider.open, policy, all_placed=True, clock=clock)
    assert RelaxedModel(blocks, clock).least(blocks.broken("prefer")).bound == 1


def test_patterns_pay_for_the_sleeves_of_a_choice() -> None:
    """Bunches on stacks know what sleeves a stack takes in all; with too few for ribbons as they are, a choice is paid for."""
    job, clock = twelve_on_eight(["as_they_are", "split", 12]), Clock(None)
    divider = Divider(job)
    assert (FirstGoals(divider, divider.open, clock).weight(0) or 0) >= 1
    assert FirstGoals(divider, divider.open, clock).legs(0).bound is None


def test_the_outline_pays_for_opened_tubes_whose_sleeves_fill_too_many_trays() -> None:
    """As they are, 144 fibres in 16 on 12 take three trays of 6 sleeves; of six bundles each is split, or broken out, for 1."""
    trunks: list[dict[str, Any]] = [{"id": "H", "cable": "partly-bonded-864-6x144"}]
    trunks += [{"id": "T", "cable": "partly-bonded-864-6x144-r16", "ribbons": ["as_they_are", "split"]}]
    joins = [{"a": "H:1-864", "b": "T:1-864"}]
    job = load_job(
        {"schema": "trayopt/job/2", "title": "six", "enclosure": "wall-2x10", "trunks": trunks, "joins": joins}
    )
    assert preference_bound(job, Divider(job).open, Clock(None)) == 1
    as_they_are = job.with_ribbons({"T": "as_they_are"})
    assert preference_bound(as_they_are, Divider(as_they_are).open, Clock(None)) == 2
