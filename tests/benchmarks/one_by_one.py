"""The same problems solved one at a time by SciPy's SLSQP, as whoever writes a solver in an evening would."""

from __future__ import annotations

import warnings
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from time import process_time
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize

from vpp import trim
from vpp.boat import Boat
from vpp.solved import Conditions
from vpp.solver.problem import Settings
from vpp.starts import starts_for

Floats = NDArray[np.float64]

TOLERANCE = Settings()
# SLSQP stops on its own measure; an answer counts as converged if it says so and no equation or limit is
# missed by more than this, a hundred times what the package allows itself.
SLSQP_RESIDUAL = 1e-7


@dataclass(frozen=True)
class Answer:
    """What all starts of one condition came to; the objective is infinite where none converged."""

    seconds: float
    objective: float
    starts: int


def solve(boat: Boat, conditions: Conditions) -> list[Answer]:
    """The best answer of every condition, at a fixed wind angle each, from all guessed starts that the
    package has for it, on every branch and under every sail set.
    """
    worn = [boat.wearing(item.name) for item in boat.sail_sets] or [boat]
    problems = [_problem(each, conditions, branch) for each in worn for branch in trim.branches_of(each)]
    return [_answer(problems, place) for place in range(len(conditions))]


def _problem(boat: Boat, conditions: Conditions, branch: str) -> trim.FastestEquilibrium:
    (fleet,) = trim.fleets_on([boat], [branch])
    return trim.FastestEquilibrium(fleet, trim.freedom([boat], branch), conditions)


def _answer(problems: Sequence[trim.FastestEquilibrium], place: int) -> Answer:
    seconds, best, starts = 0.0, np.inf, 0
    for problem in problems:
        for how in _starts(problem, place):
            state = trim.start(problem, how)[:, place]
            begun = process_time()
            objective = _solved(Case(problem, place), state)
            seconds += process_time() - begun
            best, starts = min(best, objective), starts + 1
    return Answer(seconds, best, starts)


def _starts(problem: trim.FastestEquilibrium, place: int) -> list[trim.Start]:
    return [how for how, suits in starts_for(problem) if suits[place]]


def _solved(case: Case, start: Floats) -> float:
    """The objective that SLSQP gets to, infinite where it does not converge."""
    limits = {"type": "ineq", "fun": case.limits, "jac": case.limit_slopes}
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)  # trials outside the models' domain
        answer = minimize(
            case.objective,
            start,
            method="SLSQP",
            jac=case.gradient,
            bounds=list(zip(case.lower, case.upper, strict=True)),
            constraints=[
                {"type": "eq", "fun": case.residual, "jac": case.residual_slopes},
                *([limits] if case.has_limits else []),
            ],
            options={"maxiter": TOLERANCE.step_limit, "ftol": TOLERANCE.constraint_tolerance},
        )
    return float(answer.fun) if answer.success and case.violation(answer.x) < SLSQP_RESIDUAL else np.inf


@dataclass
class _Last:
    """The value of a function at the point where it was asked for last."""

    function: Callable[[Floats], Any]
    point: bytes = b""
    value: Any = field(default=None)

    def __call__(self, x: Floats) -> Any:
        if x.tobytes() != self.point:
            self.point, self.value = x.tobytes(), self.function(x)
        return self.value


class Case:
    """One condition as SLSQP wants it. Objective and residuals of one point are evaluated once, as are the
    derivatives.
    """

    def __init__(self, problem: trim.FastestEquilibrium, case: int):
        at = np.array([case])
        self.count = problem.equality_count
        self.has_limits = problem.inequality_count > 0
        self.lower, self.upper = problem.lower[:, case], problem.upper[:, case]
        nothing = np.zeros((self.count + problem.inequality_count, 1))
        self._values = _Last(lambda x: problem.values(x[:, None], at))
        self._derivatives = _Last(lambda x: problem.derivatives(x[:, None], at, nothing))

    def objective(self, x: Floats) -> float:
        return float(self._values(x).objective[0])

    def residual(self, x: Floats) -> Floats:
        return np.asarray(self._values(x).constraints[: self.count, 0])

    def limits(self, x: Floats) -> Floats:
        return np.asarray(self._values(x).constraints[self.count :, 0])

    def gradient(self, x: Floats) -> Floats:
        return np.asarray(self._derivatives(x).gradient[:, 0])

    def residual_slopes(self, x: Floats) -> Floats:
        return np.asarray(self._derivatives(x).jacobian[: self.count, :, 0])

    def limit_slopes(self, x: Floats) -> Floats:
        return np.asarray(self._derivatives(x).jacobian[self.count :, :, 0])

    def violation(self, x: Floats) -> float:
        """The largest miss of an equation or a limit."""
        missed = [np.abs(self.residual(x)).max(), *(-self.limits(x))]
        return float(np.max(missed))
