"""Optimisers of SciPy that run many searches at a time: each has a thread of its own and waits until all have
asked for values at their next states, which are then evaluated as one batch.
"""

from __future__ import annotations

import threading
import warnings
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import Bounds, NonlinearConstraint, minimize

from vpp.solver.problem import Problem

Floats = NDArray[np.float64]

SLSQP, TRUST_CONSTR = "SLSQP", "trust-constr"
# What a search is told where the model has no finite value: nowhere to stay.
_NOWHERE = 1e3


@dataclass(frozen=True)
class At:
    """One state: objective, constraints and their derivatives, and the Hessian of the objective plus
    multipliers times constraints.
    """

    objective: float
    constraints: Floats
    gradient: Floats
    jacobian: Floats
    hessian: Floats


class _Together:
    """Values of a problem for threads that ask at the same time."""

    def __init__(self, problem: Problem, searches: int) -> None:
        self._problem = problem
        self._live = searches
        self._turn = threading.Condition()
        self._asked: dict[int, tuple[int, Floats, Floats]] = {}
        self._answers: dict[int, At | Exception] = {}

    def at(self, search: int, case: int, x: Floats, multipliers: Floats) -> At:
        """Wait for all others to ask or end, then go on with the values."""
        with self._turn:
            self._asked[search] = case, x, multipliers
            self._evaluate_if_all_wait()
            self._turn.wait_for(lambda: search in self._answers)
            answer = self._answers.pop(search)
        if isinstance(answer, Exception):
            raise answer
        return answer

    def leave(self) -> None:
        """A search has ended."""
        with self._turn:
            self._live -= 1
            self._evaluate_if_all_wait()

    def _evaluate_if_all_wait(self) -> None:
        if not self._asked or len(self._asked) < self._live:
            return
        try:
            self._answers |= self._evaluated()
        except Exception as error:
            self._answers |= dict.fromkeys(self._asked, error)
        self._asked.clear()
        self._turn.notify_all()

    def _evaluated(self) -> dict[int, At]:
        cases, states, multipliers = zip(*self._asked.values(), strict=True)
        with np.errstate(all="ignore"):
            found = self._problem.derivatives(
                np.array(states).T.copy(), np.array(cases), np.array(multipliers).T.copy()
            )
        parts = (
            found.values.objective,
            found.values.constraints,
            found.gradient,
            found.jacobian,
            found.hessian,
        )
        finite = np.all([np.isfinite(part).reshape(-1, len(cases)).all(axis=0) for part in parts], axis=0)
        for part, instead in zip(parts, (_NOWHERE, _NOWHERE, 0.0, 0.0, 0.0), strict=True):
            part[..., ~finite] = instead
        return {
            search: At(float(parts[0][i]), *(part[..., i].copy() for part in parts[1:]))
            for i, search in enumerate(self._asked)
        }


class _OneSearch:
    """What SciPy sees: functions of x, evaluated once a state."""

    def __init__(self, together: _Together, search: int, case: int, constraints: int) -> None:
        self._ask = lambda x, multipliers: together.at(search, case, x.copy(), multipliers)
        self._none = np.zeros(constraints)
        self._x: Floats | None = None
        self._at: At | None = None

    def at(self, x: Floats) -> At:
        if self._at is None or self._x is None or not np.array_equal(x, self._x):
            self._x, self._at = x.copy(), self._ask(x, self._none)
        return self._at

    def hessian_of_constraints(self, x: Floats, multipliers: Floats) -> Floats:
        objective = self.at(x).hessian
        hessian: Floats = self._ask(x, np.asarray(multipliers, dtype=float)).hessian - objective
        return hessian


def minimise_each(
    problem: Problem, cases: Sequence[int], start: Floats, methods: Sequence[str], *, most: int = 200
) -> Floats:
    """Where a method of `scipy.optimize.minimize` ends from each state of `start` (variables, searches), for
    one case each. Ends need not be feasible; judge them by their residuals.
    """
    together = _Together(problem, len(cases))
    ends = start.copy()
    faults: list[Exception] = []

    def work(search: int) -> None:
        one = _OneSearch(together, search, cases[search], problem.equality_count + problem.inequality_count)
        bounds = Bounds(problem.lower[:, cases[search]], problem.upper[:, cases[search]])
        try:
            ends[:, search] = _METHODS[methods[search]](problem, one, start[:, search], bounds, most)
        except Exception as error:
            faults.append(error)
        finally:
            together.leave()

    threads = [threading.Thread(target=work, args=(search,)) for search in range(len(cases))]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
    if faults:
        raise faults[0]
    return ends


def _slsqp(problem: Problem, one: _OneSearch, x: Floats, bounds: Bounds, most: int) -> Floats:
    count = problem.equality_count
    constraints = [
        {
            "type": "eq",
            "fun": lambda x: one.at(x).constraints[:count],
            "jac": lambda x: one.at(x).jacobian[:count],
        }
    ]
    if problem.inequality_count:
        constraints.append(
            {
                "type": "ineq",
                "fun": lambda x: one.at(x).constraints[count:],
                "jac": lambda x: one.at(x).jacobian[count:],
            }
        )
    return minimize(
        lambda x: one.at(x).objective,
        x,
        jac=lambda x: one.at(x).gradient,
        bounds=bounds,
        constraints=constraints,
        method=SLSQP,
        options={"maxiter": most, "ftol": 1e-10},
    ).x


def _trust_constr(problem: Problem, one: _OneSearch, x: Floats, bounds: Bounds, most: int) -> Floats:
    most_left = np.zeros(problem.equality_count + problem.inequality_count)
    most_left[problem.equality_count :] = np.inf
    return minimize(
        lambda x: one.at(x).objective,
        x,
        jac=lambda x: one.at(x).gradient,
        hess=lambda x: one.at(x).hessian,
        bounds=bounds,
        constraints=NonlinearConstraint(
            lambda x: one.at(x).constraints,
            np.zeros_like(most_left),
            most_left,
            jac=lambda x: one.at(x).jacobian,
            hess=one.hessian_of_constraints,
        ),
        method=TRUST_CONSTR,
        options={"maxiter": most, "gtol": 1e-7, "xtol": 1e-9, "barrier_tol": 1e-7},
    ).x


_METHODS: dict[str, Callable[[Problem, _OneSearch, Floats, Bounds, int], Floats]] = {
    SLSQP: _slsqp,
    TRUST_CONSTR: _trust_constr,
}
