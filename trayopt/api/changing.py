"""F5: a job that was changed, as a file that refers to what the job's own file refers to."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from trayopt.domain.job import Job


def changed_file(
    job: Job, changed: Job, head: str, *, source: str | Path | None, target: str | Path, library: Sequence[Path] = ()
) -> str:
    """Write a job with other pins, other parameters of rules, or trunks and joins more, as the file of the job would say it.

    What the file of the job names by id or by path, the new one names too; only what is new stands in it. Where the job is of
    no file, or of one that cannot say it (of a former format, say), all that the job refers to stands in the new file.

    Parameters
    ----------
    job, changed
        The job of the file, and the one that is to be written.
    head
        What stands as a comment at the beginning.
    source
        The file of the job; None or ``-`` where it is of none.
    target
        The new file: what is named by path is named from its folder.
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
            # tried in the folder of the job: that of the new file may not be there yet
            here = changed_text(text, folder, folder, job, changed, head)
            if load_job(source, texts={Path(source): here}, library=library).digest == changed.digest:
                return changed_text(text, folder, Path(target).parent, job, changed, head)
        except InputError:
            pass
    return job_text(changed, head)
