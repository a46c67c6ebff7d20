"""Mean lines of sail sections: H. Glauert, "The Elements of Aerofoil and Airscrew Theory", 1926, chapter VII,
and R. & M. 1095, 1927, on hinged flaps.
"""

import math

import numpy as np
import pytest

from vpp.physics import hydrofoils, sail_sections


@pytest.mark.parametrize("hinge", [0.05, 0.1, 0.25, 0.5])
def test_turned_nose_is_a_wing_with_a_long_flap(hinge: float) -> None:
    """Glauert 1927: seen from the nose's own line, the tail is a flap of all but the nose, down by the whole
    kink: the nose's slope and the tail's fall. Zero lift is the kink times the flap's effectiveness off the
    nose's line, the design lift the kink times the flap's ideal lift.
    """
    line = sail_sections.mean_line(hinge_share=hinge, draft_share=0.8)
    kink = 1.0 + hinge / (1.0 - hinge)
    effectiveness = hydrofoils.flap_effectiveness(flap_chord_ratio=1.0 - hinge)
    assert line.zero_lift_per_slope == pytest.approx(1.0 - kink * effectiveness, rel=1e-9)
    design_lift = 2.0 * math.pi * (line.ideal_per_slope - line.zero_lift_per_slope)
    assert design_lift == pytest.approx(
        kink * hydrofoils.flap_ideal_lift(flap_chord_ratio=1.0 - hinge), rel=1e-9
    )


@pytest.mark.parametrize("draft", [0.3, 0.4, 0.6])
def test_zero_lift_without_a_hinge(draft: float) -> None:
    """Glauert's integral of the two-parabola line, closed form of another module."""
    line = sail_sections.mean_line(hinge_share=0.0, draft_share=draft)
    expected = hydrofoils.mean_line_zero_lift_angle(camber=0.03, position=draft)
    assert 0.03 * line.zero_lift_per_camber == pytest.approx(expected, rel=1e-9)


def zero_lift_of_the_turned_plate(hinge: float, rotation: float, count: int = 800) -> float:
    """Of a plate bent by an angle that need not be small: vortex points on it as it is, the vortex at a
    quarter of each panel and the flow met at three quarters (J. Weissinger, NACA TM 1120, 1947).
    """
    knee = np.array([hinge, hinge * math.tan(rotation)])
    fore = round(count * hinge)
    nose = knee * np.linspace(0.0, 1.0, fore + 1)[:, None]
    tail = knee + (np.array([1.0, 0.0]) - knee) * np.linspace(0.0, 1.0, count - fore + 1)[1:, None]
    points = np.vstack([nose, tail])
    step = np.diff(points, axis=0)
    normal = np.column_stack([-step[:, 1], step[:, 0]]) / np.hypot(*step.T)[:, None]
    arm = (points[:-1] + 0.75 * step)[:, None] - (points[:-1] + 0.25 * step)[None]
    square = (arm**2).sum(axis=-1)
    across = (arm[..., 1] * normal[:, None, 0] - arm[..., 0] * normal[:, None, 1]) / (2.0 * math.pi * square)
    by_flow = np.linalg.solve(across, -normal).sum(axis=0)
    return -math.atan2(by_flow[0], by_flow[1])


@pytest.mark.parametrize("hinge", [0.1, 0.15, 0.25])
@pytest.mark.parametrize("rotation_deg", [5.0, 15.0, 30.0])
def test_large_rotations(hinge: float, rotation_deg: float) -> None:
    """0.2 deg at 30 deg, with the tangent of the rotation; with the rotation itself it would be 0.6 deg."""
    line = sail_sections.mean_line(hinge_share=hinge, draft_share=0.5)
    linear = line.zero_lift_per_slope * math.tan(math.radians(rotation_deg))
    exact = zero_lift_of_the_turned_plate(hinge, math.radians(rotation_deg))
    assert math.degrees(linear - exact) == pytest.approx(0.0, abs=0.2)
