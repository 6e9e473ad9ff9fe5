"""F7: the commands, one a file."""

from __future__ import annotations

from trayopt.cli.app import main

__all__ = ["main"]
