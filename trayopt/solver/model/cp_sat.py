"""CP-SAT as this room uses it, from the C++ half of OR-tools' module.

``ortools.sat.python.cp_model`` loads pandas, which takes longer than most searches, for methods on tables of variables that
nobody here calls. What models, searches and solutions are made of stands in ``cp_model_helper``: this file says it in as few
words as the solver needs, under the names that OR-tools gives them. A test compares both. The model of ``cp_model_helper``
loads numpy, which takes as long as many a search, too: rows are written to the plain data of a model here.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from threading import Lock
from typing import Any, cast

from ortools.sat.python import cp_model_helper
from ortools.sat.python.cp_model_helper import (
    BoundedLinearExpression,
    ConstraintProto,
    CpModelProto,
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

OPTIMAL = CpSolverStatus.OPTIMAL
FEASIBLE = CpSolverStatus.FEASIBLE
INFEASIBLE = CpSolverStatus.INFEASIBLE
MODEL_INVALID = CpSolverStatus.MODEL_INVALID
UNKNOWN = CpSolverStatus.UNKNOWN
FIXED_SEARCH = SatParameters.SearchBranching.FIXED_SEARCH

BOOLEAN = Domain(0, 1)
WITHOUT_END = (-(2**63), 2**63 - 1)
"""The edges of a range that has no least or no greatest number."""


class Constraint:
    """A row of a model."""

    __slots__ = ("_model", "_row")

    def __init__(self, model: CpModel, row: ConstraintProto) -> None:
        self._model = model
        self._row = row

    def only_enforce_if(self, literals: Iterable[Literal]) -> None:
        """Let the row hold only if all of the literals hold."""
        self._row.enforcement_literal.extend(self._model.indices(literals))


class CpModel:
    """Variables, constraints and at most one goal."""

    def __init__(self) -> None:
        self.proto: Any = CpModelProto()
        """The model as plain data."""
        self._constants: dict[int, int] = {}
        """The numbers of the variables that have one value, by this value."""

    def clone(self) -> CpModel:
        """Copy the model; its variables serve for the copy as well."""
        copy = CpModel()
        copy.proto.copy_from(self.proto)
        copy._constants.update(self._constants)
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
        variable = IntVar(self.proto).with_domain(domain)
        return variable.with_name(name) if name else variable

    def new_constant(self, value: int) -> IntVar:
        """Return the variable that has one value."""
        return IntVar(self.proto, self._constant(value))

    def _constant(self, value: int) -> int:
        if value not in self._constants:
            self._constants[value] = self.new_int_var(value, value, "").index
        return self._constants[value]

    def get_int_var_from_proto_index(self, index: int) -> IntVar:
        """Return the variable of a number."""
        if not 0 <= index < len(self.proto.variables):
            raise ValueError(f"no variable has the number {index}")
        return IntVar(self.proto, index)

    def get_bool_var_from_proto_index(self, index: int) -> IntVar:
        """Return the 0/1 variable of a number."""
        variable = self.get_int_var_from_proto_index(index)
        if not variable.is_boolean:
            raise TypeError(f"variable {index} is not a 0/1 variable")
        return variable

    def indices(self, literals: Iterable[Literal]) -> list[int]:
        """Return the numbers of literals, negative for negations."""
        return [self._constant(int(x)) if isinstance(x, int) else x.index for x in literals]

    def add(self, constraint: BoundedLinearExpression | bool) -> Constraint:
        """Add a comparison of sums, or a truth value if the comparison needed no variables."""
        if isinstance(constraint, bool):
            return self.add_bool_or([True] if constraint else [])
        row = self.proto.constraints.add()
        linear = row.linear
        linear.vars.extend([variable.index for variable in constraint.vars])
        linear.coeffs.extend(constraint.coeffs)
        edges, offset = constraint.bounds.flattened_intervals(), constraint.offset
        linear.domain.extend([edge if edge in WITHOUT_END else edge - offset for edge in edges] if offset else edges)
        return Constraint(self, row)

    def add_linear_constraint(self, expression: LinearExpr, least: int, most: int) -> Constraint:
        """Hold a sum between two numbers."""
        return self.add_linear_expression_in_domain(expression, Domain(least, most))

    def add_linear_expression_in_domain(self, expression: LinearExpr, domain: Domain) -> Constraint:
        """Hold a sum to some numbers."""
        return self.add(BoundedLinearExpression(expression, domain))

    def add_bool_or(self, literals: Iterable[Literal]) -> Constraint:
        """Require that at least one of the literals holds."""
        row = self.proto.constraints.add()
        row.bool_or.literals.extend(self.indices(literals))
        return Constraint(self, row)

    def add_bool_and(self, literals: Iterable[Literal]) -> Constraint:
        """Require that all literals hold."""
        row = self.proto.constraints.add()
        row.bool_and.literals.extend(self.indices(literals))
        return Constraint(self, row)

    def add_at_most_one(self, literals: Iterable[Literal]) -> Constraint:
        """Require that at most one of the literals holds."""
        row = self.proto.constraints.add()
        row.at_most_one.literals.extend(self.indices(literals))
        return Constraint(self, row)

    def add_exactly_one(self, literals: Iterable[Literal]) -> Constraint:
        """Require that exactly one of the literals holds."""
        row = self.proto.constraints.add()
        row.exactly_one.literals.extend(self.indices(literals))
        return Constraint(self, row)

    def add_implication(self, when: Literal, then: Literal) -> Constraint:
        """Require a literal if another literal holds."""
        added = self.add_bool_and([then])
        added.only_enforce_if([when])
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
        self.proto.assumptions.extend(self.indices(literals))


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
