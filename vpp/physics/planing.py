"""The prismatic planing hull: lift, drag and pitching moment of a hull of one beam and one deadrise.

After D. Savitsky, Hydrodynamic Design of Planing Hulls, Marine Technology 1(1), 1964; all of it from memory.
His charts and formulae describe a bottom that runs at a steady trim, upright, without yaw, on calm deep
water, with separation at the chines and at a dry transom. The trim of the formulae is in degrees; here it is
in radians outside them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from vpp.physics.arrays import Array, array_namespace, elementwise, without_derivatives
from vpp.physics.hull import friction_coefficient
from vpp.physics.smoothing import smooth_ramp

# Speed over sqrt(g b), trim [rad] and mean wetted length over beam within which the lift was fitted.
SPEED_COEFFICIENT_RANGE = (0.60, 13.0)
TRIM_RANGE = (math.radians(2.0), math.radians(15.0))
LENGTH_BEAM_LIMIT = 4.0
# Largest deadrise [rad] of the correction for deadrise.
DEADRISE_LIMIT = math.radians(30.0)
# Deadrise [rad] and square root of half the lift coefficient between which the limit of porpoising is drawn.
PORPOISING_DEADRISE_RANGE = (math.radians(10.0), math.radians(20.0))
PORPOISING_LOAD_RANGE = (0.10, 0.35)

_DEGREE = math.pi / 180.0
# Half width of the bend above the range of load of the limit of porpoising.
_LOAD_WIDTH = 0.01


@dataclass(frozen=True, kw_only=True)
class PlaningHull:
    """A prismatic bottom, floats or (conditions,).

    beam [m] across the chines; deadrise [rad], from level, 0 for a flat bottom; transom_x, transom_z [m]: the
    keel's end at the transom, in body axes; keel_angle [rad] of the keel line over the body's x axis, bow up
    positive.
    """

    beam: Array
    deadrise: Array
    transom_x: Array
    transom_z: Array
    keel_angle: Array


@dataclass(frozen=True, kw_only=True)
class PlaningForces:
    """What the water does to a planing bottom, buoyancy included, (conditions,).

    up, drag [N]: the whole vertical and the whole horizontal force (aft positive); pitch [N m]: the moment
    about the body's origin, bow down positive; friction [N]: that part along the keel, aft positive.
    speed_coefficient, lift_coefficient, length_beam_ratio [-]: speed over sqrt(g b), `up` over
    rho V^2 b^2/2, mean wetted length over beam. trim [rad] of the keel; keel_length and chine_length [m]
    wetted; pressure_centre [m] ahead of the transom, along the keel.
    """

    up: Array
    drag: Array
    pitch: Array
    friction: Array
    speed_coefficient: Array
    lift_coefficient: Array
    length_beam_ratio: Array
    trim: Array
    keel_length: Array
    chine_length: Array
    pressure_centre: Array


def speed_coefficient(*, speed: Array, beam: Array, gravity: Array) -> Array:
    """Froude number on the beam, V/sqrt(g b): speed [m/s], beam [m] across the chines, gravity [m/s^2]."""
    xp = array_namespace(speed, beam, gravity)
    return speed / xp.sqrt(beam * gravity)


def flat_plate_lift(*, trim: Array, length_beam_ratio: Array, speed_coefficient: Array) -> Array:
    """Lift coefficient of a flat bottom, on rho V^2 b^2/2: trim^1.1 (0.0120 l^0.5 + 0.0055 l^2.5/Cv^2), trim
    in degrees there.

    trim [rad], length_beam_ratio l (mean wetted length over beam) and speed_coefficient Cv broadcast. The
    first term is dynamic, the second buoyant; their sum is the vertical force. Fitted for Cv 0.60 to 13, trim
    2 to 15 deg and l up to 4. Goes on by itself beyond, which is then an extrapolation that `outside_range`
    names; NaN where trim or l is not positive. Source: Savitsky 1964 (memory).
    """
    dynamic = _dynamic_lift(trim, length_beam_ratio)
    buoyant = 0.0055 * _degrees(trim) ** 1.1 * _or_nan(length_beam_ratio) ** 2.5 / speed_coefficient**2
    return dynamic + buoyant


def deadrise_lift(*, flat_plate_lift: Array, deadrise: Array) -> Array:
    """Lift coefficient of a bottom with deadrise [rad] from that of a flat one: C - 0.0065 beta C^0.60, beta
    in degrees there.

    Fitted from 0 to 30 deg. Below C = (0.0039 beta)^2.5, which is 0.005 at 30 deg, it falls as the flat
    plate's lift grows, and is not to be used; NaN for a lift that is not positive. Source: Savitsky 1964
    (memory).
    """
    lift = _or_nan(flat_plate_lift)
    return lift - 0.0065 / _DEGREE * deadrise * lift**0.60


def centre_of_pressure(*, length_beam_ratio: Array, speed_coefficient: Array) -> Array:
    """Distance of the centre of pressure from the transom over the mean wetted length,
    0.75 - 1/(5.21 Cv^2/l^2 + 2.39).

    From 0.33 where buoyancy carries (slow or long) to 0.75 where dynamic lift does. Arguments and range as in
    `flat_plate_lift`; the same for every deadrise. Source: Savitsky 1964 (memory).
    """
    square = (speed_coefficient / _or_nan(length_beam_ratio)) ** 2
    return 0.75 - 1.0 / (5.21 * square + 2.39)


def bottom_velocity_ratio(*, trim: Array, length_beam_ratio: Array, deadrise: Array) -> Array:
    """Mean velocity of the water along the bottom over the speed, by Bernoulli's equation from the mean
    dynamic pressure.

    sqrt(1 - C/(l cos(trim))), with C the dynamic part of the lift coefficient after the correction for
    deadrise. Arguments and range as in `flat_plate_lift` and `deadrise_lift`. NaN where trim or l is not
    positive. Source: Savitsky 1964 (memory).
    """
    xp = array_namespace(trim, length_beam_ratio, deadrise)
    dynamic = deadrise_lift(flat_plate_lift=_dynamic_lift(trim, length_beam_ratio), deadrise=deadrise)
    return xp.sqrt(1.0 - dynamic / (length_beam_ratio * xp.cos(trim)))


def wetted_lengths(
    *, trim: Array, transom_draught: Array, beam: Array, deadrise: Array
) -> tuple[Array, Array]:
    """Wetted lengths of keel and chine [m] to the spray root: d/sin(trim), and that less
    b tan(beta)/(pi tan(trim)).

    trim and deadrise [rad]; beam and transom_draught [m], the latter that of the keel's end below the
    undisturbed water. The difference contains the rise of water at the wedge, pi/2 (Wagner). No rise is taken
    ahead of the keel; that of a flat bottom (some 0.3 beams) is therefore missing. A chine length below
    zero says that the chines are dry. Smooth for any trim above zero. Source: Savitsky 1964 (memory).
    """
    xp = array_namespace(trim, transom_draught, beam, deadrise)
    keel = transom_draught / xp.sin(trim)
    return keel, keel - beam * xp.tan(deadrise) / (math.pi * xp.tan(trim))


def planing_forces(
    *,
    hull: PlaningHull,
    speed: Array,
    pitch: Array,
    ride_height: Array,
    water_density: Array,
    water_viscosity: Array,
    gravity: Array,
    roughness_allowance: Array,
) -> PlaningForces:
    """Vertical force, drag and pitching moment of a planing bottom at a speed and an attitude.

    speed [m/s] positive, pitch [rad] bow up and ride_height [m] of the body's origin over the undisturbed
    water, (conditions,); water_density [kg/m^3], water_viscosity kinematic [m^2/s], gravity [m/s^2] and
    roughness_allowance [-], added to the friction coefficient of the ITTC line (0.0004 in the source), carry
    no derivatives.

    The lift holds the buoyancy: add none. Drag is the vertical force times tan(trim) plus friction over
    cos(trim), friction at the mean bottom velocity on the mean wetted length and the area l b^2/cos(beta).
    The pressure acts normal to the keel at `centre_of_pressure`, friction along it at the middle of the
    wetted half breadth, b tan(beta)/4 above it. Heel and leeway are ignored: the bottom runs upright whatever
    the boat does. Spray that wets the bottom ahead of the spray root and the hull's air drag are left out.

    Twice continuously differentiable where trim and wetted length are positive, NaN elsewhere: there the
    bottom does not plane. Inside the range of the source where nothing in `outside_range` is set. Whether the
    boat is as long as the wetted keel is the caller's to look at. Source: Savitsky 1964 (memory).
    """

    def forces(speed: Array, pitch: Array, ride_height: Array) -> tuple[Array, ...]:
        xp = array_namespace(speed, pitch, ride_height)
        beam, deadrise, trim = hull.beam, hull.deadrise, pitch + hull.keel_angle
        sin_trim, cos_trim = xp.sin(trim), xp.cos(trim)
        height = ride_height + hull.transom_x * xp.sin(pitch) + hull.transom_z * xp.cos(pitch)
        keel, chine = wetted_lengths(trim=trim, transom_draught=-1.0 * height, beam=beam, deadrise=deadrise)
        ratio = 0.5 * (keel + chine) / beam
        froude = speed_coefficient(speed=speed, beam=beam, gravity=gravity)
        flat = flat_plate_lift(trim=trim, length_beam_ratio=ratio, speed_coefficient=froude)
        lift = deadrise_lift(flat_plate_lift=flat, deadrise=deadrise)
        along = speed * bottom_velocity_ratio(trim=trim, length_beam_ratio=ratio, deadrise=deadrise)
        resistance = roughness_allowance + friction_coefficient(
            reynolds=along * ratio * (beam / water_viscosity)
        )
        # half the density times the square of the beam
        half_mass = 0.5 * water_density * beam**2
        friction = half_mass / xp.cos(deadrise) * ratio * along**2 * resistance
        up = half_mass * speed**2 * lift
        normal = (up + friction * sin_trim) / cos_trim
        centre = beam * ratio * centre_of_pressure(length_beam_ratio=ratio, speed_coefficient=froude)
        # the body's origin ahead of the keel's end and above the keel line
        cos_keel, sin_keel = xp.cos(hull.keel_angle), xp.sin(hull.keel_angle)
        ahead = -1.0 * hull.transom_x * cos_keel - hull.transom_z * sin_keel
        above = hull.transom_x * sin_keel - hull.transom_z * cos_keel
        moment = normal * (ahead - centre) + friction * (above - 0.25 * beam * xp.tan(deadrise))
        drag = normal * sin_trim + friction * cos_trim
        return up, drag, moment, friction, froude, lift, ratio, trim, keel, chine, centre

    up, drag, moment, friction, froude, lift, ratio, trim, keel, chine, centre = elementwise(
        forces, speed, pitch, ride_height
    )
    return PlaningForces(
        up=up,
        drag=drag,
        pitch=moment,
        friction=friction,
        speed_coefficient=froude,
        lift_coefficient=lift,
        length_beam_ratio=ratio,
        trim=trim,
        keel_length=keel,
        chine_length=chine,
        pressure_centre=centre,
    )


def outside_range(*, forces: PlaningForces, deadrise: Array) -> dict[str, Array]:
    """Where a state lies outside the range of the source, a mask (conditions,) for each of its quantities.

    Keys: speed_coefficient, trim, length_beam_ratio (above the limit or not positive), deadrise [rad], and
    chine_length, set where the chines are dry: the pressed breadth is then less than the beam, and lift and
    friction are overestimated. What is not a number counts as outside.
    """
    values = {
        name: without_derivatives(getattr(forces, name))
        for name in ("speed_coefficient", "trim", "length_beam_ratio", "chine_length")
    }
    ratio = values["length_beam_ratio"]
    inside = {
        "speed_coefficient": _within(values["speed_coefficient"], SPEED_COEFFICIENT_RANGE),
        "trim": _within(values["trim"], TRIM_RANGE),
        "length_beam_ratio": (ratio > 0.0) & (ratio <= LENGTH_BEAM_LIMIT),
        "deadrise": _within(deadrise + 0.0 * values["speed_coefficient"], (0.0, DEADRISE_LIMIT)),
        "chine_length": values["chine_length"] >= 0.0,
    }
    return {name: ~mask for name, mask in inside.items()}


def porpoising_trim(*, lift_coefficient: Array, deadrise: Array) -> Array:
    """Trim [rad] above which a prismatic bottom porpoises, from its lift coefficient (`PlaningForces`) and
    deadrise [rad]: 0.1197 beta^0.7651 exp(15.7132 sqrt(CL/2) beta^-0.2629), degrees in the formula.

    A curve through the limits measured by J. P. Day & R. J. Haag, Planing boat porpoising, Webb Institute of
    Naval Architecture, 1952, which Savitsky 1964 draws for 0, 10 and 20 deg; the formula after T. Celano, The
    prediction of porpoising inception for modern planing craft, US Naval Academy, 1998. Both from memory, the
    formula not checked against the drawn curves. Deadrise 10 to 20 deg and sqrt(CL/2) 0.10 to 0.35 (the ends
    from memory); NaN outside, because the formula fails at zero deadrise.
    """
    xp = array_namespace(lift_coefficient, deadrise)
    load = xp.sqrt(0.5 * _or_nan(lift_coefficient))
    limit = _porpoising_limit(load, _or_nan(deadrise) / _DEGREE)
    known = porpoising_known(lift_coefficient=lift_coefficient, deadrise=deadrise)
    return xp.where(known, limit, math.nan)


def porpoising_margin(*, trim: Array, lift_coefficient: Array, deadrise: Array) -> Array:
    """How far trim [rad] lies below the limit of `porpoising_trim` [rad], negative above it; finite and twice
    continuously differentiable everywhere.

    Inside the limit's range (`porpoising_known`) the limit less the trim. Outside it is the limit at the
    nearest end of the range: a number to steer by, not a limit. Deadrise carries no derivatives. At 8 deg
    deadrise the formula itself would give 0.2 to 0.4 deg less than the 10 deg which are used.
    """

    def margin(trim: Array, lift_coefficient: Array) -> tuple[Array, ...]:
        xp = array_namespace(trim, lift_coefficient)
        low, high = PORPOISING_LOAD_RANGE
        # bends just outside the range: the square below, the load itself above
        load = xp.sqrt(
            0.95 * low**2 + smooth_ramp(value=0.5 * lift_coefficient - 0.95 * low**2, width=0.05 * low**2)
        )
        load = high + _LOAD_WIDTH - smooth_ramp(value=high + _LOAD_WIDTH - load, width=_LOAD_WIDTH)
        degrees = np.clip(deadrise, *PORPOISING_DEADRISE_RANGE) / _DEGREE
        return (_porpoising_limit(load, degrees) - trim,)

    return elementwise(margin, trim, lift_coefficient)[0]


def porpoising_known(*, lift_coefficient: Array, deadrise: Array) -> Array:
    """Whether load and deadrise [rad] lie in the range of the limit of porpoising, a mask."""
    # as a square, which needs no root of a lift below zero
    half_lift = 0.5 * without_derivatives(lift_coefficient)
    low, high = PORPOISING_LOAD_RANGE
    return _within(half_lift, (low**2, high**2)) & _within(
        without_derivatives(deadrise), PORPOISING_DEADRISE_RANGE
    )


def may_porpoise(*, trim: Array, lift_coefficient: Array, deadrise: Array) -> Array:
    """Whether a trim [rad] is not shown to be free of porpoising: True at or above `porpoising_trim`, and
    also where that is not known.
    """
    limit = porpoising_trim(lift_coefficient=lift_coefficient, deadrise=deadrise)
    return ~(without_derivatives(trim) < without_derivatives(limit))


def _porpoising_limit(load: Array, deadrise_degrees: Array) -> Array:
    xp = array_namespace(load, deadrise_degrees)
    growth = 15.7132 * load * deadrise_degrees**-0.2629
    return _DEGREE * 0.1197 * deadrise_degrees**0.7651 * xp.exp(growth)


def _dynamic_lift(trim: Array, length_beam_ratio: Array) -> Array:
    return 0.0120 * _degrees(trim) ** 1.1 * _or_nan(length_beam_ratio) ** 0.5


def _degrees(trim: Array) -> Array:
    return _or_nan(trim) / _DEGREE


def _or_nan(value: Array) -> Array:
    """The value where it is positive, else NaN: what powers of it would be, without their warning."""
    return array_namespace(value).where(value > 0.0, value, math.nan)


def _within(value: Array, limits: tuple[float, float]) -> Array:
    # a limit reached from radians is not left by rounding
    rounding = 1e-12
    return (value >= limits[0] - rounding) & (value <= limits[1] + rounding)
