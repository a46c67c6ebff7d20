"""Quadratic problems with equalities and bounds, in batches: the steps of `vpp.solver.following`.

A primal-dual interior point whose steps are predicted and then corrected, see Nocedal & Wright, "Numerical
Optimization", 2nd ed. 2006, chapter 16.6, after Mehrotra (1992, SIAM J. Optim. 2, 575-601). No model is
evaluated.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeVar

import numpy as np

from vpp.solver.linear_algebra import EqualitySystem, product, split_by_constraints, total
from vpp.solver.problem import Array, Integers

_ITERATIONS = 30
_CENTRING = 0.1  # where the curvature is repaired
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
    barrier = _gap(now.lower, below, now.upper, above) / count
    curvature_lower, curvature_upper = now.lower / below, now.upper / above
    curvature = curvature_lower + curvature_upper
    scale = 1.0 / np.sqrt(1.0 + curvature)
    hessian = of.hessian * scale * scale[:, None]
    diagonal = np.arange(len(scale))
    hessian[diagonal, diagonal] += curvature * scale**2 + floor
    system = EqualitySystem.of(hessian, split_by_constraints(of.jacobian * scale), floor)
    gradient = of.gradient + product(of.hessian, now.step)
    residual = of.residual + product(of.jacobian, now.step)

    def moves(target_lower: Array, target_upper: Array) -> tuple[Array, Array, Array, Array]:
        """Moves of step and bounds' multipliers towards products of multipliers and distances."""
        pulled = gradient - target_lower / below + target_upper / above
        move, multipliers = system.solve(pulled * scale, residual)
        move = move * scale
        lower_move = target_lower / below - now.lower - curvature_lower * move
        upper_move = target_upper / above - now.upper + curvature_upper * move
        return move, multipliers, lower_move, upper_move

    def shares(move: Array, lower_move: Array, upper_move: Array) -> tuple[Array, Array]:
        share = np.minimum(_share(below, move), _share(above, -move))
        return share, np.minimum(_share(now.lower, lower_move), _share(now.upper, upper_move))

    none = np.zeros_like(barrier)
    move, multipliers, lower_move, upper_move = moves(none, none)
    share, bound_share = shares(move, lower_move, upper_move)
    predicted = _gap(
        now.lower + bound_share * lower_move,
        below + share * move,
        now.upper + bound_share * upper_move,
        above - share * move,
    )
    # what is predicted with a repaired Hessian corrects nothing
    convex = system.convex()
    share_left = np.clip(predicted / (count * barrier), 0.0, 1.0)
    target = np.where(convex, share_left**3, _CENTRING) * barrier
    move, multipliers, lower_move, upper_move = moves(
        target - np.where(convex & np.isfinite(below), move * lower_move, 0.0),
        target + np.where(convex & np.isfinite(above), move * upper_move, 0.0),
    )
    share, bound_share = shares(move, lower_move, upper_move)
    following = QuadraticAnswer(
        now.step + share * move,
        multipliers,
        now.lower + bound_share * lower_move,
        now.upper + bound_share * upper_move,
    )
    return following, barrier, (1.0 - share) * np.abs(residual).max(axis=0, initial=0.0)


def _gap(lower: Array, below: Array, upper: Array, above: Array) -> Array:
    """Sum of the products of bounds' multipliers and distances."""
    gap = total(np.where(np.isfinite(below), lower * below, 0.0))
    return gap + total(np.where(np.isfinite(above), upper * above, 0.0))


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
