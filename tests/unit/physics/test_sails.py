"""Forces of a rig: from the wind at each strip to the loads, with derivatives and as a JAX trace."""

import dataclasses
import math
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

import vpp.config
from vpp import fleets
from vpp.physics import lifting_line, sails
from vpp.physics.arrays import array_namespace
from vpp.physics.sail_sections import mean_line
from vpp.physics.sails import RigGeometry, SailTrim, Wind
from vpp.physics.wind import apparent_wind
from vpp.solver import jets

FloatArray = NDArray[np.float64]

KEELBOAT = Path(__file__).parents[3] / "configs" / "keelboat.toml"


@cache
def fleet() -> fleets.Fleet:
    """The demo boat's main and jib."""
    return fleets.fleet([vpp.config.load(KEELBOAT).boats[0]])


def wind(true_wind_speed: Any, true_wind_angle: Any, exponent: float = 0.11) -> Wind:
    return Wind(
        true_wind_speed=true_wind_speed,
        true_wind_angle=true_wind_angle,
        exponent=np.array([exponent]),
        profile_height=np.array([10.0]),
        air_density=np.array([1.225]),
    )


# --- wind at a height ---------------------------------------------------------------------------------------


def test_wind_at_a_height_along_the_upright_mast() -> None:
    """Wind triangle at that height, by hand: 5 m/s at 10 m is 5.396 at 20 m with an exponent of 0.11."""
    zero = np.zeros(1)
    ahead, leeward = sails.wind_at(
        height=np.array([[20.0]]),
        wind=wind(np.array([5.0]), np.array([1.0])),
        boat_speed=np.array([3.0]),
        leeway=zero,
        heel=zero,
    )
    speed, beta = apparent_wind(true_wind_speed=5.0 * 2.0**0.11, true_wind_angle=1.0, boat_speed=3.0)
    assert speed * math.sin(beta) == pytest.approx(5.396 * math.sin(1.0), abs=1e-3)
    assert float(ahead[0, 0]) == pytest.approx(speed * math.cos(beta), rel=1e-12)
    assert float(leeward[0, 0]) == pytest.approx(speed * math.sin(beta), rel=1e-12)


def test_heel_brings_a_strip_down_into_less_wind() -> None:
    """Geometry: a point at 20 m along a mast heeled by 60 deg is 10 m above the water and sees half the
    wind across.
    """
    heel = np.array([math.radians(60.0)])
    _, leeward = sails.wind_at(
        height=np.array([[20.0]]),
        wind=wind(np.array([5.0]), np.array([0.5 * math.pi])),
        boat_speed=np.array([3.0]),
        leeway=np.zeros(1),
        heel=heel,
    )
    assert float(leeward[0, 0]) == pytest.approx(2.5, rel=1e-12)


# --- one strip, as good as two-dimensional ------------------------------------------------------------------


def two_strips(*, chord: float = 1e-3, span: float = 10.0, camber: float = 0.0) -> tuple[RigGeometry, Any]:
    """A sail of aspect ratio 10 000, whose wake is of no account, and its operator."""
    line = lifting_line.SailLine(
        node_height=np.array([0.0, 0.5 * span, span]),
        control_height=np.array([0.25 * span, 0.75 * span]),
        x=np.zeros(2),
        chord=np.full(2, chord),
    )
    coefficients = lifting_line.wake_coefficients(lines=(line,), mirror=None)
    operator = lifting_line.WakeOperator(coefficients=coefficients[None], boat=np.zeros(1, dtype=np.intp))
    one = np.ones((2, 1))
    geometry = RigGeometry(
        height=line.control_height[:, None],
        width=line.width[:, None],
        chord=chord * one,
        x=0.0 * one,
        share=line.control_height[:, None] / span,
        camber_flat=camber * one,
        camber_full=(camber + 0.04) * one,
        head_ramp=0.0 * one,
        foot_ramp=0.0 * one,
        mean_line=mean_line(hinge_share=0.0 * one, draft_share=0.5 + 0.0 * one),
        stall_incidence=0.2 * one,
        stall_width=0.01 * one,
        least_drag=0.01 * one,
        bucket_factor=0.0 * one,
        drag_maximum=1.2 * one,
        tail_ratio=0.0 * one,
        camber_drag=0.0 * one,
        reference_height=np.array([0.5 * span]),
    )
    return geometry, operator


def loads_of_strips(
    geometry: RigGeometry, operator: Any, trim: SailTrim, apparent_angle: float, speed: float
) -> tuple[sails.StripLoads, lifting_line.StripFlow]:
    flow = sails.strip_flow(
        geometry=geometry,
        sails=(slice(0, 2),),
        trims=(trim,),
        wind=wind(np.array([speed]), np.array([apparent_angle]), exponent=0.0),
        boat_speed=np.zeros(1),
        leeway=np.zeros(1),
        heel=np.zeros(1),
    )
    return sails.strip_loads(
        geometry=geometry, operator=operator, flow=flow, air_density=np.array([1.225])
    ), flow


def trim(sheet: float, twist: float = 0.0, camber: float = 0.0, head_camber: float = 0.0) -> SailTrim:
    return SailTrim(
        sheet=np.array([sheet]),
        twist=np.array([twist]),
        camber=np.array([camber]),
        head_camber=np.array([head_camber]),
    )


def test_slender_sail_has_the_forces_of_its_section() -> None:
    """Thin aerofoil (Glauert 1926) and Kutta-Joukowski: 5 deg of incidence lifts 2 pi x 0.08727 across the
    wind, drag along it.
    """
    geometry, operator = two_strips()
    angle = math.radians(30.0)
    loads, _ = loads_of_strips(geometry, operator, trim(math.radians(25.0)), angle, 8.0)
    pressure_area = 0.5 * 1.225 * 64.0 * 1e-3 * 10.0
    lift, drag = 2.0 * math.pi * math.radians(5.0), 0.01
    forward = float(loads.forward.sum()) / pressure_area
    leeward = float(loads.leeward.sum()) / pressure_area
    assert forward == pytest.approx(lift * math.sin(angle) - drag * math.cos(angle), rel=2e-3)
    assert leeward == pytest.approx(lift * math.cos(angle) + drag * math.sin(angle), rel=2e-3)
    np.testing.assert_allclose(loads.incidence, math.radians(5.0), rtol=2e-3)
    np.testing.assert_allclose(loads.lift_coefficient, lift, rtol=2e-3)


def test_twist_opens_the_head_and_camber_runs_from_flat_to_full() -> None:
    """Definition of the trims: chord angle = sheet + twist x share of height; camber = flat + setting x
    (full - flat).
    """
    geometry, operator = two_strips(camber=0.06)
    _, flow = loads_of_strips(geometry, operator, trim(0.2, twist=0.12, camber=0.25), 0.5, 8.0)
    np.testing.assert_allclose(flow.chord_angle[:, 0], [0.2 + 0.03 - 0.5, 0.2 + 0.09 - 0.5], rtol=1e-12)
    np.testing.assert_allclose(flow.camber, 0.07, rtol=1e-12)


def test_head_has_a_trim_of_its_own_and_the_strips_between_take_both_by_their_share() -> None:
    """By hand: 6 % flat, 10 % full; trim 0.25 below and 0.75 in the head give 7 and 9 %, half way 8 %."""
    geometry, operator = two_strips(camber=0.06)
    for ramp, cambers in (((0.0, 1.0), (0.07, 0.09)), ((0.5, 1.0), (0.08, 0.09)), ((0.0, 0.0), (0.07, 0.07))):
        one = dataclasses.replace(geometry, head_ramp=np.array(ramp)[:, None])
        _, flow = loads_of_strips(one, operator, trim(0.2, camber=0.25, head_camber=0.75), 0.5, 8.0)
        np.testing.assert_allclose(flow.camber[:, 0], cambers, rtol=1e-12)


def test_foot_has_a_trim_of_its_own_beside_the_heads() -> None:
    """By hand: 6 % flat, 10 % full; trims 0.75 in the foot and 0.25 in the head give 9 and 7 %."""
    geometry, operator = two_strips(camber=0.06)
    ends = dataclasses.replace(
        geometry, foot_ramp=np.array([[1.0], [0.0]]), head_ramp=np.array([[0.0], [1.0]])
    )
    how = dataclasses.replace(trim(0.2, camber=0.5, head_camber=0.25), foot_camber=np.array([0.75]))
    _, flow = loads_of_strips(ends, operator, how, 0.5, 8.0)
    np.testing.assert_allclose(flow.camber[:, 0], [0.09, 0.07], rtol=1e-12)


def test_turned_nose_turns_with_the_foot_chord_and_less_where_the_chord_opens() -> None:
    """A mast that does not twist, 0.3 rad from the foot chord: where twist has opened the chord by 0.03 and
    0.09 the nose is 0.27 and 0.21 rad from it (by hand). Its slope adds what the mean line says.
    """
    geometry, _ = two_strips(camber=0.06)
    one = np.ones((2, 1))
    line = dataclasses.replace(geometry.mean_line, ideal_per_slope=0.2 * one, zero_lift_per_slope=0.12 * one)
    turned = dataclasses.replace(geometry, mean_line=line)
    how = trim(0.2, twist=0.12)
    shape = sails.sail_shape(
        geometry=turned, sails=(slice(0, 2),), trims=(how,), mast_rotation=np.array([0.3])
    )
    np.testing.assert_allclose(shape.nose_angle[:, 0], [0.27, 0.21], rtol=1e-12)
    np.testing.assert_allclose(shape.chord_angle[:, 0], [0.23, 0.29], rtol=1e-12)
    np.testing.assert_allclose(shape.camber, 0.06, rtol=1e-12)
    flow = sails.strip_flow(
        geometry=turned,
        sails=(slice(0, 2),),
        trims=(how,),
        wind=wind(np.array([8.0]), np.array([0.5]), exponent=0.0),
        boat_speed=np.zeros(1),
        leeway=np.zeros(1),
        heel=np.zeros(1),
        mast_rotation=np.array([0.3]),
    )
    slope = np.tan([0.27, 0.21])
    np.testing.assert_allclose(flow.camber[:, 0], 0.06 + 0.04 * slope, rtol=1e-12)
    ideal = 0.2 * slope
    np.testing.assert_allclose(flow.chord_angle[:, 0], np.array([0.23, 0.29]) + ideal - 0.5, rtol=1e-12)


def test_head_trim_of_a_sail_without_one_changes_no_bit() -> None:
    geometry, operator = two_strips(chord=2.0, camber=0.06)
    one, other = (
        loads_of_strips(geometry, operator, trim(0.2, 0.1, camber=0.3, head_camber=head), 0.5, 8.0)[0]
        for head in (0.0, 0.9)
    )
    np.testing.assert_array_equal(one.forward, other.forward)
    np.testing.assert_array_equal(one.leeward, other.leeward)


def test_flow_is_described_along_the_wind_at_the_reference_height() -> None:
    """In a wind without gradient on an upright boat nothing blows across its own direction."""
    geometry, operator = two_strips()
    _, flow = loads_of_strips(geometry, operator, trim(0.2), 0.7, 8.0)
    np.testing.assert_allclose(flow.along, 8.0, rtol=1e-12)
    np.testing.assert_allclose(flow.across, 0.0, atol=1e-12)
    np.testing.assert_allclose(flow.wind_angle, 0.7, rtol=1e-12)


def test_forces_grow_with_the_square_of_the_wind() -> None:
    """Dimensional analysis: nothing else in the sails has a speed."""
    geometry, operator = two_strips(chord=2.5)
    small, _ = loads_of_strips(geometry, operator, trim(0.3, 0.1, 0.5), 0.6, 4.0)
    large, _ = loads_of_strips(geometry, operator, trim(0.3, 0.1, 0.5), 0.6, 12.0)
    np.testing.assert_allclose(large.forward, 9.0 * small.forward, rtol=1e-9)
    np.testing.assert_allclose(large.leeward, 9.0 * small.leeward, rtol=1e-9)


def test_sail_square_to_the_wind_on_a_dead_run_is_a_plate() -> None:
    """Viterna & Corrigan 1981: at rest before the wind, the sail at 90 deg to it has the plate's drag,
    ahead, and no lift.
    """
    geometry, operator = two_strips(chord=2.5, camber=0.05)
    loads, _ = loads_of_strips(geometry, operator, trim(math.radians(90.0)), math.pi, 8.0)
    pressure_area = 0.5 * 1.225 * 64.0 * 2.5 * 10.0
    assert float(loads.forward.sum()) == pytest.approx(1.2 * pressure_area, rel=0.01)
    assert abs(float(loads.leeward.sum())) < 0.03 * pressure_area


# --- a whole rig --------------------------------------------------------------------------------------------


STATE = np.array(
    [
        # boat speed, leeway, heel, TWA, main sheet, twist, camber, jib sheet, twist, camber: upwind, tight
        # reach, broad reach
        [3.1, 3.4, 3.6],
        [0.06, 0.04, 0.02],
        [0.35, 0.30, 0.10],
        [0.75, 1.20, 2.30],
        [0.08, 0.30, 1.00],
        [0.20, 0.25, 0.30],
        [0.30, 0.60, 0.90],
        [0.20, 0.40, 1.00],
        [0.18, 0.22, 0.30],
        [0.40, 0.50, 0.80],
    ]
)
TRUE_WIND_SPEED = np.array([6.0, 7.0, 8.0])


def strips(one: fleets.Fleet, take: Callable[[int], Any], true_wind_speed: FloatArray) -> sails.StripLoads:
    """Loads of all strips; `take` hands out the rows of the state."""
    return sails.strip_loads(**of_strips(one, take, true_wind_speed))


def of_strips(one: fleets.Fleet, take: Callable[[int], Any], true_wind_speed: FloatArray) -> dict[str, Any]:
    """What the loads of all strips are found from."""
    boats, operator = one.select(np.zeros(len(true_wind_speed), dtype=np.intp))
    air = Wind(
        true_wind_speed=true_wind_speed,
        true_wind_angle=take(3),
        exponent=boats.wind_exponent,
        profile_height=boats.wind_reference_height,
        air_density=boats.air_density,
    )
    flow = sails.strip_flow(
        geometry=boats.rig,
        sails=one.layout.slices,
        trims=(
            SailTrim(sheet=take(4), twist=take(5), camber=take(6), head_camber=0.0),
            SailTrim(sheet=take(7), twist=take(8), camber=take(9), head_camber=0.0),
        ),
        wind=air,
        boat_speed=take(0),
        leeway=take(1),
        heel=take(2),
    )
    return {"geometry": boats.rig, "operator": operator, "flow": flow, "air_density": air.air_density}


def sums(take: Callable[[int], Any]) -> tuple[Any, Any]:
    """Forward and leeward force of the demo boat's rig."""
    loads = strips(fleet(), take, TRUE_WIND_SPEED)
    xp = array_namespace(loads.forward)
    return xp.sum(loads.forward, axis=0), xp.sum(loads.leeward, axis=0)


def plain(state: FloatArray) -> FloatArray:
    return np.stack(sums(lambda i: state[i]))


def with_derivatives(state: FloatArray) -> list[tuple[FloatArray, FloatArray, FloatArray]]:
    x = jets.variables(state)
    return [jets.dense(part, len(state), (state.shape[1],)) for part in sums(lambda i: x[i])]


def test_values_with_and_without_derivatives_agree() -> None:
    for part, value in zip(with_derivatives(STATE), plain(STATE), strict=True):
        np.testing.assert_allclose(part[0], value, rtol=1e-12)


def test_gradient_is_that_of_central_differences() -> None:
    """Central differences of the plain numbers, of sixth order, for every unknown, on and off the wind."""
    derived = with_derivatives(STATE)
    scale = np.abs(plain(STATE)).max(axis=1)
    for i in range(len(STATE)):
        step = 2e-3
        difference = np.zeros((2, 3))
        for weight, k in ((45.0, 1), (-9.0, 2), (1.0, 3)):
            up, down = STATE.copy(), STATE.copy()
            up[i] += k * step
            down[i] -= k * step
            difference = difference + weight / 60.0 * (plain(up) - plain(down)) / step
        for part in range(2):
            np.testing.assert_allclose(derived[part][1][i], difference[part], atol=1e-6 * scale[part])


def test_hessian_is_that_of_central_differences_of_the_gradient() -> None:
    derived = with_derivatives(STATE)
    scale = np.abs(plain(STATE)).max(axis=1)
    for i in range(len(STATE)):
        step = 1e-4
        up, down = STATE.copy(), STATE.copy()
        up[i] += step
        down[i] -= step
        for part, (high, low) in enumerate(zip(with_derivatives(up), with_derivatives(down), strict=True)):
            difference = (high[1] - low[1]) / (2.0 * step)
            np.testing.assert_allclose(derived[part][2][i], difference, rtol=1e-4, atol=1e-4 * scale[part])


def test_hessian_is_symmetric() -> None:
    for _, _, hessian in with_derivatives(STATE):
        np.testing.assert_array_equal(hessian, hessian.transpose(1, 0, 2))


def test_jax_trace_equals_numpy() -> None:
    """Compiled in double precision: values and gradient."""
    jax = pytest.importorskip("jax", reason="jax is not installed; it comes with the extra 'reference'")

    def total(state: Any) -> Any:
        forward, leeward = sums(lambda i: state[i])
        return (forward + leeward).sum(), (forward, leeward)

    before = jax.config.jax_enable_x64
    jax.config.update("jax_enable_x64", True)
    try:
        compiled = jax.jit(jax.value_and_grad(total, has_aux=True))
        (_, traced), slope = compiled(jax.numpy.asarray(STATE))
        traced, slope = np.asarray(traced), np.asarray(slope)
    finally:
        jax.config.update("jax_enable_x64", before)
    value = plain(STATE)
    np.testing.assert_allclose(traced, value, rtol=1e-9, atol=1e-9 * np.abs(value).max())
    forward, leeward = with_derivatives(STATE)
    gradient = forward[1] + leeward[1]
    np.testing.assert_allclose(slope, gradient, rtol=1e-7, atol=1e-7 * np.abs(gradient).max())


def test_conditions_do_not_feel_their_neighbours() -> None:
    """Bit by bit the same alone and in a batch."""
    together = strips(fleet(), lambda i: STATE[i], TRUE_WIND_SPEED)
    for i in range(3):
        alone = strips(fleet(), lambda row, i=i: STATE[row, i : i + 1], TRUE_WIND_SPEED[i : i + 1])  # type: ignore[misc]
        np.testing.assert_array_equal(alone.forward[:, 0], together.forward[:, i])
        np.testing.assert_array_equal(alone.leeward[:, 0], together.leeward[:, i])


def test_a_cut_head_takes_its_load_off_the_head() -> None:
    """Area away from the head is force away from the head: the upper fifth loses more than the rest of the
    sail changes.
    """
    base = vpp.config.load(KEELBOAT).boats[0]
    main = dataclasses.replace(base.sails[0], head_cut_from_share=0.8, head_cut_chord_share=0.5)
    cut = fleets.fleet([dataclasses.replace(base, sails=(main, *base.sails[1:]))])
    before, after = (strips(one, lambda i: STATE[i], TRUE_WIND_SPEED) for one in (fleet(), cut))
    of_main = fleet().layout.slices[0]
    change = (after.leeward - before.leeward)[of_main, 0]
    high = fleet().arrays.rig.share[of_main, 0] > 0.8
    assert change[high].sum() < 0.0
    assert abs(change[high].sum()) > abs(change[~high].sum())


def test_a_strips_force_is_the_sum_of_lift_induced_and_profile_parts() -> None:
    asked = of_strips(fleet(), lambda i: STATE[i], TRUE_WIND_SPEED)
    whole, parts = sails.strip_loads(**asked), sails.strip_force_parts(**asked)
    for name in ("along", "across"):
        axis = 0 if name == "along" else 1
        total = parts.lift[axis] + parts.induced[axis] + parts.profile[axis]
        np.testing.assert_allclose(total, getattr(whole, name), rtol=1e-12, atol=1e-9)
    # profile drag pushes every strip down the wind, and wakes cost all sails together
    assert np.all(parts.profile[0] > 0.0)
    assert np.all(parts.induced[0].sum(axis=0) > 0.0)


def test_lift_has_no_drag_in_a_wind_that_does_not_turn() -> None:
    """Kutta-Joukowski: across the flow; what is along it is induced."""
    asked = of_strips(fleet(), lambda i: STATE[i], TRUE_WIND_SPEED)
    straight = dataclasses.replace(asked["flow"], across=0.0 * asked["flow"].across)
    parts = sails.strip_force_parts(**(asked | {"flow": straight}))
    np.testing.assert_allclose(parts.lift[0], 0.0, atol=1e-9)
    assert np.abs(parts.lift[1]).max() > 10.0
