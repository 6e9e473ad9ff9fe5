"""Reviews and comparisons as pages and text: whole, in one file, findings marked where they are, nothing unescaped."""

from __future__ import annotations

import json
import re
from html.parser import HTMLParser
from pathlib import Path
from xml.etree import ElementTree

import pytest

from tests.crewsheets.browser import browser
from tests.review import corpus
from trayopt.api import load_job
from trayopt.domain.job import Job
from trayopt.errors import InputError
from trayopt.library.find import shipped
from trayopt.pictures.base import text_width
from trayopt.review.answers import mended_text, pair_text, pair_words
from trayopt.review.compare import Pair, compare
from trayopt.review.desk import Review, review_table
from trayopt.review.html import compare_html, review_html
from trayopt.review.mend import mend
from trayopt.review.picture import Spot, picture, spots
from trayopt.review.reading import parse_handmade
from trayopt.review.remarks import rows_text
from trayopt.review.text import review_text, verdict

TABLES = corpus.TABLES


def reviewed(job: Job, text: str, name: str = "plan.csv", best_s: float | None = None) -> Review:
    """Review a table from text."""
    return review_table(job, parse_handmade(job, text.encode(), name), best_s=best_s)


class Page(HTMLParser):
    """Collects what a page links to, and checks that every element is closed."""

    VOID = frozenset({"meta", "br", "link", "img", "hr"})

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.links: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note what an element links to, and that it is open."""
        self.links += [value or "" for name, value in attrs if name in {"src", "href"}]
        if tag not in self.VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note what an element without content links to."""
        self.links += [value or "" for name, value in attrs if name in {"src", "href"}]

    def handle_endtag(self, tag: str) -> None:
        """Close the element that was opened last."""
        assert self.open.pop() == tag


def whole(page: str) -> None:
    """Check that a page is one whole file."""
    parser = Page()
    parser.feed(page)
    parser.close()
    assert parser.open == []
    assert parser.links == []
    assert "@page" in page


def test_a_review_marks_every_finding_in_its_picture(quay: Job, good: str) -> None:
    review = reviewed(quay, good.replace("73-144,left,2", "73-144,left,4").replace("bottom-right", "bottom-left"))
    page = review_html(review)
    whole(page)
    drawn = page[page.index("<svg") : page.index("</svg>")]
    numbers = {int(text) for text in re.findall(r'class="pin-number"[^>]*>(\d+)</text>', drawn)}
    assert numbers == set(range(1, len(review.remarks) + 1))
    for remark in review.remarks:
        assert remark.mend.split(",")[0].split("<")[0][:20] in page


@pytest.mark.parametrize("path", sorted(TABLES.glob("bad-*.csv")), ids=lambda path: path.stem)
def test_every_bad_table_makes_a_whole_page(path: Path) -> None:
    review = corpus.reviewed(path.name)
    whole(review_html(review))
    json.dumps(review.as_dict())
    assert review_text(review).startswith(f"{path}: {'unfinished' if review.unfinished else 'fails'}")


def test_a_finding_is_marked_where_it_is(quay: Job, good: str) -> None:
    review = reviewed(quay, good.replace("73-144,left,2", "73-144,left,4").replace("bottom-right", "bottom-left"))
    laid = review.laid
    assert laid is not None
    at = {(remark.rule, remark.subject): spots(quay, laid, remark) for remark in review.remarks}
    assert at["no_empty_below", "left/4"] == [Spot("place", "left/4")]
    assert at["port_seal", "bottom-left"] == [Spot("port", "bottom-left")]
    assert at["divided_at_tray", "QUAY/1"] == [Spot("place", "left/1"), Spot("place", "left/4")]


def test_beside_damage_the_page_shows_what_could_be_read(quay: Job, good: str) -> None:
    review = reviewed(quay, good.replace("1-72,left,1", "Jan-72,left,1"))
    page = review_html(review)
    whole(page)
    assert page.count("<svg") == 1
    assert "of the rest" in page
    assert "<h2>Goals</h2>" not in page
    assert "turned this cell into a date" in page
    assert "cannot be read" in verdict(review)


def test_what_is_written_in_cells_and_titles_stays_text(good: str) -> None:
    from tests.review.test_mend import changed

    data = changed()
    data["title"] = "<script>alert(1)</script>"
    job = load_job(data)
    review = reviewed(job, good.replace("left,2", "<b>left</b>,2"), "<i>plan</i>.csv")
    page = review_html(review)
    assert "<script>" not in page
    assert "<b>" not in page
    assert "<i>" not in page
    assert "&lt;script&gt;" in page


def test_the_best_stands_beside_the_plan(quay: Job) -> None:
    review = reviewed(quay, (TABLES / "good-but-not-best.csv").read_text(), best_s=60)
    data = review.as_dict()
    assert data["best_proven"]
    by_goal = {row["goal"]: row for row in data["goals"]}
    assert by_goal["broken_prefer"] == {"goal": "broken_prefer", "value": 3, "best": 0, "bound": 0, "distance": 3}
    measured = {row["figure"]: row for row in data["measured"]}
    assert measured["trays used on left"] == {
        "figure": "trays used on left", "unit": "trays", "value": 2, "allowed": 6, "best": 2,
    }  # fmt: skip
    assert 0 < measured["fill of guide sw"]["value"] <= 50
    whole(review_html(review))
    assert "The best is proven" in review_text(review)


def pair_of(job: Job, good: str) -> Pair:
    """Compare the good plan with one that has a leg elsewhere and another port."""
    worse = good.replace("right,2", "right,3").replace("bottom-left", "side")
    return compare(job, reviewed(job, good, "a.csv"), reviewed(job, worse, "b.csv"))


def test_two_plans_stand_side_by_side(quay: Job, good: str) -> None:
    pair = pair_of(quay, good)
    data = pair.as_dict()
    assert data["better"] == "A"
    assert data["passed"] == [True, False]
    assert data["trunks"] == [
        {
            "trunk": "QUAY",
            "a": "bottom-left, clockwise, 1 loop, divided at the tray",
            "b": "side, clockwise, 1 loop, divided at the tray",
        }
    ]
    assert {"fibres": "QUAY:217-288", "a": "right/2 as QUAY/2.2 of 2", "b": "right/3 as QUAY/2.2 of 2"} in data["legs"]
    assert {row["rule"] for row in data["findings"] if row["plan"] == "B"} >= {"no_empty_below", "divided_at_tray"}
    assert "A passes and B fails; A is better" in pair_words(pair)
    assert "QUAY:217-288" in pair_text(pair)
    page = compare_html(pair)
    whole(page)
    assert page.count("<svg") == 2
    assert '<td class="n">40,050</td>' in page
    assert "always holds" in page


@pytest.mark.parametrize("width", [820, 390])
def test_a_comparison_breaks_no_word_and_needs_no_more_than_the_width(
    quay: Job, good: str, width: int, tmp_path: Path
) -> None:
    file = tmp_path / "pair.html"
    file.write_text(compare_html(pair_of(quay, good)))
    with browser() as found:
        page = found.new_page(viewport={"width": width, "height": 1000})
        page.goto(file.as_uri())
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        lines = page.evaluate(
            "[...document.querySelectorAll('th')].filter(th => th.offsetParent).map(th => [th.innerText, th.clientHeight])"
        )
    assert {height for text, height in lines if " " not in text} == {min(height for _, height in lines)}


def test_a_plan_is_the_same_as_itself(quay: Job, good: str) -> None:
    pair = compare(quay, reviewed(quay, good), reviewed(quay, good))
    assert pair.as_dict()["better"] == "same"
    assert pair.legs() == pair.trunks() == pair.findings() == []


def test_another_division_is_a_difference_of_legs(quay: Job, good: str) -> None:
    finer = good.replace("EAST,1-72,left,1", "EAST,1-36,left,1").replace(
        "EAST,73-144,left,2,,,", "EAST,37-72,left,1,,,\nEAST,73-108,left,2,,,\nEAST,109-144,left,2,,,"
    )
    pair = compare(quay, reviewed(quay, good), reviewed(quay, finer))
    east = [row for row in pair.legs() if row["fibres"].startswith("EAST")]
    assert [row["fibres"] for row in east] == ["EAST:1-36", "EAST:37-72", "EAST:73-108", "EAST:109-144"]
    assert east[0] == {"fibres": "EAST:1-36", "a": "left/1 as EAST/1.1 of 2", "b": "left/1 as EAST/1.1 of 4"}
    assert east[1] == {"fibres": "EAST:37-72", "a": "left/1 as EAST/1.1 of 2", "b": "left/1 as EAST/1.2 of 4"}


def test_a_damaged_plan_cannot_be_compared(quay: Job, good: str) -> None:
    with pytest.raises(InputError, match="no such stack"):
        compare(quay, reviewed(quay, good), reviewed(quay, good.replace("left", "lefft")))


def test_a_mend_is_told_with_its_proof(quay: Job, good: str) -> None:
    mended = mend(
        quay, parse_handmade(quay, good.replace("144,left,2", "144,left,3").encode(), "plan.csv", lenient=True)
    )
    text = mended_text(mended)
    assert "changes: legs 2; total weight 2,000" in text
    assert "proven: no plan that keeps every must and what is built changes less" in text
    data = mended.as_dict()
    assert data["changes"]["legs"][0] == {"fibres": "QUAY:73-144", "from": "left/3", "to": ["left/2"]}
    json.dumps(data)


def test_rows_are_written_as_runs() -> None:
    assert rows_text([]) == ""
    assert rows_text([4]) == "row 4"
    assert rows_text([7, 2, 5, 6]) == "rows 2, 5-7"
    assert rows_text([2, 3]) == "rows 2-3"


def test_a_failing_tray_is_marked_and_no_text_of_the_picture_overlaps_another(quay: Job, good: str) -> None:
    """Text is 12 high in a picture of 800: readable on a page of 820."""
    review = reviewed(quay, good.replace("73-144,left,2", "73-144,left,4").replace("bottom-right", "side"))
    page = review_html(review)
    assert "Laser light in it is invisible" in page
    drawn = page[page.index("<svg") : page.index("</svg>")]
    assert 'viewBox="0 0 800 ' in drawn
    assert ".picture{" in page or "svg.picture{" in page
    assert ">4!</text>" in drawn
    assert "<title>left/4: fails: " in drawn
    assert ">2!</text>" not in drawn
    texts_are_apart(drawn)


def test_ports_side_by_side_and_at_the_side_keep_their_names_apart() -> None:
    """Three ports below and one at the right, with findings at them, in a box of three stacks."""
    job = load_job(shipped() / "standard" / "four-trunks-two-pairs-wall-3x8.yaml")
    rows = ["trunk,fibres,stack,position,port,travel,loops"]
    for trunk, port in (("N1", "bottom-middle"), ("S1", "bottom-right"), ("E1", "side"), ("W1", "bottom-middle")):
        rows.append(f"{trunk},1-72,left,1,{port},clockwise,1")
    review = reviewed(job, "\n".join(rows) + "\n")
    page = review_html(review)
    texts_are_apart(page[page.index("<svg") : page.index("</svg>")])


def texts_are_apart(drawn: str) -> None:
    """Hold that no text of a picture lies over another one, or beside the picture."""
    size = re.search(r'viewBox="0 0 (\d+) (\d+)"', drawn)
    assert size is not None
    width, height = float(size[1]), float(size[2])
    boxes = []
    for node in ElementTree.fromstring(drawn + "</svg>").iter("{http://www.w3.org/2000/svg}text"):
        words = node.text or ""
        wide = text_width(words, float(node.get("font-size", "12")))
        left = float(node.get("x", "")) - wide * {"middle": 0.5, "end": 1.0}.get(node.get("text-anchor", ""), 0.0)
        top = float(node.get("y", "")) - 5
        boxes.append((left, top, left + wide, top + 10, words))
    assert len(boxes) > 10
    for i, one in enumerate(boxes):
        assert one[0] >= 0
        assert one[2] <= width, one
        assert one[3] <= height, one
        for other in boxes[i + 1 :]:
            apart = one[2] <= other[0] or other[2] <= one[0] or one[3] <= other[1] or other[3] <= one[1]
            assert apart, (one, other)


def test_trays_that_opened_tubes_tie_have_a_bracket_beside_the_findings() -> None:
    job = load_job(shipped() / "standard" / "2x432-wall-1x6-two-loops.yaml")
    rows = [f"{trunk},{72 * i + 1}-{72 * i + 72},stack,{i + 1}" for trunk in ("N1", "S1") for i in range(6)]
    ways = ["N1,,,,bottom-left,cw,2", "S1,,,,bottom-right,ccw,2"]
    table = "\n".join(["trunk,fibres,stack,position,port,travel,loops", *(f"{row},,," for row in rows), *ways])
    review = reviewed(job, table)
    assert review.laid is not None
    drawn = picture(job, review.laid, review.remarks)
    assert re.findall(r"<title>tied by opened tubes: ([^<]*)</title>", drawn) == [
        f"stack/{i}, stack/{i + 1}" for i in (1, 3, 5)
    ]
    assert "trays of 144 ends" in drawn
    assert "N1 cw 2 tray" in drawn
