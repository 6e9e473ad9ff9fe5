"""Keeping the result of a search: its file is checked before the search, and if writing fails, the result goes to stdout."""

from __future__ import annotations

from collections.abc import Callable

from trayopt.cli.output import Output


def find_out(file: str | None, room: int = 0) -> None:
    """Check before a search that its file can be written.

    Parameters
    ----------
    file
        The file that ``-o`` names; None for no file, ``-`` for stdout.
    room
        The approximate size of the file in bytes.

    Raises
    ------
    InputError
        If the folder does not exist, may not be written to, or has too little room.
    """
    from trayopt.formats.json_out import can_be_written

    if file not in {None, "-"}:
        can_be_written(str(file), room)


def kept(output: Output, file: str, write: Callable[[], None], otherwise: Callable[[], str]) -> bool:
    """Write a file and return whether that worked; if not, report it and print the content to stdout instead."""
    from trayopt.errors import InputError

    try:
        write()
    except InputError as wrong:
        output.faults(wrong)
        if not output.json:
            output.warn(f"{file} is not written; the plan goes to standard output instead")
        output.write(otherwise())
        return False
    return True
