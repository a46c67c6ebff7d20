"""Batched primal-dual interior-point method with a filter line search, in plain NumPy.

After Waechter & Biegler (2006, Mathematical Programming 106, 25-57): logarithmic barrier on the bounds,
fraction to the boundary, monotone barrier parameter, filter with a second-order correction. Different from
there: the step is found in the null space of the constraint gradients, where the Hessian is corrected by the
moduli of its eigenvalues; restoration is a damped Newton search on the squared residuals
(`vpp.solver.restoration`).

All cases of a batch advance together, each with its own barrier, filter and step length. Cases leave when
they end and waiting ones take their places.
"""

from __future__ import annotations

import numpy as np

from vpp.solver import stopping
from vpp.solver.barrier import (
    Errors,
    State,
    distances_of,
    errors_of,
    join,
    kept_inside,
    newton_step,
    pushed_inside,
    with_completed_multipliers,
)
from vpp.solver.evaluation import Slacked, all_finite, derivatives_finite, overwrite, taken
from vpp.solver.line_search import LineSearch, updated
from vpp.solver.linear_algebra import split_by_constraints, total
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

_LEAST_SLACK = 1e-2  # of an inequality at a start
_LARGEST_MULTIPLIER = 1e3  # least-squares multipliers above this are not trusted
_BARRIER_FACTOR, _BARRIER_EXPONENT = 0.2, 1.5  # next barrier: the smaller of factor and power
_BARRIER_ACCURACY = 100.0  # the barrier is lowered once the errors are below this times it
_LOWERINGS = 2  # of the barrier in one iteration
_PATIENCE = 12  # iterations without progress towards feasibility before restoration
_LARGEST_THETA = 1e2  # largest sum of residuals that a step may lead to, relative to the start
_LEASH, _TIGHTER = 1e-2, 0.3  # the same after a first restoration, and by what it falls with each further one
_ROUNDS = 4  # restorations of one case
_POLISH = 1e-12  # residuals of converged cases above this are lowered further
_REFILL = 0.25  # share of a block that must be free before waiting cases join


class _Solver:
    """One call of `minimise`: the block at work, the cases that wait, and the results so far."""

    def __init__(
        self,
        problem: Problem,
        start: Array,
        settings: Settings,
        on_progress: Progress | None,
        restore_first: Mask | None,
        rivals: Integers | None,
    ) -> None:
        self.lower, self.upper, self.start = check_inputs(problem, start)
        self.start = pushed_inside(self.start, self.lower, self.upper)
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
        self.lost: list[State] = []
        self.restore_first, self.rivals = restore_first, rivals

    def run(self) -> Solution:
        """Work until every case has ended, or all are to end."""
        size, batch = self.settings.block_size, self.start.shape[1]
        state, waiting = self._begin(np.arange(0), self.start[:, :0]), 0
        while (len(state.case) or waiting < batch or self.lost) and not stopping.asked():
            room = size - len(state.case)
            if waiting < batch and room >= _REFILL * size:
                cases = np.arange(waiting, min(waiting + room, batch))
                state = join([state, self._begin(cases, np.take(self.start, cases, axis=-1))])
                waiting += len(cases)
                if self.restore_first is not None:
                    lost = self.restore_first[state.case] & (state.iterations == 0)
                    self.lost.append(state.take(np.flatnonzero(lost)))
                    state = state.take(np.flatnonzero(~lost))
            elif not len(state.case):
                state = self._restore()
            state = self._iterate(state) if len(state.case) else state
        for part in (state, *self.lost):
            self._end(part, np.ones(len(part.case), dtype=bool), Status.INTERRUPTED)
        self.status[self.status < 0] = Status.INTERRUPTED  # those that never began
        return self._solution()

    def _begin(self, cases: Integers, x: Array, barrier: Array | None = None) -> State:
        """Cases at their starts (n, b) with first multipliers. Cases without finite values end here."""
        _, m, p = self.problem.shape
        values = self.problem.values(np.concatenate([x, np.zeros((p, x.shape[1]))]), cases)
        finite = all_finite(values)
        slack = np.maximum(np.where(finite, values.constraints[m:], 1.0), _LEAST_SLACK)
        variables = np.concatenate([x, slack])
        batch = len(cases)
        zeros = np.zeros((p, batch))
        lower = np.concatenate([np.take(self.lower, cases, axis=-1), zeros])
        upper = np.concatenate([np.take(self.upper, cases, axis=-1), zeros + np.inf])
        if barrier is None:
            barrier = np.full(batch, self.settings.initial_barrier)
        whole = np.zeros(batch, dtype=np.int64)
        empty = np.full((4, batch), np.inf)
        state = State(
            cases, variables, variables.copy(), lower, upper, np.zeros((m + p, batch)),
            np.zeros_like(variables), np.zeros_like(variables), barrier, empty, empty.copy(), np.zeros(batch),
            np.zeros(batch), np.full(batch, np.inf), whole, whole.copy(), whole.copy(),
        )  # fmt: skip
        return self._with_multipliers(state, finite)

    def _with_multipliers(self, state: State, finite: Mask) -> State:
        derivatives = self.problem.derivatives(state.variables, state.case, state.multipliers)
        finite = finite & derivatives_finite(derivatives)
        self._end(state, ~finite, Status.NOT_FINITE)
        which = np.flatnonzero(finite)
        state, derivatives = state.take(which), taken(derivatives, which)
        distances = distances_of(state, state.variables)
        limit = _LARGEST_MULTIPLIER
        state.lower_multipliers = np.where(
            distances.has_lower, np.minimum(state.barrier / distances.below, limit), 0.0
        )
        state.upper_multipliers = np.where(
            distances.has_upper, np.minimum(state.barrier / distances.above, limit), 0.0
        )
        gradient = derivatives.gradient - state.lower_multipliers + state.upper_multipliers
        multipliers = split_by_constraints(derivatives.jacobian).multipliers(gradient)
        trusted = np.abs(multipliers).max(axis=0, initial=0.0) <= limit
        state.multipliers = np.where(trusted, multipliers, 0.0)
        theta = total(np.abs(derivatives.values.constraints))
        state.theta_largest = _LARGEST_THETA * np.maximum(1.0, theta)
        state.theta_small = 1e-4 * np.maximum(1.0, theta)
        return state

    def _iterate(self, state: State) -> State:
        """One iteration of every case of the block; returns those that go on."""
        state, derivatives = self._evaluate(state)
        state, derivatives = self._drop_ended(state, derivatives)
        if not len(state.case):
            return state
        self._lower_barrier(state, derivatives)
        step = newton_step(state, derivatives, self.settings)
        search = LineSearch(self.problem, state, derivatives, step)
        search.run()
        state = updated(state, step, search)
        state.iterations = state.iterations + 1
        lost = ~search.accepted | (state.waiting > _PATIENCE)
        if lost.any():
            self.lost.append(state.take(np.flatnonzero(lost)))
        return state.take(np.flatnonzero(~lost))

    def _evaluate(self, state: State) -> tuple[State, Derivatives]:
        """Derivatives at the latest variables; where not finite, go back half the step until they are."""
        derivatives = self.problem.derivatives(state.variables, state.case, state.multipliers)
        wrong = np.flatnonzero(~derivatives_finite(derivatives))
        for _ in range(20):
            if not len(wrong):
                break
            state.variables[:, wrong] = 0.5 * (state.variables[:, wrong] + state.previous[:, wrong])
            part = state.take(wrong)
            again = self.problem.derivatives(part.variables, part.case, part.multipliers)
            overwrite(derivatives, again, wrong)
            wrong = wrong[~derivatives_finite(again)]
        finite = np.ones(len(state.case), dtype=bool)
        finite[wrong] = False
        self._end(state, ~finite, Status.NOT_FINITE)
        if not len(wrong):
            return state, derivatives
        which = np.flatnonzero(finite)
        return state.take(which), taken(derivatives, which)

    def _drop_ended(self, state: State, derivatives: Derivatives) -> tuple[State, Derivatives]:
        tolerance = self.settings.constraint_tolerance
        errors = self._completed_errors(state, derivatives)
        self.optimality[state.case] = errors.optimality
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
        return state.take(which), taken(derivatives, which)

    def _completed_errors(self, state: State, derivatives: Derivatives) -> Errors:
        """Errors, for feasible states with completed bound multipliers where those end the search."""
        errors = errors_of(state, derivatives, state.barrier)
        which = np.flatnonzero(
            (errors.residual <= self.settings.constraint_tolerance)
            & (errors.optimality > self.settings.optimality_tolerance)
        )
        if not len(which):
            return errors
        part = with_completed_multipliers(state.take(which), taken(derivatives, which))
        completed = errors_of(part, taken(derivatives, which), part.barrier)
        good = completed.optimality <= self.settings.optimality_tolerance
        errors.optimality[which[good]] = completed.optimality[good]
        state.lower_multipliers[:, which[good]] = part.lower_multipliers[:, good]
        state.upper_multipliers[:, which[good]] = part.upper_multipliers[:, good]
        return errors

    def _remember(self, state: State, values: Values, feasible: Mask) -> None:
        better = feasible & (values.objective < self.best_objective[state.case])
        cases = state.case[better]
        self.best_objective[cases] = values.objective[better]
        self.best_x[:, cases] = state.variables[: self.problem.shape[0], better]

    def _polish(self, state: State, derivatives: Derivatives, which: Integers) -> None:
        """Lower what is left of the residuals by up to two steps along the constraint gradients."""
        if not len(which):
            return
        part = state.take(which)
        distances = distances_of(part, part.variables)
        scale = 1.0 / np.sqrt(
            1.0 + part.lower_multipliers / distances.below + part.upper_multipliers / distances.above
        )
        space = split_by_constraints(np.take(derivatives.jacobian, which, axis=-1) * scale)
        residual = np.take(derivatives.values.constraints, which, axis=-1)
        for _ in range(2):
            error = np.abs(residual).max(axis=0, initial=0.0)
            if not (error > _POLISH).any():
                break
            variables = kept_inside(part, part.variables + space.normal_step(residual) * scale)
            trial = self.problem.values(variables, part.case)
            better = (np.abs(trial.constraints).max(axis=0, initial=0.0) < error) & all_finite(trial)
            better &= error > _POLISH
            part.variables = np.where(better, variables, part.variables)
            residual = np.where(better, trial.constraints, residual)
        state.variables[:, which] = part.variables

    def _lower_barrier(self, state: State, derivatives: Derivatives) -> None:
        """Lower the barrier, and forget the filter, where the barrier problem is solved well enough."""
        least = self.settings.least_barrier
        for _ in range(_LOWERINGS):
            errors = errors_of(state, derivatives, state.barrier)
            ready = (errors.barrier_problem <= _BARRIER_ACCURACY * state.barrier) & (state.barrier > least)
            if not ready.any():
                return
            lowered = np.minimum(_BARRIER_FACTOR * state.barrier, state.barrier**_BARRIER_EXPONENT)
            state.barrier = np.where(ready, np.maximum(lowered, least), state.barrier)
            state.filter_theta[:, ready] = np.inf
            state.filter_phi[:, ready] = np.inf

    def _restore(self) -> State:
        """Look for feasible states of a block of lost cases; returns those that go on from one."""
        lost = join(self.lost)
        order = np.argsort(lost.case)
        size = self.settings.block_size
        self.lost = [lost.take(order[size:])] if len(order) > size else []
        lost = lost.take(order[:size])
        over = (lost.rounds >= _ROUNDS) | (lost.iterations >= self.settings.step_limit)
        if self.rivals is not None:
            won = self.rivals[self.status == Status.CONVERGED]
            over |= np.isin(self.rivals[lost.case], won)
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
        hopeless = (restored.verdict == INFEASIBLE) & np.isinf(self.best_objective[lost.case])
        self._end(lost, hopeless, Status.NO_EQUILIBRIUM)
        self._end(lost, restored.verdict == UNDEFINED, Status.NOT_FINITE)
        feasible = restored.verdict == FEASIBLE
        undecided = ~hopeless & ~feasible & (restored.verdict != UNDEFINED)
        self._end(lost, undecided, Status.INTERRUPTED if stopping.asked() else Status.STEP_LIMIT)
        return self._begin_again(lost.take(np.flatnonzero(feasible)))

    def _restoration_starts(self, lost: State, bounds: tuple[Array, Array]) -> Array:
        n = self.problem.shape[0]
        start = np.take(self.start, lost.case, axis=-1)
        centre = np.where(
            np.isfinite(bounds[0]) & np.isfinite(bounds[1]), 0.5 * (bounds[0] + bounds[1]), start
        )
        known = np.isfinite(self.best_objective[lost.case])
        second = np.where(known, np.take(self.best_x, lost.case, axis=-1), start)
        starts = np.stack([lost.variables[:n], second, centre, 0.5 * (start + centre)])
        return starts[: self.settings.restoration_starts]

    def _begin_again(self, lost: State) -> State:
        n = self.problem.shape[0]
        barrier = np.clip(lost.barrier, 1e-4, self.settings.initial_barrier)
        state = self._begin(lost.case, lost.variables[:n], barrier)
        known = np.searchsorted(lost.case, state.case)
        state.iterations, state.rounds = lost.iterations[known], lost.rounds[known] + 1
        state.theta_largest = state.theta_largest * _LEASH * _TIGHTER ** (state.rounds - 1)
        return state

    def _end(self, state: State, which: Mask, status: Status) -> None:
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
        if status in (Status.STEP_LIMIT, Status.INTERRUPTED):
            known = cases[np.isfinite(self.best_objective[cases])]
            self.x[:, known] = self.best_x[:, known]
        if self.on_progress is not None and status != Status.INTERRUPTED:
            self.on_progress(int((self.status >= 0).sum()), len(self.status))

    def _solution(self) -> Solution:
        _, m, p = self.problem.shape
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
            self.x, self.multipliers, self.lower_multipliers, self.upper_multipliers, self.objective,
            self.status, self.iterations, violation.max(axis=0, initial=0.0), self.optimality, worst,
            self.lower_multipliers > below, self.upper_multipliers > above,
        )  # fmt: skip


def minimise(
    problem: Problem,
    start: Array,
    *,
    settings: Settings | None = None,
    on_progress: Progress | None = None,
    restore_first: Mask | None = None,
    rivals: Integers | None = None,
) -> Solution:
    """Minimise the objective of every case of a batch subject to its constraints and bounds.

    start: (n, B) finite states; those outside their bounds, or too close to them, are moved inside.
    settings: tolerances and limits; None means `Settings()`.
    on_progress: called with the numbers of ended and of all cases whenever cases end.
    restore_first: (B,) cases that are looked for a feasible state before anything else, for starts near
    which none has been found.
    rivals: (B,) cases with the same number are starts of one: where one of them has converged, none of the
    others is looked for a feasible state any more (it ends at STEP_LIMIT).

    Returns one answer a case with its status: CONVERGED, NO_EQUILIBRIUM (the constraints cannot be met in the
    neighbourhood of any state tried), STEP_LIMIT (with the best feasible state if there was one),
    NOT_FINITE (the model has no finite value at the start) or INTERRUPTED (`stopping.asked` before the case
    ended; again with the best feasible state). The answer to a case does not depend on the other
    cases. Solutions are local. Multipliers belong to the Lagrangian objective + multipliers . constraints.

    Raises ValueError for shapes that do not fit, starts that are not finite and bounds that leave no room.
    Source: Waechter & Biegler (2006), doi:10.1007/s10107-004-0559-y.
    """
    with np.errstate(all="ignore"):
        known = Settings() if settings is None else settings
        return _Solver(problem, start, known, on_progress, restore_first, rivals).run()
