"""The summary of a batch: counts, a digest, the smallest box for each mix, and changes against an older run."""

from __future__ import annotations

import json
from collections import Counter
from dataclasses import dataclass, field
from hashlib import sha256
from sys import intern
from typing import Any, NamedTuple

from trayopt.batches.changes import RANK, WAYS, Change, changes_between, counted_changes
from trayopt.batches.outcomes import FITTING, OPEN, OUTCOMES, WITHOUT_ANSWER
from trayopt.batches.results import Line, Results
from trayopt.domain.sweep import CABLE, FACTORS
from trayopt.errors import Fault

MOST_FAILURES = 1_000
"""Greatest number of jobs without an answer that are listed with their reasons; the others are only in the tables."""


class Box(NamedTuple):
    """An enclosure, and the job that shows that a mix fits into it."""

    enclosure: str
    litres: float
    places: int
    trays: int
    legs: int
    leg_length_mm: int
    job: str
    outcome: str
    plan: str


class Smallest(NamedTuple):
    """The smallest box into which a mix fits, for one variant.

    Parameters
    ----------
    mix
        Name of the mix.
    variant
        The variant in words: joins, trays, divisions, rules and tubes that are not the usual ones; or the name of the job.
    splices
        The greatest number of splices of its jobs.
    box
        The smallest enclosure; None if the mix fits into none.
    not_settled
        Smaller enclosures for which it is not settled whether the mix fits.
    """

    mix: str
    variant: str
    splices: int
    box: Box | None
    not_settled: tuple[str, ...]


class Failed(NamedTuple):
    """A job without an answer, and the reason."""

    name: str
    outcome: str
    why: str


@dataclass
class Summary:
    """The summary of a batch.

    Parameters
    ----------
    counts
        Number of jobs by outcome, without jobs that are no longer in the batch.
    same
        Number of jobs that share the result of an equal job.
    proven
        Number of jobs with every goal proven.
    digest
        Digest of all results, which does not depend on their order, on seconds or on attempts.
    smallest
        The smallest box for every mix and variant, by number of splices.
    failures
        The first of the jobs that are wrong or failed.
    settings
        The settings with which jobs were solved, each with the number of jobs; several if an earlier run was not finished.
    changes
        Changes against an older run, the worst first; None without an older run.
    ways
        Number of changes of each kind, including changes that are not listed.
    left_out
        YAML files below the folders of the run that are neither jobs nor sweeps.
    unusual
        Warnings about the hardware of the jobs, and about refused workers.
    written_again
        Whether the file of results was removed or changed during the run, and was written again.
    seconds
        Total time of all jobs.
    """

    counts: Counter[str] = field(default_factory=Counter)
    same: int = 0
    proven: int = 0
    digest: str = ""
    smallest: list[Smallest] = field(default_factory=list)
    failures: list[Failed] = field(default_factory=list)
    settings: list[tuple[dict[str, Any], int]] = field(default_factory=list)
    changes: list[Change] | None = None
    ways: Counter[str] = field(default_factory=Counter)
    left_out: tuple[str, ...] = ()
    unusual: tuple[Fault, ...] = ()
    written_again: bool = False
    seconds: float = 0.0

    @property
    def jobs(self) -> int:
        """Number of all jobs."""
        return sum(self.counts.values())

    @property
    def worse(self) -> int:
        """Number of jobs that came out worse than in the older run, or are gone."""
        return self.ways["worse"] + self.ways["gone"]

    def as_dict(self) -> dict[str, Any]:
        """Return the summary as plain data."""
        return {
            "schema": "trayopt/batch/1",
            "jobs": self.jobs,
            "outcomes": {outcome: self.counts[outcome] for outcome in OUTCOMES},
            "same_as_another": self.same,
            "proven": self.proven,
            "digest": self.digest,
            "settings": [{**settings, "jobs": jobs} for settings, jobs in self.settings],
            "smallest": [
                {
                    "mix": found.mix,
                    "variant": found.variant,
                    **(found.box._asdict() if found.box else {"enclosure": None}),
                    "not_settled": list(found.not_settled),
                }
                for found in self.smallest
            ],
            "failures": [failure._asdict() for failure in self.failures],
            "changed": None if self.changes is None else {way: self.ways[way] for way in WAYS},
            "changes": None if self.changes is None else [change._asdict() for change in self.changes],
        }


@dataclass(slots=True)
class _Group:
    """What is known of a mix and variant while lines are read."""

    mix: str
    said: str
    sweep: str
    """Name of the sweep; empty for job files."""
    splices: int = 0
    jobs: int = 0
    box: Box | None = None
    open_: tuple[tuple[float, int, str], ...] = ()

    def take(self, line: Line) -> None:
        self.jobs += 1
        self.splices = max(self.splices, line.get("splices", 0))
        self.box = _smaller(self.box, line)
        if line["outcome"] in OPEN:
            self.open_ = (*self.open_, (line["litres"], line["places"], line["values"]["enclosure"]))

    def found(self, words: str) -> Smallest:
        box = self.box
        if not self.sweep:
            words = box.job if box else words + (f" and {self.jobs - 1:,} more" if self.jobs > 1 else "")
        smaller = [name for *size, name in sorted(set(self.open_)) if box is None or (*size, name) < _size(box)]
        return Smallest(self.mix, words, self.splices, box, tuple(smaller))


def summarize(results: Results, older: Results | None = None) -> Summary:
    """Make the summary from one pass over the lines of a run, and of an older run if given."""
    made = Summary()
    total = 0
    groups: dict[str, _Group] = {}
    settings: Counter[str] = Counter()
    for line in results.lines():
        made.counts[line["outcome"]] += 1
        made.same += "same_as" in line
        made.proven += line.get("status") == "optimal"
        made.seconds += 0.0 if "same_as" in line else line.get("seconds", 0.0)
        total = (total + int.from_bytes(_digest(line))) % 2**256
        if line["outcome"] in WITHOUT_ANSWER and len(made.failures) < MOST_FAILURES:
            made.failures.append(Failed(line["name"], line["outcome"], line.get("why", "")))
        if "key" in line and "settings" in line:
            settings[json.dumps(line["settings"], sort_keys=True)] += 1
        if mix_name(line):
            key = variant_key(line)
            if key not in groups:
                sweep = str(line["name"]).partition("/")[0] if line["values"].get("joins") else ""
                groups[key] = _Group(intern(mix_name(line)), intern(variant(line)), intern(sweep))
            groups[key].take(line)
    made.digest = f"{total:064x}"
    made.smallest = _smallest(list(groups.values()))
    made.settings = [(json.loads(text), jobs) for text, jobs in settings.most_common()]
    if older is not None:
        made.changes = counted_changes(changes_between(results, older), made.ways)
    return made


def _smallest(groups: list[_Group]) -> list[Smallest]:
    """Sort groups by mix; groups with the same words from different sweeps get the name of their sweep."""
    sizes: Counter[str] = Counter()
    for group in groups:
        sizes[group.mix] = max(sizes[group.mix], group.splices)
    said = Counter((group.mix, group.said) for group in groups)
    found = []
    for group in groups:
        words = group.said
        if group.sweep and said[group.mix, words] > 1:
            words = " · ".join(filter(None, (words, f"sweep {group.sweep}")))
        found.append(group.found(words))
    return sorted(found, key=lambda item: (sizes[item.mix], item.mix, item.variant))


def variant_key(line: Line) -> str:
    """Return a key of a job without its box: all factors of its sweep but the box, or the variant of its file."""
    name = str(line["name"])
    if line["values"].get("joins"):
        sweep, _, rest = name.partition("/")
        return f"{sweep}//{rest.partition('/')[2]}"
    return f"/{line.get('variant', name)}"


def mix_name(line: Line) -> str:
    """Return the name of the mix of a line: the name in its sweep, or a name made from its trunks."""
    return str(line["values"].get("mix", "") or line.get("mix", ""))


def variant(line: Line) -> str:
    """Return words that tell jobs of one mix in one box apart: the unusual values, or the name of the job file."""
    values = line["values"]
    told = [
        words(factor, values[factor])
        for factor in FACTORS
        if factor not in {"enclosure", "mix"} and values.get(factor) and usual(factor) != values[factor]
    ]
    return " · ".join(told) if values.get("joins") else str(line["name"])


def conflict_words(line: Line) -> str:
    """Write the rules of a conflict with their subjects, in short."""
    groups = [str(group).replace("_", " ") for group in line.get("conflict", ())]
    more = [f"{len(groups) - 4} more"] if len(groups) > 4 else []
    return f"cannot be kept together: {', '.join([*groups[:4], *more])}" if groups else ""


def usual(factor: str) -> str:
    """Return the usual value of a factor, which is not mentioned."""
    return {"tray": "own", "joins": "through", "divide_at": "own", "rules": "default", "tubes": "mesh-set"}.get(
        factor, ""
    )


def words(factor: str, value: str) -> str:
    """Write a value so that it is clear without its factor."""
    if factor == "divide_at":
        return _divided_words(value)
    if factor == "tray":
        return f"trays {value}"
    return value.replace("_", " ")


def _divided_words(value: str) -> str:
    """Write where trunks are divided: at one place, at either place, or trunk by trunk."""
    if value == CABLE:
        return "divided where the cable allows"
    places = [" or ".join(f"the {word}" for word in words.split("+")) for words in value.split("-")]
    return f"divided at {places[0]}" if len(places) == 1 else f"divided trunk by trunk at {', '.join(places)}"


def _digest(line: Line) -> bytes:
    """Return the digest of the parts of a line that do not depend on the machine or the order."""
    keys = ("name", "digest", "outcome", "failure", "goals", "plan_sha256")
    return sha256(json.dumps([line.get(key) for key in keys], sort_keys=True).encode()).digest()


def _smaller(best: Box | None, line: Line) -> Box | None:
    if line["outcome"] not in FITTING:
        return best
    found = Box(
        intern(line["values"]["enclosure"]),
        line["litres"],
        line["places"],
        line["trays"],
        line["goals"]["legs"],
        line["goals"]["leg_length_mm"],
        line["name"],
        intern(line["outcome"]),
        line.get("page") or line["plan"],
    )
    return found if best is None or _order(found) < _order(best) else best


def _size(box: Box) -> tuple[float, int, str]:
    return box.litres, box.places, box.enclosure


def _order(box: Box) -> tuple[Any, ...]:
    return *_size(box), RANK[box.outcome], box.trays, box.legs, box.leg_length_mm, box.job
