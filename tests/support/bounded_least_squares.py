"""Feasible states looked for in a batch, by code that shares nothing with the package's solver: projected
Levenberg-Marquardt on the equations and the violated inequalities, from first derivatives alone.

The damping follows Marquardt (1963, J. SIAM 11, 431-441), the set of variables held at their bounds Bertsekas
(1982, SIAM J. Control Optim. 20, 221-246).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vpp.solver.problem import Problem

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]

_DAMPING, _LEAST, _MOST = 1e-2, 1e-12, 1e8  # at first, and what it is kept between
_EASED, _RAISED = 0.2, 5.0  # factors on the damping after a good and a bad step
_DONE = 1e-11  # a residual below this is not lowered further
_WINDOW, _SLOW = 12, 0.95  # a search whose merit falls to no less than this share in so many steps ends


@dataclass(frozen=True)
class Searched:
    """States (variables, searches), their largest residuals, the constraint that has it, and how large the
    projected gradient of the merit is left over the residual: small where no direction lowers it.
    """

    x: Floats
    residual: Floats
    worst: Integers
    slope: Floats


def search(problem: Problem, cases: Integers, start: Floats, *, most: int = 80, block: int = 512) -> Searched:
    """Least squares within the bounds from every state of `start` (variables, searches), each for one of
    `cases` (searches,), in blocks.
    """
    parts = [
        _search(problem, cases[first : first + block], start[:, first : first + block], most)
        for first in range(0, len(cases), block)
    ]
    return Searched(*(np.concatenate([getattr(part, name) for part in parts], axis=-1) for name in _FIELDS))


_FIELDS = ("x", "residual", "worst", "slope")


def _search(problem: Problem, cases: Integers, start: Floats, most: int) -> Searched:
    lower, upper = problem.lower[:, cases], problem.upper[:, cases]
    x = np.clip(start, lower, upper)
    with np.errstate(all="ignore"):
        left = _left(problem, x, cases)
        slope = np.full(len(cases), np.inf)
        damping, before = np.full(len(cases), _DAMPING), np.full((_WINDOW, len(cases)), np.inf)
        live = np.flatnonzero(np.isfinite(left).all(axis=0))
        for number in range(most):
            live = live[np.abs(left[:, live]).max(axis=0) > _DONE]
            merit = (left[:, live] ** 2).sum(axis=0)
            live = live[~(merit > _SLOW * before[number % _WINDOW, live])]
            if not len(live):
                break
            before[number % _WINDOW, live] = (left[:, live] ** 2).sum(axis=0)
            rows = _jacobian(problem, x[:, live], cases[live], left[:, live])
            step, slope[live] = _step(x, left, rows, damping, lower, upper, live)
            _move(
                problem,
                x,
                left,
                damping,
                cases,
                live,
                np.clip(x[:, live] + step, lower[:, live], upper[:, live]),
            )
    left = np.where(np.isfinite(left), np.abs(left), np.inf)
    return Searched(x, left.max(axis=0), left.argmax(axis=0), slope)


def _left(problem: Problem, x: Floats, cases: Integers) -> Floats:
    """What the equations leave over, and how far inequalities are violated, negative."""
    values = problem.values(np.ascontiguousarray(x), cases).constraints.copy()
    values[problem.equality_count :] = np.minimum(values[problem.equality_count :], 0.0)
    return values


def _jacobian(problem: Problem, x: Floats, cases: Integers, left: Floats) -> Floats:
    nothing = np.zeros((problem.equality_count + problem.inequality_count, len(cases)))
    rows = problem.derivatives(np.ascontiguousarray(x), cases, nothing).jacobian.copy()
    met = left[problem.equality_count :] == 0.0
    rows[problem.equality_count :] *= ~met[:, None]
    return rows


def _step(
    x: Floats, left: Floats, rows: Floats, damping: Floats, lower: Floats, upper: Floats, live: Integers
) -> tuple[Floats, Floats]:
    """A damped step of the variables that are not held at a bound, and the projected slope."""
    gradient = np.einsum("ijb,ib->jb", rows, left[:, live])
    at, room = x[:, live], 1e-10
    held = (at <= lower[:, live] + room) & (gradient > 0.0) | (at >= upper[:, live] - room) & (gradient < 0.0)
    gradient = np.where(held, 0.0, gradient)
    free = np.where(held, 0.0, 1.0)
    normal = np.einsum("ijb,ikb->bjk", rows * free, rows * free)
    index = np.arange(len(at))
    normal[:, index, index] += damping[live][:, None] + held.T
    wrong = ~np.isfinite(normal).all(axis=(1, 2)) | ~np.isfinite(gradient).all(axis=0)
    normal[wrong], gradient[:, wrong] = np.eye(len(at)), 0.0
    step = np.linalg.solve(normal, -gradient.T[..., None])[..., 0].T
    size = np.abs(left[:, live]).max(axis=0)
    return np.clip(step, -1.0, 1.0), np.abs(gradient).max(axis=0) / size


def _move(
    problem: Problem,
    x: Floats,
    left: Floats,
    damping: Floats,
    cases: Integers,
    live: Integers,
    trial: Floats,
) -> None:
    """Take those trial states that are better, and trust the model less where they are not."""
    there = _left(problem, trial, cases[live])
    better = (there**2).sum(axis=0) < (left[:, live] ** 2).sum(axis=0)
    x[:, live[better]], left[:, live[better]] = trial[:, better], there[:, better]
    damping[live] = np.clip(damping[live] * np.where(better, _EASED, _RAISED), _LEAST, _MOST)
