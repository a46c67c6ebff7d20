"""Forces and moments of the real keelboat, each against a formula written out here or a turn done by
another library.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from tests.support import keelboat
from tests.support.with_jax import double_precision, jax_or_skip
from vpp import balance, fleets
from vpp.physics.sails import SailTrim
from vpp.state import Component, Load, State
from vpp.trim import CONTROL_SCALES

COUNT = 6
FLOATING = fleets.layout(keelboat.base())
PLAIN = ("boat_speed", "leeway", "heel", "rudder", "crew_arm", "crew_x")
# Compiling is most of the time of the one test that does it, and what is compiled runs once.
QUICK_TO_COMPILE = {"xla_backend_optimization_level": 0, "xla_llvm_disable_expensive_passes": True}


def _state(count=COUNT, seed=1, **chosen):
    """A random state inside the boat's limits; any quantity may be chosen."""
    problem = keelboat.problem([keelboat.base()], keelboat.conditions(tws_kn=[10] * count, twa_deg=90))
    values = keelboat.named_state(problem, keelboat.random_states(problem, seed=seed))
    values |= {name: np.full(count, value) for name, value in chosen.items()}
    trims = tuple(
        SailTrim(**{what: values[f"{sail}_{what}"] for what in CONTROL_SCALES}) for sail in ("main", "jib")
    )
    plain = {name: values[name] for name in PLAIN}
    return State(trims=trims, **plain)


def _loads(boat, state, *, tws=8.0, twa=1.2):
    count = len(state.boat_speed)
    fleet = fleets.fleet([boat])
    arrays, wake = fleet.select(np.zeros(count, dtype=np.intp))
    wind = balance.true_wind(boats=arrays, tws=np.full(count, tws), twa=np.full(count, twa))
    return balance.loads(
        fleet_layout=fleet.layout, boats=arrays, wake=wake, wind=wind, state=state, at_work=()
    )


def _load(components, name):
    (component,) = [c for c in components if c.name == name]
    return component.load


def _force(load, count=COUNT):
    return np.array([np.broadcast_to(part, (count,)) for part in (load.forward, load.leeward, load.up)])


def _moment(load, count=COUNT):
    return np.array([np.broadcast_to(part, (count,)) for part in (load.roll, load.pitch, load.yaw)])


def _heeled(point, heel):
    """Body point in horizontal boat axes. Heel to leeward is a negative right-handed turn about x."""
    return np.array([Rotation.from_euler("x", -angle).apply(point) for angle in heel]).T


def test_names_and_media_of_the_components():
    components = _loads(keelboat.base(), _state())
    assert [(c.name, c.medium) for c in components] == [
        ("main", "air"),
        ("jib", "air"),
        ("mast", "air"),
        ("rigging", "air"),
        ("topsides", "air"),
        ("coachroof", "air"),
        ("lifelines", "air"),
        ("crew windage", "air"),
        ("hull friction", "water"),
        ("hull residuary", "water"),
        ("keel", "water"),
        ("rudder", "water"),
        ("weight", "gravity"),
        ("crew weight", "gravity"),
        ("buoyancy", "water"),
    ]


def test_heave_and_pitch_are_taken_up_by_buoyancy():
    components = _loads(keelboat.base(), _state())
    np.testing.assert_allclose(sum(_force(c.load)[2] for c in components), 0.0, atol=1e-9)
    np.testing.assert_allclose(sum(_moment(c.load)[1] for c in components), 0.0, atol=1e-9)
    assert (_load(components, "buoyancy").up > 0.0).all()


# --- a force at a point: its moment is the lever times the force


def _points(boat, state):
    """Where every point force acts, in body axes.

    An elliptic side force acts at 4/(3 pi) of the span (Prandtl 1918), here that of the fin extended to the
    water plane.
    """
    rig, crew = boat.rig, boat.crew
    middle = 0.5 * (rig.mast_top_height + rig.mast_base_height)
    points = {name: np.array([rig.mast_x, 0.0, middle]) for name in ("mast", "rigging")}
    points |= {item.name: np.array([item.x, 0.0, item.height]) for item in boat.windage}
    for fin in boat.fins:
        points[fin.name] = np.array(
            [fin.quarter_chord_x, 0.0, -4.0 / (3.0 * math.pi) * (fin.span - fin.root_z)]
        )
    return points, [np.array([crew.x, -arm, crew.z]) for arm in state.crew_arm]


def test_moment_of_every_point_force_is_lever_times_force():
    boat, state = keelboat.base(), _state()
    components = _loads(boat, state)
    points, crew = _points(boat, state)
    places = {name: _heeled(point, state.heel) for name, point in points.items()}
    places["crew windage"] = np.array(
        [_heeled(p, [h])[:, 0] for p, h in zip(crew, state.heel, strict=True)]
    ).T
    for name, place in places.items():
        load = _load(components, name)
        expected = np.cross(place, _force(load), axis=0)
        np.testing.assert_allclose(
            _moment(load), expected, rtol=1e-9, atol=1e-9 * np.abs(expected).max(), err_msg=name
        )


@pytest.mark.parametrize("sail", ["main", "jib"])
def test_sail_load_is_the_sum_over_its_strips(sail):
    """Strips lie in the heeled mast plane; each is turned by itself and its moment taken as a cross
    product.
    """
    boat, state = keelboat.base(), _state()
    fleet = fleets.fleet([boat])
    arrays, wake = fleet.select(np.zeros(COUNT, dtype=np.intp))
    wind = balance.true_wind(boats=arrays, tws=np.full(COUNT, 8.0), twa=np.full(COUNT, 1.2))
    _, strips = balance.strips(fleet_layout=fleet.layout, boats=arrays, wake=wake, wind=wind, state=state)
    part = fleet.layout.slices[fleet.layout.sails.index(sail)]
    force, moment = np.zeros((2, 3, COUNT))
    for i in range(part.start, part.stop):
        for case in range(COUNT):
            turn = Rotation.from_euler("x", -state.heel[case])
            f = turn.apply([strips.forward[i, case], strips.leeward[i, case], 0.0])
            force[:, case] += f
            moment[:, case] += np.cross(
                turn.apply([arrays.rig.x[i, case], 0.0, arrays.rig.height[i, case]]), f
            )
    load = _load(_loads(boat, state), sail)
    np.testing.assert_allclose(_force(load), force, rtol=1e-11, atol=1e-9)
    np.testing.assert_allclose(_moment(load), moment, rtol=1e-11, atol=1e-8)


def test_strips_hold_the_sails_area():
    boat = keelboat.base()
    fleet = fleets.fleet([boat])
    for sail, part in zip(boat.sails, fleet.layout.slices, strict=True):
        area = (fleet.arrays.rig.chord * fleet.arrays.rig.width)[part].sum()
        assert area == pytest.approx(sail.area, rel=2e-3)


# --- single forces written out


def test_mast_drag_dead_upwind():
    """0.5 rho Cd A V^2 in the wind at mid height: boat speed plus tws (z/10)^a (wind profile of checked
    fluids).
    """
    boat, env = keelboat.base(), keelboat.base().environment
    load = _load(_loads(boat, _state(leeway=0.0, heel=0.0, boat_speed=3.0), tws=8.0, twa=0.0), "mast")
    rig = boat.rig
    height = 0.5 * (rig.mast_base_height + rig.mast_top_height)
    wind = 3.0 + 8.0 * (height / env.wind_reference_height) ** env.wind_exponent
    area = rig.mast_diameter * (rig.mast_top_height - rig.mast_base_height)
    drag = 0.5 * env.air_density * rig.mast_drag_coefficient * area * wind**2
    np.testing.assert_allclose(load.forward, -drag, rtol=1e-12)
    np.testing.assert_allclose(load.leeward, 0.0, atol=1e-12)


def test_crew_windage_on_a_beam_wind():
    """The drag area of a person holds its coefficient already: 0.5 rho V^2 times it."""
    boat, env = keelboat.base(), keelboat.base().environment
    state = _state(leeway=0.0, heel=0.0, boat_speed=0.05)
    load = _load(_loads(boat, state, tws=10.0, twa=0.5 * math.pi), "crew windage")
    wind = 10.0 * (boat.crew.z / env.wind_reference_height) ** env.wind_exponent
    speed = math.hypot(wind, 0.05)
    np.testing.assert_allclose(
        load.leeward, 0.5 * env.air_density * boat.crew.drag_area * speed * wind, rtol=1e-12
    )


def test_hull_friction_is_the_ittc_line():
    """ITTC procedure 7.5-02-02-01, Cf = 0.075/(log10 Re - 2)^2, Reynolds number on 0.7 of the waterline
    length.
    """
    boat, env, hull = keelboat.base(), keelboat.base().environment, keelboat.base().hull
    load = _load(_loads(boat, _state(leeway=0.0, heel=0.0, boat_speed=4.0)), "hull friction")
    reynolds = 4.0 * 0.7 * hull.waterline_length / env.water_viscosity
    coefficient = 0.075 / (math.log10(reynolds) - 2.0) ** 2
    drag = 0.5 * env.water_density * 16.0 * hull.wetted_area * coefficient * (1.0 + hull.form_factor)
    np.testing.assert_allclose(load.forward, -drag, rtol=1e-10)


def test_hull_resistance_acts_against_the_course():
    for heel in (0.0, math.radians(20.0)):
        components = _loads(keelboat.base(), _state(leeway=0.1, heel=heel, boat_speed=4.0))
        for name in ("hull friction", "hull residuary"):
            along, across = _in_course(_load(components, name), 0.1)
            np.testing.assert_allclose(across, 0.0, atol=1e-10)
            assert (along < 0.0).all()


def _growth_at_20deg(name):
    upright, heeled = (
        _loads(keelboat.base(), _state(leeway=0.0, heel=heel, boat_speed=4.0))
        for heel in (0.0, math.radians(20.0))
    )
    return _load(heeled, name).forward / _load(upright, name).forward


def test_residuary_resistance_grows_with_heel_as_stated():
    stated = keelboat.base().hull.heel_resistance_20deg
    np.testing.assert_allclose(_growth_at_20deg("hull residuary"), 1.0 + stated, rtol=1e-12)


def test_friction_follows_the_wetted_area_of_the_heeled_hull():
    """J. A. Keuning, U. B. Sonnenberg 1998 (from memory) at 20 deg: 1.850 - 1.200 B/T - 0.109 (B/T)^2 + 5.364
    Cm per cent, Cm the area of the greatest section over beam times draught.
    """
    hull = keelboat.base().hull
    beam_draught = hull.waterline_beam / hull.canoe_draught
    section = hull.canoe_volume / (hull.prismatic_coefficient * hull.waterline_length)
    midship = section / (hull.waterline_beam * hull.canoe_draught)
    assert 2.46 < beam_draught < 19.32
    assert 0.64 < midship < 0.80
    percent = 1.850 - 1.200 * beam_draught - 0.109 * beam_draught**2 + 5.364 * midship
    np.testing.assert_allclose(_growth_at_20deg("hull friction"), 1.0 + percent / 100.0, rtol=1e-12)


def _in_course(load, leeway):
    """The horizontal force turned into the course's axes as a complex number: the bow points to windward,
    towards -y.
    """
    forward, leeward, _ = _force(load)
    turned = (forward + 1j * leeward) * np.exp(-1j * leeway)
    return turned.real, turned.imag


def _extended(fin):
    """Area of a fin, area and doubled aspect ratio of the same extended to the water plane (extended-keel
    method).
    """
    area = 0.5 * fin.span * (fin.root_chord + fin.tip_chord)
    extended_area = area - fin.root_z * fin.root_chord
    return area, extended_area, 2.0 * (fin.span - fin.root_z) ** 2 / extended_area


def _helmbold(ratio):
    return 2.0 * math.pi * ratio / (2.0 + math.sqrt(4.0 + ratio**2))


def _effective_draught(boat, speed):
    """J. A. Keuning, U. B. Sonnenberg 1998 (from memory), upright: Te/T = (3.7455 Tc/T - 3.6246 (Tc/T)^2 +
    0.0589 B/Tc - 0.0296 taper) (1.2306 - 0.7256 Fn).
    """
    hull, keel = boat.hull, boat.fins[0]
    total = keel.span - keel.root_z
    share = hull.canoe_draught / total
    froude = speed / math.sqrt(9.80665 * hull.waterline_length)
    assert 0.2 < froude < 0.45
    form = 3.7455 * share - 3.6246 * share**2 + 0.0589 * hull.waterline_beam / hull.canoe_draught
    return total * (form - 0.0296 * keel.tip_chord / keel.root_chord) * (1.2306 - 0.7256 * froude)


def test_keel_lift_and_drag_upright():
    """Lift across the flow at leeway's incidence (Helmbold 1942), induced drag F^2/(pi q Te^2) with the
    effective draught Te, profile drag of the fin alone, which grows by 0.005 CL^2 (NACA 0012 in Report 824,
    from memory).
    """
    boat, env = keelboat.base(), keelboat.base().environment
    leeway, speed = 0.03, 4.0
    keel = boat.fins[0]
    components = _loads(boat, _state(leeway=leeway, heel=0.0, boat_speed=speed))
    along, across = _in_course(_load(components, "keel"), leeway)
    area, extended_area, ratio = _extended(keel)
    pressure = 0.5 * env.water_density * speed**2
    lift = _helmbold(ratio) * leeway
    force = pressure * extended_area * lift
    # a tanh of the distance from stall leaves less than 1e-4 of the flow separated here
    np.testing.assert_allclose(across, -force, rtol=2e-4)
    friction = 0.075 / (math.log10(speed * area / keel.span / env.water_viscosity) - 2.0) ** 2
    profile = 2.0 * friction * (1.0 + 2.0 * keel.thickness_ratio + 60.0 * keel.thickness_ratio**4)
    profile += 0.005 * lift**2
    induced = force**2 / (math.pi * pressure * _effective_draught(boat, speed) ** 2)
    np.testing.assert_allclose(-along, pressure * area * profile + induced, rtol=2e-3)


def test_keel_mirrored_in_the_surface_has_less_induced_drag_than_below_a_bare_one():
    """With "surface_image": between F^2/(2 pi q b^2) of a rigid surface (image theorem) and pi^2/4 times
    that, the greatest that the least drag of a vertical board can be, F^2/(pi q b^2 8/pi^2) (linear theory).
    """
    boat, env = keelboat.base(), keelboat.base().environment
    mirrored = replace(boat, hull=replace(boat.hull, side_force_model="surface_image"))
    leeway, speed, keel = 0.03, 4.0, boat.fins[0]
    state = _state(leeway=leeway, heel=0.0, boat_speed=speed)
    by_draught, by_image = (_in_course(_load(_loads(b, state), "keel"), leeway) for b in (boat, mirrored))
    np.testing.assert_allclose(by_image[1], by_draught[1], rtol=1e-12)
    pressure = 0.5 * env.water_density * speed**2
    rigid = by_draught[1] ** 2 / (2.0 * math.pi * pressure * (keel.span - keel.root_z) ** 2)
    of_draught = by_draught[1] ** 2 / (math.pi * pressure * _effective_draught(boat, speed) ** 2)
    induced = -by_image[0] - (-by_draught[0] - of_draught)
    assert (induced > 1.01 * rigid).all()
    assert (induced < 0.99 * math.pi**2 / 4.0 * rigid).all()


def test_rudder_behind_the_keel_feels_its_downwash():
    """2 CL/(pi AR) of the keel less incidence (Glauert 1926): the rudder amidships still makes side force,
    but less than one ahead of the keel.
    """
    boat = keelboat.base()
    ahead = replace(boat, fins=boat.fins[::-1])
    state = _state(leeway=0.03, heel=0.0, boat_speed=4.0, rudder=0.0)
    behind, free = (_force(_load(_loads(b, state), "rudder")) for b in (boat, ahead))
    _, _, ratio = _extended(boat.fins[0])
    left = 1.0 - 2.0 * _helmbold(ratio) / (math.pi * ratio)
    # lift is across, drag along the flow, which the keel has turned: compare across the flow that the
    # rudder feels
    across = [
        f[1] * math.cos(angle) - f[0] * math.sin(angle) for f, angle in ((behind, left * 0.03), (free, 0.03))
    ]
    np.testing.assert_allclose(across[0] / across[1], left, rtol=1e-3)


@pytest.mark.parametrize("heel_deg", [0.0, 10.0, 30.0])
def test_weight_and_buoyancy_right_as_the_wall_sided_formula(heel_deg):
    """Righting moment = weight x sin(heel) (GM + 0.5 BM tan^2 heel), the crew amidships; E. C. Tupper,
    Introduction to Naval Architecture.
    """
    boat = keelboat.base()
    heel = math.radians(heel_deg)
    components = _loads(boat, _state(heel=heel, crew_arm=0.0))
    total = sum(_moment(_load(components, name))[0] for name in ("weight", "crew weight", "buoyancy"))
    masses = [*boat.all_masses()]
    mass = sum(m.mass for m in masses) + boat.crew.mass
    centre = (sum(m.mass * m.z for m in masses) + boat.crew.mass * boat.crew.z) / mass
    metacentric_height = boat.hull.buoyancy_centre_z + boat.hull.metacentric_radius - centre
    arm = math.sin(heel) * (metacentric_height + 0.5 * boat.hull.metacentric_radius * math.tan(heel) ** 2)
    np.testing.assert_allclose(total, mass * 9.80665 * arm, rtol=1e-10, atol=1e-6)


def test_crew_to_windward_rights_by_weight_times_lever():
    boat = keelboat.base()
    inside, outside = (_loads(boat, _state(heel=0.2, crew_arm=arm)) for arm in (0.0, 1.3))
    gained = _load(outside, "crew weight").roll - _load(inside, "crew weight").roll
    np.testing.assert_allclose(gained, boat.crew.mass * 9.80665 * 1.3 * math.cos(0.2), rtol=1e-12)


# --- residuals


def test_residuals_turn_forces_into_the_axes_of_the_course():
    rng = np.random.default_rng(3)
    force, moment = rng.normal(size=(2, 2, 3, COUNT))
    leeway = rng.uniform(-0.2, 0.2, COUNT)
    components = [
        Component(name=str(i), medium="air", load=Load(**dict(zip(
            ("forward", "leeward", "up", "roll", "pitch", "yaw"), (*force[i], *moment[i]), strict=True))))
        for i in range(2)
    ]  # fmt: skip
    found = balance.residuals(FLOATING, components, leeway=leeway)
    turned = (force[:, 0] + 1j * force[:, 1]).sum(axis=0) * np.exp(-1j * leeway)
    np.testing.assert_allclose(
        found, [turned.real, turned.imag, moment[:, 0].sum(axis=0), moment[:, 2].sum(axis=0)]
    )
    assert FLOATING.equations == ("surge", "sway", "roll", "yaw")


def test_residual_scales_are_the_rigs_force_in_the_true_wind_with_a_floor():
    boat = keelboat.base()
    tws = np.array([0.5, 2.0, 10.0])
    arrays, _ = fleets.fleet([boat]).select(np.zeros(3, dtype=np.intp))
    force, _, roll, yaw = balance.residual_scales(FLOATING, arrays, tws)
    area = sum(sail.area for sail in boat.sails)
    np.testing.assert_allclose(
        force, 0.5 * boat.environment.air_density * area * np.array([4.0, 4.0, 100.0]), rtol=2e-3
    )
    height = sum(sail.area * sail.area_centre_height for sail in boat.sails) / area
    np.testing.assert_allclose(roll / force, height, rtol=1e-9)
    np.testing.assert_allclose(yaw / force, boat.hull.waterline_length, rtol=1e-12)


# --- batches


def test_boats_of_one_layout_stack_and_come_out_again():
    boat = keelboat.base()
    heavy = replace(boat, crew=replace(boat.crew, mass=boat.crew.mass + 80.0))
    arrays, wake = fleets.fleet([boat, heavy]).select(np.array([1, 0, 1]))
    np.testing.assert_array_equal(arrays.crew_mass, boat.crew.mass + np.array([80.0, 0.0, 80.0]))
    np.testing.assert_array_equal(wake.boat, [1, 0, 1])
    alone, _ = fleets.fleet([boat]).select(np.array([0]))
    for many, one in ((arrays.rig, alone.rig), (arrays.rig.mean_line, alone.rig.mean_line)):
        for name, value in vars(many).items():
            if name != "mean_line":
                np.testing.assert_array_equal(value[..., 1:2], getattr(one, name))


def test_boats_of_different_layout_cannot_share_a_batch():
    boat = keelboat.base()
    with pytest.raises(ValueError, match="differ in layout"):
        fleets.fleet([boat, replace(boat, name="bare", sails=boat.sails[:1])])


def _one_of(state, i):
    """One condition of a state; what a floating boat has no freedom for stays a plain zero."""
    plain = {name: getattr(state, name)[[i]] for name in PLAIN}
    return replace(state, trims=fleets.take(state.trims, np.array([i])), **plain)


def test_loads_of_a_batch_are_those_of_each_condition_alone():
    boat, state = keelboat.base(), _state()
    together = balance.residuals(FLOATING, _loads(boat, state), leeway=state.leeway)
    for i in range(COUNT):
        alone = _one_of(state, i)
        found = balance.residuals(FLOATING, _loads(boat, alone), leeway=alone.leeway)
        np.testing.assert_allclose(found[:, 0], together[:, i], rtol=1e-10, atol=1e-9)


# --- a third array library


def test_physics_traces_with_jax_and_agrees():
    """Reference library: JAX, which differentiates the same source by its own rules, compiled, in double
    precision.
    """
    jax = jax_or_skip()
    boat = keelboat.coarse(keelboat.base(), 6)
    problem = keelboat.problem([boat], keelboat.conditions(tws_kn=[8, 14, 20], twa_deg=[45, 100, 160]))
    x, cases = keelboat.random_states(problem, seed=5), np.arange(3)

    def scaled_residual(rows):
        values = problem.named(tuple(rows), cases)
        components, _ = problem.loads(values, cases)
        residual = balance.residuals(problem.layout, components, leeway=values["leeway"])
        return residual / problem.residual_scale

    with double_precision(jax):
        start = jax.numpy.asarray(x)
        traced = jax.jit(jax.jacfwd(lambda rows: (scaled_residual(rows),) * 2, has_aux=True)).lower(start)
        slopes, compiled = (
            np.asarray(part) for part in traced.compile(compiler_options=QUICK_TO_COMPILE)(start)
        )
    equations = problem.values(x, cases).constraints[: problem.equality_count]
    np.testing.assert_allclose(compiled, equations, rtol=1e-9, atol=1e-9)
    found = problem.derivatives(x, cases, np.ones((6, 3))).jacobian[: problem.equality_count]
    own = np.einsum("rcnc->rnc", slopes)
    np.testing.assert_allclose(own, found, rtol=1e-9, atol=1e-9)
    # no condition depends on another's variables
    others = slopes.copy()
    others[:, cases, :, cases] = 0.0
    assert not others.any()
