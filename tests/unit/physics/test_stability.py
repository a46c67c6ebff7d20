"""Righting arms against worked numbers and against a box cut by the water plane."""

import math

import numpy as np
import pytest

from vpp.physics import stability

GRAVITY = 9.80665
BEAM, DRAUGHT, DEPTH, MASS_CENTRE_ABOVE_KEEL = 10.0, 3.0, 6.0, 4.0
METACENTRIC_RADIUS = BEAM**2 / (12.0 * DRAUGHT)
METACENTRIC_HEIGHT = 0.5 * DRAUGHT + METACENTRIC_RADIUS - MASS_CENTRE_ABOVE_KEEL


def righting_arm(heel: float) -> float:
    return float(
        stability.wall_sided_righting_arm(
            heel=heel, metacentric_height=METACENTRIC_HEIGHT, metacentric_radius=METACENTRIC_RADIUS
        )
    )


def immersed(corners: np.ndarray, level: float) -> tuple[float, float]:
    """Area below a level and the lateral position of its centroid, for a polygon of (y, z) corners in
    order.
    """
    below = []
    for (y0, z0), (y1, z1) in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        if z0 <= level:
            below.append((y0, z0))
        if (z0 - level) * (z1 - level) < 0.0:
            share = (level - z0) / (z1 - z0)
            below.append((y0 + share * (y1 - y0), level))
    y, z = np.array(below).T
    y1, z1 = np.roll(y, -1), np.roll(z, -1)
    cross = y * z1 - y1 * z
    area = 0.5 * cross.sum()
    return area, float(((y + y1) * cross).sum() / (6.0 * area))


def box_righting_arm(heel: float) -> float:
    """Lever to leeward of the centre of buoyancy from the centre of mass, at the level that keeps the
    displacement.
    """
    half = 0.5 * BEAM
    body = np.array([(-half, 0.0), (half, 0.0), (half, DEPTH), (-half, DEPTH)]) - (
        0.0,
        MASS_CENTRE_ABOVE_KEEL,
    )
    y = body[:, 0] * math.cos(heel) + body[:, 1] * math.sin(heel)
    z = body[:, 1] * math.cos(heel) - body[:, 0] * math.sin(heel)
    corners = np.column_stack((y, z))
    low, high = z.min(), z.max()
    for _ in range(60):
        level = 0.5 * (low + high)
        low, high = (level, high) if immersed(corners, level)[0] < BEAM * DRAUGHT else (low, level)
    return immersed(corners, level)[1]


def test_box_worked_by_hand() -> None:
    assert pytest.approx(0.277778, abs=1e-6) == METACENTRIC_HEIGHT
    assert righting_arm(math.radians(10.0)) == pytest.approx(0.055734, abs=1e-6)
    assert righting_arm(math.radians(30.0)) == pytest.approx(0.370370, abs=1e-6)


@pytest.mark.parametrize("heel_deg", [5.0, 10.0, 20.0, 30.0, 30.9])
def test_box_cut_by_the_water_plane(heel_deg: float) -> None:
    heel = math.radians(heel_deg)
    assert righting_arm(heel) == pytest.approx(box_righting_arm(heel), abs=1e-9)


def test_limit_of_the_wall_sided_formula() -> None:
    limit = stability.wall_sided_limit(beam=BEAM, draught=DRAUGHT, freeboard=DEPTH - DRAUGHT)
    assert math.degrees(limit) == pytest.approx(30.964, abs=1e-3)
    beyond = limit + math.radians(5.0)
    assert righting_arm(beyond) - box_righting_arm(beyond) == pytest.approx(0.10, abs=0.01)


def test_lower_side_sets_the_limit() -> None:
    assert stability.wall_sided_limit(beam=4.0, draught=0.5, freeboard=1.0) == pytest.approx(math.atan(0.25))
    assert stability.wall_sided_limit(beam=4.0, draught=1.5, freeboard=1.0) == pytest.approx(math.atan(0.5))


def test_form_and_mass_together_are_weight_times_arm() -> None:
    heel = np.radians(np.linspace(-25.0, 25.0, 11))
    mass = 5000.0
    form = stability.form_righting_moment(
        heel=heel,
        weight=mass * GRAVITY,
        buoyancy_centre_z=-0.5 * DRAUGHT,
        metacentric_radius=METACENTRIC_RADIUS,
    )
    ballast = stability.mass_righting_moment(
        heel=heel, mass=mass, y=0.0, z=MASS_CENTRE_ABOVE_KEEL - DRAUGHT, gravity=GRAVITY
    )
    arm = stability.wall_sided_righting_arm(
        heel=heel, metacentric_height=METACENTRIC_HEIGHT, metacentric_radius=METACENTRIC_RADIUS
    )
    np.testing.assert_allclose(form + ballast, mass * GRAVITY * arm, rtol=1e-12, atol=1e-9)


def test_crew_to_windward() -> None:
    moment = stability.mass_righting_moment(heel=0.0, mass=80.0, y=-1.9, z=0.7, gravity=GRAVITY)
    assert moment == pytest.approx(1490.6, abs=0.05)


def test_signs_of_masses() -> None:
    def moment(y: float, z: float, heel: float) -> float:
        return float(stability.mass_righting_moment(heel=heel, mass=1.0, y=y, z=z, gravity=GRAVITY))

    assert moment(y=-1.0, z=0.0, heel=0.2) > 0.0
    assert moment(y=1.0, z=0.0, heel=0.2) < 0.0
    assert moment(y=0.0, z=-1.0, heel=0.2) > 0.0
    assert moment(y=0.0, z=1.0, heel=0.2) < 0.0
    assert moment(y=0.0, z=1.0, heel=-0.2) > 0.0


def test_canting_ballast() -> None:
    moment = stability.canting_righting_moment(
        mass=3000.0, radius=4.0, cant=math.radians(40.0), heel=math.radians(20.0), gravity=GRAVITY
    )
    assert moment == pytest.approx(101_914.0, abs=0.5)


def test_canting_ballast_is_a_mass_at_its_place() -> None:
    """The same ballast by its body coordinates, pivot at the reference point."""
    cant, heel, radius = 0.5, 0.3, 4.0
    lever = stability.canting_lever(radius=radius, cant=cant, heel=heel)
    by_place = stability.mass_righting_moment(
        heel=heel, mass=1.0, y=-radius * math.sin(cant), z=-radius * math.cos(cant), gravity=1.0
    )
    assert lever == pytest.approx(by_place, rel=1e-12)


def test_arm_is_odd_in_heel() -> None:
    assert righting_arm(-0.3) == pytest.approx(-righting_arm(0.3))
