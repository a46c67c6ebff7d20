"""Sails from tables: the curves through the rows, power, and the force by hand; derivatives and JAX."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from tests.support.with_jax import double_precision, jax_or_skip
from vpp.physics import sail_tables
from vpp.physics.sail_tables import EDGE, TableSailArrays, TableSailForce
from vpp.physics.sails import Wind
from vpp.solver import jets

FloatArray = NDArray[np.float64]

# invented rows, as uneven as a file's may be
ANGLE = np.radians([30.0, 40.0, 60.0, 75.0, 90.0, 120.0, 150.0, 180.0])
LIFT = np.array([0.4, 0.75, 1.35, 1.5, 1.45, 1.0, 0.4, 0.0])
DRAG = np.array([0.24, 0.28, 0.46, 0.58, 0.7, 0.9, 1.0, 1.0])
AREA, SPAN = 75.0, 13.0


def sails(
    count: int, *, angle: FloatArray = ANGLE, lift: FloatArray = LIFT, drag: FloatArray = DRAG
) -> TableSailArrays:
    """One sail, for a number of conditions."""

    def each(value: Any) -> FloatArray:
        return np.repeat(np.asarray(value, dtype=float)[..., None], count, axis=-1)

    curves = sail_tables.table_curves(angle=angle, lift=lift, drag=drag)
    return TableSailArrays(
        curves=replace(curves, **{name: each(value) for name, value in vars(curves).items()}),
        area=each(AREA),
        span=each(SPAN),
        centre_height=each(10.0),
        centre_x=each(2.0),
    )


def force_in(
    ahead: Any, leeward: Any, *, power: Any = 1.0, sail: TableSailArrays | None = None
) -> TableSailForce:
    """Force on a boat at rest and upright, with the sail at the height where the wind is given."""
    ahead, leeward = np.broadcast_arrays(np.atleast_1d(ahead).astype(float), leeward)
    count = len(ahead)
    wind = Wind(
        true_wind_speed=np.hypot(ahead, leeward),
        true_wind_angle=np.arctan2(leeward, ahead),
        exponent=np.full(count, 0.11),
        profile_height=np.full(count, 10.0),
        air_density=np.full(count, 1.2),
    )
    still = np.zeros(count)
    return sail_tables.table_sail_force(
        sail=sail or sails(count),
        power=power + still,
        wind=wind,
        boat_speed=still,
        leeway=still,
        heel=still,
    )


# --- curves -------------------------------------------------------------------------------------------------


def coefficients(angle_deg: Any, power: float = 1.0, induced: float = 0.1) -> tuple[Any, Any]:
    curves = sail_tables.table_curves(angle=ANGLE, lift=LIFT, drag=DRAG)
    return sail_tables.coefficients_at(
        curves=curves, angle=np.radians(angle_deg), power=power, induced=induced
    )


def test_the_curves_pass_through_every_row() -> None:
    lift, drag = coefficients(np.degrees(ANGLE))
    np.testing.assert_allclose(lift, LIFT, atol=1e-14)
    np.testing.assert_allclose(drag, DRAG, atol=1e-14)


def test_between_the_rows_they_are_the_cubic_splines_of_scipy() -> None:
    angle = np.linspace(30.0, 180.0, 1001)
    lift, drag = coefficients(angle)
    np.testing.assert_allclose(lift, CubicSpline(ANGLE, LIFT)(np.radians(angle)), atol=1e-13)
    np.testing.assert_allclose(drag, CubicSpline(ANGLE, DRAG)(np.radians(angle)), atol=1e-13)


def test_outside_the_rows_they_bend_to_a_constant_with_continuous_curvature() -> None:
    for end, beyond in ((30.0, -1.0), (180.0, 1.0)):
        before, after = (
            jets.dense(lift_with_derivatives(math.radians(end) + side * beyond * 1e-9), 1, (1,))
            for side in (-1.0, 1.0)
        )
        for inner, outer in zip(before, after, strict=True):
            np.testing.assert_allclose(outer, inner, rtol=1e-6, atol=1e-6)
        near = math.degrees(EDGE) * beyond
        far = coefficients(end + 80.0 * beyond)
        # as far out as the angle is held: the rows' own curve there
        held = CubicSpline(ANGLE, LIFT)(math.radians(end + near))
        assert far[0] == pytest.approx(float(held), rel=1e-6)


def lift_with_derivatives(angle: float) -> Any:
    (jet,) = jets.variables(np.array([[angle]]))
    curves = sail_tables.table_curves(angle=ANGLE, lift=LIFT, drag=DRAG)
    return sail_tables.coefficients_at(curves=curves, angle=jet, power=1.0, induced=0.1)[0]


def test_which_angles_are_outside() -> None:
    curves = sail_tables.table_curves(angle=ANGLE, lift=LIFT, drag=DRAG)
    asked = np.radians([29.9, 30.0, 100.0, 180.0, 180.1])
    found = sail_tables.is_outside(curves=curves, angle=asked + np.array([0.0, 1e-12, 0.0, -1e-12, 0.0]))
    assert list(found) == [True, False, False, False, True]


def test_how_far_the_curves_leave_their_rows() -> None:
    """A step between rows of equal height on either side: a spline overshoots on both sides of it."""
    angle = np.radians(np.arange(40.0, 181.0, 20.0))
    step = np.where(angle < np.radians(110.0), 1.0, 0.0)
    steps = sail_tables.swing(curves=sail_tables.table_curves(angle=angle, lift=step, drag=0.0 * step))
    assert np.argmax(steps[0]) in (2, 4)
    assert steps[0].max() > 0.1
    np.testing.assert_allclose(steps[1], 0.0, atol=1e-15)
    straight = sail_tables.swing(curves=sail_tables.table_curves(angle=angle, lift=angle, drag=step))
    np.testing.assert_allclose(straight[0], 0.0, atol=1e-14)


# --- power --------------------------------------------------------------------------------------------------


def test_induced_drag_factor_by_hand() -> None:
    """Prandtl 1918: 1 / (pi AR) with AR = 13^2 / 75 = 2.253; of an elliptic wing of AR 6, 0.05305."""
    assert float(sail_tables.induced_drag_factor(area=75.0, span=13.0)) == pytest.approx(0.14126, abs=1e-5)
    assert float(sail_tables.induced_drag_factor(area=1.0, span=6.0**0.5)) == pytest.approx(0.05305, abs=1e-5)


def test_half_power_by_hand() -> None:
    """At 60 deg: lift 1.35 / 2; drag 0.46 less three quarters of the induced 0.1 x 1.35^2."""
    lift, drag = coefficients(60.0, power=0.5)
    assert float(lift) == pytest.approx(0.675, abs=1e-12)
    assert float(drag) == pytest.approx(0.46 - 0.75 * 0.1 * 1.35**2, abs=1e-12)


def test_without_power_the_drag_beside_induced_drag_is_left() -> None:
    angle = np.linspace(35.0, 175.0, 29)
    curves = sail_tables.table_curves(angle=ANGLE, lift=LIFT, drag=DRAG)
    factor = float(sail_tables.induced_drag_factor(area=AREA, span=SPAN))
    lift, drag = coefficients(angle, power=0.0, induced=factor)
    np.testing.assert_array_equal(lift, 0.0)
    left = sail_tables.parasite_drag(curves=curves, angle=np.radians(angle), area=AREA, span=SPAN)
    np.testing.assert_allclose(drag, left, rtol=1e-13)
    assert np.all(left > sail_tables.LEAST_PARASITE_DRAG)


# --- force --------------------------------------------------------------------------------------------------


def test_force_in_the_wind_from_abeam_by_hand() -> None:
    """10 m/s at 90 deg: pressure 60 Pa on 75 m2 is 4500 N; lift drives, drag goes to leeward."""
    found = force_in(0.0, 10.0)
    assert found.forward[0] == pytest.approx(4500.0 * 1.45, rel=1e-12)
    assert found.leeward[0] == pytest.approx(4500.0 * 0.7, rel=1e-12)
    assert found.wind_angle[0] == pytest.approx(0.5 * math.pi, rel=1e-12)
    assert found.wind_speed[0] == pytest.approx(10.0, rel=1e-12)
    assert found.lift_coefficient[0] == pytest.approx(1.45, rel=1e-12)


def test_force_on_a_close_course_by_hand() -> None:
    """8 m/s at 60 deg and 70 % power: 38.4 Pa x 75 m2 = 2880 N; C_L 0.945, C_D = 0.46 - 0.51 x 0.141261 x
    1.35^2 = 0.328703; forward C_L sin - C_D cos, leeward C_L cos + C_D sin.
    """
    found = force_in(4.0, 8.0 * math.sin(math.radians(60.0)), power=0.7)
    assert found.forward[0] == pytest.approx(2880.0 * (0.945 * 0.8660254 - 0.328703 * 0.5), rel=1e-5)
    assert found.leeward[0] == pytest.approx(2880.0 * (0.945 * 0.5 + 0.328703 * 0.8660254), rel=1e-5)


def test_dead_before_the_wind_the_drag_drives() -> None:
    found = force_in(-6.0, 0.0)
    assert found.forward[0] == pytest.approx(0.5 * 1.2 * 36.0 * AREA * 1.0, rel=1e-12)
    assert found.leeward[0] == pytest.approx(0.0, abs=1e-9)


def test_the_angle_runs_on_through_dead_astern() -> None:
    around = np.radians([179.0, 180.0, 181.0, 200.0])
    found = force_in(6.0 * np.cos(around), 6.0 * np.sin(around))
    np.testing.assert_allclose(found.wind_angle, around, rtol=1e-12)
    close = math.pi + np.array([-1e-6, 0.0, 1e-6])
    steps = np.diff(force_in(6.0 * np.cos(close), 6.0 * np.sin(close)).forward)
    assert np.all(np.abs(steps) < 0.01)


def test_the_mirrored_sail_in_the_mirrored_wind_has_the_mirrored_force() -> None:
    mirrored = sails(5, angle=-ANGLE[::-1], lift=-LIFT[::-1], drag=DRAG[::-1])
    angle = np.radians([32.0, 55.0, 90.0, 130.0, 179.0])
    one = force_in(7.0 * np.cos(angle), 7.0 * np.sin(angle), power=0.8)
    other = force_in(7.0 * np.cos(angle), -7.0 * np.sin(angle), power=0.8, sail=mirrored)
    np.testing.assert_allclose(other.forward, one.forward, rtol=1e-12)
    np.testing.assert_allclose(other.leeward, -one.leeward, rtol=1e-12)
    np.testing.assert_allclose(other.wind_angle, -one.wind_angle, rtol=1e-12)


def test_heel_takes_wind_out_of_the_sail() -> None:
    """Geometry: from abeam, heel by 60 deg halves the wind across the mast and the height it blows at."""
    wind = Wind(
        true_wind_speed=np.array([10.0]),
        true_wind_angle=np.array([0.5 * math.pi]),
        exponent=np.array([0.11]),
        profile_height=np.array([10.0]),
        air_density=np.array([1.2]),
    )
    zero = np.zeros(1)
    found = sail_tables.table_sail_force(
        sail=sails(1), power=1.0 + zero, wind=wind, boat_speed=zero, leeway=zero,
        heel=np.array([math.radians(60.0)]),
    )  # fmt: skip
    assert found.wind_speed[0] == pytest.approx(10.0 * 0.5 * 0.5**0.11, rel=1e-12)
    assert found.leeward[0] == pytest.approx(0.6 * found.wind_speed[0] ** 2 * AREA * 0.7, rel=1e-12)


# --- derivatives --------------------------------------------------------------------------------------------

# boat speed, leeway, heel, wind angle, power of four conditions: close, reaching, running, and off the table
STATE = np.array(
    [
        [3.0, 3.5, 2.8, 3.0],
        [0.05, 0.03, 0.0, 0.06],
        [0.3, 0.2, -0.02, 0.3],
        [1.05, 1.7, 3.0, 0.6],
        [0.6, 0.9, 0.8, 0.7],
    ]
)


def forces(rows: Any) -> tuple[Any, Any]:
    speed, leeway, heel, angle, power = (rows[i] for i in range(len(STATE)))
    wind = Wind(
        true_wind_speed=np.array([6.0, 7.0, 5.0, 6.0]),
        true_wind_angle=angle,
        exponent=np.full(4, 0.11),
        profile_height=np.full(4, 10.0),
        air_density=np.full(4, 1.2),
    )
    found = sail_tables.table_sail_force(
        sail=sails(4), power=power, wind=wind, boat_speed=speed, leeway=leeway, heel=heel
    )
    return found.forward, found.leeward


def with_derivatives(state: FloatArray) -> list[tuple[FloatArray, FloatArray, FloatArray]]:
    return [jets.dense(part, len(state), (4,)) for part in forces(jets.variables(state))]


def test_derivatives_are_those_of_central_differences() -> None:
    """Gradient against values, second derivatives against the gradient."""
    derived, plain = with_derivatives(STATE), np.array(forces(STATE))
    for part in range(2):
        np.testing.assert_allclose(derived[part][0], plain[part], rtol=1e-13)
    scale = np.abs(plain).max(axis=1)
    for i in range(len(STATE)):
        up, down = STATE.copy(), STATE.copy()
        up[i] += 1e-5
        down[i] -= 1e-5
        slope = (np.array(forces(up)) - np.array(forces(down))) / 2e-5
        above, below = with_derivatives(up), with_derivatives(down)
        for part in range(2):
            np.testing.assert_allclose(derived[part][1][i], slope[part], atol=1e-7 * scale[part])
            bend = (above[part][1] - below[part][1]) / 2e-5
            np.testing.assert_allclose(derived[part][2][i], bend, atol=1e-6 * scale[part])


def test_jax_trace_equals_numpy() -> None:
    jax = jax_or_skip()
    with double_precision(jax):
        traced = jax.jit(lambda state: jax.numpy.stack(forces(state)))(jax.numpy.asarray(STATE))
        slope = jax.jacfwd(lambda state: forces(state)[0].sum())(jax.numpy.asarray(STATE))
    np.testing.assert_allclose(traced, np.array(forces(STATE)), rtol=1e-12)
    np.testing.assert_allclose(slope, with_derivatives(STATE)[0][1], rtol=1e-9, atol=1e-9)
