"""The barrier problem: the state of a case, the errors of its optimality conditions, and their Newton step.

Bounds are replaced by the barrier function `objective - barrier * sum of the logarithms of the distances to
the bounds`. Slack variables of inequalities are variables like the others, bounded by zero from below.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from vpp.solver.linear_algebra import (
    EqualitySystem,
    RangeSpace,
    split_by_constraints,
    total,
    transposed_product,
)
from vpp.solver.problem import Array, Derivatives, Integers, Mask, Settings

_PUSH = 1e-2  # least distance of a start from its bounds, or this share of their distance from each other
_LEAST_DISTANCE = 1e-13  # nearer to a bound the distance itself would be rounding noise
_REACH = 0.5  # largest step of a variable, relative to its size or one
_SCALE_LIMIT = 100.0  # mean size of multipliers above which errors are scaled down


@dataclass
class State:
    """Cases at work; the last axis is theirs. Variables are x and slacks, N = n + p, residuals M = m + p."""

    case: Integers
    variables: Array
    previous: Array
    lower: Array
    upper: Array
    multipliers: Array
    lower_multipliers: Array
    upper_multipliers: Array
    barrier: Array
    filter_theta: Array
    filter_phi: Array
    theta_largest: Array
    theta_small: Array
    least_theta: Array
    waiting: Integers
    iterations: Integers
    rounds: Integers

    def take(self, which: Integers) -> State:
        """Keep the cases `which`."""
        return State(**{name: np.take(part, which, axis=-1) for name, part in vars(self).items()})


def join(states: Iterable[State]) -> State:
    parts = [vars(state) for state in states]
    depth = max(part["filter_theta"].shape[0] for part in parts)
    for part in parts:
        for name in ("filter_theta", "filter_phi"):
            missing = depth - part[name].shape[0]
            part[name] = np.pad(part[name], ((0, missing), (0, 0)), constant_values=np.inf)
    return State(**{name: np.concatenate([part[name] for part in parts], axis=-1) for name in parts[0]})


@dataclass(frozen=True)
class Distances:
    """Distances to the bounds (one where there is none) and what follows from them."""

    has_lower: Mask
    has_upper: Mask
    below: Array
    above: Array

    def potential(self, objective: Array, barrier: Array) -> Array:
        """Barrier function: objective - barrier * sum of the logarithms of the distances."""
        potential: Array = objective - barrier * (total(np.log(self.below)) + total(np.log(self.above)))
        return potential

    def gradient(self, barrier: Array) -> Array:
        """Gradient of the barrier term."""
        gradient: Array = barrier * (self.has_upper / self.above - self.has_lower / self.below)
        return gradient


def distances_of(state: State, variables: Array) -> Distances:
    has_lower, has_upper = np.isfinite(state.lower), np.isfinite(state.upper)
    return Distances(
        has_lower,
        has_upper,
        np.where(has_lower, variables - state.lower, 1.0),
        np.where(has_upper, state.upper - variables, 1.0),
    )


@dataclass(frozen=True)
class Errors:
    """Errors of the optimality conditions, each (b,)."""

    residual: Array
    optimality: Array
    barrier_problem: Array


def _lagrangian_gradient(state: State, derivatives: Derivatives) -> Array:
    pull = transposed_product(derivatives.jacobian, state.multipliers)
    return derivatives.gradient - state.lower_multipliers + state.upper_multipliers + pull


def with_completed_multipliers(state: State, derivatives: Derivatives) -> State:
    """The same states, the bounds that hold variables back taking over what is left of the gradient there."""
    distances = distances_of(state, state.variables)
    left = _lagrangian_gradient(state, derivatives)
    z_lower, z_upper = state.lower_multipliers, state.upper_multipliers
    at_lower = (z_lower > distances.below) & (z_lower + left > 0.0)
    at_upper = (z_upper > distances.above) & (z_upper - left > 0.0)
    return replace(
        state,
        lower_multipliers=np.where(at_lower, z_lower + left, z_lower),
        upper_multipliers=np.where(at_upper, z_upper - left, z_upper),
    )


def errors_of(state: State, derivatives: Derivatives, barrier: Array) -> Errors:
    return scaled_errors(
        state.variables,
        state.lower,
        state.upper,
        state.multipliers,
        state.lower_multipliers,
        state.upper_multipliers,
        derivatives,
        barrier,
    )


def scaled_errors(
    variables: Array,
    lower: Array,
    upper: Array,
    multipliers: Array,
    z_lower: Array,
    z_upper: Array,
    derivatives: Derivatives,
    barrier: Array | float,
) -> Errors:
    """Errors of the optimality conditions at variables with multipliers of constraints and bounds.

    Gradient and complementarity are divided by the mean size of the multipliers over 100, where that exceeds
    one (Waechter & Biegler 2006, equation 6); the residuals have the scaling of the problem.
    """
    has_lower, has_upper = np.isfinite(lower), np.isfinite(upper)
    pull = transposed_product(derivatives.jacobian, multipliers)
    dual = np.abs(derivatives.gradient - z_lower + z_upper + pull).max(axis=0)
    bound_sum = total(z_lower) + total(z_upper)
    bound_count = np.maximum(has_lower.sum(axis=0) + has_upper.sum(axis=0), 1)
    all_sum = bound_sum + total(np.abs(multipliers))
    dual_scale = np.maximum(_SCALE_LIMIT, all_sum / (len(multipliers) + bound_count)) / _SCALE_LIMIT
    bound_scale = np.maximum(_SCALE_LIMIT, bound_sum / bound_count) / _SCALE_LIMIT
    below = np.where(has_lower, variables - lower, 1.0)
    above = np.where(has_upper, upper - variables, 1.0)

    def complementarity(target: Array | float) -> Array:
        low = np.abs(z_lower * below - target * has_lower).max(axis=0)
        high = np.abs(z_upper * above - target * has_upper).max(axis=0)
        scaled: Array = np.maximum(low, high) / bound_scale
        return scaled

    residual = np.abs(derivatives.values.constraints).max(axis=0, initial=0.0)
    optimality = np.maximum(dual / dual_scale, complementarity(0.0))
    barrier_problem = np.maximum(np.maximum(dual / dual_scale, complementarity(barrier)), residual)
    return Errors(residual, optimality, barrier_problem)


def kept_inside(state: State, variables: Array) -> Array:
    """Variables moved, if need be, to the least distance from their bounds."""
    lower = state.lower + _LEAST_DISTANCE * np.maximum(1.0, np.abs(state.lower))
    upper = state.upper - _LEAST_DISTANCE * np.maximum(1.0, np.abs(state.upper))
    lower = np.where(np.isfinite(state.lower), lower, -np.inf)
    upper = np.where(np.isfinite(state.upper), upper, np.inf)
    return np.clip(variables, lower, upper)


def pushed_inside(x: Array, lower: Array, upper: Array) -> Array:
    """Starts moved a small distance inside finite bounds."""
    width = upper - lower
    from_lower = np.minimum(_PUSH * np.maximum(1.0, np.abs(lower)), _PUSH * width)
    from_upper = np.minimum(_PUSH * np.maximum(1.0, np.abs(upper)), _PUSH * width)
    least = np.where(np.isfinite(lower), lower + from_lower, -np.inf)
    most = np.where(np.isfinite(upper), upper - from_upper, np.inf)
    return np.clip(x, least, most)


@dataclass(frozen=True)
class Step:
    """Newton step of the barrier problem, with what the line search needs to know of it."""

    variables: Array
    multipliers: Array
    lower_multipliers: Array
    upper_multipliers: Array
    longest: Array
    longest_bound: Array
    slope: Array
    space: RangeSpace
    scale: Array


def newton_step(state: State, derivatives: Derivatives, settings: Settings) -> Step:
    """Newton step of the optimality conditions of the barrier problem."""
    distances = distances_of(state, state.variables)
    curvature_lower = state.lower_multipliers / distances.below
    curvature_upper = state.upper_multipliers / distances.above
    curvature = curvature_lower + curvature_upper
    scale = 1.0 / np.sqrt(1.0 + curvature)
    hessian = derivatives.hessian * scale * scale[:, None]
    diagonal = np.arange(len(scale))
    hessian[diagonal, diagonal] += curvature * scale**2 + settings.proximal
    gradient = derivatives.gradient + distances.gradient(state.barrier)
    space = split_by_constraints(derivatives.jacobian * scale)
    scaled, multipliers = EqualitySystem.of(hessian, space, settings.proximal).solve(
        gradient * scale, derivatives.values.constraints, _negligible(state, derivatives, settings)
    )
    step = scaled * scale
    lower_step = (
        distances.has_lower * state.barrier / distances.below
        - state.lower_multipliers
        - curvature_lower * step
    )
    upper_step = (
        distances.has_upper * state.barrier / distances.above
        - state.upper_multipliers
        + curvature_upper * step
    )
    keep = np.maximum(0.99, 1.0 - state.barrier)
    longest_bound = np.minimum(
        _longest(state.lower_multipliers, lower_step, keep),
        _longest(state.upper_multipliers, upper_step, keep),
    )
    return Step(
        step,
        multipliers - state.multipliers,
        lower_step,
        upper_step,
        np.minimum(fraction_to_boundary(distances, step, keep), _within_reach(state.variables, step)),
        longest_bound,
        total(gradient * step),
        space,
        scale,
    )


def _negligible(state: State, derivatives: Derivatives, settings: Settings) -> Array:
    """Slopes along the constraints (b,) that are not worth a step.

    At the end of the search the barrier is too weak to hold flat directions: without this, a state that is
    optimal but for its residuals drifts along them and never settles.
    """
    errors = errors_of(state, derivatives, state.barrier)
    tolerance = settings.optimality_tolerance
    last = (state.barrier <= settings.least_barrier) & (errors.optimality <= 1e3 * tolerance)
    return np.where(errors.optimality <= tolerance, np.inf, np.where(last, 0.2 * tolerance, 0.0))


def _within_reach(variables: Array, step: Array) -> Array:
    """Share of a step, at most one, that moves no variable further than `_REACH` times its size, or one."""
    reach = _REACH * np.maximum(1.0, np.abs(variables))
    share: Array = (reach / np.maximum(reach, np.abs(step))).min(axis=0)
    return share


def _longest(distance: Array, step: Array, keep: Array) -> Array:
    """Longest share of a step, at most one, that leaves (1 - keep) of every positive distance."""
    falling = (step < 0.0) & (distance > 0.0)
    share = np.where(falling, -keep * distance / np.where(falling, step, 1.0), 1.0)
    longest: Array = np.minimum(share.min(axis=0), 1.0)
    return longest


def fraction_to_boundary(distances: Distances, step: Array, keep: Array) -> Array:
    return np.minimum(
        _longest(distances.below, np.where(distances.has_lower, step, 0.0), keep),
        _longest(distances.above, np.where(distances.has_upper, -step, 0.0), keep),
    )
