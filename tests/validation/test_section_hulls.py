"""Hydrostatics of hulls given by their sections against closed forms, each derived beside its test, and the
wall-sided formula (E. C. Tupper, Introduction to Naval Architecture; edition and page from memory).

The box: beam 10 m, draught 3 m, depth 6 m, centre of mass 4 m above the keel: GZ 0.055734 m at 10 deg and
0.370370 m at 30 deg, by hand; the formula holds up to 30.964 deg.
"""

import math

import numpy as np
import pytest

from vpp.physics import hull_sections, stability
from vpp.physics.section_shape import Point, SectionShape

LENGTH, BEAM, DRAUGHT, FREEBOARD = 20.0, 10.0, 3.0, 3.0
MASS_Z = 4.0 - DRAUGHT
VOLUME = LENGTH * BEAM * DRAUGHT
RADIUS = BEAM**2 / (12.0 * DRAUGHT)


def prism(*outline: Point, length: float = LENGTH) -> SectionShape:
    return SectionShape(station_x=(-0.5 * length, 0.5 * length), outlines=(outline, outline))


def box() -> SectionShape:
    return prism((0.5 * BEAM, -DRAUGHT), (0.5 * BEAM, FREEBOARD))


def righting_arm(heel: float) -> float:
    lever = hull_sections.righting_lever(shape=box(), heel=heel, volume=VOLUME, centre_x=0.0, centre_z=MASS_Z)
    return lever - MASS_Z * math.sin(heel)


@pytest.mark.parametrize(("heel_deg", "expected"), [(10.0, 0.055734), (30.0, 0.370370)])
def test_righting_arm_of_the_box(heel_deg: float, expected: float) -> None:
    assert righting_arm(math.radians(heel_deg)) == pytest.approx(expected, abs=1e-6)


def test_wall_sided_formula_is_exact_up_to_its_limit() -> None:
    heel = np.radians((-25.0, 5.0, 20.0, 30.96))
    levers = hull_sections.righting_levers(
        shape=box(), heels=heel, volume=VOLUME, centre_x=0.0, centre_z=MASS_Z
    )
    formula = stability.form_righting_moment(
        heel=heel, weight=1.0, buoyancy_centre_z=-0.5 * DRAUGHT, metacentric_radius=RADIUS
    )
    assert levers == pytest.approx(formula, abs=1e-10)
    assert righting_arm(math.radians(36.0)) < formula_arm(math.radians(36.0)) - 0.09


def formula_arm(heel: float) -> float:
    return float(
        stability.wall_sided_righting_arm(
            heel=heel, metacentric_height=RADIUS - 0.5 * DRAUGHT - MASS_Z, metacentric_radius=RADIUS
        )
    )


def strips(heel: float, level: float) -> tuple[float, float, float]:
    """Area of the heeled box's section and its moments across and up the boat, by thin upright strips."""
    count = 400_000
    y = ((np.arange(count) + 0.5) / count - 0.5) * BEAM
    top = np.clip(level + y * math.tan(heel), -DRAUGHT, FREEBOARD)
    width = BEAM / count
    return (
        float(np.sum(top + DRAUGHT) * width),
        float(np.sum(y * (top + DRAUGHT)) * width),
        float(np.sum(0.5 * (top**2 - DRAUGHT**2)) * width),
    )


@pytest.mark.parametrize("heel_deg", [36.0, 50.0, 75.0])
def test_box_beyond_its_deck_edge(heel_deg: float) -> None:
    heel = math.radians(heel_deg)
    low, high = -30.0, 30.0
    for _ in range(60):
        level = 0.5 * (low + high)
        if strips(heel, level)[0] < BEAM * DRAUGHT:
            low = level
        else:
            high = level
    area, across, up = strips(heel, level)
    expected = (across * math.cos(heel) + up * math.sin(heel)) / area
    assert righting_arm(heel) + MASS_Z * math.sin(heel) == pytest.approx(expected, abs=1e-6)


def test_box_on_its_side_and_upside_down() -> None:
    """At 90 deg it floats as a box of beam 6 and draught 5: the buoyancy's line passes the middle of its
    depth, which is the reference point, (0.5 (F - D) = 0). Upside down it has no lever either.
    """
    for heel in (0.5 * math.pi, math.pi):
        lever = hull_sections.righting_lever(
            shape=box(), heel=heel, volume=VOLUME, centre_x=0.0, centre_z=0.0
        )
        assert lever == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize("heel_deg", [5.0, 15.0, 25.0])
def test_v_section_within_its_sides(heel_deg: float) -> None:
    """A V of half angle a at its keel, heeled by h: the wet triangle has the depth d with
    d^2 (tan(a + h) + tan(a - h)) / 2 = T^2 tan(a), and its centroid lies d (tan(a + h) - tan(a - h)) / 3 to
    leeward of the keel, which itself lies T sin(h) to windward.
    """
    half_angle, draught, height = math.radians(50.0), 1.2, 4.0
    heel = math.radians(heel_deg)
    shape = prism((0.0, -draught), (height * math.tan(half_angle), height - draught))
    wide, narrow = math.tan(half_angle + heel), math.tan(half_angle - heel)
    depth = draught * math.sqrt(2.0 * math.tan(half_angle) / (wide + narrow))
    expected = depth * (wide - narrow) / 3.0 - draught * math.sin(heel)
    lever = hull_sections.righting_lever(
        shape=shape,
        heel=heel,
        volume=LENGTH * draught**2 * math.tan(half_angle),
        centre_x=0.0,
        centre_z=0.3,
    )
    assert lever == pytest.approx(expected, abs=1e-9)


def test_round_section_by_a_polygon() -> None:
    """Pressure on a circle points to its centre: lever = height of the centre times sin(heel), as long as the
    water meets the sides below the centre's level. The polygon lies within its sagitta of the circle, which
    falls with the square of its pieces, and so does the error.
    """
    radius, centre_z, heel = 2.0, 0.8, math.radians(15.0)
    for count in (10, 40, 160):
        angle = np.linspace(0.0, 0.5 * np.pi, count + 1)
        y, z = radius * np.sin(angle), centre_z - radius * np.cos(angle)
        shape = prism(*zip(y.tolist(), z.tolist(), strict=True), (radius, centre_z + 1.0))
        volume = hull_sections.drawn_form(shape=shape).volume
        lever = hull_sections.righting_lever(
            shape=shape, heel=heel, volume=volume, centre_x=0.0, centre_z=0.0
        )
        sagitta = radius * (0.5 * math.pi / count) ** 2 / 8.0
        assert lever == pytest.approx(centre_z * math.sin(heel), abs=0.1 * sagitta)


@pytest.mark.parametrize("pitch", [-0.06, 0.02, 0.1])
def test_box_trims_to_its_mass(pitch: float) -> None:
    """Wall-sided along its length: the centre of buoyancy moves BM_L tan(pitch) aft and half as much times
    tan(pitch) up; the centre of mass in one vertical with it lies at x = x_B - (z_B - z_G) tan(pitch). The
    box turns about the middle of its water plane.
    """
    slope = math.tan(pitch)
    long_radius = LENGTH**2 / (12.0 * DRAUGHT)
    x = -long_radius * slope
    z = -0.5 * DRAUGHT + 0.5 * long_radius * slope**2
    found = hull_sections.floating(
        shape=box(), heel=0.0, volume=VOLUME, centre_x=x - (z - MASS_Z) * slope, centre_z=MASS_Z
    )
    assert found.pitch == pytest.approx(pitch, abs=1e-10)
    assert found.ride_height == pytest.approx(0.0, abs=1e-10)
    assert found.lever == pytest.approx(0.0, abs=1e-12)


def test_tapering_hull() -> None:
    """Triangular sections that shrink evenly to nothing at the bow, a pyramid: volume b T L/3, centre a
    quarter of its length and of its draught from its base. Round-off.
    """
    length, breadth, draught = 6.0, 1.5, 0.9
    shape = SectionShape(
        station_x=(1.0, 1.0 + length),
        outlines=(
            ((0.0, -draught), (breadth, 0.0), (breadth, 1.0)),
            ((0.0, 0.0), (0.0, 0.0), (0.0, 1.0)),
        ),
    )
    found = hull_sections.immersed(shape=shape, heel=0.0, pitch=0.0, ride_height=0.0)
    assert found.volume == pytest.approx(breadth * draught * length / 3.0, rel=1e-13)
    assert found.x == pytest.approx(1.0 + 0.25 * length, rel=1e-13)
    assert found.z == pytest.approx(-0.25 * draught, rel=1e-13)
    form = hull_sections.drawn_form(shape=shape)
    # second moment of the water plane, 2/3 of the integral of (b s)^3: b^3 L/6
    assert form.metacentric_radius == pytest.approx(breadth**3 * length / 6.0 / found.volume, rel=1e-13)
    assert form.waterplane_area == pytest.approx(breadth * length, rel=1e-13)
    assert form.transom_area == pytest.approx(breadth * draught, rel=1e-13)
    # either side of the pyramid is a plane triangle: half the cross product of two edges
    side = 0.5 * np.linalg.norm(np.cross((length, 0.0, draught), (length, -breadth, 0.0)))
    assert form.wetted_area == pytest.approx(2.0 * side, rel=1e-12)


@pytest.mark.parametrize(
    ("heel", "pitch", "ride_height"), [(0.3, 0.1, 0.4), (0.8, -0.2, -1.0), (2.2, 0.15, 0.3)]
)
def test_box_askew(heel: float, pitch: float, ride_height: float) -> None:
    """Its deck partly under and its bilge partly out, against a fine grid of points inside it."""
    counts = (400, 400, 120)
    x, y, z = (
        (np.arange(n) + 0.5) / n * length - 0.5 * length
        for n, length in zip(counts, (LENGTH, BEAM, DRAUGHT + FREEBOARD), strict=True)
    )
    up = z[None, None] * math.cos(heel) - y[None, :, None] * math.sin(heel)
    height = ride_height + x[:, None, None] * math.sin(pitch) + up * math.cos(pitch)
    # cells that the water cuts count by how deep their middle lies
    reach = np.array((LENGTH, BEAM, DRAUGHT + FREEBOARD)) / counts
    normal = np.abs((math.sin(pitch), math.sin(heel) * math.cos(pitch), math.cos(heel) * math.cos(pitch)))
    wet = np.clip(0.5 - height / np.sum(reach * normal), 0.0, 1.0)
    cell = float(np.prod(reach))
    found = hull_sections.immersed(shape=box(), heel=heel, pitch=pitch, ride_height=ride_height)
    volume = float(np.sum(wet)) * cell
    assert found.volume == pytest.approx(volume, rel=1e-4)
    assert found.x == pytest.approx(float(np.sum(wet * x[:, None, None])) * cell / volume, abs=1e-3)
    assert found.y == pytest.approx(float(np.sum(wet * y[None, :, None])) * cell / volume, abs=1e-3)
    assert found.z == pytest.approx(float(np.sum(wet * z)) * cell / volume, abs=1e-3)
