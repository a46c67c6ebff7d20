"""The problem as the iterations see it: slack variables for inequalities, checked and contiguous arrays."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vpp.solver.problem import Array, Derivatives, Integers, Mask, Problem, Values


@dataclass(frozen=True)
class Slacked:
    """A problem with its inequalities written as equalities with slack variables: c(x) - s = 0, s >= 0.

    Variables are (n + p, b): x first, then the slacks.
    """

    problem: Problem

    @property
    def shape(self) -> tuple[int, int, int]:
        """Numbers n of variables, m of equalities, p of inequalities."""
        return self.problem.variable_count, self.problem.equality_count, self.problem.inequality_count

    def values(self, variables: Array, cases: Integers) -> Values:
        """Objective (b,) and residuals (m + p, b)."""
        n, m, _ = self.shape
        plain = plain_values(self.problem, variables[:n], cases)
        residual = plain.constraints.copy()
        residual[m:] -= variables[n:]
        return Values(plain.objective, residual)

    def derivatives(self, variables: Array, cases: Integers, multipliers: Array) -> Derivatives:
        """As `values`, with gradient (n + p, b), jacobian (m + p, n + p, b) and Hessian of the Lagrangian."""
        n, m, p = self.shape
        batch = variables.shape[1]
        plain = plain_derivatives(self.problem, variables[:n], cases, multipliers, 1.0)
        residual = plain.values.constraints.copy()
        residual[m:] -= variables[n:]
        gradient = np.zeros((n + p, batch))
        gradient[:n] = plain.gradient
        jacobian = np.zeros((m + p, n + p, batch))
        jacobian[:, :n] = plain.jacobian
        jacobian[m + np.arange(p), n + np.arange(p)] = -1.0
        hessian = np.zeros((n + p, n + p, batch))
        hessian[:n, :n] = plain.hessian
        return Derivatives(Values(plain.values.objective.copy(), residual), gradient, jacobian, hessian)


def plain_values(problem: Problem, x: Array, cases: Integers) -> Values:
    """Evaluate a problem, unless there is no case. Raises ValueError where an array it returns has the wrong
    shape.
    """
    if not x.shape[1]:
        return Values(np.zeros(0), np.zeros((problem.equality_count + problem.inequality_count, 0)))
    result = problem.values(np.ascontiguousarray(x), cases)
    return _checked_values(problem, result, x.shape[1])


def plain_derivatives(
    problem: Problem, x: Array, cases: Integers, multipliers: Array, objective_weight: float
) -> Derivatives:
    """Evaluate with derivatives, unless there is no case. Raises ValueError where an array the problem
    returns has the wrong shape.
    """
    n, count, batch = problem.variable_count, problem.equality_count + problem.inequality_count, x.shape[1]
    if not batch:
        nothing = Values(np.zeros(0), np.zeros((count, 0)))
        return Derivatives(nothing, np.zeros((n, 0)), np.zeros((count, n, 0)), np.zeros((n, n, 0)))
    result = problem.derivatives(np.ascontiguousarray(x), cases, multipliers, objective_weight)
    hessian = _checked("hessian", result.hessian, (n, n, batch))
    return Derivatives(
        _checked_values(problem, result.values, batch),
        _checked("gradient", result.gradient, (n, batch)),
        _checked("jacobian", result.jacobian, (count, n, batch)),
        0.5 * (hessian + np.ascontiguousarray(hessian.transpose(1, 0, 2))),
    )


def all_finite(values: Values) -> Mask:
    """Which cases (b,) have a finite objective and finite constraints."""
    finite: Mask = np.isfinite(values.objective) & np.isfinite(values.constraints).all(axis=0)
    return finite


def derivatives_finite(derivatives: Derivatives) -> Mask:
    """Which cases (b,) have finite values and derivatives."""
    finite: Mask = (
        all_finite(derivatives.values)
        & np.isfinite(derivatives.gradient).all(axis=0)
        & np.isfinite(derivatives.jacobian).all(axis=(0, 1))
        & np.isfinite(derivatives.hessian).all(axis=(0, 1))
    )
    return finite


def taken(derivatives: Derivatives, which: Integers) -> Derivatives:
    """Keep the cases `which`."""

    def take(array: Array) -> Array:
        return np.take(array, which, axis=-1)

    values = Values(take(derivatives.values.objective), take(derivatives.values.constraints))
    return Derivatives(
        values, take(derivatives.gradient), take(derivatives.jacobian), take(derivatives.hessian)
    )


def overwrite(derivatives: Derivatives, again: Derivatives, which: Integers) -> None:
    """Put the derivatives of the cases `which` in place."""
    derivatives.values.objective[which] = again.values.objective
    derivatives.values.constraints[:, which] = again.values.constraints
    derivatives.gradient[:, which] = again.gradient
    derivatives.jacobian[..., which] = again.jacobian
    derivatives.hessian[..., which] = again.hessian


def _checked_values(problem: Problem, values: Values, batch: int) -> Values:
    count = problem.equality_count + problem.inequality_count
    return Values(
        _checked("objective", values.objective, (batch,)),
        _checked("constraints", values.constraints, (count, batch)),
    )


def _checked(name: str, array: Array, shape: tuple[int, ...]) -> Array:
    checked = np.ascontiguousarray(array, dtype=np.float64)
    if checked.shape != shape:
        raise ValueError(f"the problem returned {name} of shape {checked.shape}: expected {shape}")
    return checked
