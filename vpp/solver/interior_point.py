"""Batched primal-dual interior-point method with a filter line search, in plain NumPy.

After Waechter & Biegler (2006, Mathematical Programming 106, 25-57): logarithmic barrier on the bounds, fraction to the
boundary, monotone barrier parameter, filter with a second-order correction. Different from there: the step is found in
the null space of the constraint gradients, where the Hessian is corrected by the moduli of its eigenvalues; restoration is
a damped Newton search on the squared residuals (`vpp.solver.restoration`).

All cases of a batch advance together, each with its own barrier, filter and step length. Cases leave when they end and
waiting ones take their places.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from vpp.solver.evaluation import Slacked, all_finite, derivatives_finite
from vpp.solver.linear_algebra import (
    RangeSpace,
    product,
    solve_equality_step,
    split_by_constraints,
    total,
    transposed_product,
)
from vpp.solver.problem import (
    Array,
    Derivatives,
    Integers,
    Mask,
    Problem,
    Progress,
    Settings,
    Solution,
    Values,
    check_inputs,
)
from vpp.solver.restoration import FEASIBLE, INFEASIBLE, UNDEFINED, restore
from vpp.solver.status import Status

_PUSH = 1e-2  # least distance of a start from its bounds, or this share of their distance from each other
_LEAST_DISTANCE = 1e-13
_LARGEST_MULTIPLIER = 1e3  # least-squares multipliers above this are not trusted
_BARRIER_FACTOR, _BARRIER_EXPONENT, _BARRIER_ACCURACY = 0.2, 1.5, 10.0
_CENTRING_LIMIT = 1e10  # bound multipliers stay within this factor of barrier over distance
_SCALE_LIMIT = 100.0
_FILTER_THETA, _FILTER_PHI = 1e-5, 1e-8
_ARMIJO = 1e-4
_SWITCH_PHI, _SWITCH_THETA = 2.3, 1.1
_SHORTEST_STEP = 1e-9
_ROUNDING = 10.0 * float(np.finfo(np.float64).eps)
_PATIENCE = 12  # iterations without progress towards feasibility before restoration
_LARGEST_THETA = 1e2  # largest sum of residuals that a step may lead to, relative to the start
_LEASH, _TIGHTER = 1e-2, 0.3  # the same after a first restoration, which ended at a feasible state, and each further one
_ROUNDS = 4  # restorations of one case
_POLISH = 1e-12
_REFILL = 0.25  # share of a block that must be free before waiting cases join


@dataclass
class _State:
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

    def take(self, which: Integers) -> _State:
        """Keep the cases `which`."""
        return _State(**{name: np.take(part, which, axis=-1) for name, part in vars(self).items()})


def _join(states: Iterable[_State]) -> _State:
    parts = [vars(state) for state in states]
    depth = max(part["filter_theta"].shape[0] for part in parts)
    for part in parts:
        for name in ("filter_theta", "filter_phi"):
            missing = depth - part[name].shape[0]
            part[name] = np.pad(part[name], ((0, missing), (0, 0)), constant_values=np.inf)
    return _State(**{name: np.concatenate([part[name] for part in parts], axis=-1) for name in parts[0]})


@dataclass(frozen=True)
class _Barrier:
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


def _distances(state: _State, variables: Array) -> _Barrier:
    has_lower, has_upper = np.isfinite(state.lower), np.isfinite(state.upper)
    return _Barrier(
        has_lower,
        has_upper,
        np.where(has_lower, variables - state.lower, 1.0),
        np.where(has_upper, state.upper - variables, 1.0),
    )


@dataclass(frozen=True)
class _Errors:
    """Errors of the optimality conditions, each (b,)."""

    residual: Array
    optimality: Array
    barrier_problem: Array


def _errors(state: _State, derivatives: Derivatives, barrier: Array) -> _Errors:
    distances = _distances(state, state.variables)
    z_lower, z_upper = state.lower_multipliers, state.upper_multipliers
    dual = derivatives.gradient - z_lower + z_upper
    dual = np.abs(dual + transposed_product(derivatives.jacobian, state.multipliers)).max(axis=0)
    bound_sum = total(z_lower) + total(z_upper)
    bound_count = np.maximum(distances.has_lower.sum(axis=0) + distances.has_upper.sum(axis=0), 1)
    count = state.multipliers.shape[0]
    all_sum = bound_sum + total(np.abs(state.multipliers))
    dual_scale = np.maximum(_SCALE_LIMIT, all_sum / (count + bound_count)) / _SCALE_LIMIT
    bound_scale = np.maximum(_SCALE_LIMIT, bound_sum / bound_count) / _SCALE_LIMIT

    def complementarity(target: Array | float) -> Array:
        below = np.abs(z_lower * distances.below - target * distances.has_lower).max(axis=0)
        above = np.abs(z_upper * distances.above - target * distances.has_upper).max(axis=0)
        scaled: Array = np.maximum(below, above) / bound_scale
        return scaled

    residual = np.abs(derivatives.values.constraints).max(axis=0, initial=0.0)
    optimality = np.maximum(dual / dual_scale, complementarity(0.0))
    barrier_problem = np.maximum(np.maximum(dual / dual_scale, complementarity(barrier)), residual)
    return _Errors(residual, optimality, barrier_problem)


@dataclass(frozen=True)
class _Step:
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


def _newton_step(state: _State, derivatives: Derivatives, settings: Settings) -> _Step:
    """Step of the barrier problem. Where only the residuals are still too large, it does not move along flat directions."""
    optimal = _errors(state, derivatives, state.barrier).optimality <= settings.optimality_tolerance
    distances = _distances(state, state.variables)
    curvature_lower = state.lower_multipliers / distances.below
    curvature_upper = state.upper_multipliers / distances.above
    curvature = curvature_lower + curvature_upper
    scale = 1.0 / np.sqrt(1.0 + curvature)
    hessian = derivatives.hessian * scale * scale[:, None]
    diagonal = np.arange(len(scale))
    hessian[diagonal, diagonal] += curvature * scale**2 + settings.proximal
    gradient = derivatives.gradient + distances.gradient(state.barrier)
    space = split_by_constraints(derivatives.jacobian * scale)
    scaled, multipliers = solve_equality_step(
        hessian, gradient * scale, derivatives.values.constraints, space, settings.proximal, optimal
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
    return _Step(
        step,
        multipliers - state.multipliers,
        lower_step,
        upper_step,
        _fraction_to_boundary(distances, step, keep),
        longest_bound,
        total(gradient * step),
        space,
        scale,
    )


def _longest(distance: Array, step: Array, keep: Array) -> Array:
    """Longest share of a step, at most one, that leaves (1 - keep) of every positive distance."""
    falling = (step < 0.0) & (distance > 0.0)
    share = np.where(falling, -keep * distance / np.where(falling, step, 1.0), 1.0)
    longest: Array = np.minimum(share.min(axis=0), 1.0)
    return longest


def _fraction_to_boundary(distances: _Barrier, step: Array, keep: Array) -> Array:
    return np.minimum(
        _longest(distances.below, np.where(distances.has_lower, step, 0.0), keep),
        _longest(distances.above, np.where(distances.has_upper, -step, 0.0), keep),
    )


class _LineSearch:
    """Backtracking along the steps of a block until filter and sufficient decrease accept."""

    def __init__(self, problem: Slacked, state: _State, derivatives: Derivatives, step: _Step) -> None:
        self.problem, self.state, self.step = problem, state, step
        self.objective_theta = total(np.abs(derivatives.values.constraints))
        self.potential = _distances(state, state.variables).potential(
            derivatives.values.objective, state.barrier
        )
        self.share = step.longest.copy()
        self.variables = state.variables.copy()
        batch = len(state.case)
        self.accepted = np.zeros(batch, dtype=bool)
        self.augments = np.zeros(batch, dtype=bool)

    def run(self) -> None:
        """Find the accepted variables; where none is found `accepted` stays False."""
        pending = np.arange(len(self.state.case))
        first = True
        while len(pending):
            moved = np.take(self.step.variables, pending, axis=-1) * self.share[pending]
            values = self._try(pending, moved)
            pending = pending[~self.accepted[pending]]
            if first and len(pending):
                self._correct(pending, values)
                pending = pending[~self.accepted[pending]]
                first = False
            self.share[pending] *= 0.5
            pending = pending[self.share[pending] > _SHORTEST_STEP]

    def _correct(self, pending: Integers, values: tuple[Integers, Values]) -> None:
        """Try one second-order correction where the first trial made the residuals grow."""
        tried, trial = values
        theta = total(np.abs(trial.constraints))
        grew = all_finite(trial) & (theta >= self.objective_theta[tried])
        which = np.intersect1d(tried[grew], pending)
        if not len(which) or not trial.constraints.shape[0]:
            return
        residual = np.take(trial.constraints, np.searchsorted(tried, which), axis=-1)
        moved = np.take(self.step.variables, which, axis=-1) * self.share[which]
        space, scale = self.step.space.take(which), np.take(self.step.scale, which, axis=-1)
        moved = moved + space.normal_step(residual) * scale
        part = self.state.take(which)
        keep = np.maximum(0.99, 1.0 - part.barrier)
        moved *= _fraction_to_boundary(_distances(part, part.variables), moved, keep)
        self._try(which, moved)

    def _try(self, which: Integers, moved: Array) -> tuple[Integers, Values]:
        """Accept the cases `which`, moved by `moved`, if filter and sufficient decrease allow."""
        part = self.state.take(which)
        variables = _kept_inside(part, part.variables + moved)
        values = self.problem.values(variables, part.case)
        theta = total(np.abs(values.constraints))
        potential = _distances(part, variables).potential(values.objective, part.barrier)
        good, augments = self._judge(which, part, theta, potential)
        tiny = (np.abs(moved) <= _ROUNDING * (1.0 + np.abs(part.variables))).all(axis=0)
        good |= tiny
        good &= all_finite(values)
        accepted = which[good]
        self.variables[:, accepted] = np.take(variables, np.flatnonzero(good), axis=-1)
        self.accepted[accepted] = True
        self.augments[accepted] = (augments & ~tiny)[good]
        return which, values

    def _judge(self, which: Integers, part: _State, theta: Array, potential: Array) -> tuple[Mask, Mask]:
        old_theta, old = self.objective_theta[which], self.potential[which]
        share, slope = self.share[which], self.step.slope[which]
        rounding = _ROUNDING * np.abs(old)
        descent = np.where(slope < 0.0, -slope, 0.0)
        switching = share * descent**_SWITCH_PHI > old_theta**_SWITCH_THETA
        by_objective = switching & (slope < 0.0) & (old_theta <= part.theta_small)
        armijo = potential - old <= _ARMIJO * share * slope + rounding
        better = (theta <= (1.0 - _FILTER_THETA) * old_theta) | (
            potential - old <= -_FILTER_PHI * old_theta + rounding
        )
        outside = ((theta < part.filter_theta) | (potential <= part.filter_phi + rounding)).all(axis=0)
        good = outside & (theta <= part.theta_largest) & np.where(by_objective, armijo, better)
        return good, ~(by_objective & armijo)


def _kept_inside(state: _State, variables: Array) -> Array:
    """Variables moved, if need be, to the least distance from their bounds."""
    lower = state.lower + _LEAST_DISTANCE * np.maximum(1.0, np.abs(state.lower))
    upper = state.upper - _LEAST_DISTANCE * np.maximum(1.0, np.abs(state.upper))
    lower = np.where(np.isfinite(state.lower), lower, -np.inf)
    upper = np.where(np.isfinite(state.upper), upper, np.inf)
    return np.clip(variables, lower, upper)


def _pushed_inside(x: Array, lower: Array, upper: Array) -> Array:
    """Starts moved a small distance inside finite bounds."""
    width = upper - lower
    from_lower = np.minimum(_PUSH * np.maximum(1.0, np.abs(lower)), _PUSH * width)
    from_upper = np.minimum(_PUSH * np.maximum(1.0, np.abs(upper)), _PUSH * width)
    least = np.where(np.isfinite(lower), lower + from_lower, -np.inf)
    most = np.where(np.isfinite(upper), upper - from_upper, np.inf)
    return np.clip(x, least, most)


class _Solver:
    """One call of `minimise`: the block at work, the cases that wait, and the results so far."""

    def __init__(
        self, problem: Problem, start: Array, settings: Settings, on_progress: Progress | None
    ) -> None:
        self.lower, self.upper, self.start = check_inputs(problem, start)
        self.start = _pushed_inside(self.start, self.lower, self.upper)
        self.problem, self.settings, self.on_progress = Slacked(problem), settings, on_progress
        n, m, p = self.problem.shape
        batch = self.start.shape[1]
        self.x, self.objective = self.start.copy(), np.full(batch, np.nan)
        self.multipliers = np.zeros((m + p, batch))
        self.lower_multipliers, self.upper_multipliers = np.zeros((n, batch)), np.zeros((n, batch))
        self.status = np.full(batch, -1, dtype=np.int64)
        self.iterations = np.zeros(batch, dtype=np.int64)
        self.optimality = np.full(batch, np.nan)
        self.best_x, self.best_objective = self.start.copy(), np.full(batch, np.inf)
        self.lost: list[_State] = []

    def run(self) -> Solution:
        """Work until every case has ended."""
        size, batch = self.settings.block_size, self.start.shape[1]
        state, waiting = self._begin(np.arange(0), self.start[:, :0]), 0
        while len(state.case) or waiting < batch or self.lost:
            room = size - len(state.case)
            if waiting < batch and room >= _REFILL * size:
                cases = np.arange(waiting, min(waiting + room, batch))
                state = _join([state, self._begin(cases, np.take(self.start, cases, axis=-1))])
                waiting += len(cases)
            elif not len(state.case):
                state = self._restore()
            state = self._iterate(state) if len(state.case) else state
        return self._solution()

    def _begin(self, cases: Integers, x: Array, barrier: Array | None = None) -> _State:
        """Cases at their starts (n, b), with least-squares multipliers. Cases without finite values end here."""
        n, m, p = self.problem.shape
        values = self.problem.values(np.concatenate([x, np.zeros((p, x.shape[1]))]), cases)
        finite = all_finite(values)
        slack = np.maximum(np.where(finite, values.constraints[m:], 1.0), _PUSH)
        variables = np.concatenate([x, slack])
        batch = len(cases)
        zeros = np.zeros((p, batch))
        lower = np.concatenate([np.take(self.lower, cases, axis=-1), zeros])
        upper = np.concatenate([np.take(self.upper, cases, axis=-1), zeros + np.inf])
        if barrier is None:
            barrier = np.full(batch, self.settings.initial_barrier)
        whole = np.zeros(batch, dtype=np.int64)
        empty = np.full((4, batch), np.inf)
        state = _State(
            cases, variables, variables.copy(), lower, upper, np.zeros((m + p, batch)), np.zeros_like(variables),
            np.zeros_like(variables), barrier, empty, empty.copy(), np.zeros(batch), np.zeros(batch),
            np.full(batch, np.inf), whole, whole.copy(), whole.copy(),
        )  # fmt: skip
        return self._with_multipliers(state, finite)

    def _with_multipliers(self, state: _State, finite: Mask) -> _State:
        derivatives = self.problem.derivatives(state.variables, state.case, state.multipliers)
        finite = finite & derivatives_finite(derivatives)
        self._end(state, ~finite, Status.NOT_FINITE)
        which = np.flatnonzero(finite)
        state, derivatives = state.take(which), _taken(derivatives, which)
        distances = _distances(state, state.variables)
        limit = _LARGEST_MULTIPLIER
        state.lower_multipliers = distances.has_lower * np.minimum(state.barrier / distances.below, limit)
        state.upper_multipliers = distances.has_upper * np.minimum(state.barrier / distances.above, limit)
        gradient = derivatives.gradient - state.lower_multipliers + state.upper_multipliers
        multipliers = split_by_constraints(derivatives.jacobian).multipliers(gradient)
        trusted = np.abs(multipliers).max(axis=0, initial=0.0) <= limit
        state.multipliers = np.where(trusted, multipliers, 0.0)
        theta = total(np.abs(derivatives.values.constraints))
        state.theta_largest = _LARGEST_THETA * np.maximum(1.0, theta)
        state.theta_small = 1e-4 * np.maximum(1.0, theta)
        return state

    def _iterate(self, state: _State) -> _State:
        """One iteration of every case of the block; returns those that go on."""
        state, derivatives = self._evaluate(state)
        state, derivatives = self._drop_ended(state, derivatives)
        if not len(state.case):
            return state
        self._lower_barrier(state, derivatives)
        step = _newton_step(state, derivatives, self.settings)
        search = _LineSearch(self.problem, state, derivatives, step)
        search.run()
        state = _updated(state, step, search)
        state.iterations = state.iterations + 1
        lost = ~search.accepted | (state.waiting > _PATIENCE)
        if lost.any():
            self.lost.append(state.take(np.flatnonzero(lost)))
        return state.take(np.flatnonzero(~lost))

    def _evaluate(self, state: _State) -> tuple[_State, Derivatives]:
        """Derivatives at the latest variables; where they are not finite, go back half the step until they are."""
        derivatives = self.problem.derivatives(state.variables, state.case, state.multipliers)
        wrong = np.flatnonzero(~derivatives_finite(derivatives))
        for _ in range(20):
            if not len(wrong):
                break
            state.variables[:, wrong] = 0.5 * (state.variables[:, wrong] + state.previous[:, wrong])
            part = state.take(wrong)
            again = self.problem.derivatives(part.variables, part.case, part.multipliers)
            _overwrite(derivatives, again, wrong)
            wrong = wrong[~derivatives_finite(again)]
        finite = np.ones(len(state.case), dtype=bool)
        finite[wrong] = False
        self._end(state, ~finite, Status.NOT_FINITE)
        if not len(wrong):
            return state, derivatives
        which = np.flatnonzero(finite)
        return state.take(which), _taken(derivatives, which)

    def _drop_ended(self, state: _State, derivatives: Derivatives) -> tuple[_State, Derivatives]:
        errors = _errors(state, derivatives, state.barrier)
        self.optimality[state.case] = errors.optimality
        tolerance = self.settings.constraint_tolerance
        self._remember(state, derivatives.values, errors.residual <= tolerance)
        converged = (errors.residual <= tolerance) & (errors.optimality <= self.settings.optimality_tolerance)
        exhausted = ~converged & (state.iterations >= self.settings.step_limit)
        self._polish(state, derivatives, np.flatnonzero(converged & (errors.residual > _POLISH)))
        self._end(state, converged, Status.CONVERGED)
        self._end(state, exhausted, Status.STEP_LIMIT)
        progress = errors.residual < 0.9 * state.least_theta
        far = errors.residual > 1e2 * tolerance
        state.waiting = np.where(progress | ~far, 0, state.waiting + 1)
        state.least_theta = np.minimum(state.least_theta, errors.residual)
        which = np.flatnonzero(~(converged | exhausted))
        if len(which) == len(state.case):
            return state, derivatives
        return state.take(which), _taken(derivatives, which)

    def _remember(self, state: _State, values: Values, feasible: Mask) -> None:
        better = feasible & (values.objective < self.best_objective[state.case])
        cases = state.case[better]
        self.best_objective[cases] = values.objective[better]
        self.best_x[:, cases] = state.variables[: self.problem.shape[0], better]

    def _polish(self, state: _State, derivatives: Derivatives, which: Integers) -> None:
        """Lower what is left of the residuals of converged cases by up to two steps along the constraint gradients."""
        if not len(which):
            return
        part = state.take(which)
        distances = _distances(part, part.variables)
        scale = 1.0 / np.sqrt(
            1.0 + part.lower_multipliers / distances.below + part.upper_multipliers / distances.above
        )
        space = split_by_constraints(np.take(derivatives.jacobian, which, axis=-1) * scale)
        residual = np.take(derivatives.values.constraints, which, axis=-1)
        for _ in range(2):
            error = np.abs(residual).max(axis=0, initial=0.0)
            if not (error > _POLISH).any():
                break
            variables = _kept_inside(part, part.variables + space.normal_step(residual) * scale)
            trial = self.problem.values(variables, part.case)
            better = (np.abs(trial.constraints).max(axis=0, initial=0.0) < error) & all_finite(trial)
            better &= error > _POLISH
            part.variables = np.where(better, variables, part.variables)
            residual = np.where(better, trial.constraints, residual)
        state.variables[:, which] = part.variables

    def _lower_barrier(self, state: _State, derivatives: Derivatives) -> None:
        """Lower the barrier, and forget the filter, where the barrier problem is solved well enough."""
        least = 0.1 * self.settings.optimality_tolerance
        for _ in range(4):
            errors = _errors(state, derivatives, state.barrier)
            ready = (errors.barrier_problem <= _BARRIER_ACCURACY * state.barrier) & (state.barrier > least)
            if not ready.any():
                return
            lowered = np.minimum(_BARRIER_FACTOR * state.barrier, state.barrier**_BARRIER_EXPONENT)
            state.barrier = np.where(ready, np.maximum(lowered, least), state.barrier)
            state.filter_theta[:, ready] = np.inf
            state.filter_phi[:, ready] = np.inf

    def _restore(self) -> _State:
        """Look for feasible states of a block of the cases that lost their way; returns those that go on from one."""
        lost = _join(self.lost)
        order = np.argsort(lost.case)
        size = self.settings.block_size
        self.lost = [lost.take(order[size:])] if len(order) > size else []
        lost = lost.take(order[:size])
        over = (lost.rounds >= _ROUNDS) | (lost.iterations >= self.settings.step_limit)
        self._end(lost, over, Status.STEP_LIMIT)
        lost = lost.take(np.flatnonzero(~over))
        if not len(lost.case):
            return lost
        n = self.problem.shape[0]
        bounds = (np.take(self.lower, lost.case, axis=-1), np.take(self.upper, lost.case, axis=-1))
        restored = restore(
            self.problem.problem, self._restoration_starts(lost, bounds), bounds, lost.case,
            self.settings.step_limit - lost.iterations, self.settings,
        )  # fmt: skip
        lost.variables[:n] = restored.x
        lost.iterations = lost.iterations + restored.iterations
        self._end(lost, restored.verdict == INFEASIBLE, Status.NO_EQUILIBRIUM)
        self._end(lost, restored.verdict == UNDEFINED, Status.NOT_FINITE)
        feasible = restored.verdict == FEASIBLE
        self._end(lost, ~feasible & (restored.verdict < INFEASIBLE), Status.STEP_LIMIT)
        return self._begin_again(lost.take(np.flatnonzero(feasible)))

    def _restoration_starts(self, lost: _State, bounds: tuple[Array, Array]) -> Array:
        n = self.problem.shape[0]
        start = np.take(self.start, lost.case, axis=-1)
        centre = np.where(
            np.isfinite(bounds[0]) & np.isfinite(bounds[1]), 0.5 * (bounds[0] + bounds[1]), start
        )
        known = np.isfinite(self.best_objective[lost.case])
        second = np.where(known, np.take(self.best_x, lost.case, axis=-1), start)
        starts = np.stack([lost.variables[:n], second, centre, 0.5 * (start + centre)])
        return starts[: self.settings.restoration_starts]

    def _begin_again(self, lost: _State) -> _State:
        n = self.problem.shape[0]
        barrier = np.clip(lost.barrier, 1e-4, self.settings.initial_barrier)
        state = self._begin(lost.case, lost.variables[:n], barrier)
        known = np.searchsorted(lost.case, state.case)
        state.iterations, state.rounds = lost.iterations[known], lost.rounds[known] + 1
        state.theta_largest = state.theta_largest * _LEASH * _TIGHTER ** (state.rounds - 1)
        return state

    def _end(self, state: _State, which: Mask, status: Status) -> None:
        """Record the cases `which` as ended."""
        if not which.any():
            return
        n = self.problem.shape[0]
        cases = state.case[which]
        self.x[:, cases] = state.variables[:n, which]
        self.multipliers[:, cases] = state.multipliers[:, which]
        self.lower_multipliers[:, cases] = state.lower_multipliers[:n, which]
        self.upper_multipliers[:, cases] = state.upper_multipliers[:n, which]
        self.iterations[cases] = state.iterations[which]
        self.status[cases] = status
        if status == Status.STEP_LIMIT:
            known = cases[np.isfinite(self.best_objective[cases])]
            self.x[:, known] = self.best_x[:, known]
        if self.on_progress is not None:
            self.on_progress(int((self.status >= 0).sum()), len(self.status))

    def _solution(self) -> Solution:
        n, m, p = self.problem.shape
        batch = len(self.status)
        violation = np.zeros((m + p, batch))
        for first in range(0, batch, self.settings.block_size):
            cases = np.arange(first, min(first + self.settings.block_size, batch))
            x = np.concatenate([np.take(self.x, cases, axis=-1), np.zeros((p, len(cases)))])
            values = self.problem.values(x, cases)
            self.objective[cases] = values.objective
            violation[:, cases] = values.constraints
        violation[:m], violation[m:] = np.abs(violation[:m]), np.maximum(-violation[m:], 0.0)
        worst = (
            np.full(batch, -1)
            if m + p == 0
            else np.where(np.isnan(violation), np.inf, violation).argmax(axis=0)
        )
        below, above = self.x - self.lower, self.upper - self.x
        return Solution(
            self.x, self.multipliers, self.lower_multipliers, self.upper_multipliers, self.objective, self.status,
            self.iterations, violation.max(axis=0, initial=0.0), self.optimality, worst,
            self.lower_multipliers > below, self.upper_multipliers > above,
        )  # fmt: skip


def _taken(derivatives: Derivatives, which: Integers) -> Derivatives:
    def take(array: Array) -> Array:
        return np.take(array, which, axis=-1)

    values = Values(take(derivatives.values.objective), take(derivatives.values.constraints))
    return Derivatives(
        values, take(derivatives.gradient), take(derivatives.jacobian), take(derivatives.hessian)
    )


def _overwrite(derivatives: Derivatives, again: Derivatives, which: Integers) -> None:
    derivatives.values.objective[which] = again.values.objective
    derivatives.values.constraints[:, which] = again.values.constraints
    derivatives.gradient[:, which] = again.gradient
    derivatives.jacobian[..., which] = again.jacobian
    derivatives.hessian[..., which] = again.hessian


def _updated(state: _State, step: _Step, search: _LineSearch) -> _State:
    """State after the accepted steps, with the filter augmented where the objective did not drive the step."""
    share = np.where(search.accepted, search.share, 0.0)
    bound_share = np.where(search.accepted, step.longest_bound, 0.0)
    state.previous, state.variables = state.variables, search.variables
    state.multipliers = state.multipliers + share * step.multipliers
    distances = _distances(state, state.variables)
    state.lower_multipliers = _centred(
        state.lower_multipliers + bound_share * step.lower_multipliers,
        distances.below,
        distances.has_lower,
        state.barrier,
    )
    state.upper_multipliers = _centred(
        state.upper_multipliers + bound_share * step.upper_multipliers,
        distances.above,
        distances.has_upper,
        state.barrier,
    )
    _augment_filter(state, search)
    return state


def _centred(multipliers: Array, distance: Array, bounded: Mask, barrier: Array) -> Array:
    target = barrier / distance
    return bounded * np.clip(multipliers, target / _CENTRING_LIMIT, target * _CENTRING_LIMIT)


def _augment_filter(state: _State, search: _LineSearch) -> None:
    which = np.flatnonzero(search.accepted & search.augments)
    if not len(which):
        return
    theta = (1.0 - _FILTER_THETA) * search.objective_theta[which]
    phi = search.potential[which] - _FILTER_PHI * search.objective_theta[which]
    dominated = (state.filter_theta[:, which] >= theta) & (state.filter_phi[:, which] >= phi)
    if not dominated.any(axis=0).all():
        more = np.full((4, len(state.case)), np.inf)
        state.filter_theta = np.concatenate([state.filter_theta, more])
        state.filter_phi = np.concatenate([state.filter_phi, more])
        dominated = np.concatenate([dominated, np.ones((4, len(which)), dtype=bool)])
    state.filter_theta[:, which] = np.where(dominated, np.inf, state.filter_theta[:, which])
    state.filter_phi[:, which] = np.where(dominated, np.inf, state.filter_phi[:, which])
    slot = dominated.argmax(axis=0)
    state.filter_theta[slot, which], state.filter_phi[slot, which] = theta, phi


def minimise(
    problem: Problem, start: Array, *, settings: Settings | None = None, on_progress: Progress | None = None
) -> Solution:
    """Minimise the objective of every case of a batch subject to its constraints and bounds.

    start: (n, B) finite states; those outside their bounds, or too close to them, are moved inside.
    settings: tolerances and limits; None means `Settings()`.
    on_progress: called with the numbers of ended and of all cases whenever cases end.

    Returns one answer a case with its status: CONVERGED, NO_EQUILIBRIUM (the constraints cannot be met in the
    neighbourhood of any state tried), STEP_LIMIT (with the best feasible state if there was one) or NOT_FINITE (the
    model has no finite value at the start). The answer to a case does not depend on the other cases. Solutions are
    local. Multipliers belong to the Lagrangian objective + multipliers . constraints.

    Raises ValueError for shapes that do not fit, starts that are not finite and bounds that leave no room.
    Source: Waechter & Biegler (2006), doi:10.1007/s10107-004-0559-y.
    """
    with np.errstate(all="ignore"):
        return _Solver(problem, start, Settings() if settings is None else settings, on_progress).run()
