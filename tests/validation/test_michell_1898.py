"""J. H. Michell, The wave resistance of a ship, Philosophical Magazine (5) 45, 1898, 106-123."""

import numpy as np
import pytest

from vpp.physics.section_shape import SectionShape
from vpp.physics.section_waves import section_wave_resistance
from vpp.physics.thin_ship import family_wave_resistance, michell_wave_resistance

LENGTH_BEAM_RATIO = 10.0
BEAM_DRAUGHT_RATIO = 1.6


@pytest.mark.parametrize(("froude_number", "expected"), [(0.316, 1.8315), (0.40, 2.7339), (0.50, 4.5172)])
def test_wigley_hull(froude_number: float, expected: float) -> None:
    """1000 Cw on a wetted surface of 0.148791 L^2, computed in two independent ways."""
    resistance = michell_wave_resistance(
        froude_number=froude_number,
        length_beam_ratio=LENGTH_BEAM_RATIO,
        beam_draught_ratio=BEAM_DRAUGHT_RATIO,
    )
    coefficient = 1000.0 * resistance / (0.5 * froude_number**2 * 0.148791)
    assert coefficient == pytest.approx(expected, rel=2e-5)


def test_integral_over_the_hull_surface_by_quadrature() -> None:
    """Michell's double integral from the hull's slopes by Gauss's rule, in another variable, without the
    closed forms.
    """
    froude_number = 0.35
    beam = 1.0 / LENGTH_BEAM_RATIO
    draught = beam / BEAM_DRAUGHT_RATIO
    k = 1.0 / froude_number**2
    node, weight = np.polynomial.legendre.leggauss(200)
    x, x_weight = 0.5 * node, 0.5 * weight
    z, z_weight = 0.5 * draught * (node - 1.0), 0.5 * draught * weight
    slope = -4.0 * beam * x[:, None] * (1.0 - (z / draught) ** 2)
    surface_weight = x_weight[:, None] * z_weight
    total = 0.0
    angles, angle_weights = np.polynomial.legendre.leggauss(400)
    # directions to 89 deg; what lies beyond is damped by exp(-k T / cos^2) and by the short waves'
    # cancellation
    span = np.deg2rad(88.0)
    for angle, angle_weight in zip(0.5 * span * (angles + 1.0), 0.5 * span * angle_weights, strict=True):
        secant = 1.0 / np.cos(angle)
        wave = np.exp(k * secant**2 * z) * np.exp(1j * k * secant * x[:, None])
        amplitude = np.sum(surface_weight * slope * wave)
        total += angle_weight * abs(amplitude) ** 2 * secant**3
    expected = 4.0 / (np.pi * froude_number**2) * total
    resistance = michell_wave_resistance(
        froude_number=froude_number,
        length_beam_ratio=LENGTH_BEAM_RATIO,
        beam_draught_ratio=BEAM_DRAUGHT_RATIO,
    )
    assert resistance == pytest.approx(expected, rel=2e-5)


@pytest.mark.parametrize(("froude_number", "expected"), [(0.316, 1.8315), (0.40, 2.7339), (0.50, 4.5172)])
def test_wigley_hull_as_one_of_a_family(froude_number: float, expected: float) -> None:
    """1000 Cw on a wetted surface of 0.148791 L^2, computed in two independent ways."""
    resistance = family_wave_resistance(
        froude_number=np.array([froude_number]),
        length_beam_ratio=LENGTH_BEAM_RATIO,
        beam_draught_ratio=BEAM_DRAUGHT_RATIO,
        waterline_exponent=2.0,
        section_exponent=2.0,
    )[0]
    coefficient = 1000.0 * resistance / (0.5 * froude_number**2 * 0.148791)
    assert coefficient == pytest.approx(expected, rel=1e-3)


@pytest.mark.parametrize("froude_number", [0.3, 0.45, 1.0, 2.0])
@pytest.mark.parametrize(("n", "m", "immersion"), [(2.5, 3.0, 0.5), (1.5, 4.0, 1.4), (2.0, 2.0, 0.2)])
def test_immersed_family_by_quadrature(n: float, m: float, immersion: float, froude_number: float) -> None:
    """Michell's double integral over the wet surface in another variable, lifted out and pressed in."""
    draught = 1.0 / LENGTH_BEAM_RATIO / BEAM_DRAUGHT_RATIO
    keel, k = immersion * draught, 1.0 / froude_number**2
    node, weight = np.polynomial.legendre.leggauss(200)
    x, x_weight = 0.25 * (node + 1.0), 0.25 * weight
    # crowded towards the surface, where short waves are
    t, t_weight = 0.5 * (node + 1.0), 0.5 * weight
    z, z_weight = -keel * t**3, 3.0 * keel * t**2 * t_weight
    height = np.minimum((z + keel) / draught, 1.0)
    section = 1.0 - (1.0 - height) ** m
    slope = n / LENGTH_BEAM_RATIO * (2.0 * x) ** (n - 1.0)
    angle, angle_weight = np.polynomial.legendre.leggauss(1500)
    last = 0.5 * np.pi - 0.004
    secant = 1.0 / np.cos(0.5 * last * (angle + 1.0))
    along = 2.0 * np.sin(k * secant[:, None] * x) @ (x_weight * slope)
    down = np.exp(k * secant[:, None] ** 2 * z) @ (z_weight * section)
    total = 0.5 * last * np.sum(angle_weight * (along * down) ** 2 * secant**3)
    resistance = family_wave_resistance(
        froude_number=np.array([froude_number]),
        length_beam_ratio=LENGTH_BEAM_RATIO,
        beam_draught_ratio=BEAM_DRAUGHT_RATIO,
        waterline_exponent=n,
        section_exponent=m,
        immersion=immersion,
    )[0]
    assert resistance == pytest.approx(4.0 / (np.pi * froude_number**2) * total, rel=2e-3)


def test_mean_without_interference_runs_through_the_humps() -> None:
    """Over one wave of the humps at low Froude numbers the two have the same mean (by hand: bow and stern are
    alike, so that their interference averages out).
    """
    wave_number = np.linspace(1.0 / 0.24**2, 1.0 / 0.24**2 + 4.0 * np.pi, 201)
    curves = [
        family_wave_resistance(
            froude_number=wave_number**-0.5,
            length_beam_ratio=LENGTH_BEAM_RATIO,
            beam_draught_ratio=BEAM_DRAUGHT_RATIO,
            waterline_exponent=2.0,
            section_exponent=2.0,
            interference=interference,
        )
        * wave_number**3
        for interference in (True, False)
    ]
    assert np.mean(curves[0]) == pytest.approx(np.mean(curves[1]), rel=0.05)


def wigley_sections(stations: int, points: int) -> SectionShape:
    """Offsets of the Wigley hull, stations and points evenly spaced, with a wall above the water."""
    x, z = np.linspace(-0.5, 0.5, stations), np.linspace(-1.0, 0.0, points)
    half = 0.5 / LENGTH_BEAM_RATIO * (1.0 - 4.0 * x**2)[:, None] * (1.0 - z**2)
    height = z / LENGTH_BEAM_RATIO / BEAM_DRAUGHT_RATIO
    outlines = ((*zip(row.tolist(), height.tolist(), strict=True), (float(row[-1]), 0.05)) for row in half)
    return SectionShape(station_x=tuple(x), outlines=tuple(outlines))


@pytest.mark.parametrize(
    ("stations", "points", "allowed"),
    [(121, 49, 1e-3), (25, 13, 0.01), (17, 9, 0.02), (11, 9, 0.03)],
)
@pytest.mark.parametrize(("froude_number", "expected"), [(0.316, 1.8315), (0.40, 2.7339), (0.50, 4.5172)])
def test_wigley_hull_by_its_sections(
    stations: int, points: int, allowed: float, froude_number: float, expected: float
) -> None:
    """1000 Cw on a wetted surface of 0.148791 L^2, computed in two independent ways: what straight lines
    between stations and points leave of it.
    """
    resistance = section_wave_resistance(
        froude_number=[froude_number], shape=wigley_sections(stations, points), waterline_length=1.0
    )[0]
    coefficient = 1000.0 * resistance / (0.5 * froude_number**2 * 0.148791)
    assert coefficient == pytest.approx(expected, rel=allowed)


@pytest.mark.parametrize("froude_number", [0.25, 0.4, 0.8, 2.0])
@pytest.mark.parametrize("level", [0.0, -0.02, 0.03])
def test_cut_off_hull_by_quadrature(level: float, froude_number: float) -> None:
    """Michell's double integral over the surface between the sections, and over the hollow behind the
    transom, by sums over small panels; the cut is at 0.3 of the length, 0.062 deep.
    """
    whole = wigley_sections(41, 9)
    keep = slice(8, None)
    shape = SectionShape(station_x=whole.station_x[keep], outlines=whole.outlines[keep])
    k = 1.0 / froude_number**2
    keel = -1.0 / LENGTH_BEAM_RATIO / BEAM_DRAUGHT_RATIO
    # crowded towards the surface, where short waves are
    node, weight = np.polynomial.legendre.leggauss(120)
    t, t_weight = 0.5 * (node + 1.0), 0.5 * weight
    depth, depth_weight = (level - keel) * t**3, 3.0 * (level - keel) * t**2 * t_weight
    breadth = np.array(
        [np.interp(level - depth, [h for _, h in o], [b for b, _ in o]) for o in shape.outlines]
    )
    transom_depth = level - keel
    hollow = transom_depth * np.sqrt(36.0 + 2.0 * froude_number**2 / transom_depth)
    behind = np.linspace(0.0, 1.0, 81)
    closed = 0.5 * (1.0 - np.cos(np.pi * behind[:-1]))[:, None] * breadth[0]
    x = np.concatenate((shape.station_x[0] + hollow * (behind[:-1] - 1.0), shape.station_x))
    breadth = np.concatenate((closed, breadth))
    # every straight piece in 12 panels
    fine = np.interp(np.arange(12 * (len(x) - 1) + 1) / 12.0, np.arange(len(x)), x)
    middle, step = 0.5 * (fine[1:] + fine[:-1]), np.diff(fine)
    slope = np.repeat(np.diff(breadth, axis=0) / np.diff(x)[:, None], 12, axis=0)
    angle, angle_weight = np.polynomial.legendre.leggauss(700)
    # the faster, the farther out directions count
    last = 3.6 if froude_number < 1.0 else 5.6
    u = 0.5 * last * (angle + 1.0)
    total = 0.0
    for secant, share in zip(np.cosh(u), 0.5 * last * angle_weight, strict=True):
        down = slope @ (depth_weight * np.exp(-k * secant**2 * depth))
        total += share * secant**2 * abs(np.sum(step * down * np.exp(1j * k * secant * middle))) ** 2
    resistance = section_wave_resistance(
        froude_number=[froude_number], shape=shape, waterline_length=1.0, level=level
    )[0]
    assert resistance == pytest.approx(4.0 / np.pi * k * total, rel=2e-3)
