"""Wind profiles over open water: Hsu, Meindl & Gilhousen, Journal of Applied Meteorology 33, 1994, and the
logarithmic law.
"""

import pytest

from vpp.physics import wind


def test_power_law_with_one_seventh() -> None:
    """(20/10)^(1/7) = 1.1041, closed form."""
    ratio = wind.power_law_profile(height=20.0, exponent=1.0 / 7.0, reference_height=10.0)
    assert ratio == pytest.approx(1.1041, abs=5e-5)


def test_log_law() -> None:
    """ln(20/0.001)/ln(10/0.001) = 1.0753, closed form."""
    ratio = wind.log_law_profile(height=20.0, roughness_length=0.001, reference_height=10.0)
    assert ratio == pytest.approx(1.0753, abs=5e-5)


@pytest.mark.parametrize("height", [2.0, 5.0, 20.0])
def test_both_laws_agree_over_a_rig_in_near_neutral_air(height: float) -> None:
    """Hsu, Meindl & Gilhousen 1994 (from memory): the exponent over open sea is 0.11 +- 0.03.

    The logarithmic law with a roughness of 0.1 to 1 mm (calm to a breeze; common practice, no source) lies
    inside that band.
    """
    low, high = sorted(
        wind.power_law_profile(height=height, exponent=exponent, reference_height=10.0)
        for exponent in (0.08, 0.14)
    )
    for roughness in (1e-4, 1e-3):
        ratio = wind.log_law_profile(height=height, roughness_length=roughness, reference_height=10.0)
        assert low < ratio < high


def test_log_law_has_the_slope_of_a_power_law_at_the_reference_height() -> None:
    """d ln u/d ln z = 1/ln(10/z0) at 10 m (closed form): 0.087 to 0.109 for a roughness of 0.1 to 1 mm,
    inside 0.11 +- 0.03.
    """
    for roughness, exponent in ((1e-4, 0.08686), (1e-3, 0.10857)):
        step = 1e-4
        slope = (
            wind.log_law_profile(height=10.0 + step, roughness_length=roughness, reference_height=10.0) - 1.0
        ) * (10.0 / step)
        assert slope == pytest.approx(exponent, rel=1e-3)
        assert 0.08 < slope < 0.14
