"""All sheets of a plan: made in memory first, then written as a whole; files of an older run are removed."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING

from trayopt.crewsheets.book import Book
from trayopt.crewsheets.lengths import Units
from trayopt.crewsheets.marks import Marks
from trayopt.crewsheets.readings import Readings
from trayopt.crewsheets.settings import Settings, settings_text
from trayopt.crewsheets.tables import Table, csv_text, xlsx_bytes
from trayopt.crewsheets.units import Teller
from trayopt.crewsheets.words import words_of
from trayopt.domain.former import names_job
from trayopt.domain.job import Job
from trayopt.domain.plan import Plan
from trayopt.domain.said import joined, said
from trayopt.errors import InputError
from trayopt.formats.folder_out import write_folder_whole
from trayopt.formats.xlsx_in import not_written
from trayopt.pictures.base import Picture

if TYPE_CHECKING:
    from trayopt.crewsheets.lists.labels import Label

PARTS: dict[str, tuple[str, ...]] = {
    "box": (),
    "steps": ("steps",),
    "strip": ("strip", "marks"),
    "splices": ("splices", "fibres"),
    "tests": ("batches", "tests", "again"),
    "materials": ("materials", "tools"),
    "labels": ("labels",),
    "labour": ("labour", "labour_trays"),
    "reopen": ("reopen", "passing"),
}
"""Parts that ``--only`` may name, each with its lists; ``box`` stands for the pictures."""
CONTENTS = "contents.json"


@dataclass(frozen=True)
class Options:
    """Options of the sheets: parts (all if none is named), language, units, and codes on labels."""

    only: tuple[str, ...] = ()
    language: str = "en"
    units: Units = "metric"
    codes: bool = False
    settings: Settings = field(default_factory=Settings)

    @property
    def parts(self) -> tuple[str, ...]:
        """The chosen parts in the order of the page."""
        return tuple(part for part in PARTS if not self.only or part in self.only)


class Sheets:
    """The sheets of a plan.

    Parameters
    ----------
    job, plan
        A plan of this job with every figure right (see ``fitting``).
    options
        Parts, language, units, codes and settings.
    measured
        Measured entrance marks in mm by leg.
    readings
        The filled-in test record; None for a blank record.
    """

    def __init__(
        self,
        job: Job,
        plan: Plan,
        options: Options | None = None,
        *,
        measured: Mapping[str, int] | None = None,
        readings: Readings | None = None,
    ) -> None:
        from trayopt.crewsheets.steps import steps_of

        self.options = options or Options()
        self.book = Book(job, plan, self.options.settings)
        self.tell = Teller(words_of(self.options.language), self.options.units)
        self.marks = Marks(self.book, {**self.book.measured_before, **(measured or {})})
        self.readings = readings or Readings.none(self.book)
        self.steps = steps_of(self.book, self.marks, self.tell)

    @cached_property
    def tables(self) -> dict[str, Table]:
        """The lists of the chosen parts, by id."""
        from trayopt.crewsheets.lists import labels, labour, materials, reopen, splices, strip, tests
        from trayopt.crewsheets.lists.steps import steps_table

        book, marks, tell, readings = self.book, self.marks, self.tell, self.readings
        made = {
            "steps": lambda: steps_table(self.steps, tell),
            "strip": lambda: strip.strip_table(book, marks, tell),
            "marks": lambda: strip.marks_table(book, marks, tell),
            "splices": lambda: splices.splices_table(book, tell),
            "fibres": lambda: splices.fibres_table(book, tell),
            "batches": lambda: tests.batches_table(book, readings, tell),
            "tests": lambda: tests.tests_table(book, readings, tell),
            "again": lambda: tests.again_table(book, readings, tell),
            "materials": lambda: materials.materials_table(book, marks, len(self.labels), tell),
            "tools": lambda: materials.tools_table(book, tell),
            "labels": lambda: labels.labels_table(self.labels, tell),
            "labour": lambda: labour.labour_table(book, self.steps, tell),
            "labour_trays": lambda: labour.labour_trays_table(book, self.steps),
            "reopen": lambda: reopen.reopen_table(book, readings, tell),
            "passing": lambda: reopen.passing_table(book, tell),
        }
        wanted = [name for part in self.options.parts for name in PARTS[part]]
        there = {"again": bool(readings), "passing": any(item.uncut for item in book.passing)}
        return {name: made[name]() for name in wanted if there.get(name, True)}

    @cached_property
    def labels(self) -> list[Label]:
        """The labels."""
        from trayopt.crewsheets.lists.labels import labels_of

        return labels_of(self.book, self.tell)

    @cached_property
    def pictures(self) -> dict[str, Picture]:
        """The pictures of the chosen parts, by id."""
        from trayopt.crewsheets.geometry.front import front_picture
        from trayopt.crewsheets.geometry.order import order_picture
        from trayopt.crewsheets.geometry.side import side_picture
        from trayopt.crewsheets.geometry.tray import tray_picture

        book, tell, made = self.book, self.tell, []
        if "box" in self.options.parts:
            made += [front_picture(book, tell), side_picture(book, tell)]
            made += [order_picture(book, trunk, tell) for trunk in book.ways if book.legs[trunk]]
        if {"box", "splices"} & set(self.options.parts):
            made += [tray_picture(book, i, tell) for i in range(len(book.trays))]
        return {picture.id: picture for picture in made}

    @cached_property
    def plan_digest(self) -> str:
        """Digest of the plan, under which a browser keeps ticks and readings."""
        text = json.dumps(self.book.plan.plain(), sort_keys=True, separators=(",", ":"), ensure_ascii=False)
        return sha256(text.encode()).hexdigest()

    def page(self) -> str:
        """Return the page."""
        from trayopt.crewsheets.html import page_text

        return page_text(
            self.book,
            self.marks,
            self.readings,
            self.steps,
            self.tables,
            self.pictures,
            self.labels,
            self.tell,
            parts=self.options.parts,
            plan_digest=self.plan_digest,
            codes=self.options.codes,
        )

    def files(self) -> dict[str, bytes]:
        """Make every file; return the contents by name in the folder."""
        from trayopt.pictures.svg import svg_file

        words, units = self.tell.words, self.options.units
        made = {"index.html": self.page().encode()}
        made |= {
            f"{name}.csv": csv_text(table, words, units, self.safety[name]).encode()
            for name, table in self.tables.items()
        }
        if self.workbook is not None:
            made["lists.xlsx"] = self.workbook
        if "box" in self.options.parts:
            for number, picture in enumerate(self.pictures.values(), start=1):
                made[f"pictures/{number:03d}-{file_name(picture.id)}.svg"] = svg_file(
                    picture, self.tell("safety.page")
                ).encode()
        made["settings.yaml"] = settings_text(self.options.settings).encode()
        return made

    def warnings(self) -> list[str]:
        """Return what a crew must know before it begins."""
        from trayopt.crewsheets.html import warnings_of

        return list(warnings_of(self.book, self.marks, self.steps, self.tell))

    def left_out(self) -> list[str]:
        """Return messages on files that cannot be written, with what to do about it."""
        if self.tables and self.workbook is None:
            return [not_written("lists.xlsx")]
        return []

    @cached_property
    def workbook(self) -> bytes | None:
        """All lists as one workbook; None if there are no lists, or no openpyxl."""
        if not self.tables:
            return None
        return xlsx_bytes(self.tables.values(), self.tell.words, self.options.units, self.safety)

    @cached_property
    def safety(self) -> dict[str, str]:
        """The line of safety of each list: the line of its part, except for uncut tubes, which have their own."""
        told = {name: self.tell(f"safety.{part}") for part, names in PARTS.items() for name in names}
        return told | {"passing": self.tell("safety.passing")}

    def write(self, folder: str | Path) -> list[str]:
        """Write every file into a folder, which is made if it does not exist, and return the names of the files.

        Raises
        ------
        InputError
            If a file cannot be written.
        """
        return write_folder(folder, self.files(), self.plan_digest)


def fitting(job: Job, plan: Plan, source: str = "<plan>") -> None:
    """Check that a plan can go to the wall: it is a plan of this job, and every figure in it is right.

    Raises
    ------
    InputError
        If the plan is of another job, is empty, breaks a rule that always holds, or states a wrong figure.
    """
    from trayopt.checker.checking import check

    if not names_job(plan.job, job):
        hint = said("solve the job again, or name the job that the plan was made for")
        raise InputError.one(
            said("the plan was made for another job, or the job was changed since"), source=source, hint=hint
        )
    if plan.status == "none":
        raise InputError.one(
            said("there is no plan in this file: the search was stopped before it found one"), source=source
        )
    report = check(job, plan, source)
    wrong: list[str] = [str(figure) for figure in report.figures if not figure.path.endswith(".because")]
    wrong += [said("{subject}: {fact}", subject=found.subject, fact=found.because) for found in report.at("always")]
    if wrong:
        found = joined(wrong[:3], "; ")
        if len(wrong) > 3:
            found = said("{facts} (and {more} more)", facts=found, more=len(wrong) - 3)
        raise InputError.one(
            said("the plan fails its check"), source=source, found=found, hint=said("see trayopt check, or solve again")
        )


def file_name(text: str) -> str:
    """Make a file name from an id, with only letters, digits, dots and hyphens."""
    return re.sub(r"[^A-Za-z0-9.-]+", "-", text).strip(".-")[:60] or "picture"


def write_folder(folder: str | Path, made: Mapping[str, bytes], plan_digest: str) -> list[str]:
    """Write files into a folder, all or none, and remove files that the last run wrote and this run does not."""
    listing = json.dumps({"plan": plan_digest, "files": sorted(made)}, indent=2) + "\n"
    gone = _left_behind(Path(folder) / CONTENTS, made)
    write_folder_whole(folder, {**made, CONTENTS: listing.encode()}, CONTENTS, gone)
    return [*made, CONTENTS]


def _left_behind(listing: Path, made: Iterable[str]) -> Sequence[str]:
    """Return the files of an earlier run, by its listing; only names that such a run can have written."""
    try:
        names = json.loads(listing.read_text(encoding="utf-8"))["files"]
    except (OSError, ValueError, KeyError, TypeError):
        return []
    ours = re.compile(r"(pictures/)?[A-Za-z0-9_-][A-Za-z0-9._-]*")
    return [name for name in names if isinstance(name, str) and ours.fullmatch(name) and name not in set(made)]
