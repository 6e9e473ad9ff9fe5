"""Writing a job as a file: references are written inline, and defaults are filled in."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from trayopt.domain.job import Job
from trayopt.formats.yaml_out import flow


def as_file(job: Job) -> dict[str, Any]:
    """Return a job with the keys of a job file: references are inline, and defaults are filled in."""
    data = job.plain()
    rules = {
        name: {"level": setting["level"], "weight": setting["weight"], **setting["parameters"]}
        for name, setting in data["rules"].items()
    }
    return {**data, "rules": rules}


def job_text(job: Job, head: str) -> str:
    """Write a job as YAML below a comment, with a line for each entry."""
    lines = commented(head).splitlines()
    for key, value in as_file(job).items():
        if isinstance(value, list) and value and isinstance(value[0], Mapping):
            lines += [f"{key}:", *(f"  - {flow(_without_nothing(item))}" for item in value)]
        elif key in {"rules", "enclosure"}:
            lines += [f"{key}:", *(f"  {name}: {flow(_without_nothing(item))}" for name, item in value.items())]
        else:
            lines.append(f"{key}: {flow(_without_nothing(value))}")
    return "\n".join(lines) + "\n"


def commented(text: str) -> str:
    """Write lines as a comment."""
    return "".join(f"# {line}\n" for line in text.splitlines())


def _without_nothing(value: Any) -> Any:
    """Leave out keys whose value is None: a missing key means the same."""
    if isinstance(value, Mapping):
        return {key: _without_nothing(item) for key, item in value.items() if item is not None}
    if isinstance(value, list):
        return [_without_nothing(item) for item in value]
    return value
