"""Rough plates: L. Prandtl, H. Schlichting, 1934, in H. Schlichting, Boundary-Layer Theory (from memory)."""

import numpy as np
import pytest

from vpp.physics import hull


@pytest.mark.parametrize(
    ("ratio", "expected"), [(1e3, 8.447e-3), (1e4, 4.934e-3), (1e5, 3.170e-3), (1e6, 2.177e-3)]
)
def test_fully_rough_line(ratio: float, expected: float) -> None:
    """(1.89 + 1.62 log10(L/ks))^-2.5, evaluated by hand to four digits."""
    found = hull.rough_friction_coefficient(reynolds=1e10, length=1.0, roughness=1.0 / ratio)
    assert found == pytest.approx(expected, rel=3e-4)


@pytest.mark.parametrize("roughness", [1e-5, 5e-5, 2e-4])
@pytest.mark.parametrize("length", [0.5, 6.0])
def test_roughness_sets_in_near_a_grain_reynolds_number_of_100(roughness: float, length: float) -> None:
    """Two lines from different sources cross near the admissible roughness, Re_k = 100: at 70 to 95. A
    plate is exactly smooth below 35, and 3 to 6 % dearer than a smooth one at the admissible roughness.
    """
    reynolds = np.logspace(4.0, 9.0, 20001)
    smooth = hull.friction_coefficient(reynolds=reynolds)
    rough = hull.rough_line_coefficient(length=length, roughness=roughness)
    on_grains = reynolds * roughness / length
    crossing = float(on_grains[int(np.argmin(np.abs(rough / smooth - 1.0)))])
    assert 70.0 < crossing < 95.0
    found = hull.rough_friction_coefficient(reynolds=reynolds, length=length, roughness=roughness)
    np.testing.assert_array_equal(found[on_grains < 35.0], smooth[on_grains < 35.0])
    admissible = hull.admissible_roughness(reynolds=reynolds, length=length)
    excess = np.interp(1.0, roughness / admissible, found / smooth - 1.0)
    assert 0.03 < excess < 0.06


def test_a_fouled_bottom_costs_what_is_reported_of_it() -> None:
    """Between smooth and 0.3 mm of sand, friction of a 10 m boat grows by 5 to 60 % (common practice, no
    source: 5 to 50 % for roughness and light fouling).
    """
    reynolds, length = 3.5 * 6.0 / 1.19e-6, 6.0
    smooth = hull.friction_coefficient(reynolds=reynolds)
    growth = [
        float(hull.rough_friction_coefficient(reynolds=reynolds, length=length, roughness=ks) / smooth) - 1.0
        for ks in (3e-5, 1e-4, 3e-4)
    ]
    assert growth == sorted(growth)
    assert 0.02 < growth[0] < 0.10
    assert growth[-1] < 0.60
