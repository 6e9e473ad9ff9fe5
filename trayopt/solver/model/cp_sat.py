"""CP-SAT as this room uses it, from the C++ half of OR-tools' module.

``ortools.sat.python.cp_model`` loads pandas, which takes longer than most searches, for methods on tables of variables that
nobody here calls. What models, searches and solutions are made of stands in ``cp_model_helper``: this file says it in as few
words as the solver needs, under the names that OR-tools gives them. A test compares both.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Sequence
from threading import Lock
from typing import Any, cast

from ortools.sat.python import cp_model_helper
from ortools.sat.python.cp_model_helper import (
    BoolArgumentConstraint,
    BoundedLinearExpression,
    Constraint,
    ConstraintProto,
    CpBaseModel,
    CpSolverResponse,
    CpSolverStatus,
    DecisionStrategyProto,
    FlatIntExpr,
    IntVar,
    LinearExpr,
    ResponseHelper,
    SatParameters,
    SolveWrapper,
)
from ortools.util.python.sorted_interval_list import Domain

from trayopt.errors import SolverFault
from trayopt.rules.variables import Boolean, Expression, Literal

__all__ = [
    "Constraint",
    "ConstraintProto",
    "CpModel",
    "CpSolver",
    "CpSolverStatus",
    "Domain",
    "IntVar",
    "LinearExpr",
    "SolutionCallback",
]

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
"""The first model loads numpy, which begins a thread for each core for matrices that nobody here multiplies."""

OPTIMAL = CpSolverStatus.OPTIMAL
FEASIBLE = CpSolverStatus.FEASIBLE
INFEASIBLE = CpSolverStatus.INFEASIBLE
MODEL_INVALID = CpSolverStatus.MODEL_INVALID
UNKNOWN = CpSolverStatus.UNKNOWN
FIXED_SEARCH = SatParameters.SearchBranching.FIXED_SEARCH

BOOLEAN = Domain(0, 1)


class CpModel(CpBaseModel):
    """Variables, constraints and at most one goal."""

    def __init__(self) -> None:
        super().__init__(None)

    @property
    def proto(self) -> Any:
        """The model as plain data."""
        return self.model_proto

    def clone(self) -> CpModel:
        """Copy the model; its variables serve for the copy as well."""
        copy = CpModel()
        copy.proto.copy_from(self.proto)
        copy.rebuild_constant_map()
        return copy

    def validate(self) -> str:
        """Say what is wrong with the model; an empty text if it can be solved."""
        return cp_model_helper.CpSatHelper.validate_model(self.proto)

    def new_int_var(self, least: int, most: int, name: str) -> IntVar:
        """Make a variable of whole numbers."""
        return self._variable(name, Domain(least, most))

    def new_bool_var(self, name: str) -> IntVar:
        """Make a 0/1 variable."""
        return self._variable(name, BOOLEAN)

    def _variable(self, name: str, domain: Domain) -> IntVar:
        return IntVar(self.model_proto).with_name(name).with_domain(domain)

    def new_constant(self, value: int) -> IntVar:
        """Return the variable that has one value."""
        return IntVar(self.model_proto, self.get_or_make_index_from_constant(value))

    def get_int_var_from_proto_index(self, index: int) -> IntVar:
        """Return the variable of a number."""
        if not 0 <= index < len(self.proto.variables):
            raise ValueError(f"no variable has the number {index}")
        return IntVar(self.model_proto, index)

    def get_bool_var_from_proto_index(self, index: int) -> IntVar:
        """Return the 0/1 variable of a number."""
        variable = self.get_int_var_from_proto_index(index)
        if not variable.is_boolean:
            raise TypeError(f"variable {index} is not a 0/1 variable")
        return variable

    def add(self, constraint: BoundedLinearExpression | bool) -> Constraint:
        """Add a comparison of sums, or a truth value if the comparison needed no variables."""
        if isinstance(constraint, bool):
            return self.add_bool_or([True] if constraint else [])
        added: Constraint = self._add_bounded_linear_expression(constraint)  # type: ignore[attr-defined]
        return added

    def add_linear_constraint(self, expression: LinearExpr, least: int, most: int) -> Constraint:
        """Hold a sum between two numbers."""
        return self.add_linear_expression_in_domain(expression, Domain(least, most))

    def add_linear_expression_in_domain(self, expression: LinearExpr, domain: Domain) -> Constraint:
        """Hold a sum to some numbers."""
        return self.add(BoundedLinearExpression(expression, domain))

    def add_bool_or(self, *literals: Literal | Iterable[Literal]) -> Constraint:
        """Require that at least one of the literals holds."""
        return self._add_literals(BoolArgumentConstraint.bool_or, literals)

    def add_bool_and(self, *literals: Literal | Iterable[Literal]) -> Constraint:
        """Require that all literals hold."""
        return self._add_literals(BoolArgumentConstraint.bool_and, literals)

    def add_at_most_one(self, *literals: Literal | Iterable[Literal]) -> Constraint:
        """Require that at most one of the literals holds."""
        return self._add_literals(BoolArgumentConstraint.at_most_one, literals)

    def add_exactly_one(self, *literals: Literal | Iterable[Literal]) -> Constraint:
        """Require that exactly one of the literals holds."""
        return self._add_literals(BoolArgumentConstraint.exactly_one, literals)

    def add_implication(self, when: Literal, then: Literal) -> Constraint:
        """Require a literal if another literal holds."""
        added = self.add_bool_and(then)
        added.only_enforce_if(when)
        return added

    def _add_literals(
        self, kind: BoolArgumentConstraint, literals: tuple[Literal | Iterable[Literal], ...]
    ) -> Constraint:
        added: Constraint = self._add_bool_argument_constraint(kind, *literals)  # type: ignore[attr-defined]
        return added

    def minimize(self, goal: Expression) -> None:
        """Minimise a sum."""
        self._aim(goal, 1)

    def maximize(self, goal: Expression) -> None:
        """Maximise a sum."""
        self._aim(goal, -1)

    def _aim(self, goal: Expression, sign: int) -> None:
        self.clear_objective()
        objective = self.proto.objective
        objective.scaling_factor = float(sign)
        if isinstance(goal, int):
            objective.offset = float(sign * goal)
            return
        flat = FlatIntExpr(cast("LinearExpr", goal))
        objective.vars.extend([variable.index for variable in flat.vars])
        objective.coeffs.extend([sign * coefficient for coefficient in flat.coeffs])
        objective.offset = float(sign * flat.offset)

    def has_objective(self) -> bool:
        """Whether there is a goal."""
        has: bool = self.proto.has_objective()
        return has

    def clear_objective(self) -> None:
        """Leave the goal out."""
        self.proto.clear_objective()

    def decide_first(self, literals: Sequence[IntVar], value: int) -> None:
        """Let a search in fixed order decide literals one by one, each by this value first, after those of earlier calls."""
        strategy = self.proto.search_strategy.add()
        for literal in literals:
            term = strategy.exprs.add()
            negated = literal.index < 0
            term.vars.append(-literal.index - 1 if negated else literal.index)
            term.coeffs.append(-1 if negated else 1)
            term.offset = int(negated)
        strategy.variable_selection_strategy = DecisionStrategyProto.VariableSelectionStrategy.CHOOSE_FIRST
        reductions = DecisionStrategyProto.DomainReductionStrategy
        strategy.domain_reduction_strategy = reductions.SELECT_MAX_VALUE if value else reductions.SELECT_MIN_VALUE

    def add_hint(self, literal: Boolean, value: int) -> None:
        """Let the solver try this value of a literal first."""
        hint = self.proto.solution_hint
        hint.vars.append(max(literal.index, -literal.index - 1))
        hint.values.append(int(value) if literal.index >= 0 else int(not value))

    def hint_first(self, values: Sequence[int]) -> None:
        """Give values to try first to the first variables, in the order of their numbers."""
        if len(values) > len(self.proto.variables):
            raise ValueError(f"no variable has the number {len(values) - 1}")
        hint = self.proto.solution_hint
        hint.vars.extend(range(len(values)))
        hint.values.extend(values)

    def clear_hints(self) -> None:
        """Leave out what to try first."""
        self.proto.clear_solution_hint()

    def add_assumptions(self, literals: Iterable[Literal]) -> None:
        """Take literals for granted: where they cannot hold together, the solver can say which of them."""
        self.proto.assumptions.extend([self.get_or_make_boolean_index(literal) for literal in literals])


class SolutionCallback(cp_model_helper.SolutionCallback):
    """Hears of solutions while a search goes on: its ``on_solution_callback`` is called with each."""

    def __init__(self) -> None:
        super().__init__()

    def OnSolutionCallback(self) -> None:  # noqa: N802 - called by the solver
        """Pass a solution on."""
        self.on_solution_callback()

    def on_solution_callback(self) -> None:
        """Hear of a solution."""
        raise NotImplementedError

    def boolean_value(self, literal: Literal) -> bool:
        """Return the value of a literal."""
        return self.BooleanValue(literal)

    def value(self, expression: Expression) -> int:
        """Return the value of a sum."""
        return self.Value(expression)

    @property
    def objective_value(self) -> float:
        """Value of the goal."""
        return self.ObjectiveValue()

    @property
    def best_objective_bound(self) -> float:
        """Bound on the goal."""
        return self.BestObjectiveBound()

    @property
    def response_proto(self) -> CpSolverResponse:
        """All that the solver says."""
        said: CpSolverResponse = self.Response()  # type: ignore[no-untyped-call]
        return said


class CpSolver:
    """One search, and what it found.

    What is read of a solution is in it: the solver itself would read whatever memory holds behind the solution where a variable
    was made after the search.
    """

    def __init__(self) -> None:
        self.parameters = SatParameters()
        self.best_bound_callback: Callable[[float], None] | None = None
        self._response: CpSolverResponse | None = None
        self._size = 0
        """How many variables the solution has values of."""
        self._search: SolveWrapper | None = None
        self._lock = Lock()

    def solve(self, model: CpModel, callback: SolutionCallback | None = None) -> CpSolverStatus:
        """Search, and say how that ended."""
        search = SolveWrapper()
        with self._lock:
            self._search = search
        search.set_parameters(self.parameters)
        if callback is not None:
            search.add_solution_callback(callback)
        if self.best_bound_callback is not None:
            search.add_best_bound_callback(self.best_bound_callback)
        response: CpSolverResponse = search.solve(model.proto)
        if callback is not None:
            search.clear_solution_callback(callback)
        with self._lock:
            self._search = None
        self._response = response
        self._size = len(response.solution)
        status: CpSolverStatus = response.status
        return status

    def stop_search(self) -> None:
        """Let a search that another thread works on end soon; one that has not begun does not hear of it."""
        with self._lock:
            if self._search is not None:
                self._search.stop_search()

    @property
    def response_proto(self) -> CpSolverResponse:
        """All that the solver says."""
        if self._response is None:
            raise RuntimeError("nothing was solved yet")
        return self._response

    @property
    def objective_value(self) -> float:
        """Value of the goal."""
        return self.response_proto.objective_value

    @property
    def best_objective_bound(self) -> float:
        """Bound on the goal."""
        return self.response_proto.best_objective_bound

    def boolean_value(self, literal: Literal) -> bool:
        """Return the value of a literal."""
        self._held(literal)
        return ResponseHelper.boolean_value(self.response_proto, literal)

    def value(self, expression: Expression) -> int:
        """Return the value of a sum."""
        self._held(expression)
        return ResponseHelper.value(self.response_proto, expression)

    def _held(self, expression: Expression) -> None:
        if isinstance(expression, int):
            return
        index = getattr(expression, "index", None)
        indices = (
            [v.index for v in FlatIntExpr(cast("LinearExpr", expression)).vars]
            if index is None
            else [max(index, -index - 1)]
        )
        if indices and max(indices) >= self._size:
            raise SolverFault(f"{expression} was made after the search, whose solution has no value of it")

    def sufficient_assumptions_for_infeasibility(self) -> list[int]:
        """Return the assumptions, as numbers of literals, that cannot hold together."""
        return ResponseHelper.sufficient_assumptions_for_infeasibility(self.response_proto)
