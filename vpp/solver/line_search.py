"""Filter line search: a step is accepted when it lowers the residuals or the barrier function enough.

After Waechter & Biegler (2006), sections 2.3 to 2.4: pairs (residuals, barrier function) once left behind are
kept in a filter that no later state may be dominated by; one second-order correction.
"""

from __future__ import annotations

import numpy as np

from vpp.solver.barrier import State, Step, distances_of, fraction_to_boundary, kept_inside
from vpp.solver.evaluation import Slacked, all_finite
from vpp.solver.linear_algebra import total
from vpp.solver.problem import Array, Derivatives, Integers, Mask, Values

_FILTER_THETA, _FILTER_PHI = 1e-5, 1e-8
_ARMIJO = 1e-4
_SWITCH_PHI, _SWITCH_THETA = 2.3, 1.1
_SHORTEST_STEP = 1e-9
_AT_ONCE, _FEW = 8, 8  # ever shorter steps tried in one evaluation, of few cases once the first was too long
_ROUNDING = 10.0 * float(np.finfo(np.float64).eps)
_CENTRING_LIMIT = 1e10  # bound multipliers stay within this factor of barrier over distance


class LineSearch:
    """Backtracking along the steps of a block until filter and sufficient decrease accept."""

    def __init__(self, problem: Slacked, state: State, derivatives: Derivatives, step: Step) -> None:
        self.problem, self.state, self.step = problem, state, step
        self.objective_theta = total(np.abs(derivatives.values.constraints))
        self.potential = distances_of(state, state.variables).potential(
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
        tries = 0
        while len(pending):
            one = tries == 0 or (tries == 1 and len(pending) > _FEW)
            count = 1 if one else _AT_ONCE
            values = self._try_shares(pending, count)
            pending = pending[~self.accepted[pending]]
            if tries == 0 and len(pending):
                self._correct(pending, values)
                pending = pending[~self.accepted[pending]]
            self.share[pending] *= 0.5**count
            pending = pending[self.share[pending] > _SHORTEST_STEP]
            tries += 1

    def _try_shares(self, pending: Integers, count: int) -> tuple[Integers, Values]:
        """Try steps of the present share, half of it and so on, `count` a case; the longest good counts."""
        which = np.repeat(pending, count)
        share = self.share[which] * np.tile(0.5 ** np.arange(count), len(pending))
        return self._try(which, np.take(self.step.variables, which, axis=-1) * share, share)

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
        moved *= fraction_to_boundary(distances_of(part, part.variables), moved, keep)
        self._try(which, moved, self.share[which])

    def _try(self, which: Integers, moved: Array, share: Array) -> tuple[Integers, Values]:
        """Accept the cases `which`, moved by `moved`, if filter and sufficient decrease allow. Of a case that
        occurs several times the first that they allow is accepted.
        """
        part = self.state.take(which)
        variables = kept_inside(part, part.variables + moved)
        values = self.problem.values(variables, part.case)
        theta = total(np.abs(values.constraints))
        potential = distances_of(part, variables).potential(values.objective, part.barrier)
        good, augments = self._judge(which, share, part, theta, potential)
        tiny = (np.abs(moved) <= _ROUNDING * (1.0 + np.abs(part.variables))).all(axis=0)
        good |= tiny
        good &= all_finite(values) & (share > _SHORTEST_STEP)
        accepted, first = np.unique(which[good], return_index=True)
        place = np.flatnonzero(good)[first]
        self.variables[:, accepted] = np.take(variables, place, axis=-1)
        self.accepted[accepted], self.share[accepted] = True, share[place]
        self.augments[accepted] = (augments & ~tiny)[place]
        return which, values

    def _judge(
        self, which: Integers, share: Array, part: State, theta: Array, potential: Array
    ) -> tuple[Mask, Mask]:
        old_theta, old = self.objective_theta[which], self.potential[which]
        slope = self.step.slope[which]
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


def updated(state: State, step: Step, search: LineSearch) -> State:
    """State after the accepted steps, the filter augmented where the objective did not drive the step."""
    share = np.where(search.accepted, search.share, 0.0)
    bound_share = np.where(search.accepted, step.longest_bound, 0.0)
    state.previous, state.variables = state.variables, search.variables
    state.multipliers = state.multipliers + share * step.multipliers
    distances = distances_of(state, state.variables)
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
    return np.where(bounded, np.clip(multipliers, target / _CENTRING_LIMIT, target * _CENTRING_LIMIT), 0.0)


def _augment_filter(state: State, search: LineSearch) -> None:
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
