"""JSON Schema: a second reader (the jsonschema package) takes what trayopt takes, and refuses plain mistakes."""

from __future__ import annotations

from typing import Any

import pytest
from jsonschema import Draft202012Validator

from trayopt.api import json_schema
from trayopt.errors import InputError
from trayopt.formats.schema import DIALECT, KINDS, descriptions, parts
from trayopt.formats.yaml_in import read_yaml
from trayopt.library.find import shipped

FOLDERS = {
    "trays": "tray",
    "enclosures": "enclosure",
    "cables": "cable",
    "tubes": "tubes",
    "standard": "job",
    "sweeps": "sweep",
}
FILES = sorted(path for path in shipped().rglob("*.yaml"))


def lists(value: Any) -> Any:
    """Turn tuples into lists, as jsonschema wants them."""
    if isinstance(value, dict):
        return {key: lists(inner) for key, inner in value.items()}
    return [lists(inner) for inner in value] if isinstance(value, tuple) else value


@pytest.mark.parametrize("kind", KINDS)
def test_every_schema_is_one_and_names_itself(kind: str) -> None:
    schema = json_schema(kind)
    Draft202012Validator.check_schema(schema)
    assert schema["$schema"] == DIALECT
    assert schema["$id"] == f"urn:trayopt:schema:{kind}:{2 if kind in {'job', 'plan', 'sweep', 'certificate'} else 1}"
    assert "$schema" in schema["properties"]


def test_every_model_and_standard_job_keeps_its_schema() -> None:
    validators = {kind: Draft202012Validator(json_schema(kind)) for kind in FOLDERS.values()}
    assert FILES
    for path in FILES:
        data = {"$schema": "x", **lists(read_yaml(path).data)}
        errors = [error.message for error in validators[FOLDERS[path.parent.name]].iter_errors(data)]
        assert not errors, path


@pytest.mark.parametrize(
    "change",
    [
        {"trunks": []},
        {"trunk": []},
        {"joins": [{"a": "N1:1-12"}]},
        {"joins": [{"a": "N1", "b": "S1:1-12"}]},
        {"joins": 5},
        {"rules": {"tray_fibre": "must"}},
        {"rules": {"tray_fibres": "maybe"}},
        {"rules": {"reach": {"bench_m": 2}}},
        {"pins": [{"leg": "N1:1-12", "position": 0}]},
        {"apart": [{"joins": ["one"]}]},
        {"enclosure": 5},
        {"trunks": [{"id": "N1", "cable": "ribbon-288-2x144", "divide_at": "middle"}]},
        {"trunks": [{"id": "N1", "cable": "ribbon-288-2x144", "divide_at": []}]},
        {"trunks": [{"id": "N1", "cable": "ribbon-288-2x144", "divide_at": ["port", "port"]}]},
        {"pins": [{"trunk": "N1", "divide_at": ["port"]}]},
        {"schema": "trayopt/job/1"},
    ],
)
def test_plain_mistakes_in_a_job_are_refused(change: dict[str, Any]) -> None:
    job = {
        "schema": "trayopt/job/2",
        "enclosure": "wall-2x6",
        "trunks": [{"id": "N1", "cable": "ribbon-288-2x144"}, {"id": "S1", "cable": "own/cable.yaml"}],
        "joins": "joins.csv",
        "rules": {"reach": {"bench_mm": 1800}, "tray_pair": "off", "guide_fill": {"level": "must", "fill": 0.4}},
        "pins": [{"leg": "N1:1-12", "stack": "left"}, {"trunk": "N1", "loops": 1, "divide_at": "port", "built": True}],
    }
    validator = Draft202012Validator(json_schema("job"))
    assert validator.is_valid(job)
    assert not validator.is_valid({**job, **change})


@pytest.mark.parametrize("places", ["tray", "port", ["port"], ["port", "tray"]])
def test_where_a_trunk_is_divided_is_a_word_or_a_list(places: Any) -> None:
    trunk = {"id": "N1", "cable": "ribbon-288-2x144", "divide_at": places}
    job = {"schema": "trayopt/job/2", "enclosure": "wall-2x6", "trunks": [trunk]}
    assert Draft202012Validator(json_schema("job")).is_valid(job)


def test_what_follows_from_other_keys_has_no_default_of_its_own() -> None:
    job, cable, enclosure = (json_schema(kind) for kind in ("job", "cable", "enclosure"))
    for field in (
        cable["properties"]["tubes"],
        enclosure["$defs"]["Guide"]["properties"]["width_mm"],
        job["$defs"]["Trunk"]["properties"]["divide_at"],
    ):
        assert "default" not in field
        assert "where left out" in field["description"]


def test_an_unknown_kind_is_told() -> None:
    with pytest.raises(InputError, match=r"there is no schema of 'trai'; .* did you mean 'tray'"):
        json_schema("trai")


def test_every_key_of_every_kind_says_what_it_means() -> None:
    """And nothing is described that is no key: a description of what is gone is taken away with it."""
    silent, said = [], set()
    for kind in KINDS:
        made = json_schema(kind)
        for name, properties in parts(kind, made):
            silent += [f"{kind}: {name}.{key}" for key, value in properties.items() if not value.get("description")]
            said |= {(name, key) for key in properties}
    entries = json_schema("job")["properties"]["rules"]["properties"]
    for rule, entry in entries.items():
        keys = entry["anyOf"][1]["properties"]
        silent += [f"rule {rule}: {key}" for key, value in keys.items() if not value.get("description")]
        assert set(descriptions()["rules"].get(rule, {})) <= set(keys)
    assert silent == [], "describe them in trayopt/formats/descriptions.toml"
    assert set(descriptions()["rules"]) <= set(entries)
    tables = {name: table for name, table in descriptions().items() if name not in {"any", "rules", "Setting"}}
    stale = {f"{name}.{key}" for name, table in tables.items() for key in table if (name, key) not in said}
    assert stale == set()


def test_a_description_of_a_key_stands_beside_what_it_refers_to() -> None:
    bore = json_schema("enclosure")["$defs"]["Port"]["properties"]["bore_mm"]
    assert bore["description"] == "inner diameter in mm"
    assert json_schema("job")["properties"]["rules"]["properties"]["reach"]["anyOf"][1]["properties"]["bench_mm"][
        "description"
    ].startswith("fibre that must come free")
