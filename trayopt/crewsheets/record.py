"""The record of a plan: its readings judged by splice and batch, the splices to make again, and the plan as built."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cached_property
from pathlib import Path
from typing import Any

from trayopt.crewsheets.readings import Reading, Readings
from trayopt.crewsheets.write import Options, Sheets, write_folder
from trayopt.domain.job import Job
from trayopt.domain.plan import Plan


class Record:
    """A plan with its readings.

    Parameters
    ----------
    job, plan, options, measured
        As for ``Sheets``.
    readings
        The readings.
    """

    def __init__(
        self, job: Job, plan: Plan, readings: Readings, options: Options, *, measured: Mapping[str, int] | None = None
    ) -> None:
        self.sheets = Sheets(job, plan, options, measured=measured, readings=readings)
        self.readings = readings
        self.book = self.sheets.book

    @property
    def passed(self) -> bool:
        """Whether every batch passed."""
        return all(self.readings.batch_result(batch) == "pass" for batch in self.book.batches)

    def counts(self) -> dict[str, int]:
        """Count results over all splices to be made and all wavelengths: passed, failed, and open."""
        found = {"pass": 0, "fail": 0, "open": 0}
        judged = [reading for reading in self.readings.by_splice.values() if not self.in_service(reading)]
        for reading in judged:
            found[self.readings.result(reading)] += 1
        wanted = len(self.readings.waves) * sum(sleeve.a.count for sleeve in self.book.sleeves_to_make)
        found["open"] += wanted - len(judged)
        return found

    def in_service(self, reading: Reading) -> bool:
        """Whether a reading belongs to a splice that was made before; such a reading is kept, but decides nothing."""
        return (reading.trunk, reading.fibre) in self._served

    @cached_property
    def _served(self) -> frozenset[tuple[str, int]]:
        made = [sleeve.a for sleeve in self.book.sleeves if self.book.made(sleeve)]
        return frozenset((run.trunk, fibre) for run in made for fibre in range(run.first, run.last + 1))

    def batches(self) -> list[dict[str, Any]]:
        """Return every batch with its result, and whether it was read before the batches under it had passed."""
        from trayopt.crewsheets.figures import place_name

        found: list[dict[str, Any]] = []
        under_passed = True
        for batch in self.book.batches:
            result = self.readings.batch_result(batch)
            begun = any(self.readings.begun(tray) for tray in batch.trays)
            found.append(
                {
                    "batch": batch.number,
                    "trays": [place_name(self.book.trays[i]) for i in batch.trays],
                    "splices": batch.fibres,
                    "result": result,
                    "mean_db": [
                        {"wavelength_nm": wave, "db": _number(round(mean, 4))}
                        for wave, mean in self.readings.batch_means(batch).items()
                    ],
                    "over_untested": begun and not under_passed,
                }
            )
            under_passed = under_passed and result == "pass"
        return found

    def again(self) -> list[dict[str, Any]]:
        """Return the splices over the limit, with the columns of the list of the same name."""
        from trayopt.crewsheets.lists.tests import again_table

        table = again_table(self.book, self.readings, self.sheets.tell)
        keys = [column.key for column in table.columns]
        return [dict(zip(keys, row, strict=True)) for row in table.rows]

    def as_built(self) -> dict[str, Any]:
        """Return the plan as it was built: the plan, the measurements, every reading, and pins for the next job."""
        return {
            "schema": "trayopt/as-built/1",
            "passed": self.passed,
            "limit": {
                "db": self.book.settings.tests.limit_db,
                "source": self.book.settings.tests.limit_source,
                "of": "mean of both directions",
            },
            "batch_limit": {
                "db": self.book.settings.tests.batch_mean_db,
                "source": self.book.settings.tests.batch_mean_source,
                "of": "mean of a batch at each wavelength",
            },
            "counts": self.counts(),
            "batches": self.batches(),
            "again": self.again(),
            "measured": [
                {"leg": mark.leg, "measured_mm": mark.measured, "computed_mm": mark.entrance - mark.correction}
                for mark in self.sheets.marks.of.values()
                if mark.measured is not None
            ],
            "readings": [
                {
                    "fibre": f"{reading.trunk}:{reading.fibre}",
                    "wavelength_nm": reading.wavelength,
                    "a_to_b_db": _number(reading.a_to_b),
                    "b_to_a_db": _number(reading.b_to_a),
                    "mean_db": _number(reading.mean),
                    "result": self.readings.result(reading),
                    "in_service": self.in_service(reading),
                }
                for reading in sorted(self.readings.by_splice.values(), key=self._order)
            ],
            "pins": self.pins(),
            "plan": self.book.plan.plain(),
        }

    def pins(self) -> list[dict[str, Any]]:
        """Return the pins of everything built, for the job of a later extension.

        The place of division of a trunk is pinned once one of its subunits is divided.
        """
        ways: list[dict[str, Any]] = []
        for trunk, way in self.book.ways.items():
            pin = {"trunk": trunk, "port": way.port, "travel": way.travel, "loops": way.loops}
            if any(leg.of > 1 for leg in self.book.legs[trunk]):
                pin["divide_at"] = way.divide_at
            if way.ribbons is not None:
                pin["ribbons"] = way.ribbons
            ways.append({**pin, "built": True})
        legs = [
            {"leg": str(self.book.run(leg)), "stack": leg.stack, "position": leg.position, "built": True}
            for leg in self.book.all_legs
        ]
        return [*ways, *legs]

    def next_job(self) -> Job:
        """Return the job of the box's next extension, in which everything that passed is built."""
        from trayopt.crewsheets.next_job import next_job

        return next_job(self.book, self.sheets.marks, self.readings)

    def files(self) -> dict[str, bytes]:
        """Make every file: the sheets with readings filled in, the plan, and the record."""
        from trayopt.formats.json_out import dump_rows

        made = self.sheets.files()
        made["plan.json"] = dump_rows(self.book.plan.plain()).encode()
        made["as-built.json"] = dump_rows(self.as_built()).encode()
        return made

    def write(self, folder: str | Path) -> list[str]:
        """Write every file into a folder, which is made if it does not exist, and return the names of the files.

        Raises
        ------
        InputError
            If a file cannot be written.
        """
        return write_folder(folder, self.files(), self.sheets.plan_digest)

    def _order(self, reading: Any) -> tuple[int, int, int]:
        return self.book.job.trunk_rank[reading.trunk], reading.fibre, reading.wavelength


def _number(value: object) -> float | None:
    return None if value is None else float(str(value))
