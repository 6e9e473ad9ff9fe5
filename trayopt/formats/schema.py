"""JSON Schema of every kind of file, for editors and for programs that read or write such files."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping
from functools import cache
from importlib.resources import files
from typing import Any, get_args

from pydantic import BaseModel

from trayopt.domain.cable import Cable
from trayopt.domain.certificate import Certificate
from trayopt.domain.explanation import Explanation
from trayopt.domain.hardware import Enclosure, Tray, TubeSet
from trayopt.domain.job import Job
from trayopt.domain.plan import Plan
from trayopt.domain.sweep import Sweep
from trayopt.domain.through import Through, ThroughKeys
from trayopt.domain.trunk import Trunk

DIALECT = "https://json-schema.org/draft/2020-12/schema"
MODELS: dict[str, type[BaseModel]] = {
    "tray": Tray,
    "enclosure": Enclosure,
    "cable": Cable,
    "tubes": TubeSet,
    "job": Job,
    "plan": Plan,
    "certificate": Certificate,
    "explanation": Explanation,
    "sweep": Sweep,
}
KINDS: tuple[str, ...] = tuple(MODELS)


def schema_id(kind: str) -> str:
    """Return the id of the schema of a kind of file, with the number of its format; 1 if such files carry no number."""
    field = MODELS[kind].model_fields.get("schema_")
    number = "1" if field is None else str(get_args(field.annotation)[-1]).rpartition("/")[2]
    return f"urn:trayopt:schema:{kind}:{number}"


def schema(kind: str, rules: Mapping[str, Any] | None = None) -> dict[str, Any]:
    """Return the JSON Schema (draft 2020-12) of a kind of file.

    Parameters
    ----------
    kind
        One of ``KINDS``.
    rules
        For a job or a sweep: the schema of the entry of each rule under ``rules``. Without these, any entry is allowed.
    """
    made = MODELS[kind].model_json_schema(by_alias=True)
    if kind == "job":
        _as_file(made, rules)
    if kind == "sweep":
        _as_sweep_file(made, rules)
    made.get("$defs", {}).pop(Through.__name__, None)
    _loosen_parts({**made.get("$defs", {}), kind.title(): made})
    for name, properties in parts(kind, made):
        _describe(properties, descriptions().get(name, {}))
    properties = {
        "$schema": {"type": "string", "description": "address of this schema, for editors"},
        **made.pop("properties"),
    }
    title = f"trayopt {kind}"
    made.pop("title", None)
    return {"$schema": DIALECT, "$id": schema_id(kind), "title": title, **made, "properties": properties}


@cache
def descriptions() -> dict[str, dict[str, Any]]:
    """Return the description of each key of each model, and of the parameters of each rule under ``rules``."""
    return tomllib.loads(files("trayopt.formats").joinpath("descriptions.toml").read_text(encoding="utf-8"))


def parts(kind: str, made: Mapping[str, Any]) -> Iterator[tuple[str, dict[str, Any]]]:
    """Yield the models in a schema: their names, and the schemas of their keys."""
    yield MODELS[kind].__name__, made["properties"]
    for name, part in made.get("$defs", {}).items():
        yield name, part.get("properties", {})


def _describe(properties: dict[str, Any], said: Mapping[str, str]) -> None:
    """Add a description to each key whose model has none."""
    for key, value in properties.items():
        words = said.get(key) or descriptions()["any"].get(key)
        if words is not None and "description" not in value:
            properties[key] = {"description": words, **value}


def rule_entry(rule: str, parameters: Mapping[str, Any], description: str) -> dict[str, Any]:
    """Return the schema of one rule's entry: a level, or a mapping with level, weight and parameters, all of them optional."""
    level = {"enum": ["must", "prefer", "off"]}
    keys = {"level": level, "weight": {"type": "integer", "minimum": 1, "maximum": 1_000_000}, **parameters}
    _describe(keys, descriptions()["Setting"] | descriptions()["rules"].get(rule, {}))
    return {
        "description": description,
        "anyOf": [level, {"type": "object", "properties": keys, "additionalProperties": False}],
    }


def _as_file(made: dict[str, Any], rules: Mapping[str, Any] | None) -> None:
    """Change the schema of a complete job to the schema of a job file, which may leave defaults out."""
    properties, defined = made["properties"], made["$defs"]
    defined.pop("Setting", None)
    made["required"] = [key for key in made["required"] if key != "tubes"]
    properties["tubes"]["default"] = "mesh-set"
    _loosen_joins(defined, properties)
    properties["joins"]["default"] = []
    properties["rules"] = _rules(rules)


def _as_sweep_file(made: dict[str, Any], rules: Mapping[str, Any] | None) -> None:
    """Change the schema of a sweep to the schema of its file: joins and rules as in a job file, and ``schema`` required."""
    defined = made["$defs"]
    _loosen_joins(defined, defined["JoinSet"]["properties"])
    defined["RuleSet"]["properties"]["rules"] = _rules(rules)
    made["required"] = ["schema", *made["required"]]


def _loosen_parts(parts: dict[str, Any]) -> None:
    """Allow files to leave out keys that follow from other keys, and to write a single word without a list."""
    for part, key in (("Guide", "width_mm"), ("Cable", "tubes"), ("Trunk", "divide_at")):
        if part in parts:
            del parts[part]["properties"][key]["default"]
    for model in (Job, Trunk):
        for key in model.only_resolved if model.__name__ in parts else ():
            del parts[model.__name__]["properties"][key]
    if "Trunk" in parts:
        parts["Trunk"]["properties"] |= ThroughKeys.model_json_schema()["properties"]
        _by_side(parts["Trunk"]["properties"])
        places = parts["Trunk"]["properties"]["divide_at"]
        one = dict(places["items"])
        listed = {name: places.pop(name) for name in ("type", "items", "minItems")}
        each = {"type": "array", "items": {**listed, "uniqueItems": True}, "minItems": 2, "maxItems": 2}
        places["anyOf"] = [one, {**listed, "uniqueItems": True}, each]
        words = parts["Trunk"]["properties"]["ribbons"]
        any_word = dict(words["items"])
        some = {name: words.pop(name) for name in ("type", "items", "minItems")}
        words |= {"default": "as_they_are", "anyOf": [any_word, {**some, "uniqueItems": True}]}


def _by_side(keys: dict[str, Any]) -> None:
    """Allow a trunk that goes through to give a value for each of its two sides where other trunks give one value."""
    for key in ("travel", "transition_mm"):
        names = ("type", "enum", "minimum", "maximum")
        one = {name: keys[key].pop(name) for name in names if name in keys[key]}
        keys[key]["anyOf"] = [one, {"type": "array", "items": one, "minItems": 2, "maxItems": 2}]
    for key, listed in (("ports", keys["ports"]["anyOf"][0]), ("loops", keys["loops"])):
        one = listed["items"]
        listed["items"] = (
            {"anyOf": [one, {"type": "array", "items": one, "minItems": 1}]}
            if key == "loops"
            else {"anyOf": [one, {"type": "array", "items": one}]}
        )


def _loosen_joins(defined: dict[str, Any], properties: dict[str, Any]) -> None:
    """Allow joins without a name, and a table in place of a list of joins."""
    defined["Join"]["required"].remove("name")
    defined["Join"]["properties"]["name"]["description"] = "the index of the join from 0, where none is given"
    table = {"type": "string", "description": "a CSV or XLSX file with columns a, b, name, relative to the file"}
    properties["joins"] = {"anyOf": [properties["joins"], table]}
    for key in ("title", "default"):
        properties["joins"]["anyOf"][0].pop(key, None)


def _rules(rules: Mapping[str, Any] | None) -> dict[str, Any]:
    """Return the schema of the rules of a job."""
    made: dict[str, Any] = {"type": "object", "default": {}}
    return made if rules is None else made | {"properties": dict(rules), "additionalProperties": False}
