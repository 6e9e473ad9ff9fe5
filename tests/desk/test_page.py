"""The page in a real browser: by mouse and by keys alone, on wide and narrow screens, in two languages, open to everybody."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import pytest
from playwright.sync_api import expect

from tests.crewsheets.browser import axe, browser
from tests.desk.conftest import Serve
from trayopt.desk.server import Served
from trayopt.desk.words import LANGUAGES, words_of

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

WIDTHS = (1280, 820, 390)


@pytest.fixture(scope="module")
def started() -> Iterator[Browser]:
    with browser() as found:
        yield found


class Opened:
    """A page of a desk with everything that its console said; it may ask the desk alone."""

    def __init__(
        self, started: Browser, served: Served, width: int = 1280, language: str = "en", view: str = "plan"
    ) -> None:
        scheme: Literal["dark", "light"] = "dark" if width == 820 else "light"
        self.context = started.new_context(viewport={"width": width, "height": 900}, color_scheme=scheme)
        self.served = served
        self.said: list[str] = []
        self.asked: set[str] = set()
        self.page: Page = self.context.new_page()
        self.page.on("console", lambda message: self.said.append(message.text))
        self.page.on("pageerror", lambda error: self.said.append(str(error)))
        self.page.on("request", lambda request: self.asked.add(request.url))
        self.page.goto(f"{served.address}?lang={language}#{view}")
        self.page.wait_for_selector(".goals")

    def __enter__(self) -> Page:
        return self.page

    def __exit__(self, *wrong: object) -> None:
        self.context.close()
        if wrong[0] is None:
            assert self.said == []
            assert all(url.startswith((self.served.address, "data:,")) for url in self.asked)


Open = Callable[..., Opened]


@pytest.fixture
def opened(started: Browser) -> Open:
    def make(served: Served, **options: Any) -> Opened:
        return Opened(started, served, **options)

    return make


def lies(page: Page, leg: str, place: str) -> None:
    """Wait until a leg lies at a place, and the goals are those of that plan."""
    page.wait_for_selector(f'[data-place="{place}"] [data-leg="{leg}"]')


def now(page: Page, goal: str) -> str:
    row = page.locator("table.goals tbody tr", has=page.locator(f'th[title="{goal}"]'))
    return row.locator("td b").inner_text()


def says(page: Page, selector: str, text: str) -> None:
    """Wait until a part of the page says a text."""
    expect(page.locator(selector)).to_contain_text(text)


def can_undo(page: Page) -> None:
    """Wait until there is a step to undo."""
    expect(page.locator("#undo")).to_be_enabled()


def paste(page: Page, cell: str, text: str) -> None:
    """Paste into a cell what a spreadsheet would put on the clipboard."""
    page.locator(f'[data-key="{cell}"]').focus()
    page.evaluate(
        """text => {
        const data = new DataTransfer();
        data.setData("text/plain", text);
        const paste = new ClipboardEvent("paste", {clipboardData: data, bubbles: true, cancelable: true});
        document.activeElement.dispatchEvent(paste);
    }""",
        text,
    )


def test_a_leg_is_dragged_and_all_follows(opened: Open, serve: Serve) -> None:
    with opened(serve()) as page:
        assert now(page, "Trays in use") == "6"
        page.locator('[data-leg="N1/3.2"]').drag_to(page.locator('[data-place="right/3"]'))
        lies(page, "S1/3.2", "right/3")
        assert page.locator(".findings li.always").count() > 0
        assert page.locator("#files").inner_text().endswith("not saved: job-plan.json")
        page.keyboard.press("Control+z")
        lies(page, "N1/3.2", "left/4")
        page.keyboard.press("Control+Shift+z")
        lies(page, "N1/3.2", "right/3")
        page.click("#undo")
        lies(page, "N1/3.2", "left/4")
        assert page.locator("#undo").is_disabled()


def test_the_trays_of_a_finding_are_marked_until_the_plan_changes(opened: Open, serve: Serve) -> None:
    with opened(serve()) as page:
        page.locator('[data-leg="N1/3.2"]').drag_to(page.locator('[data-place="left/6"]'))
        page.locator("#findings button.as-link").first.click()
        assert page.locator(".tray.shown").count() > 0
        page.keyboard.press("Control+z")
        lies(page, "N1/3.2", "left/4")
        assert page.locator(".tray.shown").count() == 0


def test_keys_alone_move_a_leg_lock_it_and_save(opened: Open, serve: Serve, folder: Path) -> None:
    with opened(serve()) as page:
        page.locator('.chip[tabindex="0"]').focus()
        first = page.evaluate("document.activeElement.dataset.leg")
        page.keyboard.press("ArrowRight")
        leg = page.evaluate("document.activeElement.dataset.leg")
        assert leg != first
        at = page.evaluate("document.activeElement.closest('[data-place]').dataset.place")
        page.keyboard.press("Enter")
        assert page.locator(f'[data-leg="{leg}"]').get_attribute("aria-pressed") == "true"
        for _ in range(3):
            page.keyboard.press("ArrowUp")
        stack, position = at.split("/")
        lies(page, leg, f"{stack}/{min(6, int(position) + 3)}")
        assert page.evaluate("document.activeElement.dataset.leg") == leg
        assert f"{leg}: {stack}/" in page.locator("#told").inner_text()
        page.locator('[data-key="lock"]').focus()
        page.keyboard.press("Space")
        says(page, "#files", "job.yaml, job-plan.json")
        page.keyboard.press("Control+s")
        says(page, "#files", "job-plan.json · saved")
        assert "pins:" in (folder / "job.yaml").read_text(encoding="utf-8")
        page.locator(f'[data-leg="{leg}"]').focus()
        page.keyboard.press("Delete")
        lies(page, leg, "")
        page.keyboard.press("Escape")
        assert page.locator('[aria-pressed="true"].chip').count() == 0


def test_a_tap_on_a_tray_puts_the_leg_there(opened: Open, serve: Serve) -> None:
    with opened(serve(), width=390) as page:
        page.click('[data-leg="N1/3.2"]')
        page.click('[data-key="tray left/6"]')
        lies(page, "N1/3.2", "left/6")
        assert page.locator("#brief").is_visible()


def test_a_lock_that_is_refused_is_taken_back(opened: Open, serve: Serve) -> None:
    there = opened(serve())
    with there as page:
        page.select_option('[data-key="loops N1"]', "3")
        can_undo(page)
        page.click('[data-key="lock N1"]')
        says(page, "#notes", "is not among trunk N1's own")
        expect(page.locator('[data-key="lock N1"]')).not_to_be_checked()
        there.said.clear()  # the browser tells of an answer that is no yes


def test_a_way_is_changed_and_a_better_plan_is_told(opened: Open, serve: Serve) -> None:
    with opened(serve()) as page:
        before = now(page, "Sum of the lengths to cut")
        page.select_option('[data-key="loops N1"]', "2")
        page.wait_for_selector('[data-key="loops N1"] option[value="2"]:checked', state="attached")
        can_undo(page)
        assert now(page, "Sum of the lengths to cut") != before


def test_rows_come_from_a_spreadsheet_and_faults_stand_at_their_cells(opened: Open, serve: Serve) -> None:
    with opened(serve(), view="job") as page:
        block = "a\tb\tname\nN1:1-144\tS1:1-144\teast\nN1:145-432\tS1:145-432\twest"
        paste(page, "joins 0 a", block)
        expect(page.locator('[data-key="joins 1 name"]')).to_have_value("west")
        known = page.locator("#known-cable option").evaluate_all("options => options.map((option) => option.value)")
        assert "ribbon-432-3x144" in known
        assert page.get_attribute('[data-key="trunks 1 cable"]', "list") == "known-cable"
        page.fill('[data-key="trunks 1 exposed_mm"]', "far")
        page.keyboard.press("Tab")
        wrong = page.locator('[data-key="trunks 1 exposed_mm"][aria-invalid="true"]')
        wrong.wait_for()
        assert "allowed: a whole number" in (wrong.get_attribute("title") or "")
        page.click("#faults button")
        assert page.evaluate("document.activeElement.dataset.key") == "trunks 1 exposed_mm"
        page.fill('[data-key="trunks 1 exposed_mm"]', "6000")
        page.keyboard.press("Tab")
        page.wait_for_selector("#faults .note", state="detached")
        assert page.evaluate("document.activeElement.dataset.key") == "trunks 1 transition_mm"


def test_what_a_paste_cannot_place_is_told_and_hidden_columns_take_nothing(opened: Open, serve: Serve) -> None:
    """German headers on an English page, a column that nobody knows, an empty row, a quoted cell, cells beyond the last."""
    with opened(serve(), view="job") as page:
        block = (
            'Kabel\tBemerkung\tKabeltyp\tfrei mm\r\nN1\t"first\r\nline"\tribbon-432-3x144\t6.000,5\r\n'
            "\t\t\t\r\nS1\t\tribbon-432-3x144\t6000\r\n"
        )
        paste(page, "trunks 0 id", block)
        says(page, "#notes", "Not read, because no column has this name: Bemerkung.")
        page.wait_for_selector('[data-key="trunks 0 exposed_mm"][aria-invalid="true"]')
        expect(page.locator('[data-key="trunks 1 exposed_mm"]')).to_have_value("6000")
        page.click("#undo")
        page.wait_for_selector("#faults .note", state="detached")
        paste(page, "trunks 1 divide_at", "port\tcoiled\t24\tyes")
        says(page, "#notes", "2 cells lay beyond the last column and were not read.")
        expect(page.locator('[data-key="trunks 1 divide_at"]')).to_have_value("port")
        assert page.locator('[data-key="trunks 1 ribbons"]').count() == 0


def test_a_faulty_parameter_is_told_at_its_own_cell_and_undone_from_there(opened: Open, serve: Serve) -> None:
    """The wrong value stays to be seen; Ctrl+Z in a cell that is as it was drawn takes the last step back."""
    with opened(serve(), view="job") as page:
        page.locator('[data-key="table rules"] > summary').click()
        page.fill('[data-key="rule reach bench_mm"]', "near")
        page.keyboard.press("Tab")
        wrong = page.locator('[data-key="rule reach bench_mm"][aria-invalid="true"]')
        wrong.wait_for()
        assert wrong.input_value() == "near"
        assert page.locator('[data-key="rule reach"][aria-invalid="true"]').count() == 0
        page.click("#faults button")
        assert page.evaluate("document.activeElement.dataset.key") == "rule reach bench_mm"
        page.keyboard.type("x")
        page.keyboard.press("Control+z")
        expect(wrong).to_have_value("near")
        page.keyboard.press("Control+z")
        page.wait_for_selector("#faults .note", state="detached")
        expect(page.locator('[data-key="rule reach bench_mm"]')).to_have_value("2000")


def test_hardware_is_corrected_by_keys_and_the_library_stays(opened: Open, serve: Serve, folder: Path) -> None:
    with opened(serve(), view="hardware") as page:
        bore = page.locator('[data-key$="ports.0.bore_mm"]')
        bore.fill("2")
        page.keyboard.press("Tab")
        page.wait_for_selector("#parts .note.bad")
        bore.fill("60")
        page.keyboard.press("Tab")
        page.wait_for_selector("#parts .note.bad", state="detached")
        says(page, "#files", "not saved: job.yaml, wall-2x6.yaml")
        page.locator("#parts .drawn summary").first.click()
        page.wait_for_selector("#parts .drawing svg")
        page.keyboard.press("Control+s")
        says(page, "#files", "job-plan.json · saved")
        assert "bore_mm: 60" in (folder / "wall-2x6.yaml").read_text(encoding="utf-8")


def test_what_is_in_service_is_moved_only_after_a_warning(opened: Open, serve: Serve, folder: Path) -> None:
    job = (folder / "job.yaml").read_text(encoding="utf-8")
    pins = 'pins: [{leg: "N1:361-432", stack: left, position: 4, built: true}]\n'
    (folder / "job.yaml").write_text(job.replace(", name: through", "") + pins, encoding="utf-8")
    there = opened(serve())
    with there as page:
        page.locator('[data-leg="S1/3.2"]').drag_to(page.locator('[data-place="left/6"]'))
        says(page, "#notes", "N1:361-432: built and in service. Live circuits: join 0 (72).")
        lies(page, "N1/3.2", "left/4")
        page.click('[data-key="move live"]')
        lies(page, "N1/3.2", "left/6")
        there.said.clear()  # the browser tells of an answer that is no yes


def test_a_search_runs_behind_the_page_and_sheets_are_written(opened: Open, serve: Serve, folder: Path) -> None:
    with opened(serve()) as page:
        page.click('[data-leg="N1/3.2"]')
        page.keyboard.press("Delete")
        page.click('[data-key="solve"]')
        page.wait_for_selector("#search .note.good", timeout=100_000)
        assert page.locator(".verdict").inner_text() == (
            "Every splice has a tray, every must is kept, and no plan is better on the first goal on which the two "
            "differ: proven."
        )
        page.click('[data-view="why"]')
        page.click('[data-key="compare"]')
        assert "Both are equally good." in page.locator("#reasons .answer").inner_text()
        page.click('[data-view="print"]')
        page.select_option('[data-key="language"]', "de")
        page.click('[data-key="write"]')
        page.wait_for_selector("#sheets .note", timeout=60_000)
        assert 'lang="de"' in (folder / "job-sheets" / "index.html").read_text(encoding="utf-8")
        assert (
            page.request.get(f"{page.url.split('?')[0]}sheet").headers["content-security-policy"].startswith("sandbox")
        )


def test_two_pages_and_a_changed_file_are_told_of_each_other(opened: Open, serve: Serve, folder: Path) -> None:
    served = serve()
    with opened(served) as one, opened(served) as other:
        one.locator('[data-leg="N1/3.2"]').drag_to(one.locator('[data-place="left/6"]'))
        lies(other, "N1/3.2", "left/6")
        file = folder / "job.yaml"
        file.write_text(file.read_text(encoding="utf-8").replace("2 x 432", "their title"), encoding="utf-8")
        one.get_by_text("Changed on the disk since it was opened: job.yaml.").wait_for()
        one.fill('[data-key="limit"]', "5")
        one.click('[data-view="job"]')
        one.fill('[data-key="head title"]', "my title")
        one.keyboard.press("Tab")
        says(one, "#title", "my title")
        one.click("#save")
        says(one, "#notes", "was changed by somebody else")
        assert "their title" in file.read_text(encoding="utf-8")
        one.get_by_role("button", name="Take the file from the disk").last.click()
        says(one, "#title", "their title")
        one.click("#undo")
        says(one, "#title", "my title")


def focused(page: Page) -> str:
    return str(
        page.evaluate(
            "document.activeElement.dataset.view ?? document.activeElement.dataset.key ?? document.activeElement.id"
        )
    )


def test_the_views_are_a_few_keys_away_from_the_end_of_the_longest_table(opened: Open, serve: Serve) -> None:
    """From the last cell of the rules, from the goals, and from the top: by links that keys come to, and by Escape."""
    with opened(serve(), view="job") as page:
        page.locator('[data-key="table rules"] > summary').click()
        last = page.locator('[data-key="table rules"] :is(input, select):not(:disabled)').last
        last.focus()
        for key in ("Tab", "Enter"):
            page.keyboard.press(key)
        assert focused(page) == "job"
        page.locator("#judged").focus()
        page.keyboard.press("Shift+Tab")
        page.keyboard.press("Enter")
        assert focused(page) == "job"
        last.focus()
        last.press("Control+a")
        page.keyboard.type("7")
        page.keyboard.press("Escape")
        assert focused(page) == last.get_attribute("data-key")
        assert last.input_value() == last.evaluate("cell => cell.defaultValue")
        page.keyboard.press("Escape")
        assert focused(page) == "job"
        assert page.url.endswith("#job")


def test_tables_are_passed_by_a_key_and_the_first_links_lead_to_all_parts(opened: Open, serve: Serve) -> None:
    with opened(serve(), view="job") as page:
        page.locator('[data-key="table trunks"] > summary').focus()
        for name in ("joins", "apart", "pins", "rules"):
            page.keyboard.press("Tab")
            page.keyboard.press("Enter")
            head = page.locator(f'[data-key="table {name}"] > summary')
            assert head.evaluate("head => head === document.activeElement")
        page.keyboard.press("Tab")  # the rules are closed
        page.keyboard.press("Enter")
        assert focused(page) == "job"
        links = page.locator("body :is(a, button, input)")
        for i, part in enumerate(("work", "job", "judged")):
            assert links.nth(i).evaluate("link => link.matches('nav.skips a')"), "before everything else on the page"
            links.nth(i).focus()
            page.keyboard.press("Enter")
            assert focused(page) == part


def test_a_desk_that_is_gone_is_told(opened: Open, serve: Serve) -> None:
    served = serve()
    there = opened(served)
    served.__exit__()
    there.page.click('[data-leg="N1/3.2"]')
    there.page.keyboard.press("ArrowUp")
    says(there.page, "#notes", "The desk does not answer.")
    there.context.close()


@pytest.mark.parametrize(
    ("width", "language"),
    [
        pytest.param(width, language, marks=[pytest.mark.slow] * ((i + j) % 2 or width == max(WIDTHS)))
        for i, width in enumerate(WIDTHS)
        for j, language in enumerate(reversed(LANGUAGES))
    ],
)
def test_every_view_is_open_to_everybody_and_fits(opened: Open, serve: Serve, width: int, language: str) -> None:
    served = serve()
    script = axe()
    with opened(served, width=width, language=language) as page:
        assert page.locator("html").get_attribute("lang") == language
        page.locator('[data-leg="N1/3.2"]').click()
        page.keyboard.press("ArrowUp")
        can_undo(page)
        page.wait_for_selector("#pictures svg")
        page.evaluate(script)
        for view in ("plan", "job", "hardware", "why", "print"):
            page.click(f'[data-view="{view}"]')
            page.wait_for_selector(f"section#{view} :is(table, .acts):visible")
            closed = page.locator("details:visible:not([open]) > summary")
            while closed.count():
                closed.first.click()
            found = page.evaluate(
                "axe.run({runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice']})"
            )
            assert [(each["id"], [node["html"] for node in each["nodes"]]) for each in found["violations"]] == [], view
            assert page.evaluate("document.documentElement.scrollWidth") <= width, view


@pytest.mark.parametrize("language", LANGUAGES)
def test_both_languages_say_the_same_things(language: str) -> None:
    entries, first = words_of(language).entries, words_of("en").entries
    assert entries.keys() == first.keys()
    fields = {key: sorted(set(_fields(text))) for key, text in entries.items()}
    assert fields == {key: sorted(set(_fields(text))) for key, text in first.items()}
    assert "</" not in json.dumps(entries)


def _fields(text: str) -> list[str]:
    return [part.partition("}")[0] for part in text.split("{")[1:]]
