"""Search for a feasible state: projected, damped Newton steps on the sum of squared residuals.

The set of variables held at their bounds follows Bertsekas (1982, SIAM J. Control Optim. 20, 221-246); the
damping, a proximal term about the latest state, follows Marquardt (1963, J. SIAM 11, 431-441). Second
derivatives of the residuals are used, since a state that cannot be made feasible has residuals that do not
vanish.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vpp.solver import stopping
from vpp.solver.evaluation import all_finite, derivatives_finite, plain_derivatives, plain_values
from vpp.solver.linear_algebra import (
    SymmetricFactors,
    eigenpairs,
    factorise,
    factorise_corrected,
    total,
    transposed_product,
)
from vpp.solver.problem import Array, Derivatives, Integers, Mask, Problem, Settings

FEASIBLE, INFEASIBLE, UNDECIDED, UNDEFINED = range(4)

BOUND_MARGIN = 1e-2  # first wanted distance to the bounds, or a twentieth of their distance from each other
SLACK_MARGIN = 1e-3  # first wanted distance to the inequalities
_TINY_MARGIN = 1e-12
_CLEARLY_ABOVE = 1e3  # times the tolerance: residuals between are neither feasible nor infeasible
_STATIONARY = 1e-7  # projected gradient over residual
_NEARLY_STATIONARY = 1e-4  # accepted where rounding allows no more progress
_HOPELESS = 1e-3  # enough to say that another start leads nowhere either
_LEANING = 0.1  # enough to say that the margins are in the way
_LEAST_CURVATURE = 1e-8
_NO_MINIMUM = -1e-6  # curvature of the merit below which a state is left along it, by the first that helps of
_ESCAPES = (0.3, -0.3, 0.03, -0.03, 0.003, -0.003)
_DAMPINGS = 13  # tried in one iteration: one, and then so many in one evaluation, or all of few cases
_AT_ONCE, _FEW = 4, 8
# A search whose merit does not fall to this share in so many steps leads nowhere: of 164 recorded searches on
# the demo boats that ended at a feasible state none was as slow.
_SLOW, _WINDOW = 0.8, 8


@dataclass(frozen=True)
class Restored:
    """What was found for each case: a verdict, the state (n, b), and the iterations it took."""

    verdict: Integers
    x: Array
    iterations: Integers


@dataclass
class _Search:
    """Cases being searched; `margin` is 1 while a distance to bounds and inequalities is wanted, then 0."""

    where: Integers
    case: Integers
    x: Array
    lower: Array
    upper: Array
    residual: Array
    starts: Array
    attempt: Integers
    margin: Array
    damping: Array
    mark: Array
    since: Integers
    spent: Integers

    def take(self, which: Integers) -> _Search:
        """Keep the cases `which`."""
        return _Search(**{name: np.take(part, which, axis=-1) for name, part in vars(self).items()})


def restore(
    problem: Problem,
    starts: Array,
    bounds: tuple[Array, Array],
    cases: Integers,
    allowed: Integers,
    settings: Settings,
) -> Restored:
    """Look for feasible states of the cases (b,) from `starts` (attempts, n, b), one after the other.

    `allowed` (b,) limits the iterations. The first start is the state at which the search for an optimum gave
    up. A case is INFEASIBLE only when every start led to a state at which the residuals are clearly not zero
    and cannot be lowered; UNDEFINED when the model was finite at no start.
    """
    return _Restoration(problem, settings, starts, bounds, cases).run(allowed)


class _Restoration:
    def __init__(
        self,
        problem: Problem,
        settings: Settings,
        starts: Array,
        bounds: tuple[Array, Array],
        cases: Integers,
    ) -> None:
        batch = len(cases)
        self.problem, self.settings, self.starts = problem, settings, starts
        self.verdict = np.full(batch, UNDEFINED)
        self.best = starts[0].copy()
        self.least = np.full(batch, np.inf)
        self.iterations = np.zeros(batch, dtype=np.int64)
        zeros = np.zeros(batch, dtype=np.int64)
        count = problem.equality_count + problem.inequality_count
        self.search = _Search(
            np.arange(batch), cases, starts[0].copy(), *bounds, np.zeros((count, batch)), starts, zeros,
            np.ones(batch), np.full(batch, 1e-3), np.full(batch, np.inf), zeros.copy(), zeros.copy(),
        )  # fmt: skip

    def run(self, allowed: Integers) -> Restored:
        self._begin(np.arange(len(self.search.case)))
        while len(self.search.case):
            if stopping.asked():
                self.verdict[self.search.where] = UNDECIDED
                break
            search = self.search
            search.spent += 1
            self.iterations[search.where] += 1
            derivatives = plain_derivatives(self.problem, search.x, search.case, search.residual, 0.0)
            finite = derivatives_finite(derivatives)
            gradient, held, stationary = self._stationarity(derivatives, finite)
            stuck = self._advance(derivatives, gradient, held, finite & ~self._feasible())
            self._judge(derivatives, held, finite, stationary, stuck, allowed)
        return Restored(self.verdict, self.best, self.iterations)

    def _begin(self, which: Integers) -> None:
        """Start the attempt that is due for the cases `which`."""
        search = self.search
        search.x[:, which] = search.starts[search.attempt[which], :, which].T
        search.margin[which] = 1.0
        search.damping[which] = 1e-3
        self._mark(which)
        self._shrink(which)

    def _mark(self, which: Integers) -> None:
        """Begin to count progress anew."""
        self.search.mark[which], self.search.since[which] = np.inf, 0

    def _progress(self) -> Mask:
        """Say where the merit has fallen too little for long; such a search leads to no feasible state."""
        search = self.search
        merit = 0.5 * total(search.residual**2)
        fallen = merit < _SLOW * search.mark
        search.mark = np.where(fallen, merit, search.mark)
        search.since = np.where(fallen, 0, search.since + 1)
        slow: Mask = search.since >= _WINDOW
        return slow

    def _shrink(self, which: Integers) -> None:
        """Move states inside the bounds with the margins that now hold, and evaluate there."""
        search = self.search
        part = search.take(which)
        x = np.clip(part.x, *_shrunk(part))
        residual, _ = self._residual(x, part)
        search.x[:, which], search.residual[:, which] = x, residual

    def _residual(self, x: Array, part: _Search) -> tuple[Array, Array]:
        """Residuals (m + p, b), zero for an inequality that holds, and half their squared sum (b,)."""
        values = plain_values(self.problem, x, part.case)
        m = self.problem.equality_count
        residual = values.constraints.copy()
        residual[m:] = np.minimum(residual[m:] - SLACK_MARGIN * part.margin, 0.0)
        merit = 0.5 * total(residual**2)
        return residual, np.where(all_finite(values), merit, np.inf)

    def _feasible(self) -> Mask:
        feasible: Mask = (
            np.abs(self.search.residual).max(axis=0, initial=0.0) <= self.settings.constraint_tolerance
        )
        return feasible

    def _stationarity(self, derivatives: Derivatives, finite: Mask) -> tuple[Array, Mask, Array]:
        """Gradient of the merit, which variables their bounds hold, and projected gradient over residual."""
        search = self.search
        gradient = transposed_product(derivatives.jacobian, search.residual)
        lower, upper = _shrunk(search)
        reach = np.abs(np.clip(search.x - gradient, lower, upper) - search.x).max(axis=0)
        near = np.minimum(1e-6, reach)
        held = ((search.x <= lower + near) & (gradient > 0.0)) | (
            (search.x >= upper - near) & (gradient < 0.0)
        )
        size = np.abs(search.residual).max(axis=0, initial=0.0)
        stationary = np.where(size > 0.0, reach / np.where(size > 0.0, size, 1.0), 0.0)
        return gradient, held, np.where(finite, stationary, np.inf)

    def _curvature(self, derivatives: Derivatives, held: Mask) -> tuple[Array, Array]:
        """Hessian of the merit and its Gauss-Newton part; variables that their bounds hold are decoupled."""
        search = self.search
        jacobian = np.where(search.residual[:, None] != 0.0, derivatives.jacobian, 0.0)
        m = self.problem.equality_count
        jacobian[:m] = derivatives.jacobian[:m]
        squares = total(jacobian[:, :, None] * jacobian[:, None])
        alone = held | held[:, None]
        unit = np.eye(len(held))[:, :, None] * held
        return np.where(alone, unit, derivatives.hessian + squares), np.where(alone, unit, squares)

    def _advance(self, derivatives: Derivatives, gradient: Array, held: Mask, wanted: Mask) -> Mask:
        """Take a damped Newton step that lowers the merit where `wanted`; say where none did."""
        search = self.search
        hessian, squares = self._curvature(derivatives, held)
        merit = 0.5 * total(search.residual**2)
        pending = np.flatnonzero(wanted)
        tries = 0
        while len(pending) and tries < _DAMPINGS:
            more = _AT_ONCE if len(pending) > _FEW else _DAMPINGS - tries
            count = 1 if tries == 0 else more
            which = np.repeat(pending, count)
            harder = 10.0 ** np.tile(np.arange(count), len(pending))
            part = search.take(which)
            damping = np.where(harder > 1.0, harder * np.maximum(part.damping, 1e-8), part.damping)
            slope = np.take(np.where(held, 0.0, gradient), which, axis=-1)
            taken = (np.take(hessian, which, axis=-1), np.take(squares, which, axis=-1))
            step = -_damped(*taken, damping).solve(slope)
            x = np.clip(part.x + step, *_shrunk(part))
            residual, trial = self._residual(x, part)
            better = trial < merit[which] + 1e-4 * np.minimum(total(slope * (x - part.x)), 0.0)
            accepted, first = np.unique(which[better], return_index=True)
            place = np.flatnonzero(better)[first]
            search.x[:, accepted] = np.take(x, place, axis=-1)
            search.residual[:, accepted] = np.take(residual, place, axis=-1)
            search.damping[accepted] = np.maximum(0.1 * damping[place], 1e-12)
            pending = np.setdiff1d(pending, accepted)
            search.damping[pending] = 10.0**count * np.maximum(search.damping[pending], 1e-8)
            tries += count
        stuck = np.zeros(len(search.case), dtype=bool)
        stuck[pending] = True
        return stuck

    def _judge(
        self,
        derivatives: Derivatives,
        held: Mask,
        finite: Mask,
        stationary: Array,
        stuck: Mask,
        allowed: Integers,
    ) -> None:
        """End, relax or restart the searches that have come to rest, and drop those that are settled."""
        search = self.search
        size = np.abs(search.residual).max(axis=0, initial=0.0)
        clear = size > _CLEARLY_ABOVE * self.settings.constraint_tolerance
        feasible = (size <= self.settings.constraint_tolerance) | (stuck & finite & ~clear)
        slow = self._progress() & clear
        known = self.verdict[search.where] == INFEASIBLE
        wanted = np.where(known, _HOPELESS, _STATIONARY)
        rests = (stationary < np.where(search.margin > 0.0, _LEANING, wanted)) | stuck | slow | ~finite
        rests &= ~feasible
        spent = self.iterations[search.where] >= np.take(allowed, search.where)
        relax = rests & finite & (search.margin > 0.0)
        escaped = self._escape(derivatives, held, rests & finite & clear & ~relax)
        ended = (rests & ~relax & ~escaped) | (spent & ~feasible)
        last = search.attempt + 1 >= len(search.starts)
        at_rest = (stationary < np.maximum(wanted, _NEARLY_STATIONARY)) | slow
        infeasible = ended & clear & at_rest & (last | ~spent)
        self._keep_best(feasible, ended, infeasible, size)
        self._relax(np.flatnonzero(relax & ~ended))
        again = ended & ~last & ~spent
        search.attempt[again] += 1
        self._begin(np.flatnonzero(again))
        self.search = search.take(np.flatnonzero(~feasible & (~ended | again)))

    def _keep_best(self, feasible: Mask, ended: Mask, infeasible: Mask, size: Array) -> None:
        search = self.search
        found = np.where(feasible, FEASIBLE, np.where(infeasible, INFEASIBLE, UNDECIDED))
        for i in np.flatnonzero(feasible | ended):
            where = search.where[i]
            if not np.isfinite(size[i]):
                continue
            known = self.verdict[where]
            undecided = known == UNDECIDED or found[i] == UNDECIDED
            self.verdict[where] = FEASIBLE if feasible[i] else (UNDECIDED if undecided else INFEASIBLE)
            if feasible[i] or size[i] < self.least[where]:
                self.least[where], self.best[:, where] = size[i], search.x[:, i]

    def _relax(self, which: Integers) -> None:
        """Ask for no more distance to the bounds and inequalities."""
        if len(which):
            self.search.margin[which] = 0.0
            self.search.damping[which] = 1e-6
            self._mark(which)
            self._shrink(which)

    def _escape(self, derivatives: Derivatives, held: Mask, resting: Mask) -> Mask:
        """Leave states at which the merit is stationary but no minimum, along the most negative curvature."""
        escaped = np.zeros(len(resting), dtype=bool)
        which = np.flatnonzero(resting)
        if not len(which):
            return escaped
        search = self.search
        part = search.take(which)
        values, vectors = eigenpairs(np.take(self._curvature(derivatives, held)[0], which, axis=-1))
        curved = np.flatnonzero(values[0] < _NO_MINIMUM)
        if not len(curved):
            return escaped
        # all steps of each case at once: an evaluation of a few cases takes as long as one of many
        each = np.repeat(curved, len(_ESCAPES))
        which, part = which[each], part.take(each)
        lengths = np.tile(_ESCAPES, len(curved))
        x = np.clip(part.x + lengths * vectors[:, 0, each], *_shrunk(part))
        residual, trial = self._residual(x, part)
        lower = np.flatnonzero(trial < 0.5 * total(part.residual**2) * (1.0 - 1e-8))
        out, first = np.unique(which[lower], return_index=True)
        place = lower[first]
        search.x[:, out], search.residual[:, out] = x[:, place], residual[:, place]
        search.damping[out] = 1e-3
        escaped[out] = True
        return escaped


def _damped(hessian: Array, squares: Array, damping: Array) -> SymmetricFactors:
    """Factors of the damped Hessian, or of its Gauss-Newton part where it is not positive definite."""
    extra = np.eye(len(hessian))[:, :, None] * damping
    definite = factorise(hessian + extra).definite
    return factorise_corrected(np.where(definite, hessian, squares) + extra, _LEAST_CURVATURE)


def _shrunk(search: _Search) -> tuple[Array, Array]:
    """Bounds moved inwards by the margins that now hold."""
    return _inward(search, search.lower, 1.0), _inward(search, search.upper, -1.0)


def _inward(search: _Search, bound: Array, sign: float) -> Array:
    width = search.upper - search.lower
    finite = np.where(np.isfinite(bound), bound, 0.0)
    wide = np.minimum(BOUND_MARGIN, 0.05 * width)
    narrow = np.minimum(_TINY_MARGIN * np.maximum(1.0, np.abs(finite)), 0.25 * width)
    return np.where(np.isfinite(bound), finite + sign * np.where(search.margin > 0.0, wide, narrow), bound)
