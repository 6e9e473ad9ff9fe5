"""The solutions of the model are exactly the plans that the rules accept, in both directions, on tiny jobs."""

from __future__ import annotations

import itertools
import zlib
from collections.abc import Sequence
from typing import Any

import pytest

from tests import oracle
from tests.build import Json, job_of
from tests.case_files import case_file, put
from tests.example_rule import SETTABLE
from tests.solver.tiny import drawn, key_of, key_of_decision
from trayopt.rules.judge import judge
from trayopt.rules.registry import BY_ID
from trayopt.rules.variables import Literal
from trayopt.solver.model import cp_sat
from trayopt.solver.model.literals import lits
from trayopt.solver.model.model import Model
from trayopt.solver.model.posting import Policy, build
from trayopt.solver.model.run import read
from trayopt.track.laid import Laid

MOST = 120
"""Decisions of a job above which it is left out as not tiny."""
TINY: dict[str, Any] = {"trunks": 2, "ribbons": 2, "positions": 2, "loops": ((1,), (1, 2)), "tight": 0.5}
pytestmark = pytest.mark.usefixtures("example_rule")


class Values:
    """One solution, by variable; stands where ``read`` takes a solver."""

    def __init__(self, solution: Sequence[int]) -> None:
        self.solution = solution

    def boolean_value(self, literal: Any) -> bool:
        """Give the value of a literal, which may be a plain constant."""
        if isinstance(literal, int):
            return bool(literal)
        index: int = literal.index
        return bool(self.solution[index] if index >= 0 else 1 - self.solution[-index - 1])


def solutions(model: Model) -> set[tuple[Any, ...]]:
    """Enumerate the decisions of all solutions of a model, each once, however free its helper variables are."""
    stacks = model.job.enclosure.stacks
    places: list[Literal] = [literal for bunch in model.bunches for literal in model.literals(bunch)]
    places += [model.divided_at(trunk, "port") for trunk in model.job.trunks]
    ways = [model.goes(trunk, way) for trunk in model.job.trunks for way in model.ways(trunk)]
    ends = [(stack.id, model.end(stack.id, end.id)) for stack in stacks for end in stack.ends]
    solver = cp_sat.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.cp_model_presolve = False
    solver.parameters.linearization_level = 0
    solver.parameters.symmetry_level = 0
    found: set[tuple[Any, ...]] = set()
    while solver.solve(model.cp) != cp_sat.INFEASIBLE:
        values = Values(list(solver.response_proto.solution))
        assignment = read(model, values)  # type: ignore[arg-type]
        assert key_of(assignment) not in found
        found.add(key_of(assignment))
        used = {place.stack for place in assignment.places.values()}
        told = [*ways, *(literal for stack, literal in ends if stack in used)]
        told += [model.ribboned(model.job.trunk_by_id[trunk], word) for trunk, word in assignment.ribbons.items()]
        same = [model.no(literal) if values.boolean_value(literal) else literal for literal in places]
        same += [model.no(literal) for literal in told if values.boolean_value(literal)]
        model.cp.add_bool_or(lits(literal for literal in same if not isinstance(literal, int)))
    return found


def decisions(data: Json) -> list[oracle.Decision] | None:
    """Enumerate what the oracle accepts; None where it is too much."""
    found = list(itertools.islice(oracle.all_feasible(data), MOST + 1))
    return found if len(found) <= MOST else None


def alone(data: Json, rule: str | None) -> Json:
    """Turn off every rule but one, which is at must; the parameters stay."""
    rules: Json = {}
    for name in SETTABLE:
        entry = data["rules"].get(name, {})
        kept = {key: value for key, value in entry.items() if key != "weight"} if isinstance(entry, dict) else {}
        rules[name] = kept | {"level": "must" if name == rule else "off"}
    return data | {"rules": rules}


@pytest.mark.parametrize("first", range(0, 32, 8))
def test_facts_and_physical_rules(first: int) -> None:
    compared = 0
    for seed in range(first * 100, first * 100 + 800):
        data = drawn(seed, **TINY, through=float(seed % 4 == 3))
        accepted = decisions(data)
        if accepted is None:
            continue
        model = build(job_of(data), Policy("free", "free"), all_placed=False)
        assert solutions(model) == {key_of_decision(one) for one in accepted}
        compared += 1
        if compared == 8:
            break
    assert compared == 8


@pytest.mark.parametrize("rule", SETTABLE)
def test_one_rule_at_must(rule: str) -> None:
    """Solutions with one rule at must are the decisions without rules that do not break it, as the oracle judges."""
    kept_somewhere = broken_somewhere = compared = 0
    more = case_file(rule).more
    knobs = TINY | {"pins": 0.2, "apart": 1.0, "rules": 0.3} | more.get("knobs", {})
    first = zlib.crc32(rule.encode())
    for seed in range(first, first + 400):
        data = drawn(seed, **knobs)
        for path, value in more.get("bent", {}).items():
            put(data, path, value)
        accepted = decisions(alone(data, None))
        if accepted is None or len(accepted) < 2:
            continue
        facts = oracle.Facts(alone(data, rule))
        keep = {
            key_of_decision(one)
            for one in accepted
            if not any(
                name == BY_ID[rule].name and level == "must" for name, level, _ in oracle.judge(facts, one).broken
            )
        }
        broken_here = len(keep) < len(accepted)
        if compared and not broken_here:
            continue
        model = build(job_of(alone(data, rule)), Policy("hard", "hard"), all_placed=False)
        assert solutions(model) == keep, seed
        kept_somewhere += bool(keep)
        broken_somewhere += broken_here
        compared += 1
        if compared >= 3 and broken_somewhere >= 2:
            break
    assert kept_somewhere
    assert broken_somewhere >= 2


def test_what_check_accepts_is_what_the_oracle_accepts() -> None:
    """The third side: the judge of the check and the oracle say the same of every decision of these jobs."""
    from tests.checker.test_against_oracle import assignment_of

    for seed in range(0, 4000, 800):
        data = drawn(seed, **TINY)
        job, facts = job_of(data), oracle.Facts(data)
        for one in decisions(data) or []:
            found = {(item.rule, item.level, item.subject) for item in judge(job, Laid(job, assignment_of(one)))}
            said = {(name, level, subject) for name, level, subject in oracle.judge(facts, one).broken}
            assert {(BY_ID[rule].name, level, subject) for rule, level, subject in found} == said
