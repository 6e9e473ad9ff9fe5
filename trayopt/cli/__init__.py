"""F7: the commands, each in a file of its own."""

from __future__ import annotations

import os

TYPE_CHECKING = False  # import nothing here that Python has not loaded itself: Ctrl-C is not handled yet
if TYPE_CHECKING:
    from collections.abc import Sequence
    from typing import NoReturn

__all__ = ["main"]


def main(arguments: Sequence[str] | None = None) -> NoReturn:
    """Run a command and end the process with its exit code.

    Requests to end are heard from the beginning, before anything else is loaded.
    """
    try:
        from trayopt.cli.stopping import STOPPING
    except KeyboardInterrupt:
        os._exit(130)  # the handler of Ctrl-C is not loaded yet

    with STOPPING.heard():
        try:
            from trayopt.cli.app import main as run

            run(arguments)
        except (KeyboardInterrupt, Exception):
            if STOPPING.asked is None:
                raise
            os._exit(STOPPING.code)
