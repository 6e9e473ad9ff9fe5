"""Sweeps: every combination is a job, named by its values, and what is wrong is told before anything runs."""

from __future__ import annotations

import json
from collections import Counter
from pathlib import Path

import pytest

from tests.batches.sweeps import PAIR, run, write_sweep
from trayopt import load_job
from trayopt.batches.answers import variant_of
from trayopt.batches.manifest import read_manifest
from trayopt.errors import InputError
from trayopt.formats.yaml_in import read_yaml
from trayopt.library.find import shipped
from trayopt.library.job_out import as_file

SWEEPS = shipped() / "standard" / "sweeps"


def names(path: Path) -> list[str]:
    """Give the names of all jobs."""
    return [item.name for item in read_manifest([path]).items()]


def refused(path: Path) -> list[str]:
    """Give what is said of a sweep, without its folder."""
    with pytest.raises(InputError) as wrong:
        read_manifest([path])
    return [str(fault).replace(f"{path.parent}/", "") for fault in wrong.value.faults]


def test_names_are_made_of_the_values_that_are_written(tmp_path: Path) -> None:
    plain = write_sweep(tmp_path / "plain.yaml", ["one", "two"], enclosures="[wall-1x6, wall-2x6]")
    assert names(plain) == ["plain/wall-1x6/one", "plain/wall-1x6/two", "plain/wall-2x6/one", "plain/wall-2x6/two"]
    full = write_sweep(
        tmp_path / "full.yaml",
        ["one"],
        "trays: [own, ribbon-48]",
        "joins: [through, {name: few, joins: [{a: 'N1:1-12', b: 'S1:1-12'}]}]",
        "divide_at: [own, port, [port, tray]]",
        "rules: [{name: usual}, {name: lean, rules: {guide_fill: {fill: 0.4}}}]",
        "tubes: [mesh-set, thick-set]",
    )
    found = names(full)
    assert len(found) == read_manifest([full]).count() == 2 * 2 * 3 * 2 * 2
    assert found[0] == "full/wall-1x6/one_own_through_own_usual_mesh-set"
    assert found[-1] == "full/wall-1x6/one_ribbon-48_few_port-tray_lean_thick-set"


def test_a_job_of_a_sweep_is_the_job_that_one_would_write(tmp_path: Path) -> None:
    path = write_sweep(
        tmp_path / "s.yaml",
        ["one"],
        "joins: [halves_swapped]",
        "divide_at: [[port, tray]]",
        "rules: [{name: lean, rules: {guide_fill: {fill: 0.4}}}]",
        "tubes: [thick-set]",
    )
    made = next(read_manifest([path]).items()).job()
    written = load_job(
        {
            "schema": "trayopt/job/2",
            "title": "one in wall-1x6",
            "enclosure": "wall-1x6",
            "tubes": "thick-set",
            "trunks": [
                {"id": "N1", "cable": "central-tube-144", "divide_at": "port"},
                {"id": "S1", "cable": "central-tube-144", "divide_at": "tray"},
            ],
            "joins": [{"a": "N1:1-72", "b": "S1:73-144"}, {"a": "N1:73-144", "b": "S1:1-72"}],
            "rules": {"guide_fill": {"fill": 0.4}},
        }
    )
    assert made.digest == written.digest


def test_where_trunks_are_divided_is_a_word_a_list_by_trunk_or_what_the_cable_allows(tmp_path: Path) -> None:
    path = write_sweep(
        tmp_path / "s.yaml",
        ["one"],
        "divide_at: [own, cable, tray, [tray, port], [[tray, port]], [port, [port, tray]]]",
    )
    own = path.read_text().replace(
        "{id: S1, cable: central-tube-144}", "{id: S1, cable: central-tube-144, divide_at: port}"
    )
    path.write_text(own)
    found = {
        item.name.rpartition("_")[2]: [t.divide_at for t in item.job().trunks] for item in read_manifest([path]).items()
    }
    both = ("tray", "port")
    assert found == {
        "own": [both, ("port",)],
        "cable": [both, both],
        "tray": [("tray",), ("tray",)],
        "tray-port": [("tray",), ("port",)],
        "tray+port": [both, both],
        "port-port+tray": [("port",), both],
    }


def test_jobs_of_a_sweep_of_format_1_are_jobs_of_format_1_and_a_note_says_so_once(tmp_path: Path) -> None:
    path = write_sweep(tmp_path / "s.yaml", ["one", "two"], "rules: [{name: x, rules: {base_outward: prefer}}]")
    path.write_text(path.read_text().replace("trayopt/sweep/2", "trayopt/sweep/1"))
    manifest = read_manifest([path])
    jobs = [item.job() for item in manifest.items()]
    assert {trunk.divide_at for job in jobs for trunk in job.trunks} == {("tray",)}
    assert {job.rules["no_empty_below"].level for job in jobs} == {"prefer"}
    told = [str(fault).replace(f"{tmp_path}/", "") for fault in manifest.unusual()]
    assert [text for text in told if "format 1" in text] == [
        "s.yaml:1:9: the sweep is written in format 1; trunks without divide_at are divided at the tray, if "
        "their cable has tubes; write schema: trayopt/sweep/2 to let the plan decide"
    ]


def test_a_sweep_of_a_newer_format_is_refused_with_one_sentence(tmp_path: Path) -> None:
    path = write_sweep(tmp_path / "s.yaml", ["one"], "shelves: [3]")
    path.write_text(path.read_text().replace("trayopt/sweep/2", "trayopt/sweep/3"))
    (said,) = refused(path)
    assert "this sweep was written for a newer version of trayopt" in said


def test_a_way_to_ask_has_one_name_in_every_box(tmp_path: Path) -> None:
    """How much longer a lay is at the outside of a turn follows from the guides of the box: it asks for nothing."""
    path = write_sweep(tmp_path / "s.yaml", ["one"], enclosures="[wall-1x6, cabinet-3x24]")
    one, other = (item.job() for item in read_manifest([path]).items())
    assert len({job.rules["exposed"].parameters["allowance_mm"] for job in (one, other)}) == 2
    assert variant_of(one) == variant_of(other)
    own = load_job({**as_file(one), "rules": {"exposed": {"allowance_mm": 99}}})
    assert variant_of(own) != variant_of(one)


def test_trays_are_put_into_every_stack_and_boxes_that_cannot_be_built_say_so(tmp_path: Path) -> None:
    path = write_sweep(tmp_path / "s.yaml", ["one"], "trays: [own, ribbon-48, ribbon-144]", enclosures="[wall-2x6]")
    own, less, more = read_manifest([path]).items()
    assert {stack.tray.id for stack in own.job().enclosure.stacks} == {"ribbon-72"}
    assert {stack.tray.id for stack in less.job().enclosure.stacks} == {"ribbon-48"}
    assert (own.why_not, less.why_not) == ("", "")
    assert more.why_not == ("the pitch of stack left is less than its trays are high: 11 mm (allowed: 15 mm or more)")


def test_a_mix_may_have_joins_of_its_own_and_combinations_may_be_left_out(tmp_path: Path) -> None:
    path = write_sweep(
        tmp_path / "s.yaml",
        ["one", "two"],
        "joins: [through, halves_swapped]",
        "leave_out: [{mix: two, enclosure: [wall-2x6]}, {joins: ring, enclosure: wall-1x6}]",
        enclosures="[wall-1x6, wall-2x6]",
    )
    text = path.read_text() + f"  - {{name: three, joins: [ring, mesh], {PAIR}}}\n"
    path.write_text(text)
    assert names(path) == [
        "s/wall-1x6/one_through",
        "s/wall-1x6/one_halves_swapped",
        "s/wall-1x6/two_through",
        "s/wall-1x6/two_halves_swapped",
        "s/wall-1x6/three_mesh",
        "s/wall-2x6/one_through",
        "s/wall-2x6/one_halves_swapped",
        "s/wall-2x6/three_ring",
        "s/wall-2x6/three_mesh",
    ]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (
            "enclosures: [wall-2x7]",
            "s.yaml:2:14: there is no enclosure 'wall-2x7' in the library; did you mean 'wall-2x6'?",
        ),
        ("trays: [ribbon-71]", "s.yaml:3:9: there is no tray 'ribbon-71' in the library; did you mean 'ribbon-72'?"),
        ("joins: [trough]", "s.yaml:3:9: no such way to join; found 'trough'; allowed: through, pairs,"),
        ("divide_at: [door]", "s.yaml:3:13: divide_at[0] is not allowed; found 'door'"),
        ("rules: [{name: a, rules: {reech: must}}]", "s.yaml:3:34: no such rule; found 'reech'"),
        ("rules: [{name: a}, {name: a}]", "s.yaml:3:20: the rules 'a' is given twice"),
        ("joins: [{name: far, joins: [{a: 'N1:1-288', b: 'S1:1-288'}]}]", "s.yaml:3:33: the run goes beyond the cable"),
        (
            "joins: [{name: x, joins: [{a: 'N1:1-12', b: 'E1:1-12'}]}]",
            "s.yaml:3:45: there is no such trunk; found 'E1'",
        ),
        ("leave_out: [{mix: tow}]", "s.yaml:3:19: no mix of this name; found 'tow'"),
        ("leave_out: [{mix: [one, two]}]", "s.yaml:2:13: the sweep makes too few or too many jobs; found 0"),
        ("tray: [own]", "s.yaml:3:1: unknown key 'tray'"),
    ],
)
def test_what_is_wrong_is_told_with_its_place(text: str, said: str, tmp_path: Path) -> None:
    key = text.partition(":")[0]
    lines = [text] if key != "enclosures" else []
    path = write_sweep(tmp_path / "s.yaml", ["one", "two"], *lines, enclosures="[wall-1x6]" if lines else "[wall-2x7]")
    assert any(fault.startswith(said) for fault in refused(path)), refused(path)


def test_faults_of_mixes_have_their_place(tmp_path: Path) -> None:
    path = write_sweep(tmp_path / "s.yaml", ["one"])
    text = path.read_text().replace("cable: central-tube-144}]", "cable: central-tube-144, ports: [door], loop: [1]}]")
    path.write_text(text)
    said = refused(path)
    assert any(fault.startswith("s.yaml:4:110: unknown key 'loop'") for fault in said), said
    path.write_text(text.replace(", loop: [1]", ""))
    said = refused(path)
    assert len(said) == 1
    assert said[0].startswith("s.yaml:4:")
    assert "door" in said[0]


def test_a_hundred_thousand_jobs_are_counted_and_more_are_refused(tmp_path: Path) -> None:
    rules = [f"{{name: r{i}, rules: {{guide_fill: {{fill: 0.{i + 100}}}}}}}" for i in range(500)]
    path = write_sweep(tmp_path / "s.yaml", [f"m{i}" for i in range(201)], f"rules: [{', '.join(rules)}]")
    assert "found 100,500; allowed: 1 to 100,000" in refused(path)[0]
    path = write_sweep(tmp_path / "s.yaml", [f"m{i}" for i in range(200)], f"rules: [{', '.join(rules)}]")
    manifest = read_manifest([path])
    assert manifest.count() == 100_000
    assert next(manifest.items()).name == "s/wall-1x6/m0_r0"


def test_the_standard_sweeps_make_500_jobs_over_every_enclosure() -> None:
    manifest = read_manifest([SWEEPS])
    items = list(manifest.items())
    assert len(items) == manifest.count() >= 500
    assert len({item.name for item in items}) == len({item.plan_path for item in items}) == len(items)
    boxes = Counter(item.values["enclosure"] for item in items)
    shared = {path.stem for path in (shipped() / "enclosures").glob("*.yaml")}
    assert set(boxes) == shared | {"wall-1x5-mixed", "wall-2x8-mixed"}
    assert min(boxes[box] for box in shared) >= 40


def test_the_smallest_box_counts_trunks_that_go_through_and_trays_of_several_kinds(tmp_path: Path) -> None:
    """Of the shipped sweeps, in two boxes each: a drop of 72 needs one tray, loose fibres find trays of 36 in a mixed box."""
    chosen = {
        "midspan": ("288-drops-72", {"wall-1x6", "wall-1x12-single"}),
        "mixed-trays": ("2x72-loose-and-ribbons", {"wall-1x5-mixed", "wall-2x8-mixed"}),
    }
    for name, (mix, boxes) in chosen.items():
        data = dict(read_yaml(SWEEPS / f"{name}.yaml").data)
        kept = [item for item in data["mixes"] if item["name"] == mix]
        if name == "mixed-trays":
            wanted = [str(SWEEPS / item) for item in data["enclosures"] if Path(item).stem in boxes]
        else:
            wanted = sorted(boxes)
        rules = [item for item in data.get("rules", ()) if item["name"] == "never-separated"]
        made = data | {"mixes": kept, "enclosures": wanted} | ({"rules": rules} if rules else {})
        (tmp_path / f"{name}.yaml").write_text(json.dumps(made))
    paths = [tmp_path / f"{name}.yaml" for name in chosen]
    summary = run(paths, tmp_path / "out", work="trayopt.batches.work:solve_job")
    found = {item.mix: item for item in summary.smallest}
    drop, loose = (found[mix] for mix, _ in chosen.values())
    assert drop.box is not None
    assert (drop.box.enclosure, drop.box.trays) == ("wall-1x6", 1)
    assert loose.box is not None
    assert loose.box.enclosure == "wall-1x5-mixed"
    assert summary.proven == 4


def test_every_job_of_the_standard_sweeps_is_read_and_has_splices() -> None:
    splices = [item.job().splices for item in read_manifest([SWEEPS]).items() if not item.why_not]
    assert len(splices) >= 500
    assert min(splices) > 0
