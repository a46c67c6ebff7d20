"""A false "no equilibrium" is the worst error of a solver: verdicts held against SciPy's least squares.

Reference: scipy.optimize.least_squares (trust region reflective), from random states, on the same equations.
A longer run of the same is tests/benchmarks/reference_search.py.
"""

from __future__ import annotations

import pytest

from tests.support import foiler, keelboat
from tests.support.reference_search import FEASIBLE, search
from vpp import equilibrium
from vpp.solved import FOIL_BORNE
from vpp.solver.status import Status

# Just below where the demo boat can fly, and too far off the wind.
TWS_KN, TWA_DEG = (7.0, 12.0), (60.0, 150.0)


@pytest.fixture(scope="module")
def solved():
    return equilibrium.solve(
        [foiler.base()], keelboat.conditions(tws_kn=TWS_KN, twa_deg=TWA_DEG), branches=(FOIL_BORNE,)
    )


@pytest.mark.parametrize("case", range(len(TWS_KN)))
def test_no_equilibrium_means_that_least_squares_finds_none(solved, case: int) -> None:
    assert solved.status[case] == Status.NO_EQUILIBRIUM
    problem = foiler.problem(keelboat.conditions(tws_kn=TWS_KN, twa_deg=TWA_DEG), FOIL_BORNE)
    found = search(problem, case, starts=1, seed=case, most=40)
    assert found.residual > 1e3 * FEASIBLE


def test_the_search_finds_what_there_is() -> None:
    """The reference itself: where the boat flies, it finds a feasible state."""
    problem = foiler.problem(keelboat.conditions(tws_kn=[14.0], twa_deg=[100.0]), FOIL_BORNE)
    assert search(problem, 0, starts=6, seed=1).residual <= FEASIBLE
