"""F5: reading a job with everything that it refers to, and the JSON Schema of each kind of file."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from trayopt.domain.job import Job

if TYPE_CHECKING:
    from trayopt.errors import Fault


def load_job(
    source: str | Path | Mapping[str, Any],
    *,
    library: Sequence[Path] = (),
    warn: Callable[[Fault], None] | None = None,
    texts: Mapping[Path, str] | None = None,
) -> Job:
    """Read a job with everything that it refers to.

    Parameters
    ----------
    source
        A job file, ``-`` for standard input, or the job as a mapping with the keys of a job file.
    library
        Folders whose entries come before the models of trayopt; later folders come before earlier ones.
    warn
        Called once with each warning about the job, such as unusual sizes of its hardware.
    texts
        Texts that are read in place of files, such as unsaved changes of the job's file or of files that it names.

    Returns
    -------
    Job
        The job with references resolved and defaults filled in.

    Raises
    ------
    InputError
        With every fault of every file, sorted; hardware that cannot be built is a fault.
    """
    from trayopt.library.job import read_job
    from trayopt.rules.registry import fill

    return read_job(source, library, fill_rules=fill, warn=warn, texts=texts)


def json_schema(kind: str) -> dict[str, Any]:
    """Return the JSON Schema (draft 2020-12) of a kind of file, rules and their parameters included.

    Raises
    ------
    InputError
        If there is no such kind.
    """
    from trayopt.errors import InputError
    from trayopt.formats import schema
    from trayopt.formats.validate import did_you_mean
    from trayopt.rules.registry import BY_ID, SETTABLE

    if kind not in schema.KINDS:
        hint = did_you_mean(kind, schema.KINDS)
        raise InputError.one(
            f"there is no schema of {kind!r}", source="schema", allowed=", ".join(schema.KINDS), hint=hint
        )
    entries = {}
    for name in SETTABLE:
        rule = BY_ID[name]
        parameters = rule.Parameters.model_json_schema().get("properties", {})
        words = f"{rule.kind}, default {rule.level}; broken when {rule.statement} ({rule.subject})"
        entries[name] = schema.rule_entry(name, parameters, words)
    return schema.schema(kind, entries)
