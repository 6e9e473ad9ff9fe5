"""What workers do instead of solving, in tests: the title of a job's box or trunks says what becomes of it."""

from __future__ import annotations

import os
import sys
import time
from hashlib import sha256
from pathlib import Path
from typing import Any

Json = dict[str, Any]
GOALS = ("unplaced", "broken_must", "broken_prefer", "legs", "trays", "crossings", "leg_length_mm", "irregular")


def quick(job: Json, settings: Json) -> Json:
    """Answer at once, with a plan that is made of the job's title alone."""
    del settings
    text = f'{{"job": {{"title": "{job["title"]}"}}}}\n'
    goals = dict.fromkeys(GOALS, 0) | {"legs": len(job["joins"]), "leg_length_mm": 1000 * len(job["title"])}
    return {
        "outcome": "fits",
        "status": "optimal",
        "stopped": "proven",
        "goals": goals,
        "proven": list(GOALS),
        "trays": 1,
        "tied": 0,
        "ends": 24,
        "why": "",
        "plan": text,
        "plan_sha256": sha256(text.encode()).hexdigest(),
    }


def slow(job: Json, settings: Json) -> Json:
    """Answer after a moment."""
    time.sleep(0.2)
    return quick(job, settings)


def noted(job: Json, settings: Json) -> Json:
    """Leave a note of every job that is worked on, in the folder that the environment names."""
    with Path(os.environ["TRAYOPT_TEST_NOTES"]).open("a", encoding="utf-8") as file:
        file.write(job["title"] + "\n")
    return quick(job, settings)


def patient(job: Json, settings: Json) -> Json:
    """Note every job; one whose title is "wait" ends when six others have been noted, and is no plan where none come."""
    notes = Path(os.environ["TRAYOPT_TEST_NOTES"])
    if job["title"] != "wait":
        return noted(job, settings)
    for _ in range(600):
        if len(notes.read_text(encoding="utf-8").splitlines()) >= 6:
            return quick(job, settings)
        time.sleep(0.05)
    return {"outcome": "no_plan", "status": "none", "stopped": "time_limit", "goals": {}, "why": "nobody else came"}


def poisoned(job: Json, settings: Json) -> Json:
    """Do what the name of the mix says: crash, end, hang, take memory, print, or fail."""
    mix = job["title"].partition(" in ")[0]
    if mix == "crash":
        os.abort()
    if mix == "leave":
        sys.stderr.write("the last words\n")
        sys.stderr.flush()
        os._exit(3)
    if mix == "endless":
        while True:
            time.sleep(1)
    if mix == "memory":
        held = []
        while True:
            held.append(bytearray(40_000_000))
            time.sleep(0.02)
    if mix == "at once":
        bytearray(200_000_000_000)
    if mix == "noisy":
        sys.stdout.write("this is no answer\n")
        sys.stdout.flush()
        os.write(1, b"nor is this\n")
    if mix == "killed once":
        mark = Path(os.environ["TRAYOPT_TEST_NOTES"])
        if not mark.exists():
            mark.touch()
            os.kill(os.getpid(), 9)
    return quick(job, settings)
