"""Pictures of hardware: every text where it can be read, everything at its place, and what is assumed marked as such."""

from __future__ import annotations

import re
from itertools import pairwise
from pathlib import Path
from tempfile import TemporaryDirectory
from xml.etree import ElementTree

import pytest
from hypothesis import HealthCheck, given, reject, settings
from hypothesis import strategies as st

from tests.cli.run import trayopt
from tests.library.starters.test_starters import BOX, made
from trayopt.api import hardware_picture as drawn_svg
from trayopt.api import load_job
from trayopt.cli.exitcodes import Exit
from trayopt.domain.base import remade
from trayopt.domain.cable import Cable, SubunitGroup
from trayopt.domain.hardware import Enclosure, Stack
from trayopt.errors import InputError
from trayopt.library.assumed import assumed
from trayopt.library.entries import Entry, survey
from trayopt.library.find import Library, shipped
from trayopt.library.starters import starter
from trayopt.pictures import svg
from trayopt.pictures.base import Picture
from trayopt.pictures.doubts import Doubts
from trayopt.pictures.hardware import hardware_picture
from trayopt.pictures.job import job_picture
from trayopt.pictures.side import profile_of, views_of
from trayopt.pictures.svg import svg_text

ENTRIES = survey(Library()).entries


def readable(picture: Picture) -> None:
    """Hold that no text leaves the picture or covers another one."""
    assert [text.text for text in picture.outside()] == []
    assert [(a.text, b.text) for a, b in picture.overlaps()] == []


def words(picture: Picture) -> str:
    return "\n".join(text.full or text.text for text in picture.texts)


@pytest.mark.parametrize("entry", ENTRIES, ids=lambda entry: f"{entry.kind} {entry.model.id}")
def test_every_entry_is_drawn_readably(entry: Entry) -> None:
    picture = hardware_picture(entry.model)
    readable(picture)
    assert entry.model.id in words(picture)
    assert "assumed" not in words(picture)
    ElementTree.fromstring(svg_text(picture))


@pytest.mark.parametrize("box", [e.model for e in ENTRIES if isinstance(e.model, Enclosure)], ids=lambda box: box.id)
def test_a_box_is_drawn_to_scale_with_all_its_parts(box: Enclosure) -> None:
    picture = hardware_picture(box)
    case, *_ = (item.rect for item in picture.boxes if item.kind == "case")
    scale = case.width / box.size_mm[0]
    assert case.height == pytest.approx(box.size_mm[1] * scale)
    guides = {dot.keys["guide"]: (dot.x, dot.y) for dot in picture.dots if dot.kind == "guide"}
    for guide in box.track.guides:
        at = case.x + guide.x_mm * scale, case.bottom - guide.y_mm * scale
        assert guides[guide.id] == pytest.approx(at)
        assert f"\n{guide.id}\n" in f"\n{words(picture)}\n"
    assert {dot.keys["port"] for dot in picture.dots if dot.kind.startswith("port")} == {port.id for port in box.ports}
    side = [item.rect for item in picture.boxes if item.kind == "case"][1]
    across, up = side.width / box.size_mm[2], side.height / box.size_mm[1]
    assert across == pytest.approx(up), "the view from the side is to scale, too"
    slabs = {str(item.keys["tray"]): item.rect for item in picture.boxes if item.kind == "slab"}
    for stack in box.stacks:
        like = next(
            other for other in box.stacks if f"{other.id}/1" in slabs and profile_of(other) == profile_of(stack)
        )
        for position, tray in enumerate(stack.by_position, 1):
            slab = slabs[f"{like.id}/{position}"]
            assert side.holds(slab)
            assert (side.right - slab.right) / across == pytest.approx(stack.z_mm(position)), "from the back plate"
            assert (side.bottom - slab.bottom) / up == pytest.approx(stack.at_mm[1]), "as high as it hangs"
            assert slab.height / up == pytest.approx(tray.size_mm[1])
    assert "from the right side" in words(picture)
    beside = {text.text: text.x for text in picture.texts if text.text in {"door", "back plate"}}
    assert beside["door"] < side.x < side.right < beside["back plate"], (
        "who stands at the right has the door on the left"
    )


def test_no_stack_hides_one_that_looks_different_from_the_side() -> None:
    """Three stacks in a row and a short one over another: alike ones share a view, what would be hidden has its own."""
    box = next(e.model for e in ENTRIES if e.model.id == "wall-2x10")
    assert isinstance(box, Enclosure)
    left, right = box.stacks
    deeper = remade(left, id="deeper", base_z_mm=left.base_z_mm + 5)
    above = remade(left, id="above", at_mm=(left.at_mm[0], 520), positions=2)
    views = views_of((left, right, deeper, above))
    assert [sorted(stack.id for stacks in view.values() for stack in stacks) for view in views] == [
        ["above", "left", "right"],
        ["deeper"],
    ]
    picture = hardware_picture(remade(box, stacks=(left, remade(right, base_z_mm=right.base_z_mm + 5))))
    readable(picture)
    assert sum(item.kind == "case" for item in picture.boxes) == 3
    assert sum(item.kind == "slab" for item in picture.boxes) == left.positions + right.positions
    assert [text.text for text in picture.texts].count("from the right side") == 2


def test_a_deep_box_has_its_views_below_and_a_flat_one_beside() -> None:
    """So that the front stays large: 400 mm deep with five kinds of stacks, and 180 mm deep with two stacks alike."""
    box = next(e.model for e in ENTRIES if e.model.id == "wall-2x10")
    assert isinstance(box, Enclosure)
    for stacks, depth, beside in ((box.stacks, 180, True), (_unlike(box), 400, False)):
        picture = hardware_picture(remade(box, stacks=stacks, size_mm=(500, 700, depth)))
        readable(picture)
        front, *sides = [item.rect for item in picture.boxes if item.kind == "case"]
        assert len(sides) == (1 if beside else 5)
        assert all((side.y == front.y) == beside for side in sides)
        assert not any(a.meets(b) for a, b in pairwise(sides))
        assert all(picture.frame.holds(side) for side in sides)
        assert front.width >= 0.65 * 307


def _unlike(box: Enclosure) -> tuple[Stack, ...]:
    """Make five stacks of one, each of which stands nearer to the door than the one before."""
    return tuple(remade(box.stacks[0], id=f"s{i}", base_z_mm=15 + 20 * i) for i in range(5))


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.filter_too_much])
@given(
    stacks=st.integers(1, 4), trays=st.integers(1, 20), below=st.integers(1, 5), above=st.integers(0, 3),
    left=st.integers(0, 3), right=st.integers(0, 2), more=st.integers(0, 600),
)  # fmt: skip
def test_a_box_from_a_tape_is_drawn_readably(
    stacks: int, trays: int, below: int, above: int, left: int, right: int, more: int
) -> None:
    answers = BOX | {
        "size": f"{120 + stacks * 150 + more}x{520 + more}x{60 + trays * 12}", "stacks": str(stacks), "trays": str(trays),
        "bottom": f"{below}x32", "top": f"{above}x20" if above else "0",
        "left": f"{left}x32" if left else "0", "right": f"{right}x32" if right else "0",
    }  # fmt: skip
    try:
        text = starter("enclosure", "mine", answers, Library(), Path())
    except InputError:  # too many ports for the walls
        reject()
    with TemporaryDirectory() as folder:
        path = Path(folder) / "mine.yaml"
        path.write_text(text, encoding="utf-8")
        box = survey(Library(), [path]).entries[0].model
        picture = hardware_picture(box, Doubts(assumed(path)))
    readable(picture)
    ports = {text.full or text.text for text in picture.texts if text.kind == "port-name"}
    assert isinstance(box, Enclosure)
    assert ports == {port.id for port in box.ports}


@given(
    st.lists(st.integers(1, 24), min_size=1, max_size=3), st.floats(0.5, 9.9), st.floats(10, 40)
)  # fmt: skip
def test_as_many_subunits_are_drawn_as_there_are(counts: list[int], across: float, diameter: float) -> None:
    groups = tuple(SubunitGroup(count=n, ribbons=1, ribbon_fibres=1, diameter_mm=across) for n in counts)
    cable = Cable(id="c", construction="loose_tube", diameter_mm=diameter, subunits=groups)
    picture = hardware_picture(cable)
    assert sum(disc.kind == "subunit" for disc in picture.discs) == sum(counts)


def test_what_is_assumed_is_marked_and_listed(tmp_path: Path) -> None:
    path = tmp_path / "mine.yaml"
    path.write_text(starter("enclosure", "mine", BOX, Library(), tmp_path), encoding="utf-8")
    box = survey(Library(), [path]).entries[0].model
    picture = hardware_picture(box, Doubts(assumed(path)))
    told = {*words(picture).splitlines(), *(text.text for text in picture.texts)}
    for line in (
        "nw*", "track 15-100*", "55, 0*", "clockwise*",
        "* assumed, not measured: correct it in the file and take the word away",
        "ports bottom-left, bottom-middle, bottom-right, left-side: guide, seals, turns, x_mm, y_mm",
        "stacks left, right: at_mm, base_z_mm, ends, pitch_mm",
        "track: guides, min_radius_mm, z_mm",
    ):  # fmt: skip
        assert line in told


def test_what_is_assumed_of_mixed_trays_is_listed(tmp_path: Path) -> None:
    path = tmp_path / "mine.yaml"
    path.write_text(
        starter("enclosure", "mine", {**BOX, "mixed": "5-6:single-48"}, Library(), tmp_path), encoding="utf-8"
    )
    box = survey(Library(), [path]).entries[0].model
    assert "stacks trays left, right: pitch_mm" in words(hardware_picture(box, Doubts(assumed(path)))).splitlines()


def drawn(folder: Path, name: str, answers: dict[str, str]) -> Picture:
    """Draw a box from answers, with what its file calls assumed."""
    path = folder / f"{name}.yaml"
    path.write_text(starter("enclosure", name, answers, Library([folder]), folder), encoding="utf-8")
    box = survey(Library([folder]), [path]).entries[0].model
    return hardware_picture(box, Doubts(assumed(path)))


def test_stacks_of_narrow_trays_are_named_whole_and_in_the_order_of_the_box(tmp_path: Path) -> None:
    """Twelve stacks of trays that are 38 mm wide: their names stand upright, and none was cut."""
    thin = starter("tray", "thin", {"fibres": "12", "sleeve": "1", "size": "38x150x10"}, Library(), tmp_path)
    (tmp_path / "thin.yaml").write_text(thin, encoding="utf-8")
    answers = {"size": "700x500x120", "stacks": "12", "trays": "8", "tray": "thin", "ring": "40", "bottom": "7x32"}
    picture = drawn(tmp_path, "narrow", answers)
    readable(picture)
    named = {text.text: text for text in picture.texts if text.kind == "name"}
    assert all(named[f"stack-{n}"].upright for n in range(1, 13))
    assert 'transform="rotate(-90 ' in svg_text(picture)
    (line,) = (text.text for text in picture.texts if text.text.startswith("stacks "))
    assert line.startswith(f"stacks {', '.join(f'stack-{n}' for n in range(1, 10))}")
    marks = [(dot.x, dot.y) for dot in picture.dots if dot.kind == "guide"]
    for text in picture.texts:
        if text.kind == "guide-name":
            assert not any(text.rect.x < x < text.rect.right and text.rect.y < y < text.rect.bottom for x, y in marks)


def test_each_kind_of_tray_of_a_mixed_stack_is_written_out(tmp_path: Path) -> None:
    mixed = "1-2:ribbon-72,6:single-48,8:ribbon-72"
    answers = BOX | {"size": "480x560x170", "trays": "8", "tray": "ribbon-96", "mixed": mixed}
    picture = drawn(tmp_path, "mixed", answers)
    readable(picture)
    figures = [text.text for text in picture.texts if text.kind == "figure"]
    assert not any("…" in figure for figure in figures)
    assert "2 x ribbon-72, 3 x ribbon-96, 1 x single-48, 1 x ribbon-96 and 1 x ribbon-72" in " ".join(figures)
    (line,) = (text.text for text in picture.texts if text.text.startswith("stacks trays"))
    assert line == "stacks trays left, right: pitch_mm"


def test_what_was_corrected_is_no_longer_assumed(tmp_path: Path) -> None:
    path = tmp_path / "mine.yaml"
    text = starter("enclosure", "mine", BOX, Library(), tmp_path)
    path.write_text(re.sub(r"(guides:.*)assumed", r"\1measured", text), encoding="utf-8")
    box = survey(Library(), [path]).entries[0].model
    picture = hardware_picture(box, Doubts(assumed(path)))
    assert {text.text for text in picture.texts if text.kind == "guide-name"} >= {"nw", "ne", "se", "sw"}
    assert "track: min_radius_mm, z_mm" in words(picture).splitlines()


def test_only_comments_behind_values_count(tmp_path: Path) -> None:
    path = tmp_path / "a.yaml"
    path.write_text(
        "# assumed: nothing\nkind: tray  # assumed\nid: a  # not assumed\nsize_mm: [1, 2]  # assumed: both\n"
        "inner:  # assumed\n  - {x: 1}\n",
        encoding="utf-8",
    )
    assert assumed(path) == {("kind",), ("size_mm",), ("inner",)}


@pytest.mark.parametrize("name", ["2x432-own-limits-wall-2x6", "worked-example", "four-trunks-two-pairs-wall-3x8"])
def test_the_box_of_a_job_is_drawn_with_its_trunks(name: str) -> None:
    job = load_job(shipped() / "standard" / f"{name}.yaml")
    picture = job_picture(job, Doubts())
    readable(picture)
    told = words(picture)
    assert all(f"trunk {trunk.id}: {trunk.cable.id}" in told for trunk in job.trunks)
    for trunk in job.trunks:
        for port in trunk.ports if trunk.ports != "any" else ():
            assert re.search(rf"^{port}: .*\b{trunk.id}\b", told, re.MULTILINE)


def test_show_draws_entries_files_and_jobs(tmp_path: Path) -> None:
    for source in ("wall-2x6", shipped() / "trays" / "ribbon-96.yaml", shipped() / "standard" / "worked-example.yaml"):
        target = tmp_path / "drawn.svg"
        done = trayopt("library", "show", source, "--picture", target)
        assert (done.returncode, done.stdout) == (Exit.YES, f"{target} written\n"), done.stderr
        assert ElementTree.parse(target).getroot().tag.endswith("svg")
    assert trayopt("library", "show", shipped() / "trays" / "ribbon-96.yaml").stdout.startswith("# Splice tray")


def test_assumed_values_of_a_jobs_own_box_are_found_wherever_it_stands(tmp_path: Path) -> None:
    (tmp_path / "mine.yaml").write_text(starter("enclosure", "mine", BOX, Library(), tmp_path), encoding="utf-8")
    job = (shipped() / "standard" / "2x432-wall-2x6.yaml").read_text(encoding="utf-8")
    (tmp_path / "job.yaml").write_text(job.replace("enclosure: wall-2x6", "enclosure: mine.yaml"), encoding="utf-8")
    assert "stacks left, right: at_mm" in drawn_svg(tmp_path / "job.yaml")
    inline = "\n".join(f"  {line}" for line in (tmp_path / "mine.yaml").read_text(encoding="utf-8").splitlines())
    (tmp_path / "job.yaml").write_text(job.replace("enclosure: wall-2x6", f"enclosure:\n{inline}"), encoding="utf-8")
    assert "stacks left, right: at_mm" in drawn_svg(tmp_path / "job.yaml")
    (tmp_path / "job.yaml").write_text(job, encoding="utf-8")
    assert "assumed" not in drawn_svg(tmp_path / "job.yaml")


def test_a_picture_of_two_entries_with_one_id_is_refused(tmp_path: Path) -> None:
    tray = (shipped() / "trays" / "ribbon-24.yaml").read_text(encoding="utf-8").replace("id: ribbon-24", "id: wall-2x6")
    (tmp_path / "trays").mkdir()
    (tmp_path / "trays" / "wall-2x6.yaml").write_text(tray, encoding="utf-8")
    with pytest.raises(InputError, match=r"a picture shows one entry.*choose with --kind"):
        drawn_svg("wall-2x6", None, [tmp_path])
    assert 'data-picture="tray-wall-2x6"' in drawn_svg("wall-2x6", "tray", [tmp_path])


def test_the_page_shows_every_entry_and_needs_nothing_from_outside(tmp_path: Path) -> None:
    page = tmp_path / "all.html"
    done = trayopt("library", "list", "--html", page, "-q")
    assert done.returncode == Exit.YES
    text = page.read_text(encoding="utf-8")
    ids = re.findall(r'<figure id="([^"]+)"[^>]*>', text)
    assert sorted(ids) == sorted(f"{entry.kind}-{entry.model.id}" for entry in ENTRIES)
    assert set(re.findall(r'href="#([^"]+)"', text)) == {
        *ids,
        *(f"{kind}-head" for kind in ("enclosure", "tray", "cable", "tubes")),
    }
    assert re.findall(r'(?:src|href)="(?!#)[^"]*"|url\(|@import', text) == []
    alone = trayopt("library", "list", "--kind", "tubes", "--html", "-")
    assert alone.stdout.count("<figure") == 3
    assert alone.stdout.startswith("<!doctype html>")


def test_the_page_says_what_is_unusual(tmp_path: Path) -> None:
    text = (shipped() / "trays" / "ribbon-24.yaml").read_text(encoding="utf-8")
    (tmp_path / "odd.yaml").write_text(text.replace("ribbon-24", "odd").replace("inside_mm: 700", "inside_mm: 500"))
    page = trayopt("library", "list", "--library", tmp_path, "--html", "-").stdout
    assert "too short to reach a splicer" in page[page.index('id="tray-odd"') :].partition("</figure>")[0]


def test_svg_is_written_in_one_place() -> None:
    """Whoever draws makes a ``Picture`` of shapes, whose texts can be held to their boxes and to each other."""
    package = Path(svg.__file__).parents[1]
    writers = [path for path in package.rglob("*.py") if "<svg" in path.read_text(encoding="utf-8")]
    assert writers == [package / "pictures" / "svg.py"]


def test_labels_of_side_ports_keep_off_walls_sizes_and_stacks() -> None:
    """Three ports in each side wall of narrow boxes: no label lies over a wall, the height of the box, a guide or a stack."""
    for size, stacks, ports in (("620x640x180", "2", "3x40"), ("1100x900x300", "4", "2x40")):
        answers = BOX | {"size": size, "stacks": stacks, "left": ports, "right": ports}
        box = next(entry.model for entry in made("enclosure", answers).entries)
        assert isinstance(box, Enclosure)
        picture = hardware_picture(box)
        case = next(drawn.rect for drawn in picture.boxes if drawn.kind == "case")
        stack_boxes = [drawn.rect for drawn in picture.boxes if drawn.kind == "stack"]
        beside = {port.id for port in box.ports if port.y_mm not in {0, box.size_mm[1]}}
        names = [text for text in picture.texts if text.kind == "port-name" and text.full in beside]
        assert len(names) == len(beside) >= 4
        for text in names:
            assert text.text == text.full
            for wall in (case.x, case.right):
                assert not text.rect.x < wall < text.rect.right, text.text
            assert not any(text.rect.meets(stack) for stack in stack_boxes), text.text
