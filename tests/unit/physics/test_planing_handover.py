"""From floating to planing: the law continued, heel, hand-over and the wet transom."""

import math
from dataclasses import fields, replace
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from tests.support import planing_skiff as skiff
from tests.support.with_jax import double_precision, jax_or_skip
from vpp.physics import hull_sections, planing, planing_handover
from vpp.solver import jets

FloatArray = NDArray[np.float64]

SURROUNDINGS = {
    "water_density": skiff.DENSITY,
    "water_viscosity": skiff.VISCOSITY,
    "gravity": skiff.GRAVITY,
    "roughness_allowance": skiff.ALLOWANCE,
}
STILL = {name: SURROUNDINGS[name] for name in ("water_density", "gravity")}
FORCES = ("up", "drag", "pitch", "roll", "friction", "sunk_up")
LAW = [f.name for f in fields(planing.PlaningForces)]
# What a solver may try: speed m/s, pitch deg, heel deg, ride height m.
BOX = ((0.05, 18.0), (-3.0, 8.0), (-15.0, 15.0), (-0.3, 0.4))


def at(x: Any, **changed: Any) -> planing_handover.HeeledPlaningForces:
    """Forces at speed, pitch, heel and ride height."""
    speed, pitch, heel, ride_height = x
    given = {"hull": skiff.BOTTOM, "bottom_length": skiff.LENGTH, "bottom_fullness": skiff.FULLNESS}
    return planing_handover.extended_planing_forces(
        speed=speed, pitch=pitch, heel=heel, ride_height=ride_height, **(given | SURROUNDINGS | changed)
    )


def transom(x: Any) -> Any:
    speed, pitch, heel, ride_height = x
    return planing_handover.transom_drag_by_trim(
        hull=skiff.BOTTOM,
        level_x=-0.35,
        speed=speed,
        pitch=pitch,
        heel=heel,
        ride_height=ride_height,
        **STILL,
    )


def box() -> FloatArray:
    """Ends, middles and points between of all that is tried, (4, states)."""
    (slow, fast), (down, up), (port, starboard), (low, high) = BOX
    speed = np.array([slow, 0.6, 2.5, 4.0, 8.0, fast])
    pitch = np.radians(np.append(np.linspace(down, up, 34), [-0.5, 0.0, 0.5, 1.0]))
    heel = np.radians([port, 0.0, 3.0, starboard])
    ride_height = np.linspace(low, high, 36)
    return np.stack([x.ravel() for x in np.meshgrid(speed, pitch, heel, ride_height, indexing="ij")])


def pitch_for(trim: Any) -> Any:
    """At which the skiff's bottom has a trim."""
    return trim - skiff.BOTTOM.keel_angle


def ride_height_for(trim: Any, ratio: Any, hull: planing.PlaningHull = skiff.BOTTOM) -> Any:
    """At which an upright bottom has a mean wetted length over beam."""
    rise = np.tan(hull.deadrise) / (2.0 * math.pi * np.tan(trim))
    draught = (ratio + rise) * hull.beam * np.sin(trim)
    return -draught - hull.transom_x * np.sin(trim) - hull.transom_z * np.cos(trim)


# --- inside the law -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("deadrise_deg", [0.0, 8.0, 20.0, 30.0])
def test_law_is_met_exactly_inside_its_range(deadrise_deg: float) -> None:
    """Trim 1 to 15 deg; wetted length from a tenth of the beam, and from dry chines, to 4 beams."""
    hull = replace(skiff.BOTTOM, deadrise=math.radians(deadrise_deg), keel_angle=math.radians(0.5))
    level = replace(hull, keel_angle=0.0)
    grid = (np.linspace(2.0, 40.0, 9), np.radians(np.linspace(1.0, 15.0, 15)), np.linspace(0.1, 4.0, 14))
    speed, trim, ratio = (x.ravel() for x in np.meshgrid(*grid, indexing="ij"))
    wet = ratio >= np.tan(hull.deadrise) / (2.0 * math.pi * np.tan(trim))
    speed, trim, ratio = speed[wet], trim[wet], ratio[wet]
    # about the keel's end, whose height does not hang on the keel's angle
    for one in (hull, level):
        end = replace(one, transom_x=0.0, transom_z=0.0)
        pitch, ride_height = trim - one.keel_angle, ride_height_for(trim, ratio, end)
        expected = planing.planing_forces(
            hull=end, speed=speed, pitch=pitch, ride_height=ride_height, **SURROUNDINGS
        )
        length = 4.0 * one.beam / planing_handover.EXACT_LENGTH_SHARE
        found = at((speed, pitch, np.zeros_like(speed), ride_height), hull=end, bottom_length=length)
        for name in LAW:
            there = getattr(expected, name)
            assert getattr(found, name) == pytest.approx(there, rel=1e-9, abs=1e-9), name
        assert np.all(np.abs(found.sunk_up) < 1e-9)


def test_no_roll_upright_and_the_rest_is_even_in_heel() -> None:
    states = box()
    mirrored = states * np.array([1.0, 1.0, -1.0, 1.0])[:, None]
    here, there = at(states), at(mirrored)
    assert here.roll == pytest.approx(-there.roll, rel=1e-9, abs=1e-9)
    for name in ("up", "drag", "pitch"):
        assert getattr(here, name) == pytest.approx(getattr(there, name), rel=1e-9, abs=1e-9)
    upright = states[2] == 0.0
    assert np.all(np.abs(here.roll[upright]) < 1e-9)


# --- everywhere ---------------------------------------------------------------------------------------------


def test_everything_is_finite_with_its_derivatives_wherever_a_solver_may_look() -> None:
    states = box()
    found = at(jets.variables(states))
    for name in (*FORCES, "lift_coefficient", "length_beam_ratio", "keel_length", "chine_length"):
        for part in jets.dense(getattr(found, name), 4, states[0].shape):
            assert np.all(np.isfinite(part)), name
    for part in jets.dense(transom(jets.variables(states)), 4, states[0].shape):
        assert np.all(np.isfinite(part))
    assert np.all(found.up.value >= 0.0)


def test_deeper_never_lifts_less() -> None:
    states = box()
    _, gradient = jets.dense_gradient(at(jets.variables(states)).up, 4, states[0].shape)
    assert np.all(gradient[3] <= 1e-9)
    deep = states[3] < -0.1
    assert np.all(gradient[3][deep] < 0.0)


def test_nothing_is_left_of_a_bottom_clear_of_the_water() -> None:
    """Its end 0.2 m above the water, bow up, and bow down with the bow as high."""
    speed, trim = np.full(3, 12.0), np.radians([4.0, 0.0, -2.0])
    bow_down = skiff.LENGTH * np.sin(np.maximum(-trim, 0.0))
    height = 0.2 + bow_down - skiff.BOTTOM.transom_x * np.sin(trim) - skiff.BOTTOM.transom_z * np.cos(trim)
    found = at((speed, trim, np.zeros(3), height))
    for name in FORCES:
        assert np.all(getattr(found, name) == 0.0), name


def test_without_trim_the_law_lifts_nothing_and_still_water_carries() -> None:
    """Level or bow down: all of the lift is that of a box as full as the bottom; a level hull at its drawn
    draught floats its drawn volume, and drags by friction and the fall of its run.
    """
    speed = np.array([0.05, 6.0, 18.0])
    zeros = np.zeros(3)
    down = at((speed, np.full(3, pitch_for(math.radians(-0.5))), zeros, zeros - 0.05))
    assert down.up == pytest.approx(down.sunk_up, rel=1e-12)
    level = at((speed, zeros, zeros, zeros))
    assert level.up == pytest.approx(skiff.DENSITY * skiff.GRAVITY * skiff.FORM.volume, rel=1e-9)
    fall = -skiff.BOTTOM.keel_angle
    dragged = level.friction / math.cos(fall) + level.up * math.tan(fall)
    assert level.drag == pytest.approx(dragged, rel=1e-9)
    # what the fade leaves at zero trim: 5/32 of half a degree, once up and once down
    left = math.radians(2.0 * 0.5 * 5.0 / 32.0)
    run = at((speed, np.full(3, pitch_for(0.0)), zeros, zeros))
    assert run.drag - run.friction == pytest.approx(run.sunk_up * left, rel=1e-4)


def test_lift_fades_with_trim() -> None:
    """Of a bottom that is wet to the bow, turned about the keel's end."""
    hull = replace(skiff.BOTTOM, transom_x=0.0, transom_z=0.0)
    trim = np.radians(np.linspace(-0.6, 2.5, 63))
    found = at((np.full(63, 6.0), pitch_for(trim), np.zeros(63), np.full(63, -0.3)), hull=hull)
    law = found.up - found.sunk_up
    assert np.all(law[trim <= math.radians(-0.5)] == 0.0)
    assert np.all(np.diff(law[trim >= math.radians(-0.5)]) > 0.0)


def test_a_bow_down_bottom_is_not_free_of_drag() -> None:
    """At one lift, it drags more than a level one."""
    speed, zeros = np.full(2, 8.0), np.zeros(2)
    trim = np.radians([0.0, -2.0])
    middle = np.array([-0.05, -0.05])
    found = at((speed, trim, zeros, middle))
    assert found.up[1] == pytest.approx(found.up[0], rel=0.05)
    assert found.drag[1] > 1.2 * found.drag[0]
    # and is righted: less bow-down moment than a level one
    assert found.pitch[1] < found.pitch[0]


def test_keel_wet_beyond_the_bottom_is_flagged() -> None:
    found = at((np.full(2, 6.0), np.radians([1.5, 5.0]), np.zeros(2), np.array([-0.02, 0.08])))
    mask = planing_handover.wet_beyond_bottom(forces=found, bottom_length=skiff.LENGTH)
    assert list(mask) == [True, False]


def test_fullness_by_hand() -> None:
    """1.2 m^3 over 2 x 3 x (0.5 - 0.1) m^3, with 2/(2 pi) tan(beta) = 0.1 m; the same with a run that is
    0.3 m higher at the transom than in the middle.
    """
    deadrise = math.atan(0.1 * math.pi)
    level = planing.PlaningHull(beam=2.0, deadrise=deadrise, transom_x=-1.5, transom_z=-0.5, keel_angle=0.0)
    found = planing_handover.bottom_fullness(hull=level, bottom_length=3.0, volume=1.2)
    assert found == pytest.approx(0.5, rel=1e-12)
    angle = -math.asin(0.2)
    rising = replace(level, transom_z=-0.2, keel_angle=angle)
    found = planing_handover.bottom_fullness(hull=rising, bottom_length=3.0, volume=1.2)
    assert found == pytest.approx(1.2 / (6.0 * (0.5 - 0.1 * math.cos(angle))), rel=1e-12)


# --- heel ---------------------------------------------------------------------------------------------------


def roll_stiffness(speed: float, trim_deg: float, ratio: float) -> tuple[float, float]:
    """Righting moment of a small heel per radian and per lift [m] about the keel's end, planing and by still
    water on the same wetted plan.
    """
    hull = replace(skiff.BOTTOM, transom_x=0.0, transom_z=0.0)
    trim, heel = math.radians(trim_deg), 1e-4
    state = (
        np.array([speed]),
        np.array([trim]),
        np.array([heel]),
        ride_height_for(np.array([trim]), ratio, hull),
    )
    found = at(state, hull=hull)
    plan = skiff.DENSITY * skiff.GRAVITY * hull.beam**4 * ratio / 12.0
    return float(found.roll[0] / heel / found.up[0]), float(plan / found.up[0])


@pytest.mark.parametrize(("speed", "trim_deg", "ratio"), [(5.0, 3.0, 3.0), (7.0, 2.5, 2.6), (9.0, 2.0, 2.6)])
def test_heeled_bottom_is_righted_by_less_than_still_water(
    speed: float, trim_deg: float, ratio: float
) -> None:
    """No source: a bottom whose sides lift alike has none, still water has the plan's second moment; by
    either half's own deadrise it is between a third and all of the latter.
    """
    planes, floats = roll_stiffness(speed, trim_deg, ratio)
    assert 0.33 * floats < planes < floats


def test_heel_moves_the_lift_to_the_side_of_less_deadrise() -> None:
    """About the keel's end, so that its own line of action has no lever."""
    hull = replace(skiff.BOTTOM, transom_x=0.0, transom_z=0.0)
    trim, heel = np.full(5, 0.05), np.radians([-15.0, -5.0, 0.0, 5.0, 15.0])
    found = at((np.full(5, 7.0), trim, heel, ride_height_for(trim, 2.5, hull)), hull=hull)
    assert np.all(np.diff(found.roll) > 0.0)


def test_heel_changes_nothing_but_the_roll_moment() -> None:
    """The half-by-half lift would reward heel: it grows with its square."""
    states = box()
    heeled, upright = at(states), at(states * np.array([1.0, 1.0, 0.0, 1.0])[:, None])
    for name in (*LAW, "sunk_up"):
        assert getattr(heeled, name) == pytest.approx(getattr(upright, name), rel=1e-12), name


# --- hand-over ----------------------------------------------------------------------------------------------


def test_share_goes_from_volumetric_froude_number_one_to_two() -> None:
    """vol = 1/64 m^3 and g = 4: V at Froude number 1 is 1 m/s."""
    speed = np.array([0.05, 1.0, 1.5, 2.0, 18.0])
    share = planing_handover.planing_share(speed=speed, volume=1.0 / 64.0, gravity=4.0)
    assert list(share) == [0.0, 0.0, 0.5, 1.0, 1.0]
    fine = planing_handover.planing_share(speed=np.linspace(0.5, 2.5, 201), volume=1.0 / 64.0, gravity=4.0)
    assert np.all(np.diff(fine) >= 0.0)


def test_hand_over_mixes_part_by_part() -> None:
    names = [f.name for f in fields(planing_handover.HullLoad)]
    afloat = planing_handover.HullLoad(**{name: 4.0 * (i + 1.0) for i, name in enumerate(names)})
    planes = planing_handover.HullLoad(**{name: -4.0 for name in names})
    for share, expected in ((0.0, afloat), (1.0, planes)):
        assert planing_handover.handed_over(share=share, afloat=afloat, planing=planes) == expected
    mixed = planing_handover.handed_over(share=0.25, afloat=afloat, planing=planes)
    assert [getattr(mixed, name) for name in names] == [3.0 * (i + 1.0) - 1.0 for i in range(len(names))]
    assert afloat.drag == 4.0 + 8.0 + 12.0


def test_waves_of_a_bottom_that_still_water_carries() -> None:
    """All of the floating hull's where nothing planes, none where the law carries it."""
    pitch = pitch_for(np.radians([-1.0, 3.0]))
    found = at((np.full(2, 6.0), pitch, np.zeros(2), np.array([-0.02, 0.05])))
    load = planing_handover.planing_load(forces=found, floating_waves=np.full(2, 100.0), weight=found.up)
    assert load.waves == pytest.approx(np.array([100.0, 0.0]), abs=1e-9)
    assert load.drag == pytest.approx(found.drag + load.waves, rel=1e-12)


def test_skiff_has_one_equilibrium_that_goes_on_from_rest_to_planing() -> None:
    """Up and down the speeds the same states; between neighbours half a knot apart no jump: drag over weight
    moves by less than 0.02, trim by less than 1 deg, ride height by less than 0.03 m.
    """
    speeds = np.arange(2.0, 20.1, 0.5)
    for crew_x in (-1.1, -1.5, -1.9):
        up = skiff.run(crew_x, speeds)
        down = skiff.run(crew_x, speeds[::-1], np.array([up.pitch[-1], up.ride_height[-1]]))
        assert down.pitch[::-1] == pytest.approx(up.pitch, abs=1e-8)
        assert np.max(np.abs(np.diff(up.drag_share))) < 0.02
        assert np.max(np.abs(np.diff(up.pitch))) < math.radians(1.0)
        assert np.max(np.abs(np.diff(up.ride_height))) < 0.03


# --- transom ------------------------------------------------------------------------------------------------


def test_level_hull_adds_no_transom_drag() -> None:
    x = (np.linspace(0.5, 8.0, 16), np.zeros(16), np.zeros(16), np.zeros(16))
    assert np.all(transom(x) == 0.0)


def test_sunk_transom_drags_more_and_a_lifted_one_less() -> None:
    speed, zeros = np.full(2, 3.0), np.zeros(2)
    sunk, lifted = transom((speed, np.radians([1.0, -1.0]), zeros, zeros))
    assert sunk > 0.0 > lifted


def test_dry_transom_misses_the_pressure_on_its_area() -> None:
    """Far above Froude number 2.5, rho g times the integral of depth over the wedge under its sides, between
    trimmed and level. Below 0.5 nothing.
    """
    pitch, speed = math.radians(1.5), 6.0

    def integral(draught: float) -> float:
        z = np.linspace(0.0, draught, 4001)
        breadth = np.minimum(skiff.BEAM, 2.0 * z / math.tan(skiff.DEADRISE))
        return float(np.trapezoid(breadth * (draught - z), z))

    end = -(skiff.BOTTOM.transom_x * math.sin(pitch) + skiff.BOTTOM.transom_z * math.cos(pitch))
    level = end - (-0.35 - skiff.BOTTOM.transom_x) * math.sin(pitch)
    expected = skiff.DENSITY * skiff.GRAVITY * (integral(end) - integral(level))
    one, zero = np.ones(1), np.zeros(1)
    assert transom((speed * one, pitch * one, zero, zero))[0] == pytest.approx(expected, rel=0.003)
    assert transom((0.2 * one, pitch * one, zero, zero))[0] == 0.0


# --- derivatives --------------------------------------------------------------------------------------------

# speed, pitch, heel, ride height: inside the law, wet to the bow, bow down, short and dry at the chines
STATES = np.array(
    [
        [6.0, 5.0, 7.0, 9.0, 3.0],
        [0.05, 0.012, -0.02, 0.08, 0.0],
        [0.1, 0.02, -0.15, 0.2, 0.0],
        [0.03, 0.0, -0.03, 0.15, -0.01],
    ]
)


def every(x: Any) -> list[Any]:
    found = at(x)
    return [*(getattr(found, name) for name in FORCES), transom(x)]


def test_derivatives_agree_with_differences() -> None:
    found = [jets.dense(j, 4, (5,)) for j in every(jets.variables(STATES))]
    plain = every(STATES)
    h = 1e-6
    for k, (value, gradient, hessian) in enumerate(found):
        assert value == pytest.approx(plain[k], rel=1e-12, abs=1e-12)
        for i in range(4):
            d = h * np.eye(4)[i][:, None]
            ahead, behind = (every(jets.variables(STATES + side * d))[k] for side in (1.0, -1.0))
            (v1, g1), (v0, g0) = (jets.dense_gradient(j, 4, (5,)) for j in (ahead, behind))
            size = 1e-9 + np.max(np.abs(gradient), axis=0)
            assert np.all(np.abs(gradient[i] - (v1 - v0) / (2.0 * h)) / size < 1e-6)
            size = 1e-9 + np.max(np.abs(hessian), axis=(0, 1)) + 1e-3 * np.max(np.abs(gradient), axis=0)
            assert np.all(np.max(np.abs(hessian[i] - (g1 - g0) / (2.0 * h)), axis=0) / size < 1e-5)


def test_same_numbers_and_derivatives_in_jax() -> None:
    jax = jax_or_skip()
    found = [jets.dense(j, 4, (5,)) for j in every(jets.variables(STATES))]

    def stacked(x: Any) -> Any:
        return jax.numpy.stack(every(x))

    with double_precision(jax):
        values = np.asarray(jax.jit(stacked)(jax.numpy.asarray(STATES)))
        derive = jax.jit(jax.jacfwd(stacked))
        for i in range(5):
            gradients = np.asarray(derive(jax.numpy.asarray(STATES[:, i])))
            for k, (value, gradient, _) in enumerate(found):
                assert values[k, i] == pytest.approx(value[i], rel=1e-10, abs=1e-9)
                size = 1e-8 * (1.0 + np.max(np.abs(gradient[:, i])))
                assert gradients[k] == pytest.approx(gradient[:, i], rel=1e-8, abs=size)


def test_shape_of_the_skiff_is_that_of_its_bottom() -> None:
    """The stand-in of these tests floats its own weight near its drawn draught."""
    floats = hull_sections.drawn_form(shape=skiff.SHAPE)
    assert floats.volume == pytest.approx(skiff.VOLUME, rel=0.1)
