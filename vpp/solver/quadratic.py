"""Quadratic problems with equalities and bounds, in batches: the steps of `vpp.solver.following`.

A primal-dual interior point with a fixed rate of centring, see Nocedal & Wright, "Numerical Optimization",
2nd ed. 2006, chapter 16.6. No model is evaluated.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeVar

import numpy as np

from vpp.solver.linear_algebra import (
    product,
    solve_equality_step,
    split_by_constraints,
    total,
)
from vpp.solver.problem import Array, Integers

_ITERATIONS = 30
_CENTRING = 0.1
_ROOM = 0.1  # first distance to a bound, or a third of the distance between two
_FIRST_BARRIER = 1e-2
_LEAST_BARRIER = 1e-11
_KEEP = 0.995  # of a distance to a bound that a step may use up


@dataclass
class Quadratic:
    """Minimise gradient . d + d . hessian d / 2 subject to jacobian d = -residual and low <= d <= high."""

    hessian: Array
    gradient: Array
    jacobian: Array
    residual: Array
    low: Array
    high: Array


@dataclass
class QuadraticAnswer:
    """Steps d (N, b), multipliers of equalities (M, b) and of bounds (N, b), zero or positive."""

    step: Array
    multipliers: Array
    lower: Array
    upper: Array


T = TypeVar("T", Quadratic, QuadraticAnswer)


def solve_quadratic(of: Quadratic, floor: float) -> QuadraticAnswer:
    """Steps of all cases. Along the equalities a Hessian that is indefinite is made positive definite by the
    moduli of its eigenvalues. Where the equalities cannot be met between the bounds the step is what the last
    iteration reached.
    """
    width = of.high - of.low
    room = np.minimum(_ROOM, width / 3.0)
    step = np.clip(0.0, of.low + room, of.high - room)
    below, above = step - of.low, of.high - step
    lower = np.where(np.isfinite(below), _FIRST_BARRIER / below, 0.0)
    upper = np.where(np.isfinite(above), _FIRST_BARRIER / above, 0.0)
    answer = QuadraticAnswer(step, np.zeros_like(of.residual), lower, upper)
    left = np.arange(step.shape[1])
    now, part = answer, of
    for _ in range(_ITERATIONS):
        now, barrier, error = _iterate(part, now, floor)
        _store(answer, now, left)
        going = np.flatnonzero((barrier > _LEAST_BARRIER) | (error > 1e-10))
        if not len(going):
            break
        if len(going) < len(left):
            left, part, now = left[going], _taken(part, going), _taken(now, going)
    return answer


def _iterate(of: Quadratic, now: QuadraticAnswer, floor: float) -> tuple[QuadraticAnswer, Array, Array]:
    """The next iterate, with the barrier of the last and what it left of the equalities."""
    below, above = now.step - of.low, of.high - now.step
    count = np.maximum(np.isfinite(below).sum(axis=0) + np.isfinite(above).sum(axis=0), 1)
    gap = total(np.where(np.isfinite(below), now.lower * below, 0.0))
    gap = gap + total(np.where(np.isfinite(above), now.upper * above, 0.0))
    barrier = gap / count
    target = _CENTRING * barrier
    curvature_lower, curvature_upper = now.lower / below, now.upper / above
    curvature = curvature_lower + curvature_upper
    scale = 1.0 / np.sqrt(1.0 + curvature)
    hessian = of.hessian * scale * scale[:, None]
    diagonal = np.arange(len(scale))
    hessian[diagonal, diagonal] += curvature * scale**2 + floor
    gradient = of.gradient + product(of.hessian, now.step) - target / below + target / above
    residual = of.residual + product(of.jacobian, now.step)
    move, multipliers = solve_equality_step(
        hessian,
        gradient * scale,
        residual,
        split_by_constraints(of.jacobian * scale),
        floor,
        np.zeros(len(barrier)),
    )
    move = move * scale
    lower_move = target / below - now.lower - curvature_lower * move
    upper_move = target / above - now.upper + curvature_upper * move
    share = np.minimum(_share(below, move), _share(above, -move))
    bound_share = np.minimum(_share(now.lower, lower_move), _share(now.upper, upper_move))
    following = QuadraticAnswer(
        now.step + share * move,
        multipliers,
        now.lower + bound_share * lower_move,
        now.upper + bound_share * upper_move,
    )
    return following, barrier, (1.0 - share) * np.abs(residual).max(axis=0, initial=0.0)


def _share(distance: Array, move: Array) -> Array:
    """Longest share of a move, at most one, that keeps positive distances positive."""
    falling = (move < 0.0) & np.isfinite(distance) & (distance > 0.0)
    share = np.where(falling, -_KEEP * distance / np.where(falling, move, 1.0), 1.0)
    longest: Array = np.minimum(share.min(axis=0), 1.0)
    return longest


def _store(answer: QuadraticAnswer, now: QuadraticAnswer, where: Integers) -> None:
    """Keep iterates, but those that are no longer finite."""
    finite = np.logical_and.reduce([np.isfinite(value).all(axis=0) for value in vars(now).values()])
    for name, value in vars(now).items():
        getattr(answer, name)[:, where[finite]] = value[:, finite]


def _taken(of: T, which: Integers) -> T:
    return type(of)(**{name: np.take(part, which, axis=-1) for name, part in vars(of).items()})
