"""trayopt: a constraint solver for optimal tray and stack assignment.

The use cases, one function each: ``load_job``, ``solve``, ``check``, ``explain``, ``judge``, ``prove``, ``certify``, ``verify``,
``mend``, ``compare``, ``prices``, ``grow``, ``sheets``, ``record`` and ``batch``.
"""

from __future__ import annotations

TYPE_CHECKING = False  # import nothing here: Ctrl-C is not handled yet
if TYPE_CHECKING:
    from trayopt.api import (
        certify,
        check,
        compare,
        explain,
        grow,
        judge,
        load_job,
        mend,
        prices,
        prove,
        record,
        sheets,
        solve,
        verify,
    )
    from trayopt.batches.batch import batch

__all__ = [
    "batch",
    "certify",
    "check",
    "compare",
    "explain",
    "grow",
    "judge",
    "load_job",
    "mend",
    "prices",
    "prove",
    "record",
    "sheets",
    "solve",
    "verify",
]
__version__ = "0.1.0"


def __getattr__(name: str) -> object:
    """Load a use case when it is first asked for. No room of the package has the name of a use case."""
    if name in __all__:
        from importlib import import_module

        return getattr(import_module("trayopt.batches.batch" if name == "batch" else "trayopt.api"), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
