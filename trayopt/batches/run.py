"""The run of a batch: it feeds an engine, writes the answers, and loses nothing."""

from __future__ import annotations

import time
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from queue import Empty, SimpleQueue
from typing import Any, Protocol

from trayopt.batches.answers import Answer, box_figures, cannot_be_built, failed, mix_of, variant_of, wrong_input
from trayopt.batches.engines import Engine
from trayopt.batches.manifest import Item, Manifest
from trayopt.batches.pages import page_of
from trayopt.batches.results import KINDS, Line, Writer
from trayopt.batches.work import Settings
from trayopt.domain.job import Job
from trayopt.domain.sweep import FACTORS
from trayopt.errors import InputError
from trayopt.version import __version__

WAIT_S = 1.0
MOST_TWINS = 10_000
"""Greatest number of jobs that wait for an equal job; their lines are held in memory."""


class Observer(Protocol):
    """Anything that follows the progress of a run."""

    def begin(self, total: int) -> None:
        """Receive the number of jobs."""

    def ended(self, line: Line, *, before: bool) -> None:
        """Receive the line of a finished job; ``before`` is true if an earlier run wrote it."""

    def tick(self) -> None:
        """Receive a call at least once a second."""


@dataclass
class Run:
    """One run over a manifest.

    Parameters
    ----------
    manifest
        The jobs to run.
    writer
        The writer of the results.
    engine
        The engine that solves the jobs.
    settings
        The settings with which jobs are solved.
    observer
        The observer of the run.
    retry_failed
        Whether to run jobs again that failed in an earlier run.
    """

    manifest: Manifest
    writer: Writer
    engine: Engine
    settings: Settings
    observer: Observer
    retry_failed: bool = False
    _answers: SimpleQueue[tuple[Line, Item, Answer]] = field(default_factory=SimpleQueue)
    _in_work: int = 0
    _twins: dict[str, list[tuple[Line, Item]]] = field(default_factory=dict)
    _waiting: int = 0
    _lines: list[Line] = field(default_factory=list)

    def go(self) -> None:
        """Run every job that has no result yet; of equal jobs, only one is solved.

        Lines of jobs that are no longer in the manifest do not count any more; they are kept in case the job comes back.

        Raises
        ------
        InputError
            If results cannot be written, or no worker is left; the results so far are kept.
        """
        names = {item.name for item in self.manifest.items()}
        self.observer.begin(len(names))
        self.writer.append([{"name": name, "gone": True} for name in self.writer.results.names() if name not in names])
        del names
        items = self.manifest.items()
        more = True
        while more or self._in_work:
            more = more and self._feed(items)
            self._flush()
            if self._in_work:
                self._collect(wait=not more or self._full())
            self.observer.tick()
        self._flush()

    def _full(self) -> bool:
        """Whether the engine has enough jobs, or too many jobs wait for equal jobs."""
        slots = self.engine.slots()
        return slots == 0 or self._in_work >= slots or self._waiting >= MOST_TWINS

    def _feed(self, items: Iterator[Item]) -> bool:
        """Take jobs until the engine is full, an answer comes or some time is over; return False when no job is left.

        A job that waits for an equal job takes no slot, so that no worker is idle while there are other jobs.
        """
        until = time.monotonic() + WAIT_S
        while not self._in_work or not self._full():
            item = next(items, None)
            if item is None:
                return False
            self._take(item)
            if self.engine.slots() == 0 or not self._answers.empty() or time.monotonic() > until:
                break
        return True

    def _take(self, item: Item) -> None:
        line: Line = {"name": item.name, "source": item.source, "values": dict(item.values), "version": __version__}
        line["settings"] = self.settings.plain()
        if item.why_not:
            self._at_once(line, cannot_be_built(item.why_not))
            return
        try:
            job = item.job()
            line |= _described(job, item)
        except InputError as wrong:
            self._at_once(line, wrong_input(wrong))
            return
        except Exception as fault:  # one job's fault is that job's line
            self._at_once(line, failed("fault", f"{type(fault).__name__}: {fault}"))
            return
        key = line["key"] = self.settings.key(job.digest, job.title)
        known = self.writer.results.known(item.name)
        if known is not None and known.get("key") == key and self._stands(known):
            self._at_once(line, known)
            return
        twin = next(filter(self._serves, self.writer.results.with_key(key)), None)
        if twin is not None:
            self._as_twin(line, item, twin)
        elif key in self._twins:
            self._twins[key].append((line, item))
            self._waiting += 1
        else:
            self._twins[key] = []
            self._in_work += 1
            self.engine.submit(item.name, job.plain(), lambda answer: self._answers.put((line, item, answer)))

    def _stands(self, known: Line) -> bool:
        """Whether an earlier line of the same job can stand for a new one; a damaged page is made again."""
        if known["outcome"] == "failed":
            return not self.retry_failed
        if "plan" not in known:
            return True
        plan = self.writer.intact(known, "plan")
        if plan is None or (self.settings.certificate and self.writer.intact(known, "certificate") is None):
            return False
        if "page" in known and self.writer.intact(known, "page") is None:
            known["page_file_sha256"] = self.writer.write(known["page"], page_of(plan, known["outcome"]))
        return True

    def _serves(self, other: Line) -> bool:
        """Whether the line of an equal job can stand for a new one."""
        return other["outcome"] != "failed" and self._stands(other)

    def _at_once(self, line: Line, answer: Answer) -> None:
        """Write the line of a job that does not need solving, unless the same line is there already."""
        whole = {**answer, **line}
        known = self.writer.results.line(line["name"])
        if known == whole:
            self.observer.ended(whole, before=True)
        else:
            self._lines.append(whole)

    def _as_twin(self, line: Line, item: Item, twin: Line) -> None:
        """Write the line of a job that is equal to another, with a plan and a page of its own."""
        texts = {kind: raw for kind in KINDS if (raw := self.writer.intact(twin, kind)) is not None}
        self._write({**twin, **line}, item, texts)

    def _write(self, line: Line, item: Item, texts: Mapping[str, str | bytes]) -> None:
        """Write the files of a job, then its line."""
        for kind, text in texts.items():
            path = line[kind] = item.path_of(kind)
            line[f"{kind}_file_sha256"] = self.writer.write(path, text)
        self._lines.append(line)

    def _collect(self, *, wait: bool) -> None:
        """Take all available answers, after a short wait for the first, and write them."""
        try:
            self._settle(*self._answers.get(timeout=WAIT_S if wait else 0.001))
            while not self._answers.empty():
                self._settle(*self._answers.get())
        except Empty:
            pass
        self._flush()
        lost = self.engine.lost()
        if lost:
            raise InputError.one(lost, source="batch", hint="all results so far are kept: go on with --resume")

    def _settle(self, line: Line, item: Item, answer: Answer) -> None:
        self._in_work -= 1
        texts = {kind: text for kind in KINDS if (text := answer.pop(kind, None)) is not None}
        if answer["outcome"] == "no_plan":
            texts = {}
        twins = self._twins.pop(line["key"])
        self._waiting -= len(twins)
        for one, its in ((line, item), *twins):
            self._write({**answer, **one}, its, texts)

    def _flush(self) -> None:
        lines, self._lines = self._lines, []
        self.writer.append(lines)
        for line in lines:
            self.observer.ended(line, before=False)


def _described(job: Job, item: Item) -> dict[str, Any]:
    """Return the part of a line that does not depend on the outcome."""
    values = item.values or {**dict.fromkeys(FACTORS, ""), "enclosure": job.enclosure.id, "mix": mix_of(job)}
    told = {"values": values, "mix": mix_of(job), "title": job.title, "digest": job.digest, **box_figures(job)}
    return told if item.values else {**told, "variant": variant_of(job)}
