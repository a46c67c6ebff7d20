"""F. Ursell, Quarterly Journal of Mechanics and Applied Mathematics 2, 1949, and the energy of waves:
sections that heave at the surface.
"""

import math

import numpy as np
import pytest

from vpp.physics import ship_motions

HALF_CIRCLE = {"beam_draught_ratio": 2.0, "area_coefficient": math.pi / 4.0}
YACHT = {"beam_draught_ratio": 4.2, "area_coefficient": 0.64}
FLAT = {"beam_draught_ratio": 10.0, "area_coefficient": 0.7}


@pytest.mark.parametrize("section", [HALF_CIRCLE, YACHT, FLAT])
def test_damping_is_the_energy_of_the_waves_sent_out(section: dict[str, float]) -> None:
    """b = rho g^2 A^2/omega^3 with the waves' height A over that of the motion (energy flux to both sides,
    exact).
    """
    number = np.array([0.01, 0.1, 0.3, 1.0, 2.0])
    _, damping, waves = ship_motions.heaving_section(frequency_number=number, **section)
    np.testing.assert_allclose(4.0 * damping * number**2, waves**2, rtol=1e-3)


@pytest.mark.parametrize("section", [HALF_CIRCLE, YACHT, FLAT])
def test_slow_heave_sends_out_the_waves_of_a_line_of_sources(section: dict[str, float]) -> None:
    """A = omega^2 B/g (1 - O(omega^2 B/g)): displaced water alone counts (thin-ship theory, exact limit)."""
    _, _, waves = ship_motions.heaving_section(frequency_number=[1e-3], **section)
    assert waves[0] == pytest.approx(2e-3, rel=0.005)


def test_half_circle_heaving_fast_has_half_the_added_mass_of_a_circle() -> None:
    """pi rho B^2/8 less 4/(3 pi K a) of it (F. Ursell 1953, from memory): the surface is one of equal
    potential.
    """
    added, _, _ = ship_motions.heaving_section(frequency_number=[12.0], **HALF_CIRCLE)
    assert added[0] / (math.pi / 8.0) == pytest.approx(1.0 - 4.0 / (3.0 * math.pi * 12.0), abs=0.005)


def test_added_mass_of_a_half_circle_has_its_least_value_of_0_6() -> None:
    """Ursell 1949, read from memory: about 0.6 of that of fast heave."""
    number = np.linspace(0.3, 2.0, 35)
    added, _, _ = ship_motions.heaving_section(frequency_number=number, **HALF_CIRCLE)
    assert added.min() / (math.pi / 8.0) == pytest.approx(0.6, abs=0.01)


@pytest.mark.parametrize("section", [HALF_CIRCLE, YACHT, FLAT])
def test_added_mass_rises_towards_that_of_fast_heave(section: dict[str, float]) -> None:
    """pi rho B^2/8 ((1 + a1)^2 + 3 a3^2)/(1 + a1 + a3)^2 (Lewis 1929, from memory); a plate's is pi rho
    B^2/8. Flat sections come near it slowly: 0.88 of it at a frequency number of 12.
    """
    a1, a3 = ship_motions.lewis_coefficients(**section)
    fast = math.pi / 8.0 * ((1.0 + a1) ** 2 + 3.0 * a3**2) / (1.0 + a1 + a3) ** 2
    added, _, _ = ship_motions.heaving_section(frequency_number=[3.0, 6.0, 12.0, 15.0], **section)
    assert np.all(np.diff(added) > 0.0)
    assert 0.85 * fast < added[-1] < fast
