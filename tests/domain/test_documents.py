"""Every kind of data is closed and frozen: a key that nobody knows is refused, and what was read does not change."""

from __future__ import annotations

import pkgutil
from collections.abc import Iterator
from importlib import import_module

import pytest
from pydantic import ValidationError

import trayopt.domain
from trayopt.domain.base import Frozen


def kinds() -> Iterator[type[Frozen]]:
    """Give every kind of data, with the kinds that it is made of."""
    for module in pkgutil.iter_modules(trayopt.domain.__path__, "trayopt.domain."):
        for made in vars(import_module(module.name)).values():
            if isinstance(made, type) and issubclass(made, Frozen) and made.__module__ == module.name:
                yield made


KINDS = sorted(set(kinds()), key=lambda kind: f"{kind.__module__}.{kind.__name__}")


def test_there_are_kinds_of_all_documents() -> None:
    assert {"Job", "Plan", "Explanation", "Sweep", "Enclosure", "Certificate"} <= {kind.__name__ for kind in KINDS}


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.__name__)
def test_a_key_that_nobody_knows_is_refused(kind: type[Frozen]) -> None:
    with pytest.raises(ValidationError) as wrong:
        kind.model_validate({"no such key": 1})
    assert (("no such key",), "extra_forbidden") in {(error["loc"], error["type"]) for error in wrong.value.errors()}


@pytest.mark.parametrize("kind", [kind for kind in KINDS if kind.model_fields], ids=lambda kind: kind.__name__)
def test_what_was_read_does_not_change(kind: type[Frozen]) -> None:
    made = kind.model_construct()
    with pytest.raises(ValidationError, match="frozen"):
        setattr(made, next(iter(kind.model_fields)), 1)
