"""Forces on a canting foil: signs, sums, limits, and what an optimiser could exploit."""

import math
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from tests.support.with_jax import double_precision, jax_or_skip
from vpp.physics import foil_geometry, hull, hydrofoils
from vpp.physics.arrays import array_namespace
from vpp.physics.fluids import sea_water
from vpp.physics.foils import section_profile_drag

FloatArray = NDArray[np.float64]

WATER = sea_water(temperature_c=15.0)
GRAVITY = 9.80665
KNOT = 1852.0 / 3600.0
ARM_AND_WING = (
    hydrofoils.Wing(elements=(0,), reverse=(False,), mirrored=True),
    hydrofoils.Wing(elements=(1, 2), reverse=(True, False), mirrored=False),
)
THICKNESS = 0.12

# speed, leeway, heel, pitch, ride height, cant, rake, flap
LOW = np.array([2.0, -0.05, -0.15, -0.05, 0.0, 0.0, -0.05, -0.15])
HIGH = np.array([22.0, 0.1, 0.4, 0.08, 3.5, 0.9, 0.08, 0.2])
STEADY = np.array([14.0, 0.03, 0.1, 0.0, 1.5, 0.6, 0.02, 0.05])


def column(*values: float) -> FloatArray:
    return np.array(values)[:, None]


SECTIONS = hydrofoils.FoilSections(
    thickness_ratio=column(THICKNESS, THICKNESS, THICKNESS),
    zero_lift_angle=column(0.0, -0.04, -0.04),
    design_lift_coefficient=column(0.0, 0.25, 0.25),
    flap_effectiveness=column(0.0, 0.5, 0.5),
    flap_ideal_lift=column(0.0, 1.6, 1.6),
    lift_drag_factor=column(0.005, 0.005, 0.005),
    stall_lift_coefficient=column(1.0, 1.2, 1.2),
    thickness_speed=column(0.19, 0.19, 0.19),
    nose_radius_ratio=column(0.016, 0.016, 0.016),
    efficiency=column(0.95, 0.95, 0.95),
    junction_drag_area=column(0.0, 1e-4, 1e-4),
)


def place(state: object, side: float = 1.0) -> foil_geometry.FoilPlace:
    one = np.ones(1)
    shape = foil_geometry.FoilShape(
        side=side * one,
        attachment_x=0.8 * one,
        attachment_y=side * 2.0 * one,
        attachment_z=0.6 * one,
        span=column(4.5, 1.3, 1.3),
        dihedral=column(-0.5 * math.pi, 0.08, 0.08),
        outward=column(1.0, 1.0, -1.0),
        sweep=column(0.0, 0.15, 0.15),
        root_chord=column(0.5, 0.35, 0.35),
        tip_chord=column(0.4, 0.15, 0.15),
    )
    _, _, heel, pitch, ride, cant, _, _ = state
    return foil_geometry.place(
        shape=shape, after=(None, 0, 0), cant=cant, ride_height=ride, heel=heel, pitch=pitch
    )


def water_flow(state: object) -> hydrofoils.FoilFlow:
    speed, leeway, heel, pitch, _, _, rake, flap = state
    xp = array_namespace(speed, rake)
    x, y, z = foil_geometry.water_velocity(boat_speed=speed, leeway=leeway, heel=heel, pitch=pitch)
    return hydrofoils.FoilFlow(
        water_x=x,
        water_y=y,
        water_z=z,
        setting=xp.stack([0.0 * rake, rake, rake]),
        flap=xp.stack([0.0 * flap, flap, flap]),
        downwash=0.0,
        water_density=WATER.density,
        water_viscosity=WATER.kinematic_viscosity,
        vapour_pressure=WATER.vapour_pressure,
        gravity=GRAVITY,
    )


def loads(
    state: object, side: float = 1.0, sections: hydrofoils.FoilSections = SECTIONS
) -> hydrofoils.FoilLoads:
    return hydrofoils.element_forces(
        at=place(state, side), wings=ARM_AND_WING, sections=sections, flow=water_flow(state), panel_count=6
    )


def steady(**changes: float) -> FloatArray:
    names = ("speed", "leeway", "heel", "pitch", "ride", "cant", "rake", "flap")
    state = STEADY.copy()
    for name, value in changes.items():
        state[names.index(name)] = value
    return state[:, None]


def sweep_of(name: str, values: FloatArray) -> FloatArray:
    return np.concatenate([steady(**{name: float(value)}) for value in values], axis=1)


def states(count: int, seed: int = 5) -> FloatArray:
    return np.random.default_rng(seed).uniform(LOW, HIGH, (count, 8)).T


TOTALS = ("force_x", "force_y", "force_z", "moment_x", "moment_y", "moment_z")


# --- what the foil does -------------------------------------------------------------------------------------


def test_canted_leeward_foil_lifts_up_and_to_windward_and_rights_the_boat() -> None:
    got = loads(steady())
    assert got.force_z.sum() > 0.0
    assert got.force_y.sum() < 0.0
    assert got.force_x.sum() < 0.0
    # right-handed about x: lifting the leeward side turns the mast to windward, which is positive
    assert got.moment_x.sum() > 0.0


def test_windward_foil_is_the_mirror_image() -> None:
    """Heel, leeway and y turned round give the same forces with y turned round."""
    state = states(50)
    mirrored = state.copy()
    mirrored[1:3] *= -1.0
    here, there = loads(state, 1.0), loads(mirrored, -1.0)
    for name, sign in zip(TOTALS, (1.0, -1.0, 1.0, -1.0, 1.0, -1.0), strict=True):
        np.testing.assert_allclose(getattr(here, name), sign * getattr(there, name), rtol=1e-10, atol=1e-7)


def test_foil_out_of_the_water_carries_nothing() -> None:
    got = loads(steady(cant=1.9, ride=1.0))
    for name in (*TOTALS, "induced_drag", "profile_drag", "spray_drag", "junction_drag"):
        assert np.all(getattr(got, name) == 0.0), name
    assert np.all(np.isfinite(got.cavitation_margin))


def test_order_of_elements_and_wings_is_free() -> None:
    """The halves of the wing change places in the arrays; every element keeps its loads."""
    state, order = states(30), [0, 2, 1]

    def rearranged(fields: object) -> object:
        rows = {
            name: value[order] for name, value in vars(fields).items() if np.shape(value)[:1] == (len(order),)
        }
        return replace(fields, **rows)

    got = hydrofoils.element_forces(
        at=rearranged(place(state)),
        wings=(hydrofoils.Wing(elements=(2, 1), reverse=(True, False), mirrored=False), ARM_AND_WING[0]),
        sections=rearranged(SECTIONS),
        flow=rearranged(water_flow(state)),
        panel_count=6,
    )
    expected = loads(state)
    for name in (*TOTALS, "induced_drag", "profile_drag", "incidence", "cavitation_margin"):
        size = np.abs(getattr(expected, name)).max()
        np.testing.assert_allclose(
            getattr(got, name)[order], getattr(expected, name), rtol=1e-11, atol=1e-12 * size
        )
    for wing, other in zip(got.wings, reversed(expected.wings), strict=True):
        np.testing.assert_allclose(wing.lift_coefficient, other.lift_coefficient, rtol=1e-11, atol=1e-13)


def test_more_incidence_by_rake_and_flap() -> None:
    base = loads(steady()).force_z.sum()
    assert loads(steady(rake=0.03)).force_z.sum() > base
    assert loads(steady(flap=0.08)).force_z.sum() > base
    # the flap turns zero lift by half its angle here
    np.testing.assert_allclose(
        loads(steady(rake=0.03)).incidence[1:], loads(steady(flap=0.07)).incidence[1:], rtol=1e-12
    )


def test_downwash_takes_incidence_away() -> None:
    state = steady()
    flow = water_flow(state)
    turned = hydrofoils.element_forces(
        at=place(state),
        wings=ARM_AND_WING,
        sections=SECTIONS,
        flow=replace(flow, downwash=column(0.0, 0.02, 0.02)),
        panel_count=6,
    )
    fall = loads(state).incidence - turned.incidence
    np.testing.assert_allclose(fall[:, 0], [0.0, 0.02, 0.02], rtol=0.01)


def test_leeway_adds_incidence_to_arm_and_canted_wing() -> None:
    """Sliding to leeward, the leeward arm meets the flow on its outer side and pushes to windward."""
    more, less = loads(steady(leeway=0.06)), loads(steady(leeway=0.0))
    assert more.force_y[0, 0] < less.force_y[0, 0]
    assert np.all(more.incidence[1:] > less.incidence[1:])


def test_lift_of_the_wing_falls_as_the_boat_rises() -> None:
    """What holds the ride height."""
    up = loads(sweep_of("ride", np.linspace(0.0, 3.4, 40))).force_z[1:].sum(axis=0)
    assert np.all(np.diff(up) < 0.0)


def test_leeway_makes_a_canted_arm_pull_down() -> None:
    """Its outer side looks up: it pushes to windward and down, the less the higher the boat rides."""
    arm = loads(sweep_of("ride", np.linspace(0.0, 2.5, 20))).force_z[0]
    assert np.all(arm < 0.0)
    assert np.all(np.diff(arm) > 0.0)


def test_force_is_lift_and_drag_across_and_along_the_flow() -> None:
    """The part of every element's force along the water is its drags' sum; no hidden thrust."""
    state = states(200)
    flow, got = water_flow(state), loads(state)
    speed = np.sqrt(flow.water_x**2 + flow.water_y**2 + flow.water_z**2)
    power = got.force_x * flow.water_x + got.force_y * flow.water_y + got.force_z * flow.water_z
    drags = got.induced_drag + got.profile_drag + got.spray_drag + got.junction_drag
    assert np.all(drags >= 0.0)
    # the flow along the span adds friction only
    assert np.all(power / speed >= drags * 0.93 - 1e-9)
    assert np.all(power / speed <= drags * 1.12 + 1e-9)


def test_moments_are_those_of_the_forces_at_the_elements() -> None:
    """The line of action of every element meets it: the force's lever fits its span within rounding."""
    state = states(100)
    at, got = place(state), loads(state)
    force = np.stack([got.force_x, got.force_y, got.force_z])
    moment = np.stack([got.moment_x, got.moment_y, got.moment_z])
    start = np.stack([at.start_x + 0.0 * at.span_y, at.start_y + 0.0 * at.span_y, at.start_z])
    step = np.stack([at.step_x + 0.0 * at.span_y, at.span_y, at.span_z])
    about_start = moment - np.cross(start, force, axis=0)
    unit = np.cross(step, force, axis=0)
    size = np.sum(unit**2, axis=0)
    loaded = size > 1.0
    lever = np.sum(about_start * unit, axis=0)[loaded] / size[loaded]
    reach = np.broadcast_to(at.span, size.shape)[loaded]
    assert loaded.sum() > 200
    assert np.all((lever > -1e-9) & (lever < reach))


def test_lift_coefficient_of_a_deep_wing() -> None:
    """By hand: Helmbold's slope with sweep times the incidence from zero lift, at 6 m of depth to 0.5 %."""
    state = steady(ride=-6.0, leeway=0.0, heel=0.0, cant=0.0, rake=0.03, flap=0.0)
    wing = loads(state).wings[1]
    chord = 0.25
    aspect = 2.6 / chord / math.cos(0.15)
    slope = math.cos(0.15) * 2.0 * math.pi * aspect / (2.0 + math.sqrt(4.0 + aspect**2))
    assert wing.lift_coefficient[0] == pytest.approx(slope * 0.07, rel=0.005)
    induced = wing.lift_coefficient[0] ** 2 * wing.area[0] / (math.pi * 2.6 / chord * 0.95)
    pressure = 0.5 * WATER.density * 14.0**2
    assert loads(state).induced_drag[1:].sum() == pytest.approx(induced * pressure, rel=0.03)


def test_profile_drag_of_a_deep_foil_without_lift() -> None:
    """By hand: ITTC-1957 friction at the mean chord, Hoerner's section, on the whole area."""
    state = steady(ride=-6.0, leeway=0.0, heel=0.0, cant=0.0, rake=-0.04, flap=0.0)
    sections = replace(SECTIONS, design_lift_coefficient=column(0.0, 0.0, 0.0))
    drag = 0.0
    for area, chord in ((4.5 * 0.45, 0.45), (1.3 * 0.25, 0.25), (1.3 * 0.25, 0.25)):
        friction = hull.friction_coefficient(reynolds=14.0 * chord / WATER.kinematic_viscosity)
        drag += area * section_profile_drag(friction_coefficient=friction, thickness_ratio=THICKNESS)
    got = loads(state, sections=sections)
    assert got.profile_drag.sum() == pytest.approx(0.5 * WATER.density * 14.0**2 * drag, rel=1e-9)


def test_flap_moves_the_bucket_to_the_lift_that_it_makes_without_the_nose() -> None:
    """Growth of profile drag k (CL - CLi - 1.6 flap)^2 on the area, by hand; deep, level and without arm."""
    flap = 0.1

    def bucket(ideal: float) -> float:
        of_flap = replace(SECTIONS, flap_ideal_lift=column(0.0, ideal, ideal))
        flat = replace(of_flap, lift_drag_factor=column(0.005, 0.0, 0.0))
        state = steady(ride=-6.0, leeway=0.0, heel=0.0, cant=0.0, rake=0.0, flap=flap)
        got, without = loads(state, sections=of_flap), loads(state, sections=flat)
        growth = float((got.profile_drag - without.profile_drag)[1:].sum())
        off = math.sqrt(growth / (0.5 * WATER.density * 14.0**2 * 2.0 * 1.3 * 0.25 * 0.005))
        return abs(off) if got.lift_coefficient[1, 0] > 0.25 + ideal * flap else -abs(off)

    # the lift is the same; only the centre of the bucket moves
    assert bucket(0.0) - bucket(1.6) == pytest.approx(1.6 * flap, rel=1e-6)


def test_flap_load_raises_the_suction_less_than_the_same_lift_by_incidence() -> None:
    """Margin at one lift, made by flap alone and by rake alone: the flap loads the nose less."""
    by_flap, by_rake = loads(steady(rake=0.0, flap=0.1)), loads(steady(rake=0.05, flap=0.0))
    np.testing.assert_allclose(by_flap.lift_coefficient[1:], by_rake.lift_coefficient[1:], rtol=1e-9)
    assert np.all(by_flap.cavitation_margin[1:] > by_rake.cavitation_margin[1:])


def test_spray_is_that_of_the_arm_at_the_water_line() -> None:
    """0.24 q t^2 with the arm's chord where the surface cuts it; 2 % for the panels' steps."""
    state = steady(cant=0.0, heel=0.0, leeway=0.0, ride=1.6)
    at_surface = (0.6 + 1.6) / 4.5
    thickness = THICKNESS * (0.5 - 0.1 * at_surface)
    expected = hydrofoils.spray_drag(speed=14.0, thickness=thickness, water_density=WATER.density)
    assert loads(state).spray_drag.sum() == pytest.approx(expected, rel=0.02)


def test_pierced_arm_pushes_less_at_speed_than_its_rigid_image_says() -> None:
    """e falls from 2 to 0.81 with speed, and with it slope and efficiency of the arm."""
    slow, fast = (loads(steady(speed=speed)).wings[0] for speed in (1.0, 25.0))
    assert fast.lift_slope[0] < 0.85 * slow.lift_slope[0]


def test_load_per_area_stays_below_the_cavitation_limit() -> None:
    """However much incidence is asked for, at any speed."""
    state = sweep_of("rake", np.linspace(-0.2, 1.2, 200))
    state[0] = 30.0
    got = loads(state)
    wing = got.wings[1]
    load = np.sqrt(got.force_y[1:].sum(axis=0) ** 2 + got.force_z[1:].sum(axis=0) ** 2) / wing.area
    assert load.max() < 1.05 * hydrofoils.FULL_CAVITATION_LOADING


def test_no_lift_is_free_past_stall_or_past_the_cap() -> None:
    """Every lift found past the largest one is had for less drag before it."""
    for speed in (6.0, 18.0, 28.0):
        state = sweep_of("rake", np.linspace(-0.04, 1.2, 1500))
        state[0] = speed
        got = loads(state)
        lift = got.force_z[1:].sum(axis=0)
        drag = (got.induced_drag + got.profile_drag)[1:].sum(axis=0)
        peak = int(lift.argmax())
        cheapest = np.interp(lift[peak + 1 :], lift[: peak + 1], drag[: peak + 1])
        assert np.all(drag[peak + 1 :] > cheapest)


def test_cavitation_margin_falls_with_speed_and_with_incidence() -> None:
    speeds = loads(sweep_of("speed", np.linspace(5.0, 25.0, 20))).cavitation_margin[1]
    assert np.all(np.diff(speeds) < 0.0)
    rakes = loads(sweep_of("rake", np.linspace(0.0, 0.1, 20))).cavitation_margin[1]
    assert np.all(np.diff(rakes) < 0.0)


def test_elements_must_be_in_one_wing_each() -> None:
    state = steady()
    with pytest.raises(ValueError, match=r"list the elements \[1, 2\]"):
        hydrofoils.element_forces(
            at=place(state),
            wings=ARM_AND_WING[1:],
            sections=SECTIONS,
            flow=water_flow(state),
            panel_count=6,
        )


@pytest.mark.parametrize("panel_count", [4, 6, 10])
def test_panels_converge(panel_count: int) -> None:
    """Against 60 panels, over heights at which arm and wing are cut: 2 % of the largest force at 4, less
    with more.

    What is left is the band over which the wing comes out, half a panel wide.
    """
    state = sweep_of("ride", np.linspace(0.3, 2.6, 24))
    at, flow = place(state), water_flow(state)

    def up(count: int) -> FloatArray:
        got = hydrofoils.element_forces(
            at=at, wings=ARM_AND_WING, sections=SECTIONS, flow=flow, panel_count=count
        )
        return np.asarray(got.force_z.sum(axis=0))

    error = np.abs(up(panel_count) - up(60)).max() / np.abs(up(60)).max()
    assert error < 0.08 / panel_count


# --- small laws ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("knots", "depth", "number"), [(40.0, 1.0, 0.5051), (30.0, 0.5, 0.8567)])
def test_cavitation_number(knots: float, depth: float, number: float) -> None:
    """By hand with ITTC 7.5-02-01-03 sea water at 15 degC, 1026.021 kg/m^3 and 1670.9 Pa; 0.1 %."""
    got = hydrofoils.cavitation_number(
        speed=knots * KNOT,
        depth=depth,
        water_density=WATER.density,
        vapour_pressure=WATER.vapour_pressure,
        gravity=GRAVITY,
    )
    assert got == pytest.approx(number, rel=1e-3)


def test_take_off_speed() -> None:
    """By hand: 300 kg on 0.6 m^2 at CL 0.6 in sea water at 15 degC, 7.758 kn."""
    speed = hydrofoils.take_off_speed(
        mass=300.0, area=0.6, lift_coefficient=0.6, water_density=1026.021, gravity=GRAVITY
    )
    assert speed / KNOT == pytest.approx(7.758, abs=5e-4)


def test_ventilation_goes_over_from_nose_to_tail() -> None:
    """Tests in J. Fluid Mech., 2026: from the nose below 1.0 to 1.25, from the tail above."""
    got = hydrofoils.ventilation_from_tail(depth_froude=np.array([0.5, 0.99, 1.125, 1.26, 3.0]))
    np.testing.assert_allclose(got, [0.0, 0.0, 0.5, 1.0, 1.0], atol=1e-12)


def test_cap_leaves_small_lift_alone() -> None:
    """Figures stated beside it: 99 % at three quarters of the limit, 92 % at it."""
    share = hydrofoils.capped_share(lift_coefficient=np.array([0.75, 1.0, -1.0]), limit=1.0)
    np.testing.assert_allclose(share, [0.988, 0.917, 0.917], atol=1e-3)


def test_floor_is_twice_continuously_differentiable() -> None:
    x = np.linspace(-1.0, 3.0, 40001)
    value = hydrofoils.smooth_floor(value=x, floor=0.5, width=0.8)
    np.testing.assert_allclose(value[x < 0.5], 0.5)
    np.testing.assert_allclose(value[x > 1.3], x[x > 1.3])
    assert np.all(np.diff(value) > -1e-15)
    curvature = np.diff(value, 2) / (x[1] - x[0]) ** 2
    assert np.abs(np.diff(curvature)).max() < 1e-2


# --- derivatives --------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", [*TOTALS, "cavitation_margin"])
def test_derivative_arrays_agree_with_numpy_and_with_differences(name: str) -> None:
    """Over the whole box of states, with stall, cavitation, piercing and emerging elements in it."""
    from vpp.solver import jets

    x = states(150)
    width = HIGH - LOW
    plain = getattr(loads(x), name)
    size = max(1.0, float(np.abs(plain).max()))
    value, gradient, hessian = jets.dense(getattr(loads(jets.variables(x)), name), 8, plain.shape)
    np.testing.assert_allclose(value, plain, atol=1e-12 * size)
    for i in range(8):
        step = np.zeros((8, 1))
        step[i] = 1e-5 * width[i]
        difference = (getattr(loads(x + step), name) - getattr(loads(x - step), name)) / (2.0 * step[i])
        # relative to the largest force, per width of the box
        np.testing.assert_allclose(width[i] * gradient[i], width[i] * difference, atol=1e-6 * size)
        ahead, behind = (
            jets.dense(getattr(loads(jets.variables(x + s)), name), 8, plain.shape)[1] for s in (step, -step)
        )
        scale = width[i] * width.reshape(8, 1, 1)
        np.testing.assert_allclose(
            scale * hessian[i], scale * (ahead - behind) / (2.0 * step[i]), atol=1e-3 * size
        )


def test_foil_leaves_the_water_twice_continuously_differentiable() -> None:
    """The largest change of curvature between neighbouring heights shrinks with their distance."""

    def largest(count: int) -> float:
        ride = np.linspace(-0.5, 4.5, count)
        force = loads(sweep_of("ride", ride)).force_z.sum(axis=0)
        curvature = np.diff(force, 2) / (ride[1] - ride[0]) ** 2
        return float(np.abs(np.diff(curvature)).max())

    assert largest(8001) < 0.6 * largest(4001)


def test_jax_agrees_with_numpy() -> None:
    jax = jax_or_skip()
    x = states(20)
    with double_precision(jax):
        got = loads([jax.numpy.asarray(row) for row in x])
        for name in TOTALS:
            np.testing.assert_allclose(
                np.asarray(getattr(got, name)), getattr(loads(x), name), rtol=1e-9, atol=1e-6
            )
