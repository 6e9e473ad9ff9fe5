"""Reading a sweep, and making its jobs one at a time."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import product
from pathlib import Path
from typing import Any

from trayopt.batches.patterns import PATTERNS, End, joins
from trayopt.domain.base import Frozen, remade
from trayopt.domain.former import JOB as FORMER_JOB
from trayopt.domain.hardware import Enclosure
from trayopt.domain.job import Job
from trayopt.domain.sweep import CABLE, FACTORS, FORMER, OWN, JoinShell, LeaveOut, MixShell, RuleShell, SweepFile
from trayopt.domain.through import TOWARD, end_names
from trayopt.errors import Fault, InputError
from trayopt.formats.locate import Located, Mark, describe
from trayopt.formats.locate import Path as DataPath
from trayopt.formats.validate import did_you_mean, validate
from trayopt.library.find import Library
from trayopt.library.former import NOTE
from trayopt.library.job import DEFAULT_TUBES, read_located
from trayopt.library.remark import Remark
from trayopt.library.resolve import Resolver
from trayopt.library.soundness import remarks
from trayopt.rules.registry import fill

MOST_JOBS = 100_000
"""Greatest number of jobs of a sweep."""
HINT = (
    "trunks without divide_at are divided at the tray, if their cable has tubes; "
    "write schema: trayopt/sweep/2 to let the plan decide"
)


@dataclass(frozen=True)
class Value:
    """A value of a factor: its name, its data for a job, and its path in the sweep."""

    name: str
    data: Any = None
    path: DataPath = ()


@dataclass(frozen=True)
class SweepJob:
    """A job of a sweep, not yet read; ``values`` holds the names of its values by factor."""

    sweep: Sweep
    values: dict[str, str]
    parts: dict[str, Value]

    @property
    def name(self) -> str:
        """The name, made from the values that the sweep writes down: ``sweep/enclosure/mix_tray_joins``."""
        told = [self.values[factor] for factor in self.sweep.told if factor not in {"enclosure", "mix"}]
        return "/".join((self.sweep.name, self.values["enclosure"], "_".join((self.values["mix"], *told))))

    @property
    def why_not(self) -> str:
        """The reason why the box cannot be built; empty if it can."""
        return self.sweep.unsound(self.parts["enclosure"], self.parts["tray"])

    def job(self) -> Job:
        """Make the job.

        Raises
        ------
        InputError
            If the parts do not fit together, such as a trunk with a port that the enclosure does not have.
        """
        try:
            return self.sweep.read(self.parts, marked=False)
        except InputError:
            return self.sweep.read(self.parts, marked=True)


class Sweep:
    """A sweep with resolved references and sound parts; ``read_sweep`` makes it."""

    def __init__(self, name: str, located: Located, base: Path, resolver: Resolver) -> None:
        self.name = name
        self.located = located
        self.base = base
        self.resolver = resolver
        self.factors: dict[str, list[Value]] = {}
        self.own_joins: dict[str, list[Value]] = {}
        self.ends: dict[str, list[End]] = {}
        self.leave_out: Sequence[LeaveOut] = ()
        self.unusual: set[Fault] = set()
        self.former = False
        """Whether the jobs are of format 1."""
        self._boxes: dict[tuple[str, str], Enclosure] = {}
        self._unsound: dict[tuple[str, str], str] = {}

    @property
    def told(self) -> list[str]:
        """Factors that the sweep writes down, so that their values are part of a job's name."""
        keys = {"tray": "trays", "joins": "joins", "divide_at": "divide_at", "rules": "rules", "tubes": "tubes"}
        told = [factor for factor in FACTORS if keys.get(factor, factor) in self.located.data]
        return [*told, "joins"] if self.own_joins and "joins" not in told else told

    def combinations(self) -> Iterator[tuple[Value, ...]]:
        """Yield every combination of values, in the order of ``FACTORS``; the last factor varies fastest."""
        first, trays, mixes, shared, *rest = (self.factors[factor] for factor in FACTORS)
        for box, tray, mix in product(first, trays, mixes):
            for how in self.own_joins.get(mix.name, shared):
                for others in product(*rest):
                    combination = (box, tray, mix, how, *others)
                    if not self.leave_out or not self._left_out(combination):
                        yield combination

    def _left_out(self, combination: tuple[Value, ...]) -> bool:
        names = {factor: value.name for factor, value in zip(FACTORS, combination, strict=True)}
        return any(entry.covers(names) for entry in self.leave_out)

    def count(self) -> int:
        """Count the jobs without making them."""
        return sum(1 for _ in self.combinations())

    def jobs(self) -> Iterator[SweepJob]:
        """Yield the jobs one at a time."""
        for combination in self.combinations():
            parts = dict(zip(FACTORS, combination, strict=True))
            yield SweepJob(self, {factor: value.name for factor, value in parts.items()}, parts)

    def box(self, box: Value, tray: Value) -> Enclosure:
        """Return an enclosure with a tray in all its stacks."""
        key = (box.name, tray.name)
        if key not in self._boxes:
            made: Enclosure = box.data
            if tray.data is not None:
                stacks = tuple(remade(stack, tray=tray.data, trays=()) for stack in made.stacks)
                made = remade(made, stacks=stacks)
            self._boxes[key] = made
        return self._boxes[key]

    def unsound(self, box: Value, tray: Value) -> str:
        """Return the reason why an enclosure cannot be built with another tray; empty if it can."""
        key = (box.name, tray.name)
        if key not in self._unsound:
            wrong = (remark for remark in remarks(self.box(box, tray)) if remark.level == "error")
            first = next(wrong, None) if tray.data is not None else None
            self._unsound[key] = _sentence(first) if first else ""
        return self._unsound[key]

    def read(self, parts: Mapping[str, Value], *, marked: bool) -> Job:
        """Put a job together and read it; with ``marked``, the places of its parts are kept for messages."""
        mix, how, divide, rules = (parts[factor] for factor in ("mix", "joins", "divide_at", "rules"))
        box = self.box(parts["enclosure"], parts["tray"])
        trunks = tuple(
            _divided(trunk, divide.data, i) if divide.data is not None and isinstance(trunk, dict) else trunk
            for i, trunk in enumerate(mix.data["trunks"])
        )
        data: dict[str, Any] = {
            "schema": FORMER_JOB if self.former else "trayopt/job/2",
            "title": f"{mix.name} in {box.id}",
            "enclosure": box,
            "tubes": parts["tubes"].data,
            "trunks": trunks,
            "joins": joins(how.name, self.ends[mix.name]) if how.data is None else how.data["joins"],
            "rules": {} if rules.data is None else rules.data.get("rules", {}),
        }
        made = Located.plain(data, self.located.source)
        if marked:
            for key, path in (("trunks", mix.path), ("joins", how.path), ("rules", rules.path)):
                _take_marks(made, self.located, key, path)
        return read_located(made, self.base, self.resolver, fill_rules=fill, warn=self._told)

    def _told(self, fault: Fault) -> None:
        """Keep a warning, except the one about a former format, which is given once for the sweep."""
        if fault.message != NOTE:
            self.unusual.add(fault)


def _sentence(remark: Remark) -> str:
    found = f": {remark.found}" if remark.found else ""
    allowed = f" (allowed: {remark.allowed})" if remark.allowed else ""
    return f"{remark.message}{found}{allowed}"


def _end_of(trunk: Mapping[str, Any]) -> str:
    """Return the cable end of a trunk that patterns join; of a trunk that goes through, the end at which it enters."""
    name: str = trunk["id"]
    toward = trunk.get("toward", TOWARD)
    known = isinstance(toward, tuple) and toward and isinstance(toward[0], str)
    return end_names(name, (toward[0] if known else TOWARD[0],))[0] if trunk.get("through") is True else name


def _divided(trunk: Mapping[str, Any], divide: Any, index: int) -> dict[str, Any]:
    """Return a trunk with the places at which it may be divided; the last entry of a list holds for all later trunks."""
    word = divide if isinstance(divide, str) else divide[min(index, len(divide) - 1)]
    others = {key: value for key, value in trunk.items() if key != "divide_at"}
    return others if word == CABLE else {**others, "divide_at": word}


def _take_marks(made: Located, sweep: Located, key: str, path: DataPath) -> None:
    """Take over the places in the sweep for the parts under a key of a job; joins of a pattern have the place of its word."""
    start = (*path, key)
    for theirs, ours in ((sweep.values, made.values), (sweep.keys, made.keys)):
        found: dict[DataPath, Mark] = {
            (key, *at[len(start) :]): mark for at, mark in theirs.items() if at[: len(start)] == start
        }
        ours.update(found)
    if path in sweep.values:
        made.values.setdefault((key,), sweep.values[path])


def read_sweep(located: Located, name: str, base: Path, folders: Sequence[Path] = ()) -> Sweep:
    """Read a sweep from a file that was read already.

    Parameters
    ----------
    located
        The content of the file.
    name
        First part of the names of its jobs.
    base
        The folder to which paths are relative.
    folders
        Folders whose entries come before the models of trayopt.

    Raises
    ------
    InputError
        With every fault of the sweep and of what it refers to.
    """
    return _SweepReader(Sweep(name, located, base, Resolver(Library(folders)))).read()


class _SweepReader:
    def __init__(self, sweep: Sweep) -> None:
        self.sweep = sweep
        self.located = sweep.located
        self.faults: list[Fault] = list(sweep.located.faults)

    def read(self) -> Sweep:
        shell, faults = validate(SweepFile, self.located.data, self.located)
        self.faults += faults
        if shell is None:
            raise InputError(self.faults)
        sweep = self.sweep
        sweep.leave_out = shell.leave_out
        sweep.former = shell.schema_ == FORMER
        if sweep.former:
            sweep.unusual.add(self.located.spot(("schema",)).fault("the sweep is written in format 1", hint=HINT))
        sweep.factors = {
            "enclosure": self.enclosures(shell.enclosures),
            "tray": [self.entry("trays", i, item) for i, item in enumerate(shell.trays)],
            "mix": self.mixes(shell.mixes),
            "joins": self.joins(shell.joins, ("joins",)),
            "divide_at": [Value(_divide_name(item), None if item == OWN else item) for item in shell.divide_at],
            "rules": self.rules(shell.rules),
            "tubes": [self.entry("tubes", i, item) for i, item in enumerate(shell.tubes or ())] or self.default_tubes(),
        }
        for factor, values in sweep.factors.items():
            self.names_once(factor, values)
        self.names_left_out()
        self.stop_where_wrong()
        count = sweep.count()
        if not 0 < count <= MOST_JOBS:
            found, allowed = f"{count:,}", f"1 to {MOST_JOBS:,}"
            spot = self.located.spot(("enclosures",))
            self.faults.append(spot.fault("the sweep makes too few or too many jobs", found=found, allowed=allowed))
        self.samples()
        self.stop_where_wrong()
        return sweep

    def stop_where_wrong(self) -> None:
        for told in (self.sweep.resolver.faults, self.sweep.resolver.unsound):
            self.faults += told
            told.clear()
        if self.faults:
            raise InputError(self.faults)

    def enclosures(self, given: Any) -> list[Value]:
        resolver = self.sweep.resolver
        if given != "all":
            return [self.entry("enclosures", i, item) for i, item in enumerate(given)]
        found = []
        for name in resolver.library.names("enclosure"):
            if resolver.find("enclosure", name) is not None:
                found.append(Value(name, resolver.entry("enclosure", name), ("enclosures",)))
        return found

    def entry(self, key: str, i: int, item: Any) -> Value:
        path: DataPath = (key, i)
        if key == "trays" and item == OWN:
            return Value(OWN, None, path)
        resolver = self.sweep.resolver
        resolve = {"enclosures": resolver.enclosure, "trays": resolver.tray, "tubes": resolver.tubes}[key]
        made = resolve(self.located, path, self.sweep.base)
        return Value(made.id if made is not None else describe(item), made, path)

    def default_tubes(self) -> list[Value]:
        made = self.sweep.resolver.entry("tubes", DEFAULT_TUBES)
        return [Value(DEFAULT_TUBES, made)]

    def shells(self, model: type[Frozen], items: Sequence[Any], base: DataPath) -> Iterator[tuple[Any, DataPath, Any]]:
        """Yield the entries of a list that have the right keys, with their paths."""
        for i, item in enumerate(items):
            path = (*base, i)
            shell, faults = validate(model, item, self.located, path)
            self.faults += faults
            if shell is not None:
                yield shell, path, item

    def mixes(self, items: Sequence[Any]) -> list[Value]:
        found = []
        for shell, path, item in self.shells(MixShell, items, ("mixes",)):
            found.append(Value(shell.name, item, path))
            if shell.joins is not None:
                self.sweep.own_joins[shell.name] = self.joins(shell.joins, (*path, "joins"))
                self.names_once("joins", self.sweep.own_joins[shell.name])
            self.sweep.ends[shell.name] = list(self.cables(shell.trunks, path))
        return found

    def cables(self, trunks: Sequence[Any], path: DataPath) -> Iterator[End]:
        for j, trunk in enumerate(trunks):
            if isinstance(trunk, dict) and isinstance(trunk.get("id"), str) and "cable" in trunk:
                cable = self.sweep.resolver.cable(self.located, (*path, "trunks", j, "cable"), self.sweep.base)
                if cable is not None:
                    yield End(_end_of(trunk), cable)

    def joins(self, items: Sequence[Any], base: DataPath) -> list[Value]:
        found = [
            Value(item, None, (*base, i)) for i, item in enumerate(items) if isinstance(item, str) and item in PATTERNS
        ]
        for i, item in enumerate(items):
            if isinstance(item, str) and item not in PATTERNS:
                spot = self.located.spot((*base, i))
                allowed = ", ".join(PATTERNS) + ", or name and joins"
                hint = did_you_mean(item, PATTERNS)
                self.faults.append(spot.fault("no such way to join", found=describe(item), allowed=allowed, hint=hint))
            elif not isinstance(item, str):
                shell, faults = validate(JoinShell, item, self.located, (*base, i))
                self.faults += faults
                if shell is not None:
                    found.append(Value(shell.name, item, (*base, i)))
        return sorted(found, key=lambda value: value.path[-1])

    def rules(self, items: Sequence[Any] | None) -> list[Value]:
        if items is None:
            return [Value("default")]
        return [Value(shell.name, item, path) for shell, path, item in self.shells(RuleShell, items, ("rules",))]

    def names_once(self, factor: str, values: Sequence[Value]) -> None:
        seen: set[str] = set()
        for value in values:
            if value.name in seen:
                spot = self.located.spot(value.path)
                message = f"the {factor} {describe(value.name)} is given twice"
                self.faults.append(spot.fault(message, allowed="every name once"))
            seen.add(value.name)

    def names_left_out(self) -> None:
        """Report names under ``leave_out`` that no value has."""
        sweep = self.sweep
        for i, entry in enumerate(sweep.leave_out):
            for factor, names in entry.named().items():
                values = [*sweep.factors[factor]]
                if factor == "joins":
                    values += [value for own in sweep.own_joins.values() for value in own]
                known = [value.name for value in values]
                for name in names:
                    if name not in known:
                        spot = self.located.spot(("leave_out", i, factor))
                        self.faults.append(
                            spot.fault(
                                f"no {factor} of this name", found=describe(name), hint=did_you_mean(name, known)
                            )
                        )

    def samples(self) -> None:
        """Read a job for every value, and for every mix with each of its joins, so that faults are found before the run."""
        seen: set[tuple[str, ...]] = set()
        for combination in self.sweep.combinations():
            parts = dict(zip(FACTORS, combination, strict=True))
            new: set[tuple[str, ...]] = {(factor, value.name) for factor, value in parts.items()}
            new.add(("mix and joins", parts["mix"].name, parts["joins"].name))
            new.add(("mix and enclosure", parts["mix"].name, parts["enclosure"].name))
            if new <= seen:
                continue
            seen |= new
            try:
                self.sweep.read(parts, marked=False)
            except InputError:
                try:
                    self.sweep.read(parts, marked=True)
                except InputError as wrong:
                    self.faults += wrong.faults


def _divide_name(item: Any) -> str:
    """Write the name of a value: ``tray-port`` is a list by trunk, ``tray+port`` a trunk that may be divided at both places."""
    return (
        item if isinstance(item, str) else "-".join(word if isinstance(word, str) else "+".join(word) for word in item)
    )
