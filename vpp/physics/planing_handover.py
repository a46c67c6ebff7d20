"""From floating to planing: a planing bottom at every attitude, heeled, and the hand-over from the floating
hull to it.

The law of `planing` holds for an upright bottom at positive trim. What goes beyond it here (little trim,
little wetted length, a bottom wet over its whole length, heel) is continuation and estimate, said where it
is made, and equal to the law inside its range.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from vpp.physics.arrays import Array, array_namespace, elementwise, without_derivatives
from vpp.physics.foil_geometry import smooth_step
from vpp.physics.hull import friction_coefficient
from vpp.physics.planing import (
    PlaningForces,
    PlaningHull,
    centre_of_pressure,
    speed_coefficient,
)
from vpp.physics.smoothing import smooth_ramp

# Froude number on the cube root of the boat's volume from which a hull begins to plane and at which it does.
HANDOVER_RANGE = (1.0, 2.0)
# Trim [rad], and mean wetted length over beam and over the bottom's length, from which and up to which the
# law is met exactly.
EXACT_TRIM = math.radians(1.0)
EXACT_LENGTH_BEAM = 0.1
EXACT_LENGTH_SHARE = 0.8

_DEGREE = math.pi / 180.0
# Half width of the band about zero trim [rad] in which lift fades.
_LIFT_BAND = 0.5 * _DEGREE
# Least flat plate's lift that the correction for deadrise is evaluated at, over that at which it takes all.
_LEAST_LIFT, _LIFT_WIDTH = 1.6, 0.8
# Square of the water's velocity along the bottom over that of the boat: least value and width of its onset.
_LEAST_VELOCITY, _VELOCITY_WIDTH = 0.1, 0.1
# Froude number on a transom's depth in the middle of the band over which it runs dry, and half that band.
_DRY_MIDDLE, _DRY_BAND = 1.5, 1.0
# A rise of the wedge [m] that keeps a flat bottom from a kink, and half the least depth [m] in the transom's
# Froude number.
_LEAST_TRANSOM = 0.005
# Reynolds number from which the friction line is used, and the width of its onset.
_LEAST_REYNOLDS, _REYNOLDS_WIDTH = 1e4, 5e3


@dataclass(frozen=True, kw_only=True)
class HeeledPlaningForces(PlaningForces):
    """What the water does to a heeled planing bottom, buoyancy included, (conditions,).

    roll [N m]: the moment about the body's origin, positive rights a boat heeled to leeward. sunk_up [N]:
    that part of `up` which still water adds to the law. All but roll are those of the upright bottom.
    """

    roll: Array
    sunk_up: Array


@dataclass(frozen=True, kw_only=True)
class HullLoad:
    """Force and moments of the water on a hull in horizontal axes, (conditions,).

    friction, waves, planing_drag [N]: parts of the drag, aft positive; up [N]; roll, pitch [N m] about the
    body's origin, positive roll rights and positive pitch is bow down.
    """

    friction: Array
    waves: Array
    planing_drag: Array
    up: Array
    roll: Array
    pitch: Array

    @property
    def drag(self) -> Array:
        """All drag [N], aft positive."""
        return self.friction + self.waves + self.planing_drag


def extended_planing_forces(
    *,
    hull: PlaningHull,
    bottom_length: Array,
    bottom_fullness: Array,
    speed: Array,
    pitch: Array,
    heel: Array,
    ride_height: Array,
    water_density: Array,
    water_viscosity: Array,
    gravity: Array,
    roughness_allowance: Array,
) -> HeeledPlaningForces:
    """`planing_forces` at every attitude, and heeled.

    bottom_length [m] of the bottom along the keel and its `bottom_fullness` [-], without derivatives; heel
    [rad] to leeward positive; the rest as in `planing_forces`. Finite and twice continuously differentiable
    for speeds from 0.05 m/s and for pitch and heel of tens of degrees; zero, and without slope, where the
    bottom is clear of the water. Equal to `planing_forces` where trim is at least `EXACT_TRIM`, and the mean
    wetted length at least `EXACT_LENGTH_BEAM` beams and at most `EXACT_LENGTH_SHARE` of the bottom's length,
    at any heel but for the roll moment. Beyond, no source:

    Little trim: the law's lift fades out over half a degree about zero trim, and its geometry is taken at
    half a degree or more. Little wetted length: lift and friction fade out about zero mean wetted length,
    which is before the keel leaves the water. Wet to the bow: the law is held at the bottom's length, and
    still water carries what is sunk deeper, as a box of beam, length and fullness of the bottom without end
    upwards, so that a boat at no trim or bow down is carried too. It pays the tangent of the trim in drag,
    bow up (a dry transom) or down (a guess, lest a bow-down bottom runs too freely).

    Heel: lift, drag, their pitching moment and friction are those of the upright bottom at the same speed,
    pitch and ride height. The lift acts above the keel's end at the middle of the rise of the chines, a
    quarter of the bottom's breadth off the centreline on either side; heel shares it out: either half has
    half the lift of a prism of its own deadrise, less heel to leeward and plus heel to windward, at the
    draught of the keel's end, and what the halves differ by rights the boat. Heel above the deadrise turns
    the leeward side under the keel: the correction for deadrise goes on linearly there. The theory page
    compares the roll stiffness with still water's, and says what the halves' own sum would have changed.
    Left out: leeway, side force, and the yawing moment of unlike friction.
    """

    def lift(speed: Array, pitch: Array, ride_height: Array, deadrise: Array) -> _Lift:
        return _lift(
            hull=hull,
            bottom_length=bottom_length,
            bottom_fullness=bottom_fullness,
            speed=speed,
            pitch=pitch,
            ride_height=ride_height,
            deadrise=deadrise,
            specific_weight=water_density * gravity,
            gravity=gravity,
        )

    def upright(speed: Array, pitch: Array, ride_height: Array) -> tuple[Array, ...]:
        return _upright(
            lift=lift(speed, pitch, ride_height, hull.deadrise),
            hull=hull,
            bottom_length=bottom_length,
            bottom_fullness=bottom_fullness,
            speed=speed,
            pitch=pitch,
            surroundings=(water_density, water_viscosity, gravity, roughness_allowance),
        )

    def righting(speed: Array, pitch: Array, heel: Array, ride_height: Array) -> tuple[Array, ...]:
        xp = array_namespace(speed, pitch, heel, ride_height)
        # to leeward and to windward
        sides = lift(speed, pitch, ride_height, xp.stack([hull.deadrise - heel, hull.deadrise + heel]))
        half = 0.5 * (sides.up + sides.sunk)
        return (0.25 * hull.beam * xp.cos(heel) * (half[0] - half[1]),)

    def heeling(moment: Array, heel: Array) -> tuple[Array, ...]:
        return (moment * array_namespace(heel).sin(heel),)

    names = (
        "up", "drag", "pitch", "friction", "sunk_up", "speed_coefficient", "lift_coefficient",
        "length_beam_ratio", "trim", "keel_length", "chine_length", "pressure_centre",
    )  # fmt: skip
    *values, lift_times_height = elementwise(upright, speed, pitch, ride_height)
    roll = (
        elementwise(righting, speed, pitch, heel, ride_height)[0]
        + elementwise(heeling, lift_times_height, heel)[0]
    )
    return HeeledPlaningForces(**dict(zip(names, values, strict=True)), roll=roll)


def bottom_fullness(*, hull: PlaningHull, bottom_length: Array, volume: Array) -> Array:
    """Volume [m^3] of a hull, level as drawn, over that of a prism of its bottom's beam, deadrise and length
    [m] at the draught that the bottom's keel line has in the middle.

    With it a level bottom floats at the same draught by `extended_planing_forces` as by buoyancy, and the
    hand-over does not lift it. The prism's breadth is wet with the rise of water of `wetted_lengths`.
    Positive where that draught is more than the rise.
    """
    xp = array_namespace(hull.beam, bottom_length, volume)
    rise = hull.beam / (2.0 * math.pi) * xp.tan(hull.deadrise) * xp.cos(hull.keel_angle)
    depth = -1.0 * hull.transom_z - 0.5 * bottom_length * xp.sin(hull.keel_angle) - rise
    return volume / (hull.beam * bottom_length * depth)


def wet_beyond_bottom(*, forces: PlaningForces, bottom_length: Array) -> Array:
    """Where the wetted keel is longer than the bottom [m], a mask (conditions,): the bow is in the water, and
    `extended_planing_forces` is a guess.
    """
    return without_derivatives(forces.keel_length) > bottom_length


def transom_drag_by_trim(
    *,
    hull: PlaningHull,
    level_x: Array,
    speed: Array,
    pitch: Array,
    heel: Array,
    ride_height: Array,
    water_density: Array,
    gravity: Array,
) -> Array:
    """What trim adds to the drag of a floating hull's transom [N], negative where it lifts the transom: its
    drag less that of the same transom of a level hull that floats as high at `level_x`.

    level_x [m]: about where the hull trims, say its centre of buoyancy; the rest as in
    `extended_planing_forces`. The law is that of `section_waves.transom_drag`, which has the level hull's
    part: the water's pressure at rest on the transom, rho g times the integral of depth over its wet area,
    times its dry share, which goes from Froude number 0.5 to 2.5 on its depth. The transom is a wedge of the
    bottom's beam and deadrise under vertical sides, upright. Twice continuously differentiable, zero without
    pitch and where both ends are clear.
    """

    def drag(speed: Array, pitch: Array, heel: Array, ride_height: Array) -> tuple[Array, ...]:
        xp = array_namespace(speed, pitch, heel, ride_height)
        keel_z = hull.transom_z * xp.cos(heel)
        trimmed = -1.0 * (ride_height + hull.transom_x * xp.sin(pitch) + keel_z * xp.cos(pitch))
        level = trimmed - (level_x - hull.transom_x) * xp.sin(pitch)
        # height of the chine over the keel
        wedge = xp.sqrt((0.5 * hull.beam * xp.tan(hull.deadrise)) ** 2 + _LEAST_TRANSOM**2)

        def missed(draught: Array) -> Array:
            wet, above_chine = xp.maximum(draught, 0.0), xp.maximum(draught - wedge, 0.0)
            froude = speed / xp.sqrt(gravity * _at_least(draught, 2.0 * _LEAST_TRANSOM, _LEAST_TRANSOM))
            return (wet**3 - above_chine**3) * smooth_step((froude - _DRY_MIDDLE) / _DRY_BAND)

        pressure = water_density * gravity * hull.beam / (6.0 * wedge)
        return (pressure * (missed(trimmed) - missed(level)),)

    return elementwise(drag, speed, pitch, heel, ride_height)[0]


def volumetric_froude_number(*, speed: Array, volume: Array, gravity: Array) -> Array:
    """Froude number V/sqrt(g vol^(1/3)): speed [m/s], volume [m^3] of the boat's weight in water, gravity
    [m/s^2].
    """
    return speed / (gravity * volume ** (1.0 / 3.0)) ** 0.5


def planing_share(*, speed: Array, volume: Array, gravity: Array) -> Array:
    """How far a hull has gone over from floating to planing, 0 to 1: a smooth step of speed.

    Arguments as in `volumetric_froude_number`; `volume`, of the boat's weight, and `gravity` carry no
    derivatives. 0 at and below Froude number 1, 1 at and above 2, twice continuously differentiable. The
    ends are those of the regime before planing in J. A. Mercier, D. Savitsky, Resistance of transom-stern
    craft in the pre-planing regime, Stevens Institute of Technology report 1667, 1973, and D. Savitsky,
    P. W. Brown, Procedures for hydrodynamic evaluation of planing hulls in smooth and rough water, Marine
    Technology 13(4), 1976 (both from memory). The shape between them has no source.
    """
    low, high = HANDOVER_RANGE

    def share(speed: Array) -> tuple[Array, ...]:
        froude = volumetric_froude_number(speed=speed, volume=volume, gravity=gravity)
        return (smooth_step((froude - 0.5 * (low + high)) * (2.0 / (high - low))),)

    return elementwise(share, speed)[0]


def planing_load(*, forces: HeeledPlaningForces, floating_waves: Array, weight: Array) -> HullLoad:
    """The load of a planing bottom. What the law drags is `planing_drag`; what still water carries makes the
    waves of the floating hull besides, in the share that it has in the boat's weight.

    floating_waves [N]: wave resistance of the floating hull at this attitude; weight [N] of the boat, without
    derivatives. The share is an estimate, no source: without it a bottom that does not plane would run
    without waves at planing speed.
    """
    return HullLoad(
        friction=0.0,
        waves=forces.sunk_up / weight * floating_waves,
        planing_drag=forces.drag,
        up=forces.up,
        roll=forces.roll,
        pitch=forces.pitch,
    )


def handed_over(*, share: Array, afloat: HullLoad, planing: HullLoad) -> HullLoad:
    """The load of a hull that floats and planes: (1 - share) of the first and `share` of the second, part by
    part.

    Both loads are whole ones at the same attitude: the planing bottom's lift holds its buoyancy, which is
    therefore not counted twice.
    """

    def mixed(floats: Array, planes: Array) -> Array:
        return floats + share * (planes - floats)

    return HullLoad(
        friction=mixed(afloat.friction, planing.friction),
        waves=mixed(afloat.waves, planing.waves),
        planing_drag=mixed(afloat.planing_drag, planing.planing_drag),
        up=mixed(afloat.up, planing.up),
        roll=mixed(afloat.roll, planing.roll),
        pitch=mixed(afloat.pitch, planing.pitch),
    )


@dataclass(frozen=True, kw_only=True)
class _Lift:
    """What carries a bottom of one deadrise, upright: `up` by the law and `sunk` by still water [N], and on
    the way there the draught of the keel's end, the slope by which it becomes a length, how far the bow is
    down (a sine), the wetted length over beam as it is, as it presses and as it is divided by, lift of the
    pressed breadth by its root, and how deep the box is in its bands.
    """

    up: Array
    sunk: Array
    draught: Array
    slope: Array
    bow_down: Array
    ratio: Array
    wet: Array
    least: Array
    pressed: Array
    deeper: Array


def _lift(
    *,
    hull: PlaningHull,
    bottom_length: Array,
    bottom_fullness: Array,
    speed: Array,
    pitch: Array,
    ride_height: Array,
    deadrise: Array,
    specific_weight: Array,
    gravity: Array,
) -> _Lift:
    xp = array_namespace(speed, pitch, ride_height, deadrise)
    beam, trim = hull.beam, pitch + hull.keel_angle
    sin_trim, cos_trim = xp.sin(trim), xp.cos(trim)

    # draught of the middle of a breadth, the water's rise included, where it is deepest; wetted lengths
    draught = -1.0 * (ride_height + hull.transom_x * xp.sin(pitch) + hull.transom_z * xp.cos(pitch))
    middle = draught - beam / (2.0 * math.pi) * xp.tan(deadrise) * cos_trim
    bow_up = xp.sin(_ramp(trim, _LIFT_BAND))
    bow_down = bow_up - sin_trim
    least_trim = _at_least(trim, 0.5 * EXACT_TRIM, 0.5 * EXACT_TRIM)
    slope = xp.sin(least_trim)
    band = 1.0 - EXACT_LENGTH_SHARE
    all_wet = bottom_length * slope
    share = 1.0 - _ramp(1.0 - (middle + bottom_length * bow_down) / all_wet, band)
    ratio = share * (bottom_length / beam)
    half = 0.5 * EXACT_LENGTH_BEAM
    wet, least = _ramp(ratio, half), _at_least(ratio, half, half)

    # the law
    square = speed**2 / (gravity * beam)
    steep = _ramp(trim, _LIFT_BAND) / _DEGREE * (least_trim / _DEGREE) ** 0.1
    pressed = 0.0120 * steep / least**0.5
    flat = pressed * wet + 0.0055 * steep * wet**2 * least**0.5 / square
    up = 0.5 * specific_weight * beam**3 * square * flat * _deadrise_factor(flat, deadrise)

    # still water on what is sunk deeper than a bottom wet to the bow: a box
    deeper = (middle - 0.5 * bottom_length * (sin_trim + bow_up)) / (band * all_wet)
    box = bottom_fullness * specific_weight * beam * bottom_length
    return _Lift(
        up=up,
        sunk=box * band * all_wet * _ramp(deeper, 1.0),
        draught=draught,
        slope=slope,
        bow_down=bow_down,
        ratio=ratio,
        wet=wet,
        least=least,
        pressed=pressed,
        deeper=deeper,
    )


def _upright(
    *,
    lift: _Lift,
    hull: PlaningHull,
    bottom_length: Array,
    bottom_fullness: Array,
    speed: Array,
    pitch: Array,
    surroundings: tuple[Array, ...],
) -> tuple[Array, ...]:
    """What `extended_planing_forces` says of an upright bottom, and the lift times its height over the body's
    origin.
    """
    density, viscosity, gravity, allowance = surroundings
    xp = array_namespace(speed, pitch, lift.up)
    beam, deadrise, trim = hull.beam, hull.deadrise, pitch + hull.keel_angle
    sin_trim, cos_trim = xp.sin(trim), xp.cos(trim)

    # the law
    froude = speed_coefficient(speed=speed, beam=beam, gravity=gravity)
    slowing = lift.pressed * _deadrise_factor(lift.pressed * lift.wet, deadrise) / cos_trim
    along = speed * xp.sqrt(_at_least(1.0 - slowing, _LEAST_VELOCITY, _VELOCITY_WIDTH))
    reynolds = _at_least(along * lift.least * (beam / viscosity), _LEAST_REYNOLDS, _REYNOLDS_WIDTH)
    coefficient = allowance + friction_coefficient(reynolds=reynolds)
    half_mass = 0.5 * density * beam**2
    friction = half_mass / xp.cos(deadrise) * lift.wet * along**2 * coefficient
    centre = beam * lift.least * centre_of_pressure(length_beam_ratio=lift.least, speed_coefficient=froude)
    normal = (lift.up + friction * sin_trim) / cos_trim

    # about the body's origin, which lies ahead of the keel's end and above the keel line
    cos_keel, sin_keel = xp.cos(hull.keel_angle), xp.sin(hull.keel_angle)
    ahead = -1.0 * hull.transom_x * cos_keel - hull.transom_z * sin_keel
    above = hull.transom_x * sin_keel - hull.transom_z * cos_keel
    mid_rise = 0.25 * beam * xp.tan(deadrise)
    pitching = normal * (ahead - centre) + friction * (above - mid_rise)
    height = hull.transom_z + centre * sin_keel + mid_rise

    # the box, and bow down a wedge upon it that grows towards the bow
    sunk_drag = lift.sunk * (2.0 * lift.bow_down + sin_trim) / cos_trim
    to_middle = 0.5 * bottom_length - ahead
    box = bottom_fullness * density * gravity * beam * bottom_length
    pitching = (
        pitching
        - lift.sunk * (to_middle * cos_trim + above * sin_trim)
        - sunk_drag * (to_middle * sin_trim - above * cos_trim)
        - box * bottom_length**2 / 12.0 * lift.bow_down * smooth_step(lift.deeper)
    )
    up = lift.up + lift.sunk
    keel_length = lift.draught / lift.slope
    return (
        up,
        normal * sin_trim + friction * cos_trim + sunk_drag,
        pitching,
        friction,
        lift.sunk,
        froude,
        up / (half_mass * speed**2),
        lift.ratio,
        trim,
        keel_length,
        keel_length - beam * xp.tan(deadrise) * cos_trim / (math.pi * lift.slope),
        centre,
        up * height,
    )


def _deadrise_factor(lift: Array, deadrise: Array) -> Array:
    """Lift of a bottom with deadrise over the flat plate's, 1 - 0.0065 beta C^-0.40, held positive at lifts
    smaller than any in range. A deadrise below zero adds lift.
    """
    degrees = deadrise / _DEGREE
    # a degree more, lest a flat bottom has no least lift
    takes_all = 0.0065**2.5 * (degrees**2 + 1.0) ** 1.25
    relative = _at_least(lift / takes_all, _LEAST_LIFT, _LIFT_WIDTH)
    return 1.0 - 0.0065 * degrees * (relative * takes_all) ** -0.4


def _ramp(value: Array, width: Array) -> Array:
    return smooth_ramp(value=value, width=width)


def _at_least(value: Array, least: Array, width: Array) -> Array:
    """The value from `least + width` up, and `least` from `least - width` down."""
    return least + smooth_ramp(value=value - least, width=width)
