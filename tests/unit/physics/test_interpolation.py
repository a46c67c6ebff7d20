"""Cubic splines on even and on free knots against SciPy's, and on every kind of array."""

import numpy as np
import pytest
from scipy.interpolate import BSpline, CubicSpline

from vpp.physics.interpolation import (
    cubic_coefficients,
    piecewise_cubic,
    smooth_coefficients,
    uneven_cubic,
    uneven_cubic_coefficients,
)

START, STEP = -0.5, 0.25
KNOTS = START + STEP * np.arange(9)
VALUES = np.sin(2.0 * KNOTS) + KNOTS**2
INSIDE = np.linspace(KNOTS[0], KNOTS[-1], 201)


def evaluate(x: object, coefficients: object) -> np.ndarray:
    return piecewise_cubic(x=x, start=START, step=STEP, coefficients=coefficients)


def test_free_ends_agree_with_scipy() -> None:
    expected = CubicSpline(KNOTS, VALUES, bc_type="not-a-knot")(INSIDE)
    np.testing.assert_allclose(evaluate(INSIDE, cubic_coefficients(values=VALUES)), expected, atol=1e-13)


def test_given_slopes_agree_with_scipy() -> None:
    expected = CubicSpline(KNOTS, VALUES, bc_type=((1, 0.3), (1, -1.2)))(INSIDE)
    coefficients = cubic_coefficients(values=VALUES, start_slope=0.3 * STEP, end_slope=-1.2 * STEP)
    np.testing.assert_allclose(evaluate(INSIDE, coefficients), expected, atol=1e-13)


def test_one_given_slope_agrees_with_scipy() -> None:
    expected = CubicSpline(KNOTS, VALUES, bc_type=("not-a-knot", (1, -1.2)))(INSIDE)
    coefficients = cubic_coefficients(values=VALUES, end_slope=-1.2 * STEP)
    np.testing.assert_allclose(evaluate(INSIDE, coefficients), expected, atol=1e-13)


def test_a_cubic_is_reproduced_and_goes_on_beyond_the_knots() -> None:
    def cubic(x: np.ndarray) -> np.ndarray:
        return 1.0 - 2.0 * x + 0.5 * x**2 + 3.0 * x**3

    beyond = np.linspace(-1.0, 2.5, 57)
    np.testing.assert_allclose(
        evaluate(beyond, cubic_coefficients(values=cubic(KNOTS))), cubic(beyond), atol=1e-11
    )


def test_smooth_curve_agrees_with_scipy() -> None:
    control = np.random.default_rng(3).uniform(0.0, 1.0, 11)
    knots = START + STEP * np.arange(-3, 12)
    expected = BSpline(knots, control, 3)(INSIDE)
    np.testing.assert_allclose(evaluate(INSIDE, smooth_coefficients(control=control)), expected, atol=1e-13)


def test_smooth_curve_rises_with_its_control_values() -> None:
    """Where a spline through the points would swing below zero."""
    control = np.concatenate((np.zeros(4), np.geomspace(1e-6, 1.0, 7)))
    curve = evaluate(INSIDE, smooth_coefficients(control=control))
    assert curve.min() >= 0.0
    assert np.all(np.diff(curve) >= 0.0)


@pytest.mark.parametrize("make", [cubic_coefficients, smooth_coefficients])
def test_value_slope_and_curvature_are_continuous_at_the_knots(make: object) -> None:
    argument = "values" if make is cubic_coefficients else "control"
    c0, c1, c2, c3 = make(**{argument: VALUES})  # type: ignore[operator]
    np.testing.assert_allclose((c0 + c1 + c2 + c3)[:-1], c0[1:], atol=1e-13)
    np.testing.assert_allclose((c1 + 2.0 * c2 + 3.0 * c3)[:-1], c1[1:], atol=1e-13)
    np.testing.assert_allclose((c2 + 3.0 * c3)[:-1], c2[1:], atol=1e-13)


def test_a_curve_per_condition() -> None:
    scale = np.array([1.0, -2.0, 0.5])
    together = cubic_coefficients(values=VALUES[:, None] * scale)
    x = np.array([[-0.5, 0.1, 1.5], [0.0, 0.7, 1.2]])
    expected = scale * evaluate(x, cubic_coefficients(values=VALUES))
    np.testing.assert_allclose(evaluate(x, together), expected, atol=1e-13)
    np.testing.assert_allclose(evaluate(x[0], together), expected[0], atol=1e-13)


def test_a_plain_number() -> None:
    assert float(evaluate(0.25, cubic_coefficients(values=VALUES))) == pytest.approx(VALUES[3], abs=1e-14)


def test_what_is_not_a_number_stays_so_and_leaves_its_neighbours_alone() -> None:
    result = evaluate(np.array([np.nan, 0.25]), cubic_coefficients(values=VALUES))
    assert np.isnan(result[0])
    assert result[1] == pytest.approx(VALUES[3])


def test_too_few_values_are_refused() -> None:
    with pytest.raises(ValueError, match="at least four values"):
        cubic_coefficients(values=[0.0, 1.0, 2.0])


def test_derivative_arrays_carry_slope_and_curvature() -> None:
    from vpp.solver import jets

    x = np.array([-0.4, 0.3, 1.1])
    (variable,) = jets.variables(x[None, :])
    value, gradient, hessian = jets.dense(evaluate(variable, cubic_coefficients(values=VALUES)), 1, x.shape)
    reference = CubicSpline(KNOTS, VALUES)
    np.testing.assert_allclose(value, reference(x), atol=1e-13)
    np.testing.assert_allclose(gradient[0], reference(x, 1), atol=1e-12)
    np.testing.assert_allclose(hessian[0, 0], reference(x, 2), atol=1e-11)


def test_traced_arrays_carry_the_slope() -> None:
    jax = pytest.importorskip("jax", reason="needs jax")
    coefficients = cubic_coefficients(values=VALUES)
    x = 0.3
    slope = jax.jit(jax.grad(lambda at: evaluate(at, coefficients)))(x)
    assert float(slope) == pytest.approx(float(CubicSpline(KNOTS, VALUES)(x, 1)), rel=1e-5)


# --- knots where they please --------------------------------------------------------------------------------


def test_uneven_knots_agree_with_scipy() -> None:
    knots, values = np.array([0.0, 0.3, 1.0, 1.1, 2.5, 3.0]), np.array([1.0, -1.0, 0.5, 2.0, 2.0, -0.3])
    coefficients = uneven_cubic_coefficients(knots=knots, values=values)
    x = np.linspace(-0.2, 3.2, 341)
    found = uneven_cubic(x=x, knots=knots, coefficients=coefficients)
    np.testing.assert_allclose(found, CubicSpline(knots, values)(x), atol=1e-12)


def test_even_knots_give_the_same_curve_either_way() -> None:
    values = np.array([0.0, 1.0, 0.2, -0.5, 0.7])
    x = np.linspace(0.0, 2.0, 51)
    even = piecewise_cubic(x=x, start=0.0, step=0.5, coefficients=cubic_coefficients(values=values))
    knots = np.arange(5) * 0.5
    uneven = uneven_cubic(
        x=x, knots=knots, coefficients=uneven_cubic_coefficients(knots=knots, values=values)
    )
    np.testing.assert_allclose(uneven, even, atol=1e-13)


def test_an_uneven_curve_per_condition() -> None:
    knots = np.array([[0.0, 0.0], [1.0, 0.5], [1.5, 2.0], [3.0, 3.0]])
    values = np.array([[0.0, 1.0], [1.0, 1.0], [0.0, 3.0], [2.0, 0.0]])
    pieces = [uneven_cubic_coefficients(knots=knots[:, i], values=values[:, i]) for i in range(2)]
    found = uneven_cubic(x=np.array([1.2, 0.4]), knots=knots, coefficients=np.stack(pieces, axis=-1))
    for i, x in enumerate((1.2, 0.4)):
        assert found[i] == pytest.approx(float(CubicSpline(knots[:, i], values[:, i])(x)), rel=1e-12)


def test_knots_that_do_not_rise_and_too_few_are_refused() -> None:
    with pytest.raises(ValueError, match="rise"):
        uneven_cubic_coefficients(knots=[0.0, 1.0, 1.0, 2.0], values=[0.0, 1.0, 2.0, 3.0])
    with pytest.raises(ValueError, match="four"):
        uneven_cubic_coefficients(knots=[0.0, 1.0, 2.0], values=[0.0, 1.0, 2.0])
