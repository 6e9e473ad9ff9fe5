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
    from trayopt.version import __version__ as __version__

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


def __getattr__(name: str) -> object:
    """Load a use case or the version when it is first asked for. No room of the package has the name of a use case."""
    if name in (*__all__, "__version__"):
        from importlib import import_module

        room = {"__version__": "version", "batch": "batches.batch"}.get(name, "api")
        return getattr(import_module(f"trayopt.{room}"), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
