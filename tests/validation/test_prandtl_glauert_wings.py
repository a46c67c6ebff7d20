"""Lift and induced drag of single wings: the lifting line of L. Prandtl, "Tragflügeltheorie", 1918, and the
rectangular wings of H. Glauert, "The Elements of Aerofoil and Airscrew Theory", 1926.
"""

import math
from itertools import pairwise

import numpy as np
import pytest
from numpy.typing import NDArray

from vpp.physics import lifting_line
from vpp.physics.lifting_line import SailLine, StripFlow, WakeOperator

FloatArray = NDArray[np.float64]

DEFAULT_STATION_COUNT = 10


def lift_slope_and_efficiency(*, aspect_ratio: float, elliptic: bool, count: int) -> tuple[float, float]:
    """dCL/dalpha and e of an untwisted wing of span 1 whose section has the slope 2 pi, through
    `circulation`.
    """
    nodes, z = lifting_line.stations(lower=-0.5, upper=0.5, count=count)
    mean_chord = 1.0 / aspect_ratio
    chord = mean_chord * (4.0 / math.pi * np.sqrt(1.0 - 4.0 * z**2) if elliptic else np.ones(count))
    line = SailLine(node_height=nodes, control_height=z, x=np.zeros(count), chord=chord)
    one, zero = np.ones((count, 1)), np.zeros((count, 1))
    # an incidence small enough for tangents to be angles
    incidence = 1e-4
    flow = StripFlow(
        along=one,
        across=zero,
        wind_angle=np.array([0.5]),
        chord_angle=-incidence * one,
        chord=chord[:, None],
        camber=zero,
        stall_incidence=0.5 * one,
        stall_width=0.01 * one,
    )
    coefficients = lifting_line.wake_coefficients(lines=(line,), mirror=None)
    wake = WakeOperator(coefficients=coefficients[None], boat=np.zeros(1, dtype=np.intp)).turned(
        flow.wind_angle
    )
    gamma = lifting_line.circulation(wake=wake, flow=flow)
    across, _ = wake.induced(gamma)
    lift = 2.0 * float(np.sum(gamma[:, 0] * line.width)) / mean_chord
    drag = -2.0 * float(np.sum(gamma[:, 0] * across[:, 0] * line.width)) / mean_chord
    return lift / incidence, lift**2 / (math.pi * aspect_ratio * drag)


def rectangular_series(aspect_ratio: float, terms: int = 100) -> tuple[float, float]:
    """Glauert's delta and tau of a rectangular wing: his sine series in the span angle, collocated at
    `terms` stations.
    """
    order = np.arange(1, 2 * terms, 2)
    angle = np.arange(1, terms + 1) * math.pi / (2 * terms)
    mu = 2.0 * math.pi / (4.0 * aspect_ratio)
    matrix = np.sin(np.outer(angle, order)) * (order * mu + np.sin(angle)[:, None])
    a = np.linalg.solve(matrix, mu * np.sin(angle))
    slope = math.pi * aspect_ratio * a[0]
    delta = float(np.sum(order[1:] * (a[1:] / a[0]) ** 2))
    tau = float((2.0 * math.pi / slope - 1.0) * aspect_ratio / 2.0 - 1.0)
    return delta, tau


def rectangular(aspect_ratio: float, count: int) -> tuple[float, float]:
    """Delta and tau by the lifting line of the sails."""
    slope, e = lift_slope_and_efficiency(aspect_ratio=aspect_ratio, elliptic=False, count=count)
    return 1.0 / e - 1.0, (2.0 * math.pi / slope - 1.0) * aspect_ratio / 2.0 - 1.0


@pytest.mark.parametrize("count", [DEFAULT_STATION_COUNT, 20, 40])
def test_elliptic_wing_of_aspect_ratio_6(count: int) -> None:
    """Prandtl 1918: slope 2 pi AR/(AR + 2) = 4.712389 per rad and e = 1."""
    slope, e = lift_slope_and_efficiency(aspect_ratio=6.0, elliptic=True, count=count)
    assert slope == pytest.approx(4.712389, rel=0.005)
    assert e == pytest.approx(1.0, rel=1e-6)


@pytest.mark.parametrize(("aspect_ratio", "delta", "tau"), [(6.0, 0.0483, 0.1607), (10.0, 0.0859, 0.2249)])
def test_series_of_glauert_has_the_values_of_the_handbook_method(
    aspect_ratio: float, delta: float, tau: float
) -> None:
    """Converged values of Glauert's method with a section slope of 2 pi; his printed table has four terms
    and is up to 7 % low.
    """
    assert rectangular_series(aspect_ratio) == pytest.approx((delta, tau), abs=5e-5)


@pytest.mark.parametrize(("aspect_ratio", "delta", "tau"), [(6.0, 0.0483, 0.1607), (10.0, 0.0859, 0.2249)])
def test_rectangular_wing(aspect_ratio: float, delta: float, tau: float) -> None:
    """Glauert 1926 (method; computed): 160 stations, because circulation that is constant on each strip
    converges with the square.
    """
    assert rectangular(aspect_ratio, 160) == pytest.approx((delta, tau), rel=0.005)


@pytest.mark.parametrize("aspect_ratio", [6.0, 10.0])
def test_rectangular_wing_converges_with_the_square_of_the_station_count(aspect_ratio: float) -> None:
    """Against the series of Glauert 1926: doubling the stations divides the error by four."""
    exact = np.array(rectangular_series(aspect_ratio))
    errors = [np.array(rectangular(aspect_ratio, count)) - exact for count in (40, 80, 160)]
    for coarse, fine in pairwise(errors):
        np.testing.assert_allclose(coarse / fine, 4.0, atol=0.25)


@pytest.mark.parametrize("aspect_ratio", [6.0, 10.0])
def test_error_of_a_rectangular_wing_at_the_default_station_count(aspect_ratio: float) -> None:
    """Glauert 1926: ten stations are 0.17 and 0.35 % high in induced drag at given lift and 0.23 % low in
    lift slope. Delta and tau alone, the small departures from an elliptic wing, are 4 to 6.5 % high.
    """
    delta, tau = rectangular_series(aspect_ratio)
    slope, e = lift_slope_and_efficiency(
        aspect_ratio=aspect_ratio, elliptic=False, count=DEFAULT_STATION_COUNT
    )
    exact_slope = 2.0 * math.pi / (1.0 + 2.0 / aspect_ratio * (1.0 + tau))
    assert 1.0 / e == pytest.approx(1.0 + delta, rel=0.004)
    assert slope == pytest.approx(exact_slope, rel=0.005)
    coarse = rectangular(aspect_ratio, DEFAULT_STATION_COUNT)
    assert coarse == pytest.approx((delta, tau), rel=0.07)
    assert coarse != pytest.approx((delta, tau), rel=0.02)
