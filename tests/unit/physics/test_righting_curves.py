"""Righting arms from a table: a wall-sided hull read back, the two moments that make GZ, derivatives."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from tests.support.with_jax import double_precision, jax_or_skip
from vpp.physics import righting_curves
from vpp.physics.righting_curves import RightingCurve, form_lever, gz_curve, righting_moment_of_form
from vpp.physics.stability import form_righting_moment, mass_righting_moment, wall_sided_righting_arm
from vpp.solver import jets

FloatArray = NDArray[np.float64]

# invented: a yacht whose arm vanishes at 125 deg
HEEL = np.radians([0.0, 10.0, 20.0, 30.0, 45.0, 60.0, 80.0, 100.0, 125.0])
ARM = np.array([0.0, 0.20, 0.38, 0.52, 0.64, 0.66, 0.55, 0.34, 0.0])
CENTRE_Z = -0.2


def curve() -> RightingCurve:
    return gz_curve(heel=HEEL, righting_arm=ARM, mass_centre_z=CENTRE_Z)


# --- statics ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("centre_z", [-0.5, 0.0, 0.4])
def test_with_the_mass_at_its_centre_the_moments_make_the_righting_arm(centre_z: float) -> None:
    """Form and mass about the same point: weight times GZ, at every row and to either side."""
    mass, gravity = 6000.0, 9.80665
    table = gz_curve(heel=HEEL, righting_arm=ARM, mass_centre_z=centre_z)
    for side in (1.0, -1.0):
        form = righting_moment_of_form(heel=side * HEEL, weight=mass * gravity, curve=table)
        masses = mass_righting_moment(heel=side * HEEL, mass=mass, y=0.0, z=centre_z, gravity=gravity)
        np.testing.assert_allclose(form + masses, side * mass * gravity * ARM, atol=1e-9 * mass)


def test_form_lever_by_hand() -> None:
    """At 30 deg: 0.52 - 0.2 x 0.5 = 0.42 m; of 50 kN, 21 kN m."""
    heel = math.radians(30.0)
    assert float(form_lever(heel=heel, curve=curve())) == pytest.approx(0.42, abs=1e-14)
    moment = righting_moment_of_form(heel=heel, weight=50e3, curve=curve())
    assert float(moment) == pytest.approx(21e3, abs=1e-9)


@pytest.mark.parametrize(
    ("step", "error", "metacentre"), [(5.0, 1.5e-4, 1.5e-5), (10.0, 1.4e-3, 8e-4)], ids=["5_deg", "10_deg"]
)
def test_a_wall_sided_hull_written_to_a_table_and_read_back(
    step: float, error: float, metacentre: float
) -> None:
    """Midway between rows 5 and 10 deg apart, to 40 deg where the arm is 1.02 m: within 0.14 and 1.3 mm, most
    between the last two rows; the metacentre within 0.013 and 0.73 mm.
    """
    z_b, radius, centre_z = -0.26, 1.23, -0.18
    heel = np.radians(np.arange(0.0, 40.0 + 1e-9, step))
    arm = wall_sided_righting_arm(
        heel=heel, metacentric_height=z_b + radius - centre_z, metacentric_radius=radius
    )
    table = gz_curve(heel=heel, righting_arm=arm, mass_centre_z=centre_z)
    middle = 0.5 * (heel[1:] + heel[:-1])
    expected = form_righting_moment(heel=middle, weight=1.0, buoyancy_centre_z=z_b, metacentric_radius=radius)
    np.testing.assert_allclose(form_lever(heel=middle, curve=table), expected, atol=error)
    height = float(righting_curves.initial_metacentre_height(curve=table))
    assert height == pytest.approx(z_b + radius, abs=metacentre)


def test_the_height_of_the_centre_that_the_table_is_for_does_not_matter() -> None:
    """The same hull's arms for a mass centre 0.3 m lower are 0.3 sin(heel) longer."""
    lower = gz_curve(heel=HEEL, righting_arm=ARM + 0.3 * np.sin(HEEL), mass_centre_z=CENTRE_Z - 0.3)
    np.testing.assert_allclose(
        form_lever(heel=HEEL, curve=lower), form_lever(heel=HEEL, curve=curve()), atol=1e-14
    )


# --- the curve ----------------------------------------------------------------------------------------------


def test_between_the_rows_it_is_the_spline_of_scipy_through_both_sides() -> None:
    heel = np.linspace(-HEEL[-1], HEEL[-1], 251)
    both = CubicSpline(np.concatenate((-HEEL[:0:-1], HEEL)), np.concatenate((-ARM[:0:-1], ARM)))
    expected = both(heel) + CENTRE_Z * np.sin(heel)
    np.testing.assert_allclose(form_lever(heel=heel, curve=curve()), expected, atol=1e-14)


def with_derivatives(heel: Any, table: RightingCurve) -> tuple[FloatArray, ...]:
    state = np.atleast_1d(np.asarray(heel, dtype=float))[None]
    return jets.dense(form_lever(heel=jets.variables(state)[0], curve=table), 1, state.shape[1:])


def test_odd_in_heel() -> None:
    heel = np.linspace(0.01, 2.1, 29)
    leeward, windward = with_derivatives(heel, curve()), with_derivatives(-heel, curve())
    for sign, one, other in zip((-1.0, 1.0, -1.0), leeward, windward, strict=True):
        np.testing.assert_allclose(other, sign * one, rtol=1e-13, atol=1e-15)


def test_value_slope_and_curvature_run_on_through_every_row() -> None:
    rows = np.concatenate((-HEEL[-2:0:-1], HEEL[:-1]))
    before, after = with_derivatives(rows - 1e-9, curve()), with_derivatives(rows + 1e-9, curve())
    for below, above in zip(before, after, strict=True):
        np.testing.assert_allclose(above, below, atol=1e-7)


def test_the_slope_upright_is_the_height_of_the_metacentre() -> None:
    height = righting_curves.initial_metacentre_height(curve=curve())
    assert with_derivatives(0.0, curve())[1][0, 0] == pytest.approx(float(height), rel=1e-13)
    difference = (form_lever(heel=1e-5, curve=curve()) - form_lever(heel=-1e-5, curve=curve())) / 2e-5
    assert float(difference) == pytest.approx(float(height), rel=1e-8)


def test_derivatives_are_those_of_central_differences() -> None:
    heel = np.array([-1.3, -0.2, 0.07, 0.9])
    _, slope, bend = with_derivatives(heel, curve())
    above, below = with_derivatives(heel + 1e-5, curve()), with_derivatives(heel - 1e-5, curve())
    np.testing.assert_allclose(slope[0], (above[0] - below[0]) / 2e-5, atol=1e-8)
    np.testing.assert_allclose(bend[0, 0], (above[1] - below[1])[0] / 2e-5, atol=1e-7)


def test_range() -> None:
    assert curve().heel_range == (-HEEL[-1], HEEL[-1])


# --- kinds of arrays ----------------------------------------------------------------------------------------


def stacked(curves: list[RightingCurve]) -> RightingCurve:
    return RightingCurve(
        **{name: np.stack([vars(each)[name] for each in curves], axis=-1) for name in vars(curves[0])}
    )


def two_boats() -> list[RightingCurve]:
    other = gz_curve(heel=0.9 * HEEL, righting_arm=1.2 * ARM, mass_centre_z=0.1)
    return [curve(), other, curve()]


def test_a_curve_per_condition() -> None:
    heel, weight = np.array([0.3, -0.6, 1.0]), np.array([5e4, 6e4, 7e4])
    together = righting_moment_of_form(heel=heel, weight=weight, curve=stacked(two_boats()))
    for i, table in enumerate(two_boats()):
        alone = righting_moment_of_form(heel=heel[i], weight=weight[i], curve=table)
        assert together[i] == pytest.approx(float(alone), rel=1e-14)


def test_jax_traces_equal_numpy() -> None:
    jax = jax_or_skip()
    table, heel = stacked(two_boats()), np.array([0.3, -0.6, 1.0])
    with double_precision(jax):
        traced = jax.jit(lambda at: form_lever(heel=at, curve=table))(jax.numpy.asarray(heel))
        slope = jax.grad(lambda at: form_lever(heel=at, curve=table).sum())(jax.numpy.asarray(heel))
    np.testing.assert_allclose(traced, form_lever(heel=heel, curve=table), rtol=1e-13)
    np.testing.assert_allclose(slope, with_derivatives(heel, table)[1][0], rtol=1e-12)


# --- swings, refusals ---------------------------------------------------------------------------------------


def test_how_far_the_curve_leaves_its_rows() -> None:
    """A hull that lifts out at 10 deg has a kink there, which a spline rounds by a swing."""
    heel = np.radians(np.arange(0.0, 61.0, 10.0))
    kinked = gz_curve(heel=heel, righting_arm=np.minimum(heel / heel[1], 1.0), mass_centre_z=0.0)
    assert np.argmax(righting_curves.swing(curve=kinked)) == 1
    assert righting_curves.swing(curve=kinked).max() > 0.05
    straight = gz_curve(heel=heel, righting_arm=heel, mass_centre_z=0.0)
    np.testing.assert_allclose(righting_curves.swing(curve=straight), 0.0, atol=1e-14)


BAD: dict[str, tuple[list[float], list[float], str]] = {
    "few": ([0.0, 0.1, 0.2], [0.0, 0.1, 0.2], "at least 4 rows; 3 were given"),
    "order": ([0.0, 0.2, 0.1, 0.3], [0.0, 0.1, 0.2, 0.3], "must rise"),
    "not from upright": ([0.1, 0.2, 0.3, 0.4], [0.0, 0.1, 0.2, 0.3], "begin upright"),
    "an arm upright": ([0.0, 0.1, 0.2, 0.3], [0.1, 0.1, 0.2, 0.3], "begin upright, with no arm"),
}


@pytest.mark.parametrize(("heel", "arm", "message"), BAD.values(), ids=BAD.keys())
def test_what_makes_no_curve_is_refused(heel: list[float], arm: list[float], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        gz_curve(heel=heel, righting_arm=arm, mass_centre_z=0.0)
