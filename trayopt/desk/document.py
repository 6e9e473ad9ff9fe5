"""The open document of a desk: a job as text, the decisions of its plan, and the states before and after, to undo and redo."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from trayopt import api
from trayopt.desk.decisions import Decisions, decisions_of, fitted, plan_of
from trayopt.desk.files import Kept, Watched, digest_of_text
from trayopt.desk.steps import Reading, Step, paths_in
from trayopt.domain.job import Job
from trayopt.domain.plan import Plan
from trayopt.domain.said import said
from trayopt.errors import Fault, InputError
from trayopt.formats.json_out import dump_rows
from trayopt.formats.source import read_text
from trayopt.formats.yaml_edit import YamlFile
from trayopt.formats.yaml_in import MOST_BYTES, parse_yaml

if TYPE_CHECKING:
    from trayopt.checker import Report

MOST_UNDO = 500
MOST_KNOWN = 20
MOST_READ = 40
"""Number of states of the job whose reading is kept, so that undo and redo need not read them again."""


class Document:
    """A job and a plan of it.

    Parameters
    ----------
    job_file
        The job file; it must be YAML, but may be wrong as a job.
    plan_file
        The plan: JSON, or a hand-made table. None stands for the plan beside the job, if there is one.
    library
        Folders whose entries come before the models of trayopt.

    Raises
    ------
    InputError
        If a file cannot be read, the job is not YAML, or the plan is not a plan.
    """

    def __init__(self, job_file: Path, plan_file: Path | None, library: Sequence[Path] = ()) -> None:
        self.library = tuple(library)
        self.job_disk = Watched(job_file)
        beside = job_file.with_name(f"{job_file.stem}-plan.json")
        opened = plan_file if plan_file is not None else beside if beside.exists() else None
        is_table = opened is not None and opened.suffix.lower() in {".csv", ".xlsx"}
        self.plan_disk = Watched(beside if opened is None or is_table else opened)
        self._known: list[tuple[Plan, Plan]] = []
        """Plans that were opened or found, with their bounds, the latest last; each with a plan of its decisions alone."""
        self.best: Plan | None = None
        """The best plan that a search found for the job, now or before a change."""
        self.best_s: float | None = None
        """Seconds that the search for ``best`` took; None if it came from a file."""
        self.lost = 0
        """Number of decisions that were lost by the last change of the job."""
        self._read: dict[tuple[str, tuple[tuple[Path, str], ...]], Reading] = {}
        self._disks: dict[Path, Watched] = {}
        self._first: dict[Path, str | None] = {}
        """Original texts of hardware files that were changed here; None for files that were made here."""
        self._last: Job | None = None
        text = _yaml(read_text(job_file, MOST_BYTES), str(job_file))
        self.redo_steps: list[Step] = []
        self.steps: list[Step] = [Step(text, Decisions())]
        self._last = self.reading.job
        self._yaml: tuple[str, YamlFile] | None = None
        self._named: tuple[str, list[Watched]] | None = None
        self._unread = opened
        if opened is not None and self._last is not None:
            self.steps = [Step(text, self._opened(opened))]
        self.saved = self.steps[0]
        self._table_is_unsaved = is_table

    def _opened(self, plan_file: Path) -> Decisions:
        assert self._last is not None
        if plan_file.suffix.lower() in {".csv", ".xlsx"}:
            review = api.judge(self._last, plan_file, best=False)
            if review.report is None:
                raise InputError(review.made.faults)
            plan = review.report.plan
        else:
            plan = api.check(self._last, plan_file).plan
        decisions, self.lost = decisions_of(self._last, plan)
        self._remember(self._last, plan)
        if plan.status == "optimal":
            self.best = plan
        self._unread = None
        return decisions

    # -- the current state -------------------------------------------------------------------------------------------

    @property
    def now(self) -> Step:
        """The current state."""
        return self.steps[-1]

    @property
    def reading(self) -> Reading:
        """The reading of the current text."""
        return self.reading_of(self.now.text)

    @property
    def job(self) -> Job | None:
        """The job of the current text, or the last valid job; None if there was none yet."""
        return self.reading.job or self._last

    def report(self) -> Report | None:
        """Check the decisions by the checker, from plain data; None if there is no job yet."""
        if self.job is None:
            return None
        return api.check(self.job, plan_of(self.job, self.now.decisions))

    def plan(self, report: Report) -> Plan:
        """Return the plan as it will be written; if it is equal to a plan that was found, with the bounds of that plan."""
        job = self.job
        known = [] if job is None else [item for item in self._known if item[0].job.digest == job.digest]
        now = plan_of(job, self.now.decisions) if job is not None and known else None
        for plan, decided in reversed(known):
            if now is not None and decided.trunks == now.trunks and decided.legs == now.legs:
                return plan
        return report.plan

    def files(self, step: Step | None = None) -> dict[Path, str]:
        """Return the texts of hardware files that differ, or differed once, from the files on the disk."""
        made = (self.now if step is None else step).files
        found = {path: made.get(path, first) for path, first in self._first.items()}
        return {path: text for path, text in found.items() if text is not None}

    def texts(self) -> dict[Path, str]:
        """Return the texts of all open files, including the job."""
        return {self.job_disk.path: self.now.text, **self.files()}

    def reading_of(self, text: str) -> Reading:
        """Read a text as this job; earlier readings are kept."""
        files = self.files()
        key = text, tuple(files.items())
        found = self._read.pop(key, None)
        if found is None:
            warnings: list[Fault] = []
            try:
                texts = {**files, self.job_disk.path: text}
                job = api.load_job(self.job_disk.path, library=self.library, warn=warnings.append, texts=texts)
                found = Reading(job, (), tuple(warnings))
            except InputError as wrong:
                found = Reading(None, wrong.faults, tuple(warnings))
        self._read[key] = found
        while len(self._read) > MOST_READ:
            del self._read[next(iter(self._read))]
        return found

    def beside(self) -> list[Watched]:
        """Return the files that the job names by path: hardware of its own, a table of joins."""
        if self._named is None or self._named[0] != self.now.text:
            folder = self.job_disk.path.parent
            paths = [folder / name for name in dict.fromkeys(paths_in(self.yaml().data))]
            self._named = self.now.text, [self._watched(path) for path in paths]
        return self._named[1]

    def _watched(self, path: Path) -> Watched:
        return self._disks.setdefault(path, Watched(path))

    def yaml(self) -> YamlFile:
        """Return the text as a file to change; its changed text has to be passed to ``write``."""
        if self._yaml is None or self._yaml[0] != self.now.text:
            self._yaml = self.now.text, YamlFile(self.now.text)
        return self._yaml[1]

    # -- changes -----------------------------------------------------------------------------------------------------

    def decide(self, change: Callable[[Job, Decisions], Decisions], done: str, about: str, gesture: str = "") -> None:
        """Change the decisions.

        Raises
        ------
        InputError
            If the change cannot be made, or there is no job yet.
        """
        if self.job is None:
            raise InputError([*self.reading.faults])
        self._push(
            replace(self.now, decisions=change(self.job, self.now.decisions), done=done, about=about, gesture=gesture)
        )

    def write(self, text: str, done: str, about: str, decisions: Decisions | None = None) -> None:
        """Change the text of the job; decisions stay if they still make sense in the changed job."""
        kept = self.now.decisions if decisions is None else decisions
        lost = 0
        job = self.reading_of(text).job
        if job is not None and self._unread is not None and decisions is None:
            self._last = job
            kept = self._opened(self._unread)
            self.saved = replace(self.saved, decisions=kept)
        elif job is not None:
            kept, lost = fitted(job, kept)
        self._push(Step(text, kept, done, about, files=self.now.files))
        self.lost = lost

    def write_files(self, texts: Mapping[Path, str], done: str, about: str) -> None:
        """Change hardware files, and the job with them; decisions stay if they still make sense."""
        files = {path: text for path, text in texts.items() if path != self.job_disk.path}
        for path in files:
            if path not in self._first:
                disk = self._watched(path)
                self._first[path] = None if disk.digest is None else read_text(path, MOST_BYTES)
        before = self.now
        step = Step(texts[self.job_disk.path], before.decisions, done, about, files=files)
        self._push(step)
        job = self.reading.job
        if job is not None and self.now is step:
            decisions, lost = fitted(job, before.decisions)
            self.steps[-1] = replace(step, decisions=decisions)
            self.lost = lost

    def reread(self) -> None:
        """Read the job again after a change of a file that it names; decisions stay if they still make sense."""
        self._read.clear()
        before = self.now
        self._push(replace(before, files=self._from_disk(), done="reloaded", about="", gesture=""))
        job = self.reading.job
        if job is not None:
            decisions, lost = fitted(job, before.decisions)
            self._push(replace(self.now, decisions=decisions, done="reloaded", about="", gesture=""))
            self._last, self.lost = job, lost

    def _from_disk(self) -> dict[Path, str]:
        """Return the hardware files as they are here; files that somebody else changed are read from the disk."""
        files = dict(self.now.files)
        for disk in {**{disk.path: disk for disk in self.beside()}, **self._disks}.values():
            if disk.changed and disk.path in self._first and disk.path.exists():
                files[disk.path] = read_text(disk.path, MOST_BYTES)
            disk.seen()
        return files

    def _push(self, step: Step) -> None:
        before = self.now
        self.lost = 0
        if (step.text, step.decisions, step.files) == (before.text, before.decisions, before.files):
            return
        if step.gesture and step.gesture == before.gesture and len(self.steps) > 1:
            self.steps[-1] = step
        else:
            self.steps.append(step)
        self.redo_steps.clear()
        del self.steps[:-MOST_UNDO]
        self._last = self.reading.job or self._last

    def undo(self) -> None:
        """Go back a step, if there is one."""
        if len(self.steps) > 1:
            self.redo_steps.append(self.steps.pop())
            self._arrived()

    def redo(self) -> None:
        """Go forward a step, if one was undone."""
        if self.redo_steps:
            self.steps.append(self.redo_steps.pop())
            self._arrived()

    def _arrived(self) -> None:
        self.lost = 0
        self._last = self.reading.job or self._last

    def took(self, plan: Plan, seconds: float) -> None:
        """Keep a plan that a search found, and the seconds that it took."""
        self.best, self.best_s = plan, seconds
        if self.job is not None:
            self._remember(self.job, plan)

    def _remember(self, job: Job, plan: Plan) -> None:
        if plan.job.digest == job.digest:
            self._known = [*self._known[-MOST_KNOWN:], (plan, plan_of(job, decisions_of(job, plan)[0]))]

    # -- files -------------------------------------------------------------------------------------------------------

    @property
    def job_unsaved(self) -> bool:
        """Whether the job has changes that are not in its file."""
        return self.now.text != self.saved.text

    @property
    def plan_unsaved(self) -> bool:
        """Whether the plan has changes that are not in its file."""
        return self._table_is_unsaved or self.now.decisions != self.saved.decisions

    @property
    def hardware_unsaved(self) -> list[Path]:
        """Hardware files with changes that are not on the disk."""
        return [path for path, text in self.files().items() if digest_of_text(text) != self._watched(path).digest]

    @property
    def unsaved(self) -> bool:
        """Whether there are changes that are not in their file."""
        return self.job_unsaved or self.plan_unsaved or bool(self.hardware_unsaved)

    def kept(self, found: dict[str, Any] | None = None, *, of_this: bool = False) -> Kept:
        """Return everything that must survive if the desk is killed; ``found`` is a plan of a search that is not taken over."""
        job = self.job
        plan = None if job is None else plan_of(job, self.now.decisions).plain()
        folder, files = self.job_disk.path.parent, self.files()
        hardware = {os.path.relpath(path, folder): files[path] for path in self.hardware_unsaved}
        return Kept(self.now.text, plan, self.job_disk.digest, found, of_this, hardware)

    def take_over(self, kept: Kept) -> None:
        """Take over the unsaved changes that another desk left behind, as a step that can be undone."""
        text = _yaml(kept.job_text, str(self.job_disk.path))
        folder = self.job_disk.path.parent
        if kept.files:
            hardware = {folder / name: said for name, said in kept.files.items()}
            self.write_files({**self.files(), **hardware, self.job_disk.path: text}, "took_over", "")
        job = self.reading_of(text).job
        decisions = self.now.decisions
        if kept.plan is not None and job is not None:
            decisions = decisions_of(job, Plan.model_validate_json(dump_rows(kept.plan)))[0]
        self.write(text, "took_over", "", decisions)

    def conflicts(self) -> list[Path]:
        """Return the files that somebody else changed since they were opened, and that saving would overwrite."""
        wanted = [(self.job_unsaved, self.job_disk), (self.plan_unsaved, self.plan_disk)]
        wanted += [(True, self._watched(path)) for path in self.hardware_unsaved]
        return [disk.path for unsaved, disk in wanted if unsaved and disk.changed]

    def save(self) -> list[Path]:
        """Write all unsaved changes, and return the written files.

        Raises
        ------
        InputError
            If a file cannot be written.
        """
        written, files = [], self.files()
        for path in self.hardware_unsaved:
            self._watched(path).write(files[path])
            written.append(path)
        if self.job_unsaved:
            self.job_disk.write(self.now.text)
            written.append(self.job_disk.path)
        report = self.report()
        if self.plan_unsaved and report is not None:
            self.plan_disk.write(dump_rows(self.plan(report).plain()))
            written.append(self.plan_disk.path)
        self.saved, self._table_is_unsaved = self.now, False
        return written

    def reload(self) -> None:
        """Read the files from the disk; the state before is a step that can be undone.

        Raises
        ------
        InputError
            If a file cannot be read.
        """
        job_file = self.job_disk.path
        text = _yaml(read_text(job_file, MOST_BYTES), str(job_file))
        self._read.clear()
        job = self.reading_of(text).job
        decisions, on_disk = self.now.decisions, self.saved.decisions
        if job is not None and self.plan_disk.path.exists() and self.plan_disk.changed:
            plan = api.check(job, self.plan_disk.path).plan
            decisions = on_disk = decisions_of(job, plan)[0]
            self._remember(job, plan)
        self.write(text, "reloaded", "", decisions)
        self.job_disk.seen()
        self.plan_disk.seen()
        self.saved = Step(text, on_disk, files=self.now.files)


def _yaml(text: str, source: str) -> str:
    """Check that a text is YAML with a mapping at the top, so that it can be changed in place, and return it.

    Raises
    ------
    InputError
        If it is not.
    """
    if not isinstance(parse_yaml(text, source).data, dict):
        raise InputError.one(
            said("this is not a job"), source=source, allowed=said("a mapping with the keys of a job file")
        )
    return text
