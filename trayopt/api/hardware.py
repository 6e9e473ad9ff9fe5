"""F5: the library of hardware: its entries, their pictures and pages, and new entries from a tape and a label."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING

from trayopt.api.reading import load_job

if TYPE_CHECKING:
    from trayopt.errors import Fault
    from trayopt.library.entries import Entry, Survey
    from trayopt.library.uses import Use


def library_survey(folders: Sequence[Path] = (), files: Sequence[Path] | None = None) -> Survey:
    """Read and validate every entry of the library and of the user's folders, or only some files.

    A job among the files is read with everything that it uses.

    Raises
    ------
    InputError
        If a folder does not exist.
    """
    from trayopt.api.reading import load_job
    from trayopt.errors import InputError
    from trayopt.library.entries import survey
    from trayopt.library.find import Library
    from trayopt.library.job import is_job

    library = Library(folders)
    jobs = []
    for path in files or ():
        with suppress(InputError):  # the survey says what is wrong with a file that cannot be read
            jobs += [path] if is_job(path) else []
    found = survey(library, None if files is None else [path for path in files if path not in jobs])
    for path in jobs:
        found.files += 1
        try:
            load_job(path, library=folders, warn=found.warnings.append)
        except InputError as wrong:
            found.errors += wrong.faults
    found.errors, found.warnings = sorted(set(found.errors)), sorted(set(found.warnings))
    return found


def library_entries(name: str, kind: str | None = None, folders: Sequence[Path] = ()) -> list[Entry]:
    """Return the entries with an id, the first of each kind; for a name that ends in ``.yaml``, the entry of that file.

    Raises
    ------
    InputError
        If there is no such entry, or its file has faults.
    """
    from trayopt.library.entries import file_entry, find_entries
    from trayopt.library.find import Library

    if name.endswith(".yaml"):
        return [file_entry(Library(folders), Path(name), kind)]
    return find_entries(Library(folders), name, kind)


def hardware_picture(source: str | Path, kind: str | None = None, folders: Sequence[Path] = ()) -> str:
    """Draw hardware without a plan, in SVG, with sizes and names; assumed values are marked.

    Parameters
    ----------
    source
        The id of an entry, or a file that ends in ``.yaml``: an entry, or a job, whose box is drawn with its trunks.
    kind
        The kind of the entry, if entries of several kinds share the id.
    folders
        Folders whose entries come before the models of trayopt.

    Raises
    ------
    InputError
        If there is no such entry or more than one, or its file has faults.
    """
    from trayopt.errors import InputError
    from trayopt.library.assumed import assumed
    from trayopt.library.find import Library
    from trayopt.library.job import box_path_of, is_job
    from trayopt.pictures.doubts import Doubts
    from trayopt.pictures.hardware import hardware_picture as drawn
    from trayopt.pictures.job import job_picture
    from trayopt.pictures.svg import svg_file

    if str(source).endswith(".yaml") and is_job(source):
        job = load_job(source, library=folders)
        path = box_path_of(source, Library(folders))
        return svg_file(job_picture(job, Doubts(assumed(*path) if path is not None else ())))
    found = library_entries(str(source), kind, folders)
    if len(found) > 1:
        kinds = ", ".join(entry.kind for entry in found)
        raise InputError.one("a picture shows one entry", source=str(source), found=kinds, hint="choose with --kind")
    return svg_file(drawn(found[0].model, Doubts(assumed(found[0].path))))


def hardware_of(job_file: Path, *, library: Sequence[Path] = (), texts: Mapping[Path, str] | None = None) -> list[Use]:
    """Return the parts that a job uses, each once, with its file, the places that name it, and its assumed values.

    Parameters
    ----------
    job_file
        The job file; it may have faults.
    library
        Folders whose entries come before the models of trayopt.
    texts
        Texts that are read in place of files, such as unsaved changes.

    Raises
    ------
    InputError
        If the job file is not YAML.
    """
    from trayopt.library.uses import hardware_uses

    return hardware_uses(job_file, library, texts)


def use_picture(use: Use, language: str = "en") -> str:
    """Draw a part that a job uses, in SVG, with marks at assumed values; an empty text if the part cannot be built."""
    from trayopt.domain.cable import Cable
    from trayopt.domain.hardware import Enclosure, Tray, TubeSet
    from trayopt.pictures.doubts import Doubts
    from trayopt.pictures.hardware import hardware_picture as drawn
    from trayopt.pictures.svg import svg_text
    from trayopt.rules.tongues import tongue_of

    if not isinstance(use.model, Tray | Enclosure | Cable | TubeSet):
        return ""
    return svg_text(drawn(use.model, Doubts(use.assumed), tongue_of(language).say))


def hardware_page(entries: Sequence[Entry], warnings: Sequence[Fault] = ()) -> str:
    """Write a self-contained page in HTML that shows entries of the library with their pictures."""
    from trayopt.library.assumed import assumed
    from trayopt.pictures.catalogue import Shown, catalogue_page
    from trayopt.pictures.doubts import Doubts
    from trayopt.pictures.hardware import hardware_picture as drawn

    unusual: dict[str, list[str]] = {}
    for fault in warnings:
        unusual.setdefault(fault.source, []).append(str(fault))
    shown = [
        Shown(
            entry.kind, entry.model.id, entry.summary, str(entry.path),
            drawn(entry.model, Doubts(assumed(entry.path))), unusual.get(str(entry.path), ()),
        )
        for entry in entries
    ]  # fmt: skip
    return catalogue_page(shown)


def new_hardware(kind: str, file: str | Path, answers: Mapping[str, str], *, library: Sequence[Path] = ()) -> str:
    """Write the file of a box, a cable, a tray or a set of tubes from what a tape and a label give.

    Parameters
    ----------
    kind
        ``enclosure``, ``cable``, ``tray`` or ``tubes``.
    file
        The path for the file. Its name is the id of the entry, and the path of a tray is relative to its folder.
    answers
        The answers by the names of the questions, each as a person writes it, with sizes in mm.
    library
        Folders in which the tray of a box is looked for before the models of trayopt.

    Returns
    -------
    str
        YAML that ``library validate`` passes; a comment beside every value says whether it was measured or assumed.

    Raises
    ------
    InputError
        If an answer is missing or cannot be read, or the described hardware cannot be built.
    """
    from trayopt.errors import InputError
    from trayopt.formats.locate import describe
    from trayopt.library.find import KINDS, Library
    from trayopt.library.starters import starter

    chosen = next((each for each in KINDS if each == kind), None)
    if chosen is None:
        raise InputError.one("there is no such kind", source="new", found=describe(kind), allowed=", ".join(KINDS))
    name = "mine" if str(file) == "-" else Path(file).stem
    return starter(chosen, name, answers, Library(library), Path(file).parent)


def measuring_sheet() -> str:
    """Draw a page to print, in SVG, that shows what to measure of a box, and where."""
    from trayopt.domain.hardware import Enclosure
    from trayopt.library.find import Library
    from trayopt.library.resolve import Resolver
    from trayopt.library.starters.questions import QUESTIONS
    from trayopt.pictures.measuring import SAMPLE, Asked
    from trayopt.pictures.measuring import measuring_sheet as drawn
    from trayopt.pictures.svg import svg_file

    sample = Resolver(Library()).entry("enclosure", SAMPLE)
    assert isinstance(sample, Enclosure)
    asked = {kind: [Asked(each.name, each.asks, each.example) for each in found] for kind, found in QUESTIONS.items()}
    return svg_file(drawn(asked, sample))
