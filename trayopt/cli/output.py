"""The policy of what is printed where: the answer goes to stdout, everything else to stderr.

======== ======================== ======================= ==========================
mode     answer (stdout)          notes, warnings (stderr) detail (stderr)
======== ======================== ======================= ==========================
text     text                     yes                     with ``-v``
quiet    text, its head alone     warnings only           no
json     one JSON document        yes                     with ``-v``
======== ======================== ======================= ==========================

Faults of input always go to stderr, as text or, in json mode, as one JSON document ``{"errors": [...]}``.
"""

from __future__ import annotations

import contextlib
import os
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

if TYPE_CHECKING:
    from rich.console import Console

    from trayopt.errors import Fault, InputError

Format = Literal["text", "json"]


@dataclass(frozen=True)
class Output:
    """The output of one run of a command, by the options that every command takes."""

    library: tuple[Path, ...] = ()
    format: Format = "text"
    quiet: bool = False
    verbose: bool = False
    began: float = field(default_factory=time.monotonic)
    """When the command began, by the monotonic clock."""

    @property
    def json(self) -> bool:
        """Whether the answer is a JSON document."""
        return self.format == "json"

    @property
    def progress(self) -> bool:
        """Whether to show progress: on a terminal, and not when quiet."""
        return not self.quiet and sys.stderr.isatty()

    def left(self, limit_s: float) -> float:
        """Return the seconds of a limit that the search may use, without the time so far and some time for the answer."""
        from trayopt.api.limits import time_left

        return time_left(limit_s, self.began)

    def answer(self, data: Callable[[], Any], text: Callable[[], str], head: Callable[[], str] | None = None) -> None:
        """Print the answer: ``data`` as JSON, or ``text``, or only its ``head`` when quiet."""
        if self.json:
            from trayopt.formats.json_out import dump

            self.write(dump(data()))
        elif self.quiet:
            self.write(head() if head is not None else text())
        else:
            self.write(text())

    def write(self, text: str) -> None:
        """Write text to stdout as it is, with a line end."""
        sys.stdout.write(text if not text or text.endswith("\n") else text + "\n")

    def note(self, message: str) -> None:
        """Print a note to stderr, except when quiet."""
        if not self.quiet:
            _error_line(message)

    def warn(self, message: str) -> None:
        """Print a warning to stderr, even when quiet."""
        _error_line(f"warning: {message}")

    def unusual(self, fault: Fault) -> None:
        """Print a warning about something unusual in an input, with its place."""
        self.warn(str(fault))

    def detail(self, message: str) -> None:
        """Print a detail to stderr, only with ``-v``."""
        if self.verbose and not self.quiet:
            _error_line(message)

    def faults(self, wrong: InputError) -> None:
        """Print every fault of an input to stderr."""
        if self.json:
            from trayopt.formats.json_out import dump

            error_text(dump({"errors": [fault.as_dict() for fault in wrong.faults]}))
            return
        for fault in wrong.faults:
            _error_line(str(fault))
        if len(wrong.faults) > 1:
            _error_line(f"{len(wrong.faults)} errors")

    def console(self, *, stderr: bool = False) -> Console:
        """Return a rich console, which honours NO_COLOR and the width of the terminal; without a terminal it has 80 columns."""
        from rich.console import Console

        return Console(stderr=stderr, highlight=False, markup=False, emoji=False, soft_wrap=False, width=_width(stderr))

    def show(self, *renderables: Any) -> None:
        """Print rich tables and texts to stdout."""
        console = self.console()
        for renderable in renderables:
            console.print(renderable)


def table(
    heads: Sequence[str], rows: Sequence[Sequence[str]], *, right: Sequence[int] = (), width: int | None = None
) -> str:
    """Lay out a plain table with two spaces between columns; the columns in ``right`` are aligned to the right.

    With a ``width`` in columns the last column is wrapped to fit it.
    """
    if not rows:
        return ""
    lines = [heads, *rows] if any(heads) else list(rows)
    widths = [max(len(line[i]) for line in lines) for i in range(len(heads))]
    left = sum(widths[:-1]) + 2 * (len(widths) - 1)
    text = ""
    for line in lines:
        *first, last = line
        cells = [cell.rjust(widths[i]) if i in right else cell.ljust(widths[i]) for i, cell in enumerate(first)]
        if len(line) - 1 in right:
            last = last.rjust(widths[-1])
        wrapped = [last]
        if width is not None and left + len(last) > width:
            from textwrap import wrap

            wrapped = wrap(last, max(width - left, 20)) or [""]
        text += "  ".join([*cells, wrapped[0]]).rstrip() + "\n"
        text += "".join(" " * left + more + "\n" for more in wrapped[1:])
    return text


def columns() -> int | None:
    """Return the width of the terminal; None if stdout is not a terminal, so that lines stay whole for other programs."""
    if not sys.stdout.isatty():
        return None
    from shutil import get_terminal_size

    return get_terminal_size((80, 24)).columns


def _width(stderr: bool) -> int | None:
    stream = sys.stderr if stderr else sys.stdout
    return None if stream.isatty() or os.environ.get("COLUMNS") else 80


def _error_line(message: str) -> None:
    sys.stdout.flush()
    error_text(message + "\n")


def error_text(text: str) -> None:
    """Write text to stderr; errors are ignored, since no message there is worth ending a run."""
    with contextlib.suppress(OSError, ValueError):
        sys.stderr.write(text)
