"""Lift of flat planing plates at high speed: C. L. Shuford, "A theoretical and experimental study of planing
surfaces including effects of cross section and plan form", NACA Report 1355, 1958 (from memory).
"""

import math

import numpy as np
import pytest

from vpp.physics import planing


@pytest.mark.parametrize("trim_deg", [2.0, 4.0, 6.0])
@pytest.mark.parametrize("ratio", [1.0, 2.0, 3.0, 4.0])
def test_dynamic_lift_of_a_flat_plate(trim_deg: float, ratio: float) -> None:
    """Half the lift of a wing of aspect ratio A = 1/l, and cross flow with a coefficient of 4/3:
    pi/2 A tau cos^2/(1 + A) + 4/3 sin^2 cos^3 on the wetted area.

    Two authors' curves through tests of much the same models, one linear plus quadratic in trim and one a
    power of 1.1: within 12 % to 6 deg. They part beyond, as the theory page says.
    """
    trim, aspect = math.radians(trim_deg), 1.0 / ratio
    linear = 0.5 * math.pi * aspect * trim / (1.0 + aspect) * math.cos(trim) ** 2
    cross_flow = 4.0 / 3.0 * math.sin(trim) ** 2 * math.cos(trim) ** 3
    found = planing.flat_plate_lift(trim=trim, length_beam_ratio=np.array(ratio), speed_coefficient=1e6)
    assert found / ratio == pytest.approx(linear + cross_flow, rel=0.12)
