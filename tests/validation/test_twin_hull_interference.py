"""Interference of the waves of two hulls abreast: Michell's integral with the hulls' waves added, for Wigley
hulls L/B 10, B/T 1.6.

K. Eggers, Jahrbuch der Schiffbautechnischen Gesellschaft 49, 1955; E. O. Tuck and L. Lazauskas, Optimum hull
spacing of a family of multihulls, Ship Technology Research 45, 1998 (the form of the integral, from memory).
"""

from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from vpp.physics import hull_form, twin_hull

FloatArray = NDArray[np.float64]

BEAM, DRAUGHT = 0.1, 0.0625
FORM = {
    "waterline_length": 1.0,
    "waterline_beam": BEAM,
    "canoe_draught": DRAUGHT,
    "waterline_exponent": 2.0,
    "section_exponent": 2.0,
}
DRAWN = BEAM * DRAUGHT * 4.0 / 9.0


def amplitude(k: float, sine: FloatArray, immersion: float) -> FloatArray:
    """Integral of slope times wave over the centre plane, the part along the hull in closed form, down the
    sections by Gauss's rule.
    """
    secant = 1.0 / np.sqrt(1.0 - sine**2)
    phase = 0.5 * k * secant
    along = 2.0 * BEAM * (np.sin(phase) / phase**2 - np.cos(phase) / phase)
    node, weight = np.polynomial.legendre.leggauss(80)
    t, t_weight = 0.5 * (node + 1.0), 0.5 * weight
    keel = DRAUGHT * immersion
    depth, depth_weight = keel * t**3, 3.0 * keel * t**2 * t_weight
    section = 1.0 - np.clip(1.0 - (keel - depth) / DRAUGHT, 0.0, 1.0) ** 2
    return along * (np.exp(-k * secant[:, None] ** 2 * depth) @ (depth_weight * section))


def by_quadrature(
    froude_number: float, spacing: float, immersions: tuple[float, float] = (1.0, 1.0)
) -> tuple[float, float]:
    """Resistance of both hulls together and the sum of each by itself, over rho g L^3: the waves to either
    side from hulls at either side of the middle line, |A exp(i p) + B exp(-i p)|^2 by midpoints in the sine
    of the direction.
    """
    k = froude_number**-2.0
    # crowded towards the short waves: 1 - sine falls as the cube of what remains
    s = (np.arange(8000) + 0.5) / 8000
    sine = 1.0 - (1.0 - s) ** 3
    step = 3.0 * (1.0 - s) ** 2 / 8000
    cosine = np.sqrt((1.0 - s) ** 3 * (1.0 + sine))
    first, second = (amplitude(k, sine, immersion) for immersion in immersions)
    p = 0.5 * k * spacing * sine / cosine**2
    turned = np.exp(1j * p)
    to_port = np.abs(first * turned + second / turned) ** 2
    to_starboard = np.abs(first / turned + second * turned) ** 2
    # d theta secant^3 = d sine secant^4
    weight = 4.0 / np.pi * k * step / cosine**4
    both = np.sum(weight * 0.5 * (to_port + to_starboard))
    return float(both), float(np.sum(weight * (first**2 + second**2)))


def twin(spacing: float, froude_number: Any, leeward: float = 1.0, windward: float = 1.0) -> FloatArray:
    return twin_hull.twin_wave_resistance(
        froude_number=np.asarray(froude_number),
        volume_leeward=leeward * DRAWN,
        volume_windward=windward * DRAWN,
        drawn_volume=DRAWN,
        waterline_length=1.0,
        table=twin_hull.twin_wave_table(spacing=spacing, **FORM),
        water_density=1.0,
        gravity=1.0,
    )


@pytest.mark.parametrize("spacing", [0.2, 0.3, 0.4, 1.0])
def test_resistance_of_both_hulls(spacing: float) -> None:
    froude = [0.26, 0.28, 0.3, 0.33, 0.36, 0.4, 0.45, 0.5, 0.6, 0.8, 1.2, 2.0]
    expected = np.array([by_quadrature(f, spacing)[0] for f in froude])
    assert twin(spacing, froude) == pytest.approx(expected, rel=0.01, abs=5e-4 * np.max(expected))


@pytest.mark.parametrize("spacing", [0.2, 0.3, 0.4])
def test_hump_and_hollow_of_interference(spacing: float) -> None:
    """Where the resistance of both over twice one is largest above Froude number 0.38, and where it is least
    above 0.6: place and size by quadrature. The closer the hulls, the higher and faster the hump.
    """
    froude = np.arange(0.38, 1.6, 0.02)
    alone = hull_form.wave_resistance(
        froude_number=froude,
        volume=DRAWN,
        drawn_volume=DRAWN,
        waterline_length=1.0,
        table=hull_form.wave_table(**FORM),
        water_density=1.0,
        gravity=1.0,
    )
    found = twin(spacing, froude) / (2.0 * alone)
    pairs = np.array([by_quadrature(f, spacing) for f in froude])
    expected = pairs[:, 0] / pairs[:, 1]
    assert np.max(found) == pytest.approx(np.max(expected), rel=0.005)
    assert np.argmax(found) == pytest.approx(np.argmax(expected), abs=1)
    fast = froude > 0.6
    assert np.min(found[fast]) == pytest.approx(np.min(expected[fast]), rel=0.005)
    assert np.argmin(found[fast]) == pytest.approx(np.argmin(expected[fast]), abs=1)
    assert np.max(found) > 1.3
    assert np.min(found[fast]) < 0.98


@pytest.mark.parametrize("spacing", [0.15, 0.3])
@pytest.mark.parametrize(
    ("leeward", "windward"), [(1.2, 0.8), (1.4, 0.6), (1.6, 0.4), (1.8, 0.2), (1.95, 0.05)]
)
def test_unequal_hulls(spacing: float, leeward: float, windward: float) -> None:
    """The interference is tabulated for equal volumes: 1 % of the curve's maximum, most of which is the
    table's of one hull between 1.7 and 3 of the drawn volume.
    """
    froude = [0.26, 0.3, 0.34, 0.4, 0.45, 0.5, 0.6, 0.8, 1.2, 2.0]
    immersions = (
        hull_form.immersion_at(volume_share=leeward, section_exponent=2.0),
        hull_form.immersion_at(volume_share=windward, section_exponent=2.0),
    )
    expected = np.array([by_quadrature(f, spacing, immersions)[0] for f in froude])
    found = twin(spacing, froude, leeward, windward)
    assert np.max(np.abs(found - expected)) < 0.011 * np.max(expected)
    assert found == pytest.approx(expected, rel=0.02)


def test_waves_of_abreast_hulls_meet_inside_the_wedge_alone() -> None:
    """The bow waves of one hull reach the stern of the other where s/L < 8^-1/2, the slope of the wedge of
    ship waves (Kelvin 1887): beyond, interference at low speed dies out, within it does not.
    """
    froude = np.arange(0.25, 0.3, 0.005)
    largest = []
    for spacing in (0.2, 0.3, 0.5, 0.7):
        pairs = np.array([by_quadrature(f, spacing) for f in froude])
        found = twin(spacing, froude)
        assert found == pytest.approx(pairs[:, 0], rel=0.02)
        largest.append(np.max(np.abs(pairs[:, 0] / pairs[:, 1] - 1.0)))
    assert min(largest[:2]) > 0.2
    assert largest[3] < 0.05
