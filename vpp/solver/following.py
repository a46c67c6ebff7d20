"""Newton's method from a state near the answer, such as the answer to a neighbouring case.

Where `vpp.solver.interior_point` finds its way from afar, this takes over which bounds and inequalities hold
from the neighbour and solves the optimality conditions with them: sequential quadratic programming, see
Nocedal & Wright, "Numerical Optimization", 2nd ed. 2006, chapter 18. A step after which the residuals have
grown much is taken back and made shorter; beyond that there is no safeguard, and a case that does not get
there in a few steps is given back undecided.

Newton's method is so quick near the end that the last evaluation seldom does more than confirm the one before
it. Where many near cases are asked for and an independent check of the answers follows, that one can be
spared.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from vpp.solver import stopping
from vpp.solver.barrier import scaled_errors
from vpp.solver.evaluation import Slacked, derivatives_finite, overwrite, taken
from vpp.solver.linear_algebra import (
    EqualitySystem,
    product,
    split_by_constraints,
    total,
    transposed_product,
)
from vpp.solver.problem import Array, Derivatives, Integers, Mask, Problem, Settings, Solution
from vpp.solver.quadratic import Quadratic, solve_quadratic
from vpp.solver.status import Status

MOST_STEPS = 9
_LONGEST = 0.5  # first bound on the step of a variable, relative to its size or one
_GROWTH, _LARGE = 2.0, 0.1  # a step is taken back after which residuals are larger than both allow
_ATTAINED = 0.8  # share of the bound that the shortest step to feasibility may take
_SHORTER = 0.25  # what remains of the bound then
_SETTLED = 1e-11  # residual of a converged case
_WRONG_SIGN = 1e-9  # a bound's multiplier below minus this lets go
_FELT = 1e-7  # multiplier of an inequality above which it holds
_ASTRAY = 30.0  # a case whose errors grow past this is given back
_NEAR_ENOUGH = 1e-4  # errors with which a case that is only on the way goes on

Moved = Callable[[Array, Integers, Integers], Array]


@dataclass(frozen=True)
class Guess:
    """States to begin at: variables x (n, b), multipliers (m + p, b), and which bounds hold (n, b)."""

    x: Array
    multipliers: Array
    active_lower: Mask
    active_upper: Mask

    def take(self, which: Integers) -> Guess:
        """Keep the cases `which`."""
        return Guess(**{name: np.take(part, which, axis=-1) for name, part in vars(self).items()})


@dataclass
class _Track:
    """Cases at work, in order of their `place`: `held` is -1 where a variable or slack is at its lower bound,
    1 at its upper, else 0; `stage` says how far along its path a case is, `spent` its steps there; `length`
    is that of its last step, relative to the variables or one.
    """

    place: Integers
    case: Integers
    stage: Integers
    spent: Integers
    variables: Array
    multipliers: Array
    held: Integers
    lower: Array
    upper: Array
    reach: Array
    residual: Array
    length: Array

    def take(self, which: Integers) -> _Track:
        """Keep the cases `which`."""
        return _Track(**{name: np.take(part, which, axis=-1) for name, part in vars(self).items()})


def follow(
    problem: Problem,
    guess: Guess,
    *,
    settings: Settings,
    steps: int = MOST_STEPS,
    path: Integers | None = None,
    moved: Moved | None = None,
    unconfirmed: float = 0.0,
) -> Solution:
    """Answers of all cases of a problem near a guess; see the module's text.

    A case is CONVERGED by the same tolerances as in `minimise`, or STEP_LIMIT, which says nothing about it.
    The answer to a case does not depend on the other cases. With a `path` (stages, b) of cases of the problem
    each guess is followed to the first and from there to the next one, to the last, whose answer is given:
    `moved(x, of, to)` says where states at cases lead one to expect those at others.

    A case also counts as CONVERGED after a step from which one no longer than `unconfirmed`, relative to the
    variables or one, is to be expected, as long as steps go on to shrink as they did. Its variables, its
    multipliers and its objective (to third order in that step) are then those to which the step leads,
    evaluated no more: its errors are the length expected of the next step.
    """
    with np.errstate(all="ignore"):
        if path is None:
            path = np.arange(guess.x.shape[1])[None]
        return _Follower(problem, guess, settings, path, moved, unconfirmed).run(steps)


def _joined(parts: Sequence[_Track]) -> _Track:
    """Tracks as one, in order of their places."""
    together = {
        name: np.concatenate([vars(part)[name] for part in parts], axis=-1) for name in vars(parts[0])
    }
    return _Track(**together).take(np.argsort(together["place"]))


def _pushes(held: Integers, left: Array) -> tuple[Array, Array]:
    """Multipliers of lower and upper bounds, of those that hold: what is `left` of the gradient there."""
    return (
        np.where(held < 0, np.maximum(left, 0.0), 0.0),
        np.where(held > 0, np.maximum(-left, 0.0), 0.0),
    )


class _Follower:
    def __init__(
        self,
        problem: Problem,
        guess: Guess,
        settings: Settings,
        path: Integers,
        moved: Moved | None,
        unconfirmed: float,
    ) -> None:
        self.problem, self.settings, self.unconfirmed = Slacked(problem), settings, unconfirmed
        self.path, self.moved = path, moved
        n, _, _ = self.problem.shape
        self.lower, self.upper = problem.lower, problem.upper
        batch = guess.x.shape[1]
        self.solution = Solution(
            guess.x.copy(), guess.multipliers.copy(), np.zeros((n, batch)), np.zeros((n, batch)),
            np.full(batch, np.nan), np.full(batch, Status.STEP_LIMIT, dtype=np.int64),
            np.zeros(batch, dtype=np.int64), np.full(batch, np.inf), np.full(batch, np.inf),
            np.full(batch, -1, dtype=np.int64), np.zeros((n, batch), dtype=bool),
            np.zeros((n, batch), dtype=bool),
        )  # fmt: skip
        self.track = self._begin(guess, np.arange(batch), np.zeros(batch, dtype=np.int64))
        self.waiting: list[_Track] = []
        self.before: tuple[_Track, Derivatives]

    def _begin(self, guess: Guess, place: Integers, stage: Integers) -> _Track:
        """Tracks at guesses for the cases at stages of the paths of `place`."""
        _, m, p = self.problem.shape
        batch = len(place)
        case = self.path[stage, place]
        lower, upper = self.lower[:, case], self.upper[:, case]
        held = np.where(guess.active_lower, -1, np.where(guess.active_upper, 1, 0))
        x = np.clip(guess.x, lower, upper)
        x = np.where(held < 0, lower, np.where(held > 0, upper, x))
        # a bound that the state happens to lie on does not hold unless its multiplier says so
        slack_held = np.where(guess.multipliers[m:] < -_FELT, -1, 0)
        return _Track(
            place,
            case,
            stage,
            np.zeros(batch, dtype=np.int64),
            np.concatenate([x, np.zeros((p, batch))]),
            guess.multipliers.copy(),
            np.concatenate([held, slack_held]),
            np.concatenate([lower, np.zeros((p, batch))]),
            np.concatenate([upper, np.full((p, batch), np.inf)]),
            np.full(batch, _LONGEST),
            np.full(batch, np.inf),
            np.full(batch, np.inf),
        )

    def run(self, steps: int) -> Solution:
        """Work until every case has ended."""
        while (len(self.track.case) or self.waiting) and not stopping.asked():
            self.track = _joined([self.track, *self.waiting])
            self.waiting = []
            derivatives = self._evaluate()
            derivatives = self._drop_ended(derivatives, steps)
            if len(self.track.case):
                derivatives = self._without_lapses(derivatives)
                self.before = self.track.take(np.arange(len(self.track.case))), derivatives
                self._step(derivatives)
        return self.solution

    def _without_lapses(self, derivatives: Derivatives) -> Derivatives:
        """Take back the steps after which the residuals have grown much."""
        track = self.track
        residual = np.abs(derivatives.values.constraints).max(axis=0, initial=0.0)
        lapsed = np.flatnonzero((residual > _GROWTH * track.residual) & (residual > _LARGE))
        track.residual = residual
        if not len(lapsed):
            return derivatives
        old, old_derivatives = self.before
        there = np.searchsorted(old.place, track.place[lapsed])
        again = old.take(there)
        for name in ("variables", "multipliers", "held", "residual", "length"):
            getattr(track, name)[..., lapsed] = getattr(again, name)
        track.reach[lapsed] = _SHORTER * again.reach
        overwrite(derivatives, taken(old_derivatives, there), lapsed)
        return derivatives

    def _evaluate(self) -> Derivatives:
        """Derivatives of all cases; what has none is given back."""
        track = self.track
        n, m, _ = self.problem.shape
        derivatives = self.problem.derivatives(track.variables, track.case, track.multipliers)
        first = np.flatnonzero(track.spent == 0)
        if len(first):  # slacks that do not hold begin where the inequalities stand
            room = np.maximum(derivatives.values.constraints[m:, first], 0.0)
            track.variables[n:, first] = np.where(track.held[n:, first] < 0, 0.0, room)
            derivatives.values.constraints[m:, first] -= track.variables[n:, first]
        finite = np.flatnonzero(derivatives_finite(derivatives))
        if len(finite) == len(track.case):
            return derivatives
        self.track = track.take(finite)
        return taken(derivatives, finite)

    def _drop_ended(self, derivatives: Derivatives, steps: int) -> Derivatives:
        track = self.track
        left = derivatives.gradient + transposed_product(derivatives.jacobian, track.multipliers)
        z_lower, z_upper = _pushes(track.held, left)
        errors = scaled_errors(
            track.variables, track.lower, track.upper, track.multipliers, z_lower, z_upper, derivatives, 0.0
        )
        last = track.stage == len(self.path) - 1
        settled = np.where(last, _SETTLED, _NEAR_ENOUGH)
        optimal = np.where(last, self.settings.optimality_tolerance, _NEAR_ENOUGH)
        there = (errors.residual <= settled) & (errors.optimality <= optimal)
        ended = np.flatnonzero(there & last)
        if len(ended):
            self._record(
                track.take(ended), left[:, ended], derivatives.values.objective[ended],
                np.abs(derivatives.values.constraints[:, ended]), errors.optimality[ended],
            )  # fmt: skip
        self._go_on(track.take(np.flatnonzero(there & ~last)))
        astray = ~(np.maximum(errors.residual, errors.optimality) < _ASTRAY)
        going = np.flatnonzero(~there & ~astray & (track.spent < steps))
        if len(going) == len(track.case):
            return derivatives
        self.track = track.take(going)
        return taken(derivatives, going)

    def _go_on(self, track: _Track) -> None:
        """Let tracks that are only on the way begin at the next case of their paths."""
        if not len(track.case):
            return
        assert self.moved is not None
        n, _, _ = self.problem.shape
        stage = track.stage + 1
        guess = Guess(
            self.moved(track.variables[:n], track.case, self.path[stage, track.place]),
            track.multipliers,
            track.held[:n] < 0,
            track.held[:n] > 0,
        )
        self.waiting.append(self._begin(guess, track.place, stage))

    def _record(
        self, track: _Track, left: Array, objective: Array, residual: Array, optimality: Array
    ) -> None:
        """Keep the answers of tracks, all of which have ended; `left` is what bounds have to bear."""
        n, _, _ = self.problem.shape
        z_lower, z_upper = _pushes(track.held, left)
        cases, found = track.place, self.solution
        found.x[:, cases] = track.variables[:n]
        found.multipliers[:, cases] = track.multipliers
        found.lower_multipliers[:, cases] = z_lower[:n]
        found.upper_multipliers[:, cases] = z_upper[:n]
        found.objective[cases] = objective
        found.status[cases] = Status.CONVERGED
        found.iterations[cases] = track.spent
        found.constraint_error[cases] = residual.max(axis=0, initial=0.0)
        found.worst_constraint[cases] = residual.argmax(axis=0) if len(residual) else -1
        found.optimality_error[cases] = optimality
        found.active_lower[:, cases] = z_lower[:n] > 0.0
        found.active_upper[:, cases] = z_upper[:n] > 0.0

    def _step(self, derivatives: Derivatives) -> None:
        """A step of sequential quadratic programming: with the bounds that hold kept, where that is the
        answer to the quadratic problem, and else with all bounds.
        """
        track = self.track
        step, multipliers = self._with_held_kept(derivatives)
        moved = track.variables + step
        left = derivatives.gradient + product(derivatives.hessian, step)
        left = left + transposed_product(derivatives.jacobian, multipliers)
        inwards = np.where(track.held < 0, left, np.where(track.held > 0, -left, 0.0)) < -_WRONG_SIGN
        crossing = (moved < track.lower) | (moved > track.upper)
        size = np.maximum(1.0, np.abs(track.variables))
        reach = track.reach * size
        is_other = np.asarray((inwards | crossing | (np.abs(step) > reach)).any(axis=0))
        other = np.flatnonzero(is_other)
        if len(other):
            of = self._quadratic(taken(derivatives, other), track.take(other), reach[:, other])
            answer = solve_quadratic(of, self.settings.proximal)
            step[:, other], multipliers[:, other] = answer.step, answer.multipliers
            part = track.take(other)
            at_lower = (answer.lower > answer.step - of.low) & (of.low == part.lower - part.variables)
            at_upper = (answer.upper > of.high - answer.step) & (of.high == part.upper - part.variables)
            track.held[:, other] = np.where(at_lower, -1, np.where(at_upper, 1, 0))
        track.multipliers = multipliers
        moved = np.clip(track.variables + step, track.lower, track.upper)
        track.variables = np.where(track.held < 0, track.lower, np.where(track.held > 0, track.upper, moved))
        track.spent = track.spent + 1
        if self.unconfirmed:
            length = (np.abs(step) / size).max(axis=0)
            self._end_unconfirmed(derivatives, step, left, self._expected(length, is_other))

    def _expected(self, length: Array, is_other: Mask) -> Array:
        """How long the next step of every track is expected to be after one of some length; of `is_other`,
        where bounds took hold or let go, nothing is expected.
        """
        track = self.track
        shrinks = np.where(np.isfinite(track.length), np.minimum(length / track.length, 1.0), 1.0)
        track.length = length
        return np.where(is_other, np.inf, shrinks * length)

    def _end_unconfirmed(self, derivatives: Derivatives, step: Array, left: Array, expected: Array) -> None:
        """End the tracks of which no more than a step of negligible length is expected."""
        track = self.track
        is_ended = (expected < self.unconfirmed) & (track.stage == len(self.path) - 1)
        ended = np.flatnonzero(is_ended)
        if not len(ended):
            return
        of, by = taken(derivatives, ended), step[:, ended]
        slope = of.gradient + 0.5 * product(of.hessian, by)
        self._record(
            track.take(ended),
            left[:, ended],
            of.values.objective + total(slope * by),
            np.broadcast_to(expected[ended], of.values.constraints.shape),
            expected[ended],
        )
        self.track = track.take(np.flatnonzero(~is_ended))

    def _with_held_kept(self, derivatives: Derivatives) -> tuple[Array, Array]:
        """The Newton step of the optimality conditions that leaves held variables where they are."""
        track = self.track
        scale = (track.held == 0).astype(float)
        hessian = derivatives.hessian * scale * scale[:, None]
        diagonal = np.arange(len(scale))
        hessian[diagonal, diagonal] += 1.0 - scale + self.settings.proximal
        space = split_by_constraints(derivatives.jacobian * scale)
        system = EqualitySystem.of(hessian, space, self.settings.proximal)
        step, multipliers = system.solve(derivatives.gradient * scale, derivatives.values.constraints)
        return step * scale, multipliers

    def _quadratic(self, derivatives: Derivatives, track: _Track, reach: Array) -> Quadratic:
        """The quadratic problem within reach; where not all of the residuals can be cancelled there, of a
        share of them (Nocedal & Wright, chapter 18.5).
        """
        residual = derivatives.values.constraints
        shortest = np.abs(split_by_constraints(derivatives.jacobian).normal_step(residual))
        share = (_ATTAINED * reach / np.maximum(shortest, _ATTAINED * reach)).min(axis=0)
        return Quadratic(
            derivatives.hessian,
            derivatives.gradient,
            derivatives.jacobian,
            residual * share,
            np.maximum(track.lower - track.variables, -reach),
            np.minimum(track.upper - track.variables, reach),
        )
