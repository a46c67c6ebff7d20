"""Stand-ins for kinks: equal to what they stand for outside their width, and smooth through it."""

import numpy as np
import pytest

from vpp.physics.smoothing import RAMP_EXCESS, smooth_clamp, smooth_ramp


def test_ramp_is_exact_outside_its_width() -> None:
    value = np.array([-3.0, -0.2, 0.2, 0.7, 5.0])
    np.testing.assert_allclose(smooth_ramp(value=value, width=0.2), np.maximum(value, 0.0), atol=1e-15)


def test_ramp_rises_and_exceeds_the_kinked_one_by_no_more_than_stated() -> None:
    value = np.linspace(-1.5, 1.5, 3001)
    ramp = smooth_ramp(value=value, width=1.0)
    excess = ramp - np.maximum(value, 0.0)
    assert np.all(np.diff(ramp) >= 0.0)
    assert excess.min() >= -1e-15
    assert excess.max() == pytest.approx(RAMP_EXCESS, rel=1e-12)
    assert smooth_ramp(value=0.0, width=1.0) == pytest.approx(RAMP_EXCESS, rel=1e-12)


def test_curvature_of_the_ramp_has_no_jump() -> None:
    def largest_change(count: int) -> float:
        value = np.linspace(-1.5, 1.5, count)
        curvature = np.diff(smooth_ramp(value=value, width=1.0), n=2) / (value[1] - value[0]) ** 2
        return float(np.abs(np.diff(curvature)).max())

    assert largest_change(6001) == pytest.approx(0.5 * largest_change(3001), rel=0.02)


def test_clamp_keeps_the_middle_and_holds_the_ends() -> None:
    value = np.array([-9.0, -0.1, 0.1, 0.5, 0.9, 1.1, 9.0])
    held = smooth_clamp(value=value, low=0.0, high=1.0, width=0.1)
    np.testing.assert_allclose(held, [0.0, 0.0, 0.1, 0.5, 0.9, 1.0, 1.0], atol=1e-14)
