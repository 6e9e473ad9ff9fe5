"""Reading a job: references are resolved, defaults are filled in, and all faults of all files are reported at once."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Annotated, Any, Literal, Protocol

from pydantic import Field

from trayopt.domain.base import Frozen
from trayopt.domain.former import JOB as FORMER
from trayopt.domain.former import RENAMED
from trayopt.domain.hardware import Enclosure
from trayopt.domain.job import Apart, Job, Join, Setting
from trayopt.domain.pins import LegPin, TrunkPin
from trayopt.domain.said import said
from trayopt.domain.through import TOWARD, Through, end_names
from trayopt.domain.trunk import Trunk
from trayopt.errors import Fault, InputError
from trayopt.formats.locate import Located, describe
from trayopt.formats.locate import Path as DataPath
from trayopt.formats.validate import newer_format, validate
from trayopt.formats.yaml_in import read_yaml
from trayopt.library.crossref import cross_faults
from trayopt.library.find import Library
from trayopt.library.former import HINT, NOTE, divided_at, renamed
from trayopt.library.parts import JoinAt, Parts
from trayopt.library.pins import pin_faults
from trayopt.library.resolve import Resolver
from trayopt.library.through import TrunkAt, entries, goes_through, read_through, seen_from, settled

DEFAULT_TUBES = "mesh-set"


class RuleFaultLike(Protocol):
    """A fault that the registry of rules finds in the ``rules`` of a job, with its path inside them."""

    @property
    def path(self) -> tuple[str | int, ...]: ...  # noqa: D102
    @property
    def message(self) -> str: ...  # noqa: D102
    @property
    def found(self) -> str: ...  # noqa: D102
    @property
    def allowed(self) -> str: ...  # noqa: D102
    @property
    def hint(self) -> str: ...  # noqa: D102


FillRules = Callable[[Mapping[str, object], Enclosure | None], tuple[dict[str, Setting], Sequence[RuleFaultLike]]]


Warn = Callable[[Fault], None]


class JobFile(Frozen):
    """The keys of a job file; their values are read later, part by part."""

    only_resolved = Job.only_resolved

    schema_: Annotated[Literal["trayopt/job/1", "trayopt/job/2"], Field(alias="schema")] = "trayopt/job/2"
    title: Annotated[str, Field(max_length=500)] = ""
    enclosure: Any
    tubes: Any = DEFAULT_TUBES
    trunks: Annotated[tuple[Any, ...], Field(min_length=1, max_length=1000)]
    joins: tuple[Any, ...] | str = ()
    apart: tuple[Any, ...] = ()
    rules: Mapping[str, Any] = {}
    pins: tuple[Any, ...] = ()
    through: tuple[Any, ...] = ()


def read_job(
    source: str | Path | Mapping[str, Any],
    libraries: Sequence[Path] = (),
    *,
    fill_rules: FillRules,
    warn: Warn | None = None,
    texts: Mapping[Path, str] | None = None,
) -> Job:
    """Read a job and everything that it refers to.

    Parameters
    ----------
    source
        A job file, ``-`` for standard input, or the job as a mapping. Paths in the job are relative to its file, or to the
        current folder.
    libraries
        Folders whose entries come before the models of trayopt; later folders come before earlier ones.
    fill_rules
        Function that fills in the defaults of the job's ``rules`` and returns the faults in them.
    warn
        Function that gets each warning once, in order: a former format, a job without joins, unusual hardware.
    texts
        Texts that are read in place of files, such as unsaved changes of the job's file or of files that it names.

    Raises
    ------
    InputError
        With every fault of every file, sorted; hardware that cannot be built is a fault.
    """
    located, base = _open(source, texts or {})
    return read_located(located, base, Resolver(Library(libraries), texts), fill_rules=fill_rules, warn=warn)


def box_file_of(source: str | Path) -> str | None:
    """Return the path that a job gives for its box, as it is written there; None if the job gives no path.

    The result is None for ``-``, since standard input cannot be read again.
    """
    if str(source) == "-":
        return None
    data = read_yaml(source).data
    named = data.get("enclosure") if isinstance(data, Mapping) else None
    return named if isinstance(named, str) and named.endswith(".yaml") else None


def is_job(source: str | Path) -> bool:
    """Whether a YAML file is a job, which has a ``schema`` or ``trunks``, and not an entry of the library, which has a ``kind``.

    Raises
    ------
    InputError
        If the file cannot be read.
    """
    data = read_yaml(source).data
    return isinstance(data, Mapping) and "kind" not in data and ("schema" in data or "trunks" in data)


def box_path_of(source: str | Path, library: Library) -> tuple[Path, DataPath] | None:
    """Return the file that holds the box of a job, and the path in it: a file of its own, an entry of the library, or the job."""
    named = read_yaml(source).get(("enclosure",))
    if not isinstance(named, str):
        return Path(source), ("enclosure",)
    if named.endswith(".yaml"):
        return Path(source).parent / named, ()
    found = Resolver(library).find("enclosure", named)
    return None if found is None else (found, ())


def read_located(
    located: Located, base: Path, resolver: Resolver, *, fill_rules: FillRules, warn: Warn | None = None
) -> Job:
    """Read a job that was put together from parts of other inputs; faults have the places of ``located``.

    Parameters
    ----------
    located
        The job with the keys of a job file; in place of a reference it may hold the object itself.
    base
        The folder to which paths are relative.
    resolver
        Reader of the files that references name; many jobs may share it.
    fill_rules
        Function that fills in the defaults of the job's ``rules`` and returns the faults in them.
    warn
        Function that gets each warning once, in order, as in ``read_job``.

    Raises
    ------
    InputError
        With every fault, sorted; hardware that cannot be built is a fault.
    """
    reader = _Reader(located, base, resolver)
    job = reader.job(fill_rules)
    if warn is not None:
        if reader.former:
            warn(located.spot(("schema",)).fault(NOTE, hint=HINT))
        if not job.joins:
            path = ("joins",) if "joins" in located.data else ()
            warn(located.spot(path).fault(said("the job has no joins: nothing is spliced, and no tray is needed")))
        for fault in sorted(set(reader.resolver.unusual)):
            warn(fault)
    return job


def _open(source: str | Path | Mapping[str, Any], texts: Mapping[Path, str]) -> tuple[Located, Path]:
    if not isinstance(source, Mapping):
        base = Path() if str(source) == "-" else Path(source).parent
        return read_yaml(source, texts.get(Path(source))), base
    try:
        return Located.plain(source).without("$schema"), Path()
    except ValueError as wrong:
        raise InputError.one(said("the job cannot be read: {wrong}", wrong=wrong)) from wrong


class _Reader:
    def __init__(self, located: Located, base: Path, resolver: Resolver) -> None:
        self.located = located
        self.base = base
        self.resolver = resolver.afresh()
        self.faults: list[Fault] = list(located.faults)
        self.parts = Parts(located)
        self.former = False

    def job(self, fill_rules: FillRules) -> Job:
        located, parts = self.located, self.parts
        shell, faults = validate(JobFile, located.data, located)
        self.former = shell is not None and shell.schema_ == FORMER
        self.faults += faults
        if not isinstance(located.data, dict) or newer_format(JobFile, located.data, located):
            raise InputError(self.faults)
        data: dict[str, Any] = located.data
        if "enclosure" in data:
            parts.enclosure = self.resolver.enclosure(located, ("enclosure",), self.base)
        if "tubes" in data:
            parts.tubes = self.resolver.tubes(located, ("tubes",), self.base)
        else:
            parts.tubes = self.resolver.tubes(Located(located.source, DEFAULT_TUBES), (), self.base)
        self.trunks(_list(data, "trunks"))
        self.joins(data.get("joins", ()))
        self.aparts(_list(data, "apart"))
        self.pins(_list(data, "pins"))
        through = self.through(_list(data, "through"))
        self.rules(data.get("rules", {}), fill_rules)
        self.faults += [*cross_faults(parts), *pin_faults(parts), *self.resolver.faults, *self.resolver.unsound]
        if self.faults or shell is None or parts.enclosure is None or parts.tubes is None:
            raise InputError(self.faults)
        job = Job(
            title=shell.title,
            enclosure=parts.enclosure,
            tubes=parts.tubes,
            trunks=tuple(at.trunk for at in parts.trunks),
            joins=tuple(item.join for item in parts.joins),
            apart=tuple(parts.aparts.values()),
            rules=parts.rules,
            pins=tuple(parts.pins.values()),
            through=tuple(through),
        )
        if any(pin.built for pin in job.pins):
            from trayopt.library.built import built_faults

            contradictions = list(built_faults(parts, job))
            if contradictions:
                raise InputError(contradictions)
        return job

    def trunks(self, items: Sequence[Any]) -> None:
        for i, data in enumerate(items):
            whole = True
            if goes_through(data):
                gone, faults = read_through(self.located, i, data)
                self.faults += faults
                if gone is not None:
                    self.parts.gone.append(gone)
                    self.parts.trunk_names.update(gone.ends)
                    for side, (entry, by_side) in enumerate(entries(gone, data)):
                        self.trunk(i, entry, side, by_side)
                    continue
                whole = not faults and not data["through"]
                data = {key: value for key, value in data.items() if key != "through"}
            if whole:
                self.trunk(i, data)
            elif isinstance(data.get("id"), str):
                self.parts.trunk_names.update({data["id"], *end_names(data["id"], TOWARD)})

    def trunk(self, i: int, data: Any, side: int | None = None, by_side: frozenset[str] = frozenset()) -> None:
        """Read a trunk, or one end of a trunk that goes through; faults of the first end are not repeated for the second."""
        at: DataPath = ("trunks", i)
        settled: list[DataPath] = [("cable",)] if side else []
        if isinstance(data, dict):
            if isinstance(data.get("id"), str):
                self.parts.trunk_names.add(data["id"])
            if "cable" in data:
                cable = self.resolver.cable(self.located, (*at, "cable"), self.base)
                if cable is None:
                    settled.append(("cable",))
                else:
                    data = {**data, "cable": cable}
                    if self.former and "divide_at" not in data:
                        data["divide_at"] = divided_at(cable)
        located = self.located if side is None else seen_from(self.located, i, side, by_side)
        trunk, faults = validate(Trunk, data, located, at, settled=settled)
        self.faults += faults
        if trunk is not None:
            self.parts.trunks.append(TrunkAt(trunk, i, located, side))
            self.parts.trunk_by_id.setdefault(trunk.id, trunk)

    def through(self, items: Sequence[Any]) -> list[Through]:
        """Settle which trunks go through, and which of their subunits are cut."""
        for i, data in enumerate(items):
            item, faults = validate(Through, data, self.located, ("through", i))
            self.faults += faults
            if item is not None:
                self.parts.through[i] = item
        runs = [run for at in self.parts.joins for run in (at.join.a, at.join.b)]
        self.parts.trunks, made = settled(self.parts.gone, self.parts.trunks, runs)
        self.parts.trunk_by_id = {at.trunk.id: at.trunk for at in reversed(self.parts.trunks)}
        return [*self.parts.through.values(), *made]

    def joins(self, given: object) -> None:
        if isinstance(given, str):
            self.joins_of_table(given)
            return
        for i, data in enumerate(given if isinstance(given, tuple) else ()):
            name = str(i)
            if isinstance(data, dict):
                if isinstance(data.get("name"), str):
                    name = data["name"]
                data = {"name": name, **data}
            join, faults = validate(Join, data, self.located, ("joins", i))
            self.faults += faults
            self.parts.join_names.add(name)
            if join is None:
                self.parts.joins_whole = False
            else:
                spots = [self.parts.spot("joins", i, key) for key in ("a", "b", "name")]
                self.parts.joins.append(JoinAt(join, *spots))

    def joins_of_table(self, name: str) -> None:
        from trayopt.library.join_table import JoinTable

        try:
            table = JoinTable(self.base / name, self.parts.trunk_by_id)
        except InputError as wrong:
            self.parts.joins_whole = False
            spot = self.parts.spot("joins")
            for fault in wrong.faults:
                placed = fault.line or fault.where
                message = said("the joins {name}: {message}", name=describe(name, 300), message=fault.message)
                self.faults.append(
                    fault if placed else spot.fault(message, found=fault.found, allowed=fault.allowed, hint=fault.hint)
                )
            return
        self.faults += table.faults
        self.parts.join_names.update(table.names)
        self.parts.joins += [join for join in table.joins if join is not None]
        self.parts.joins_whole = None not in table.joins

    def aparts(self, items: Sequence[Any]) -> None:
        for i, data in enumerate(items):
            apart, faults = validate(Apart, data, self.located, ("apart", i))
            self.faults += faults
            if apart is not None:
                self.parts.aparts[i] = apart

    def pins(self, items: Sequence[Any]) -> None:
        for i, data in enumerate(items):
            at: DataPath = ("pins", i)
            keys = {"leg", "trunk"} & set(data) if isinstance(data, dict) else {"leg"}
            if len(keys) != 1:
                found = "both" if keys else describe(data)
                spot = self.located.spot(at)
                self.faults.append(
                    spot.fault(
                        said("a pin names a leg or a trunk"), found=found, allowed=said("leg: N1:1-72, or trunk: N1")
                    )
                )
                continue
            model: type[LegPin] | type[TrunkPin] = LegPin if "leg" in keys else TrunkPin
            pin, faults = validate(model, data, self.located, at)
            self.faults += faults
            if pin is not None:
                self.parts.pins[i] = pin

    def rules(self, given: object, fill_rules: FillRules) -> None:
        entries: dict[str, Any] = given if isinstance(given, dict) else {}
        names: dict[str, str] = {}
        if self.former:
            entries, names = renamed(entries)
        settings, faults = fill_rules(entries, self.parts.enclosure)
        self.parts.rules = settings
        for fault in faults:
            path: DataPath = ("rules", names.get(str(fault.path[0]), fault.path[0]), *fault.path[1:])
            if path not in self.located.bad:
                spot = self.located.spot(path)
                hint = fault.hint
                if len(fault.path) == 1 and fault.path[0] in RENAMED and not self.former:
                    hint = said("it is called {renamed} since format 2", renamed=RENAMED[str(fault.path[0])])
                self.faults.append(spot.fault(fault.message, found=fault.found, allowed=fault.allowed, hint=hint))


def _list(data: Mapping[str, Any], key: str) -> tuple[Any, ...]:
    value = data.get(key, ())
    return value if isinstance(value, tuple) else ()
