"""trayopt: a constraint solver for optimal tray and stack assignment."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from trayopt.api import check, explain, load_job, solve

__all__ = ["check", "explain", "load_job", "solve"]
__version__ = "0.1.0"


def __getattr__(name: str) -> Any:
    """Give a use case, loaded when it is first asked for: no room of the package has the name of one."""
    if name in __all__:
        from importlib import import_module

        return getattr(import_module("trayopt.api"), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
