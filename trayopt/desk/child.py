"""The process that searches for a desk: it reads a task from stdin, and writes progress and the answer as lines of JSON.

It ends when stdin ends, even in the middle of a search, so that a desk that is killed leaves no process behind.
"""

from __future__ import annotations

import json
import os
import sys
import threading
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO

if TYPE_CHECKING:
    from trayopt.domain.assignment import Assignment
    from trayopt.domain.job import Job
    from trayopt.domain.plan import GoalName, Plan
    from trayopt.errors import Fault
    from trayopt.solver.model.bound import Step
    from trayopt.solver.model.decisions import Given

NICE = 5
"""Niceness of the process: a search gives way to the page, so that judging a move takes no longer during a search."""
Say = Callable[[dict[str, Any]], None]


def main() -> None:
    """Do the task in the first line; a line ``stop`` ends a search with the best plan so far."""
    if hasattr(os, "nice"):
        os.nice(NICE)
    answers, lock = _own_stdout(), threading.Lock()
    stop = threading.Event()
    task = json.loads(sys.stdin.buffer.readline())

    def say(data: dict[str, Any]) -> None:
        with lock:
            answers.write(json.dumps(data).encode() + b"\n")
            answers.flush()

    threading.Thread(target=_listen, args=(stop,), daemon=True).start()
    from trayopt.desk.tongues import spoken_fault
    from trayopt.errors import InputError

    try:
        answer = _done(task, say, stop)
    except InputError as wrong:
        answer = {"faults": [fault.as_dict() | {"text": spoken_fault(fault)} for fault in wrong.faults]}
    except Exception as fault:
        answer = {"fault": f"{type(fault).__name__}: {fault}"}
    say({"type": "answer", **answer})
    os._exit(0)  # without waiting for a search that does not end


def _own_stdout() -> BinaryIO:
    """Return stdout for answers alone; from now on, everything that libraries print there goes to stderr."""
    kept = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)
    return kept


def _listen(stop: threading.Event) -> None:
    for line in sys.stdin.buffer:
        if line.strip() == b"stop":
            stop.set()
    os._exit(0)


def _done(task: dict[str, Any], say: Say, stop: threading.Event) -> dict[str, Any]:
    from trayopt import api

    library = [Path(folder) for folder in task["library"]]
    job = api.load_job(task["job_file"], library=library, texts=_texts(task))
    plans = {name: _plan(task.get(name)) for name in ("plan", "best")}
    say({"type": "begun"})
    work = {"solve": _solve, "explain": _explain, "keep": _keep, "prices": _prices, "mend": _mend}[task["kind"]]
    return work(job, task, plans, say, stop)


def _left(task: dict[str, Any]) -> float:
    """Return the seconds that are left of the limit, which began when the search was asked for, before this process."""
    from trayopt.api.limits import time_left

    return time_left(task["limit_s"], task["began"])


def _texts(task: dict[str, Any]) -> dict[Path, str]:
    return {Path(path): text for path, text in task["texts"].items()}


def _plan(data: dict[str, Any] | None) -> Plan | None:
    from trayopt.domain.plan import Plan

    return None if data is None else Plan.model_validate_json(json.dumps(data))


Plans = dict[str, Any]


def _solve(job: Job, task: dict[str, Any], plans: Plans, say: Say, stop: threading.Event) -> dict[str, Any]:
    from trayopt import api

    def progress(seconds: float, goal: GoalName, value: int | None, bound: int | None) -> None:
        say({"type": "goal", "seconds": seconds, "goal": goal, "value": value, "bound": bound})

    def watch(step: Step) -> None:
        plan = None if step.plan is None else _plan_of(job, step.plan)
        say({"type": "step", "step": _step(step), "values": dict(step.values or {}), "plan": plan})

    result = api.solve(
        job, time_limit_s=_left(task), workers=task["workers"], start=plans["plan"], progress=progress, watch=watch,
        every_plan=True, stop=stop,
    )  # fmt: skip
    if result.plan.status == "none":
        return {"plan": None, "stopped": stop.is_set()}
    return {"plan": result.plan.plain(), "complete": result.complete}


def _step(step: Step) -> dict[str, Any]:
    """Return a step of the search as plain data, with the author of a bound in each language."""
    from trayopt.desk.tongues import spoken
    from trayopt.domain.said import said
    from trayopt.solver.model.bound import AUTHORS

    made = step.plain()
    return made if step.bound is None else {**made, "by": spoken(said(AUTHORS.get(step.bound.by, step.bound.by)))}


def _explain(job: Job, task: dict[str, Any], plans: Plans, say: Say, stop: threading.Event) -> dict[str, Any]:
    """Say why not, and what would help; or where all can be kept, why the best plan is as it is."""
    return _explained(job, task, None, plans["best"])


def _keep(job: Job, task: dict[str, Any], plans: Plans, say: Say, stop: threading.Event) -> dict[str, Any]:
    """Say what it costs to keep what was tried, decision by decision."""
    from trayopt.domain.decision import GoesBy, RunAt
    from trayopt.domain.hardware import Place
    from trayopt.solver.model.decisions import Given

    kept = task["keep"]
    runs = tuple(RunAt(trunk, first, last, Place(stack, at)) for trunk, first, last, stack, at in kept["runs"])
    return _explained(job, task, Given(runs, {way[0]: GoesBy(*way) for way in kept["ways"]}), plans["best"])


def _explained(job: Job, task: dict[str, Any], expected: Given | None, best: Plan | None) -> dict[str, Any]:
    from trayopt import api
    from trayopt.desk.tongues import all_spoken, spoken
    from trayopt.domain.base import remade
    from trayopt.explainer.way_words import by_edit, phrases
    from trayopt.library.job import box_file_of

    library = [Path(folder) for folder in task["library"]]
    file = Path(task["job_file"])
    proven: list[Any] = []
    made = api.explain(
        job, expected, best=best, time_limit_s=_left(task), library=library, box_file=box_file_of(file),
        job_file=file.name, proven=proven.append,
    )  # fmt: skip
    ways = []
    for number, group in enumerate(by_edit(made.ways_out), start=1):
        chosen = next((item for item in proven if item.way in group), None)
        way: dict[str, Any] = {
            "says": spoken(phrases(group)),
            "edit": group[0].edit,
            "cost": group[0].cost,
            "least": group[0].least,
        }
        way["goals"] = [goal.model_dump(mode="json") for goal in group[0].goals]
        way |= {"digest": None, "plan": None, "folder": None}
        if chosen is not None and len(chosen.jobs) == 1:
            way["digest"] = chosen.jobs[0].digest
            way["plan"] = _plan_of(chosen.jobs[0], chosen.plans[0])
        if chosen is not None and task["scratch"] is not None:
            folder = Path(task["scratch"]) / f"way-{number}"
            api.carry_out(file, chosen, folder, library=library)
            way["folder"] = str(folder)
        ways.append(way)
    return {"explanation": all_spoken(remade(made, ways_out=())), "ways": ways}


def _plan_of(job: Job, found: Assignment) -> dict[str, Any]:
    """Return what a plan that was found decides, as rows of a plan document."""
    from trayopt.desk.decisions import Decisions, plan_of

    division = {(leg.trunk, leg.subunit): leg.of for leg in found.places}
    given = Decisions(found.ways, found.divide_at, division, found.places, found.ends, found.ribbons)
    return plan_of(job, given).plain()


def _prices(job: Job, task: dict[str, Any], plans: Plans, say: Say, stop: threading.Event) -> dict[str, Any]:
    from trayopt import api

    found = api.prices(job, plans["best"], time_limit_s=_left(task))
    return {"prices": None if found is None else found.plain()}


def _mend(job: Job, task: dict[str, Any], plans: Plans, say: Say, stop: threading.Event) -> dict[str, Any]:
    """Mend a plan around decisions that were changed by hand, which are held like built ones."""
    from trayopt import api
    from trayopt.desk.tongues import spoken

    made = api.mend(_held(task), plans["plan"], time_limit_s=_left(task))
    return {
        "plan": None if made.plan is None else made.plan.plain(), "impossible": made.impossible, "proven": made.proven,
        "moves": [spoken(move.text) for move in made.moves], "clash": [spoken(each) for each in made.clash],
    }  # fmt: skip


def _held(task: dict[str, Any]) -> Job:
    """Read the job with the changes made by hand as built pins.

    Raises
    ------
    InputError
        What was moved excludes itself. The text with the pins is in no file, so the faults name no line of it.
    """
    from trayopt import api
    from trayopt.errors import InputError

    file = Path(task["job_file"])
    library = [Path(folder) for folder in task["library"]]
    try:
        return api.load_job(file, library=library, texts=_texts(task) | {file: task["held_text"]})
    except InputError as wrong:
        raise InputError([_of_moves(fault) for fault in wrong.faults]) from None


def _of_moves(fault: Fault) -> Fault:
    """Give a fault of pins that nobody wrote as what it says of the moved legs: without a place, or advice about pins."""
    from trayopt.domain.said import Said

    told = fault.message.values.get("message") if isinstance(fault.message, Said) else None
    return fault._replace(
        source="", line=0, column=0, where="", hint="", message=fault.message if told is None else told
    )


if __name__ == "__main__":
    main()
