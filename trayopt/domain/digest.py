"""The digest of a job: a fingerprint by which a plan names its job. Later versions of trayopt compute the same digest.

The digest is the sha256 of the job's canonical JSON: references resolved, defaults filled in, keys sorted. Three things are left
out, for they change no plan: the title, rules at level ``off``, and keys added after version 0.1.0 that hold their default. So no
digest changes when a rule is added at level ``off``, or a key with the default that older jobs took for granted.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Collection, Mapping
from functools import cache
from importlib.resources import files
from typing import Any

from trayopt.domain.base import Frozen


def sha256_of(data: Mapping[str, Any]) -> str:
    """Return the sha256 of plain data, written as JSON with sorted keys, in hexadecimal digits."""
    text = json.dumps(data, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return hashlib.sha256(text.encode()).hexdigest()


@cache
def first_keys() -> frozenset[str]:
    """Return the path of every key that version 0.1.0 knew in a job, such as ``trunks.cable.id`` or ``rules.reach.level``."""
    lines = files("trayopt.domain").joinpath("keys_0_1_0.txt").read_text(encoding="utf-8").splitlines()
    return frozenset(line for line in lines if not line.startswith("#"))


def without_later_defaults(
    model: Frozen, data: Mapping[str, Any], at: str = "", unknown: Collection[str] = ()
) -> dict[str, Any]:
    """Return the plain data of a model without the keys that version 0.1.0 did not know and that hold their default.

    Parameters
    ----------
    model, data
        The model, and the plain data to which it was dumped.
    at
        The path of the model in its job; empty for the job itself.
    unknown
        Paths of keys that are left out whatever value they hold.
    """
    kept = {}
    for name, field in type(model).model_fields.items():
        key = field.alias or name
        path = f"{at}.{key}" if at else key
        value = getattr(model, name)
        if key not in data or path in unknown:
            continue
        if path in first_keys() or value != field.get_default(call_default_factory=True):
            kept[key] = _part(value, data[key], path, unknown)
    return kept


def _part(value: Any, data: Any, path: str, unknown: Collection[str]) -> Any:
    if isinstance(value, Frozen):
        return without_later_defaults(value, data, path, unknown)
    if isinstance(value, tuple) and isinstance(data, list):
        return [_part(item, plain, path, unknown) for item, plain in zip(value, data, strict=True)]
    return data
