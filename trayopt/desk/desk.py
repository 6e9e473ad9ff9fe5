"""A desk: a document, its running search, the results of searches, and every act that the page can request."""

from __future__ import annotations

import shutil
import tempfile
import threading
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

from trayopt import api
from trayopt.crewsheets.lengths import Units
from trayopt.desk import acts, view
from trayopt.desk.acts import Wrong
from trayopt.desk.decisions import Decisions, decisions_of, plan_of
from trayopt.desk.document import Document
from trayopt.desk.files import Keeping, Kept, answers
from trayopt.desk.hardware import picture, shown_hardware
from trayopt.desk.runs import Run, Search
from trayopt.desk.tongues import spoken
from trayopt.domain.job import Job
from trayopt.domain.plan import Plan
from trayopt.domain.said import said
from trayopt.errors import InputError
from trayopt.explainer.edits import documents
from trayopt.formats.json_out import dump_rows
from trayopt.formats.yaml_edit import YamlFile

LIMIT_S = 60.0
MOST_LIMIT_S = 86_400.0


class Desk:
    """The state behind a page; every method may be called from any thread.

    Parameters
    ----------
    job_file, plan_file, library
        As for ``Document``.
    workers
        Threads of a search.
    """

    def __init__(
        self, job_file: Path, plan_file: Path | None = None, library: Sequence[Path] = (), *, workers: int = 8
    ) -> None:
        self.lock = threading.RLock()
        self.document = Document(job_file, plan_file, library)
        self.keeping = Keeping(job_file, answers)
        self.left_behind = self.keeping.left_behind()
        self.search = Search(self._done, self._found)
        self.workers = workers
        self.revision = 1
        self._at = 1
        self.results: dict[str, dict[str, Any]] = {}
        self.unkept = ""
        self._scratch: str | None = None
        self._made: set[str] = set()
        """Folders beside the job with ways out that were carried out."""
        self._reference = self.document.now.decisions

    def close(self) -> None:
        """End the running search; unsaved changes stay in a file beside the job."""
        self.search.close()
        if self._scratch is not None:
            shutil.rmtree(self._scratch, ignore_errors=True)

    # -- views -------------------------------------------------------------------------------------------------------

    def state(self, since: int = 0) -> dict[str, Any]:
        """Return everything that the page shows; if nothing else is new since a revision, only the search and the files."""
        with self.lock:
            document = self.document
            short = {
                "rev": self.revision,
                "at": self._at,
                "run": None if self.search.run is None else self.search.run.plain(),
                "changed": [disk.path.name for disk in (document.job_disk, document.plan_disk) if disk.changed],
                "changed_beside": [disk.path.name for disk in document.beside() if disk.changed],
            }
            if since == self.revision:
                return short
            found = self.left_behind
            return {
                **short,
                **view.state(document, self._reference),
                "unkept": self.unkept,
                "left_behind": None
                if found is None
                else {
                    "changed": found[1].began_with != document.job_disk.digest,
                    "found": found[1].found is not None,
                },
                "results": self.results,
            }

    def tables(self) -> dict[str, Any]:
        """Return the job as tables."""
        with self.lock:
            return view.tables(self.document)

    def hardware(self) -> list[dict[str, Any]]:
        """Return the parts that the job uses as tables."""
        with self.lock:
            return shown_hardware(self.document)

    def hardware_picture(self, index: int, language: str) -> dict[str, str]:
        """Draw a part of the hardware, with its texts in a language."""
        with self.lock:
            return {"picture": picture(self.document, index, language)}

    def pictures(self, language: str) -> dict[str, str]:
        """Draw the plan."""
        with self.lock:
            job, report = self.document.job, self.document.report()
        return {} if job is None or report is None else api.plan_pictures(job, report.plan, language=language)

    # -- acts --------------------------------------------------------------------------------------------------------

    def act(self, request: Mapping[str, Any]) -> dict[str, Any]:
        """Do the act that the page requests, and return the state that it then shows.

        Raises
        ------
        Wrong
            If the request is not valid, or was made for an older state.
        InputError
            If the act cannot be done.
        """
        with self.lock:
            if request.get("at") != self._at:
                raise Wrong("stale")
            before = self.document.now
            own = {
                "take_over": self._take_over, "leave": self._leave, "take": self._take, "save": self._save,
                "reload": self._reload, "reread": self._reread, "apply": self._apply, "forget": self._forget, "open": self._open,
            }  # fmt: skip
            name = acts.text(request, "act")
            answer = own[name](request) if name in own else acts.done(self.document, name, request)
            self._changed(before is not self.document.now)
            return {"answer": answer, **self.state()}

    def _changed(self, changed: bool) -> None:
        self.revision += 1
        if changed:
            self._at += 1
            for kind in ("compare", "keep"):
                self.results.pop(kind, None)
        self._keep()

    def _keep(self) -> None:
        """Keep what must survive if the desk is killed: unsaved changes, and a found plan that is not yet taken over."""
        kept = self._kept()
        if self.document.unsaved or kept.found is not None:
            self.unkept = self.keeping.keep(kept)
        else:
            self.unkept = ""
            self.keeping.drop()

    def _kept(self) -> Kept:
        run = self.search.run
        if run is not None and run.best is not None:
            return self.document.kept(run.best, of_this=run.began_with is self.document.now)
        offered = [self.results[kind] for kind in ("solve", "mend") if kind in self.results]
        return self.document.kept(
            next((each["plan"] for each in offered if each.get("plan") and not each.get("taken")), None)
        )

    def _found(self, run: Run) -> None:
        """Keep the plan that a search has found so far."""
        with self.lock:
            self._keep()

    def _take_over(self, request: Mapping[str, Any]) -> None:
        if self.left_behind is not None:
            path, kept = self.left_behind
            self.document.take_over(kept)
            if kept.found is not None and kept.of_this:
                self._adopt(_plan(kept.found))
            elif kept.found is not None:
                self.results["solve"] = {"plan": kept.found, "left": True, "about": "", "seconds": 0.0}
            if not self.keeping.keep(self._kept()):
                path.unlink(missing_ok=True)
            self.left_behind = self.keeping.left_behind()

    def _leave(self, request: Mapping[str, Any]) -> None:
        if self.left_behind is not None:
            self.left_behind[0].unlink(missing_ok=True)
            self.left_behind = self.keeping.left_behind()

    def _save(self, request: Mapping[str, Any]) -> dict[str, Any]:
        conflicts = self.document.conflicts()
        if conflicts and request.get("over") is not True:
            return {"conflicts": [path.name for path in conflicts]}
        return {"written": [path.name for path in self.document.save()]}

    def _reload(self, request: Mapping[str, Any]) -> None:
        self.document.reload()

    def _reread(self, request: Mapping[str, Any]) -> None:
        self.document.reread()
        self._at += 1

    def _forget(self, request: Mapping[str, Any]) -> None:
        self.results.pop(acts.text(request, "kind"), None)

    def _take(self, request: Mapping[str, Any]) -> None:
        """Take over a plan that a search found."""
        found = self.results.get(acts.text(request, "kind"), {}).get("plan")
        if found is None:
            raise Wrong("gone")
        self._adopt(_plan(found))

    def _adopt(self, plan: Plan) -> None:
        self.document.decide(lambda job, _: decisions_of(job, plan)[0], "took", "")
        self._reference = self.document.now.decisions

    def _apply(self, request: Mapping[str, Any]) -> dict[str, Any] | None:
        """Carry out a way out: in the open job, or, if it changes hardware, in a folder beside the job."""
        ways = self.results.get(acts.text(request, "kind"), {}).get("ways", [])
        number = request.get("way")
        if not isinstance(number, int) or not 0 <= number < len(ways):
            raise Wrong("gone")
        way = ways[number]
        text = changed_text(self.document, way)
        if text is not None:
            plan = _plan(way["plan"])
            job = self.document.reading_of(text).job
            assert job is not None
            says = way["says"]
            about = says["en"] if isinstance(says, dict) else says
            self.document.write(text, "applied", about, decisions_of(job, plan)[0])
            self._reference = self.document.now.decisions
            self.results.clear()
            return None
        if way["folder"] is None:
            raise InputError.one(
                said("this way out changes hardware"),
                source="desk",
                hint=said("save the job, and ask again: then it can be applied"),
            )
        folder = _free(self.document.job_disk.path)
        shutil.copytree(way["folder"], folder)
        self._made.add(folder.name)
        jobs = sorted(path.name for path in folder.glob("*.yaml") if (folder / f"{path.stem}-plan.json").exists())
        return {"folder": folder.name, "jobs": jobs}

    def _open(self, request: Mapping[str, Any]) -> None:
        """Open the job of a way out that was carried out; everything here must be saved."""
        folder, name = acts.text(request, "folder"), acts.text(request, "job")
        here = self.document
        if folder not in self._made or Path(name).name != name:
            raise Wrong("gone")
        if here.unsaved:
            raise Wrong("unsaved")
        if self.search.running:
            raise Wrong("busy")
        path = here.job_disk.path.with_name(folder) / name
        self.document = Document(path, None, here.library)
        self.keeping = Keeping(path, answers, self.keeping.name, self.keeping.port)
        self.left_behind = self.keeping.left_behind()
        self.results, self._reference, self._made = {}, self.document.now.decisions, set()

    # -- searches ----------------------------------------------------------------------------------------------------

    def begin(self, request: Mapping[str, Any]) -> dict[str, Any]:
        """Begin a search: solve, explain, keep, prices or mend."""
        with self.lock:
            kind = acts.text(request, "kind")
            document, job = self.document, self.document.reading.job
            if kind not in {"solve", "explain", "keep", "prices", "mend"}:
                raise Wrong("no such search")
            if self.search.running:
                raise Wrong("busy")
            if job is None:
                raise InputError([*document.reading.faults])
            limit = request.get("limit_s")
            limit_s = float(limit) if isinstance(limit, int | float) and 0 < limit <= MOST_LIMIT_S else LIMIT_S
            begun = acts.task(document, kind, request, self._reference, limit_s)
            texts = {str(path): text for path, text in document.texts().items()}
            task = {
                "job_file": str(document.job_disk.path), "texts": texts, "limit_s": limit_s,
                "library": [str(folder) for folder in document.library], "workers": self.workers,
                "scratch": self._scratch_folder(kind), **begun,
            }  # fmt: skip
            self.results.pop(kind, None)
            self.revision += 1
            about = begun.get("about", "")
            self.search.start(Run(kind, document.now, about), task)
            return self.state()

    def _scratch_folder(self, kind: str) -> str | None:
        """Return a folder for ways out that change hardware; None while the job, from whose file they are made, is unsaved."""
        document = self.document
        if (
            kind not in {"explain", "keep"}
            or document.job_unsaved
            or document.job_disk.changed
            or document.hardware_unsaved
        ):
            return None
        if self._scratch is not None:
            shutil.rmtree(self._scratch, ignore_errors=True)
        self._scratch = tempfile.mkdtemp(prefix="trayopt-desk-")
        return self._scratch

    def halt(self) -> None:
        """End the search."""
        self.search.stop()

    def _done(self, run: Run, answer: dict[str, Any]) -> None:
        with self.lock:
            self.revision += 1
            run.best = None
            if answer.get("plan") is not None:
                job = self.document.job
                plan = _plan(answer["plan"])
                searched = self.document.reading_of(run.began_with.text).job
                if answer.get("cut_short") and searched is not None:
                    plan = api.check(searched, plan).plan
                if run.kind == "solve":
                    self.document.took(plan, run.seconds)
                if job is not None and run.began_with is self.document.now:
                    self._adopt(plan)
                    answer["taken"] = True
                    self._changed(changed=True)
            self.results[run.kind] = answer | {"about": run.about, "seconds": round(run.seconds, 1)}
            self._keep()

    # -- without a search --------------------------------------------------------------------------------------------

    def compare(self) -> dict[str, Any]:
        """Compare the plan with the best known plan.

        Raises
        ------
        Wrong
            If no best plan is known.
        """
        with self.lock:
            job, best, report = self.document.job, self.document.best, self.document.report()
            if job is None or best is None or report is None:
                raise Wrong("no best")
            found, _ = decisions_of(job, best)
        other = api.check(job, plan_of(job, found))
        made = api.compare(job, report.plan, other.plan).as_dict()
        because = {(each.rule, each.subject): each.because for each in (*report.findings, *other.findings)}
        for row in made["findings"]:
            row["found"] = spoken(because.get((row["rule"], row["subject"]), row["found"]))
        for row in (*made["trunks"], *made["legs"]):
            row |= {plan: spoken(row[plan]) for plan in ("a", "b")}
        return made

    def sheets(self, request: Mapping[str, Any]) -> dict[str, Any]:
        """Write the sheets of the plan beside the job."""
        with self.lock:
            job, report = self.document.job, self.document.report()
            if job is None or report is None:
                raise Wrong("no plan")
            folder = self.document.job_disk.path.with_name(f"{self.document.job_disk.path.stem}-sheets")
            plan = self.document.plan(report)
        language = "de" if request.get("language") == "de" else "en"
        units: Units = "feet" if request.get("units") == "feet" else "metric"
        made = api.sheets(job, plan, language=language, units=units, codes=request.get("codes") is True)
        written = made.write(folder)
        return {"folder": folder.name, "written": written, "warnings": [*made.left_out(), *made.warnings()]}


def changed_text(document: Document, way: Mapping[str, Any]) -> str | None:
    """Return the text of the job after a way out; None unless it changes only this file and makes exactly the proven job."""
    own = [text for head, text in documents(way["edit"]) if head in {"", document.job_disk.path.name}]
    if way["plan"] is None or way["digest"] is None or len(own) != len(documents(way["edit"])):
        return None
    file = YamlFile(document.now.text)
    try:
        for text in own:
            file.merge(text)
    except (ValueError, KeyError, TypeError):
        return None
    text = file.text()
    job: Job | None = document.reading_of(text).job
    return text if job is not None and job.digest == way["digest"] else None


def _free(job_file: Path) -> Path:
    """Return the path of a new folder beside the job."""
    names: Callable[[int], Path] = lambda i: job_file.with_name(f"{job_file.stem}-way-{i}")  # noqa: E731
    return next(names(i) for i in range(1, 10_000) if not names(i).exists())


def _plan(data: Mapping[str, Any]) -> Plan:
    return Plan.model_validate_json(dump_rows(data))


__all__ = ["Decisions", "Desk"]
