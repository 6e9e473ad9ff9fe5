"""Prices of preferences: held to brute force, told in a line, a table and a picture, and bounded before they are looked for."""

from __future__ import annotations

import itertools
import json
import random
import threading
from collections import Counter
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest

from tests import oracle, strategies
from tests.build import job_of
from tests.checker.test_against_oracle import assignment_of
from tests.cli.run import trayopt as run
from tests.explainer.applying import write
from tests.explainer.planted import box, cable, job, trunk
from trayopt.api import habits, load_job, prices, solve
from trayopt.domain.job import Job
from trayopt.domain.labour import DEAR_MIN, Labour
from trayopt.domain.plan import PlanJob
from trayopt.domain.prices import PreferencePrice, Prices, PriceTogether, Worth
from trayopt.explainer import prices as pricing
from trayopt.explainer.price_picture import HEAD, LEFT, RIGHT, picture
from trayopt.explainer.price_words import price_line, text, together_line, unsettled_line
from trayopt.explainer.prices import least_minutes
from trayopt.pictures.svg import svg_file
from trayopt.rules.exposed import Exposed
from trayopt.track.labour import crew_minutes
from trayopt.track.laid import Laid

Json = dict[str, Any]
PACE = Labour(ribbon_splice_min=3, mark_min_per_leg=11, route_min_per_tube_and_turn=7, strip_min_per_metre=40)
STANDARD = Path(__file__).parents[2] / "models/standard"
AWKWARD = STANDARD / "three-awkward-trunks-wall-2x9-144.yaml"
"""Joins end inside subunits: equal legs and equal trays on both stacks ask for more legs."""
MOST = 3000
"""Decisions of a tiny job that are looked at."""


def dear() -> Json:
    """Give a tube over three trays: as they may not be tied, it is divided at the port, in three tubes; both count 1."""
    return job(
        [
            trunk("P", cable("three", ribbons=3), divide_at=["tray", "port"]),
            trunk("Q", cable("singles", subunits=3, ribbons=1)),
        ],
        [("P:1-36", "Q:1-36")],
        enclosure=box(positions=3, fibres=12),
        rules={"tied_trays": {"weight": 5}},
    )


def without(data: Json, *rules: str) -> Json:
    return data | {"rules": data["rules"] | dict.fromkeys(rules, "off")}


def tiny(seed: int) -> Json:
    return strategies.random_job(
        random.Random(f"price {seed}"), trunks=2, ribbons=2, stacks=2, positions=2, ends=1, ports=2, rules=0.1, pins=0.0
    )


@pytest.mark.parametrize("seed", range(12))
def test_prices_are_those_of_brute_force(seed: int) -> None:
    data = tiny(seed)
    best = oracle.solve(data)
    assert best is not None
    found = prices(job_of(data), reproducible=True)
    if best.goals[:2] != (0, 0):
        assert found is None
        return
    assert found is not None
    assert tuple(found.best.goals.values()) == best.goals
    for price in found.priced:
        other = oracle.solve(without(data, price.rule))
        assert other is not None
        assert price.without.proven
        assert tuple(price.without.goals.values()) == other.goals
        assert other.goals < oracle.judge(without(data, price.rule), best.decision).goals
    for rule in found.free:
        other = oracle.solve(without(data, rule))
        assert other is not None
        assert other.goals == oracle.judge(without(data, rule), best.decision).goals
    preferred = [name for name, setting in job_of(data).rules.items() if setting.level == "prefer"]
    if found.together is not None:
        least = oracle.solve(without(data, *preferred))
        assert least is not None
        assert tuple(found.together.without.goals.values())[3:] == least.goals[3:]
        kept = [name for name in preferred if name not in found.together.rules]
        assert (
            found.together.without.goals["broken_prefer"]
            <= oracle.judge(without(data, *found.together.rules), best.decision).goals[2]
        )
        assert kept or len(preferred) == len(found.together.rules)
    assert sorted([*(price.rule for price in found.priced), *found.free, *found.open]) == sorted(preferred)


@pytest.mark.parametrize("seed", [0, 1, 2, 4, 5, 6, 8, 9, 10])
def test_no_plan_takes_fewer_minutes_than_the_bound(seed: int) -> None:
    """All of these jobs have a plan without a splice left over and without a broken must."""
    data = tiny(seed)
    loaded, lengths = job_of(data), None
    least = None
    for decision in itertools.islice(oracle.all_feasible(data), MOST):
        if oracle.judge(data, decision).goals[:2] != (0, 0):
            continue
        made = assignment_of(decision)
        if least is None:
            least, lengths = least_minutes(loaded, made, PACE), Exposed().parameters(loaded)
        assert lengths is not None
        assert crew_minutes(Laid(loaded, made), lengths, PACE) >= least - 1e-6
    assert least is not None


def test_a_preference_that_binds_has_its_price() -> None:
    """Without the preference P stays in one tube: two tubes less round the track, 1.5 minutes a turn and 1 to take off."""
    found = prices(job_of(dear()))
    assert found is not None
    (price,) = [item for item in found.priced if item.rule == "tied_trays"]
    assert (found.best.legs, found.best.trays, price.without.legs, price.without.trays) == (6, 3, 6, 3)
    assert price.saved(found.best) == round(2 * 2 * 1.5 + 2 * 1)
    assert found.best.proven
    assert price.without.proven
    assert "tied_trays" in text(found)
    assert "breakout" in found.free


def worth(**values: Any) -> Worth:
    usual = {"legs": 10, "trays": 4, "crossings": 0, "leg_length_mm": 50_000, "minutes": 900, "proven": True}
    return Worth(**usual | values, goals={})


@pytest.mark.parametrize(
    ("without_it", "said"),
    [
        (
            {"legs": 7, "trays": 3, "leg_length_mm": 20_500, "minutes": 700},
            "costs 200 crew minutes: a plan without it has 3 legs, 1 tray and 29.50 m less",
        ),
        ({"minutes": 899, "proven": False}, "costs at least 1 crew minute, as a plan without it shows"),
        (
            {"legs": 12, "leg_length_mm": 49_000, "minutes": 850},
            "costs 50 crew minutes: a plan without it has 1.00 m less",
        ),
    ],
)
def test_a_price_in_a_line(without_it: Json, said: str) -> None:
    price = PreferencePrice(rule="same_division", weight=1, broken=0, without=worth(**without_it))
    assert price_line(price, worth()) == f"same_division (preferred, weight 1) {said}"


def priced(*minutes: int, title: str = "a <job> & more") -> Prices:
    """Give prices of as many preferences, with these minutes without them."""
    found = [
        PreferencePrice(rule=f"rule_{i}", weight=i + 1, broken=i, without=worth(minutes=m, proven=i % 2 == 0))
        for i, m in enumerate(minutes)
    ]
    return Prices(
        job=PlanJob(title=title, digest="d"),
        best=worth(),
        least_minutes=80,
        priced=tuple(found),
        free=("reach",),
        open=("a", "b"),
    )


@pytest.mark.parametrize("minutes", [(), (900,), (700, 890), (100, 950, 899), (0,), (12_345, 123_456)])
def test_the_picture_has_a_mark_and_a_figure_for_each_plan(minutes: tuple[int, ...]) -> None:
    shapes = picture(priced(*minutes))
    assert shapes.outside() == []
    assert shapes.overlaps() == []
    drawn = ElementTree.fromstring(svg_file(shapes))
    marks = Counter(item.attrib.get("class", "").split(" ")[0] for item in drawn.iter() if item.tag.endswith("path"))
    assert (marks["with"], marks["without"], marks["price"]) == (1 + len(minutes), 1 + len(minutes), len(minutes))
    words = [item.text or "" for item in drawn.iter() if item.tag.endswith("text")]
    for i, m in enumerate(minutes):
        assert f"rule_{i}" in words
        assert f"{m:,}" in words
    assert all(LEFT <= dot.x <= shapes.width - RIGHT for dot in shapes.dots if dot.y > HEAD)
    assert "a <job> & more" in words


def test_a_long_title_is_cut_and_told_whole_to_who_cannot_see() -> None:
    title = ("word " * 100).strip()
    shapes = picture(priced(700, title=title))
    assert shapes.title.endswith(title)
    assert shapes.outside() == []
    (cut,) = [text for text in shapes.texts if text.full == title]
    assert cut.text.endswith("…")


def test_the_text_names_what_is_free_and_what_is_open() -> None:
    said = text(priced(700))
    assert "No plan is better without reach: proven." in said
    assert "No better plan was found without a or b in the time given." in said
    assert "No plan of this job takes fewer than 80 crew minutes, whatever it breaks." in said


def test_what_several_preferences_cost_together_is_told_where_no_price_was_found_in_time() -> None:
    loaded = load_job(AWKWARD)
    plan = solve(loaded, reproducible=True, explain=False).plan
    (said,) = habits(loaded, plan).dear
    assert said == (
        "keeping same_division (weight 1) and tray_pair (weight 1) costs at least 149 crew minutes: a plan without them has "
        "14 legs, 1 tray and 57.50 m less; the time was too short to find what each costs by itself"
    )
    (said,) = habits(loaded, plan, effort=20).dear
    assert said.endswith("57.50 m less; none of them costs more than 120 by itself")


def test_nothing_is_said_where_all_preferences_together_are_proven_to_cost_little() -> None:
    loaded = load_job(STANDARD / "mixed-trays-288-separated.yaml")
    plan = solve(loaded, reproducible=True, explain=False).plan
    assert habits(loaded, plan).dear == ()
    (said,) = habits(loaded, plan, more_than_min=35).dear
    assert said.startswith("same_division (preferred, weight 1) costs")


def test_the_text_tells_what_is_given_up_together() -> None:
    together = PriceTogether(rules=("a", "b"), without=worth(legs=8, minutes=880, proven=False))
    found = priced(700).model_copy(update={"together": together})
    assert "A plan without a and b has 8 legs, 4 trays, 50.00 m, 880 crew minutes: 20 crew minutes less." in text(found)
    assert together_line(found, {"a": 1, "b": 2}, 10) == (
        "keeping a (weight 1) and b (weight 2) costs at least 20 crew minutes: a plan without them has 2 legs less; "
        "the time was too short to find what each costs by itself"
    )
    with pytest.raises(ValueError, match="several"):
        together_line(priced(700), {}, 10)


def test_what_is_known_is_told_when_the_time_ends_the_work(monkeypatch: pytest.MonkeyPatch) -> None:
    def slow(job: Job, *rules: Any) -> None:
        threading.Event().wait(60)

    loaded = job_of(dear())
    plan = solve(loaded).plan
    monkeypatch.setattr(pricing, "_freed", slow)
    (said,) = habits(loaded, plan, more_than_min=1, time_limit_s=0.1).dear
    assert said.endswith("in all; the time was too short to find a price")


def test_what_was_not_settled_is_said_with_the_most_that_it_can_be() -> None:
    said = "keeping {} costs at most 820 crew minutes in all; the time was too short to find a price"
    assert unsettled_line(priced()) == said.format("a and b")
    many = priced().model_copy(update={"open": ("a", "b", "c", "d")})
    assert unsettled_line(many) == said.format("4 preferences")
    loaded = job_of(dear())
    found = habits(loaded, solve(loaded).plan, more_than_min=1, effort=1e-9)
    assert found.dear[0].endswith("the time was too short to find a price")


def test_only_what_is_dear_is_looked_for() -> None:
    loaded = job_of(dear())
    plan = solve(loaded).plan
    assert habits(loaded, plan).dear == ()
    assert habits(loaded, plan, more_than_min=DEAR_MIN).dear == ()
    (said, *_) = habits(loaded, plan, more_than_min=1).dear
    assert said.startswith("tied_trays (preferred, weight 5) costs 8 crew minutes")
    assert habits(loaded, plan, more_than_min=8).dear == ()


def test_the_commands_tell_prices(tmp_path: Path) -> None:
    path, drawn = tmp_path / "job.yaml", tmp_path / "prices.svg"
    path.write_text(write(dear()), encoding="utf-8")
    told = run("solve", path, "--reproducible", "--price-minutes", "5")
    assert told.returncode == 0, told.stderr
    assert "Preferences that cost much to keep (trayopt explain JOB --prices)" in told.stdout
    assert "tied_trays (preferred, weight 5) costs 8 crew minutes" in " ".join(told.stdout.split())
    assert "cost much to keep" not in run("solve", path, "--reproducible").stdout
    beside = run("solve", path, "--reproducible", "--price-minutes", "5", "--format", "json")
    assert "tied_trays (preferred, weight 5) costs 8 crew minutes" in beside.stderr
    assert json.loads(beside.stdout)["schema"] == "trayopt/plan/2"
    done = run("explain", path, "--prices", "--picture", drawn)
    assert done.returncode == 0, done.stderr
    assert "What keeping preferences costs" in done.stdout
    assert ElementTree.parse(drawn).getroot().tag.endswith("svg")
    found = json.loads(run("explain", path, "--prices", "--format", "json").stdout)
    assert found["schema"] == "trayopt/prices/1"
    assert {item["rule"] for item in found["priced"]} >= {"tied_trays"}


def test_paces_of_the_crew_can_be_given(tmp_path: Path) -> None:
    path, paces = tmp_path / "job.yaml", tmp_path / "settings.yaml"
    path.write_text(write(dear()), encoding="utf-8")
    paces.write_text("labour: {take_off_min_per_tube: 100}\n", encoding="utf-8")
    done = run("explain", path, "--prices", "--settings", paces, "--format", "json")
    found = json.loads(done.stdout)
    (price,) = [item for item in found["priced"] if item["rule"] == "tied_trays"]
    assert found["best"]["minutes"] - price["without"]["minutes"] == 206


def test_a_job_without_a_whole_plan_has_no_prices(tmp_path: Path) -> None:
    path = tmp_path / "job.yaml"
    path.write_text(write(dear() | {"enclosure": box(positions=1, fibres=12)}), encoding="utf-8")
    done = run("explain", path, "--prices")
    assert done.returncode == 1
    assert "explain JOB says why" in done.stdout
    assert json.loads(run("explain", path, "--prices", "--format", "json").stdout) is None


@pytest.mark.parametrize("options", [("--picture", "x.svg"), ("--settings", "x.yaml")])
def test_options_of_prices_alone_are_refused_without_them(options: tuple[str, str], tmp_path: Path) -> None:
    path = tmp_path / "job.yaml"
    path.write_text(write(dear()), encoding="utf-8")
    done = run("explain", path, *options)
    assert done.returncode == 2
    assert "--prices" in done.stderr
