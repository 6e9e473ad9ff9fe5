"""Advice is tried before it is given: carried out word for word it ends its finding and breaks no other must."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from typing import Any

import pytest

from tests.review.good_plans import FILE, STANDARD, assignment_of
from tests.review.recorded import Handed, handed
from trayopt.api import load_job
from trayopt.checker import assignment_of_claims, check_assignment
from trayopt.domain.assignment import Way
from trayopt.domain.base import DivideAt
from trayopt.domain.hardware import Place
from trayopt.domain.job import Job
from trayopt.domain.ranges import parse_run
from trayopt.review import trials
from trayopt.review.desk import Review, review_table
from trayopt.review.reading import parse_handmade
from trayopt.review.remarks import Remark
from trayopt.review.trials import Change
from trayopt.rules.judge import judge
from trayopt.track.laid import Claim, Laid

PLANS: dict[str, Any] = json.loads(FILE.read_text())
SMALL = [
    "worked-example.yaml", "2x144-wall-1x12-single.yaml", "2x288-wall-2x6.yaml", "hub-of-three-wall-2x6.yaml",
    "two-pairs-of-144-wall-1x6.yaml",
]  # fmt: skip
TRIED = "(tried:"


def as_it_lies(laid: Laid) -> Change:
    """Give a plan with nothing changed."""
    return Change(list(laid.claims), dict(laid.ways), dict(laid.divide_at), "")


def carried_out(laid: Laid, text: str) -> Change:
    """Do what an advice says, from its words alone."""
    change = as_it_lies(laid)
    text = text.partition(" (tried")[0]
    moved = re.fullmatch(r"move ([^/]+) to (\S+)/(\d+)", text)
    each = re.findall(r"(\S+:\d+-\d+) to (\S+)/(\d+)", text) if text.startswith("move ") else []
    written = re.fullmatch(r"write (\S+) in (\S+)/(\d+)", text)
    taken = re.fullmatch(r"take (\S+) out of (\S+)", text)
    divided = re.fullmatch(r"divide (\S+) at the (tray|port)", text)
    ends = {claim.place.stack: claim.end for claim in laid.claims}
    if moved is not None:
        runs = [tuple(parse_run(name)) for name in re.split(r", | and ", moved[1])]
        place = Place(moved[2], int(moved[3]))
        new = [c._replace(place=place, end=ends.get(place.stack)) if c[:3] in runs else c for c in change.claims]
        return change._replace(claims=new)
    if each:
        to = {tuple(parse_run(run)): Place(stack, int(position)) for run, stack, position in each}
        new = [c._replace(place=to[c[:3]], end=ends.get(to[c[:3]].stack)) if c[:3] in to else c for c in change.claims]
        return change._replace(claims=new)
    if written is not None:
        place = Place(written[2], int(written[3]))
        return change._replace(claims=[*change.claims, Claim(*parse_run(written[1]), place, ends.get(place.stack))])
    if taken is not None:
        run = tuple(parse_run(taken[1]))
        return change._replace(claims=[c for c in change.claims if not (c[:3] == run and str(c.place) == taken[2])])
    if text.startswith("park "):
        parked = re.findall(r"(\S+:\d+-\d+) in (\S+)/(\d+)", text)
        added = [Claim(*parse_run(run), Place(stack, int(at)), ends.get(stack)) for run, stack, at in parked]
        return change._replace(claims=[*change.claims, *added])
    if divided is not None:
        at: DivideAt = "tray" if divided[2] == "tray" else "port"
        return change._replace(
            divide_at={**change.divide_at, divided[1]: at}, claims=spliced(laid.job, change, divided)
        )
    trunk = text.split()[1]
    way = change.ways[trunk]
    port = re.search(r"in at (\S+?)(?:,| and |$)", text)
    loops = re.search(r"with (\d+) loop", text)
    travel = re.search(r"\b(clockwise|counterclockwise)\b", text)
    led = Way(
        port[1] if port else way.port,
        way.travel if travel is None else "clockwise" if travel[1] == "clockwise" else "counterclockwise",
        int(loops[1]) if loops else way.loops,
    )
    return change._replace(ways={**change.ways, trunk: led})


def spliced(job: Job, change: Change, divided: re.Match[str]) -> list[Claim]:
    """Leave out the rows of a trunk that are spliced to nothing, where it is divided at the port: they are parked no more."""
    joined = {
        (run.trunk, fibre) for join in job.joins for run in (join.a, join.b) for fibre in range(run.first, run.last + 1)
    }
    return [
        claim
        for claim in change.claims
        if divided[2] == "tray"
        or claim.trunk != divided[1]
        or any((claim.trunk, fibre) in joined for fibre in range(claim.first, claim.last + 1))
    ]


def failing(job: Job, change: Change, ends: Any) -> tuple[set[tuple[str, str]], int]:
    """Give what has to hold and is broken, and the splices without a tray."""
    made = assignment_of_claims(job, change.ways, change.claims, change.divide_at)
    report = check_assignment(job, replace(made, ends={**ends, **made.ends}), change.claims)
    return {(found.rule, found.subject) for found in report.findings if found.level != "prefer"}, report.unplaced


def hold(item: Handed, review: Review, remark: Remark) -> None:
    """Hold one advice to what it promises."""
    laid = review.laid
    assert laid is not None
    before, unplaced = failing(item.job, as_it_lies(laid), laid.ends)
    after, left = failing(item.job, carried_out(laid, remark.mend), laid.ends)
    assert after <= before - {(remark.rule, remark.subject)}, (item.name, remark.rule, remark.mend)
    assert left < unplaced if remark.level == "unplaced" else left <= unplaced


@pytest.mark.parametrize("name", SMALL)
def test_advice_does_what_it_says_for_every_way_to_break_a_plan(name: str) -> None:
    job = load_job(STANDARD / name)
    given = 0
    for item in handed(job, assignment_of(job, PLANS[name]), name):
        if item.plan is not None:
            continue
        review = review_table(item.job, item.made(), complete_s=2)
        for remark in review.remarks:
            if TRIED in remark.mend:
                given += 1
                hold(item, review, remark)
            elif remark.level in {"always", "must", "unplaced"} and remark.rule not in {"joins", "bound"}:
                assert "no single change" in remark.mend
    assert given >= 3


def cells(job: Job, text: str, rule: str) -> tuple[str, ...]:
    """Give the cells of the findings of a rule, as line:column."""
    review = review_table(job, parse_handmade(job, text.encode(), "plan.csv"), complete_s=2)
    return tuple(cell for remark in review.remarks if remark.rule == rule for cell in remark.cells)


def test_own_limits_marks_what_is_wrong_of_a_way_alone(quay: Job, good: str) -> None:
    assert cells(
        quay, good.replace("bottom-right,counterclockwise,1", "bottom-right,counterclockwise,2", 1), "own_limits"
    ) == ("6:48",)


def test_a_fault_of_the_to_side_is_marked_on_the_to_side(quay: Job) -> None:
    text = """from trunk,from fibres,to trunk,to fibres,stack,position
QUAY,1-70,EAST,1-70,left,1
QUAY,71-144,EAST,71-144,left,2
QUAY,145-216,WEST,1-72,right,1
QUAY,217-264,WEST,73-120,right,2
"""
    review = review_table(quay, parse_handmade(quay, text.encode(), "plan.csv"), complete_s=2)
    by_subject = {remark.subject: remark.cells for remark in review.remarks if remark.rule == "equal_groups"}
    assert set(by_subject) == {"QUAY/1", "EAST/1"}
    assert by_subject["QUAY/1"] == ("2:6", "3:6")
    assert by_subject["EAST/1"] == ("2:16", "3:18")


def test_one_odd_row_of_many_is_marked_alone() -> None:
    name = "2x864-wall-2x7-two-ends.yaml"
    job = load_job(STANDARD / name)
    good = assignment_of(job, PLANS[name])
    item = next(item for item in handed(job, good, name) if item.name == "leg_lost")
    laid = Laid(job, good)
    stack = next(stack for stack in job.enclosure.stacks if len(stack.ends) > 1)
    rows = item.text.splitlines()
    on = [i for i, row in enumerate(rows) if f",{stack.id}," in row]
    other = next(end.id for end in stack.ends if end.id != laid.ends[stack.id])
    rows[on[3]] = rows[on[3]].rpartition(",")[0] + f",{other}"
    review = review_table(job, parse_handmade(job, "\n".join(rows).encode(), "plan.csv"), complete_s=2)
    (remark,) = [remark for remark in review.remarks if remark.rule == "one_end"]
    assert [line.number for line in remark.lines] == [on[3] + 1]


def test_only_changes_that_end_a_finding_are_judged_whole(
    quay: Job, good: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    looked: list[Laid] = []

    def counted(job: Job, laid: Laid) -> Any:
        looked.append(laid)
        return judge(job, laid)

    monkeypatch.setattr(trials, "judge", counted)
    made = parse_handmade(quay, re.sub(r"(left|right),\d", r"\1,1", good).encode(), "plan.csv")
    review = review_table(quay, made, complete_s=2)
    others = [laid for laid in looked if laid is not review.laid]
    assert others
    before = {(found.rule, found.subject) for found in judge(quay, looked[0])}
    assert all(before - {(found.rule, found.subject) for found in judge(quay, laid)} for laid in others)


def test_no_leg_is_moved_where_it_does_not_matter_where_legs_lie(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where a trunk is divided is not mended by other trays or ways; a tray that holds too much is mended by other trays."""
    job = load_job(STANDARD / "2x432-wall-2x6.yaml")
    good = assignment_of(job, PLANS["2x432-wall-2x6.yaml"])
    claims = [
        Claim(leg.trunk, *job.subunit(leg).leg_run(leg), place, good.ends[place.stack])
        for leg, place in good.places.items()
    ]
    made: list[str] = []
    changed = trials.changed

    def noted(job: Job, laid: Laid, change: Change) -> Laid:
        made.append(change.text)
        return changed(job, laid, change)

    monkeypatch.setattr(trials, "changed", noted)
    monkeypatch.setattr(trials, "_gone", lambda *_: False)  # so that every change is tried
    ported = Laid(job, replace(good, divide_at=dict.fromkeys(good.ways, "port")), claims)
    finding = next(item for item in judge(job, ported) if item.rule == "breakout")
    assert trials.tried(job, ported, finding) is None
    assert made
    assert not any(text.startswith(("move ", "lead ")) for text in made)

    made.clear()
    crowded = [claim._replace(place=claims[0].place, end=claims[0].end) for claim in claims]
    laid = changed(job, Laid(job, good, claims), Change(crowded, good.ways, good.divide_at, ""))
    finding = next(item for item in judge(job, laid) if item.rule == "tray_fibres")
    trials.tried(job, laid, finding)
    assert any(text.startswith("move ") for text in made)
