"""Hull resistance: friction in numbers, the shape of residuary curves, and what is refused."""

import itertools
import math

import numpy as np
import pytest

from vpp.physics import hull
from vpp.physics.interpolation import piecewise_cubic
from vpp.physics.thin_ship import michell_wave_resistance

LENGTH = 9.0
LOW, HIGH = np.array(list(hull.DATA_RANGES.values())).T
MIDDLE = 0.5 * (LOW + HIGH)
FROUDE = np.linspace(0.0, hull.EXTENDED_FROUDE_LIMIT, 2601)


def form(parameters: np.ndarray) -> dict[str, float]:
    """The arguments of a hull with these form parameters, in the order of `DATA_RANGES`."""
    share, prismatic, length_volume, beam_draught, length_beam = (float(value) for value in parameters)
    return {
        "waterline_length": LENGTH,
        "waterline_beam": LENGTH / length_beam,
        "canoe_draught": LENGTH / length_beam / beam_draught,
        "canoe_volume": (LENGTH / length_volume) ** 3,
        "prismatic_coefficient": prismatic,
        "buoyancy_centre_share": share,
    }


def ratio(froude_number: object, parameters: np.ndarray = MIDDLE) -> np.ndarray:
    curve = hull.residuary_curve(**form(parameters))
    return piecewise_cubic(
        x=froude_number, start=curve.start, step=curve.step, coefficients=curve.coefficients
    )


def friction(speed: object, form_factor: float = 0.0) -> np.ndarray:
    return hull.frictional_resistance(
        speed=speed,
        wetted_area=20.0,
        waterline_length=LENGTH,
        water_density=1025.0,
        water_viscosity=1.19e-6,
        form_factor=form_factor,
    )


def test_friction_worked_by_hand() -> None:
    """3 m/s on 0.7 * 9 m: Re 1.58824e7, Cf 0.075/(7.200915 - 2)^2 = 2.77269e-3; 0.5 * 1025 * 9 * 20 * Cf."""
    assert friction(3.0) == pytest.approx(255.78, abs=0.01)


def test_form_factor_adds_its_share() -> None:
    assert friction(3.0, form_factor=0.1) == pytest.approx(1.1 * friction(3.0), rel=1e-12)


def test_friction_is_smooth_and_grows_down_to_low_speed() -> None:
    speed = np.linspace(0.05, 12.0, 2391)
    resistance = friction(speed)
    assert resistance[0] > 0.0
    assert np.all(np.diff(resistance) > 0.0)
    # between the first and the second power of speed over its whole range
    power = np.diff(np.log(resistance)) / np.diff(np.log(speed))
    assert power.min() > 1.6
    assert power.max() < 2.0


@pytest.fixture(scope="module")
def crowd_of_curves() -> np.ndarray:
    """Resistance over weight (n_hulls, n_froude) at every corner of the series' box and at random inside
    it.
    """
    corners = np.array(list(itertools.product(*zip(LOW, HIGH, strict=True))))
    crowd = LOW + (HIGH - LOW) * np.random.default_rng(7).random((88, 5))
    return np.array([ratio(FROUDE, parameters) for parameters in np.vstack((corners, crowd))])


def test_residuary_resistance_is_positive_and_rises_for_any_hull_of_the_series(
    crowd_of_curves: np.ndarray,
) -> None:
    assert np.all(crowd_of_curves[:, 0] == 0.0)
    assert np.all(np.diff(crowd_of_curves) >= 0.0)
    assert np.all(crowd_of_curves[:, FROUDE > 0.1] > 0.0)


def test_residuary_resistance_is_small_below_the_data(crowd_of_curves: np.ndarray) -> None:
    """So that the power law there, which nothing supports, matters little: under 0.012 % of weight."""
    below = crowd_of_curves[:, hull.DATA_FROUDE_RANGE[0] >= FROUDE]
    assert below.max() < 1.2e-4


def test_residuary_curve_is_twice_continuously_differentiable() -> None:
    c0, c1, c2, c3 = hull.residuary_curve(**form(MIDDLE)).coefficients
    np.testing.assert_allclose((c0 + c1 + c2 + c3)[:-1], c0[1:], atol=1e-15)
    np.testing.assert_allclose((c1 + 2.0 * c2 + 3.0 * c3)[:-1], c1[1:], atol=1e-15)
    np.testing.assert_allclose((c2 + 3.0 * c3)[:-1], c2[1:], atol=1e-15)


def test_extension_grows_as_a_thin_ship_does_a_little_later() -> None:
    """One delay in Froude number, found from one step of growth, explains the others (Michell 1898)."""

    def growth(lower: float, upper: float, delay: float) -> float:
        thin_ship = michell_wave_resistance(
            froude_number=np.array([lower, upper]) - delay,
            length_beam_ratio=MIDDLE[4],
            beam_draught_ratio=MIDDLE[3],
        )
        return float(thin_ship[1] / thin_ship[0])

    delays = np.linspace(0.0, 0.1, 401)
    misses = [abs(growth(0.475, 0.525, d) - ratio(0.525) / ratio(0.475)) for d in delays]
    delay = float(delays[int(np.argmin(misses))])
    assert 0.01 < delay < 0.06
    assert ratio(0.6) / ratio(0.525) == pytest.approx(growth(0.525, 0.6, delay), rel=5e-3)
    assert ratio(0.675) / ratio(0.6) == pytest.approx(growth(0.6, 0.675, delay), rel=5e-3)


def test_extension_leaves_the_data_with_the_growth_of_the_data() -> None:
    """The growth over the last step of the tests and over the next of the extension differ by the bend, not
    by a jump.
    """
    last, step = hull.DATA_FROUDE_RANGE[1], 0.005
    before = math.log(ratio(last) / ratio(last - step)) / step
    after = math.log(ratio(last + step) / ratio(last)) / step
    assert after == pytest.approx(before, rel=0.1)


def test_residuary_resistance_is_the_curve_times_weight() -> None:
    curve = hull.residuary_curve(**form(MIDDLE))
    froude = np.array([0.2, 0.35])
    resistance = hull.residuary_resistance(
        froude_number=froude,
        weight=np.array([3e4, 5e4]),
        start=curve.start,
        step=curve.step,
        coefficients=curve.coefficients,
    )
    np.testing.assert_allclose(resistance, ratio(froude) * np.array([3e4, 5e4]))


def test_hulls_of_the_series_and_its_limits_are_inside() -> None:
    for parameters in (LOW, MIDDLE, HIGH):
        assert hull.outside_series(**form(parameters)) == []


def test_every_parameter_outside_is_named_with_its_range() -> None:
    parameters = MIDDLE.copy()
    parameters[2], parameters[4] = 7.0, 5.0
    outside = hull.outside_series(**form(parameters))
    assert [name for name, *_ in outside] == ["length_displacement_ratio", "length_beam_ratio"]
    assert outside[0][1:] == pytest.approx((7.0, 4.34, 5.14))
    assert outside[1][1:] == pytest.approx((5.0, 2.73, 3.64))
    with pytest.raises(ValueError, match=r"length_displacement_ratio is 7, allowed 4\.34 to 5\.14; "):
        hull.residuary_curve(**form(parameters))


def test_size_does_not_matter_at_the_same_froude_number() -> None:
    small = form(MIDDLE)
    large = {
        key: value
        * {"canoe_volume": 8.0, "prismatic_coefficient": 1.0, "buoyancy_centre_share": 1.0}.get(key, 2.0)
        for key, value in small.items()
    }
    np.testing.assert_allclose(
        hull.residuary_curve(**small).coefficients, hull.residuary_curve(**large).coefficients, rtol=1e-9
    )


def test_heel_adds_nothing_upright_and_its_share_at_20_degrees() -> None:
    heel = np.radians([-20.0, 0.0, 10.0, 20.0])
    factor = hull.heel_resistance_factor(heel=heel, growth_at_20deg=0.08)
    np.testing.assert_allclose(factor, [1.08, 1.0, 1.02, 1.08])


def test_derivative_arrays_agree_with_differences() -> None:
    from vpp.solver import jets

    speed = np.linspace(0.3, 5.0, 48)
    curve = hull.residuary_curve(**form(MIDDLE))

    def total(v: object) -> object:
        froude = v / math.sqrt(9.80665 * LENGTH)  # type: ignore[operator]
        return friction(v) + hull.residuary_resistance(
            froude_number=froude,
            weight=3e4,
            start=curve.start,
            step=curve.step,
            coefficients=curve.coefficients,
        )

    (variable,) = jets.variables(speed[None, :])
    value, gradient, hessian = jets.dense(total(variable), 1, speed.shape)
    step = 1e-4
    low, middle, high = (total(speed + shift) for shift in (-step, 0.0, step))
    np.testing.assert_allclose(value, middle, rtol=1e-13)
    np.testing.assert_allclose(gradient[0], (high - low) / (2.0 * step), rtol=1e-6, atol=1e-4)
    np.testing.assert_allclose(hessian[0, 0], (high - 2.0 * middle + low) / step**2, rtol=1e-3, atol=0.2)


@pytest.mark.parametrize("froude_number", [0.1, 2.0, float("nan")])
def test_thin_ship_outside_its_range_is_refused(froude_number: float) -> None:
    with pytest.raises(ValueError, match=r"from Froude number 0\.2 to 1\.5 only"):
        michell_wave_resistance(froude_number=froude_number, length_beam_ratio=10.0, beam_draught_ratio=1.6)


def test_thin_ship_resistance_is_proportional_to_beam_squared() -> None:
    """At the same draught: the theory is linear in the hull's slopes."""
    narrow = michell_wave_resistance(froude_number=0.4, length_beam_ratio=10.0, beam_draught_ratio=2.0)
    wide = michell_wave_resistance(froude_number=0.4, length_beam_ratio=5.0, beam_draught_ratio=4.0)
    assert wide == pytest.approx(4.0 * narrow, rel=1e-12)
