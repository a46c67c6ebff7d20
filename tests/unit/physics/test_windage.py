"""Bluff bodies in the wind."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from vpp.physics.windage import bluff_body_force
from vpp.solver import jets

AIR = 1.225


def force(
    speed: float, angle: float, frontal: float = 2.0, side: float = 5.0, drag: float = 0.5
) -> tuple[float, float]:
    forward, leeward = bluff_body_force(
        from_ahead=speed * math.cos(angle),
        to_leeward=speed * math.sin(angle),
        frontal_area=frontal,
        side_area=side,
        drag_coefficient=drag,
        air_density=AIR,
    )
    return float(forward), float(leeward)


def test_head_wind_and_beam_wind() -> None:
    """Definition of a drag coefficient: D = Cd A rho V^2/2, 0.5 x 2 m2 and 0.5 x 5 m2 at 10 m/s and 1.225
    kg/m3.
    """
    assert force(10.0, 0.0) == pytest.approx((-61.25, 0.0))
    assert force(10.0, 0.5 * math.pi) == pytest.approx((0.0, 153.125), abs=1e-12)
    assert force(10.0, math.pi) == pytest.approx((61.25, 0.0), abs=1e-12)


def test_mast_of_a_keelboat() -> None:
    """Larsson, Eliasson & Orych, Principles of Yacht Design, fig. 9.2: Cd 1.0 on a mast; by hand 14 m x
    0.12 m at 10 m/s: 102.9 N.
    """
    forward, leeward = force(10.0, math.radians(30.0), frontal=1.68, side=1.68, drag=1.0)
    assert math.hypot(forward, leeward) == pytest.approx(102.9)


@given(angle=st.floats(-math.pi, math.pi), speed=st.floats(0.1, 30.0))
def test_force_lies_along_the_wind_and_the_area_is_the_shadow_of_an_ellipse(
    angle: float, speed: float
) -> None:
    """The shadow of an ellipse with half axes a and b seen under an angle is 2 sqrt(a^2 sin^2 + b^2 cos^2)
    wide (geometry).
    """
    forward, leeward = force(speed, angle)
    area = math.hypot(2.0 * math.cos(angle), 5.0 * math.sin(angle))
    size = 0.5 * AIR * speed**2 * 0.5 * area
    assert forward == pytest.approx(-size * math.cos(angle), abs=1e-9 * size)
    assert leeward == pytest.approx(size * math.sin(angle), abs=1e-9 * size)


def test_no_wind_no_force() -> None:
    assert force(0.0, 0.0) == (0.0, 0.0)


def test_derivatives_are_finite_in_wind_from_any_side() -> None:
    angle = np.linspace(-math.pi, math.pi, 25)
    ahead, leeward = jets.variables(np.stack([4.0 * np.cos(angle), 4.0 * np.sin(angle)]))
    for part in bluff_body_force(
        from_ahead=ahead,
        to_leeward=leeward,
        frontal_area=2.0,
        side_area=5.0,
        drag_coefficient=0.5,
        air_density=AIR,
    ):
        assert all(np.isfinite(numbers).all() for numbers in jets.dense(part, 2, (25,)))
