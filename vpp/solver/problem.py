"""What the solver is given and what it returns: problems, settings and solutions as plain arrays.

The axis over the cases of a batch is always the last one. n is the number of variables, m of equalities, p of
inequalities, B of all cases and b of the cases of one call.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Integers = NDArray[np.int64]
Mask = NDArray[np.bool_]
Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class Values:
    """Objective (b,) and constraints (m + p, b): first the equalities c = 0, then the inequalities c >= 0."""

    objective: Array
    constraints: Array


@dataclass(frozen=True)
class Derivatives:
    """Values with first and second derivatives.

    `gradient` (n, b) of the objective, `jacobian` (m + p, n, b) of the constraints and `hessian` (n, n, b) of
    `objective_weight * objective + multipliers . constraints`.
    """

    values: Values
    gradient: Array
    jacobian: Array
    hessian: Array


class Problem(Protocol):
    """A batch of smooth problems: minimise the objective subject to equalities, inequalities and bounds.

    Variables, objective and constraints arrive scaled to order one. A model may return NaN or infinity
    outside its domain. Bounds (n, B) may be infinite but never equal: leave fixed variables out of the
    problem.
    """

    @property
    def variable_count(self) -> int:
        """Number of variables n."""

    @property
    def equality_count(self) -> int:
        """Number of equalities m."""

    @property
    def inequality_count(self) -> int:
        """Number of inequalities p."""

    @property
    def lower(self) -> Array:
        """Lower bounds (n, B)."""

    @property
    def upper(self) -> Array:
        """Upper bounds (n, B)."""

    def values(self, x: Array, cases: Integers) -> Values:
        """Evaluate at x (n, b) for the cases (b,), given as indices into the batch."""

    def derivatives(
        self, x: Array, cases: Integers, multipliers: Array, objective_weight: float = 1.0
    ) -> Derivatives:
        """Evaluate with derivatives at x (n, b); `multipliers` (m + p, b) enter the Hessian."""


@dataclass(frozen=True, kw_only=True)
class Settings:
    """Tolerances and limits of `minimise`.

    constraint_tolerance: largest residual of a converged case, in the scaling of the problem.
    optimality_tolerance: largest error of the optimality conditions of a converged case.
    step_limit: most iterations spent on a case, restoration included.
    block_size: most cases worked on at a time; bounds the memory and does not change any result.
    proximal: curvature added to every variable, so that flat directions stay harmless.
    initial_barrier: weight of the logarithmic barrier at the start.
    restoration_starts: searches for a feasible state before a case is called infeasible, 1 to 4.
    """

    constraint_tolerance: float = 1e-9
    optimality_tolerance: float = 1e-7
    step_limit: int = 200
    block_size: int = 256
    proximal: float = 1e-6
    initial_barrier: float = 0.1
    restoration_starts: int = 3

    @property
    def least_barrier(self) -> float:
        """Weight of the logarithmic barrier at the end."""
        return 0.1 * self.optimality_tolerance

    def __post_init__(self) -> None:
        """Refuse values with which no case could converge."""
        for name in ("constraint_tolerance", "optimality_tolerance", "proximal", "initial_barrier"):
            value = getattr(self, name)
            if not (np.isfinite(value) and value > 0.0):
                raise ValueError(f"{name} = {value}: must be a positive finite number")
        for name in ("step_limit", "block_size", "restoration_starts"):
            value = getattr(self, name)
            if isinstance(value, bool) or not isinstance(value, int) or value < 1:
                raise ValueError(f"{name} = {value}: must be a whole number of at least 1")


@dataclass(frozen=True)
class Solution:
    """One answer a case, whatever its status.

    x: variables (n, B).
    multipliers: (m + p, B) in `objective + multipliers . constraints`; zero or negative for an inequality.
    lower_multipliers, upper_multipliers: (n, B), zero or positive; zero where a bound is infinite.
    objective: (B,).
    status: (B,) codes of `vpp.solver.status.Status`.
    iterations: (B,) iterations spent, restoration included.
    constraint_error: (B,) largest violation: |c| of an equality, max(0, -c) of an inequality.
    optimality_error: (B,) largest scaled error of the optimality conditions; NaN where never evaluated.
    worst_constraint: (B,) index of the constraint with the largest violation; -1 without constraints.
    active_lower, active_upper: (n, B) whether the bound holds the variable back.

    Where the status is not CONVERGED, multipliers and optimality error belong to the last state of the
    search, which need not be x.
    """

    x: Array
    multipliers: Array
    lower_multipliers: Array
    upper_multipliers: Array
    objective: Array
    status: Integers
    iterations: Integers
    constraint_error: Array
    optimality_error: Array
    worst_constraint: Integers
    active_lower: Mask
    active_upper: Mask


def check_inputs(problem: Problem, start: Array) -> tuple[Array, Array, Array]:
    """Return lower bounds, upper bounds and start (n, B). Raises ValueError where they make no sense."""
    n, m, p = problem.variable_count, problem.equality_count, problem.inequality_count
    if n < 1 or m < 0 or p < 0:
        raise ValueError(
            f"variable_count = {n}, equality_count = {m}, inequality_count = {p}: needs n >= 1, m, p >= 0"
        )
    if m > n:
        raise ValueError(f"equality_count = {m} exceeds variable_count = {n}: the problem is overdetermined")
    start = np.array(start, dtype=np.float64, order="C")
    if start.ndim != 2 or start.shape[0] != n:
        raise ValueError(f"start has shape {start.shape}: expected ({n}, number of cases)")
    lower = np.array(problem.lower, dtype=np.float64, order="C")
    upper = np.array(problem.upper, dtype=np.float64, order="C")
    for name, bound in (("lower", lower), ("upper", upper)):
        if bound.shape != start.shape:
            raise ValueError(f"{name} has shape {bound.shape}: expected {start.shape}, as start has")
        _refuse(np.isnan(bound), name, bound, "a bound must not be NaN")
    _refuse(~np.isfinite(start), "start", start, "a start must be finite")
    _refuse(lower == upper, "lower", lower, "equals upper: leave a fixed variable out of the problem")
    _refuse(lower > upper, "lower", lower, "lies above upper")
    _refuse(lower == np.inf, "lower", lower, "leaves no room above it")
    _refuse(upper == -np.inf, "upper", upper, "leaves no room below it")
    narrow = upper - lower < MINIMUM_WIDTH * np.maximum(1.0, np.maximum(np.abs(lower), np.abs(upper)))
    _refuse(
        narrow,
        "lower",
        lower,
        f"lies within {MINIMUM_WIDTH:g} of upper: leave a fixed variable out of the problem",
    )
    return lower, upper, start


MINIMUM_WIDTH = 1e-9


def _refuse(wrong: Mask, name: str, array: Array, reason: str) -> None:
    if wrong.any():
        variable, case = (int(i) for i in np.argwhere(wrong)[0])
        raise ValueError(f"{name} of variable {variable} in case {case} is {array[variable, case]}: {reason}")
