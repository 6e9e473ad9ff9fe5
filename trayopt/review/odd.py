"""The rows and cells of a finding: the odd ones, if the others agree."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from trayopt.domain.finding import Finding
from trayopt.domain.job import Job
from trayopt.review.handmade import Entry, Line
from trayopt.rules.base import Agreed
from trayopt.rules.registry import BY_ID
from trayopt.track.laid import Laid


def odd_entries(job: Job, finding: Finding, entries: Sequence[Entry]) -> list[Entry]:
    """Return the rows of a finding that differ from the majority; all rows if there is no majority."""
    about = BY_ID[finding.rule].odd_by
    if about is None:
        return list(entries)
    keys: list[object] = [_what(job, entry, about) for entry in entries]
    usual, count = Counter(keys).most_common(1)[0] if keys else (None, 0)
    odd = [entry for entry, key in zip(entries, keys, strict=True) if key != usual]
    return odd if odd and 2 * count > len(keys) and usual is not None else list(entries)


def _what(job: Job, entry: Entry, about: Agreed) -> object:
    if about == "end":
        return entry.end
    if about == "stack":
        return entry.place.stack if entry.place is not None else None
    return _division(job, entry)


def _division(job: Job, entry: Entry) -> int | None:
    leg = job.trunk_by_id[entry.run.trunk].subunit_of(entry.run.first).leg_of_run(entry.run.first, entry.run.last)
    return None if leg is None else leg.of


def way_keys(job: Job, laid: Laid, trunk: str) -> tuple[str, ...]:
    """Return the parts of a trunk's way that are outside the trunk's own limits."""
    own, way = job.trunk_by_id[trunk], laid.ways.get(trunk)
    if way is None:
        return ("port", "travel", "loops", "divide_at", "ribbons")
    wrong = {
        "port": way.port not in own.allowed_ports(job.enclosure),
        "travel": way.travel not in own.travels,
        "loops": way.loops not in own.loops,
        "divide_at": laid.divide_at[trunk] not in own.divide_at,
        "ribbons": laid.ribbons[trunk] not in own.ribbons,
    }
    return tuple(key for key, is_wrong in wrong.items() if is_wrong)


def side_columns(columns: Sequence[str], trunk: str, line: Line, known: dict[Line, tuple[str, str]]) -> tuple[str, ...]:
    """Return the columns for the side of a row that names a trunk."""
    other = "to" if line in known and known[line][1] == trunk else "from"
    return tuple(f"{other}{column.removeprefix('from')}" if column.startswith("from") else column for column in columns)
