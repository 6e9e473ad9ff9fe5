"""trayopt: a constraint solver for optimal tray and stack assignment."""

from __future__ import annotations

import sys
from types import ModuleType
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from trayopt.api import check, explain, load_job, solve  # noqa: TC004 - loaded on demand, below

__all__ = ["check", "explain", "load_job", "solve"]
__version__ = "0.1.0"


class _Package(ModuleType):
    """The package with its use cases as attributes, loaded when they are first asked for.

    Rooms of the same names (``trayopt.check``, ``trayopt.solve``) set themselves as attributes when they are imported;
    the use cases stand before them, so that ``from trayopt import solve`` is the function at any time.
    """

    def __getattribute__(self, name: str) -> Any:
        if name in {"check", "explain", "load_job", "solve"}:
            from importlib import import_module

            return getattr(import_module("trayopt.api"), name)
        return super().__getattribute__(name)


sys.modules[__name__].__class__ = _Package
