"""F7: the commands, one a file."""

from __future__ import annotations

import os
from collections.abc import Sequence
from typing import NoReturn

__all__ = ["main"]


def main(arguments: Sequence[str] | None = None) -> NoReturn:
    """Run a command and end the process with its exit code.

    Requests to end are heard from the beginning, before anything else is loaded.
    """
    from trayopt.cli.stopping import STOPPING

    with STOPPING.heard():
        try:
            from trayopt.cli.app import main as run

            run(arguments)
        except (KeyboardInterrupt, Exception):
            if STOPPING.asked is None:
                raise
            os._exit(STOPPING.code)
