"""The hardware that a job uses: the file of each part, and the places that name it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from pydantic import BaseModel

from trayopt.errors import InputError
from trayopt.formats.locate import Located
from trayopt.formats.locate import Path as DataPath
from trayopt.formats.yaml_in import parse_yaml
from trayopt.library.assumed import assumed_in
from trayopt.library.find import Kind, Library, shipped
from trayopt.library.job import DEFAULT_TUBES
from trayopt.library.resolve import Resolver

Naming = tuple[Path, DataPath]
"""A place that names a part: a file, and the path in it."""


@dataclass
class Use:
    """A part that a job uses: a tray, a box, a cable or a set of tubes.

    Parameters
    ----------
    kind
        The kind of the part.
    file, base
        The file of the part, and the path in it; the path is empty unless the part is written inline.
    named
        The places that name the part.
    shared
        Whether the file belongs to the library and serves other jobs, so that it is copied before it is changed.
    text
        The text of the file.
    model
        The part; None if something is wrong with it.
    """

    kind: Kind
    file: Path
    base: DataPath
    named: list[Naming] = field(default_factory=list)
    shared: bool = False
    text: str = ""
    model: BaseModel | None = None

    @property
    def assumed(self) -> frozenset[DataPath]:
        """The paths of values of the part that are only assumed."""
        return assumed_in(self.text, str(self.file), self.base)


def hardware_uses(job_file: Path, folders: Sequence[Path] = (), texts: Mapping[Path, str] | None = None) -> list[Use]:
    """Return the parts that a job uses, each once, a box before its trays. Parts that cannot be found or read are left out.

    Parameters
    ----------
    job_file
        The job.
    folders
        Folders whose entries come before the models of trayopt.
    texts
        Texts that are read in place of files.

    Raises
    ------
    InputError
        If the job itself cannot be read.
    """
    resolver = Resolver(Library(folders), texts)
    located = resolver.located(job_file)
    found: dict[tuple[Path, DataPath], Use] = {}
    places: list[tuple[Kind, DataPath]] = [("enclosure", ("enclosure",)), ("tubes", ("tubes",))]
    trunks = _value(located, ("trunks",))
    places += [("cable", ("trunks", i, "cable")) for i in range(len(trunks) if isinstance(trunks, tuple) else 0)]
    for kind, at in places:
        _use(found, resolver, kind, job_file, located, at)
    return list(found.values())


def _use(
    found: dict[tuple[Path, DataPath], Use],
    resolver: Resolver,
    kind: Kind,
    holder: Path,
    located: Located,
    at: DataPath,
) -> None:
    """Add the part that is named at a path, and its trays if it is a box."""
    value = _value(located, at) or (DEFAULT_TUBES if kind == "tubes" else None)
    if isinstance(value, Mapping):
        use = Use(kind, holder, at, text=resolver.text_of(holder))
        made = resolver.made_at(kind, located, at, holder.parent)
    else:
        target = _target(resolver, kind, holder, value)
        if target is None:
            return
        try:
            located = resolver.located(target)
        except InputError:
            return
        use = Use(kind, target, (), shared=_is_shared(resolver, target, value), text=resolver.text_of(target))
        made = resolver.made_at(kind, located, (), target.parent)
    use = found.setdefault((use.file, use.base), use)
    use.model = made
    use.named.append((holder, at))
    if kind == "enclosure" and len(use.named) == 1:
        for inner in _trays(located, use.base):
            _use(found, resolver, "tray", use.file, located, inner)


def _value(located: Located, at: DataPath) -> Any:
    try:
        return located.get(at)
    except (KeyError, IndexError, TypeError):
        return None


def _trays(located: Located, base: DataPath) -> Iterator[DataPath]:
    stacks = _value(located, (*base, "stacks"))
    for i, stack in enumerate(stacks if isinstance(stacks, tuple) else ()):
        yield (*base, "stacks", i, "tray")
        ranges = stack.get("trays") if isinstance(stack, Mapping) else None
        yield from ((*base, "stacks", i, "trays", j, "tray") for j in range(len(ranges or ())))


def _target(resolver: Resolver, kind: Kind, holder: Path, value: object) -> Path | None:
    if not isinstance(value, str) or not value:
        return None
    if value.endswith(".yaml"):
        return holder.parent / value
    try:
        return resolver.find(kind, value)
    except InputError:
        return None


def _is_shared(resolver: Resolver, file: Path, named: object) -> bool:
    """Whether a file belongs to the library: it is named by id, or lies in the models of trayopt or in a named folder."""
    folders = [folder.resolve() for folder in (shipped(), *resolver.library.folders)]
    return not str(named).endswith(".yaml") or any(file.resolve().is_relative_to(folder) for folder in folders)


def comments_of(text: str) -> dict[DataPath, str]:
    """Return the comments of a YAML file, each by the key on its line."""
    lines = {i: note for i, line in enumerate(text.splitlines(), start=1) if (note := line.partition(" # ")[2].strip())}
    keys = parse_yaml(text, "").keys if lines else {}
    return {key: lines[line] for key, (line, _) in keys.items() if line in lines}
