"""Compiled sweeps with NumPy's iteration in place of the compiled one, so that nothing large is compiled."""

from __future__ import annotations

import numpy as np
import pytest

from vpp import accelerator
from vpp.optima import SETTINGS
from vpp.solver import compiled
from vpp.solver.following import Guess, follow
from vpp.solver.status import Status


def iterate_in_numpy(monkeypatch: pytest.MonkeyPatch) -> None:
    """Take the other iteration until the test ends."""
    monkeypatch.setattr(accelerator._Sweep, "_advance", advanced)
    monkeypatch.setattr(accelerator._Sweep, "promises", promised)


def advanced(sweep, cases, guess, steps):
    """What the compiled iteration gives, by NumPy's."""
    x, multipliers, held, _ = guess
    problem = sweep.problem(cases)
    answer = follow(problem, Guess(x, multipliers, held < 0, held > 0), settings=SETTINGS)
    converged = answer.status == Status.CONVERGED
    return {
        "x": answer.x,
        "multipliers": answer.multipliers,
        "held": np.where(answer.active_lower, -1, np.where(answer.active_upper, 1, 0)),
        "felt": answer.multipliers[problem.equality_count :] < 0.0,
        "objective": answer.objective,
        "optimality": answer.optimality_error,
        "residual": answer.constraint_error,
        "steps": answer.iterations,
        "place": np.where(converged, compiled.CONVERGED, compiled.GIVEN_BACK),
    }


def promised(sweep, cases, sources):
    """What optima promise, by NumPy's balance."""
    problem = sweep.problem(cases)
    values = problem.values(sweep.x[:, sources], np.arange(len(cases)))
    return values.objective + (sweep.multipliers[:, sources] * values.constraints).sum(axis=0)
