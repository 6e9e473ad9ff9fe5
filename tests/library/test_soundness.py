"""Whether hardware can be built: every check, failing by one step and passing at its limit."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from trayopt.domain.cable import Cable
from trayopt.domain.hardware import Enclosure, Tray, TubeSet
from trayopt.library.entries import find_entries, summary, survey
from trayopt.library.find import FOLDERS, Library, shipped
from trayopt.library.soundness import remarks

TRAY = {
    "id": "t", "fibres": 24, "sleeves": 2, "sleeve_fibres": 12, "entrance_legs": 4, "height_mm": 10.0,
    "size_mm": (100, 200), "inside_mm": 800, "min_radius_mm": 30,
}  # fmt: skip
CABLE = {
    "id": "c", "construction": "ribbon", "diameter_mm": 22, "ribbon_mm": (3.22, 0.36),
    "subunits": ({"count": 3, "ribbons": 12, "ribbon_fibres": 12, "diameter_mm": 8, "least_radius_mm": 50},),
}  # fmt: skip


def guide(name: str, x: int, y: int) -> dict[str, Any]:
    return {"id": name, "x_mm": x, "y_mm": y, "opening_mm2": 1500}


GUIDES = (
    guide("nw", 60, 440), guide("n", 200, 460), guide("ne", 340, 440), guide("se", 340, 60), guide("s", 200, 40),
    guide("sw", 60, 60),
)  # fmt: skip
"""The ring of the worked example (spec, section 10)."""
SEAL = {"holes": 1, "least_mm": 8, "most_mm": 30}


def box(**changes: Any) -> Enclosure:
    """Make the box of the worked example, with its trays set where its entrances are, and some keys changed."""

    def end(clockwise: tuple[str, int, int], counterclockwise: tuple[str, int, int]) -> dict[str, Any]:
        sides = zip(("clockwise", "counterclockwise"), (clockwise, counterclockwise), strict=True)
        return {"id": "top", **{way: {"guide": name, "x_mm": x, "y_mm": y} for way, (name, x, y) in sides}}

    def stack(name: str, x: int, ends: dict[str, Any]) -> dict[str, Any]:
        return {
            "id": name, "tray": TRAY, "positions": 2, "at_mm": (x, 130), "base_z_mm": 12, "pitch_mm": 11,
            "ends": (ends,),
        }  # fmt: skip

    made: dict[str, Any] = {
        "id": "b",
        "size_mm": (400, 500, 100),
        "track": {"z_mm": (10, 10), "min_radius_mm": 80, "guides": GUIDES},
        "ports": (
            {
                "id": "bl",
                "x_mm": 40,
                "y_mm": 0,
                "guide": "sw",
                "bore_mm": 40,
                "seals": ({"holes": 1, "least_mm": 8, "most_mm": 30},),
            },
        ),
        "stacks": (
            stack("left", 90, end(("nw", 170, 330), ("n", 110, 330))),
            stack("right", 210, end(("n", 290, 330), ("ne", 230, 330))),
        ),
    }
    for path, value in changes.items():
        _set(made, path.split("__"), value)
    return Enclosure.model_validate(made)


def _set(data: Any, path: list[str], value: Any) -> None:
    *ahead, last = [int(part) if part.isdigit() else part for part in path]
    holder: Any = data
    for part in ahead:
        inner = holder[part]
        inner = dict(inner) if isinstance(inner, dict) else list(inner)
        holder[part] = inner
        holder = inner
    holder[last] = value
    _freeze(data)


def _freeze(data: Any) -> Any:
    for key, value in data.items() if isinstance(data, dict) else enumerate(data):
        if isinstance(value, dict | list):
            _freeze(value)
        if isinstance(value, list):
            data[key] = tuple(value)
    return data


def said(entry: Tray | Enclosure | Cable | TubeSet) -> list[tuple[str, str]]:
    return [(remark.level, remark.message) for remark in remarks(entry)]


def test_the_box_of_the_worked_example_is_sound() -> None:
    assert said(box()) == []


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"track__guides": GUIDES[::-1]}, "the guides run counterclockwise"),
        (
            {"track__guides": (*GUIDES[:1], GUIDES[2], GUIDES[1], *GUIDES[3:])},
            "the track crosses itself: nw-ne and n-se",
        ),
        ({"track__guides": (*GUIDES, guide("w", 60, 440))}, "the track crosses itself: nw-n and sw-w"),
        ({"track__guides__0__x_mm": -1}, "guide nw is outside of the box"),
        ({"track__z_mm": (10, 101)}, "the track does not fit into the depth of the box"),
        ({"track__z_mm": (-1, 10)}, "the track does not fit into the depth of the box"),
        ({"ports__0__x_mm": 401}, "port bl is outside of the box"),
        ({"ports__0__bore_mm": 101}, "port bl does not fit into the depth of the box"),
        ({"ports__0__seals__0__most_mm": 41}, "a seal of port bl takes more than its bore"),
        ({"stacks__0__at_mm": (-1, 130)}, "the trays of stack left are outside of the box"),
        ({"stacks__0__at_mm": (60, 130)}, "the trays of stack left stand in the way of the track"),
        ({"stacks__0__at_mm": (111, 130)}, "stacks left and right overlap"),
        ({"stacks__0__pitch_mm": 9}, "the pitch of stack left is less than its trays are high"),
        ({"stacks__0__positions": 9}, "stack left does not fit into the depth of the box"),
        ({"stacks__0__base_z_mm": -1}, "stack left does not fit into the depth of the box"),
        (
            {"stacks__0__ends__0__clockwise__x_mm": 50},
            "the entrance of stack left, end top, clockwise lies behind its guide nw",
        ),
        (
            {"track__min_radius_mm": 94},
            "the entrance of stack left, end top, clockwise is too near to its guide nw, along the direction of travel",
        ),
        (
            {"stacks__0__ends__0__counterclockwise__y_mm": 370},
            "the entrance of stack left, end top, counterclockwise is too near to its guide n, "
            "across the direction of travel",
        ),
    ],
)
def test_what_cannot_be_built_is_an_error(changes: dict[str, Any], message: str) -> None:
    assert ("error", message) in said(box(**changes))


@pytest.mark.parametrize(
    "changes",
    [
        {"track__z_mm": (0, 100)},
        {"stacks__0__at_mm": (110, 130)},
        {"stacks__0__pitch_mm": 10},
        {"stacks__0__positions": 8},
        {"ports__0__seals__0__most_mm": 40},
        # along the way from nw to n: (110 × 140 - 110 × 20) / 141.42 = 93.34 mm (hand-worked)
        {"track__min_radius_mm": 93.3},
    ],
)
def test_limits_are_allowed(changes: dict[str, Any]) -> None:
    assert [remark for remark in said(box(**changes)) if remark[0] == "error"] == []


def seal(holes: int, least_mm: float, most_mm: float = 30) -> Enclosure:
    """Make the box with one seal in its port, whose bore is 40 mm."""
    return box(ports__0__seals__0={"holes": holes, "least_mm": least_mm, "most_mm": most_mm})


@pytest.mark.parametrize(
    ("holes", "least_mm", "found"),
    [
        # One cable as thick as the bore; two side by side; five of half the bore are 5 × 20² = 2000 > 40² (hand-worked).
        (1, 40.1, "40.1 mm"),
        (2, 20.1, "two of 20.1 mm, 40.2 mm together"),
        (5, 18, "5 × 18² = 1620 mm²"),
    ],
)
def test_a_seal_whose_thinnest_cables_do_not_pass_the_bore(holes: int, least_mm: float, found: str) -> None:
    wrong = [remark for remark in remarks(seal(holes, least_mm, 40.1)) if remark.path[-1] == "least_mm"]
    assert [(remark.level, remark.found) for remark in wrong] == [("error", found)]
    assert wrong[0].message == "the thinnest cables of a seal of port bl do not pass its bore"


@pytest.mark.parametrize(("holes", "least_mm"), [(1, 40), (2, 20), (4, 20), (5, 17.8)])
def test_a_seal_whose_thinnest_cables_just_pass(holes: int, least_mm: float) -> None:
    # 4 × 20² = 1600 = 40²; 5 × 17.8² = 1584.2 (hand-worked).
    assert said(seal(holes, least_mm, 40)) == []


@pytest.mark.parametrize(("width_mm", "told"), [(None, 0), (10, 0), (9.9, 1), (300, 0), (300.1, 1)])
def test_a_guide_that_is_unusually_wide_or_narrow(width_mm: float | None, told: int) -> None:
    made = box() if width_mm is None else box(track__guides__0__width_mm=width_mm)
    found = [remark for remark in remarks(made) if remark.path[-1] == "width_mm"]
    assert [(remark.level, remark.message) for remark in found] == [("warning", "width_mm is unusual")] * told


def test_a_port_without_seals_says_so() -> None:
    made = list(remarks(box(ports__0__seals=())))
    assert [(remark.level, remark.message) for remark in made] == [
        ("warning", "port bl has no seals: no trunk can enter there as long as seals must close round it")
    ]


def test_ports_that_overlap_are_an_error() -> None:
    port = {"id": "br", "x_mm": 79, "y_mm": 0, "guide": "se", "bore_mm": 40, "seals": (SEAL,)}
    assert ("error", "ports bl and br overlap") in said(box(ports=(*box().model_dump()["ports"], port)))
    assert said(box(ports=(*box().model_dump()["ports"], {**port, "x_mm": 80}))) == []


def test_unusual_places_are_warnings() -> None:
    assert said(box(ports__0__y_mm=10)) == [("warning", "port bl is not on an edge of the box")]
    assert said(box(stacks__1__at_mm=(211, 131))) == [
        ("warning", "the entrance of stack right, end top, clockwise is not on an edge of its trays"),
        ("warning", "the entrance of stack right, end top, counterclockwise is not on an edge of its trays"),
    ]
    assert said(box(track__guides__0__opening_mm2=50)) == [("warning", "opening_mm2 is unusual")]


@pytest.mark.parametrize(
    ("changes", "remark"),
    [
        ({}, None),
        ({"min_radius_mm": 50.5}, ("error", "no turn of this radius fits into the tray")),
        ({"sleeves": 1}, ("warning", "the sleeves cannot take the tray's 24 fibres")),
        # below 600 mm inside no ribbon reaches a splicer (common practice, no source)
        ({"inside_mm": 599}, ("warning", "too short to reach a splicer")),
        ({"inside_mm": 600}, None),
        ({"height_mm": 41}, ("warning", "height_mm is unusual")),
    ],
)
def test_trays(changes: dict[str, Any], remark: tuple[str, str] | None) -> None:
    assert said(Tray.model_validate({**TRAY, **changes})) == ([remark] if remark else [])


@pytest.mark.parametrize(
    ("changes", "remark"),
    [
        ({}, None),
        # 3 × 8² = 192 <= 0.70 × (20.57 - 4)² = 192.2, and not 0.70 × (20.56 - 4)² = 191.96 (calculated)
        ({"diameter_mm": 20.57}, None),
        ({"diameter_mm": 20.56}, ("error", "the subunits do not fit into the cable")),
        # twelve ribbons of 3.22 × 0.36 mm are 5.38803 mm across (calculated)
        ({"subunits": ({"count": 3, "ribbons": 12, "ribbon_fibres": 12, "diameter_mm": 5.389},)}, None),
        (
            {"subunits": ({"count": 3, "ribbons": 12, "ribbon_fibres": 12, "diameter_mm": 5.388},)},
            ("error", "the stack of ribbons does not fit into its subunit"),
        ),
        ({"ribbon_mm": (2.3, 0.36)}, ("warning", "the ribbon is narrower than its fibres")),
        # usual diameters by fibres: 432 fibres 16 to 22 mm (common practice, no source)
        ({"diameter_mm": 22.5}, ("warning", "diameter_mm is unusual")),
        # buffer tubes: usually 38 mm or more (7 CFR 1755.200 (1995), (e)(4)(iv))
        (
            {"subunits": ({"count": 3, "ribbons": 12, "ribbon_fibres": 12, "diameter_mm": 8, "least_radius_mm": 37},)},
            ("warning", "least_radius_mm is unusual"),
        ),
        ({"construction": "central_tube"}, ("warning", "a central tube cable usually has one subunit")),
    ],
)
def test_cables(changes: dict[str, Any], remark: tuple[str, str] | None) -> None:
    assert said(Cable.model_validate({**CABLE, **changes})) == ([remark] if remark else [])


def test_tubes() -> None:
    tubes = TubeSet.model_validate(
        {
            "id": "s",
            "tubes": ({"bore_mm": 5, "diameter_mm": 5}, {"bore_mm": 4, "diameter_mm": 5, "least_radius_mm": 30}),
        }
    )
    assert said(tubes) == [
        ("error", "the bore is not smaller than the tube"),
        ("warning", "least_radius_mm is unusual"),
    ]


def test_every_shipped_model_is_sound() -> None:
    found = survey(Library())
    assert found.errors == []
    assert found.warnings == []
    counts = {kind: sum(entry.kind == kind for entry in found.entries) for kind in FOLDERS}
    assert counts["tray"] >= 6
    assert counts["enclosure"] >= 6
    assert counts["cable"] >= 16
    assert counts["tubes"] >= 1
    assert len({(entry.kind, entry.model.id) for entry in found.entries}) == len(found.entries)
    assert all(summary(entry.model) for entry in found.entries)


def test_files_of_a_folder_are_told_with_their_place(tmp_path: Path) -> None:
    tray = (shipped() / "trays" / "ribbon-24.yaml").read_text(encoding="utf-8")
    (tmp_path / "one.yaml").write_text(tray, encoding="utf-8")
    (tmp_path / "below").mkdir()
    (tmp_path / "below" / "ribbon-24.yaml").write_text(tray, encoding="utf-8")
    (tmp_path / "job.yaml").write_text("schema: trayopt/job/2\n")
    (tmp_path / "trays").mkdir()
    (tmp_path / "trays" / "bad.yaml").write_text("kind: tray\nid: bad\nfibres: x\n")
    (tmp_path / "trays" / "broken.yaml").write_text("kind: [\n")
    (tmp_path / "trays" / "none.yaml").write_text("id: none\n")
    lines = [str(fault).replace(f"{tmp_path}/", "") for fault in survey(Library([tmp_path])).errors]
    assert lines[0] == (
        "one.yaml:4:5: the id is not the file's name; found ribbon-24; allowed: one; "
        "rename the file to ribbon-24.yaml, or change the id"
    )
    assert lines[1] == (
        "one.yaml:4:5: the tray ribbon-24 is given twice in one folder; the other is below/ribbon-24.yaml; "
        "allowed: every id once"
    )
    assert "trays/bad.yaml:3:9: fibres has the wrong type; found 'x'; allowed: a whole number" in lines
    assert any(line.startswith("trays/broken.yaml:2:1: ") for line in lines)
    assert any(line.startswith("trays/none.yaml:1:1: the file does not say what kind of entry it is") for line in lines)


def test_entries_are_found_by_id(tmp_path: Path) -> None:
    assert [entry.kind for entry in find_entries(Library(), "mesh-set")] == ["tubes"]
    (tmp_path / "mesh-set.yaml").write_text(
        (shipped() / "trays" / "ribbon-24.yaml").read_text().replace("ribbon-24", "mesh-set")
    )
    assert [entry.kind for entry in find_entries(Library([tmp_path]), "mesh-set")] == ["tray", "tubes"]
    assert [entry.kind for entry in find_entries(Library([tmp_path]), "mesh-set", "tubes")] == ["tubes"]
