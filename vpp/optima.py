"""Answers to the same conditions of one or more branches: the best of each, and other optima beside it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vpp.physics.lifting_line import WakeOperator
from vpp.solver.problem import Derivatives, Settings, Solution, Values
from vpp.solver.status import Status
from vpp.trim import FastestEquilibrium

FloatArray = NDArray[np.float64]
Integers = NDArray[np.int64]
Mask = NDArray[np.bool_]

# Large blocks: the last conditions of a block cost as much a step as a hundred.
SETTINGS = Settings(block_size=1024, initial_barrier=1e-3, restoration_starts=1)
# By how much of the speed an answer must be better to replace one, and apart to be another optimum.
BETTER, APART = 1e-7, 1e-5
# Optima kept of a condition.
KEPT = 4
UNSOLVED = -1


class Cases:
    """A problem at some of its conditions, in any order and as often as wanted."""

    def __init__(self, of: FastestEquilibrium, index: Integers) -> None:
        self.of, self.index = of, np.asarray(index, dtype=np.int64)
        self.lower, self.upper = of.lower[:, self.index], of.upper[:, self.index]
        self.variable_count = of.variable_count
        self.equality_count = of.equality_count
        self.inequality_count = of.inequality_count

    def values(self, x: FloatArray, cases: Integers) -> Values:
        """As the problem's own."""
        return self.of.values(x, self.index[cases])

    def derivatives(
        self, x: FloatArray, cases: Integers, multipliers: FloatArray, objective_weight: float = 1.0
    ) -> Derivatives:
        """As the problem's own."""
        return self.of.derivatives(x, self.index[cases], multipliers, objective_weight)


def joined(problems: Sequence[FastestEquilibrium]) -> FastestEquilibrium:
    """Problems of the same conditions on several branches as one, the conditions of one branch after those of
    the other. They differ in bounds and in the water's mirror alone.
    """
    if len(problems) == 1:
        return problems[0]
    count = problems[0].condition_count
    together = problems[0].select(np.tile(np.arange(count), len(problems)))
    together.lower = np.concatenate([problem.lower for problem in problems], axis=-1)
    together.upper = np.concatenate([problem.upper for problem in problems], axis=-1)
    fleets = [problem.fleet for problem in problems]
    first = np.cumsum([0, *(len(fleet.wake) for fleet in fleets[:-1])])
    heights = [fleet.mirrored_from for fleet in fleets if fleet.mirrored_from is not None]
    together.wake = WakeOperator(
        coefficients=np.concatenate([fleet.wake for fleet in fleets]),
        mirrored_from=np.concatenate(heights) if heights else None,
        boat=np.concatenate(
            [problem.wake.boat + before for problem, before in zip(problems, first, strict=True)]
        ),
    )
    return together


def blank(problem: FastestEquilibrium) -> Solution:
    """No answers yet."""
    n, count = problem.variable_count, problem.equality_count + problem.inequality_count
    batch = problem.lower.shape[1]
    return Solution(
        0.5 * (problem.lower + problem.upper), np.zeros((count, batch)), np.zeros((n, batch)),
        np.zeros((n, batch)), np.full(batch, np.nan), np.full(batch, UNSOLVED, dtype=np.int64),
        np.zeros(batch, dtype=np.int64), np.full(batch, np.inf), np.full(batch, np.nan),
        np.full(batch, -1, dtype=np.int64), np.zeros((n, batch), dtype=bool),
        np.zeros((n, batch), dtype=bool),
    )  # fmt: skip


def rearranged(solution: Solution, order: Integers) -> Solution:
    """Some cases of a solution."""
    return Solution(**{name: value[..., order] for name, value in vars(solution).items()})


def put_in(found: Solution, again: Solution, places: Integers) -> None:
    """Put answers in `places`, whatever is there."""
    for name, value in vars(found).items():
        value[..., places] = getattr(again, name)


def standing(solution: Solution) -> Integers:
    """How good answers are: 3 converged, 2 feasible though not proven best, 1 others, 0 none yet."""
    kept = np.isin(solution.status, (Status.STEP_LIMIT, Status.INTERRUPTED))
    feasible = kept & (solution.constraint_error <= SETTINGS.constraint_tolerance)
    converged = solution.status == Status.CONVERGED
    grade = np.where(converged, 3, np.where(feasible, 2, 1))
    return np.where(solution.status == UNSOLVED, 0, grade)


def keep_better(found: Solution, again: Solution, places: Integers) -> Mask:
    """Put answers in `places` where they are better than those there; says which were."""
    before = rearranged(found, places)
    old, new = standing(before), standing(again)
    better_speed = (old >= 2) & (again.objective < before.objective - BETTER)
    nearer = (old == 1) & (again.constraint_error < before.constraint_error)
    won = (new > old) | ((new == old) & (better_speed | nearer))
    spent = before.iterations + again.iterations
    put_in(found, rearranged(again, np.flatnonzero(won)), places[won])
    found.iterations[places] = spent
    return np.asarray(won)


@dataclass(frozen=True)
class Optima:
    """Answers to conditions: `slots[0]` has the best of each, the others what else is an optimum."""

    slots: tuple[Solution, ...]

    @classmethod
    def of(cls, problem: FastestEquilibrium) -> Optima:
        """None yet."""
        return cls(tuple(blank(problem) for _ in range(KEPT)))

    @property
    def best(self) -> Solution:
        """The best answers."""
        return self.slots[0]

    def take(self, which: Integers) -> Optima:
        """Those of some conditions."""
        return Optima(tuple(rearranged(slot, which) for slot in self.slots))

    def blurred(self) -> Integers:
        """Places of best answers that a barrier still holds a hair's breadth off their bounds."""
        best = self.best
        held_off = (best.lower_multipliers > 0.0) & ~best.active_lower
        held_off |= (best.upper_multipliers > 0.0) & ~best.active_upper
        return np.flatnonzero(held_off.any(axis=0) & (best.status == Status.CONVERGED))

    def sharpen(self, answers: Solution, places: Integers) -> None:
        """Put answers in place of the best at `places` where they are the same optima."""
        best = rearranged(self.best, places)
        same = np.abs(answers.objective - best.objective) <= APART * np.abs(best.objective)
        which = np.flatnonzero(same & (answers.status == Status.CONVERGED))
        for name, value in vars(self.best).items():
            if name != "iterations":
                value[..., places[which]] = getattr(answers, name)[..., which]

    def put(self, answers: Solution, places: Integers) -> tuple[Mask, Mask]:
        """Add answers to different `places`; says which are the best of theirs, and which are new optima."""
        converged = answers.status == Status.CONVERGED
        known = np.zeros(len(places), dtype=bool)
        for slot in self.slots:
            apart = np.abs(answers.objective - slot.objective[places])
            there = slot.status[places] == Status.CONVERGED
            known |= there & (apart <= APART * np.abs(answers.objective))
        other = np.flatnonzero(~converged)
        keep_better(self.best, rearranged(answers, other), places[other])
        spent = self.best.iterations[places[converged]] + answers.iterations[converged]
        new = converged & ~known
        won = np.zeros(len(places), dtype=bool)
        which = np.flatnonzero(new)
        carried = rearranged(answers, which)
        for number, slot in enumerate(self.slots):
            at = places[which]
            empty = slot.status[at] != Status.CONVERGED
            ahead = (carried.status == Status.CONVERGED) & (empty | (carried.objective < slot.objective[at]))
            won[which] |= ahead & (number == 0)
            pushed = rearranged(slot, at)
            for name, value in vars(slot).items():
                value[..., at[ahead]] = getattr(carried, name)[..., ahead]
                getattr(carried, name)[..., ahead] = getattr(pushed, name)[..., ahead]
        self.best.iterations[places[converged]] = spent
        return won, new


def blocks(count: int) -> list[Integers]:
    return [
        np.arange(first, min(first + SETTINGS.block_size, count))
        for first in range(0, count, SETTINGS.block_size)
    ]


def rounds(cases: Integers) -> list[Integers]:
    """Places of cases that may occur several times, in rounds in which each occurs once."""
    order = np.argsort(cases, kind="stable")
    same = np.concatenate([[False], cases[order][1:] == cases[order][:-1]])
    first = np.maximum.accumulate(np.where(same, 0, np.arange(len(order))))
    turn = np.arange(len(order)) - first
    return [order[turn == number] for number in range(int(turn.max(initial=-1)) + 1)]
