"""The course theorem: course and apparent wind enclose the sum of the drag angles of air and water.

Source: F. W. Lanchester, Aerodynamics, 1907. The numbers follow from it in closed form: with constant drag
angles and beta their sum, V/V_T = sin(TWA - beta)/sin(beta).
"""

from __future__ import annotations

import numpy as np
import pytest

from tests.support import keelboat
from tests.support.manufactured import ConstantDragAngles, FreePower, PureDrag
from vpp.solver.interior_point import minimise
from vpp.solver.status import Status

TWS_KN = 10.0
TOLERANCE = 1e-6

# beta in deg: highest V/V_T; best VMG upwind and downwind; V/V_T at TWA 60, 90, 150 deg
TABLE = {
    15.0: (3.863703, 1.431852, 2.431852, (2.732051, 3.732051, 2.732051)),
    30.0: (2.000000, 0.500000, 1.500000, (1.000000, 1.732051, 1.732051)),
}


def _boat(kind, beta_deg, conditions, air_share=0.4):
    problem = type("Boat", (kind,), {
        "air_angle": np.radians(beta_deg * air_share),
        "water_angle": np.radians(beta_deg * (1.0 - air_share)),
    })(conditions)  # fmt: skip
    return problem


def _solved(problem):
    solution = minimise(problem, problem.start())
    assert (solution.status == Status.CONVERGED).all()
    values = keelboat.named_state(problem, solution.x)
    return values["boat_speed"] / problem.conditions.tws, np.degrees(values["twa"]), values


@pytest.mark.parametrize("kind", [ConstantDragAngles, FreePower])
@pytest.mark.parametrize("beta_deg", TABLE)
def test_speed_at_fixed_angles(kind, beta_deg):
    speed, _, _ = _solved(_boat(kind, beta_deg, keelboat.conditions(tws_kn=TWS_KN, twa_deg=[60, 90, 150])))
    np.testing.assert_allclose(speed, TABLE[beta_deg][3], atol=TOLERANCE)


@pytest.mark.parametrize("kind", [ConstantDragAngles, FreePower])
@pytest.mark.parametrize("beta_deg", TABLE)
def test_best_vmg_and_its_angle(kind, beta_deg):
    aims = np.array(["upwind", "downwind"])
    speed, twa_deg, values = _solved(
        _boat(kind, beta_deg, keelboat.conditions(tws_kn=TWS_KN, twa_deg=np.nan, aim=aims))
    )
    _, upwind, downwind, _ = TABLE[beta_deg]
    np.testing.assert_allclose(speed * np.abs(np.cos(values["twa"])), [upwind, downwind], atol=TOLERANCE)
    # at an optimum the value is flat, so that the angle is known to the square root of its error at best
    np.testing.assert_allclose(twa_deg, [45.0 + 0.5 * beta_deg, 135.0 + 0.5 * beta_deg], atol=1e-4)


@pytest.mark.parametrize("beta_deg", TABLE)
def test_highest_speed_of_all_angles(beta_deg):
    """The angle free as for a best VMG, the objective plain speed: 1/sin(beta), at a true wind angle of 90
    deg + beta.
    """

    class Fastest(ConstantDragAngles):
        def _made_good(self, values, cases):
            return values["boat_speed"]

    conditions = keelboat.conditions(tws_kn=TWS_KN, twa_deg=np.nan, aim="downwind")
    speed, twa_deg, _ = _solved(_boat(Fastest, beta_deg, conditions))
    np.testing.assert_allclose(speed, TABLE[beta_deg][0], atol=TOLERANCE)
    np.testing.assert_allclose(twa_deg, 90.0 + beta_deg, atol=1e-4)


@pytest.mark.parametrize("air_share", [0.1, 0.5, 0.9])
def test_only_the_sum_of_the_drag_angles_counts(air_share):
    conditions = keelboat.conditions(tws_kn=TWS_KN, twa_deg=[60, 90, 150])
    speed, _, _ = _solved(_boat(ConstantDragAngles, 15.0, conditions, air_share))
    np.testing.assert_allclose(speed, TABLE[15.0][3], atol=TOLERANCE)


def test_speed_over_wind_speed_does_not_depend_on_wind_speed():
    conditions = keelboat.conditions(tws_kn=[4, 8, 16], twa_deg=90)
    speed, _, _ = _solved(_boat(ConstantDragAngles, 30.0, conditions))
    np.testing.assert_allclose(speed, np.full(3, 1.7320508), atol=TOLERANCE)


@pytest.mark.parametrize("ratio", [1.0, 4.0, 25.0])
def test_dead_run_of_pure_drag(ratio):
    """V/V_T = 1/(1 + sqrt k), k the ratio of the drag constants of water and air: 1/3 for k = 4."""

    class Boat(PureDrag):
        water_over_air = ratio

    speed, _, values = _solved(Boat(keelboat.conditions(tws_kn=[6, 20], twa_deg=180)))
    np.testing.assert_allclose(speed, np.full(2, 1.0 / (1.0 + np.sqrt(ratio))), atol=TOLERANCE)
    np.testing.assert_allclose(values["leeway"], 0.0, atol=TOLERANCE)


def test_no_course_closer_to_the_wind_than_beta():
    """Closer than the two drag angles together nothing sails: the solver must say so and not find a speed."""
    problem = _boat(ConstantDragAngles, 30.0, keelboat.conditions(tws_kn=TWS_KN, twa_deg=[29.0, 36.0]))
    solution = minimise(problem, problem.start())
    assert solution.status.tolist() == [Status.NO_EQUILIBRIUM, Status.CONVERGED]
