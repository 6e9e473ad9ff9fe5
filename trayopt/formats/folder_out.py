"""Writing a folder of files: either all of them or none."""

from __future__ import annotations

import contextlib
import os
import shutil
import tempfile
from collections.abc import Iterable, Mapping
from pathlib import Path

from trayopt.errors import InputError

HINT = "name a folder that you may write to, and that has room"


def write_folder_whole(folder: str | Path, made: Mapping[str, bytes], last: str, gone: Iterable[str] = ()) -> None:
    """Write files into a folder, either all or none; other files in the folder stay as they are.

    All files are first written to a new folder inside this folder, and then moved to their names. If a move fails, the older
    files are put back. The ``last`` file is removed first and written last, so a process that is killed in between leaves none.

    Parameters
    ----------
    folder
        The folder; it is made if it does not exist.
    made
        The content of each file by its name, which may contain one folder.
    last
        The file among ``made`` that marks the folder as complete.
    gone
        Names of files of an older run that are removed.

    Raises
    ------
    InputError
        If a file cannot be written.
    """
    folder = Path(folder)
    fresh = _first_missing(folder)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(dir=folder, prefix=".", suffix=".part", ignore_cleanup_errors=True) as name:
            new, old = Path(name) / "new", Path(name) / "old"
            for file, content in made.items():
                _write(new / file, content)
            names = [last, *gone, *(file for file in made if file != last)]
            _exchange(folder, new, old, names)
    except BaseException as wrong:
        if fresh is not None:
            shutil.rmtree(fresh, ignore_errors=True)
        if isinstance(wrong, OSError):
            reason = wrong.strerror or str(wrong)
            raise InputError.one(f"cannot be written: {reason}", source=str(folder), hint=HINT) from wrong
        raise


def _first_missing(folder: Path) -> Path | None:
    """Return the outermost folder that has to be made; None if all folders exist."""
    missing = [path for path in (folder, *folder.parents) if not path.exists()]
    return missing[-1] if missing else None


def _write(path: Path, content: bytes) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("wb") as stream:
        stream.write(content)
        stream.flush()
        os.fsync(stream.fileno())


def _exchange(folder: Path, new: Path, old: Path, names: list[str]) -> None:
    """Move older files out of the folder and new ones in; the first name is moved in last."""
    out: list[str] = []
    in_: list[str] = []
    try:
        for name in names:
            if (folder / name).is_dir() and not (folder / name).is_symlink():
                raise IsADirectoryError(0, f"{name} is a folder")
            if os.path.lexists(folder / name):
                (old / name).parent.mkdir(parents=True, exist_ok=True)
                (folder / name).rename(old / name)
                out.append(name)
        for name in [*names[1:], names[0]]:
            if (new / name).exists():
                (folder / name).parent.mkdir(exist_ok=True)
                (new / name).rename(folder / name)
                in_.append(name)
    except BaseException:
        for name in reversed(in_):
            with contextlib.suppress(OSError):
                (folder / name).unlink()
        for name in reversed(out):
            with contextlib.suppress(OSError):
                (old / name).rename(folder / name)
        raise
