"""Describing hardware from a tape and a label: questions, formulas for the rest, and a file that marks which value is which."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from trayopt.domain.cable import Cable
from trayopt.domain.hardware import Enclosure, Tray, TubeSet
from trayopt.errors import InputError
from trayopt.formats.locate import describe
from trayopt.library.find import Kind, Library
from trayopt.library.resolve import Resolver
from trayopt.library.soundness import remarks
from trayopt.library.starters.box import box_starter
from trayopt.library.starters.cables import cable_starter
from trayopt.library.starters.draft import Draft
from trayopt.library.starters.measured import Others
from trayopt.library.starters.questions import read_answers
from trayopt.library.starters.trays import tray_starter, tubes_starter

ID = r"[A-Za-z0-9][A-Za-z0-9._-]{0,63}"

SIMPLE: dict[str, Callable[[str, Mapping[str, Any]], Draft]] = {
    "cable": cable_starter,
    "tray": tray_starter,
    "tubes": tubes_starter,
}


def starter(kind: Kind, name: str, given: Mapping[str, str], library: Library, folder: Path) -> str:
    """Return the text of the file of an entry, made from measured values.

    Parameters
    ----------
    kind
        The kind of the entry.
    name
        The id of the entry: the name of the file without its ending.
    given
        The answers, as a person writes them, by the names of the questions.
    library
        The library in which the tray of a box is looked for.
    folder
        The folder of the file, to which a path of a tray is relative.

    Raises
    ------
    InputError
        If an answer is missing or cannot be read, or the described hardware cannot be built.
    """
    if not re.fullmatch(ID, name):
        allowed = "letters, digits, '.', '_' and '-', beginning with a letter or digit: the file's name is the id"
        raise InputError.one("no entry can have this id", source=name, found=describe(name), allowed=allowed)
    answers = read_answers(kind, given)
    if kind == "enclosure":
        tray = _tray(answers["tray"], library, folder)
        mixed = [Others(at, named, _tray(named, library, folder, "mixed")) for at, named in answers["mixed"]]
        draft = box_starter(name, answers, tray, mixed)
    else:
        draft = SIMPLE[kind](name, answers)
    _sound(draft.model)
    return draft.text()


def _tray(named: str, library: Library, folder: Path, answer: str = "tray") -> Tray:
    """Find the tray for a box by its id or its path."""
    resolver = Resolver(library)
    made: object
    if named.endswith(".yaml"):
        kind, made = resolver.file(folder / named)
        if kind != "tray":
            raise InputError.one(f"{named} is not a tray", source=answer, found=f"kind: {kind}", allowed="kind: tray")
    else:
        made = resolver.entry("tray", named)
    if resolver.faults or resolver.unsound or not isinstance(made, Tray):
        raise InputError([*resolver.faults, *resolver.unsound])
    return made


def _sound(model: Tray | Enclosure | Cable | TubeSet) -> None:
    """Raise InputError if hardware cannot be built, in the words of the library's checks."""
    wrong = [remark for remark in remarks(model) if remark.level == "error"]
    if wrong:
        first = wrong[0]
        hint = "measure again, or describe a part with fewer or smaller things in it"
        raise InputError.one(first.message, source=model.id, found=first.found, allowed=first.allowed, hint=hint)
