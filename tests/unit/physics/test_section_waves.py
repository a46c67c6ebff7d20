"""Wave resistance of hulls given by their sections: the table, and what a transom adds."""

import dataclasses
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from vpp.physics import hull_form, section_waves
from vpp.physics.section_shape import SectionShape
from vpp.solver import jets

FloatArray = NDArray[np.float64]

LENGTH, BEAM, DRAUGHT = 4.6, 1.0, 0.18
FROUDE = np.concatenate((np.arange(0.25, 0.6, 0.02), np.arange(0.6, 2.5, 0.1)))


def rockered_hull(transom_share: float = 0.25) -> SectionShape:
    """A round hull with a parabolic keel line, cut off aft at a share of its draught."""
    outlines = []
    stations = np.linspace(0.0, 1.0, 15)
    for t in stations:
        fall = (1.0 - transom_share) * (1.0 - 2.0 * t) ** 2 if t < 0.5 else (2.0 * t - 1.0) ** 2
        keel = -DRAUGHT * (1.0 - fall)
        half = 0.5 * BEAM * (1.0 - 0.25 * max(0.45 - t, 0.0) ** 2 / 0.2 - max((t - 0.45) / 0.55, 0.0) ** 2)
        height = np.linspace(0.0, 1.0, 9)
        breadth = half * (1.0 - (1.0 - height) ** 3)
        outlines.append((*zip(breadth.tolist(), (keel * (1.0 - height)).tolist(), strict=True), (half, 0.4)))
    return SectionShape(station_x=tuple(LENGTH * stations), outlines=tuple(outlines))


def box(draught: float = 0.2) -> SectionShape:
    """A box of 1 m beam, 3 m long, whose bow runs out over a fourth metre."""
    section = ((0.5, -draught), (0.5, 0.5))
    return SectionShape(station_x=(0.0, 3.0, 4.0), outlines=(section, section, ((0.0, -draught), (0.0, 0.5))))


def volume(shape: SectionShape, level: float = 0.0) -> float:
    """By Simpson's rule over many heights, straight between the stations."""
    areas = []
    for outline in shape.outlines:
        b, h = np.array(outline).T
        height = np.linspace(h[0], max(level, h[0]), 4001)
        areas.append(2.0 * np.trapezoid(np.interp(height, h, b), height))
    return float(np.trapezoid(areas, shape.station_x))


def from_table(shape: SectionShape, share: float) -> FloatArray:
    """Over rho g L^3."""
    drawn = volume(shape)
    return hull_form.wave_resistance(
        froude_number=FROUDE,
        volume=share * drawn,
        drawn_volume=drawn,
        waterline_length=LENGTH,
        table=section_waves.section_wave_table(shape=shape, waterline_length=LENGTH),
        water_density=1.0,
        gravity=LENGTH**-3.0,
    )


@pytest.mark.parametrize("transom_share", [0.1, 0.25, 0.5])
@pytest.mark.parametrize("level", [-0.02, -0.01, 0.0, 0.02, 0.05, 0.08])
def test_table_agrees_with_the_integral(transom_share: float, level: float) -> None:
    """Between the volumes of the table, from 0.8 to 2 of the drawn one: 2 % of the curve's maximum."""
    assert_table_agrees(transom_share, level, 0.02)


@pytest.mark.parametrize("level", [-0.08, -0.03, 0.0, 0.1])
def test_table_agrees_less_where_a_transom_just_touches(level: float) -> None:
    """A broad transom goes in with its whole width as the hull floats as drawn: 3.5 % there and lower."""
    assert_table_agrees(0.0, level, 0.035)


def assert_table_agrees(transom_share: float, level: float, allowed: float) -> None:
    shape = rockered_hull(transom_share)
    arguments = {"froude_number": FROUDE, "shape": shape, "waterline_length": LENGTH, "level": level}
    direct = section_waves.section_wave_resistance(**arguments) + section_waves.transom_drag(**arguments)
    found = from_table(shape, volume(shape, level) / volume(shape))
    assert np.max(np.abs(found - direct)) < allowed * np.max(direct)


@pytest.mark.parametrize("volume_share", [0.7, 1.0, 1.7])
def test_parabolic_hull_has_the_table_of_its_family(volume_share: float) -> None:
    """Within 2 %; short waves, which the two treat in different ways, within 3 %."""
    x, z = np.linspace(-0.5, 0.5, 61), np.linspace(-1.0, 0.0, 25)
    half = 0.05 * (1.0 - 4.0 * x**2)[:, None] * (1.0 - z**2)
    outlines = tuple(
        (*zip(row.tolist(), (0.0625 * z).tolist(), strict=True), (float(row[-1]), 0.2)) for row in half
    )
    shape = SectionShape(station_x=tuple(x), outlines=outlines)
    family = hull_form.wave_table(
        waterline_length=1.0,
        waterline_beam=0.1,
        canoe_draught=0.0625,
        waterline_exponent=2.0,
        section_exponent=2.0,
    )
    froude = np.array([0.05, 0.1, 0.15, 0.18, 0.2, 0.22, 0.25, 0.35, 0.5, 0.8, 1.5, 2.9])
    given, known = (
        hull_form.wave_resistance(
            froude_number=froude,
            volume=volume_share * drawn,
            drawn_volume=drawn,
            waterline_length=1.0,
            table=table,
            water_density=1.0,
            gravity=1.0,
        )
        for table, drawn in (
            (section_waves.section_wave_table(shape=shape, waterline_length=1.0), volume(shape)),
            (family, 0.1 * 0.0625 * 4.0 / 9.0),
        )
    )
    assert given[:3] == pytest.approx(known[:3], rel=0.03)
    assert given[3:] == pytest.approx(known[3:], rel=0.02)


def test_waves_are_the_same_ahead_and_astern() -> None:
    """Michell's integral does not know the direction of motion; a hull without transom."""
    shape = rockered_hull(0.0)
    reversed_shape = SectionShape(
        station_x=tuple(-x for x in reversed(shape.station_x)), outlines=tuple(reversed(shape.outlines))
    )
    ahead, astern = (
        section_waves.section_wave_resistance(froude_number=FROUDE, shape=s, waterline_length=LENGTH)
        for s in (shape, reversed_shape)
    )
    assert ahead == pytest.approx(astern, rel=1e-9)
    drag = section_waves.transom_drag(froude_number=FROUDE, shape=shape, waterline_length=LENGTH)
    assert not np.any(drag)


def test_hull_twice_as_large_has_the_same_coefficient() -> None:
    """Froude's law of similarity."""
    shape = rockered_hull()
    large = SectionShape(
        station_x=tuple(2.0 * x for x in shape.station_x),
        outlines=tuple(tuple((2.0 * b, 2.0 * h) for b, h in outline) for outline in shape.outlines),
    )
    one, two = (
        section_waves.section_wave_resistance(froude_number=FROUDE, shape=s, waterline_length=length)
        for s, length in ((shape, LENGTH), (large, 2.0 * LENGTH))
    )
    assert one == pytest.approx(two, rel=1e-9)


def test_transom_drag_of_a_box() -> None:
    """Dry: rho g B T^2/2 by hand, 0.5 of it at transom Froude number 1.5; none at 0.5 and at rest."""
    depth = 0.2
    transom_froude = np.array([0.0, 0.5, 1.5, 2.5, 6.0])
    drag = section_waves.transom_drag(
        froude_number=transom_froude * np.sqrt(depth / 4.0), shape=box(depth), waterline_length=4.0
    )
    expected = 1.0 * depth**2 / 2.0 / 4.0**3 * np.array([0.0, 0.0, 0.5, 1.0, 1.0])
    assert drag == pytest.approx(expected, abs=1e-12)


def test_transom_drag_of_a_wedge_under_a_wall() -> None:
    """B T_w^2/6 with the depth of the corner, and the wall above it, by hand; half a metre deep in all."""
    section = ((0.0, -0.5), (0.4, -0.3), (0.4, 0.2))
    shape = SectionShape(station_x=(0.0, 4.0), outlines=(section, ((0.0, -0.5), (0.0, 0.2))))
    drag = section_waves.transom_drag(froude_number=[2.0], shape=shape, waterline_length=4.0)
    wall = 0.8 * 0.3**2 / 2.0
    wedge = 0.5 * 0.8 * 0.2 * (0.3 + 0.2 / 3.0)
    assert drag[0] * 4.0**3 == pytest.approx(wall + wedge, rel=1e-9)


def test_transom_enters_the_water_without_a_jump() -> None:
    """Dipped by a tenth of a millimetre the resistance is that out of the water by as much, but for what 0.2
    mm of immersion do to all of the hull: 0.2 % of its volume, and at some speeds 1 % of its waves.
    """
    keel = -0.25 * DRAUGHT
    out, dipped = (
        section_waves.section_wave_resistance(
            froude_number=FROUDE, shape=rockered_hull(0.25), waterline_length=LENGTH, level=keel + rise
        )
        for rise in (-1e-4, 1e-4)
    )
    assert dipped == pytest.approx(out, rel=0.015)


def test_derivatives_agree_with_differences() -> None:
    shape = rockered_hull(0.25)
    drawn = volume(shape)
    table = section_waves.section_wave_table(shape=shape, waterline_length=LENGTH)

    def resistance(x: object) -> object:
        froude, share = x
        return hull_form.wave_resistance(
            froude_number=froude,
            volume=share * drawn,
            drawn_volume=drawn,
            waterline_length=LENGTH,
            table=table,
            water_density=1025.0,
            gravity=9.81,
        )

    x = np.array([[0.12, 0.21, 0.33, 0.5, 1.3], [1.0, 0.7, 1.2, 0.05, 0.3]])
    value, gradient, hessian = jets.dense(resistance(jets.variables(x)), 2, (5,))
    scale = np.max(np.abs(value))
    h = 1e-6
    for i in range(2):
        d = h * np.eye(2)[i][:, None]
        ahead, behind = (jets.dense_gradient(resistance(jets.variables(x + s)), 2, (5,)) for s in (d, -d))
        assert gradient[i] == pytest.approx((ahead[0] - behind[0]) / (2.0 * h), rel=1e-5, abs=1e-7 * scale)
        assert hessian[i] == pytest.approx((ahead[1] - behind[1]) / (2.0 * h), rel=1e-4, abs=1e-4 * scale)


def test_table_stands_beside_that_of_the_family() -> None:
    """The two can be stacked for one batch of boats."""
    family = hull_form.wave_table(
        waterline_length=8.0,
        waterline_beam=0.8,
        canoe_draught=0.3,
        waterline_exponent=2.0,
        section_exponent=2.0,
    )
    given = section_waves.section_wave_table(shape=rockered_hull(), waterline_length=LENGTH)
    assert given.coefficients.shape == family.coefficients.shape
    assert (given.start, given.step) == (family.start, family.step)
    both = replace(
        given,
        coefficients=np.stack([given.coefficients, family.coefficients], axis=-1),
        hull=np.array([0, 1]),
    )
    assert {f.name for f in dataclasses.fields(both)} == {"start", "step", "coefficients", "hull"}
    arguments = {
        "froude_number": np.array([0.4, 0.6]),
        "volume": np.array([0.4, 0.5]),
        "drawn_volume": np.array([0.4, 0.6]),
        "waterline_length": LENGTH,
        "water_density": 1025.0,
        "gravity": 9.81,
    }
    together = hull_form.wave_resistance(table=both, **arguments)
    for i, table in enumerate((given, family)):
        assert hull_form.wave_resistance(table=table, **arguments)[i] == pytest.approx(together[i], rel=1e-12)


@pytest.mark.parametrize(
    ("shape", "message"),
    [
        (SectionShape(station_x=(0.0,), outlines=(((0.0, -1.0), (1.0, 0.0)),)), "two stations"),
        (SectionShape(station_x=(0.0, 1.0), outlines=(((0.0, 0.1), (1.0, 0.2)),) * 2), "below the drawn"),
    ],
)
def test_unusable_shape_is_refused(shape: SectionShape, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        section_waves.section_wave_table(shape=shape, waterline_length=1.0)
