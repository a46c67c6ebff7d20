"""Where the elements of canting foils are: closed forms, signs, and the share that is under water."""

import math
from dataclasses import fields

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from vpp.physics import foil_geometry
from vpp.physics.foil_geometry import FoilPlace, FoilShape

FloatArray = NDArray[np.float64]

AFTER = (None, 0, 0)
ARM, OUTER, INNER = 0, 1, 2


def column(*values: float) -> FloatArray:
    return np.array(values)[:, None]


def shape(side: float = 1.0, dihedral: float = math.radians(5.0), sweep: float = 0.1) -> FoilShape:
    """An arm of 4 m with a wing half to either side of its end."""
    one = np.ones(1)
    return FoilShape(
        side=side * one,
        attachment_x=1.0 * one,
        attachment_y=side * 2.0 * one,
        attachment_z=0.5 * one,
        span=column(4.0, 1.3, 1.1),
        dihedral=column(-0.5 * math.pi, dihedral, dihedral),
        outward=column(1.0, 1.0, -1.0),
        sweep=column(0.0, sweep, sweep),
        root_chord=column(0.5, 0.35, 0.35),
        tip_chord=column(0.4, 0.15, 0.2),
    )


def place(
    *,
    of: FoilShape | None = None,
    cant: object = 0.0,
    ride: object = 0.0,
    heel: object = 0.0,
    pitch: object = 0.0,
) -> FoilPlace:
    return foil_geometry.place(
        shape=shape() if of is None else of,
        after=AFTER,
        cant=np.atleast_1d(cant) if isinstance(cant, float) else cant,
        ride_height=np.atleast_1d(ride) if isinstance(ride, float) else ride,
        heel=np.atleast_1d(heel) if isinstance(heel, float) else heel,
        pitch=np.atleast_1d(pitch) if isinstance(pitch, float) else pitch,
    )


def test_arm_hangs_down_without_cant() -> None:
    at = place()
    assert (at.span_y[ARM, 0], at.span_z[ARM, 0]) == pytest.approx((0.0, -1.0), abs=1e-15)
    assert (at.start_y[OUTER, 0], at.start_z[OUTER, 0]) == pytest.approx((2.0, -3.5), abs=1e-14)


def test_cant_swings_the_arm_outward_by_its_sine() -> None:
    """On either side: the end moves out by 4 sin and up by 4 (1 - cos)."""
    cant = 0.6
    for side in (1.0, -1.0):
        at = place(of=shape(side), cant=cant)
        end = side * (2.0 + 4.0 * math.sin(cant)), 0.5 - 4.0 * math.cos(cant)
        assert (at.start_y[INNER, 0], at.start_z[INNER, 0]) == pytest.approx(end)


def test_normals_point_up_for_wings_and_outward_for_the_arm() -> None:
    for side in (1.0, -1.0):
        at = place(of=shape(side, dihedral=0.0))
        np.testing.assert_allclose(at.normal_z[:, 0], [0.0, 1.0, 1.0], atol=1e-15)
        np.testing.assert_allclose(at.normal_y[:, 0], [side, 0.0, 0.0], atol=1e-15)


def test_a_leeward_wing_canted_outward_lifts_to_windward() -> None:
    at = place(cant=0.5)
    assert np.all(at.normal_y[OUTER:] < 0.0)
    assert np.all(at.normal_z[OUTER:] > 0.0)


@given(cant=st.floats(-0.5, 1.5), dihedral=st.floats(-1.5, 1.5), side=st.sampled_from([1.0, -1.0]))
def test_span_and_normal_are_unit_vectors_square_to_each_other(
    cant: float, dihedral: float, side: float
) -> None:
    at = place(of=shape(side, dihedral), cant=cant)
    np.testing.assert_allclose(at.span_y**2 + at.span_z**2, 1.0, rtol=1e-12)
    np.testing.assert_allclose(at.normal_y**2 + at.normal_z**2, 1.0, rtol=1e-12)
    np.testing.assert_allclose(at.span_y * at.normal_y + at.span_z * at.normal_z, 0.0, atol=1e-14)


def test_sweep_runs_aft() -> None:
    at = place()
    np.testing.assert_allclose(at.step_x[:, 0], [0.0, -math.tan(0.1), -math.tan(0.1)], atol=1e-15)


def test_attitude_follows_the_conventions() -> None:
    """Heel: y = y_b cos h + z_b sin h, z = z_b cos h - y_b sin h; bow up lifts what lies ahead."""
    x, y, z = foil_geometry.body_to_horizontal(x=0.0, y=2.0, z=3.0, heel=np.array(0.3), pitch=np.array(0.0))
    assert y == pytest.approx(2.0 * math.cos(0.3) + 3.0 * math.sin(0.3))
    assert z == pytest.approx(3.0 * math.cos(0.3) - 2.0 * math.sin(0.3))
    x, _, z = foil_geometry.body_to_horizontal(x=1.0, y=0.0, z=0.0, heel=np.array(0.3), pitch=np.array(0.1))
    assert (x, z) == pytest.approx((math.cos(0.1), math.sin(0.1)))


@given(vector=st.tuples(*[st.floats(-5.0, 5.0)] * 3), heel=st.floats(-1.0, 1.0), pitch=st.floats(-0.5, 0.5))
def test_axes_turn_back(vector: tuple[float, float, float], heel: float, pitch: float) -> None:
    angles = {"heel": np.array(heel), "pitch": np.array(pitch)}
    x, y, z = vector
    forward, leeward, up = foil_geometry.body_to_horizontal(x=x, y=y, z=z, **angles)
    back = foil_geometry.horizontal_to_body(forward=forward, leeward=leeward, up=up, **angles)
    np.testing.assert_allclose(np.array(back, dtype=float), vector, atol=1e-12)


def test_water_comes_from_ahead_and_from_leeward() -> None:
    """Positive leeway: the boat slides to leeward, so the water runs to windward past it."""
    x, y, z = foil_geometry.water_velocity(
        boat_speed=np.array(8.0), leeway=np.array(0.05), heel=np.array(0.0), pitch=np.array(0.0)
    )
    assert (x, y, z) == pytest.approx((-8.0 * math.cos(0.05), -8.0 * math.sin(0.05), 0.0))
    _, _, z = foil_geometry.water_velocity(
        boat_speed=np.array(8.0), leeway=np.array(0.0), heel=np.array(0.0), pitch=np.array(0.02)
    )
    # bow up, a level foil meets the flow from below
    assert z == pytest.approx(8.0 * math.sin(0.02))


def test_depths_of_panels_follow_ride_height_heel_and_pitch() -> None:
    at = place(cant=0.4, ride=1.2, heel=0.2, pitch=0.05)
    cut = foil_geometry.panels(at=at, panel_count=5, heel=np.array([0.2]), pitch=np.array([0.05]))
    _, _, up = foil_geometry.body_to_horizontal(
        x=cut.x, y=cut.y, z=cut.z, heel=np.array([0.2]), pitch=np.array([0.05])
    )
    np.testing.assert_allclose(cut.depth, -(up + 1.2), atol=1e-12)
    np.testing.assert_allclose(cut.length.sum(axis=1)[:, 0], [4.0, 1.3, 1.1])
    area = (cut.length * cut.chord).sum(axis=1)[:, 0]
    np.testing.assert_allclose(area, [4.0 * 0.45, 1.3 * 0.25, 1.1 * 0.275])


def test_smooth_step_is_twice_continuously_differentiable() -> None:
    x = np.linspace(-1.5, 1.5, 30001)
    value = foil_geometry.smooth_step(x)
    assert value[0] == 0.0
    assert value[-1] == 1.0
    curvature = np.diff(value, 2) / (x[1] - x[0]) ** 2
    # third derivative at most 15 a unit, no jump
    assert np.abs(np.diff(curvature)).max() < 15.1 * (x[1] - x[0])
    np.testing.assert_allclose(value + value[::-1], 1.0, atol=1e-14)


@pytest.mark.parametrize("panel_count", [4, 6, 12])
def test_immersed_span_of_a_piercing_arm(panel_count: int) -> None:
    """Exact by trigonometry, to 0.1 % of a panel, while both ends are half a panel off the surface."""
    cant, heel = np.radians([[0.0, 20.0, 45.0, 60.0]]).T, 0.1
    panel = 4.0 / panel_count
    ride = np.linspace(-0.45 + 1.0 * panel, 1.0, 200)
    at = place(cant=np.broadcast_to(cant, (4, 200)).ravel(), ride=np.tile(ride, 4), heel=np.full(800, heel))
    wet = foil_geometry.immersed_span(at=at, panel_count=panel_count)[ARM]
    exact = 4.0 + at.start_depth[ARM] / -at.rise[ARM]
    away = (exact * -at.rise[ARM] > 0.5 * panel) & (at.start_depth[ARM] < -0.5 * panel)
    assert away.sum() > 200
    np.testing.assert_allclose(wet[away], exact[away], atol=1e-3 * panel)


def test_a_deep_foil_is_wet_and_a_lifted_one_dry() -> None:
    deep = foil_geometry.immersed_span(at=place(ride=-3.0), panel_count=6)
    np.testing.assert_allclose(deep[:, 0], [4.0, 1.3, 1.1])
    lifted = foil_geometry.immersed_span(at=place(cant=1.9, ride=1.0), panel_count=6)
    assert np.all(lifted == 0.0)


def crossing(at: FoilPlace, element: int) -> float:
    shares = foil_geometry.crossing_shares(
        start_depth=at.start_depth[element], rise=at.rise[element], span=at.span[element], panel_count=8
    )
    return float(shares.sum())


def test_only_a_piercing_element_is_cut_by_the_surface() -> None:
    assert crossing(place(cant=0.3, ride=1.0), ARM) == pytest.approx(1.0, abs=1e-3)
    assert crossing(place(ride=-3.0), ARM) == 0.0
    # a level wing coming through the surface is not a strut
    assert abs(crossing(place(of=shape(dihedral=0.0), ride=3.5), OUTER)) < 1e-6


def test_faulty_chains_are_refused() -> None:
    zero = np.zeros(1)
    for after, words in (((None, 0), "2 links"), ((None, 2, 0), "not an earlier one")):
        with pytest.raises(ValueError, match=words):
            foil_geometry.place(
                shape=shape(), after=after, cant=zero, ride_height=zero, heel=zero, pitch=zero
            )


def test_derivative_arrays_agree_with_differences() -> None:
    from vpp.solver import jets

    rng = np.random.default_rng(3)
    low, high = np.array([0.0, -0.5, -0.1, -0.05]), np.array([1.0, 3.0, 0.4, 0.08])
    x = rng.uniform(low, high, (60, 4)).T

    def wet(cant: object, ride: object, heel: object, pitch: object) -> object:
        return foil_geometry.immersed_span(
            at=place(cant=cant, ride=ride, heel=heel, pitch=pitch), panel_count=6
        )

    value, gradient, hessian = jets.dense(wet(*jets.variables(x)), 4, (3, 60))
    np.testing.assert_allclose(value, wet(*x), atol=1e-13)
    step = 2e-6
    for i in range(4):
        shift = np.zeros((4, 1))
        shift[i] = step
        np.testing.assert_allclose(
            gradient[i], (wet(*(x + shift)) - wet(*(x - shift))) / (2.0 * step), atol=1e-7
        )
        ahead, behind = (jets.dense(wet(*jets.variables(x + s)), 4, (3, 60))[1] for s in (shift, -shift))
        np.testing.assert_allclose(hessian[i], (ahead - behind) / (2.0 * step), atol=2e-3)


def test_place_is_made_of_arrays_alone() -> None:
    """So that a caller can stack and pick boats along the last axis."""
    at = place()
    for field in fields(at):
        assert isinstance(getattr(at, field.name), np.ndarray)
