"""Pictures as numbers: every text in its box, no two texts over each other, crossings that can be counted."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.crewsheets.plans import book, crossed, grown, half, hostile, straight, tapped, worked
from trayopt.crewsheets.book import Book
from trayopt.crewsheets.geometry.front import Front, front_picture
from trayopt.crewsheets.geometry.order import order_picture
from trayopt.crewsheets.geometry.side import side_picture
from trayopt.crewsheets.geometry.tray import tray_picture
from trayopt.crewsheets.units import Teller
from trayopt.crewsheets.words import LANGUAGES, words_of
from trayopt.domain.base import remade
from trayopt.domain.job import Job
from trayopt.domain.plan import Plan
from trayopt.pictures.base import (
    SIZE,
    WIDTH,
    Labels,
    Picture,
    Rect,
    Text,
    count_crossings,
    crossing_point,
    fitted,
    text_width,
)

CASES: dict[str, Callable[[], tuple[Job, Plan]]] = {
    "worked": worked,
    "half": half,
    "hostile": hostile,
    "crossed": crossed,
    "crossed at the port": lambda: crossed("port"),
    "tapped": tapped,
    "half built": grown,
    "432": lambda: straight("2x432-wall-2x6"),
    "1728": lambda: straight("2x1728-wall-3x8"),
    "864 at the port": lambda: straight("2x864-wall-3x8-port"),
    "6912": lambda: straight("2x6912-cabinet-4x24"),
}


def pictures(opened: Book, language: str) -> Iterator[Picture]:
    tell = Teller(words_of(language), "metric")
    yield front_picture(opened, tell)
    yield side_picture(opened, tell)
    for trunk in opened.ways:
        yield order_picture(opened, trunk, tell)
    for i in range(len(opened.trays)):
        yield tray_picture(opened, i, tell)


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("case", CASES)
def test_texts_stay_in_their_boxes_and_off_each_other(case: str, language: str) -> None:
    for picture in pictures(book(CASES[case]()), language):
        assert picture.texts
        assert picture.outside() == [], picture.id
        assert picture.overlaps() == [], picture.id
        assert all(text.size >= 12 for text in picture.texts)
        assert picture.width <= WIDTH


@pytest.mark.parametrize("case", CASES)
def test_shapes_stay_in_the_picture(case: str) -> None:
    for picture in pictures(book(CASES[case]()), "en"):
        assert all(picture.frame.holds(box.rect) for box in picture.boxes), picture.id
        points = [point for path in picture.paths for point in path.points] + [(dot.x, dot.y) for dot in picture.dots]
        assert all(0 <= x <= picture.width and 0 <= y <= picture.height for x, y in points), picture.id


@pytest.mark.parametrize("case", ["432", "1728", "crossed"])
def test_every_name_of_the_front_is_shown_whole(case: str) -> None:
    opened = book(CASES[case]())
    shown = {text.text for text in front_picture(opened, Teller(words_of("en"), "metric")).texts}
    enclosure = opened.job.enclosure
    assert {guide.id for guide in enclosure.track.guides} <= shown
    assert {stack.id for stack in enclosure.stacks} <= shown
    for port in enclosure.ports:
        assert any(text.startswith(port.id) for text in shown)


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("case", ["half built", "432"])
def test_what_stands_beside_a_tray_is_shown_whole(case: str, language: str) -> None:
    """The test batch, or that the tray is in service."""
    beside = [
        text
        for text in side_picture(book(CASES[case]()), Teller(words_of(language), "metric")).texts
        if text.kind == "batch"
    ]
    assert beside
    assert [text.text for text in beside] == [text.full for text in beside]


def test_a_port_in_a_side_wall_is_named_whole_with_its_trunk() -> None:
    """Also in a box so wide that it leaves little room beside it: the box is drawn smaller then."""
    job, plan = straight("2x432-wall-2x6")
    ports = tuple(remade(port, id="side-wall-1", x_mm=0, y_mm=300) for port in job.enclosure.ports[:1])
    box = remade(job.enclosure, ports=(*job.enclosure.ports[1:], *ports), size_mm=(job.enclosure.size_mm[0], 400, 180))
    ways = tuple(remade(trunk, port=ports[0].id) for trunk in plan.trunks[:1])
    opened = book((remade(job, enclosure=box), remade(plan, trunks=(*ways, *plan.trunks[1:]))))
    names = [text for text in front_picture(opened, Teller(words_of("en"), "metric")).texts if text.kind == "port-name"]
    assert f"{ports[0].id}: {ways[0].trunk}" in [text.text for text in names]


@pytest.mark.parametrize("case", CASES)
def test_lines_of_the_order_diagram_cross_as_often_as_the_plan_says(case: str) -> None:
    opened = book(CASES[case]())
    for trunk in opened.ways:
        picture = order_picture(opened, trunk, Teller(words_of("en"), "metric"))
        paths = [path for path in picture.paths if path.kind.startswith("leg")]
        assert [path.keys["leg"] for path in paths] == [leg.leg for leg in opened.legs[trunk]]
        # Legs of one tube share the middle of their ways: a line a traveller.
        lines = list(dict.fromkeys((path.points[1], path.points[2]) for path in paths))
        stated = sum(a.partition("/")[0] == trunk for a, _ in opened.plan.crossings)
        assert len(lines) == sum(traveller.trunk == trunk for traveller in opened.travellers.values())
        assert count_crossings(lines) == stated
        assert sum(dot.kind == "crossing" for dot in picture.dots) == stated


def test_the_crossed_plan_crosses_as_counted_by_hand() -> None:
    # 12 subunits in two legs each, four layers of three subunits, in reverse: of the C(12, 2) = 66 pairs of subunits only
    # the 4 × C(3, 2) = 12 that share a layer do not cross. Divided at the tray a subunit is one tube, and every other pair
    # is one crossing; divided at the port it is two tubes, and every other pair is 2 × 2 crossings.
    assert len(crossed()[1].crossings) == 2 * (66 - 12)
    assert len(crossed("port")[1].crossings) == 2 * (66 - 12) * 4


def test_lines_of_the_straight_plan_do_not_cross() -> None:
    assert straight("2x1728-wall-3x8")[1].crossings == ()


def test_a_way_passes_every_guide_once_a_loop_and_then_its_direct_way() -> None:
    opened = book(worked())
    front = Front(opened)
    leg = opened.legs["P"][0]
    way = front.way(leg)
    # One loop over six guides from sw, then sw to nw directly, port and entrance at the ends.
    assert len(way) == 1 + 6 + 2 + 1
    assert way[0] == front.at(40, 0)
    assert way[-1] == front.at(170, 330)


@pytest.mark.parametrize(
    ("trunk", "ring"),
    [("P", ["sw", "nw", "n", "ne", "se", "s"]), ("Q", ["se", "ne", "n", "nw", "sw", "s"])],
)
def test_a_loop_goes_round_as_the_trunk_travels(trunk: str, ring: list[str]) -> None:
    """P travels clockwise, Q the other way."""
    opened = book(worked())
    front = Front(opened)
    way = front.way(opened.legs[trunk][0])
    assert way[1:7] == [front.guide(name, front.lanes[trunk]) for name in ring]


def test_the_front_is_drawn_to_scale() -> None:
    front = Front(book(worked()))
    (x0, y0), (x1, y1) = front.at(0, 0), front.at(400, 500)
    assert (x1 - x0) / 400 == pytest.approx(front.scale)
    assert (y0 - y1) / 500 == pytest.approx(front.scale)


@pytest.mark.parametrize("case", ["432", "1728", "half"])
def test_slabs_are_as_full_as_the_trays(case: str) -> None:
    opened = book(CASES[case]())
    picture = side_picture(opened, Teller(words_of("en"), "metric"))
    slabs = {box.keys["tray"]: box.rect for box in picture.boxes if box.kind == "slab"}
    fills = {box.keys["tray"]: box.rect for box in picture.boxes if box.kind == "fill"}
    assert len(slabs) == len(fills) == len(opened.trays)
    for tray in opened.trays:
        name = f"{tray.stack}/{tray.position}"
        assert fills[name].width / slabs[name].width == pytest.approx(tray.ends / (2 * opened.hardware(tray).fibres))
    unused = sum(box.kind == "slab unused" for box in picture.boxes)
    assert unused == len(opened.job.enclosure.places) - len(opened.trays)


def test_a_tray_lies_over_the_one_nearer_to_the_base() -> None:
    picture = side_picture(book(straight("2x432-wall-2x6")), Teller(words_of("en"), "metric"))
    at = {box.keys["tray"]: box.rect.y for box in picture.boxes if box.kind == "slab"}
    assert at["left/1"] > at["left/2"] > at["left/3"]


def test_a_tray_shows_every_sleeve_and_every_leg() -> None:
    opened = book(straight("2x432-wall-2x6"))
    for i, tray in enumerate(opened.trays):
        picture = tray_picture(opened, i, Teller(words_of("en"), "metric"))
        texts = " ".join(text.text for text in picture.texts)
        assert all(f"{s.sleeve}  {s.a} × {s.b}" in texts for s in tray.splices)
        assert all(leg.leg in texts for leg in opened.tray_legs[i])


def test_legs_come_in_on_the_side_of_their_entrance() -> None:
    opened = book(worked())
    picture = tray_picture(opened, 0, Teller(words_of("en"), "metric"))
    at: dict[str, Any] = {text.keys["leg"]: text.x for text in picture.texts if "leg" in text.keys}
    # On the left stack the counterclockwise entrance (x 110) is left of the clockwise one (x 170).
    assert at["Q/1.1"] < WIDTH / 2 < at["P/1"]


def test_wide_characters_count_twice() -> None:
    assert text_width("漢字") == text_width("abcd")
    assert text_width("e\u0301") == text_width("e")


@given(st.text(max_size=40), st.floats(0, 400))
def test_a_fitted_text_fits(text: str, width: float) -> None:
    assert text_width(fitted(text, width)) <= width or fitted(text, width) == text == ""


def test_labels_never_meet_and_tell_who_is_left() -> None:
    labels = Labels(Rect(0, 0, 100, 20))
    assert labels.put([Text(5, 10, "one")])
    assert not labels.put([Text(6, 10, "two")])
    assert labels.put([Text(6, 10, "three"), Text(50, 10, "three")])
    assert labels.left == ["two"]
    assert not labels.placed[0].rect.meets(labels.placed[1].rect)


def test_crossing_point_of_two_lines() -> None:
    assert crossing_point(((0, 0), (2, 2)), ((0, 2), (2, 0))) == (1, 1)
    assert crossing_point(((0, 0), (2, 2)), ((0, 1), (2, 3))) is None
    # A shared end is no crossing.
    assert crossing_point(((0, 0), (2, 2)), ((0, 0), (2, 0))) is None


def test_count_of_a_known_drawing() -> None:
    # Worked example of two-layer drawings: these ten edges cross 10 times (question text, recounted).
    edges = [(1, 1), (1, 2), (2, 1), (2, 2), (3, 3), (4, 1), (4, 3), (5, 1), (5, 2), (5, 4)]
    assert count_crossings([((0, a), (1, b)) for a, b in edges]) == 10


def test_text_size_is_what_a_tablet_needs() -> None:
    assert SIZE >= 12
