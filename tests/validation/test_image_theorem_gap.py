"""A sail above a plane: image theorem and the exact optimum loading at a gap."""

import math

import numpy as np
import pytest
from scipy.special import ellipe, ellipk

from vpp.physics import lifting_line
from vpp.physics.lifting_line import Mirror, SailLine

ENDLESS_PLANE = Mirror(deck_height=0.0, deck_half_width=math.inf, leakage=0.0)
GAPS = (0.001, 0.01, 0.05, 0.10, 0.30)
PRINTED = (1.52082, 1.36032, 1.21070, 1.14557, 1.06172)


def optimum_efficiency(*, gap: float, count: int, mirror: Mirror = ENDLESS_PLANE) -> float:
    """e of the loading of least induced drag on a span of 1: the one with constant downwash (Munk, NACA
    Report 121, 1921).
    """
    nodes, z = lifting_line.stations(lower=gap, upper=1.0 + gap, count=count)
    line = SailLine(node_height=nodes, control_height=z, x=np.zeros(count), chord=np.ones(count))
    downwash = -lifting_line.self_influence(line=line, mirror=mirror)
    gamma = np.linalg.solve(downwash, np.ones(count))
    force = float(np.sum(gamma * line.width))
    drag = float(np.sum(gamma * (downwash @ gamma) * line.width))
    return force**2 / (math.pi * 0.5 * drag)


def exact_efficiency(gap: float) -> float:
    """e = 2 (a^2 + c^2 - 2 a^2 E/K)/b^2 with a = gap + span, c = gap and parameter m = 1 - (c/a)^2
    (exact).
    """
    a, c = gap + 1.0, gap
    m = 1.0 - (c / a) ** 2
    return float(2.0 * (a * a + c * c - 2.0 * a * a * ellipe(m) / ellipk(m)))


@pytest.mark.parametrize("count", [10, 20, 40])
def test_foot_sealed_on_a_plane(count: int) -> None:
    """Image theorem (exact): the sail is half of a wing of twice the span, so that e = 2."""
    assert optimum_efficiency(gap=0.0, count=count) == pytest.approx(2.0, rel=1e-6)


def test_no_plane_within_reach() -> None:
    """Prandtl 1918: a lone wing's best e is 1."""
    assert optimum_efficiency(gap=1e4, count=20) == pytest.approx(1.0, rel=1e-6)


@pytest.mark.parametrize(("gap", "printed"), list(zip(GAPS, PRINTED, strict=True)))
def test_elliptic_integrals_give_the_printed_values(gap: float, printed: float) -> None:
    """The closed form and its five-digit values agree, so that the formula below is the intended one."""
    assert exact_efficiency(gap) == pytest.approx(printed, abs=6e-6)


@pytest.mark.parametrize("gap", GAPS)
def test_optimum_loading_at_a_gap(gap: float) -> None:
    """Closed form in complete elliptic integrals (exact), 24 stations."""
    assert optimum_efficiency(gap=gap, count=24) == pytest.approx(exact_efficiency(gap), rel=0.005)


@pytest.mark.parametrize("gap", [0.01, 0.05, 0.10, 0.30])
def test_optimum_loading_at_a_gap_with_the_default_station_count(gap: float) -> None:
    """Closed form in complete elliptic integrals (exact), ten stations."""
    assert optimum_efficiency(gap=gap, count=10) == pytest.approx(exact_efficiency(gap), rel=0.005)


def test_a_gap_of_a_thousandth_is_beyond_the_default_station_count() -> None:
    """Closed form (exact): e is 6.4 % high there, because the lowest strip is 24 times as wide as the
    slit.
    """
    excess = optimum_efficiency(gap=0.001, count=10) / exact_efficiency(0.001) - 1.0
    assert excess == pytest.approx(0.064, abs=0.002)
