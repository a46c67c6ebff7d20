"""Feasible states looked for by SciPy, one condition at a time and from random starts: what a verdict of "no
equilibrium" is held against.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from vpp.trim import FastestEquilibrium

Floats = NDArray[np.float64]

# A state is feasible where no scaled residual is larger; searches that fail end orders of magnitude above.
FEASIBLE = 1e-6


@dataclass(frozen=True)
class Found:
    """The best state of all starts: its largest scaled residual, and how many evaluations all starts took."""

    residual: float
    evaluations: int


def search(problem: FastestEquilibrium, case: int, *, starts: int, seed: int, most: int = 80) -> Found:
    """Least squares on equations and violated limits within the bounds (`scipy.optimize.least_squares`, trust
    region reflective), from random states.
    """
    rng = np.random.default_rng(seed)
    lower, upper = problem.lower[:, case], problem.upper[:, case]
    cases = np.array([case])
    count = problem.equality_count
    nothing = np.zeros((count + problem.inequality_count, 1))

    def left(x: Floats) -> Floats:
        values = problem.values(x[:, None], cases).constraints[:, 0]
        return np.concatenate([values[:count], np.minimum(values[count:], 0.0)])

    def jacobian(x: Floats) -> Floats:
        found = problem.derivatives(x[:, None], cases, nothing)
        rows = found.jacobian[:, :, 0].copy()
        rows[count:][found.values.constraints[count:, 0] > 0.0] = 0.0
        return rows

    best, evaluations = np.inf, 0
    for _ in range(starts):
        start = lower + rng.uniform(0.1, 0.9, size=lower.shape) * (upper - lower)
        answer = least_squares(left, start, jac=jacobian, bounds=(lower, upper), max_nfev=most, xtol=1e-12)
        evaluations += answer.nfev
        best = min(best, float(np.abs(answer.fun).max()))
        if best <= FEASIBLE:
            break
    return Found(best, evaluations)
