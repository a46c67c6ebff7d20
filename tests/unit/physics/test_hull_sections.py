"""A hull given by its sections: its columns against its exact hydrostatics, and what is refused."""

import math
from dataclasses import fields

import numpy as np
import pytest
from numpy.typing import NDArray

from tests.support.with_jax import double_precision, jax_or_skip
from vpp.physics import hull_form, hull_sections
from vpp.physics.section_shape import SectionShape
from vpp.solver import jets

FloatArray = NDArray[np.float64]

CHINED = {
    "waterline_length": 5.0,
    "chine_beam": 1.4,
    "deadrise": math.radians(22.0),
    "canoe_draught": 0.2,
    "entry_share": 0.6,
    "freeboard": 0.6,
    "transom_x": -2.5,
}
# ride height, heel, pitch: drawn; deeper; heeled and trimmed; half out and askew
ATTITUDES = [
    (0.0, 0.0, 0.0),
    (-0.08, 0.05, -0.01),
    (0.02, math.radians(15.0), math.radians(1.0)),
    (0.08, math.radians(25.0), math.radians(2.0)),
]


def chined() -> SectionShape:
    return hull_sections.chined_shape(**CHINED)


def round_bilged() -> SectionShape:
    """8 x 2.4 x 0.4 m with rocker, a transom just in the water, flare, and a stem that is a line."""
    stations = np.linspace(-1.0, 1.0, 11)
    outlines = []
    for t in stations[:-1]:
        keel = -0.4 * (1.0 - ((t + 0.1) / (1.1 if t > -0.1 else 0.95)) ** 2)
        breadth = 1.2 * (1.0 - max(t + 0.1, 0.0) ** 2.2 / 1.1**2.2) * (1.0 - 0.25 * max(-t - 0.1, 0.0) ** 2)
        angle = np.linspace(0.0, 0.5 * np.pi, 12)
        bilge = zip(breadth * np.sin(angle), keel + (0.1 - keel) * (1.0 - np.cos(angle)), strict=True)
        outlines.append((*bilge, (1.15 * breadth, 0.8 * (1.0 + 0.2 * t * t))))
    outlines.append(tuple((0.0, z) for z in np.linspace(0.001, 0.96, 13)))
    return SectionShape(
        station_x=tuple((4.0 * stations).tolist()),
        outlines=tuple(tuple((float(y), float(z)) for y, z in outline) for outline in outlines),
    )


def scow() -> SectionShape:
    """A flat bottom and vertical sides."""
    return SectionShape(station_x=(-4.0, 4.0), outlines=(((1.0, -0.4), (1.0, 0.6)),) * 2)


SHAPES = {"chined": chined, "round bilged": round_bilged, "scow": scow}


def moved_up(shape: SectionShape, height: float) -> SectionShape:
    return SectionShape(
        station_x=shape.station_x,
        outlines=tuple(tuple((y, z + height) for y, z in outline) for outline in shape.outlines),
    )


def without_deck(shape: SectionShape) -> SectionShape:
    """With high vertical sides on the sheer, as columns have them."""
    return SectionShape(
        station_x=shape.station_x,
        outlines=tuple((*outline, (outline[-1][0], 20.0)) for outline in shape.outlines),
    )


def afloat(columns: hull_form.Columns, ride: object, heel: object, pitch: object) -> hull_form.Afloat:
    stacked = hull_form.Columns(**{f.name: getattr(columns, f.name)[:, None] for f in fields(columns)})
    return hull_form.buoyancy(
        columns=stacked, ride_height=ride, heel=heel, pitch=pitch, water_density=1.0, gravity=1.0
    )


def at(columns: hull_form.Columns, ride: float, heel: float = 0.0, pitch: float = 0.0) -> FloatArray:
    """Volume, its moments about the reference point (roll and pitch), wetted area."""
    found = afloat(columns, *(np.array([value]) for value in (ride, heel, pitch)))
    return np.array([found.volume[0], found.roll[0], found.pitch[0], found.wetted_area[0]])


def exact(shape: SectionShape, ride: float, heel: float = 0.0, pitch: float = 0.0) -> FloatArray:
    """Volume and the same moments by cutting polygons."""
    found = hull_sections.immersed(shape=without_deck(shape), heel=heel, pitch=pitch, ride_height=ride)
    upright = found.z * math.cos(heel) - found.y * math.sin(heel)
    leeward = found.y * math.cos(heel) + found.z * math.sin(heel)
    forward = found.x * math.cos(pitch) - upright * math.sin(pitch)
    return found.volume * np.array([1.0, leeward, -forward])


def scales(shape: SectionShape) -> FloatArray:
    """Drawn volume, and what it makes by a sixth of the beam and a tenth of the length."""
    form = hull_sections.drawn_form(shape=shape)
    length = form.waterline_forward_x - form.waterline_aft_x
    return form.volume * np.array([1.0, form.waterline_beam / 6.0, length / 10.0])


# --- columns ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", SHAPES)
@pytest.mark.parametrize("attitude", ATTITUDES)
def test_columns_agree_with_the_exact_hull(name: str, attitude: tuple[float, ...]) -> None:
    """The errors are those of the smoothing at the surface and are on the theory page: 1 % of the scales."""
    shape = SHAPES[name]()
    error = at(hull_sections.section_columns(shape=shape), *attitude)[:3] - exact(shape, *attitude)
    assert np.max(np.abs(error) / scales(shape)) < 0.01


@pytest.mark.parametrize("name", SHAPES)
def test_drawn_hull(name: str) -> None:
    """Volume 0.3 %, wetted area 0.5 %, stiffness in roll 2 % of BM and in pitch 2 %: corners at the water are
    smoothed over the band of `hull_form`.
    """
    shape = SHAPES[name]()
    form = hull_sections.drawn_form(shape=shape)
    columns = hull_sections.section_columns(shape=shape)
    volume, _, _, wetted = at(columns, 0.0)
    assert volume == pytest.approx(form.volume, rel=3e-3)
    assert wetted == pytest.approx(form.wetted_area, rel=5e-3)
    small = 1e-3
    stiffness = (at(columns, 0.0, heel=small)[1] - at(columns, 0.0, heel=-small)[1]) / (2.0 * small)
    metacentre = form.buoyancy_centre_z + form.metacentric_radius
    assert stiffness / form.volume == pytest.approx(metacentre, abs=0.02 * form.metacentric_radius)
    by_pitch = at(columns, 0.0, pitch=small)[2] - at(columns, 0.0, pitch=-small)[2]
    expected = exact(shape, 0.0, pitch=small)[2] - exact(shape, 0.0, pitch=-small)[2]
    assert by_pitch == pytest.approx(expected, rel=0.02)


@pytest.mark.parametrize("name", SHAPES)
def test_all_wet_hull_is_exact(name: str) -> None:
    """Deep enough that no bottom is near the surface. What is left of the volume is the trace of girth by
    which columns are placed, of the moments also the 20 mm band of `hull_form`, squared over 14 immersions:
    a hundredth of a millimetre of lever.
    """
    shape = SHAPES[name]()
    columns = hull_sections.section_columns(shape=shape)
    for heel, pitch in ((0.0, 0.0), (0.3, 0.05)):
        expected = exact(shape, -6.0, heel, pitch)
        error = at(columns, -6.0, heel, pitch)[:3] - expected
        assert error[0] == pytest.approx(0.0, abs=1e-5)
        assert np.max(np.abs(error)) < 1e-5 * expected[0]


def test_errors_fall_with_more_columns() -> None:
    shape = round_bilged()
    errors = []
    for stations, rows in ((6, 3), (8, 4), (16, 12)):
        columns = hull_sections.section_columns(shape=shape, stations=stations, rows=rows)
        found = [(at(columns, *a)[:3] - exact(shape, *a)) / scales(shape) for a in ATTITUDES]
        errors.append(float(np.sqrt(np.mean(np.square(found)))))
    assert errors[1] < 0.9 * errors[0]
    assert errors[2] < 0.7 * errors[1]


@pytest.mark.parametrize("name", ["chined", "round bilged", "scow"])
def test_wetted_area_follows_the_immersion(name: str) -> None:
    """5 % of the drawn hull's, from half out to deeper by 0.3 of the draught, against the hull redrawn."""
    shape = SHAPES[name]()
    form = hull_sections.drawn_form(shape=shape)
    columns = hull_sections.section_columns(shape=shape)
    for share in (-0.3, -0.15, 0.15, 0.3, 0.5):
        ride = share * form.draught
        redrawn = hull_sections.drawn_form(shape=moved_up(shape, ride)).wetted_area
        assert at(columns, ride)[3] == pytest.approx(redrawn, abs=0.05 * form.wetted_area)


def test_any_shape_has_as_many_columns() -> None:
    counts = {len(hull_sections.section_columns(shape=make()).x) for make in SHAPES.values()}
    assert counts == {2 * hull_sections.STATIONS * (hull_sections.ROWS + 2)}


@pytest.mark.parametrize("name", SHAPES)
def test_columns_can_be_used(name: str) -> None:
    columns = hull_sections.section_columns(shape=SHAPES[name]())
    assert all(np.all(np.isfinite(getattr(columns, f.name))) for f in fields(columns))
    assert np.min(columns.plan_area) >= 0.0
    assert np.min(columns.side_length) >= 0.0
    assert np.min(columns.skin_area) > -1e-3 * np.sum(columns.skin_area)
    # the spread of a bottom, at any heel, is that of something real
    assert np.all(columns.variance_y * columns.variance_z >= columns.covariance_yz**2 - 1e-12)


def test_sides_are_alike_and_an_offset_moves_the_hull() -> None:
    shape, offset = round_bilged(), 1.8
    here = hull_sections.section_columns(shape=shape)
    one, other = at(here, 0.05, 0.2, 0.01), at(here, 0.05, -0.2, 0.01)
    assert other == pytest.approx(one * np.array([1.0, -1.0, 1.0, 1.0]), rel=1e-12)
    moved = hull_sections.section_columns(shape=shape, offset_y=offset)
    heel = 0.2
    # the hull lies offset sin(heel) deeper than its reference point, and its force acts offset cos(heel) out
    lower = at(here, 0.3 - offset * math.sin(heel), heel)
    found = at(moved, 0.3, heel)
    assert found[0] == pytest.approx(lower[0], rel=1e-12)
    assert found[1] == pytest.approx(lower[1] + offset * math.cos(heel) * lower[0], rel=1e-10)


def test_topsides_flare_above_the_drawn_plane() -> None:
    """What vertical sides would miss: the hull gains more volume by sinking than its water plane says."""
    shape, depth = round_bilged(), 0.3
    form = hull_sections.drawn_form(shape=shape)
    gained = at(hull_sections.section_columns(shape=shape), -depth)[0] - form.volume
    assert gained == pytest.approx(exact(shape, -depth)[0] - form.volume, rel=5e-3)
    assert gained > 1.02 * form.waterplane_area * depth


def everything(columns: hull_form.Columns, x: object) -> list[object]:
    found = afloat(columns, *x)
    return [found.volume, found.roll, found.pitch, found.wetted_area]


def test_derivatives_agree_with_differences() -> None:
    columns = hull_sections.section_columns(shape=round_bilged())
    x = np.array([[0.0, 0.03, -0.1, 0.25], [0.0, -0.3, 0.05, 0.2], [0.0, 0.01, -0.02, 0.01]])
    found = [jets.dense(j, 3, (4,)) for j in everything(columns, jets.variables(x))]
    scale = [np.max(np.abs(value)) for value, _, _ in found]
    h = 1e-6
    for i in range(3):
        d = h * np.eye(3)[i][:, None]
        ahead = [jets.dense_gradient(j, 3, (4,)) for j in everything(columns, jets.variables(x + d))]
        behind = [jets.dense_gradient(j, 3, (4,)) for j in everything(columns, jets.variables(x - d))]
        for k, (_, gradient, hessian) in enumerate(found):
            slope = (ahead[k][0] - behind[k][0]) / (2.0 * h)
            bend = (ahead[k][1] - behind[k][1]) / (2.0 * h)
            assert np.all(np.isfinite(hessian))
            assert gradient[i] == pytest.approx(slope, rel=1e-5, abs=1e-6 * scale[k])
            assert hessian[i] == pytest.approx(bend, rel=1e-4, abs=1e-3 * scale[k])


def test_same_numbers_in_jax() -> None:
    jax = jax_or_skip()
    columns = hull_sections.section_columns(shape=chined())
    x = np.array([[0.02, 0.1], [0.1, -0.3], [0.01, 0.0]])
    with double_precision(jax):
        found = everything(columns, [jax.numpy.asarray(row) for row in x])
        for a, b in zip(found, everything(columns, list(x)), strict=True):
            assert np.asarray(a) == pytest.approx(b, rel=1e-10)


# --- exact hydrostatics -------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", SHAPES)
@pytest.mark.parametrize("heel_deg", [0.0, 12.0, 35.0, 80.0, 140.0])
def test_floating_hull_is_in_balance(name: str, heel_deg: float) -> None:
    """Volume, and centres of buoyancy and mass in one athwartships vertical plane."""
    shape, heel = SHAPES[name](), math.radians(heel_deg)
    form = hull_sections.drawn_form(shape=shape)
    mass_x, mass_z = form.buoyancy_centre_x + 0.15, 0.25
    how = hull_sections.floating(shape=shape, heel=heel, volume=form.volume, centre_x=mass_x, centre_z=mass_z)
    found = hull_sections.immersed(shape=shape, heel=heel, pitch=how.pitch, ride_height=how.ride_height)
    assert found.volume == pytest.approx(form.volume, rel=1e-9)
    upright = found.z * math.cos(heel) - found.y * math.sin(heel)
    ahead = found.x * math.cos(how.pitch) - upright * math.sin(how.pitch)
    mass_ahead = mass_x * math.cos(how.pitch) - mass_z * math.cos(heel) * math.sin(how.pitch)
    assert ahead == pytest.approx(mass_ahead, abs=1e-8)
    assert how.lever == pytest.approx(found.y * math.cos(heel) + found.z * math.sin(heel), abs=1e-12)


def test_levers_along_a_curve_are_those_found_alone() -> None:
    shape = chined()
    form = hull_sections.drawn_form(shape=shape)
    held = {"volume": form.volume, "centre_x": form.buoyancy_centre_x, "centre_z": 0.3}
    heels = np.radians(np.arange(0.0, 171.0, 10.0))
    together = hull_sections.righting_levers(shape=shape, heels=heels, **held)
    alone = [hull_sections.righting_lever(shape=shape, heel=float(heel), **held) for heel in heels]
    assert together == pytest.approx(np.array(alone), abs=1e-8)
    small = hull_sections.righting_lever(shape=shape, heel=1e-5, **held) / 1e-5
    assert small == pytest.approx(form.buoyancy_centre_z + form.metacentric_radius, rel=1e-4)


def test_matching_outlines_with_other_points_changes_nothing() -> None:
    """A box whose one end has points on its straight sides too."""
    plain = SectionShape(station_x=(0.0, 5.0), outlines=(((1.0, -0.5), (1.0, 1.0)),) * 2)
    other = SectionShape(
        station_x=(0.0, 5.0),
        outlines=(
            ((1.0, -0.5), (1.0, 1.0)),
            ((0.0, -0.5), (0.3, -0.5), (1.0, -0.5), (1.0, 0.1), (1.0, 1.0)),
        ),
    )
    attitude = {"heel": 0.3, "pitch": 0.1, "ride_height": 0.1}
    a, b = (hull_sections.immersed(shape=s, **attitude) for s in (plain, other))
    for f in fields(a):
        assert getattr(a, f.name) == pytest.approx(getattr(b, f.name), abs=1e-12)


def test_hull_that_is_clear_displaces_nothing() -> None:
    found = hull_sections.immersed(shape=chined(), heel=0.1, pitch=0.0, ride_height=2.0)
    assert found.volume == 0.0
    assert math.isnan(found.x)


def test_hull_that_does_not_float_is_told() -> None:
    shape = scow()
    held = {"shape": shape, "heel": 0.1, "centre_x": 0.0, "centre_z": 0.0}
    with pytest.raises(ValueError, match="does not float"):
        hull_sections.righting_lever(**held, volume=8.0 * 2.0 * 1.0 + 0.01)
    with pytest.raises(ValueError, match="displaces something"):
        hull_sections.righting_lever(**held, volume=0.0)
    with pytest.raises(ValueError, match="No trim"):
        hull_sections.righting_lever(**(held | {"centre_x": 4.5}), volume=6.4)


# --- shapes -------------------------------------------------------------------------------------------------


def test_chined_hull() -> None:
    """Chine under the water: sections of area A (1 - t^2), so that volume, water plane and prismatic
    coefficient are 1 - share (1 - m) of the full ones, m being the mean of 1 - t^2 over 16 straight pieces,
    2/3 - 1/(6 16^2) by the trapezoidal rule.
    """
    shape = hull_sections.chined_shape(**(CHINED | {"deadrise": math.radians(10.0)}))
    form = hull_sections.drawn_form(shape=shape)
    rise = 0.7 * math.tan(math.radians(10.0))
    area = 0.7 * rise + 1.4 * (0.2 - rise)
    full = 1.0 - 0.6 * (1.0 - (2.0 / 3.0 - 1.0 / (6.0 * 16.0**2)))
    assert form.volume == pytest.approx(5.0 * area * full, rel=1e-12)
    assert form.waterplane_area == pytest.approx(5.0 * 1.4 * full, rel=1e-12)
    assert form.prismatic_coefficient == pytest.approx(full, rel=1e-9)
    assert form.transom_area == pytest.approx(area, rel=1e-12)
    assert form.transom_draught == pytest.approx(0.2)
    assert form.draught == pytest.approx(0.2)
    assert form.waterline_beam == pytest.approx(1.4)
    assert (form.waterline_aft_x, form.waterline_forward_x) == pytest.approx((-2.5, 2.5))


def test_deadrise_grows_towards_the_bow() -> None:
    shape = chined()
    rise = [outline[1][1] - outline[0][1] for outline in shape.outlines]
    assert rise == pytest.approx([rise[0]] * len(rise))
    breadth = np.array([outline[1][0] for outline in shape.outlines])
    assert math.atan2(rise[0], breadth[0]) == pytest.approx(CHINED["deadrise"])
    assert np.all(np.diff(breadth) <= 0.0)
    assert breadth[-1] == 0.0
    # the entry begins 2 m from the transom
    assert np.sum(breadth == breadth[0]) == 2
    assert shape.station_x[1] == pytest.approx(-0.5)


def keel_line(shape: SectionShape) -> tuple[FloatArray, FloatArray]:
    """Distance from the transom and height of the keel, by station."""
    return np.array(shape.station_x) + 2.5, np.array([outline[0][1] for outline in shape.outlines])


def test_keel_line_rises_straight_to_the_transom() -> None:
    """By 0.14 m: straight over 3 m, level from 4 m on, and one slope goes evenly into the other."""
    shape = hull_sections.chined_shape(**(CHINED | {"transom_rise": 0.14}))
    ahead, keel = keel_line(shape)
    assert (ahead[0], keel[0]) == pytest.approx((0.0, -0.06))
    assert keel[ahead >= 4.0 - 1e-9] == pytest.approx(-0.2)
    angle = hull_sections.run_angle(waterline_length=5.0, transom_rise=0.14)
    assert angle == pytest.approx(-math.atan(0.14 / 3.5))
    run = ahead <= 3.0 + 1e-9
    assert keel[run] == pytest.approx(-0.06 + ahead[run] * math.tan(angle))
    bend = (ahead > 3.0) & (ahead < 4.0)
    assert np.sum(bend) > 6
    assert keel[bend] == pytest.approx(-0.2 + 0.02 * (4.0 - ahead[bend]) ** 2)
    # breadths, and the chine over the keel, are those of the level hull
    chine = np.array([outline[1] for outline in shape.outlines])
    plain_x, plain_keel = keel_line(chined())
    plain = np.array([outline[1] for outline in chined().outlines])
    there = np.isin(np.round(ahead, 9), np.round(plain_x, 9))
    assert np.sum(there) == len(plain_x)
    assert chine[there, 0] == pytest.approx(plain[:, 0])
    assert chine[:, 1] - keel == pytest.approx(plain[0, 1] - plain_keel[0])


@pytest.mark.parametrize("tolerance", [0.001, 0.02, 0.03])
def test_run_ends_where_the_keel_leaves_its_line(tolerance: float) -> None:
    """In the bend, which parts from the line by 0.02 m over its length, and beyond."""
    given = {"waterline_length": 5.0, "transom_rise": 0.14}
    ahead, keel = keel_line(hull_sections.chined_shape(**(CHINED | {"transom_rise": 0.14})))
    line = -0.06 + ahead * math.tan(hull_sections.run_angle(**given))
    ends = hull_sections.run_length(**given, tolerance=tolerance)
    assert np.interp(ends, ahead, keel - line) == pytest.approx(tolerance, abs=2e-4)
    assert hull_sections.run_length(**(given | {"transom_rise": 0.0}), tolerance=tolerance) == 5.0


def test_water_line_ends_where_the_keel_leaves_the_water() -> None:
    """Keel at -0.4 m amidships, 0.2 m over the water aft: a third of the way is dry."""
    shape = SectionShape(
        station_x=(-3.0, 0.0, 2.0),
        outlines=(
            ((0.0, 0.2), (0.5, 0.7)),
            ((0.0, -0.4), (0.8, 0.6)),
            ((0.0, -0.4), (0.0, 0.6)),
        ),
    )
    form = hull_sections.drawn_form(shape=shape)
    assert (form.waterline_aft_x, form.waterline_forward_x) == pytest.approx((-2.0, 2.0))
    assert form.transom_area == 0.0
    assert form.transom_draught == 0.0
    # the sections' corners at keel and sheer: half breadth at the water 0.8 * 0.4 amidships
    assert form.waterline_beam == pytest.approx(0.64)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"chine_beam": 0.0}, "chine_beam"),
        ({"deadrise": -0.1}, "deadrise"),
        ({"entry_share": 1.2}, "entry"),
        ({"deadrise": 1.6}, "90 deg"),
        ({"freeboard": 0.05}, "chine"),
        ({"transom_rise": -0.01}, "fall"),
        ({"transom_rise": 0.52}, "chine"),
    ],
)
def test_unusable_chined_hull_is_refused(change: dict[str, float], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        hull_sections.chined_shape(**(CHINED | change))


GOOD = ((0.0, -0.3), (0.5, 0.4))


@pytest.mark.parametrize(
    ("station_x", "outlines", "message"),
    [
        ((0.0,), (GOOD,), "two or more"),
        ((0.0, 1.0), (GOOD,), "as many"),
        ((1.0, 0.0), (GOOD, GOOD), "rise"),
        ((0.0, 1.0), (GOOD, ()), "x = 1 m needs points"),
        ((0.0, 1.0), (GOOD, ((-0.1, -0.3), (0.5, 0.4))), "0 or more"),
        ((0.0, 1.0), (GOOD, ((0.0, -0.3), (0.5, 0.4), (0.4, 0.6))), "falls"),
        ((0.0, 1.0), (GOOD, ((0.0, -0.3), (0.5, -0.1))), "ends below"),
        ((0.0, 1.0), (((0.0, 0.1), (0.5, 0.4)),) * 2, "reaches below"),
    ],
)
def test_unusable_shape_is_refused(
    station_x: tuple[float, ...], outlines: tuple[tuple[tuple[float, float], ...], ...], message: str
) -> None:
    shape = SectionShape(station_x=station_x, outlines=outlines)
    for use in (hull_sections.section_columns, hull_sections.drawn_form):
        with pytest.raises(ValueError, match=message):
            use(shape=shape)


def test_hull_without_volume_is_refused() -> None:
    fin = SectionShape(station_x=(0.0, 1.0), outlines=(((0.0, -0.3), (0.0, 0.0), (0.5, 0.4)),) * 2)
    with pytest.raises(ValueError, match="no volume"):
        hull_sections.drawn_form(shape=fin)


def test_unusable_count_is_refused() -> None:
    with pytest.raises(ValueError, match="stations"):
        hull_sections.section_columns(shape=chined(), stations=1)
