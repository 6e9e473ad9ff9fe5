"""F5: the use cases, one function each: load a job, solve it, check a plan, explain … The commands only call these functions.

Each file of the room holds use cases of one kind. A function imports the rooms that it needs when it is called.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from trayopt.api.certifying import Verified, certify, verify
    from trayopt.api.explaining import carry_out, explain
    from trayopt.api.growing import grow, grown_plan
    from trayopt.api.hardware import (
        hardware_of,
        hardware_page,
        hardware_picture,
        library_entries,
        library_survey,
        measuring_sheet,
        new_hardware,
        use_picture,
    )
    from trayopt.api.judging import check, compare, judge
    from trayopt.api.mending import mend
    from trayopt.api.pricing import Habits, habits, prices
    from trayopt.api.printing import plan_pictures, record, sheets
    from trayopt.api.proving import Proofs, prove
    from trayopt.api.reading import json_schema, load_job
    from trayopt.api.solving import EXPLAIN_S, Result, solve

__all__ = [
    "EXPLAIN_S",
    "Habits",
    "Proofs",
    "Result",
    "Verified",
    "carry_out",
    "certify",
    "check",
    "compare",
    "explain",
    "grow",
    "grown_plan",
    "habits",
    "hardware_of",
    "hardware_page",
    "hardware_picture",
    "json_schema",
    "judge",
    "library_entries",
    "library_survey",
    "load_job",
    "measuring_sheet",
    "mend",
    "new_hardware",
    "plan_pictures",
    "prices",
    "prove",
    "record",
    "sheets",
    "solve",
    "use_picture",
    "verify",
]

_FILES = {
    "certifying": ("Verified", "certify", "verify"),
    "explaining": ("carry_out", "explain"),
    "growing": ("grow", "grown_plan"),
    "hardware": (
        "hardware_of",
        "hardware_page",
        "hardware_picture",
        "library_entries",
        "library_survey",
        "measuring_sheet",
        "new_hardware",
        "use_picture",
    ),
    "judging": ("check", "compare", "judge"),
    "mending": ("mend",),
    "pricing": ("Habits", "habits", "prices"),
    "printing": ("plan_pictures", "record", "sheets"),
    "proving": ("Proofs", "prove"),
    "reading": ("json_schema", "load_job"),
    "solving": ("EXPLAIN_S", "Result", "solve"),
}
"""The use cases of each file, which is loaded when one of them is first asked for."""


def __getattr__(name: str) -> object:
    """Load a use case."""
    for file, names in _FILES.items():
        if name in names:
            return getattr(import_module(f"trayopt.api.{file}"), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
