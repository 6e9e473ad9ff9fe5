"""F5: a changed job as a file that keeps the references of the job's own file."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from trayopt.domain.job import Job


def changed_file(
    job: Job, changed: Job, head: str, *, source: str | Path | None, target: str | Path, library: Sequence[Path] = ()
) -> str:
    """Return the text of a job file with the changes of a job: pins, parameters of rules, lengths, added parts.

    The new file keeps the references by id or path of the job's file; only the changes are added. If the job has no file, or its
    file cannot express the changes (because it is of a former format, for example), the new file holds everything inline.

    Parameters
    ----------
    job, changed
        The job of the file, and the job to write.
    head
        The comment at the beginning; further paragraphs are notes on what was left.
    source
        The file of the job; None or ``-`` if it has no file.
    target
        The new file; paths in it are relative to its folder.
    library
        The folders with which the job was read.
    """
    from trayopt.api.reading import load_job
    from trayopt.errors import InputError
    from trayopt.formats.source import read_text
    from trayopt.formats.yaml_in import MOST_BYTES
    from trayopt.library.job_changed import changed_text
    from trayopt.library.job_out import job_text

    if source is not None and str(source) != "-":
        folder, text = Path(source).parent, read_text(source, MOST_BYTES)
        try:
            # tried in the folder of the job, since the folder of the new file may not exist yet
            here = changed_text(text, folder, folder, job, changed, head)
            if load_job(source, texts={Path(source): here}, library=library).digest == changed.digest:
                return changed_text(text, folder, Path(target).parent, job, changed, head)
        except InputError:
            pass
    return job_text(changed, head)
