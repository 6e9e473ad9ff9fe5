"""What a search came to is not lost where its file cannot be written: that is found out before, or it goes to stdout."""

from __future__ import annotations

from collections.abc import Callable

from trayopt.cli.output import Output


def find_out(file: str | None, room: int = 0) -> None:
    """Refuse a file that cannot be written before anything is searched for it.

    Parameters
    ----------
    file
        What ``-o`` names; None for nothing, ``-`` for stdout.
    room
        About how many bytes it will take.

    Raises
    ------
    InputError
        If the folder is not there, may not be written to, or has not that much room.
    """
    from trayopt.formats.json_out import can_be_written

    if file not in {None, "-"}:
        can_be_written(str(file), room)


def kept(output: Output, file: str, write: Callable[[], None], otherwise: Callable[[], str]) -> bool:
    """Write a file; where that fails say so, and print what would be lost to stdout. Tells whether it was written."""
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
