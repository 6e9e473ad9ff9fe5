"""Exit codes and their meaning (spec, section 9)."""

from __future__ import annotations

from enum import IntEnum


class Exit(IntEnum):
    """The exit codes, which are the same for all commands."""

    YES = 0
    NO = 1
    INPUT = 2
    NOTHING = 3
    FAULT = 4
    INTERRUPTED = 130
    PIPE_CLOSED = 141
    TERMINATED = 143


MEANING: dict[Exit, str] = {
    Exit.YES: "a plan that keeps every must and places every splice; a check that passes",
    Exit.NO: "the answer is no: a plan with unplaced splices or broken musts, a check that fails, a bound that is refuted",
    Exit.INPUT: "usage, input that is unreadable or wrong (all errors at once), a file that cannot be written",
    Exit.NOTHING: "stopped before any plan was found",
    Exit.FAULT: "a fault of trayopt itself, such as a plan of its own that fails its check",
    Exit.INTERRUPTED: "interrupted by Ctrl-C in a command that has nothing to keep",
    Exit.PIPE_CLOSED: "the reader of the output went away",
    Exit.TERMINATED: "ended by SIGTERM in a command that has nothing to keep",
}
