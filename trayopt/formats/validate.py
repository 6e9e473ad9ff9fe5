"""Making models from data. Every fault that validation finds is reported in plain words at its place."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Collection, Mapping
from functools import lru_cache
from types import UnionType
from typing import Annotated, Any, Literal, TypeVar, Union, get_args, get_origin

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from trayopt.domain.said import Said, chained, said
from trayopt.errors import Fault
from trayopt.formats.locate import Located, Path, describe, path_text

M = TypeVar("M", bound=BaseModel)

_TEXT, _WHOLE, _NUMBER, _FLAG, _LIST = (
    said("text"), said("a whole number"), said("a number"), said("true or false"), said("a list")
)  # fmt: skip
_MAPPING = said("a mapping (key: value)")
_BOUNDS = {"greater_than": "gt", "greater_than_equal": "ge", "less_than": "lt", "less_than_equal": "le"}
_WANTED = {
    "string_type": _TEXT, "int_type": _WHOLE, "int_from_float": _WHOLE, "float_type": _NUMBER, "finite_number": _NUMBER,
    "bool_type": _FLAG, "tuple_type": _LIST, "model_type": _MAPPING, "model_attributes_type": _MAPPING,
    "dict_type": _MAPPING, "mapping_type": _MAPPING,
    "string_pattern_mismatch": said("1 to 64 characters without ':', '/' and '+', not beginning with a space"),
}  # fmt: skip


def validate(
    model: type[M],
    data: object,
    located: Located,
    base: Path = (),
    *,
    settled: Collection[Path] = (),
) -> tuple[M | None, list[Fault]]:
    """Make a model from the data at ``base`` of an input.

    Parameters
    ----------
    model
        The model to make.
    data
        The data; it may differ from the input, because references are resolved already.
    located
        The input, which knows the places of values.
    base
        The path of the data in the input.
    settled
        Paths inside the data that are fully reported already; faults that validation finds there are dropped.

    Returns
    -------
    tuple
        The model, or None if something is wrong; and the faults.
    """
    if isinstance(data, model):
        return data, []
    try:
        return model.model_validate(data), []
    except ValidationError as wrong:
        errors = wrong.errors(include_url=False)
    newer = newer_format(model, data, located, base)
    if newer is not None:
        return None, [newer]
    said = {*settled, *(path[len(base) :] for path in located.bad if path[: len(base)] == base)}
    groups = _cleaned(errors, data)
    meant = _meant(model, groups)
    faults = []
    for path, group in groups.items():
        if path not in meant and not any(path[:end] in said for end in range(len(path) + 1)):
            faults.append(_fault(model, located, base, path, group))
    return None, faults


def newer_format(model: type[BaseModel], data: object, located: Located, base: Path = ()) -> Fault | None:
    """Return a fault if the data is of a newer format than this version of trayopt reads; otherwise None.

    Nothing else is reported about such a file: its unknown keys are not the fault of its writer.
    """
    field = _fields(model).get("schema")
    given = data.get("schema") if isinstance(data, Mapping) else None
    if field is None or not isinstance(given, str):
        return None
    known = str(get_args(field.annotation)[-1])
    kind, _, number = known.rpartition("/")
    if not given.startswith(f"{kind}/") or not re.fullmatch(r"[0-9]{1,9}", given[len(kind) + 1 :]):
        return None
    if int(given[len(kind) + 1 :]) <= int(number):
        return None
    what = kind.rpartition("/")[2]
    return located.spot((*base, "schema")).fault(
        said(
            "this {what} was written for a newer version of trayopt, whose format this version does not know", what=what
        ),
        found=given,
        allowed=known,
        hint=said(
            "read it with that version, or solve the job again with this one"
            if what == "plan"
            else "read it with that version"
        ),
    )


def _meant(model: type[BaseModel], groups: Mapping[Path, list[ErrorDetails]]) -> set[Path]:
    """Return the missing keys that are only misspelt: the unknown key is reported instead, with the name that was meant."""
    found = set()
    for path, group in groups.items():
        if group[0]["type"] == "extra_forbidden":
            near = nearest(str(path[-1]), _keys(model_at(model, path[:-1])))
            meant = (*path[:-1], near or "")
            if meant in groups and groups[meant][0]["type"] == "missing":
                found.add(meant)
    return found


def _cleaned(errors: list[ErrorDetails], data: object) -> dict[Path, list[ErrorDetails]]:
    """Group errors by their path in the data, without the names of union branches, which are not part of the data.

    If one branch of a union fails deeper inside than another, that branch was meant, and the other errors are dropped.
    """
    found: dict[Path, list[ErrorDetails]] = {}
    unions: set[Path] = set()
    for error in errors:
        path: Path = ()
        value: Any = data
        last = len(error["loc"]) - 1
        for i, part in enumerate(error["loc"]):
            if isinstance(value, Mapping) and part in value:
                value = value[part]
            elif isinstance(value, list | tuple) and part in range(len(value)):
                value = value[int(part)]
            elif not (i == last and error["type"] == "missing"):
                unions.add(path)
                continue
            path = (*path, part)
        if error["type"] == "too_short" and len(error["input"]) >= error["ctx"]["min_length"]:
            continue  # pydantic counted only the valid entries; wrong entries are reported themselves
        found.setdefault(path, []).append(error)
    for path in [path for path in found if path and isinstance(path[-1], int)]:
        if (*path[:-1], int(path[-1]) + 1) in found and found[path][0]["type"] == "missing":
            del found[path]  # of several missing entries, only the last is reported, which says how many there must be
    for path in unions:
        if any(len(other) > len(path) and other[: len(path)] == path for other in found):
            found.pop(path, None)
    return found


def _fault(model: type[BaseModel], located: Located, base: Path, path: Path, group: list[ErrorDetails]) -> Fault:
    error = group[0]
    kind = error["type"]
    context = error.get("ctx", {})
    value = error["input"]
    name = _name(path)
    if kind == "missing":
        spot = located.spot((*base, *path[:-1]))
        if isinstance(path[-1], int):
            message = said("{name} has too few entries", name=_name(path[:-1]))
            return spot.fault(message, found=f"{len(value)}", allowed=f"{path[-1] + 1}")
        return spot.fault(
            said("the key '{name}' is missing", name=name),
            allowed=_wanted_of(model, path),
            hint=said("add '{name}: ...'", name=name),
        )
    if kind == "extra_forbidden":
        spot = located.spot((*base, *path), key=True)
        keys = _keys(model_at(model, path[:-1]))
        return spot.fault(
            said("unknown key {key}", key=describe(path[-1])),
            allowed=", ".join(keys),
            hint=did_you_mean(str(path[-1]), keys),
        )
    spot = located.spot((*base, *path))
    found = describe(value)
    hint = ""
    allowed = chained(list(dict.fromkeys(text for item in group if (text := _allowed(item)))), "{first} or {then}")
    message = said("{name} is not allowed", name=name) if name else said("this is not allowed")
    if kind in {"too_short", "too_long"}:
        few = kind == "too_short"
        found = f"{context.get('actual_length')}"
        allowed = (
            said("at least {least}", least=context.get("min_length"))
            if few
            else said("at most {most}", most=context.get("max_length"))
        )
        message = said("{name} has too few entries" if few else "{name} has too many entries", name=name)
    elif kind in _BOUNDS:
        message = said("{name} is out of range", name=name)
    elif kind.endswith("_type") or kind == "int_from_float":
        message = said("{name} has the wrong type", name=name) if name else said("wrong type")
        if value is None:
            message, found = said("{name} has no value", name=name), ""
        elif any(item["type"] == "string_type" for item in group) and isinstance(value, int | float):
            hint = said("write '{value}' in quotes if it is a name", value=describe(value))
    elif kind == "literal_error":
        options = [text.strip("'") for text in _options(group)]
        hint = did_you_mean(value, options) if isinstance(value, str) else ""
    elif kind == "value_error":
        allowed = ""
        wrong = context["error"].args[0]
        message = said("{name}: {wrong}", name=name, wrong=wrong) if name else wrong
    return spot.fault(message, found=found, allowed=allowed, hint=hint)


def _allowed(error: ErrorDetails) -> str:
    kind = error["type"]
    context = error.get("ctx", {})
    if kind in _BOUNDS:
        return _bound(kind, context)
    if kind == "literal_error":
        return ", ".join(_options([error]))
    if kind in {"string_too_short", "string_too_long"}:
        if kind.endswith("short"):
            return said("one character or more")
        return said("up to {most} characters", most=context["max_length"])
    if kind == "value_error":
        return ""
    return _WANTED.get(kind, error["msg"])


def _bound(kind: str, context: Mapping[str, Any]) -> Said:
    limit = context[_BOUNDS[kind]]
    value = said("{limit:,}", limit=limit) if isinstance(limit, int) else f"{limit:g}"
    if kind.startswith("greater"):
        return said("above {value}" if kind == "greater_than" else "at least {value}", value=value)
    return said("below {value}" if kind == "less_than" else "at most {value}", value=value)


def _options(group: list[ErrorDetails]) -> list[str]:
    texts = [str(item.get("ctx", {}).get("expected", "")) for item in group if item["type"] == "literal_error"]
    return [
        option.strip().strip("'")
        for text in texts
        for option in text.replace(" or ", ", ").split(",")
        if option.strip()
    ]


def did_you_mean(text: str, options: Collection[str]) -> str:
    """Return ``did you mean 'loops'?`` for the nearest of some names; an empty text if none is near."""
    near = nearest(text, options)
    return said("did you mean '{near}'?", near=near) if near else ""


def nearest(text: str, options: Collection[str]) -> str | None:
    """Return the name that is most similar to a text; None if none is similar."""
    return _nearest(text, tuple(options))


_ALIKE = 0.7
"""Two words are near if at least this share of their letters matches in order."""


@lru_cache(maxsize=1_000)
def _nearest(text: str, options: tuple[str, ...]) -> str | None:
    """Find the nearest name; the result is kept, since a wrong word often occurs in many rows of a table."""
    short = text[:100]
    options = _may_be_near(short.lower(), options)
    if not options:
        return None
    from difflib import get_close_matches

    found = get_close_matches(short, options, 1, _ALIKE) or get_close_matches(short.lower(), options, 1, _ALIKE)
    return found[0] if found else None


def _may_be_near(text: str, options: tuple[str, ...]) -> tuple[str, ...]:
    """Return the options that share enough letters with a word, in any order; difflib would take longer to exclude the rest."""
    shared = text if _have_digits(options) else text.translate(_DIGITS)  # numbered names share their letters
    return _sharing(shared, len(text), options)


_DIGITS = dict.fromkeys(map(ord, "0123456789"))


@lru_cache(maxsize=100)
def _have_digits(options: tuple[str, ...]) -> bool:
    return any(char in "0123456789" for option in options for char in option)


@lru_cache(maxsize=1_000)
def _sharing(shared: str, length: int, options: tuple[str, ...]) -> tuple[str, ...]:
    """Return the options that share enough letters with a word of some length, of which ``shared`` is all that they may share."""
    found = []
    for option, letters, without in _letters(options):
        enough = _ALIKE * (length + len(option)) / 2
        if min(length, len(option), len(shared) - len(shared.translate(without))) < enough:
            continue
        if sum(map(min, map(shared.count, letters), letters.values())) >= enough:
            found.append(option)
    return tuple(found)


@lru_cache(maxsize=100)
def _letters(options: tuple[str, ...]) -> list[tuple[str, Counter[str], dict[int, None]]]:
    """Count the letters of words, in lower case; the last item is a table that takes them out of a text."""
    words = [(option, option.lower()) for option in options]
    return [(option, Counter(word), dict.fromkeys(map(ord, word))) for option, word in words]


def model_at(model: type[BaseModel] | None, path: Path) -> type[BaseModel] | None:
    """Return the model of the value at a path inside another model; None if it is not exactly one model."""
    for part in path:
        if isinstance(part, int):
            continue
        field = _fields(model).get(part)
        model = _first_model(field.annotation) if field else None
    return model


def _first_model(annotation: object) -> type[BaseModel] | None:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    if get_origin(annotation) in {Union, UnionType, Annotated, tuple, list}:
        found = [model for inner in get_args(annotation) if (model := _first_model(inner))]
        return found[0] if len(found) == 1 else None
    return None


def _fields(model: type[BaseModel] | None) -> dict[str, Any]:
    return {field.alias or name: field for name, field in model.model_fields.items()} if model else {}


def _keys(model: type[BaseModel] | None) -> list[str]:
    """List the keys that a file may have: keys of the model that are not only resolved, and keys that are only written."""
    resolved, written = getattr(model, "only_resolved", ()), getattr(model, "only_written", ())
    return [*(key for key in _fields(model) if key not in resolved), *written]


def _wanted_of(model: type[BaseModel], path: Path) -> str:
    field = _fields(model_at(model, path[:-1])).get(str(path[-1]))
    annotation = field.annotation if field else None
    origin = get_origin(annotation)
    if origin is Literal:
        return ", ".join(str(option) for option in get_args(annotation))
    simple = {str: _TEXT, int: _WHOLE, float: _NUMBER, bool: _FLAG}
    if annotation in simple:
        return simple[annotation]
    if origin is tuple:
        return _LIST
    return ""


def _name(path: Path) -> str:
    """Return the name of a value for a message: its key, followed by the index if it is in a list."""
    if not path:
        return ""
    if isinstance(path[-1], int):
        return path_text(path[-2:]) if len(path) > 1 else said("entry {number}", number=path[-1])
    return str(path[-1])
