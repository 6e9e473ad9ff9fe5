"""Copies of frozen data: what was computed of an object is not taken along, however it is copied."""

from __future__ import annotations

import copy
from collections.abc import Callable
from functools import cached_property

import pytest

from tests.build import job_of
from tests.strategies import worked_example
from trayopt.domain.base import Frozen, remade
from trayopt.domain.job import Job


class Pair(Frozen):
    """Two numbers, and two ways of keeping what follows from them."""

    a: int
    b: int

    @cached_property
    def total(self) -> int:
        """Sum, kept as a cached property."""
        return self.a + self.b

    @property
    def product(self) -> int:
        """Product, kept by ``once``."""
        return self.once(_product)


def _product(pair: Pair) -> int:
    return pair.a * pair.b


WAYS: dict[str, Callable[[Pair], Pair]] = {
    "model_copy": lambda pair: pair.model_copy(update={"b": 5}),
    "deep model_copy": lambda pair: pair.model_copy(update={"b": 5}, deep=True),
    "remade": lambda pair: remade(pair, b=5),
    "copied, then model_copy": lambda pair: copy.copy(pair).model_copy(update={"b": 5}),
}


@pytest.mark.parametrize("way", WAYS)
def test_a_copy_with_another_value_remembers_nothing_of_the_old(way: str) -> None:
    pair = Pair(a=2, b=3)
    assert (pair.total, pair.product) == (5, 6)
    copied = WAYS[way](pair)
    assert (copied.total, copied.product) == (7, 10)
    assert (pair.total, pair.product) == (5, 6)


def test_a_copied_job_answers_as_a_job_that_was_read_with_the_other_value() -> None:
    data = worked_example()
    job = job_of(data)
    shorter = job_of(data | {"joins": [{"a": "P:1-12", "b": "Q:1-12"}]})
    derived = [name for name, kept in vars(Job).items() if isinstance(kept, cached_property)]
    old = {name: getattr(job, name) for name in derived}
    new = {name: getattr(shorter, name) for name in derived}
    assert {"digest", "splices", "pieces"} <= {name for name in derived if old[name] != new[name]}
    copied = job.model_copy(update={"joins": shorter.joins})
    assert {name: getattr(copied, name) for name in derived} == new


def test_no_part_is_remade_with_a_field_that_it_has_not() -> None:
    with pytest.raises(TypeError, match="Pair has no field c"):
        remade(Pair(a=2, b=3), c=4)
