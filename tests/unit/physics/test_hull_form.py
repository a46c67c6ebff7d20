"""The parametric hull: hydrostatics of its columns, and its table of wave resistance."""

import math
from dataclasses import fields, replace

import numpy as np
import pytest
from numpy.typing import NDArray

from tests.support.with_jax import double_precision, jax_or_skip
from vpp.physics import hull_form, thin_ship
from vpp.physics.foil_geometry import body_to_horizontal
from vpp.solver import jets

FloatArray = NDArray[np.float64]

DENSITY = 1025.0
GRAVITY = 9.80665
LENGTH, BEAM, DRAUGHT = 8.0, 1.2, 0.3
EXPONENTS = [(2.0, 2.0), (1.5, 1.5), (2.5, 4.0), (4.0, 2.0), (6.0, 6.0)]
# ride height, heel, pitch: level; lifted; heeled; half out and askew
ATTITUDES = [
    (0.0, 0.0, 0.0),
    (0.13, 0.05, -0.01),
    (0.05, math.radians(20.0), math.radians(1.0)),
    (0.2, math.radians(12.0), math.radians(2.0)),
]


def shape(n: float = 2.0, m: float = 2.0) -> dict[str, float]:
    return {
        "waterline_length": LENGTH,
        "waterline_beam": BEAM,
        "canoe_draught": DRAUGHT,
        "waterline_exponent": n,
        "section_exponent": m,
    }


def stacked(columns: hull_form.Columns) -> hull_form.Columns:
    return hull_form.Columns(**{f.name: getattr(columns, f.name)[:, None] for f in fields(columns)})


def afloat(columns: hull_form.Columns, ride: object, heel: object, pitch: object) -> hull_form.Afloat:
    return hull_form.buoyancy(
        columns=stacked(columns),
        ride_height=ride,
        heel=heel,
        pitch=pitch,
        water_density=DENSITY,
        gravity=GRAVITY,
    )


def at(columns: hull_form.Columns, ride: float, heel: float = 0.0, pitch: float = 0.0) -> FloatArray:
    """Volume, up, roll, pitch, wetted area."""
    found = afloat(columns, *(np.array([value]) for value in (ride, heel, pitch)))
    return np.array([getattr(found, f.name)[0] for f in fields(found)])


def summed(n: float, m: float, ride: float, heel: float, pitch: float) -> FloatArray:
    """Volume, moments of it forward and to leeward, by a fine grid of sharp columns over the plan form."""
    count = 600
    share = (np.arange(count) + 0.5) / count
    t, q = np.meshgrid(2.0 * share - 1.0, 2.0 * share - 1.0, indexing="ij")
    breadth = 0.5 * BEAM * (1.0 - np.abs(t) ** n)
    x, y, bottom = 0.5 * LENGTH * t, breadth * q, -DRAUGHT * (1.0 - np.abs(q)) ** (1.0 / m)
    area = LENGTH / count * 2.0 * breadth / count
    water = (-ride - x * np.sin(pitch) + y * np.sin(heel) * np.cos(pitch)) / (np.cos(heel) * np.cos(pitch))
    wet = np.maximum(water - bottom, 0.0)
    forward, leeward, _ = body_to_horizontal(x=x, y=y, z=water - 0.5 * wet, heel=heel, pitch=pitch)
    volume = area * wet
    return np.array([np.sum(volume), np.sum(volume * forward), np.sum(volume * leeward)])


@pytest.mark.parametrize(("n", "m"), EXPONENTS)
def test_drawn_hull_has_its_closed_form_hydrostatics(n: float, m: float) -> None:
    """Volume, centre of buoyancy and both metacentric radii by hand: the centre lies (m + 1)/(2 m + 4) of the
    draught below the water plane.
    """
    columns = hull_form.hull_columns(**shape(n, m))
    volume, up, _, _, _ = at(columns, 0.0)
    drawn = LENGTH * BEAM * DRAUGHT * n / (n + 1.0) * m / (m + 1.0)
    assert hull_form.drawn_volume(**shape(n, m)) == pytest.approx(drawn, rel=1e-12)
    assert volume == pytest.approx(drawn, rel=2e-3)
    assert up == pytest.approx(DENSITY * GRAVITY * volume, rel=1e-12)
    centre_z = -DRAUGHT * (m + 1.0) / (2.0 * m + 4.0)
    # moments of the water plane: integrals of (1 - t^n)^3 and t^2 (1 - t^n) over 0 to 1
    cubed = 1.0 - 3.0 / (n + 1.0) + 3.0 / (2.0 * n + 1.0) - 1.0 / (3.0 * n + 1.0)
    radius = BEAM**3 * LENGTH / 12.0 * cubed / drawn
    long_radius = BEAM * LENGTH**3 / 4.0 * (1.0 / 3.0 - 1.0 / (n + 3.0)) / drawn
    small = 1e-3
    assert at(columns, 0.0, heel=small)[2] / (up * small) == pytest.approx(centre_z + radius, rel=5e-3)
    assert at(columns, 0.0, pitch=small)[3] / (up * small) == pytest.approx(centre_z + long_radius, rel=5e-3)


def test_wigley_hull() -> None:
    """L/B 10, B/T 1.6: volume 4/9 L B T, water plane 2/3 L B, BM 3/35 B^2/T (by hand); wetted area
    0.148791 L^2 (an independent quadrature).
    """
    length, beam, draught = 10.0, 1.0, 0.625
    columns = hull_form.hull_columns(
        waterline_length=length,
        waterline_beam=beam,
        canoe_draught=draught,
        waterline_exponent=2.0,
        section_exponent=2.0,
    )
    volume, up, _, _, wetted = at(columns, 0.0)
    assert volume == pytest.approx(4.0 / 9.0 * length * beam * draught, rel=1e-3)
    assert wetted == pytest.approx(0.148791 * length**2, rel=3e-3)
    rise = 1e-3
    plane = (at(columns, -rise)[0] - at(columns, rise)[0]) / (2.0 * rise)
    assert plane == pytest.approx(2.0 / 3.0 * length * beam, rel=3e-3)
    arm = at(columns, 0.0, heel=1e-3)[2] / (up * 1e-3)
    assert arm == pytest.approx(3.0 / 35.0 * beam**2 / draught - 3.0 / 8.0 * draught, abs=3e-4)


@pytest.mark.parametrize("attitude", ATTITUDES)
@pytest.mark.parametrize(("n", "m"), EXPONENTS)
def test_any_attitude_agrees_with_a_fine_grid(n: float, m: float, attitude: tuple[float, ...]) -> None:
    drawn = hull_form.drawn_volume(**shape(n, m))
    volume, _, roll, pitch, _ = at(hull_form.hull_columns(**shape(n, m)), *attitude)
    expected, forward, leeward = summed(n, m, *attitude)
    assert volume == pytest.approx(expected, abs=3e-3 * drawn)
    weight = DENSITY * GRAVITY
    assert roll / weight == pytest.approx(leeward, abs=3e-3 * drawn * BEAM / 6.0)
    assert -pitch / weight == pytest.approx(forward, abs=1e-3 * drawn * LENGTH)


@pytest.mark.parametrize("immersion", [0.25, 0.5, 0.75, 1.0, 1.3])
def test_level_hull_displaces_its_share(immersion: float) -> None:
    volume = at(hull_form.hull_columns(**shape(2.0, 3.0)), DRAUGHT * (1.0 - immersion))[0]
    share = float(hull_form.immersed_volume_share(immersion=immersion, section_exponent=3.0))
    assert volume / hull_form.drawn_volume(**shape(2.0, 3.0)) == pytest.approx(share, abs=3e-3)


def test_vertical_sides_get_wet_above_the_drawn_plane() -> None:
    columns = hull_form.hull_columns(**shape())
    fine = np.linspace(-1.0, 1.0, 4001)
    edge = 2.0 * np.sum(np.hypot(np.diff(fine * LENGTH / 2.0), np.diff(BEAM / 2.0 * (1.0 - fine**2))))
    assert at(columns, -0.2)[4] - at(columns, -0.1)[4] == pytest.approx(0.1 * edge, rel=2e-3)


def test_nothing_acts_on_a_hull_that_is_clear() -> None:
    columns = hull_form.hull_columns(**shape())
    assert np.all(at(columns, DRAUGHT + 0.05) == 0.0)
    assert np.all(at(columns, DRAUGHT + 0.6, heel=0.4, pitch=0.05) == 0.0)


def test_force_and_wetted_area_only_grow_as_the_hull_sinks() -> None:
    ride = np.linspace(DRAUGHT + 0.1, -0.2, 601)
    found = afloat(hull_form.hull_columns(**shape()), ride, 0.03 + 0.0 * ride, 0.01 + 0.0 * ride)
    for values in (found.up, found.wetted_area):
        assert np.min(values) == 0.0
        assert np.all(np.diff(values) >= 0.0)


def test_sides_are_alike() -> None:
    columns = hull_form.hull_columns(**shape(), centre_x=0.4)
    one, other = at(columns, 0.1, 0.2, 0.01), at(columns, 0.1, -0.2, 0.01)
    assert other == pytest.approx(one * np.array([1.0, 1.0, -1.0, 1.0, 1.0]), rel=1e-12)


def test_centre_moves_the_pitch_moment() -> None:
    here, forward = (hull_form.hull_columns(**shape(), centre_x=x) for x in (0.0, 0.5))
    moved = at(forward, 0.0) - at(here, 0.0)
    assert moved[3] == pytest.approx(-0.5 * at(here, 0.0)[1], rel=1e-9)


@pytest.mark.parametrize("attitude", ATTITUDES)
def test_force_and_moments_are_the_slopes_of_one_energy(attitude: tuple[float, ...]) -> None:
    """Virtual work: against ride height, heel and pitch the water does up, -cos(pitch) roll and -pitch moment
    (by hand). They are slopes of one energy: their own cross slopes are symmetric, and the work done while
    the hull is lifted clear has the moments as its slopes in heel and pitch.
    """
    columns = hull_form.hull_columns(**shape(2.5, 3.0), centre_x=0.3)

    def work(ride: float, heel: float, pitch: float) -> FloatArray:
        _, up, roll, bow_down, _ = at(columns, ride, heel, pitch)
        return np.array([up, -math.cos(pitch) * roll, -bow_down])

    step = 1e-5 * np.eye(3)
    slopes = np.array([(work(*(attitude + d)) - work(*(attitude - d))) / 2e-5 for d in step])
    assert slopes == pytest.approx(slopes.T, abs=1e-6 * np.max(np.abs(slopes)))

    def energy(heel: float, pitch: float) -> float:
        """Work done while the hull is lifted clear."""
        node, weight = np.polynomial.legendre.leggauss(400)
        top = attitude[0] + 1.5
        ride = attitude[0] + 0.5 * (top - attitude[0]) * (node + 1.0)
        up = afloat(columns, ride, heel + 0.0 * ride, pitch + 0.0 * ride).up
        return float(0.5 * (top - attitude[0]) * np.sum(weight * up))

    _, heel, pitch = attitude
    d = 1e-4
    by_heel = (energy(heel + d, pitch) - energy(heel - d, pitch)) / (2.0 * d)
    by_pitch = (energy(heel, pitch + d) - energy(heel, pitch - d)) / (2.0 * d)
    weight = DENSITY * GRAVITY * hull_form.drawn_volume(**shape(2.5, 3.0))
    assert -by_heel == pytest.approx(work(*attitude)[1], abs=1e-4 * weight)
    assert -by_pitch == pytest.approx(work(*attitude)[2], abs=1e-4 * weight)


def everything(columns: hull_form.Columns, table: hull_form.WaveTable, x: object) -> list[object]:
    ride, heel, pitch, froude = x
    found = afloat(columns, ride, heel, pitch)
    waves = hull_form.wave_resistance(
        froude_number=froude,
        volume=found.volume,
        drawn_volume=hull_form.drawn_volume(**shape()),
        waterline_length=LENGTH,
        table=table,
        water_density=DENSITY,
        gravity=GRAVITY,
    )
    return [found.up, found.roll, found.pitch, found.wetted_area, waves]


def test_derivatives_agree_with_differences() -> None:
    columns, table = hull_form.hull_columns(**shape()), hull_form.wave_table(**shape())
    x = np.array(
        [[0.02, 0.11, 0.17, 0.27], [0.1, -0.3, 0.05, 0.2], [0.01, 0.0, -0.02, 0.01], [0.3, 0.45, 0.9, 2.0]]
    )
    found = [jets.dense(j, 4, (4,)) for j in everything(columns, table, jets.variables(x))]
    scale = [np.max(np.abs(value)) for value, _, _ in found]
    h = 1e-6  # the third derivative jumps at the ends of a band, which costs h over its width
    for i in range(4):
        d = h * np.eye(4)[i][:, None]
        ahead = [jets.dense_gradient(j, 4, (4,)) for j in everything(columns, table, jets.variables(x + d))]
        behind = [jets.dense_gradient(j, 4, (4,)) for j in everything(columns, table, jets.variables(x - d))]
        for k, (_, gradient, hessian) in enumerate(found):
            slope = (ahead[k][0] - behind[k][0]) / (2.0 * h)
            bend = (ahead[k][1] - behind[k][1]) / (2.0 * h)
            assert gradient[i] == pytest.approx(slope, rel=1e-5, abs=1e-6 * scale[k])
            assert hessian[i] == pytest.approx(bend, rel=1e-4, abs=1e-3 * scale[k])


def test_derivatives_are_those_of_the_sums_by_jax() -> None:
    """What is written out by hand against automatic differentiation of the values, over attitudes in which
    columns are dry, in their band and deep.
    """
    jax = jax_or_skip()
    columns, table = hull_form.hull_columns(**shape(2.5, 3.0)), hull_form.wave_table(**shape(2.5, 3.0))
    x = np.array([[0.02, 0.11, 0.2, -0.1], [0.1, -0.3, 0.05, 0.5], [0.01, 0.02, -0.03, 0.1], [0.3] * 4])
    found = [jets.dense(j, 4, (4,)) for j in everything(columns, table, jets.variables(x))]
    with double_precision(jax):

        def values(state: object) -> object:
            return jax.numpy.stack([jax.numpy.asarray(v) for v in everything(columns, table, state)])

        def slopes(state: object) -> object:
            gradient = jax.jacfwd(values)(state)
            return gradient, gradient

        hessians, gradients = jax.vmap(jax.jacfwd(slopes, has_aux=True))(x.T)
        for i in range(len(x.T)):
            gradient = np.asarray(gradients[i]).reshape(-1, 4)
            hessian = np.asarray(hessians[i]).reshape(-1, 4, 4)
            for k, (_, slope, bend) in enumerate(found):
                np.testing.assert_allclose(
                    slope[:, i], gradient[k], rtol=1e-10, atol=1e-11 * np.abs(gradient[k]).max()
                )
                np.testing.assert_allclose(
                    bend[:, :, i], hessian[k], rtol=1e-9, atol=1e-10 * np.abs(hessian[k]).max()
                )


def test_derivatives_are_finite_where_nothing_is_wet() -> None:
    columns, table = hull_form.hull_columns(**shape()), hull_form.wave_table(**shape())
    x = np.array([[1.0], [0.0], [0.0], [1.5]])
    for jet in everything(columns, table, jets.variables(x)):
        value, gradient, hessian = jets.dense(jet, 4, (1,))
        assert not np.any(value)
        assert not np.any(gradient)
        assert not np.any(hessian)


def test_same_numbers_in_jax() -> None:
    jax = jax_or_skip()
    columns, table = hull_form.hull_columns(**shape()), hull_form.wave_table(**shape())
    x = np.array([[0.02, 0.2], [0.1, -0.3], [0.01, 0.0], [0.3, 0.9]])
    with double_precision(jax):
        found = everything(columns, table, [jax.numpy.asarray(row) for row in x])
        plain = everything(columns, table, list(x))
        for a, b in zip(found, plain, strict=True):
            assert np.asarray(a) == pytest.approx(b, rel=1e-10)


def test_table_takes_a_boat_a_condition() -> None:
    tables = [hull_form.wave_table(**shape(n, m)) for n, m in EXPONENTS[:2]]
    both = replace(tables[0], coefficients=np.stack([t.coefficients for t in tables], axis=-1))
    arguments = {
        "froude_number": np.array([0.4, 0.6]),
        "volume": np.array([0.5, 1.0]),
        "drawn_volume": np.array([hull_form.drawn_volume(**shape(n, m)) for n, m in EXPONENTS[:2]]),
        "waterline_length": LENGTH,
        "water_density": DENSITY,
        "gravity": GRAVITY,
    }
    together = hull_form.wave_resistance(table=both, **arguments)
    for i, table in enumerate(tables):
        assert hull_form.wave_resistance(table=table, **arguments)[i] == pytest.approx(together[i], rel=1e-12)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"section_exponent": 1.2}, "exponents"),
        ({"waterline_exponent": 7.0}, "exponents"),
        ({"canoe_draught": 0.0}, "positive"),
    ],
)
def test_unusable_form_is_refused(change: dict[str, float], message: str) -> None:
    for build in (hull_form.hull_columns, hull_form.wave_table):
        with pytest.raises(ValueError, match=message):
            build(**(shape() | change))


def test_unusable_count_is_refused() -> None:
    with pytest.raises(ValueError, match="stations"):
        hull_form.hull_columns(**shape(), stations=7)


def test_low_speed_resistance_is_small_and_without_humps() -> None:
    """Below the band of Froude numbers 0.16 to 0.24 the sixth power of speed; smaller than friction there."""
    froude = np.linspace(0.05, 0.16, 23)
    resistance = hull_form.wave_resistance(
        froude_number=froude,
        volume=hull_form.drawn_volume(**shape()),
        drawn_volume=hull_form.drawn_volume(**shape()),
        waterline_length=LENGTH,
        table=hull_form.wave_table(**shape()),
        water_density=DENSITY,
        gravity=GRAVITY,
    )
    growth = np.diff(np.log(resistance)) / np.diff(np.log(froude))
    assert np.all(growth > 4.0)
    assert np.all(growth < 6.5)
    assert resistance[-1] < 1e-3 * DENSITY * GRAVITY * hull_form.drawn_volume(**shape())


@pytest.mark.parametrize(("n", "m"), EXPONENTS)
def test_table_agrees_with_the_integral(n: float, m: float) -> None:
    """At volumes between those of the table: 1 % of the curve's maximum from 0.2 to 1.5 of the drawn volume,
    1.5 % from 0.05 and 4 % to 3. The drawn volume itself leaves the splines' error.
    """
    drawn, table = hull_form.drawn_volume(**shape(n, m)), hull_form.wave_table(**shape(n, m))
    froude = np.concatenate((np.arange(0.243, 0.6, 0.007), np.arange(0.6, 3.0, 0.11)))
    for immersion in (0.22, 0.35, 0.5, 0.7, 0.9, 1.0, 1.2, 1.35, 1.8, 2.2):
        direct = thin_ship.family_wave_resistance(
            froude_number=froude,
            length_beam_ratio=LENGTH / BEAM,
            beam_draught_ratio=BEAM / DRAUGHT,
            waterline_exponent=n,
            section_exponent=m,
            immersion=immersion,
        )
        share = float(hull_form.immersed_volume_share(immersion=immersion, section_exponent=m))
        found = hull_form.wave_resistance(
            froude_number=froude,
            volume=share * drawn,
            drawn_volume=drawn,
            waterline_length=LENGTH,
            table=table,
            water_density=DENSITY,
            gravity=GRAVITY,
        ) / (DENSITY * GRAVITY * LENGTH**3)
        allowed = 0.015 if share < 0.2 else 0.01 if share <= 1.5 else 0.04
        if immersion == 1.0:
            allowed = 2e-3
        assert np.max(np.abs(found - direct)) < allowed * np.max(direct)


def test_resistance_out_of_the_water_goes_with_the_square_of_the_volume() -> None:
    drawn, table = hull_form.drawn_volume(**shape()), hull_form.wave_table(**shape())
    light = drawn * np.array([1e-5, 2e-5])
    found = hull_form.wave_resistance(
        froude_number=np.array([0.7, 0.7]),
        volume=light,
        drawn_volume=drawn,
        waterline_length=LENGTH,
        table=table,
        water_density=DENSITY,
        gravity=GRAVITY,
    )
    assert found[1] / found[0] == pytest.approx(4.0, rel=1e-3)
