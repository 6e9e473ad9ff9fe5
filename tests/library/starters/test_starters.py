"""Starters of hardware: whatever they write can be built as it stands, and whatever cannot is refused with a sentence."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from trayopt.domain.cable import Cable
from trayopt.domain.hardware import Enclosure, Tray, TubeSet
from trayopt.errors import InputError
from trayopt.library.entries import Survey, survey
from trayopt.library.find import Kind, Library, shipped
from trayopt.library.starters import starter
from trayopt.library.starters.questions import QUESTIONS

TRAYS = sorted(path.stem for path in (shipped() / "trays").glob("*.yaml"))
BOX = {
    "size": "480x560x140", "stacks": "2", "trays": "6", "tray": "ribbon-72", "ring": "55", "bottom": "3x50", "left": "1x50",
}  # fmt: skip


def made(kind: Kind, answers: Mapping[str, str], name: str = "mine") -> Survey:
    """Write a starter into a folder, and read it as ``library validate`` does."""
    with TemporaryDirectory() as folder:
        path = Path(folder) / f"{name}.yaml"
        path.write_text(starter(kind, name, answers, Library(), Path(folder)), encoding="utf-8")
        return survey(Library(), [path])


def outcome(kind: Kind, answers: Mapping[str, str]) -> Survey | InputError:
    """Give what became of a starter: the entry as it is read, or why there is none."""
    try:
        return made(kind, answers)
    except InputError as wrong:
        return wrong


def model(kind: Kind, answers: Mapping[str, str]) -> Any:
    """Give the entry that a starter says, which has nothing wrong and nothing unusual."""
    found = made(kind, answers)
    assert (found.errors, found.warnings) == ([], [])
    return found.entries[0].model


def ports(most: int) -> st.SearchStrategy[str]:
    """Draw what is written for the ports of a wall."""
    bores = st.lists(st.sampled_from(["16", "20", "32", "50", "54.5", "63"]), max_size=most)
    return bores.map(lambda found: ", ".join(found) or "0")


mixed = st.one_of(
    st.just("-"),
    st.builds(
        lambda first, more, tray: f"{first}-{first + more}: {tray}",
        st.integers(1, 24), st.integers(0, 6), st.sampled_from(TRAYS),
    ),
)  # fmt: skip
boxes = st.fixed_dictionaries(
    {
        "size": st.tuples(st.integers(100, 1600), st.integers(100, 1600), st.integers(60, 400)).map(
            lambda size: " x ".join(map(str, size))
        ),
        "stacks": st.integers(1, 5).map(str),
        "trays": st.integers(1, 24).map(str),
        "tray": st.sampled_from(TRAYS),
        "mixed": mixed,
        "ring": st.integers(10, 150).map(str),
        "guide": st.sampled_from(["-", "50x80", "12.5x90"]),
        "bottom": ports(5),
        "top": ports(3),
        "left": ports(3),
        "right": ports(2),
    }
)
roomy = st.builds(
    lambda stacks, trays, ring, tray, below, above, more: {
        "size": f"{2 * ring + stacks * 140 + (stacks + 1) * 20 + more}x{2 * ring + 420 + more}x{trays * 16 + 60}",
        "stacks": str(stacks), "trays": str(trays), "tray": tray, "ring": str(ring),
        "bottom": f"{below}x32", "top": f"{above}x32",
    },
    stacks=st.integers(1, 4), trays=st.integers(1, 24), ring=st.integers(40, 90), tray=st.sampled_from(TRAYS),
    below=st.integers(1, 3), above=st.integers(1, 3), more=st.integers(0, 300),
)  # fmt: skip


def test_no_more_is_asked_than_a_tape_and_a_label_give() -> None:
    """A wall box takes ten answers and may have an eleventh; sizes of its inside and of a guide counted one by one, fourteen."""
    assert {kind: len(questions) for kind, questions in QUESTIONS.items()} == {
        "enclosure": 11, "tray": 3, "cable": 6, "tubes": 1,
    }  # fmt: skip
    numbers = sum(
        1 + question.example.count("x") * (question.name in {"size", "guide"}) for question in QUESTIONS["enclosure"]
    )
    assert numbers == 14


@settings(max_examples=300, deadline=None)
@given(boxes)
def test_a_box_can_be_built_or_is_refused_with_a_sentence(answers: dict[str, str]) -> None:
    found = outcome("enclosure", answers)
    if isinstance(found, InputError):
        assert [bool(fault.message and fault.found and fault.hint) for fault in found.faults] == [True]
        return
    assert (found.errors, found.warnings) == ([], [])
    box = found.entries[0].model
    assert isinstance(box, Enclosure)
    assert len(box.stacks) == int(answers["stacks"])
    assert all(stack.positions == int(answers["trays"]) for stack in box.stacks)
    assert " x ".join(f"{size:g}" for size in box.size_mm) == answers["size"]
    bores = [
        float(bore) for side in ("bottom", "top", "left", "right") for bore in answers[side].split(", ") if bore != "0"
    ]
    assert [port.bore_mm for port in box.ports] == bores


@settings(max_examples=100, deadline=None)
@given(roomy)
def test_a_box_with_room_for_its_parts_is_never_refused(answers: dict[str, str]) -> None:
    assert isinstance(model("enclosure", answers), Enclosure)


@settings(max_examples=200, deadline=None)
@given(
    st.fixed_dictionaries(
        {
            "construction": st.sampled_from(
                ["ribbon", "central_tube", "slotted_core", "partly_bonded_ribbon", "loose_tube"]
            ),
            "diameter": st.floats(5, 45).map(lambda value: f"{value:.1f}"),
            "subunits": st.integers(1, 30).map(str),
            "ribbons": st.integers(1, 30).map(str),
            "width": st.sampled_from(["1", "4", "8", "12", "16", "24"]),
        }
    )
)
def test_a_cable_can_be_made_or_is_refused_with_a_sentence(answers: dict[str, str]) -> None:
    found = outcome("cable", answers)
    if isinstance(found, InputError):
        assert [bool(fault.message and fault.found) for fault in found.faults] == [True]
        return
    assert found.errors == []
    cable = found.entries[0].model
    assert isinstance(cable, Cable)
    assert cable.fibres == int(answers["subunits"]) * int(answers["ribbons"]) * int(answers["width"])


@settings(max_examples=100, deadline=None)
@given(
    fibres=st.integers(1, 400), sleeve=st.integers(1, 24), width=st.integers(50, 300), length=st.integers(50, 400),
    height=st.integers(3, 40),
)  # fmt: skip
def test_a_tray_passes_at_once(fibres: int, sleeve: int, width: int, length: int, height: int) -> None:
    tray = model("tray", {"fibres": str(fibres), "sleeve": str(sleeve), "size": f"{width}x{length}x{height}"})
    assert isinstance(tray, Tray)
    assert (tray.fibres, tray.sleeve_fibres, tray.size_mm, tray.height_mm) == (fibres, sleeve, (width, length), height)


@settings(max_examples=50, deadline=None)
@given(st.lists(st.tuples(st.floats(1, 20), st.floats(0.2, 5)), min_size=1, max_size=6))
def test_a_set_of_tubes_passes_at_once(given_: list[tuple[float, float]]) -> None:
    pairs = [(f"{bore:.1f}", f"{bore + wall:.1f}") for bore, wall in given_]
    tubes = model("tubes", {"tubes": ", ".join(f"{bore}/{outer}" for bore, outer in pairs)})
    assert isinstance(tubes, TubeSet)
    assert [(f"{tube.bore_mm:.1f}", f"{tube.diameter_mm:.1f}") for tube in tubes.tubes] == pairs


def test_a_box_comes_out_nearly_as_it_is_in_the_library() -> None:
    """Worked by hand: 130 mm beside two trays of 120 within a ring of 370, in three gaps; 112 of 150 mm are over them."""
    box = model("enclosure", BOX | {"guide": "50x80"})
    assert [stack.at_mm for stack in box.stacks] == [(98, 93), (261, 93)]
    assert [guide.id for guide in box.track.guides] == ["nw", "n", "ne", "e", "se", "s", "sw", "w"]
    assert {guide.opening_mm2 for guide in box.track.guides} == {4000}
    assert {guide.width_mm for guide in box.track.guides} == {50}
    assert [(port.id, port.guide, port.turns) for port in box.ports] == [
        ("bottom-left", "sw", "clockwise"),
        ("bottom-middle", "s", "both"),
        ("bottom-right", "se", "counterclockwise"),
        ("left-side", "w", "both"),
    ]
    assert [seal.model_dump() for seal in box.ports[0].seals] == [
        {"holes": 1, "least_mm": 10, "most_mm": 32},
        {"holes": 2, "least_mm": 8, "most_mm": 18},
        {"holes": 4, "least_mm": 6, "most_mm": 12},
    ]


def test_trays_of_other_kinds_stand_by_their_own_heights() -> None:
    """Worked by hand: four of 10 mm and two of 12, a millimetre between them, are 4 x 11 + 13 + 12 = 69 mm over the base."""
    (stack, _) = model("enclosure", BOX | {"mixed": "5-6: single-48"}).stacks
    assert [(item.positions, item.tray.id, item.pitch_mm) for item in stack.trays] == [((5, 6), "single-48", 13)]
    assert [stack.z_mm(position) for position in (1, 5, 6)] == [15, 59, 72]
    box = model("enclosure", BOX | {"mixed": "1-2 single-48; 6: ribbon-96", "size": "480x560x75"})
    stack = box.stacks[0]
    assert [(item.positions, item.tray.id, item.pitch_mm) for item in stack.trays] == [
        ((1, 2), "single-48", 12), ((6, 6), "ribbon-96", 12),
    ]  # fmt: skip
    assert stack.z_mm(6) + 12 <= 75
    assert box.fibres == 2 * (2 * 48 + 3 * 72 + 96)


def test_the_first_cable_comes_out_as_it_is_in_the_library() -> None:
    """Twelve ribbons of 3.22 x 0.36 are 5.39 mm across: a tube of 8 mm, of which three fit into 22 mm."""
    label = {"construction": "ribbon", "diameter": "22", "subunits": "3", "ribbons": "12", "width": "12"}
    cable = model("cable", label)
    assert (cable.fibres, cable.ribbon_mm) == (432, (3.22, 0.36))
    assert (cable.subunits[0].diameter_mm, cable.subunits[0].radius_mm) == (8.0, 76)


def test_nothing_is_said_in_three_ways() -> None:
    boxes = [model("enclosure", {**BOX, "mixed": none, "guide": none, "top": none}) for none in ("-", "none", "0")]
    assert boxes[0] == boxes[1] == boxes[2]


@pytest.mark.parametrize(
    ("changed", "says"),
    [
        ({"trays": "16"}, "16 trays do not fit into the depth of the box"),
        ({"ring": "500"}, "the ring does not fit into the box"),
        ({"ring": "240"}, "ring=240 mm from the walls of a box 480 mm wide and 560 mm high"),
        ({"ring": "239"}, "trays 120 mm wide, a ring 2 mm wide"),
        ({"stacks": "3"}, "3 stacks of trays do not stand side by side within the ring"),
        ({"size": "480x440x140"}, "the trays leave no room for a bend from the ring to their entrances"),
        ({"bottom": "10x50"}, "10 ports do not fit side by side into the bottom wall"),
        ({"bottom": "0", "left": "0"}, "the box has no port"),
        ({"mixed": "5-7: single-48"}, "mixed names positions that a stack does not have; found 5-7: single-48"),
        (
            {"mixed": "5-6: single-24"},
            "trays single-24 are not as wide and long as the others, whose entrances they share",
        ),
        ({"mixed": "5-6"}, "mixed cannot be used; found '5-6'; allowed: the first and the last position, a colon"),
        ({"mixed": "6-5: single-48"}, "positions counted from 1 at the back, the lower one first, not 6-5"),
        (
            {"mixed": "4-5: single-48, 5: ribbon-96"},
            "every position once: 5: ribbon-96 shares one with a range before it",
        ),
        ({"mixed": "5-6: singel-48"}, "did you mean 'single-48'?"),
        ({"mixed": "1-6: single-48", "size": "480x560x70"}, "6 trays do not fit into the depth of the box"),
        ({"bottom": "1x200"}, "port bottom does not fit into the depth of the box"),
    ],
    ids=lambda value: str(value)[:30],
)
def test_what_cannot_be_built_is_refused(changed: dict[str, str], says: str) -> None:
    with pytest.raises(InputError, match=says):
        starter("enclosure", "mine", BOX | changed, Library(), Path())


def test_all_answers_that_are_missing_unknown_or_wrong_are_told_at_once() -> None:
    with pytest.raises(InputError) as wrong:
        starter("enclosure", "mine", {"size": "450x600", "stack": "2", "trays": "six", "ring": "50"}, Library(), Path())
    assert [fault.message for fault in wrong.value.faults] == [
        "size cannot be used",
        "there is no answer to stacks: stacks of trays, side by side",
        "there is no answer to tray: kind of tray: an id of the library, or the path of its file",
        "there is no question 'stack'",
        "trays cannot be used",
    ]
    assert "did you mean 'stacks'?" in str(wrong.value)


@pytest.mark.parametrize("kind", QUESTIONS)
def test_every_example_can_be_read(kind: str) -> None:
    for question in QUESTIONS[kind]:
        assert question.read(question.example)
        if question.usual:
            question.read(question.usual)


def test_a_tray_of_a_file_beside_the_box_is_found(tmp_path: Path) -> None:
    text = starter("tray", "ours", {"fibres": "24", "sleeve": "12", "size": "100x220x8"}, Library(), tmp_path)
    (tmp_path / "ours.yaml").write_text(text, encoding="utf-8")
    text = starter("enclosure", "box", BOX | {"tray": "ours.yaml"}, Library(), tmp_path)
    (tmp_path / "box.yaml").write_text(text, encoding="utf-8")
    found = survey(Library(), [tmp_path / "ours.yaml", tmp_path / "box.yaml"])
    assert (found.errors, found.warnings, len(found.entries)) == ([], [], 2)
