"""The run of a batch: feeds an engine, writes what comes back, and loses nothing."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from queue import Empty, SimpleQueue
from typing import Any, Protocol

from trayopt import __version__
from trayopt.batches.answers import Answer, box_figures, cannot_be_built, mix_of, wrong_input
from trayopt.batches.engines import Engine
from trayopt.batches.manifest import Item, Manifest
from trayopt.batches.results import Line, Writer
from trayopt.batches.work import Settings
from trayopt.domain.job import Job
from trayopt.domain.sweep import FACTORS
from trayopt.errors import InputError

WAIT_S = 1.0


class Observer(Protocol):
    """Is told how a run goes on."""

    def begin(self, total: int) -> None:
        """Told how many jobs there are."""

    def ended(self, line: Line, *, before: bool) -> None:
        """Told the line of a job; ``before`` is True where an earlier run had written it."""

    def tick(self) -> None:
        """Told at least once a second."""


@dataclass
class Run:
    """One run over a manifest.

    Parameters
    ----------
    manifest
        What to run.
    writer
        Where to write it.
    engine
        Who solves it.
    settings
        How it is solved.
    observer
        Who is told.
    retry_failed
        Run jobs again that failed in an earlier run.
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
    _lines: list[Line] = field(default_factory=list)

    def go(self) -> None:
        """Run every job that has no result yet; of jobs that are the same, one.

        Raises
        ------
        InputError
            Where results cannot be written, or no worker is left; everything so far is kept.
        """
        self.observer.begin(self.manifest.count())
        items = self.manifest.items()
        more = True
        while more or self._in_work:
            more = more and self._feed(items)
            self._flush()
            if self._in_work:
                self._collect()
            self.observer.tick()
        self._flush()

    def _feed(self, items: Iterator[Item]) -> bool:
        """Give the engine what it is good for it to have; False when there is nothing left."""
        slots = self.engine.slots()
        while self._in_work + sum(map(len, self._twins.values())) < slots or not self._in_work:
            item = next(items, None)
            if item is None:
                return False
            self._take(item)
            if len(self._lines) >= slots:
                self._flush()
            if slots == 0:
                break
        return True

    def _take(self, item: Item) -> None:
        line: Line = {"name": item.name, "source": item.source, "values": dict(item.values), "version": __version__}
        if item.why_not:
            self._at_once(line, cannot_be_built(item.why_not))
            return
        try:
            job = item.job()
        except InputError as wrong:
            self._at_once(line, wrong_input(str(wrong)))
            return
        line |= _described(job, item)
        key = line["key"] = self.settings.key(job.digest, job.title)
        known = self.writer.results.line(item.name)
        if known is not None and known.get("key") == key and self._stands(known):
            self.observer.ended(known, before=True)
            return
        twin = self.writer.results.line(self.writer.results.solved.get(key, ""))
        if twin is not None and self._stands(twin):
            self._as_twin(line, twin)
        elif key in self._twins:
            self._twins[key].append((line, item))
        else:
            self._twins[key] = []
            self._in_work += 1
            self.engine.submit(item.name, job.plain(), lambda answer: self._answers.put((line, item, answer)))

    def _stands(self, known: Line) -> bool:
        """Whether an earlier line of the same job is as good as a new one."""
        if known["outcome"] == "failed":
            return not self.retry_failed
        return "plan" not in known or (self.writer.folder / known["plan"]).exists()

    def _at_once(self, line: Line, answer: Answer) -> None:
        """Write the line of a job that nobody needs to solve; not again where it is there already."""
        line |= answer
        known = self.writer.results.line(line["name"])
        if known == line:
            self.observer.ended(known, before=True)
        else:
            self._lines.append(line)

    def _as_twin(self, line: Line, twin: Line) -> None:
        """Write the line of a job that is the same as another one."""
        mine = ("name", "source", "values", "mix")
        self._lines.append({**twin, **{key: line[key] for key in mine}, "same_as": twin.get("same_as", twin["name"])})

    def _collect(self) -> None:
        """Take every answer that is there, after waiting for the first a little, and write them."""
        try:
            self._settle(*self._answers.get(timeout=WAIT_S))
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
        texts = {"page": answer.pop("page", None), "plan": answer.pop("plan", None)}
        line |= answer
        for key, text in texts.items():
            if text is not None and answer["outcome"] != "no_plan":
                line[key] = item.plan_path if key == "plan" else item.plan_path.removesuffix(".json") + ".html"
                self.writer.plan(line[key], text)
        self._lines.append(line)
        for other, _ in self._twins.pop(line["key"]):
            self._as_twin(other, line)

    def _flush(self) -> None:
        lines, self._lines = self._lines, []
        self.writer.append(lines)
        for line in lines:
            self.observer.ended(line, before=False)


def _described(job: Job, item: Item) -> dict[str, Any]:
    """Say what a line tells of its job whatever comes of it."""
    values = item.values or {**dict.fromkeys(FACTORS, ""), "enclosure": job.enclosure.id, "mix": mix_of(job)}
    return {"values": values, "mix": mix_of(job), "title": job.title, "digest": job.digest, **box_figures(job)}
