"""K. Hasselmann et al., Deutsche Hydrographische Zeitschrift A8(12), 1973, and W. J. Pierson, L. Moskowitz,
Journal of Geophysical Research 69, 1964: waves by wind and fetch (from memory).
"""

import math

import numpy as np
import pytest

from vpp.physics import waves

GRAVITY = 9.80665


@pytest.mark.parametrize("wind_speed", [5.0, 10.0, 20.0])
def test_growing_sea_has_the_variance_and_peak_of_the_north_sea_measurements(wind_speed: float) -> None:
    """g^2 m0/U^4 = 1.6e-7 x and f U/g = 3.5 x^-0.33, x = g F/U^2 (1973)."""
    for x in (1e2, 1e3):
        sea = waves.wind_sea(wind_speed=wind_speed, fetch=x * wind_speed**2 / GRAVITY)
        variance = sea.significant_height**2 / 16.0
        assert variance * GRAVITY**2 / wind_speed**4 == pytest.approx(1.6e-7 * x, rel=1e-4)
        assert wind_speed / (GRAVITY * sea.peak_period) == pytest.approx(3.5 * x**-0.33, rel=1e-4)


@pytest.mark.parametrize("wind_speed", [5.0, 10.0, 20.0])
def test_old_sea_is_fully_developed(wind_speed: float) -> None:
    """S = 0.0081 g^2 w^-5 exp(-0.74 (g/(U w))^4) with the wind at 19.5 m, 1.026 times that at 10 m (1964; the
    ratio from R. H. Stewart, Introduction to Physical Oceanography): variance 0.0081 U^4/(4 0.74 g^2), peak
    at the fourth root of 4 0.74/5 times g/U (calculus).
    """
    aloft = 1.026 * wind_speed
    height = 4.0 * math.sqrt(0.0081 / (4.0 * 0.74)) * aloft**2 / GRAVITY
    period = 2.0 * math.pi * aloft / GRAVITY / (4.0 * 0.74 / 5.0) ** 0.25
    sea = waves.wind_sea(wind_speed=wind_speed, fetch=1e4 * wind_speed**2 * 1e3)
    assert sea.significant_height == pytest.approx(height, rel=0.01)
    assert sea.peak_period == pytest.approx(period, rel=0.01)


def test_growth_ends_smoothly_and_never_turns() -> None:
    fetch = np.geomspace(1e3, 1e8, 400)
    sea = waves.wind_sea(wind_speed=10.0, fetch=fetch)
    for grown in (sea.significant_height, sea.peak_period):
        slope = np.diff(np.log(grown)) / np.diff(np.log(fetch))
        assert np.all(slope >= 0.0)
        assert np.all(np.diff(slope) <= 1e-9)


def test_grown_sea_is_8_percent_low_where_the_two_laws_meet() -> None:
    """2^(-1/8) of either height: the price of the smooth bend."""
    sea = waves.wind_sea(wind_speed=10.0, fetch=1.88e4 * 100.0 / GRAVITY)
    full = waves.wind_sea(wind_speed=10.0, fetch=1e12)
    assert sea.significant_height / full.significant_height == pytest.approx(2.0**-0.125, rel=1e-6)
