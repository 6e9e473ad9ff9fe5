"""What is written, what is refused, and what an older run left behind."""

from __future__ import annotations

import csv
import io
import json
import re
import sys
from html import unescape
from html.parser import HTMLParser
from pathlib import Path
from xml.etree import ElementTree

import pytest
from openpyxl import load_workbook

from tests.crewsheets.plans import STANDARD, WORKED, half, hostile, replanned, straight, worked
from trayopt.api import load_job
from trayopt.crewsheets.html import css_text, hardware_notes
from trayopt.crewsheets.settings import Settings, read_settings, settings_text
from trayopt.crewsheets.units import Teller
from trayopt.crewsheets.words import LANGUAGES, words_of
from trayopt.crewsheets.write import PARTS, Options, Sheets, fitting
from trayopt.domain.base import remade
from trayopt.domain.job import Job
from trayopt.domain.plan import Plan
from trayopt.errors import InputError
from trayopt.library.soundness import of_job


class Tags(HTMLParser):
    """Collects start tags and attributes, and the text of scripts."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.scripts = 0
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Keep a start tag."""
        self.tags.append((tag, dict(attrs)))
        self.scripts += tag == "script"


def test_every_file_is_there(tmp_path: Path) -> None:
    made = Sheets(*worked(), Options())
    written = made.write(tmp_path / "new" / "folder")
    found = {
        str(path.relative_to(tmp_path / "new" / "folder")) for path in (tmp_path / "new").rglob("*") if path.is_file()
    }
    assert found == set(written)
    lists = {f"{name}.csv" for names in PARTS.values() for name in names} - {"again.csv", "passing.csv"}
    assert lists | {"index.html", "lists.xlsx", "settings.yaml", "contents.json"} <= found
    assert sum(name.startswith("pictures/") for name in found) == 2 + 2 + 2


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("part", PARTS)
def test_every_part_alone_carries_a_line_of_safety(part: str, language: str) -> None:
    page = unescape(Sheets(*worked(), Options(only=(part,), language=language)).page())
    words = words_of(language)
    said = [name for name in PARTS if f'<p class="safety">{words(f"safety.{name}")}</p>' in page]
    assert said == [part]
    made = Sheets(*worked(), Options(only=(part,), language=language))
    # At the foot of every printed page of the workbook, and under every picture that stands alone.
    if made.workbook is not None and made.tables:
        for sheet in load_workbook(io.BytesIO(made.workbook)).worksheets:
            assert sheet.oddFooter is not None
            assert sheet.oddFooter.left.text == words(f"safety.{part}")
            assert next(sheet.iter_rows(max_row=1, values_only=True))[-1] == words(f"safety.{part}")
    # In every list it is the header of a last column that is empty.
    lists = [text.decode() for name, text in made.files().items() if name.endswith(".csv")]
    assert len(lists) == len(made.tables)
    for text in lists:
        head, *rows = csv.reader(io.StringIO(text, newline=""))
        assert head[-1] == words(f"safety.{part}")
        assert {(len(row), row[-1]) for row in rows} <= {(len(head), "")}
    pictures = [text.decode() for name, text in made.files().items() if name.endswith(".svg")]
    assert all(words("safety.page").partition(":")[0] in unescape(text) for text in pictures)
    # Above all parts, and in the margin of every printed page.
    assert words("page.warning") in page
    assert css_text(words("safety.page")) in page


def test_the_bend_of_trunks_is_told_and_checked_where_the_jacket_turns_in_the_box() -> None:
    # P 14 mm, Q 12 mm: 20 × 14 = 280, 20 × 12 = 240 mm; the port is 64 mm from its guide, the track bends to 80 mm.
    job, plan = worked()
    book = Sheets(job, plan, Options()).book
    tell = Teller(words_of("en"), "metric")
    said = list(hardware_notes(book, tell))
    assert "P 280 mm, Q 240 mm (20 × diameter, 7 CFR 1755.200)" in said[-1]
    assert not [line for line in said if "its jacket reaches" in line]
    for inside, told in ((64, 0), (65, 1)):
        trunks = [{**WORKED["trunks"][0], "transition_mm": -inside}, WORKED["trunks"][1]]
        other = load_job({**WORKED, "trunks": trunks})
        book = Sheets(*replanned(other, plan, job), Options()).book
        said = [line for line in hardware_notes(book, tell) if "its jacket reaches" in line]
        assert len(said) == told
    assert said[0].startswith(
        "P: its jacket reaches 65 mm into the box and turns at guide sw, where the track bends to 80"
    )


def test_unusual_hardware_is_printed_before_the_work() -> None:
    # Trays of 300 mm inside are too short for a splicer (common practice, no source: 600 mm).
    page = Sheets(*worked(), Options()).page()
    assert "Hardware t24: too short to reach a splicer (300 mm; usually 600 mm or more)" in page


def unusual() -> tuple[Job, Plan]:
    """Give the worked example with hardware of every kind that is unusual."""
    job, plan = worked()
    box = job.enclosure
    stack = box.stacks[0]
    tray = remade(stack.tray, sleeves=1, height_mm=2)
    ports = (*box.ports, remade(box.ports[0], id="third", x_mm=150, y_mm=10, seals=()))
    changed = remade(box, stacks=(remade(stack, tray=tray), *box.stacks[1:]), ports=ports)
    tubes = remade(job.tubes, tubes=(remade(job.tubes.tubes[0], least_radius_mm=20.5), *job.tubes.tubes[1:]))
    first, second = job.trunks
    cable = remade(first.cable, construction="central_tube", ribbon_mm=(1.25, 0.36))
    trunks = (remade(first, cable=cable), second)
    return replanned(remade(job, enclosure=changed, tubes=tubes, trunks=trunks), plan, job)


def test_what_is_unusual_is_said_in_the_language_of_the_sheets() -> None:
    job, plan = unusual()
    found = list(of_job(job))
    said = {key.removeprefix("remark.") for key in words_of("de").entries if key.startswith("remark.")}
    assert {remark.kind for _, remark in found} == said
    german, english = (unescape(Sheets(job, plan, Options(language=language)).page()) for language in ("de", "en"))
    for _, remark in found:
        assert remark.level == "warning"
        assert remark.message in english
        assert remark.message not in german
    assert "Bauteil t24: zu kurz, um ein Spleißgerät zu erreichen (300 mm; üblich sind 600 mm oder mehr)" in german
    assert "least_radius_mm ist ungewöhnlich (20,5 mm; üblich sind 38 mm oder mehr)" in german
    assert "der Eingang von Stapel left, Ende top, rechtsherum, liegt nicht am Rand seiner Kassetten (10 mm" in german
    assert "das Bändchen ist schmaler als seine Fasern (1,25 mm für 12 Fasern)" in german


def test_without_openpyxl_all_but_the_workbook_is_written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The plain installation has none: every list is there as CSV, and what is left out is told with what to install."""
    whole = set(Sheets(*worked(), Options()).files())
    monkeypatch.setitem(sys.modules, "openpyxl", None)
    made = Sheets(*worked(), Options())
    assert set(made.write(tmp_path)) == whole - {"lists.xlsx"} | {"contents.json"}
    assert made.left_out() == [
        "lists.xlsx is not written: openpyxl is not installed; pip install trayopt[xlsx]",
    ]
    assert Sheets(*worked(), Options(only=("box",))).left_out() == []


def test_the_same_plan_gives_the_same_bytes() -> None:
    assert Sheets(*worked(), Options(codes=True)).files() == Sheets(*worked(), Options(codes=True)).files()


@pytest.mark.parametrize("part", PARTS)
def test_only_one_part(part: str) -> None:
    made = Sheets(*half(), Options(only=(part,)))
    files = made.files()
    assert {name.removesuffix(".csv") for name in files if name.endswith(".csv")} == set(PARTS[part]) - {
        "again",
        "passing",
    }
    assert ("lists.xlsx" in files) == bool(PARTS[part])
    assert any(name.endswith(".svg") for name in files) == (part == "box")
    assert re.findall(r'<section class="view" id="(\w+)"', files["index.html"].decode()) == [part]


def test_what_an_older_run_wrote_is_taken_away(tmp_path: Path) -> None:
    Sheets(*straight("2x432-wall-2x6"), Options()).write(tmp_path)
    (tmp_path / "notes.txt").write_text("ours", encoding="utf-8")
    Sheets(*worked(), Options(only=("strip",))).write(tmp_path)
    left = {str(path.relative_to(tmp_path)) for path in tmp_path.rglob("*") if path.is_file()}
    assert left == {"index.html", "strip.csv", "marks.csv", "lists.xlsx", "settings.yaml", "contents.json", "notes.txt"}


def test_a_listing_cannot_name_files_elsewhere(tmp_path: Path) -> None:
    outside = tmp_path / "precious"
    outside.write_text("x", encoding="utf-8")
    folder = tmp_path / "sheets"
    folder.mkdir()
    names = ["../precious", str(outside), "pictures/../../precious", ".hidden"]
    (folder / "contents.json").write_text(json.dumps({"files": names}), encoding="utf-8")
    Sheets(*worked(), Options(only=("strip",))).write(folder)
    assert outside.exists()


def test_a_folder_that_cannot_be_written_is_an_input_error(tmp_path: Path) -> None:
    blocked = tmp_path / "file"
    blocked.write_text("x", encoding="utf-8")
    with pytest.raises(InputError, match="cannot be written"):
        Sheets(*worked(), Options(only=("strip",))).write(blocked)


def test_a_plan_of_another_job_is_refused() -> None:
    job = load_job({**WORKED, "rules": {"reach": {"bench_mm": 1801}}})
    with pytest.raises(InputError, match="made for another job"):
        fitting(job, worked()[1])


def test_a_plan_of_the_job_under_another_title_is_taken() -> None:
    fitting(load_job({**WORKED, "title": "changed"}), worked()[1])


def test_a_plan_with_a_wrong_figure_is_refused() -> None:
    job, plan = worked()
    leg = plan.legs[0].model_copy(update={"cut_mm": 2500})
    with pytest.raises(InputError, match="fails its check") as wrong:
        fitting(job, plan.model_copy(update={"legs": (leg, *plan.legs[1:])}))
    assert "cut_mm" in str(wrong.value)


def test_a_search_without_a_plan_is_refused() -> None:
    job, plan = worked()
    with pytest.raises(InputError, match="there is no plan"):
        fitting(job, plan.model_copy(update={"status": "none"}))


def test_a_right_plan_is_taken() -> None:
    for pair in (worked(), half(), straight("2x432-wall-2x6")):
        fitting(*pair)


def test_an_empty_plan_still_gives_sheets() -> None:
    from tests.crewsheets.plans import planned

    job = load_job(WORKED)
    plan = planned(job, {}, {})
    files = Sheets(job, plan, Options(codes=True)).files()
    assert "48 splices have no tray" in files["index.html"].decode()


def test_pages_need_nothing_from_outside() -> None:
    page = Sheets(*straight("2x432-wall-2x6"), Options(codes=True)).files()["index.html"].decode()
    for tag, attributes in Tags(page).tags:
        assert tag not in {"link", "img", "iframe", "object", "embed", "base"}
        assert "src" not in attributes
        href = attributes.get("href")
        assert href is None or href.startswith("#")
    assert "url(" not in page
    assert "@import" not in page


def test_no_name_breaks_out_of_the_page() -> None:
    job, plan = hostile()
    page = Sheets(job, plan, Options(codes=True)).files()["index.html"].decode()
    tags = Tags(page)
    assert tags.scripts == 2
    assert not [
        tag for tag, attributes in tags.tags if tag == "img" or any(name.startswith("on") for name in attributes)
    ]
    start = page.index('id="data">') + len('id="data">')
    data = json.loads(page[start : page.index("</script>", start)])
    assert [trunk["id"] for trunk in data["trunks"]] == [trunk.id for trunk in job.trunks]


def test_pictures_are_xml_whatever_they_are_called() -> None:
    for pair in (hostile(), half()):
        files = Sheets(*pair, Options(only=("box",))).files()
        pictures = {name: text for name, text in files.items() if name.endswith(".svg")}
        for name, text in pictures.items():
            assert re.fullmatch(r"pictures/\d{3}-[A-Za-z0-9.-]+\.svg", name)
            root = ElementTree.fromstring(text)
            assert root.tag == "{http://www.w3.org/2000/svg}svg"
            assert not list(root.iter("{http://www.w3.org/2000/svg}script"))


def test_the_page_is_small_enough() -> None:
    page = Sheets(*straight("2x1728-wall-3x8"), Options()).files()["index.html"]
    assert len(page) <= 3_000_000


def test_settings_read_back(tmp_path: Path) -> None:
    path = tmp_path / "settings.yaml"
    path.write_text(settings_text(Settings()), encoding="utf-8")
    assert read_settings(path) == Settings()


def test_settings_of_ones_own(tmp_path: Path) -> None:
    path = tmp_path / "settings.yaml"
    path.write_text("tests: {batch_fibres: 432, limit_db: 0.2, limit_source: our contract}\n", encoding="utf-8")
    made = Sheets(*straight("2x1728-wall-3x8"), Options(settings=read_settings(path)))
    assert made.tables["batches"].column("limit_source") == ["our contract"] * 4


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("tests: {batch_fibers: 432}", "batch_fibres"),
        ("labour: {two_people_factor: 0}", "above 0"),
        ("tests: {wavelengths_nm: [1310, 1310]}", "twice"),
        ("paces: {}", "paces"),
    ],
)
def test_wrong_settings_are_told(tmp_path: Path, text: str, told: str) -> None:
    path = tmp_path / "settings.yaml"
    path.write_text(text + "\n", encoding="utf-8")
    with pytest.raises(InputError) as wrong:
        read_settings(path)
    assert told in str(wrong.value)
    assert f"{path}:1:" in str(wrong.value)


def test_a_plan_document_goes_through_the_commands(tmp_path: Path) -> None:
    from tests.cli.run import trayopt
    from trayopt.formats.json_out import dump_rows

    job = STANDARD / "2x432-wall-2x6.yaml"
    _, plan = straight("2x432-wall-2x6")
    document = tmp_path / "plan.json"
    document.write_text(dump_rows(plan.plain()), encoding="utf-8")
    done = trayopt(
        "sheets",
        job,
        document,
        "-o",
        tmp_path / "out",
        "--only",
        "strip,tests",
        "--language",
        "de",
        "--units",
        "feet",
        "--qr",
    )
    assert (done.returncode, done.stderr) == (0, "")
    assert "index.html" in done.stdout
    text = (tmp_path / "out" / "tests.csv").read_text(encoding="utf-8")
    readings = tmp_path / "readings.csv"
    readings.write_text("fibre,wavelength_nm,a_to_b_db,b_to_a_db\nN1:1,1310,0.9,0.7\n", encoding="utf-8")
    done = trayopt("record", job, document, readings, "-o", tmp_path / "built", "--format", "json")
    answer = json.loads(done.stdout)
    assert done.returncode == 1
    assert answer["counts"] == {"pass": 0, "fail": 1, "open": 863}
    assert answer["again"][0]["fibre_a"] == "N1:1"
    assert Plan.model_validate_json((tmp_path / "built" / "plan.json").read_text(encoding="utf-8")) == plan
    done = trayopt("record", job, document, readings)
    assert "0 passed, 1 failed, 863 open" in done.stdout
    assert "over the limit:" in done.stdout
    over = done.stdout.splitlines()[-1]
    tied = next(group for group in plan.tied if answer["again"][0]["tray"] in group)
    assert all(place in over for place in tied), "what comes to the bench with the tray is named beside it"
    assert "\nSafety: every tray is in service. Get a written release" in done.stdout
    done = trayopt("record", job, document, tmp_path / "out" / "tests.csv", "-q")
    assert (done.returncode, done.stdout) == (1, "0 passed, 0 failed, 864 open\n")
    assert text.startswith("Los,Kassette")


def test_commands_tell_what_is_wrong(tmp_path: Path) -> None:
    from tests.cli.run import trayopt
    from trayopt.formats.json_out import dump_rows

    document = tmp_path / "plan.json"
    document.write_text(dump_rows(worked()[1].plain()), encoding="utf-8")
    job = STANDARD / "2x432-wall-2x6.yaml"
    done = trayopt("sheets", job, document, "-o", tmp_path / "out")
    assert (done.returncode, done.stdout) == (2, "")
    assert "made for another job" in done.stderr
    assert not (tmp_path / "out").exists()
    done = trayopt("sheets", job, document, "-o", tmp_path / "out", "--only", "walls")
    assert done.returncode == 2
    assert "no such part: walls" in done.stderr
    done = trayopt("sheets", job, "plan.csv", "-o", tmp_path / "out")
    assert done.returncode == 2
    assert "trayopt check" in done.stderr


def test_a_plan_with_trouble_is_written_and_answered_with_no(tmp_path: Path) -> None:
    from tests.cli.run import trayopt
    from trayopt.formats.json_out import dump, dump_rows

    _, plan = half()
    data = {**WORKED, "title": "half", "trunks": [*WORKED["trunks"], {**WORKED["trunks"][1], "id": "R"}]}
    data["joins"] = [
        {"a": "P:1-12", "b": "Q:1-12", "name": "east"},
        {"a": "P:25-28", "b": "R:1-4", "name": "west"},
    ]
    (tmp_path / "job.yaml").write_text(dump(data), encoding="utf-8")
    (tmp_path / "plan.json").write_text(dump_rows(plan.plain()), encoding="utf-8")
    done = trayopt("sheets", tmp_path / "job.yaml", tmp_path / "plan.json", "-o", tmp_path / "out")
    assert done.returncode == 1
    assert "4 splices have no tray" in done.stderr
    assert (tmp_path / "out" / "index.html").exists()


@pytest.mark.parametrize("language", LANGUAGES)
def test_a_list_of_jackets_without_a_row_says_why(language: str) -> None:
    page = Sheets(*straight("2x576-half-built-wall-2x6"), Options(language=language)).files()["index.html"].decode()
    assert words_of(language)("strip.none") in unescape(page)
    assert f">{words_of(language)('list.strip')}<" not in unescape(page)
