"""Manufactured solutions: a state is chosen, exactly the loads that balance it are added, and the solver
must find it again.

Method: P. J. Roache, "Code verification by the method of manufactured solutions", Journal of Fluids
Engineering 124(1), 2002. The expected answer is the chosen state and no number of the tool's.
"""

from __future__ import annotations

import numpy as np
import pytest

from tests.support import keelboat
from tests.support.manufactured import AddedLoad
from vpp import balance, fleets, trim
from vpp.solved import HULL_BORNE
from vpp.solver.interior_point import minimise
from vpp.solver.status import Status

STATE = ("boat_speed", "leeway", "heel", "rudder")

# tws kn, twa deg, boat speed kn, leeway deg, heel deg, rudder deg, sheets deg of main and jib
CHOSEN = np.array([
    (8.0, 45.0, 4.0, 3.0, 9.0, 1.0, 12.0, 14.0),
    (12.0, 60.0, 6.0, 2.0, 12.0, 2.0, 20.0, 22.0),
    (16.0, 90.0, 7.0, 1.5, 10.0, 1.5, 42.0, 44.0),
    (10.0, 120.0, 5.5, 1.0, 4.0, 0.5, 65.0, 66.0),
    (20.0, 150.0, 8.5, 0.5, 3.0, 0.2, 75.0, 70.0),
    (6.0, 180.0, 2.5, 0.0, -1.0, 0.0, 80.0, 75.0),
]).T  # fmt: skip


@pytest.fixture(scope="module")
def manufactured():
    """The problem with the added loads, and the state that they make an equilibrium."""
    boat = keelboat.base()
    tws, twa, speed_kn, *angles = CHOSEN
    leeway, heel, rudder, main_sheet, jib_sheet = np.radians(angles)
    count = CHOSEN.shape[1]
    controls = {
        "crew_arm": np.full(count, 1.0),
        "crew_x": np.full(count, boat.crew.x),
        "main_sheet": main_sheet,
        "jib_sheet": jib_sheet,
        **{f"{sail}_twist": np.full(count, 0.1) for sail in ("main", "jib")},
        **{f"{sail}_camber": np.full(count, 0.5) for sail in ("main", "jib")},
        **{f"{sail}_head_camber": np.zeros(count) for sail in ("main", "jib")},
    }
    state = {"boat_speed": speed_kn * keelboat.KNOT, "leeway": leeway, "heel": heel, "rudder": rudder}
    bounds = trim.ranges(boat, HULL_BORNE)
    free = trim.Freedom(
        branch=HULL_BORNE,
        names=STATE,
        lower=np.repeat([[bounds[name].lower] for name in STATE], count, axis=1),
        upper=np.repeat([[bounds[name].upper] for name in STATE], count, axis=1),
        fixed=controls,
    )
    # one boat for every condition, because each has controls of its own
    conditions = keelboat.conditions(tws_kn=tws, twa_deg=twa, option=np.arange(count))
    problem = AddedLoad(fleets.fleet([boat] * count), free, conditions)
    problem.extra = np.zeros((4, count))
    cases = np.arange(count)
    values = {**state, **controls, "twa": conditions.twa}
    residual = balance.residuals(problem.layout, problem.loads(values, cases)[0], leeway=leeway)
    problem.extra = -residual
    return problem, state


def test_added_loads_are_needed(manufactured):
    """Otherwise the test would only find what the boat does anyway."""
    problem, _ = manufactured
    assert (np.abs(problem.extra).max(axis=0) > 20.0).all()


@pytest.mark.parametrize("speed_factor", [0.6, 0.8, 1.0, 1.2])
def test_chosen_state_comes_back(manufactured, speed_factor):
    problem, state = manufactured
    solution = minimise(problem, keelboat.start(problem, speed_factor=speed_factor))
    assert solution.status.tolist() == [Status.CONVERGED] * problem.condition_count
    found = keelboat.named_state(problem, solution.x)
    np.testing.assert_allclose(found["boat_speed"], state["boat_speed"], rtol=1e-6)
    for name in ("leeway", "heel", "rudder"):
        np.testing.assert_allclose(found[name], state[name], atol=1e-6)
