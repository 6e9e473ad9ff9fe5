"""The job of a box's next extension, out of what was recorded."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.cli.run import trayopt
from tests.crewsheets.plans import gone, ported, replanned, worked
from tests.crewsheets.test_record import SMALL, full
from trayopt.api import check, load_job, solve
from trayopt.crewsheets.book import Book
from trayopt.crewsheets.readings import read_readings
from trayopt.crewsheets.record import Record
from trayopt.crewsheets.settings import Settings
from trayopt.crewsheets.write import Options, Sheets
from trayopt.domain.base import remade
from trayopt.domain.job import Job
from trayopt.domain.pins import LegPin, TrunkPin
from trayopt.domain.plan import Plan
from trayopt.formats.json_out import dump_rows
from trayopt.library.job_out import as_file, job_text
from trayopt.rules.exposed import Exposed


def recorded(tmp_path: Path, made: tuple[Job, Plan], text: str | None = None, **measured: int) -> Record:
    """Record a plan of which every splice was read at 0.05 dB, or as a text says."""
    opened = Book(*made, SMALL)
    path = tmp_path / "readings.csv"
    path.write_text(full(opened) if text is None else text, encoding="utf-8")
    marks = {f"{name[0]}/{name[1:].replace('_', '.')}": mm for name, mm in measured.items()}
    return Record(*made, read_readings(str(path), opened), Options(settings=SMALL), measured=marks)


def legs(job: Job) -> dict[str, LegPin]:
    return {pin.subject: pin for pin in job.pins if isinstance(pin, LegPin)}


def test_what_passed_is_built_with_its_marks_and_tries(tmp_path: Path) -> None:
    """120 mm are kept, 40 mm a try: three tries. P/1 was measured at 1,960 mm, 30 mm beyond its computed 1,930."""
    made = recorded(tmp_path, worked(), P1=1960)
    following = made.next_job()
    assert [pin.built for pin in following.pins] == [True] * 6
    assert legs(following)["P:1-24"].measured_mm == 1960
    assert legs(following)["P:25-48"].measured_mm is None
    assert {pin.tries_left for pin in legs(following).values()} == {3}
    path = tmp_path / "next.yaml"
    path.write_text(job_text(following, "next"), encoding="utf-8")
    assert load_job(path).digest == following.digest
    assert load_job(as_file(following)).digest == following.digest
    plan = solve(following, reproducible=True).plan
    assert {(leg.leg, leg.stack, leg.position) for leg in plan.legs} == {
        (leg.leg, leg.stack, leg.position) for leg in made.book.plan.legs
    }


def test_tries_that_were_made_are_gone(tmp_path: Path) -> None:
    text = full(Book(*worked(), SMALL)).splitlines()
    again = "\n".join([text[0] + ",resplices", text[1] + ",2", *(f"{line}," for line in text[2:])]) + "\n"
    following = recorded(tmp_path, worked(), again).next_job()
    assert {name: pin.tries_left for name, pin in legs(following).items()} == {
        "P:1-24": 1, "P:25-48": 3, "Q:1-24": 1, "Q:25-48": 3,
    }  # fmt: skip


def test_what_is_open_is_pinned_and_not_built(tmp_path: Path) -> None:
    """P/1 and Q/1.1 in left/1 are read, P/2 and Q/1.2 in left/2 are not."""
    lines = full(Book(*ported(), SMALL)).splitlines()
    half = [line for line in lines if not line.startswith("P:") or int(line.split(",")[0][2:]) <= 24]
    following = recorded(tmp_path, ported(), "\n".join(half) + "\n").next_job()
    assert {name: pin.built for name, pin in legs(following).items()} == {
        "P:1-24": True, "P:25-48": False, "Q:1-24": True, "Q:25-48": False,
    }  # fmt: skip
    assert all(pin.built for pin in following.pins if isinstance(pin, TrunkPin))
    assert load_job(as_file(following)).digest == following.digest


def test_the_allowance_grows_to_what_was_measured_a_turn_and_never_shrinks(tmp_path: Path) -> None:
    """P/1 is 401 mm longer over two turns: 200.5, so 201 a turn, more than the 122 of the box; or 30 mm, which is less."""
    job, _ = worked()
    assert Exposed().parameters(recorded(tmp_path, worked(), P1=1930 + 401).next_job()).allowance_mm == 201
    assert recorded(tmp_path, worked(), P1=1960).next_job().rules == job.rules
    # Q/1.1 is 250 mm longer over two turns, 125 a turn: the leg that took most decides.
    both = recorded(tmp_path, worked(), P1=1930 + 401, Q1_1=2075 + 250).next_job()
    assert Exposed().parameters(both).allowance_mm == 201


def test_a_built_trunk_exposes_what_was_stripped(tmp_path: Path) -> None:
    """P was cut to 2241 + 120 + 2 × 122 = 2605, so 2,650 mm, Q to 2,750; by default 3,000 mm come off either."""
    plain = recorded(tmp_path, worked()).next_job()
    assert {trunk.id: trunk.exposed_mm for trunk in plain.trunks} == {"P": 3000, "Q": 3000}
    job, plan = worked()
    short = {**job.rules, "exposed": remade(job.rules["exposed"], parameters={"least_mm": 0, "allowance_mm": 122})}
    changed, again = replanned(remade(job, rules=short), plan, job)
    assert {row.trunk: row.strip_mm for row in again.trunks} == {"P": 2650, "Q": 2750}
    following = recorded(tmp_path, (changed, again)).next_job()
    assert {trunk.id: trunk.exposed_mm for trunk in following.trunks} == {"P": 2650, "Q": 2750}
    # More was measured than was allowed for: built legs keep the rule all the same.
    longer = recorded(tmp_path, (changed, again), P1=1930 + 401).next_job()
    assert {trunk.id: trunk.exposed_mm for trunk in longer.trunks} == {"P": 2800, "Q": 2950}
    path = tmp_path / "next.yaml"
    path.write_text(job_text(longer, "next"), encoding="utf-8")
    assert not solve(load_job(path), reproducible=True).plan.value("broken_must")
    # A third life keeps what was stripped in the first.
    second, placed = replanned(
        remade(following, trunks=(remade(following.trunks[0], exposed_mm=2900), following.trunks[1])), again, changed
    )
    third = recorded(tmp_path, (second, placed), "fibre,wavelength_nm,a_to_b_db,b_to_a_db\n").next_job()
    assert {trunk.id: trunk.exposed_mm for trunk in third.trunks} == {"P": 2900, "Q": 2750}


def test_the_sheets_of_the_next_job_know_what_was_measured(tmp_path: Path) -> None:
    text = full(Book(*worked(), SMALL)).splitlines()
    again = "\n".join([text[0] + ",resplices", text[1] + ",2", *(f"{line}," for line in text[2:])]) + "\n"
    made = recorded(tmp_path, worked(), again, P1=1960)
    following = made.next_job()
    plan = solve(following, reproducible=True).plan
    sheets = Sheets(following, plan, Options())
    assert sheets.marks.of["P/1"].measured == 1960
    tries = {row[0]: row[-1] for row in sheets.tables["reopen"].rows}
    assert tries == {"left/1": 1, "left/2": 3}


def test_both_ends_of_a_trunk_that_goes_through_are_built(tmp_path: Path) -> None:
    following = recorded(tmp_path, gone()).next_job()
    assert [(pin.trunk, pin.built) for pin in following.pins if isinstance(pin, TrunkPin)] == [
        ("P.in", True), ("P.out", True), ("Q", True),
    ]  # fmt: skip
    assert load_job(as_file(following)).digest == following.digest


def test_the_command_writes_it(tmp_path: Path) -> None:
    job, plan = worked()
    for name, text in (("job.yaml", dump_rows(as_file(job))), ("plan.json", dump_rows(plan.plain()))):
        (tmp_path / name).write_text(text, encoding="utf-8")
    (tmp_path / "readings.csv").write_text(full(Book(job, plan, SMALL)), encoding="utf-8")
    files = [tmp_path / name for name in ("job.yaml", "plan.json", "readings.csv")]
    done = trayopt("record", *files, "--next", tmp_path / "next.yaml")
    assert done.returncode == 0
    assert all(pin.built for pin in load_job(tmp_path / "next.yaml").pins)
    assert "has not passed" not in done.stderr + (tmp_path / "next.yaml").read_text(encoding="utf-8")


def test_a_batch_that_has_not_passed_is_told_beside_the_next_job(tmp_path: Path) -> None:
    """Its trays stand in the box, but the next job would have its trunks brought in and stripped again."""
    job, plan = worked()
    for name, text in (("job.yaml", dump_rows(as_file(job))), ("plan.json", dump_rows(plan.plain()))):
        (tmp_path / name).write_text(text, encoding="utf-8")
    lines = full(Book(job, plan, SMALL)).splitlines()
    (tmp_path / "readings.csv").write_text("\n".join(lines[:-1]) + "\n", encoding="utf-8")
    files = [tmp_path / name for name in ("job.yaml", "plan.json", "readings.csv")]
    done = trayopt("record", *files, "--next", tmp_path / "next.yaml")
    assert done.returncode == 1
    said = "(left/1, left/2) has not passed: the next job treats its legs as not made yet, and a trunk without other"
    assert f"Batch 1 {said}" in " ".join(done.stderr.split())
    text = (tmp_path / "next.yaml").read_text(encoding="utf-8")
    assert text.count(f"# Note: Batch 1 {said}") == 1
    assert not any(pin.built for pin in load_job(tmp_path / "next.yaml").pins)
    # Recorded again when it has passed, the note is gone, whichever file is written anew.
    (tmp_path / "readings.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    again = solve(load_job(tmp_path / "next.yaml"), reproducible=True).plan
    (tmp_path / "plan.json").write_text(dump_rows(again.plain()), encoding="utf-8")
    done = trayopt("record", tmp_path / "next.yaml", *files[1:], "--next", tmp_path / "third.yaml")
    assert done.returncode == 0, done.stderr
    text = (tmp_path / "third.yaml").read_text(encoding="utf-8")
    assert text.startswith("# The next job of this box")
    assert text.count("# The next job") == 1
    assert "Note" not in text


YARD = """# Two cables of the yard, half a box.
schema: trayopt/job/2
title: Yard
enclosure: hardware/yard-box.yaml  # ours
trunks:
  - {id: N1, cable: hardware/feeder.yaml}
  - {id: S1, cable: ribbon-288-2x144, ribbons: [as_they_are, split]}
joins: joins.csv
rules: {alternate_stacks: off}
"""
MODELS = Path("models")


def test_the_files_of_the_second_life_name_what_the_job_named(tmp_path: Path) -> None:
    """From a job with a box and a cable by path, joins in a table and comments: solve, record, grow, check."""
    (tmp_path / "hardware").mkdir()
    for name, of in (("yard-box", "enclosures/wall-2x6"), ("feeder", "cables/ribbon-288-2x144")):
        text = (MODELS / f"{of}.yaml").read_text(encoding="utf-8").replace(f"id: {Path(of).name}", f"id: {name}")
        (tmp_path / "hardware" / f"{name}.yaml").write_text(text, encoding="utf-8")
    (tmp_path / "job.yaml").write_text(YARD, encoding="utf-8")
    (tmp_path / "joins.csv").write_text("a,b,name\nN1:1-144,S1:1-144,east\n", encoding="utf-8")
    job = load_job(tmp_path / "job.yaml")
    plan = solve(job, reproducible=True).plan
    (tmp_path / "plan.json").write_text(dump_rows(plan.plain()), encoding="utf-8")
    (tmp_path / "readings.csv").write_text(full(Book(job, plan, Settings())), encoding="utf-8")
    leg = plan.legs[0]
    (tmp_path / "measured.csv").write_text(f"leg,measured_mm\n{leg.leg},{(leg.cut_mm or 0) + 500}\n", encoding="utf-8")
    following = tmp_path / "later" / "next.yaml"
    following.parent.mkdir()
    files = [tmp_path / name for name in ("job.yaml", "plan.json", "readings.csv")]
    done = trayopt("record", *files, "--next", following, "--measured", tmp_path / "measured.csv")
    assert done.returncode == 0, done.stderr
    text = following.read_text(encoding="utf-8")
    for kept in (
        "# Two cables",
        "enclosure: ../hardware/yard-box.yaml",
        "cable: ../hardware/feeder.yaml",
        "../joins.csv",
    ):
        assert kept in text
    assert "kind: cable" not in text
    built = load_job(following)
    assert all(pin.built for pin in built.pins)
    assert {pin.ribbons for pin in built.trunk_pins} == {None, "as_they_are"}
    stripped = {way.trunk: way.strip_mm for way in plan.trunks}
    assert all((trunk.exposed_mm or 0) >= (stripped[trunk.id] or 0) > 0 for trunk in built.trunks)
    assert legs(built)[f"{leg.leg[:2]}:{leg.fibres}"].measured_mm == (leg.cut_mm or 0) + 500
    assert Exposed().parameters(built).allowance_mm > Exposed().parameters(job).allowance_mm
    more = ("--cable", "feeder", "--by", "subunit", "-o", tmp_path / "grown", "--ways-out", "0", "--reproducible")
    done = trayopt("grow", following, *more)
    assert done.returncode == 0, done.stderr
    text = (tmp_path / "grown" / "job.yaml").read_text(encoding="utf-8")
    assert "id: new1, cable: ../hardware/feeder.yaml" in text
    assert "a: N1:1-144, b: S1:1-144, name: east" in text
    assert check(load_job(tmp_path / "grown" / "job.yaml"), tmp_path / "grown" / "plan.json").passed


@pytest.mark.parametrize("name", ["mixed-trays-288-later", "2x576-ribbons-of-8-later-wall-2x6"])
def test_the_second_half_of_a_standard_box_is_built_on_what_was_recorded_of_the_first(
    name: str, tmp_path: Path
) -> None:
    """Its built pins, in order, are those of the plan of its first join alone."""
    second = load_job(f"models/standard/{name}.yaml")
    first = remade(second, joins=second.joins[:1], pins=())
    opened = Book(first, solve(first, reproducible=True).plan, Settings())
    path = tmp_path / "readings.csv"
    path.write_text(full(opened), encoding="utf-8")
    made = Record(first, opened.plan, read_readings(str(path), opened), Options(settings=Settings()))
    unmeasured = [pin for pin in made.next_job().pins if pin.built]
    assert [pin.subject for pin in unmeasured] == [pin.subject for pin in second.pins]
    assert [getattr(pin, "position", None) for pin in unmeasured] == [
        getattr(pin, "position", None) for pin in second.pins
    ]
    assert {pin.ribbons for pin in unmeasured if isinstance(pin, TrunkPin)} == {
        pin.ribbons for pin in second.pins if isinstance(pin, TrunkPin)
    }


def test_the_standard_job_of_a_second_life_is_what_was_recorded_of_the_first(tmp_path: Path) -> None:
    """Its pins are those of the first job's plan, all of it read and passed; a capped end stays free to be spliced."""
    first, second = (
        load_job(f"models/standard/288-through-{name}-wall-2x6.yaml") for name in ("tap-of-48", "second-branch")
    )
    opened = Book(first, solve(first, reproducible=True).plan, Settings())
    path = tmp_path / "readings.csv"
    path.write_text(full(opened), encoding="utf-8")
    marks = {leg.leg: pin.measured_mm for leg in opened.all_legs if (pin := legs(second)[str(opened.run(leg))])}
    measured = {name: mm for name, mm in marks.items() if mm is not None}
    made = Record(first, opened.plan, read_readings(str(path), opened), Options(settings=Settings()), measured=measured)
    assert made.next_job().pins == second.pins
    assert [item.a.trunk for item in second.joins] == ["M1.in", "M1.out"]
    assert len(measured) == 8
