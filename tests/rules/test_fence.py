"""check and encode are two voices: they share nothing outside ``trayopt.domain`` and ``trayopt.track``."""

from __future__ import annotations

import ast
import inspect
import sys
from types import FunctionType, ModuleType
from typing import Any

import pytest

from tests.example_rule import EVERY
from trayopt.goals.registry import GOALS
from trayopt.rules.registry import RULES

SHARED_BY_RIGHT = {"trayopt.rules.base", "trayopt.goals.base", "trayopt.rules.registry"}
"""What says what a rule is (its parameters), and which rules there are."""
GROUND = ("trayopt.domain", "trayopt.track", "trayopt.errors")


def reached(owner: type, method: str) -> set[str]:
    """Name every function and method of trayopt above the ground that a method reaches, whatever the way."""
    found: set[str] = set()
    todo: list[tuple[Any, type | None]] = [(owner.__dict__[method], owner)]
    while todo:
        function, of = todo.pop()
        module = sys.modules[function.__module__]
        for name in names_in(function):
            target, target_owner = resolve(name, module, of)
            if target is None:
                continue
            where = target.__module__
            if not where.startswith("trayopt.") or where.startswith(GROUND) or where in SHARED_BY_RIGHT:
                continue
            label = f"{where}.{target.__qualname__}"
            if label not in found:
                found.add(label)
                todo.append((target, target_owner))
    return found


def names_in(function: FunctionType) -> set[str]:
    """Every name that a function reads, and ``self.…`` and ``module.…`` with it."""
    tree = ast.parse(inspect.cleandoc("\n" + inspect.getsource(function)))
    names = {node.id for node in ast.walk(tree) if isinstance(node, ast.Name)}
    return names | {
        f"{node.value.id}.{node.attr}"
        for node in ast.walk(tree)
        if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name)
    }


def resolve(name: str, module: ModuleType, of: type | None) -> tuple[Any, type | None]:
    """Give the function or class that a name stands for in a module, and the class that a method belongs to."""
    base, _, attribute = name.partition(".")
    if base == "self" and of is not None and attribute:
        target = inspect.getattr_static(of, attribute, None)
        return (target, of) if isinstance(target, FunctionType) else (None, None)
    target = getattr(module, base, None)
    if attribute and isinstance(target, ModuleType):
        target = getattr(target, attribute, None)
    return (target, None) if isinstance(target, FunctionType) else (None, None)


def test_a_helper_is_seen_also_where_its_module_is_named() -> None:
    assert resolve("ast.parse", sys.modules[__name__], None) == (ast.parse, None)
    assert resolve("names_in", sys.modules[__name__], None) == (names_in, None)


@pytest.mark.parametrize("rule", EVERY, ids=lambda rule: rule.id)
def test_check_and_encode_share_no_helper(rule: Any) -> None:
    assert reached(type(rule), "check") & reached(type(rule), "encode") == set()


@pytest.mark.parametrize("goal", GOALS, ids=lambda goal: goal.id)
def test_measure_and_encode_share_no_helper(goal: Any) -> None:
    assert reached(type(goal), "measure") & reached(type(goal), "encode") == set()


def test_the_fence_sees_helpers() -> None:
    pinned = next(rule for rule in RULES if rule.id == "pin")
    assert "trayopt.rules.pin._leg_differs" in reached(type(pinned), "check")
    equal = next(rule for rule in RULES if rule.id == "equal_groups")
    assert any(
        name.startswith("trayopt.rules.") for name in reached(type(equal), "check") | reached(type(equal), "encode")
    )


def test_rules_and_goals_know_no_solver() -> None:
    for thing in (*EVERY, *GOALS):
        tree = ast.parse(inspect.getsource(sys.modules[type(thing).__module__]))
        imported = {alias.name for node in ast.walk(tree) if isinstance(node, ast.Import) for alias in node.names} | {
            node.module or "" for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)
        }
        assert not any(name.startswith(("ortools", "trayopt.solver")) for name in imported)
