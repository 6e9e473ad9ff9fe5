"""Settings of the sheets that a crew may change: spares, paces, test limits. They are estimates unless a source is named."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Any

from pydantic import Field, field_validator, model_validator

from trayopt.domain.base import Frozen
from trayopt.domain.labour import Labour
from trayopt.rules.exposed import TRY_MM

Percent = Annotated[float, Field(ge=0, le=1000, allow_inf_nan=False)]
Amount = Annotated[float, Field(ge=0, le=100_000, allow_inf_nan=False)]
Whole = Annotated[int, Field(ge=0, le=100_000)]


Decibel = Annotated[float, Field(gt=0, le=10, allow_inf_nan=False)]
Source = Annotated[str, Field(min_length=1, max_length=200)]
PRACTICE = "common practice in outside plant, no source"
OWN = "as set, no source given"


class TestSettings(Frozen):
    """Settings of tests: batches, wavelengths in nm, and limits of the loss in dB.

    ``limit_db`` is compared with the mean of both directions of a splice, ``batch_mean_db`` with the mean of a batch at each
    wavelength. If a limit is set without its source, the sheets say that it has none.
    """

    batch_fibres: Annotated[int, Field(ge=1, le=100_000)] = 288
    wavelengths_nm: Annotated[tuple[Annotated[int, Field(ge=600, le=2000)], ...], Field(min_length=1, max_length=6)] = (
        1310,
        1550,
    )
    limit_db: Decibel = 0.2
    limit_source: Source = PRACTICE
    batch_mean_db: Decibel = 0.1
    batch_mean_source: Source = PRACTICE

    @model_validator(mode="before")
    @classmethod
    def _sources(cls, value: Any) -> Any:
        """Replace the source of the default if another limit is set without a source."""
        if not isinstance(value, Mapping):
            return value
        own = {f"{name}_source": OWN for name in ("limit", "batch_mean") if f"{name}_db" in value}
        return {**own, **value}

    @field_validator("wavelengths_nm")
    @classmethod
    def _once(cls, value: tuple[int, ...]) -> tuple[int, ...]:
        if len(set(value)) < len(value):
            raise ValueError("a wavelength is given twice")
        return value


class MaterialSettings(Frozen):
    """Spares, waste, and consumption for each leg. The values have no source unless one is named; they are judgement."""

    spare_trays: Whole = 0
    spare_sleeves_percent: Percent = 5
    spare_matrix_percent: Percent = 10
    tube_waste_percent: Percent = 10
    tube_past_mm: Whole = 30
    """Length by which a tube reaches past the tie-down at the entrance of the tray."""
    parting_mm: Whole = 150
    """Length by which a tube opened for several legs ends before its first entrance (common practice, no source)."""
    ties_per_leg: Whole = 2
    ties_per_guide_pass: Whole = 1
    """Ties for each pass of a trunk at a guide."""
    spare_ties_percent: Percent = 10
    tape_mm_per_leg: Whole = 150
    wipes_per_splice: Amount = 2
    """Wipes for a ribbon splice or a single splice."""
    solvent_ml_per_splice: Amount = 1.5
    gel_solvent_ml_per_subunit: Amount = 20
    """Solvent that takes the gel off the fibres of an opened unit."""


class ResplicePace(Frozen):
    """Length that each try at a splice takes off each side, in mm (common practice: about 40 mm of ribbon)."""

    each_mm: Annotated[int, Field(ge=1, le=10_000)] = TRY_MM


class Settings(Frozen):
    """All settings of the sheets; the file of ``--settings`` may hold any of these keys."""

    tests: TestSettings = TestSettings()
    materials: MaterialSettings = MaterialSettings()
    resplice: ResplicePace = ResplicePace()
    labour: Labour = Labour()


TestSettings.__test__ = False  # type: ignore[attr-defined]


def read_settings(path: str | Path) -> Settings:
    """Read a settings file (YAML), or standard input for ``-``.

    Raises
    ------
    InputError
        With every fault of the file, each with line and column.
    """
    from trayopt.errors import InputError
    from trayopt.formats.validate import validate
    from trayopt.formats.yaml_in import read_yaml

    located = read_yaml(path)
    made, faults = validate(Settings, located.data, located)
    if made is None or located.faults:
        raise InputError([*faults, *located.faults])
    return made


def settings_text(settings: Settings) -> str:
    """Write settings as a file that ``read_settings`` reads again."""
    import json

    lines = ["# What these sheets assume. Change a figure, and pass the file back with --settings."]
    for part, values in settings.model_dump(mode="json").items():
        lines.append(f"{part}:")
        lines += [f"  {key}: {json.dumps(value)}" for key, value in values.items()]
    return "\n".join(lines) + "\n"
