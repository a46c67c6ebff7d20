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


def rough(reynolds: object, roughness: object, length: float = 6.0) -> np.ndarray:
    return hull.rough_friction_coefficient(reynolds=reynolds, length=length, roughness=roughness)


def test_no_roughness_is_exactly_the_smooth_line() -> None:
    reynolds = np.logspace(4.0, 10.0, 61)
    np.testing.assert_array_equal(rough(reynolds, 0.0), hull.friction_coefficient(reynolds=reynolds))


def test_rough_and_smooth_hand_over_without_a_jump() -> None:
    """The greater of both lines, and no more above it than stated, on a rising Reynolds number."""
    reynolds = np.logspace(4.5, 9.0, 4001)
    line = hull.rough_line_coefficient(length=6.0, roughness=1e-4)
    greater = np.maximum(hull.friction_coefficient(reynolds=reynolds), line)
    found = rough(reynolds, 1e-4)
    assert np.all(found >= greater * (1.0 - 1e-14))
    assert (found / greater).max() == pytest.approx(1.0156, abs=1e-3)
    assert np.all(np.diff(found) <= 1e-15)
    assert found[0] == hull.friction_coefficient(reynolds=reynolds[0])
    assert found[-1] == pytest.approx(line, rel=1e-12)


def test_frictional_resistance_takes_roughness() -> None:
    """3 m/s on 6.3 m, grains of 0.3 mm: (1.89 + 1.62 log10 21000)^-2.5 by hand, fully rough."""
    expected = 0.5 * 1025.0 * 9.0 * 20.0 * (1.89 + 1.62 * 4.322219) ** -2.5
    resistance = hull.frictional_resistance(
        speed=3.0,
        wetted_area=20.0,
        waterline_length=LENGTH,
        water_density=1025.0,
        water_viscosity=1.19e-6,
        form_factor=0.0,
        roughness=3e-4,
    )
    assert resistance == pytest.approx(expected, rel=1e-6)


def wetted(
    heel_deg: object, beam_draught_ratio: float = 4.0, midship_coefficient: float = 0.72
) -> np.ndarray:
    table = hull.heeled_wetted_coefficients(
        beam_draught_ratio=beam_draught_ratio, midship_coefficient=midship_coefficient
    )
    return hull.heeled_wetted_share(heel=np.radians(heel_deg), coefficients=table)


def test_heeled_wetted_area_by_hand() -> None:
    """Keuning & Sonnenberg 1998 (from memory) at 20 deg, B/T 4, Cm 0.72: 1.850 - 4.8 - 1.744 + 3.86208 %."""
    assert wetted(20.0) == pytest.approx(1.0 - 0.00831920, abs=1e-9)
    assert wetted(0.0) == pytest.approx(1.0, abs=1e-15)


def test_heeled_wetted_area_is_even_and_smooth_upright() -> None:
    heel = np.linspace(0.0, 35.0, 71)
    np.testing.assert_allclose(wetted(heel), wetted(-heel), rtol=1e-13)
    assert abs(wetted(0.01) - wetted(-0.01)) < 1e-14


def test_beamy_hulls_lose_wetted_area_as_they_heel_and_deep_ones_do_not() -> None:
    """A flat hull lifts its windward side out of the water."""
    assert np.all(np.diff(wetted(np.arange(5.0, 36.0), beam_draught_ratio=8.0)) < 0.0)
    assert 1.0 < wetted(20.0, beam_draught_ratio=2.5) < 1.03


@pytest.mark.parametrize("beam_draught_ratio", [2.5, 4.0, 6.0, 8.0])
def test_no_coefficient_of_the_heeled_wetted_area_stands_out(beam_draught_ratio: float) -> None:
    """A wrong digit in one row would show three times as a third difference between neighbouring heels; those
    from 5 to 35 deg stay below 0.7 % of the area. Consistency of numbers from memory, no source.
    """
    values = wetted(np.arange(5.0, 36.0, 5.0), beam_draught_ratio=beam_draught_ratio)
    assert np.abs(np.diff(values, n=3)).max() < 0.007


def test_hulls_outside_the_regression_of_wetted_area_are_refused() -> None:
    with pytest.raises(ValueError, match=r"beam_draught_ratio is 2, allowed 2\.46 to 19\.32"):
        wetted(10.0, beam_draught_ratio=2.0)
    np.testing.assert_array_equal(
        hull.outside_heeled_wetted(heel=np.radians([-36.0, -34.0, 0.0, 36.0])), [True, False, False, True]
    )


DRAUGHT = {"canoe_draught_share": 0.3, "beam_draught_ratio": 4.2, "taper_ratio": 0.7}


def draught_share(froude_number: object, heel_deg: object) -> np.ndarray:
    return hull.effective_draught_share(
        froude_number=froude_number,
        heel=np.radians(heel_deg),
        coefficients=hull.effective_draught_coefficients(**DRAUGHT),
    )


def test_effective_draught_by_hand() -> None:
    """Keuning & Sonnenberg 1998 (from memory) at 20 deg, Fn 0.35: (1.18776 - 0.358236 + 0.11886 - 0.00525)
    (1.5450 - 0.54677).
    """
    assert draught_share(0.35, 20.0) == pytest.approx(0.943134 * 0.99823, rel=1e-6)


def test_effective_draught_is_even_in_heel_and_held_beyond_its_ranges() -> None:
    heel = np.linspace(0.0, 40.0, 81)
    np.testing.assert_allclose(draught_share(0.3, heel), draught_share(0.3, -heel), rtol=1e-12)
    assert draught_share(0.3, 36.0) == pytest.approx(draught_share(0.3, 60.0), rel=1e-14)
    assert draught_share(0.02, 10.0) == pytest.approx(draught_share(0.09, 10.0), rel=1e-14)
    assert draught_share(0.56, 10.0) == pytest.approx(draught_share(0.9, 10.0), rel=1e-14)
    outside = hull.outside_effective_draught(
        froude_number=np.array([0.1, 0.3, 0.3, 0.5]), heel=np.radians([0.0, 20.0, -31.0, 0.0])
    )
    np.testing.assert_array_equal(outside, [True, False, True, True])


def test_effective_draught_never_beats_the_rigid_image_in_its_range() -> None:
    """sqrt(2) of the draught is the limit of a plane fin below a rigid surface (image theorem)."""
    for share in np.linspace(0.2, 0.5, 7):
        table = hull.effective_draught_coefficients(
            canoe_draught_share=share, beam_draught_ratio=4.2, taper_ratio=0.7
        )
        for heel in np.radians([0.0, 10.0, 20.0, 30.0]):
            value = hull.effective_draught_share(
                froude_number=np.linspace(0.2, 0.45, 11), heel=heel, coefficients=table
            )
            assert np.all((value > 0.5) & (value < math.sqrt(2.0)))


def test_boats_outside_the_regression_of_effective_draught_are_refused() -> None:
    with pytest.raises(ValueError, match=r"canoe_draught_share is 0\.1, allowed 0\.2 to 0\.5"):
        hull.effective_draught_coefficients(**{**DRAUGHT, "canoe_draught_share": 0.1})


def test_derivative_arrays_of_the_regressions_agree_with_differences() -> None:
    from vpp.solver import jets

    x = np.stack([np.linspace(0.02, 0.7, 69), np.radians(np.linspace(-40.0, 40.0, 69))])
    draught = hull.effective_draught_coefficients(**DRAUGHT)
    area = hull.heeled_wetted_coefficients(beam_draught_ratio=4.0, midship_coefficient=0.72)

    def total(froude: object, heel: object) -> object:
        return hull.effective_draught_share(
            froude_number=froude, heel=heel, coefficients=draught
        ) + hull.heeled_wetted_share(heel=heel, coefficients=area)

    value, gradient, hessian = jets.dense(total(*jets.variables(x)), 2, x[0].shape)
    step = 1e-4
    np.testing.assert_allclose(value, total(*x), rtol=1e-13)
    for i, shift in enumerate(np.eye(2)[:, :, None] * step):
        high, low = total(*(x + shift)), total(*(x - shift))
        np.testing.assert_allclose(gradient[i], (high - low) / (2.0 * step), atol=2e-4)
        np.testing.assert_allclose(hessian[i, i], (high - 2.0 * total(*x) + low) / step**2, atol=0.05)


def test_derivative_arrays_of_rough_friction_agree_with_differences() -> None:
    from vpp.solver import jets

    speed = np.linspace(0.2, 8.0, 79)

    def coefficient(v: object) -> object:
        return 1e3 * rough(v * 6.0 / 1.19e-6, 1e-4)  # type: ignore[operator]

    (variable,) = jets.variables(speed[None, :])
    value, gradient, _ = jets.dense(coefficient(variable), 1, speed.shape)
    step = 1e-5
    np.testing.assert_allclose(value, coefficient(speed), rtol=1e-13)
    np.testing.assert_allclose(
        gradient[0], (coefficient(speed + step) - coefficient(speed - step)) / (2.0 * step), atol=1e-4
    )
