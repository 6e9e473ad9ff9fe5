"""Fibres by tube, ribbon and fibre: numbers, and colours as in 7 CFR 1755.200 (1995), (e)(9), table 7."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests import strategies
from tests.build import job_of
from trayopt.domain.trunk import Trunk
from trayopt.formats.fibres import by_colour, fibres_at, fibres_of, read_run, tidy
from trayopt.library.job import read_job
from trayopt.rules.registry import fill


@pytest.fixture
def trunk() -> Trunk:
    """Give a trunk of 2 tubes of 2 ribbons of 12."""
    return job_of(strategies.worked_example()).trunk_by_id["P"]


@pytest.mark.parametrize(
    ("text", "run"),
    [
        ("1-48", (1, 48)),
        ("7", (7, 7)),
        (" 13 \u2013 24 ", (13, 24)),
        ("blue", (1, 24)),
        ("orange", (25, 48)),
        ("blue/orange/1-12", (13, 24)),
        ("2/1/all", (25, 36)),
        ("OR/BL/BL-WH", (25, 30)),
        ("blue/1-2/all", (1, 24)),
        ("blue-orange", (1, 48)),
        ("2/13-24", (37, 48)),
        ("blue/blue/aqua", (12, 12)),
    ],
)
def test_reads_numbers_colours_and_ranges(trunk: Trunk, text: str, run: tuple[int, int]) -> None:
    assert fibres_of(trunk, text) == run


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "fibres are written"),
        ("49", "P has fibres 1 to 48"),
        ("24-13", "not above its last"),
        ("green", "P has tubes 1 to 2"),
        ("blue/green/1", "P/1 has ribbons 1 to 2"),
        ("blue/blue/1-13", "a ribbon of P/1 has fibres 1 to 12"),
        ("blue/rose", "write tube/ribbon/fibres"),
        ("blue/1-2/3", "nothing but 'all'"),
        ("blue-orange/1", "nothing but 'all'"),
        ("mauve/1/1", "is not a TIA-598 colour"),
        ("1/2/3/4", "fibres are written"),
        ("1/white-blue/1", "runs backwards"),
        ("0/1/1", "P has tubes 1 to 2"),
        ("1/0/1", "P/1 has ribbons 1 to 2"),
        ("1/1/0-3", "a ribbon of P/1 has fibres 1 to 12"),
    ],
)
def test_says_what_is_allowed(trunk: Trunk, text: str, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        fibres_of(trunk, text)


def test_every_fibre_of_a_cable_has_one_name_by_colour() -> None:
    """12 x 12 x 12: tube = (n - 1) div 144, ribbon = (n - 1) mod 144 div 12 (position arithmetic, calculated)."""
    data = strategies.worked_example()
    data["trunks"][0]["cable"]["subunits"] = [{"count": 12, "ribbons": 12, "ribbon_fibres": 12, "diameter_mm": 5}]
    trunk = job_of(data).trunk_by_id["P"]
    assert fibres_of(trunk, "brown/white/black") == (500, 500)
    assert fibres_of(trunk, "red/aqua/brown") == (1000, 1000)
    assert fibres_at(trunk, "12", "12", "12") == (1728, 1728)
    read = [
        fibres_at(trunk, str(t), str(r), str(f))[0] for t in range(1, 13) for r in range(1, 13) for f in range(1, 13)
    ]
    assert read == list(range(1, 1729))


def test_a_run_names_its_trunk(trunk: Trunk) -> None:
    assert str(read_run("P:blue/orange/1-12", {"P": trunk})) == "P:13-24"
    with pytest.raises(ValueError, match="no trunk Q; the trunks are P"):
        read_run("Q:blue", {"P": trunk})
    with pytest.raises(ValueError, match="a run is written trunk:fibres"):
        read_run("blue/orange", {"P": trunk})


def test_only_the_other_notation_is_by_colour() -> None:
    assert not by_colour("1 - 72")
    assert by_colour("1/2/1-12")
    assert by_colour("blue")
    assert tidy("1\u00a0\u2013\u00a012") == "1-12"


def test_joins_of_a_table_are_read_by_colour_too(tmp_path: Path) -> None:
    (tmp_path / "joins.csv").write_text("a,b,name\nN1:blue/1-6/all,S1:1-72,near\nN1:orange,S1:orange,far\n")
    job = read_job(
        {
            "enclosure": "wall-2x6",
            "trunks": [{"id": "N1", "cable": "ribbon-288-2x144"}, {"id": "S1", "cable": "ribbon-288-2x144"}],
            "joins": str(tmp_path / "joins.csv"),
        },
        fill_rules=fill,
    )
    assert [(str(join.a), str(join.b)) for join in job.joins] == [("N1:1-72", "S1:1-72"), ("N1:145-288", "S1:145-288")]
