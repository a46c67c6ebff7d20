"""The prismatic planing hull: limits of its coefficients, its statics, its ranges and its derivatives."""

import math
from dataclasses import fields, replace
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from tests.support.with_jax import double_precision, jax_or_skip
from vpp.physics import planing
from vpp.physics.hull import friction_coefficient
from vpp.solver import jets

FloatArray = NDArray[np.float64]

DENSITY, VISCOSITY, GRAVITY = 1025.0, 1.19e-6, 9.80665
ALLOWANCE = 4e-4
HULL = planing.PlaningHull(
    beam=1.2, deadrise=math.radians(10.0), transom_x=-1.4, transom_z=-0.5, keel_angle=math.radians(0.5)
)
NAMES = [f.name for f in fields(planing.PlaningForces)]
# speed m/s, pitch rad, ride height m: slow and long, middling, fast and short
STATES = np.array([[4.0, 6.0, 10.0], [0.05, 0.06, 0.045], [0.37, 0.41, 0.45]])


def run(x: Any, hull: planing.PlaningHull = HULL, **changed: float) -> planing.PlaningForces:
    """Forces at speed, pitch and ride height."""
    surroundings = {
        "water_density": DENSITY,
        "water_viscosity": VISCOSITY,
        "gravity": GRAVITY,
        "roughness_allowance": ALLOWANCE,
    }
    speed, pitch, ride_height = x
    return planing.planing_forces(
        hull=hull, speed=speed, pitch=pitch, ride_height=ride_height, **(surroundings | changed)
    )


def flat(trim_deg: Any, ratio: Any, froude: Any) -> Any:
    return planing.flat_plate_lift(
        trim=np.radians(trim_deg), length_beam_ratio=ratio, speed_coefficient=froude
    )


# --- coefficients -------------------------------------------------------------------------------------------


def test_speed_coefficient_is_the_froude_number_on_the_beam() -> None:
    """3/sqrt(9/4 x 4) = 1."""
    assert planing.speed_coefficient(speed=3.0, beam=2.25, gravity=4.0) == pytest.approx(1.0, rel=1e-12)


def test_flat_plate_lift_by_hand() -> None:
    """At 10 deg, l = 4, Cv = 2: 10^1.1 (0.0240 + 0.0055 x 32/4) = 12.58925 x 0.068."""
    assert flat(10.0, np.array(4.0), 2.0) == pytest.approx(12.5892541 * 0.068, rel=1e-8)


def test_buoyant_part_goes_with_the_square_of_speed_and_dynamic_part_stays() -> None:
    fast = flat(4.0, np.array(2.0), 1e6)
    assert fast == pytest.approx(0.0120 * 4.0**1.1 * math.sqrt(2.0), rel=1e-9)
    near, far = flat(4.0, np.array(2.0), 1.0) - fast, flat(4.0, np.array(2.0), 2.0) - fast
    assert near == pytest.approx(4.0 * far, rel=1e-9)


def test_lift_grows_with_trim_and_length_and_falls_with_deadrise() -> None:
    trim, ratio = np.linspace(2.0, 15.0, 40)[:, None], np.linspace(0.3, 4.0, 40)
    lift = flat(trim, ratio, 2.0)
    assert np.all(np.diff(lift, axis=0) > 0.0)
    assert np.all(np.diff(lift, axis=1) > 0.0)
    by_deadrise = [
        planing.deadrise_lift(flat_plate_lift=lift, deadrise=math.radians(d)) for d in range(0, 31, 5)
    ]
    assert by_deadrise[0] == pytest.approx(lift, rel=1e-15)
    assert np.all(np.diff(by_deadrise, axis=0) < 0.0)


def test_deadrise_lift_turns_where_it_is_said_to() -> None:
    least = (0.0039 * 30.0) ** 2.5
    lift = least * np.array([0.9, 1.0, 1.1])
    found = planing.deadrise_lift(flat_plate_lift=lift, deadrise=math.radians(30.0))
    assert least == pytest.approx(0.005, abs=5e-4)
    assert found[1] < min(found[0], found[2])


def test_no_bottom_with_wet_chines_comes_to_that_turn() -> None:
    deadrise = np.radians(np.linspace(1.0, 30.0, 30))
    for trim in np.radians(np.linspace(2.0, 15.0, 14)):
        least = np.tan(deadrise) / (2.0 * math.pi * math.tan(trim))
        lift = planing.flat_plate_lift(trim=trim, length_beam_ratio=least, speed_coefficient=1e6)
        assert np.all(lift > (0.0039 * np.degrees(deadrise)) ** 2.5)


def test_centre_of_pressure_between_buoyant_and_dynamic() -> None:
    """0.75 - 1/2.39 = 0.3316 at rest, 0.75 at high speed, rising between."""
    froude = np.array([1e-6, 0.6, 1.0, 2.0, 5.0, 13.0, 1e6])
    share = planing.centre_of_pressure(length_beam_ratio=np.full(7, 2.0), speed_coefficient=froude)
    assert share[0] == pytest.approx(0.33159, abs=1e-5)
    assert share[-1] == pytest.approx(0.75, abs=1e-9)
    assert np.all(np.diff(share) > 0.0)


def test_water_on_the_bottom_is_slower_than_the_boat_and_less_so_with_deadrise() -> None:
    trim, ratio = np.radians(np.linspace(2.0, 15.0, 14))[:, None], np.linspace(0.5, 4.0, 15)
    shares = [
        planing.bottom_velocity_ratio(trim=trim, length_beam_ratio=ratio, deadrise=math.radians(d))
        for d in (0.0, 10.0, 20.0)
    ]
    assert np.all((shares[0] > 0.0) & (shares[0] < 1.0))
    assert np.all(np.diff(shares, axis=0) > 0.0)


def test_wetted_lengths_by_hand() -> None:
    """d = 0.5 m at 30 deg: keel 1 m; pi tan(beta)/(pi tan(30 deg)) = 1 with b = pi and beta = 30 deg."""
    keel, chine = planing.wetted_lengths(
        trim=math.radians(30.0), transom_draught=0.5, beam=math.pi, deadrise=math.radians(30.0)
    )
    assert keel == pytest.approx(1.0, rel=1e-12)
    assert chine == pytest.approx(0.0, abs=1e-12)
    _, flat_chine = planing.wetted_lengths(
        trim=math.radians(30.0), transom_draught=0.5, beam=math.pi, deadrise=0.0
    )
    assert flat_chine == pytest.approx(1.0, rel=1e-12)


# --- statics ------------------------------------------------------------------------------------------------


def test_force_is_pressure_normal_to_the_keel_and_friction_along_it() -> None:
    """Turned into the keel's axes: friction along it, and the whole vertical force is the coefficient's."""
    found = run(STATES)
    along = found.drag * np.cos(found.trim) - found.up * np.sin(found.trim)
    assert along == pytest.approx(found.friction, rel=1e-12)
    pressure = 0.5 * DENSITY * STATES[0] ** 2 * HULL.beam**2
    assert found.up == pytest.approx(pressure * found.lift_coefficient, rel=1e-12)
    assert found.drag == pytest.approx(
        found.up * np.tan(found.trim) + found.friction / np.cos(found.trim), rel=1e-12
    )


def test_friction_is_that_of_the_mean_velocity_on_the_mean_wetted_length() -> None:
    found = run(STATES)
    along = STATES[0] * planing.bottom_velocity_ratio(
        trim=found.trim, length_beam_ratio=found.length_beam_ratio, deadrise=HULL.deadrise
    )
    length = found.length_beam_ratio * HULL.beam
    assert length == pytest.approx(0.5 * (found.keel_length + found.chine_length), rel=1e-12)
    coefficient = ALLOWANCE + friction_coefficient(reynolds=along * length / VISCOSITY)
    area = length * HULL.beam / math.cos(HULL.deadrise)
    assert found.friction == pytest.approx(0.5 * DENSITY * along**2 * area * coefficient, rel=1e-12)


def test_moment_about_the_end_of_the_keel() -> None:
    """Pressure lifts the bow, and so does friction above the keel: both bow up, which is negative."""
    hull = replace(HULL, transom_x=0.0, transom_z=0.0, keel_angle=0.0)
    found = run(np.stack([STATES[0], STATES[1], np.array([-0.12, -0.1, -0.08])]), hull)
    normal = found.up * np.cos(found.trim) + found.drag * np.sin(found.trim)
    lever = 0.25 * hull.beam * math.tan(hull.deadrise)
    assert found.pitch == pytest.approx(-normal * found.pressure_centre - found.friction * lever, rel=1e-12)
    assert np.all(found.pitch < 0.0)


def test_another_origin_moves_the_moment_by_the_force() -> None:
    """Origin moved by (0.3, -0.2) m in the body: the same water, and a moment moved as statics say."""
    x, z = 0.3, -0.2
    speed, pitch, ride_height = STATES
    rise = x * np.sin(pitch) + z * np.cos(pitch)
    ahead = x * np.cos(pitch) - z * np.sin(pitch)
    here = run(STATES)
    moved = replace(HULL, transom_x=HULL.transom_x - x, transom_z=HULL.transom_z - z)
    there = run(np.stack([speed, pitch, ride_height + rise]), moved)
    assert there.up == pytest.approx(here.up, rel=1e-11)
    assert there.drag == pytest.approx(here.drag, rel=1e-11)
    # r x F about the new origin, bow down positive: the old origin lies at (-ahead, -rise) from it
    expected = here.pitch + (-rise) * (-here.drag) - (-ahead) * here.up
    assert there.pitch == pytest.approx(expected, rel=1e-10)


def test_keel_angle_is_trim_already_there() -> None:
    """The same hull in body axes that are turned by 3 deg about the origin."""
    turn = math.radians(3.0)
    level = replace(HULL, keel_angle=0.0)
    x, z = level.transom_x, level.transom_z
    turned = replace(
        level,
        transom_x=x * math.cos(turn) - z * math.sin(turn),
        transom_z=z * math.cos(turn) + x * math.sin(turn),
        keel_angle=turn,
    )
    speed, pitch, ride_height = STATES
    one = run(np.stack([speed, pitch + turn, ride_height + 0.07]), level)
    other = run(np.stack([speed, pitch, ride_height + 0.07]), turned)
    for name in NAMES:
        assert getattr(other, name) == pytest.approx(getattr(one, name), rel=1e-9), name


def test_deeper_or_more_trim_lifts_more() -> None:
    deeper, bow_up = STATES.copy(), STATES.copy()
    deeper[2] -= 0.01
    bow_up[1] += 0.005
    # bow up about the end of the keel, so that its draught stays
    bow_up[2] += 0.005 * -HULL.transom_x
    assert np.all(run(deeper).up > run(STATES).up)
    assert np.all(run(bow_up).length_beam_ratio < run(STATES).length_beam_ratio)


@pytest.mark.parametrize("scale", [0.25, 4.0])
def test_similar_boats_at_equal_froude_and_reynolds_numbers(scale: float) -> None:
    """Lengths times s, speed times s^0.5, viscosity times s^1.5: forces times s^3, moments times s^4."""
    hull = replace(
        HULL, beam=scale * HULL.beam, transom_x=scale * HULL.transom_x, transom_z=scale * HULL.transom_z
    )
    factors = np.array([[math.sqrt(scale)], [1.0], [scale]])
    here, there = run(STATES), run(factors * STATES, hull, water_viscosity=VISCOSITY * scale**1.5)
    powers = {"up": 3, "drag": 3, "friction": 3, "pitch": 4}
    powers |= {"keel_length": 1, "chine_length": 1, "pressure_centre": 1}
    for name in NAMES:
        expected = scale ** powers.get(name, 0) * getattr(here, name)
        assert getattr(there, name) == pytest.approx(expected, rel=1e-10), name


def test_density_scales_forces_alone() -> None:
    here, there = run(STATES), run(STATES, water_density=2.0 * DENSITY)
    for name in NAMES:
        factor = 2.0 if name in ("up", "drag", "friction", "pitch") else 1.0
        assert getattr(there, name) == pytest.approx(factor * getattr(here, name), rel=1e-12), name


def test_a_hull_for_each_condition() -> None:
    beams, deadrises = np.array([1.0, 1.2, 1.5]), np.radians([0.0, 10.0, 15.0])
    found = run(STATES, replace(HULL, beam=beams, deadrise=deadrises))
    for i in range(3):
        alone = run(STATES[:, i], replace(HULL, beam=beams[i], deadrise=deadrises[i]))
        for name in NAMES:
            assert getattr(found, name)[i] == pytest.approx(getattr(alone, name), rel=1e-12), name


# --- ranges -------------------------------------------------------------------------------------------------


def draught_for(trim: float, ratio: float, beam: float, deadrise: float) -> float:
    """Draught of the keel's end at a mean wetted length."""
    return (ratio + math.tan(deadrise) / (2.0 * math.pi * math.tan(trim))) * beam * math.sin(trim)


def state(froude: float, trim_deg: float, ratio: float, deadrise_deg: float = 10.0) -> dict[str, bool]:
    """What is out of range, by key."""
    trim, deadrise = math.radians(trim_deg), math.radians(deadrise_deg)
    hull = planing.PlaningHull(beam=2.0, deadrise=deadrise, transom_x=0.0, transom_z=0.0, keel_angle=0.0)
    speed = froude * math.sqrt(GRAVITY * hull.beam)
    ride_height = -draught_for(trim, ratio, 2.0, deadrise)
    found = run(np.array([[speed], [trim], [ride_height]]), hull)
    out = planing.outside_range(forces=found, deadrise=deadrise)
    return {name: bool(mask[0]) for name, mask in out.items()}


@pytest.mark.parametrize(
    ("given", "left"),
    [
        ((2.0, 4.0, 2.0), None),
        ((0.601, 2.0, 3.999), None),
        ((12.99, 15.0, 1.0), None),
        ((0.59, 4.0, 2.0), "speed_coefficient"),
        ((13.1, 4.0, 2.0), "speed_coefficient"),
        ((2.0, 1.9, 2.0), "trim"),
        ((2.0, 15.1, 2.0), "trim"),
        ((2.0, 4.0, 4.1), "length_beam_ratio"),
        ((2.0, 8.0, 2.0, 31.0), "deadrise"),
        ((2.0, 8.0, 2.0, -1.0), "deadrise"),
        ((2.0, 2.0, 0.7), "chine_length"),
    ],
)
def test_range_that_is_left_is_named(given: tuple[float, ...], left: str | None) -> None:
    out = state(*given)
    assert [name for name, is_out in out.items() if is_out] == ([] if left is None else [left])


def test_dry_chines_begin_at_half_the_difference_of_the_wetted_lengths() -> None:
    """l = tan(beta)/(2 pi tan(trim))."""
    least = math.tan(math.radians(10.0)) / (2.0 * math.pi * math.tan(math.radians(4.0)))
    assert not state(2.0, 4.0, 1.001 * least)["chine_length"]
    assert state(2.0, 4.0, 0.999 * least)["chine_length"]


@pytest.mark.parametrize(
    ("pitch", "ride_height"), [(0.06, 1.0), (0.0, 0.4), (-0.05, 0.4)], ids=["clear", "level", "bow down"]
)
def test_a_bottom_that_does_not_plane_has_no_forces_and_says_so(pitch: float, ride_height: float) -> None:
    hull = replace(HULL, keel_angle=0.0 if pitch else -1e-3)
    found = run(np.array([[6.0], [pitch], [ride_height]]), hull)
    for name in ("up", "drag", "pitch", "friction"):
        assert np.isnan(getattr(found, name)[0])
    out = planing.outside_range(forces=found, deadrise=hull.deadrise)
    assert out["length_beam_ratio"][0] or out["trim"][0]


# --- porpoising ---------------------------------------------------------------------------------------------


def test_porpoising_limit_rises_with_load_and_deadrise() -> None:
    lift = 2.0 * np.linspace(0.10, 0.35, 26) ** 2
    limits = [
        planing.porpoising_trim(lift_coefficient=lift, deadrise=math.radians(d)) for d in (10.0, 15.0, 20.0)
    ]
    assert np.all(np.diff(limits, axis=1) > 0.0)
    light = lift < 2.0 * 0.25**2
    assert np.all(np.diff(limits, axis=0)[:, light] > 0.0)


def test_porpoising_limit_by_hand() -> None:
    """At 10 deg and sqrt(CL/2) = 0.2: 0.1197 x 5.8224 exp(15.7132 x 0.2 x 0.54588) = 3.87 deg."""
    found = planing.porpoising_trim(lift_coefficient=np.array(0.08), deadrise=math.radians(10.0))
    assert math.degrees(found) == pytest.approx(3.875, abs=0.005)


@pytest.mark.parametrize(
    ("load", "deadrise_deg"), [(0.09, 15.0), (0.36, 15.0), (0.2, 9.0), (0.2, 21.0), (0.2, 0.0)]
)
def test_unknown_porpoising_limit_is_no_clearance(load: float, deadrise_deg: float) -> None:
    given = {"lift_coefficient": np.array([2.0 * load**2]), "deadrise": np.radians([deadrise_deg])}
    assert np.isnan(planing.porpoising_trim(**given)[0])
    assert planing.may_porpoise(trim=np.radians([0.1]), **given)[0]


def test_porpoising_flag_on_either_side_of_the_limit() -> None:
    given = {"lift_coefficient": np.full(2, 0.08), "deadrise": math.radians(10.0)}
    limit = planing.porpoising_trim(**given)
    flag = planing.may_porpoise(trim=limit + np.array([-1e-6, 1e-6]), **given)
    assert list(flag) == [False, True]


def test_margin_is_limit_less_trim_inside_the_range() -> None:
    lift = 2.0 * np.linspace(0.10, 0.35, 26)[:, None] ** 2
    trim, deadrise = math.radians(3.0), np.radians([10.0, 14.0, 20.0])
    given = {"lift_coefficient": lift, "deadrise": deadrise}
    assert np.all(planing.porpoising_known(**given))
    margin = planing.porpoising_margin(trim=trim, **given)
    assert margin == pytest.approx(planing.porpoising_trim(**given) - trim, rel=1e-12)


def test_margin_outside_the_range_is_that_at_its_nearest_end_and_not_known() -> None:
    """A flat bottom and one of 8 deg count as one of 10 deg, any load as one at an end of the range: within
    6 % below and 12 % above, where the limit is steep.
    """
    lift, trim = np.array([0.08]), np.array([0.05])
    at_ten = planing.porpoising_margin(trim=trim, lift_coefficient=lift, deadrise=math.radians(10.0))
    for deadrise_deg in (0.0, 8.0):
        given = {"lift_coefficient": lift, "deadrise": math.radians(deadrise_deg)}
        assert not planing.porpoising_known(**given)[0]
        assert planing.porpoising_margin(trim=trim, **given) == pytest.approx(at_ten, rel=1e-12)
    lifts = np.array([-1.0, 0.0, 1e-3, 1.0, 1e6])
    given = {"lift_coefficient": lifts, "deadrise": math.radians(15.0)}
    assert not planing.porpoising_known(**given).any()
    margin = planing.porpoising_margin(trim=np.zeros(5), **given)
    ends = [
        planing.porpoising_trim(lift_coefficient=np.array(2.0 * load**2), deadrise=math.radians(15.0))
        for load in planing.PORPOISING_LOAD_RANGE
    ]
    assert margin[:3] == pytest.approx(float(ends[0]), rel=0.06)
    assert margin[3:] == pytest.approx(float(ends[1]), rel=0.12)


def test_formula_at_8_deg_would_be_02_to_04_deg_below_what_the_margin_uses() -> None:
    """What the formula itself gives, outside its range."""
    load = np.linspace(0.10, 0.25, 16)
    limits = [0.1197 * d**0.7651 * np.exp(15.7132 * load * d**-0.2629) for d in (8.0, 10.0)]
    gap = limits[1] - limits[0]
    assert np.all((gap > 0.15) & (gap < 0.45))


def test_margin_has_derivatives_everywhere() -> None:
    x = np.stack([np.full(60, 0.05), np.linspace(-0.1, 1.0, 60)])
    trim, lift = jets.variables(x)
    margin = planing.porpoising_margin(trim=trim, lift_coefficient=lift, deadrise=math.radians(8.0))
    for part in jets.dense(margin, 2, (60,)):
        assert np.all(np.isfinite(part))


# --- derivatives --------------------------------------------------------------------------------------------


def every(x: Any) -> list[Any]:
    """All forces, and the limit of porpoising, of speed, pitch and ride height."""
    found = run(x)
    limit = planing.porpoising_trim(lift_coefficient=found.lift_coefficient, deadrise=HULL.deadrise)
    return [*(getattr(found, name) for name in NAMES), limit]


def test_derivatives_agree_with_differences() -> None:
    found = [jets.dense(j, 3, (3,)) for j in every(jets.variables(STATES))]
    plain = every(STATES)
    h = 1e-6
    known = ~np.isnan(plain[-1])
    assert known.any()
    for k, (value, gradient, hessian) in enumerate(found):
        use = known if k == len(found) - 1 else np.full(3, True)
        assert value[use] == pytest.approx(plain[k][use], rel=1e-13)
        for i in range(3):
            d = h * np.eye(3)[i][:, None]
            ahead, behind = (every(jets.variables(STATES + side * d))[k] for side in (1.0, -1.0))
            (v1, g1), (v0, g0) = (jets.dense_gradient(j, 3, (3,)) for j in (ahead, behind))
            size = np.max(np.abs(gradient), axis=0)
            error = np.abs(gradient[i] - (v1 - v0) / (2.0 * h)) / size
            assert np.all(error[use] < 1e-6)
            size = np.max(np.abs(hessian), axis=(0, 1)) + 1e-3 * np.max(np.abs(gradient), axis=0)
            error = np.max(np.abs(hessian[i] - (g1 - g0) / (2.0 * h)), axis=0) / size
            assert np.all(error[use] < 1e-6)


@pytest.mark.parametrize("froude", planing.SPEED_COEFFICIENT_RANGE)
@pytest.mark.parametrize("trim", planing.TRIM_RANGE)
@pytest.mark.parametrize("ratio", [0.5, planing.LENGTH_BEAM_LIMIT])
@pytest.mark.parametrize("deadrise", [0.0, planing.DEADRISE_LIMIT])
def test_derivatives_are_finite_at_the_ends_of_the_range(
    froude: float, trim: float, ratio: float, deadrise: float
) -> None:
    hull = replace(HULL, deadrise=deadrise, transom_x=0.0, transom_z=0.0, keel_angle=0.0)
    ride_height = -draught_for(trim, ratio, hull.beam, deadrise)
    x = np.array([[froude * math.sqrt(GRAVITY * hull.beam)], [trim], [ride_height]])
    found = run(jets.variables(x), hull)
    for name in NAMES:
        assert all(np.all(np.isfinite(part)) for part in jets.dense(getattr(found, name), 3, (1,))), name


def test_same_numbers_and_derivatives_in_jax() -> None:
    jax = jax_or_skip()
    found = [jets.dense(j, 3, (3,)) for j in every(jets.variables(STATES))]

    def stacked(x: Any) -> Any:
        return jax.numpy.stack(every(x))

    with double_precision(jax):
        values = np.asarray(jax.jit(stacked)(jax.numpy.asarray(STATES)))
        derive = jax.jit(lambda x: (jax.jacfwd(stacked)(x), jax.jacfwd(jax.jacfwd(stacked))(x)))
        for i in range(3):
            gradients, hessians = (np.asarray(part) for part in derive(jax.numpy.asarray(STATES[:, i])))
            for k, (value, gradient, hessian) in enumerate(found[:-1]):
                assert values[k, i] == pytest.approx(value[i], rel=1e-11)
                assert gradients[k] == pytest.approx(gradient[:, i], rel=1e-9, abs=1e-9)
                size = 1e-10 * (1.0 + np.max(np.abs(hessian[:, :, i])))
                assert hessians[k] == pytest.approx(hessian[:, :, i], rel=1e-9, abs=size)


def test_ranges_and_flags_in_jax() -> None:
    jax = jax_or_skip()
    plain = run(STATES)
    flags = planing.outside_range(forces=plain, deadrise=HULL.deadrise)
    expected = planing.may_porpoise(
        trim=plain.trim, lift_coefficient=plain.lift_coefficient, deadrise=HULL.deadrise
    )
    with double_precision(jax):
        found = run([jax.numpy.asarray(row) for row in STATES])
        for name, mask in planing.outside_range(forces=found, deadrise=HULL.deadrise).items():
            assert list(np.asarray(mask)) == list(flags[name])
        flag = planing.may_porpoise(
            trim=found.trim, lift_coefficient=found.lift_coefficient, deadrise=HULL.deadrise
        )
        assert list(np.asarray(flag)) == list(expected)
