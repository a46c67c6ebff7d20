"""Lift and waves of foils under a free surface in linear theory: N. E. Kochin, 1936, and M. V. Keldysh, M. A.
Lavrentiev, 1935, for a vortex; T. Hough, S. P. Moran, J. Ship Research 13, 1969, for a flat plate; T. H.
Havelock, "The theory of wave resistance", Proc. R. Soc. A 138, 1932, for the form of the wave drag (all from
memory).

The flow of the vortex is summed here from its boundary condition, and the laws are held against it.
"""

import math

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.special import expi, j1

from vpp.physics import hydrofoils

GRAVITY = 9.80665


def wave_flow(x: float, z: float, *, wave_number: float, depth: float) -> complex:
    """u - i w at (x, z) of a clockwise vortex of unit circulation at (0, -depth) in a stream along x, beyond
    that of the stream.

    Vortex, image of the same sense, and waves behind: f = f0 + f1 + r with r' + i K r = -2 i K f1, and no
    waves ahead; the integral runs from far ahead to the point.
    """
    place = complex(x, z)
    clockwise = -1.0 / (2.0j * math.pi)
    image = 1.0j * depth

    def integrand(s: float) -> complex:
        return clockwise / (place + s - image)

    parts = {}
    for name, component in (("re", lambda s: integrand(-s).real), ("im", lambda s: integrand(-s).imag)):
        for weight in ("cos", "sin"):
            parts[name + weight] = quad(
                component, 0.0, math.inf, weight=weight, wvar=wave_number, limit=400, limlst=200
            )[0]
    # integral of f1(place - s) exp(-i K s) over s from 0 to infinity
    integral = complex(parts["recos"] + parts["imsin"], parts["imcos"] - parts["resin"])
    own = clockwise / (place + 1.0j * depth) if place != -1.0j * depth else 0.0
    return own + clockwise / (place - image) - 2.0j * wave_number * integral


def test_summed_flow_meets_the_condition_at_the_surface() -> None:
    """u_x + K w = 0 at z = 0: pressure is constant on a surface that is a streamline, to first order."""
    step = 1e-4
    for x in (-1.3, 0.4, 2.0):
        ahead, behind = (wave_flow(x + d, 0.0, wave_number=1.7, depth=0.8) for d in (step, -step))
        here = wave_flow(x, 0.0, wave_number=1.7, depth=0.8)
        slope = (ahead - behind).real / (2.0 * step)
        assert slope == pytest.approx(1.7 * here.imag, abs=1e-5)


@pytest.mark.parametrize("depth_froude", [0.8, 1.2, 2.0, 4.0])
def test_wave_drag_of_a_vortex_is_the_energy_of_its_waves(depth_froude: float) -> None:
    """Half of the waves' energy, rho g a^2/2, is left behind per distance: D = rho g a^2/4 in deep water.

    The amplitude a = V u/g comes from the velocity at the surface a dozen depths behind; 1 % for the rest
    of the vortex's own flow there.
    """
    speed, depth, density, circulation = 5.0, (5.0 / depth_froude) ** 2 / GRAVITY, 1025.0, 1.3
    wave_number = GRAVITY / speed**2
    behind = 12.0 * depth + 6.0 / wave_number
    flow = wave_flow(behind, 0.0, wave_number=wave_number, depth=depth)
    amplitude = circulation * abs(flow) * speed / GRAVITY
    drag = hydrofoils.plane_wave_drag(
        circulation=circulation, speed=speed, depth=depth, water_density=density, gravity=GRAVITY
    )
    assert drag == pytest.approx(density * GRAVITY * amplitude**2 / 4.0, rel=0.01)


@pytest.mark.parametrize("depth_froude", [0.8, 1.0, 1.4, 2.0, 5.0])
def test_wave_drag_of_a_vortex_is_circulation_times_downwash(depth_froude: float) -> None:
    """The same by the Kutta-Joukowski theorem, from the summed flow at the vortex."""
    depth = 0.7
    wave_number = 1.0 / (depth * depth_froude**2)
    speed = math.sqrt(GRAVITY / wave_number)
    drag = hydrofoils.plane_wave_drag(
        circulation=1.0, speed=speed, depth=depth, water_density=1.0, gravity=GRAVITY
    )
    flow = wave_flow(0.0, -depth, wave_number=wave_number, depth=depth)
    assert drag == pytest.approx(flow.imag, rel=1e-5)


@pytest.mark.parametrize("depth_froude", [1.0, 1.4, 2.0, 3.0, 6.0])
def test_bound_image_is_the_curvature_of_the_summed_flow(depth_froude: float) -> None:
    """Gradient of downwash at the vortex over that of an image of the same sense, 1/(8 pi h^2)."""
    depth, step = 1.0, 1e-3
    wave_number = 1.0 / depth_froude**2

    def downwash(x: float) -> float:
        flow = wave_flow(x, -depth, wave_number=wave_number, depth=depth)
        own = -1.0 / (2.0j * math.pi) / complex(x, 0.0)
        return (flow - own).imag

    gradient = (downwash(step) - downwash(-step)) / (2.0 * step)
    strength = hydrofoils.bound_image_strength(depth_froude=np.array([depth_froude]))[0]
    assert strength == pytest.approx(8.0 * math.pi * depth**2 * gradient, abs=2e-3)


@pytest.mark.parametrize("depth_froude", [0.98, 1.2, 2.0, 10.0, 100.0])
def test_bound_image_in_closed_form(depth_froude: float) -> None:
    """1 + 2 y - 2 y^2 exp(-y) Ei(y) with the exponential integral of SciPy; the spline is within 5e-4."""
    y = 2.0 / depth_froude**2
    exact = 1.0 + 2.0 * y - 2.0 * y**2 * math.exp(-y) * expi(y)
    assert hydrofoils.bound_image_strength(depth_froude=np.array([depth_froude]))[0] == pytest.approx(
        exact, abs=5e-4
    )


def test_bound_image_goes_to_a_rigid_surface_and_is_held_there() -> None:
    froude = np.linspace(0.05, 0.9, 100)
    np.testing.assert_allclose(hydrofoils.bound_image_strength(depth_froude=froude), -1.0, atol=2e-3)


@pytest.mark.parametrize(("depth_chord_ratio", "factor"), [(0.5, 0.8333), (1.0, 0.9444), (2.0, 0.9848)])
def test_plane_lift_at_high_froude_number(depth_chord_ratio: float, factor: float) -> None:
    """Hough & Moran 1969 (from memory): (1 + 16 H^2)/(2 + 16 H^2)."""
    assert hydrofoils.plane_lift_factor_high_froude(depth_chord_ratio=depth_chord_ratio) == pytest.approx(
        factor, abs=5e-5
    )


@pytest.mark.parametrize("depth_chord_ratio", [0.5, 1.0, 2.0, 5.0])
def test_long_wing_at_high_froude_number_has_the_plane_factor(depth_chord_ratio: float) -> None:
    """Hough & Moran 1969: the finite-span law must go over into theirs; 0.4 % for the image of a span
    that is a hundred depths and not endless.
    """
    slope = hydrofoils.lift_slope(
        aspect_ratio=1e5,
        sweep=0.0,
        depth_chord_ratio=depth_chord_ratio,
        depth_span_ratio=0.01,
        depth_froude=np.array([1e3]),
    )
    factor = hydrofoils.plane_lift_factor_high_froude(depth_chord_ratio=depth_chord_ratio)
    assert slope[0] == pytest.approx(2.0 * math.pi * factor, rel=0.004)


def plane_lift_factor(depth_chord_ratio: float, depth_froude: float) -> float:
    """A flat plate as one vortex, flow met at three quarters of the chord, in the summed flow; chord 1."""
    wave_number = 1.0 / (depth_froude**2 * depth_chord_ratio)
    flow = wave_flow(0.5, -depth_chord_ratio, wave_number=wave_number, depth=depth_chord_ratio)
    return 1.0 / (math.pi * flow.imag)


@pytest.mark.parametrize("depth_chord_ratio", [1.0, 2.0])
@pytest.mark.parametrize("depth_froude", [1.0, 1.4, 2.0, 5.0])
def test_plane_lift_at_every_froude_number(depth_chord_ratio: float, depth_froude: float) -> None:
    """The law takes the waves at the quarter chord and their curvature from there: 1.5 % of the flow met at
    three quarters, 5 % at one chord of depth below depth Froude number 1.2 where the waves are short.
    """
    y = 2.0 / depth_froude**2
    strength = hydrofoils.bound_image_strength(depth_froude=np.array([depth_froude]))[0]
    waves = math.pi * math.exp(-y) / (depth_froude**2 * depth_chord_ratio)
    law = 1.0 / (1.0 + strength / (1.0 + 16.0 * depth_chord_ratio**2) + waves)
    tolerance = 0.05 if depth_froude < 1.2 and depth_chord_ratio == 1.0 else 0.015
    assert law == pytest.approx(plane_lift_factor(depth_chord_ratio, depth_froude), rel=tolerance)


def havelock_wave_drag(depth_span_ratio: float, depth_froude: float) -> float:
    """Wave over induced drag of an elliptic line of span 2, by Havelock's integral over wave directions:
    D = (rho/pi) K^2 int |G(K sec^2 sin)|^2 sec^5 exp(-2 K h sec^2) over 0 to pi/2.
    """
    wave_number = 0.5 / (depth_span_ratio * depth_froude**2)
    depth = 2.0 * depth_span_ratio

    def integrand(angle: float) -> float:
        secant = 1.0 / math.cos(angle)
        k = wave_number * secant**2 * math.sin(angle)
        loading = math.pi * (j1(k) / k if k > 1e-8 else 0.5)
        return float(loading**2 * secant**5 * math.exp(-2.0 * wave_number * depth * secant**2))

    # induced drag pi rho/8 of a line of unit circulation at its middle
    value = quad(integrand, 0.0, 0.5 * math.pi, limit=2000)[0]
    return wave_number**2 * value / math.pi / (math.pi / 8.0)


@pytest.mark.parametrize("depth_span_ratio", [0.05, 0.1, 0.3, 1.0])
@pytest.mark.parametrize("depth_froude", [0.7, 1.0, 1.4, 3.0])
def test_wave_drag_of_an_elliptic_line(depth_span_ratio: float, depth_froude: float) -> None:
    """Havelock's integral, by quadrature over directions; the eight-point rule is within 4e-4 of the deep
    induced drag.
    """
    factor = hydrofoils.wave_drag_factor(
        depth_span_ratio=np.array([depth_span_ratio]), depth_froude=np.array([depth_froude])
    )[0]
    assert factor == pytest.approx(havelock_wave_drag(depth_span_ratio, depth_froude), abs=4e-4)


@pytest.mark.parametrize("depth_froude", [1.0, 1.5, 3.0])
def test_wave_drag_of_a_long_line_is_that_of_plane_vortices(depth_froude: float) -> None:
    """Kochin 1936 on every strip of an elliptic line: int (rho g G^2/V^2) exp(-2 g h/V^2) over the span,
    for a span of 500 depths; 1 %, since the tips make waves of their own.
    """
    ratio = 0.002
    span_over_wave = 1.0 / (ratio * depth_froude**2)
    strips = 2.0 / 3.0 * span_over_wave * math.exp(-2.0 / depth_froude**2) / (math.pi / 8.0)
    assert havelock_wave_drag(ratio, depth_froude) == pytest.approx(strips, rel=0.01)


@pytest.mark.parametrize("depth_span_ratio", [0.05, 0.2, 1.0])
def test_wave_drag_carries_the_rigid_surface_over_into_the_biplane(depth_span_ratio: float) -> None:
    """1 - sigma at low depth Froude number (image theorem), 1 + sigma at high (equal biplane)."""
    sigma = hydrofoils.biplane_factor(depth_span_ratio=np.array([depth_span_ratio]))[0]
    low, high = hydrofoils.induced_drag_factor(
        depth_span_ratio=np.array([depth_span_ratio] * 2), depth_froude=np.array([0.2, 200.0])
    )
    assert low == pytest.approx(1.0 - sigma, abs=1e-6)
    assert high == pytest.approx(1.0 + sigma, abs=2e-3)


def test_gauss_rule_of_the_spectrum() -> None:
    """J. Golub, G. Welsch, Math. Comp. 23, 1969: nodes from the recurrence of the measure J1(a)^2/a^2 da
    in x = a/(2 + a), here by Stieltjes' procedure on a grid that is good for 1e-3. Its mass is 4/(3 pi).
    """
    a = np.linspace(0.0, 400.0, 400001)[1:]
    step = a[1] - a[0]
    far = 400.0 * np.exp(np.linspace(0.0, 12.0, 2001))
    mass = np.concatenate([step * (j1(a) / a) ** 2, (12.0 / 2000) * far / (math.pi * far**3)])
    mass = np.concatenate([[0.125 * step], mass])
    mass[len(a)] *= 0.5
    x = np.concatenate([[0.0], a, far])
    x = x / (2.0 + x)
    assert mass.sum() == pytest.approx(4.0 / (3.0 * math.pi), rel=1e-5)
    previous, current, beta = np.zeros_like(x), np.full_like(x, mass.sum() ** -0.5), 0.0
    diagonal, beside = [], []
    for _ in range(8):
        alpha = float(np.sum(mass * x * current**2))
        following = (x - alpha) * current - beta * previous
        beta = math.sqrt(float(np.sum(mass * following**2)))
        diagonal.append(alpha)
        beside.append(beta)
        previous, current = current, following / beta
    values, vectors = np.linalg.eigh(np.diag(diagonal) + np.diag(beside[:-1], 1) + np.diag(beside[:-1], -1))
    np.testing.assert_allclose(hydrofoils._SPECTRUM_NODES, 2.0 * values / (1.0 - values), rtol=1e-3)
    np.testing.assert_allclose(hydrofoils._SPECTRUM_WEIGHTS, vectors[0] ** 2 * mass.sum(), rtol=1e-3)
