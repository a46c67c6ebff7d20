"""Spectrum, crests, and the resistance that a seaway adds."""

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from vpp.physics import waves
from vpp.physics.ship_motions import PitchingHull, head_wave_resistance
from vpp.solver import jets

GRAVITY = 9.80665
DENSITY = 1025.97
LENGTH = 8.6


@pytest.fixture(scope="module")
def yacht() -> waves.HeadWaves:
    """An invented 10 m keelboat."""
    return waves.head_waves(
        hull=PitchingHull(
            waterline_length=LENGTH,
            waterline_beam=2.7,
            canoe_draught=0.645,
            volume=5.4,
            prismatic_coefficient=0.56,
            pitch_gyradius=0.25 * LENGTH,
        )
    )


def drag(
    coefficients: Any, *, froude: Any = 0.33, angle: Any = 0.7, height: Any = 1.0, speed: Any = None
) -> Any:
    return waves.added_resistance(
        coefficients=coefficients,
        boat_speed=froude * math.sqrt(GRAVITY * LENGTH) if speed is None else speed,
        true_wind_angle=angle,
        significant_height=height,
        waterline_length=LENGTH,
        water_density=DENSITY,
        gravity=GRAVITY,
    )


def in_period(yacht: waves.HeadWaves, period: Any) -> Any:
    return waves.sea_coefficients(waves=yacht, peak_period=period, gravity=GRAVITY)


@pytest.mark.parametrize(("peakedness", "accuracy"), [(1.0, 1e-4), (2.0, 0.01), (3.3, 0.01), (5.0, 0.02)])
def test_variance_of_the_spectrum_is_a_sixteenth_of_the_squared_height(
    peakedness: float, accuracy: float
) -> None:
    """m0 = Hs^2/16 by definition; the ITTC's factor for raised peaks is within 1 to 2 %."""
    frequency = np.geomspace(0.2, 60.0, 20001)
    sea = waves.Sea(significant_height=1.7, peak_period=5.0)
    density = waves.wave_spectrum(frequency=frequency, sea=sea, peakedness=peakedness)
    assert np.trapezoid(density, frequency) == pytest.approx(1.7**2 / 16.0, rel=accuracy)
    assert 2.0 * math.pi / frequency[density.argmax()] == pytest.approx(5.0, rel=0.002)


def test_raised_peak_is_that_many_times_the_plain_one() -> None:
    sea = waves.Sea(significant_height=1.0, peak_period=4.0)
    plain, raised = (waves.wave_spectrum(frequency=0.5 * math.pi, sea=sea, peakedness=p) for p in (1.0, 3.3))
    assert raised / plain == pytest.approx(3.3 * (1.0 - 0.287 * math.log(3.3)))


def test_zero_crossing_period_of_the_plain_spectrum() -> None:
    """Tz/Tp = (5 pi/4)^-1/4 = 0.710 by its moments (calculus)."""
    frequency = np.geomspace(0.2, 2000.0, 40001)
    density = waves.wave_spectrum(frequency=frequency, sea=waves.Sea(significant_height=1.0, peak_period=5.0))
    m0, m2 = (np.trapezoid(density * frequency**n, frequency) for n in (0, 2))
    assert 2.0 * math.pi * math.sqrt(m0 / m2) / 5.0 == pytest.approx((1.25 * math.pi) ** -0.25, rel=1e-4)


@pytest.mark.parametrize(("share", "amplitude"), [(0.1, 0.53648), (math.exp(-2.0), 0.5), (0.01, 0.75871)])
def test_crests_that_few_waves_exceed(share: float, amplitude: float) -> None:
    """exp(-8 a^2/Hs^2) of the waves are higher than a (Longuet-Higgins 1952): Hs/2 is exceeded by 13.5 %."""
    crest, trough = waves.crest_and_trough(significant_height=np.array([1.0, 2.0]), share=share)
    np.testing.assert_allclose(crest, [amplitude, 2.0 * amplitude], rtol=1e-4)
    np.testing.assert_array_equal(crest, trough)


def test_significant_height_is_the_mean_of_the_highest_third() -> None:
    """1.416 times the root of 8 m0, hence 4.0 times that of m0 (Longuet-Higgins 1952)."""
    shares = (np.arange(200000) + 0.5) / 200000.0 / 3.0
    heights = [2.0 * waves.crest_and_trough(significant_height=1.0, share=float(s))[0] for s in shares[::20]]
    assert np.mean(heights) == pytest.approx(1.0, abs=0.002)


@pytest.mark.parametrize("share", [0.0, 1.0, -0.1, math.nan])
def test_share_of_waves_outside_0_to_1_is_refused(share: float) -> None:
    with pytest.raises(ValueError, match="must lie between 0 and 1"):
        waves.crest_and_trough(significant_height=1.0, share=share)


def test_added_resistance_is_the_integral_over_the_spectrum(yacht: waves.HeadWaves) -> None:
    """2 int S R/a^2 domega (Maruo 1957) by another rule on another grid, at a Froude number of the table."""
    frequency = np.linspace(0.9, 8.0, 3001)
    response = head_wave_resistance(
        hull=yacht.hull, froude_number=[0.32], frequency=frequency * math.sqrt(LENGTH / GRAVITY)
    )[0]
    sea = waves.Sea(significant_height=0.8, peak_period=3.5)
    density = waves.wave_spectrum(frequency=frequency, sea=sea)
    expected = 2.0 * DENSITY * GRAVITY * LENGTH * np.trapezoid(density * response, frequency)
    found = drag(in_period(yacht, 3.5), froude=0.32, height=0.8)
    assert found == pytest.approx(expected, rel=0.005)


def test_table_over_froude_number_is_fine_enough(yacht: waves.HeadWaves) -> None:
    """Midway between its knots, against a table with knots there."""
    step = waves._FROUDE_STEP
    shifted = head_wave_resistance(
        hull=yacht.hull, froude_number=step * (np.arange(4, 12) + 0.5), frequency=waves._FREQUENCIES
    )
    exact = in_period(waves.HeadWaves(hull=yacht.hull, response=shifted), 3.0)
    for row in range(7):
        between = drag(in_period(yacht, 3.0), froude=step * (row + 4.5))
        assert between == pytest.approx(drag(exact, froude=step * row), rel=1e-3)


def test_size_of_the_added_resistance_of_a_keelboat(yacht: waves.HeadWaves) -> None:
    """Some tenths of its whole drag on flat water, 870 N by the demo boat at Froude number 0.33, in 0.5 m of
    short sea (common practice, no source).
    """
    assert 0.1 < float(drag(in_period(yacht, 3.0), height=0.5)[0]) / 870.0 < 0.6


def test_added_resistance_goes_with_the_square_of_the_height(yacht: waves.HeadWaves) -> None:
    low, high = (drag(in_period(yacht, 3.0), height=h) for h in (0.3, 0.9))
    np.testing.assert_allclose(high, 9.0 * low, rtol=1e-12)


def test_added_resistance_is_most_in_the_waves_that_move_the_boat(yacht: waves.HeadWaves) -> None:
    ripple, middle, swell = drag(in_period(yacht, [1.5, 3.0, 10.0]))
    assert middle > 3.0 * ripple
    assert middle > 20.0 * swell


@pytest.mark.parametrize(
    ("angle_deg", "share"), [(0.0, 1.0), (45.0, 1.0), (-40.0, 1.0), (67.5, 0.5), (90.0, 0.0), (150.0, 0.0)]
)
def test_share_by_heading(angle_deg: float, share: float) -> None:
    found = waves.heading_share(true_wind_angle=math.radians(angle_deg))
    assert found == pytest.approx(share, abs=1e-12)


def test_added_resistance_stays_finite_and_flat_beyond_its_table(yacht: waves.HeadWaves) -> None:
    found = [float(drag(in_period(yacht, 3.0), froude=f)[0]) for f in (1.2, 1.3, 5.0)]
    assert found[0] > 0.0
    assert found[1:] == [found[0]] * 2


@pytest.mark.parametrize("variable", ["speed", "angle"])
def test_added_resistance_is_twice_continuously_differentiable(yacht: waves.HeadWaves, variable: str) -> None:
    """From rest to beyond the table, and round the beam: second derivatives make no jump that a finer walk
    does not halve.
    """
    coefficients = in_period(yacht, 3.0)
    jumps = []
    for count in (2001, 4001):
        x = np.linspace(*((0.0, 13.0) if variable == "speed" else (0.0, math.pi)), count)
        argument = jets.variables(x[None])[0]
        many = np.repeat(coefficients, count, axis=-1)
        found = drag(many, speed=argument) if variable == "speed" else drag(many, angle=argument)
        _, gradient, hessian = jets.dense(found, 1, (count,))
        assert np.isfinite(hessian).all()
        np.testing.assert_allclose(
            np.gradient(found.value, x)[5:-5], gradient[0, 5:-5], atol=1e-3 * np.abs(gradient).max()
        )
        jumps.append(np.abs(np.diff(hessian[0, 0])).max())
    assert jumps[1] == pytest.approx(0.5 * jumps[0], rel=0.1)


def test_several_hulls_and_seas_go_together(yacht: waves.HeadWaves) -> None:
    alone = [float(drag(in_period(yacht, t), froude=f)[0]) for t, f in ((2.5, 0.2), (4.0, 0.35))]
    together = drag(in_period(yacht, [2.5, 4.0]), froude=np.array([0.2, 0.35]))
    np.testing.assert_allclose(together, alone, rtol=1e-12)


def test_jax_gives_the_same(yacht: waves.HeadWaves) -> None:
    jax = pytest.importorskip("jax", reason="needs jax, an independent differentiation")
    coefficients = in_period(yacht, 3.0)

    def of_speed(speed: Any) -> Any:
        return drag(coefficients, speed=speed, angle=1.2).sum()

    with jax.enable_x64(True):
        derivative = curvature(jax, of_speed)(np.array([2.9]))
    speed = jets.variables(np.array([[2.9]]))[0]
    _, _, hessian = jets.dense(drag(coefficients, speed=speed, angle=1.2), 1, (1,))
    assert float(derivative[0, 0]) == pytest.approx(hessian[0, 0, 0], rel=1e-9)


def curvature(jax: Any, function: Callable[..., Any]) -> Callable[..., Any]:
    return jax.hessian(function)  # type: ignore[no-any-return]


@pytest.mark.parametrize(
    ("changes", "outside"),
    [
        ({}, set()),
        ({"speed": 0.5}, {"froude_number"}),
        ({"speed": 5.0}, {"froude_number"}),
        ({"period": 1.5, "height": 0.1}, {"wave_length"}),
        ({"period": 8.0}, {"wave_length"}),
        ({"height": 1.2}, {"steepness"}),
        ({"angle": 1.0}, {"true_wind_angle"}),
        ({"speed": math.nan}, {"froude_number"}),
        ({"speed": 5.0, "height": 0.0}, set()),
    ],
)
def test_what_is_outside_the_range_is_named(
    yacht: waves.HeadWaves, changes: dict[str, float], outside: set[str]
) -> None:
    state = {"height": 0.5, "period": 3.0, "speed": 3.0, "angle": 0.7} | changes
    masks = waves.outside_range(
        hull=yacht.hull,
        sea=waves.Sea(significant_height=np.array([state["height"]]), peak_period=state["period"]),
        boat_speed=state["speed"],
        true_wind_angle=state["angle"],
        gravity=GRAVITY,
    )
    assert {name for name, mask in masks.items() if mask.all()} == outside


def test_wind_sea_takes_arrays_and_derivatives() -> None:
    wind_speed, fetch = jets.variables(np.array([[6.0, 12.0], [5e3, 2e5]]))
    sea = waves.wind_sea(wind_speed=wind_speed, fetch=fetch)
    for name in ("significant_height", "peak_period"):
        _, gradient, _ = jets.dense(getattr(sea, name), 2, (2,))
        high, low = (
            getattr(waves.wind_sea(wind_speed=wind_speed.value + h, fetch=fetch.value), name)
            for h in (1e-5, -1e-5)
        )
        np.testing.assert_allclose(gradient[0], (high - low) / 2e-5, rtol=1e-6)
