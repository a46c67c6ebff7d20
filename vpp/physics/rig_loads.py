"""Loads of sheet, traveller, leech, stay and turning mast that follow from the forces on a sail's strips.

Estimates by statics, not for sizing gear. Every strip of cloth hangs between luff and leech; the leech
carries its share to clew and head; the sheet holds the clew, or the boom, against both. x is forward, y to
leeward, z up the mast; normal forces are to leeward across the chord, chordwise ones aft along it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from vpp.physics.arrays import Array, array_namespace
from vpp.physics.sections import attached_lift

# Twist [rad] below which the leech is too straight for its tension to be told from its shape.
LEAST_TWIST = math.radians(1.0)
# Depth over chord below which the tension across the cloth cannot be told from its sag.
LEAST_CAMBER = 0.01
# Sheet load over sail area and apparent wind speed squared [N s^2/m^4]: 0.00431 lb for each square foot and
# knot squared. Common practice, no source, from memory.
RULE_OF_THUMB = 0.00431 * 4.4482216 / 0.3048**2 / (1852.0 / 3600.0) ** 2
# Lift coefficient from which a lift is compared with that of attached flow.
_COMPARED_LIFT = 0.05
_TERMS = 400


# --- along the chord ----------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class ChordwiseLoad:
    """How the load of a thin section lies along its chord.

    `first` and `second` are Glauert's coefficients of a unit of skin camber and of one of the nose's slope.
    `nose_force` and `nose_moment` are what lies ahead of the hinge at `hinge_share`, and its moment about the
    leading edge, over dynamic pressure times chord and its square: of a unit of incidence beyond the ideal
    one, of skin camber and of the nose's slope.
    """

    hinge_share: float
    first: tuple[float, float]
    second: tuple[float, float]
    nose_force: tuple[float, float, float]
    nose_moment: tuple[float, float, float]


def chordwise_load(*, hinge_share: float, draft_share: float) -> ChordwiseLoad:
    """The load of the mean line of `sail_sections.mean_line`, whose arguments these are.

    H. Glauert, The Elements of Aerofoil and Airscrew Theory, 1926, chapter VII: with x/c = (1 - cos t)/2 the
    pressure difference over dynamic pressure is 4 (A0 (1 + cos t)/sin t + sum An sin nt), A0 the incidence
    beyond the ideal one. The series is cut after 400 terms: to 1e-5 of the nose's force at a corner. Small
    angles.
    """
    h, p = hinge_share, draft_share
    t_h, t_p = (math.acos(1.0 - 2.0 * x) for x in (h, p))
    n = np.arange(1, _TERMS + 1)

    def falling(t: float) -> Array:
        """Integral of (p - x) cos nt from the leading edge."""
        return (p - 0.5) * _sine(n, t) + 0.25 * (_sine(n - 1, t) + _sine(n + 1, t))

    fore = (falling(t_p) - falling(t_h)) * 2.0 / (p - h) ** 2
    aft = (falling(math.pi) - falling(t_p)) * 2.0 / (1.0 - p) ** 2
    by_camber = 2.0 / math.pi * (fore + aft)
    by_slope = 2.0 / math.pi * _sine(n, t_h) / (1.0 - h)
    force = _sine(n - 1, t_h) - _sine(n + 1, t_h)
    moment = 0.5 * force - 0.25 * (_sine(n - 2, t_h) - _sine(n + 2, t_h))
    return ChordwiseLoad(
        hinge_share=h,
        first=(float(by_camber[0]), float(by_slope[0])),
        second=(float(by_camber[1]), float(by_slope[1])),
        nose_force=(
            2.0 * (t_h + math.sin(t_h)),
            float(force @ by_camber),
            float(force @ by_slope),
        ),
        nose_moment=(
            0.5 * t_h - 0.25 * math.sin(2.0 * t_h),
            float(moment @ by_camber),
            float(moment @ by_slope),
        ),
    )


def _sine(order: Array, t: float) -> Array:
    """Integral of cos(order t) from 0."""
    safe = np.where(order == 0, 1, order)
    return np.where(order == 0, t, np.sin(safe * t) / safe)


def force_across_chord(*, forward: Array, leeward: Array, chord_angle: Array) -> Array:
    """Force [N] to leeward across a chord at an angle [rad] from the centreline, of a force forward and to
    leeward; broadcast. Exact.
    """
    xp = array_namespace(forward, leeward, chord_angle)
    return forward * xp.sin(chord_angle) + leeward * xp.cos(chord_angle)


def plate_centre(*, incidence: Array) -> Array:
    """Centre of pressure of a stalled plate from its leading edge, over its chord.

    1/2 - 3/4 cos a/(4 + pi sin a) for an incidence a [rad] from 0 to pi/2 either way. Lord Rayleigh, On the
    resistance of fluids, Philosophical Magazine 2, 1876 (from memory): free streamlines.
    """
    xp = array_namespace(incidence)
    sine = xp.sin(incidence)
    size = xp.sqrt(sine * sine)
    return 0.5 - 0.75 * xp.cos(incidence) / (4.0 + math.pi * size)


@dataclass(frozen=True, kw_only=True)
class StripLoads:
    """What hangs on the edges of strips of cloth [N], arrays (strips, conditions).

    `leech` and `luff` (the hinge where a mast turns) carry the normal force between them; `tension` pulls
    each along the chord towards the other. `centre_share` is the centre of pressure from the luff over the
    chord. `nose_force` [N] and `nose_moment` [N m] about the leading edge are those on a turning mast alone,
    0 without one.
    """

    normal: Array
    centre_share: Array
    leech: Array
    luff: Array
    tension: Array
    nose_force: Array
    nose_moment: Array


def strip_loads(
    *,
    normal: Array,
    pressure_force: Array,
    chord: Array,
    camber: Array,
    nose_slope: Array,
    incidence: Array,
    chord_incidence: Array,
    lift_coefficient: Array,
    load: ChordwiseLoad,
) -> StripLoads:
    """How the normal force of each strip is carried to its two edges; (strips, conditions) each.

    normal: force across the chord [N], to leeward; pressure_force: dynamic pressure times chord times width
    [N]; camber: depth of the skins over the whole chord; nose_slope: tangent of a turning mast's angle from
    the chord; incidence beyond the ideal one [rad] and from the chord [rad]; lift_coefficient as solved.

    The centre of pressure is that of thin-aerofoil theory (see `chordwise_load`) for the share of the lift
    that the section has of attached lift, and that of a stalled plate for the rest: a choice, no source.
    Cloth between its edges is a parabolic cable under even load, with the tension N L/(8 d) of span L and
    depth d (textbooks of statics): where battens carry bending it is less, and a negative one cannot be in
    cloth.
    Meant for camber above LEAST_CAMBER.
    """
    xp = array_namespace(normal, camber, incidence, lift_coefficient)
    first = load.first[0] * camber + load.first[1] * nose_slope
    second = load.second[0] * camber + load.second[1] * nose_slope
    attached = _attached_share(incidence, 0.25 * first, lift_coefficient)
    quarter = 0.25 * normal + pressure_force * 0.25 * math.pi * (first - second)
    plate = plate_centre(incidence=chord_incidence)
    moment = chord * (attached * quarter + (1.0 - attached) * normal * plate)
    # what of the normal force theory puts down to incidence, so that force and moment are of one load
    angle = normal / (2.0 * math.pi * pressure_force) - 0.5 * first
    parts = (angle, camber, nose_slope)
    nose = pressure_force * sum(c * part for c, part in zip(load.nose_force, parts, strict=True))
    turn = pressure_force * sum(c * part for c, part in zip(load.nose_moment, parts, strict=True))
    h, bend = load.hinge_share, 12.0 * (plate - 0.5)
    nose_force = attached * nose + (1.0 - attached) * normal * (h + bend * 0.5 * h * (h - 1.0))
    even = 0.5 * h * h + bend * (h**3 / 3.0 - 0.25 * h * h)
    nose_moment = chord * (attached * turn + (1.0 - attached) * normal * even)
    aft = normal - nose_force
    leech = (moment - nose_moment - aft * h * chord) / ((1.0 - h) * chord)
    return StripLoads(
        normal=normal,
        centre_share=moment / (xp.where(normal == 0.0, math.nan, normal) * chord),
        leech=leech,
        luff=aft - leech,
        tension=aft * (1.0 - h) / (8.0 * camber),
        nose_force=nose_force,
        nose_moment=nose_moment,
    )


def _attached_share(incidence: Array, arc_camber: Array, lift_coefficient: Array) -> Array:
    """Solved lift over attached lift, from 0 to 1; 1 where hardly any lift is there to compare."""
    xp = array_namespace(incidence, arc_camber, lift_coefficient)
    lift = attached_lift(incidence=incidence, camber=arc_camber)
    is_small = lift * lift < _COMPARED_LIFT**2
    share = xp.where(is_small, 1.0, lift_coefficient / xp.where(is_small, 1.0, lift))
    return xp.minimum(xp.maximum(share, 0.0), 1.0)


# --- along luff and leech -----------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class LeechLoad:
    """What the leech of a sail carries, (conditions,) each.

    `luff_moment` [N m] of the leech's loads about the luff swings the clew to leeward, `twist_moment` [N m]
    opens the twist. `tension_alone` [N] is what the leech would have if it alone held the twist, not a number
    where that is below LEAST_TWIST.
    """

    luff_moment: Array
    twist_moment: Array
    tension_alone: Array


def leech_load(
    *,
    leech: Array,
    chord: Array,
    chord_slope: Array,
    width: Array,
    share: Array,
    luff_height: float,
    luff_rake: float,
    twist: Array,
) -> LeechLoad:
    """Moments of the leech's loads, and its tension if nothing else held the twist.

    leech: normal force that each strip hangs on the leech [N], foot to head as all of (strips, conditions);
    chord [m] and its change for each metre of height; width of the strips along the mast [m]; share of the
    height from foot to head; luff_height from foot to head [m]; luff_rake [rad]; twist [rad] (conditions,),
    even over the height. The moments are exact statics for a straight luff and level chords.

    The tension is by virtual work: as the twist opens the leech's loads do the work `twist_moment`, while the
    leech, which cannot stretch, needs more length between clew and head. For small twist this is the cable
    with the sag of the leech out of the plane of clew and luff (H = w L^2/(8 d) where both are parabolic,
    textbooks of statics). Cloth with camber and battens hold twist as well: an upper bound, which grows with
    the inverse of the twist.
    """
    xp = array_namespace(leech, twist)
    cosine, sine = math.cos(luff_rake), math.sin(luff_rake)
    arm = leech * chord * cosine
    turning = twist / luff_height
    along = (1.0 / cosine + chord_slope * sine) ** 2 + (chord_slope * cosine) ** 2
    length = (along + (chord * cosine * turning) ** 2) ** 0.5
    growth = xp.sum((chord * cosine) ** 2 * turning / luff_height / length * width, axis=0)
    twist_moment = xp.sum(arm * share, axis=0)
    shows = twist >= LEAST_TWIST
    return LeechLoad(
        luff_moment=xp.sum(arm, axis=0),
        twist_moment=twist_moment,
        tension_alone=xp.where(shows, twist_moment / xp.where(shows, growth, 1.0), math.nan),
    )


@dataclass(frozen=True, kw_only=True)
class ClewPull:
    """Pull of the cloth on its clew [N], (conditions,) each: forward, to leeward and up in the boat's axes;
    and `across`, its part square to the plane of clew and luff, to leeward.
    """

    forward: Array
    leeward: Array
    up: Array
    across: Array


def clew_pull(
    *,
    luff_moment: Array,
    foot_angle: Array,
    foot_chord: float,
    luff_rake: float,
    foot_exit: Array,
    leech_exit: Array,
    leech_lean: float,
    rise: Array,
) -> ClewPull:
    """Pull of the cloth on its clew, (conditions,) or numbers.

    luff_moment [N m] as in `LeechLoad`; foot_angle of the foot's chord [rad]; foot_chord [m]; luff_rake
    [rad]; foot_exit, leech_exit: slopes to leeward with which foot and leech leave the clew, from the plane
    of clew and luff; leech_lean: how far aft the leech goes there for each metre up; rise: angle [rad] from
    the foot of the line in that plane along which the cloth pulls. Not a number where the cloth would have
    to push.

    The part across the plane holds the sail about its straight luff: exact statics. At a corner the tension
    of a membrane lies in its surface, so that what it presses across the plane is its pull in the plane times
    the surface's slope along it (statics of membranes). Which line it pulls along is a choice of trim.
    """
    xp = array_namespace(luff_moment, foot_angle, foot_exit, leech_exit, rise)
    cos_f, sin_f = xp.cos(foot_angle), xp.sin(foot_angle)
    cos_l, sin_l = math.cos(luff_rake), math.sin(luff_rake)
    spread = (cos_l * cos_l + (sin_l * sin_f) ** 2) ** 0.5
    across = luff_moment / (foot_chord * spread)
    slope = xp.cos(rise) * foot_exit + xp.sin(rise) * (leech_exit + leech_lean * foot_exit)
    pulls = slope * across > 0.0
    pull = xp.where(pulls, across / xp.where(pulls, slope, 1.0), math.nan)
    ahead, upward = pull * xp.cos(rise), pull * xp.sin(rise) / spread
    side = across / spread
    return ClewPull(
        forward=ahead * cos_f - upward * sin_l * sin_f * sin_f + side * cos_l * sin_f,
        leeward=-ahead * sin_f - upward * sin_l * sin_f * cos_f + side * cos_l * cos_f,
        up=upward * cos_l + side * sin_l * sin_f,
        across=across,
    )


def stay_tension(
    *,
    luff: Array,
    tension: Array,
    chord_angle: Array,
    share: Array,
    sag_share: float,
) -> Array:
    """Tension [N] of a stay from what a sail hangs on it, (conditions,).

    luff and tension: what each strip pulls across its chord and along it [N], (strips, conditions);
    chord_angle [rad]; share of the height from foot to head; sag_share: sag over the length of the luff.

    A cable with a parabolic sag, by virtual work over it: w L^2/(8 d) of an even load (textbooks of
    statics). The length beyond the sail, halyard and the leech's pull at the head are left out.
    """
    xp = array_namespace(luff, tension, chord_angle)
    parabola = 4.0 * share * (1.0 - share)
    cos_c, sin_c = xp.cos(chord_angle), xp.sin(chord_angle)
    forward = xp.sum((luff * sin_c - tension * cos_c) * parabola, axis=0)
    leeward = xp.sum((luff * cos_c + tension * sin_c) * parabola, axis=0)
    return (forward * forward + leeward * leeward) ** 0.5 * 3.0 / (16.0 * sag_share)


def mast_moment(
    *, loads: StripLoads, chord: Array, nose_angle: Array, hinge_share: float, pivot_share: float
) -> Array:
    """Moment [N m] by which the wind turns a mast about its axis, (conditions,).

    Positive towards more camber.

    loads and chord (strips, conditions); nose_angle of the mast from the chord [rad]; pivot_share: the axis
    from the leading edge over the mast's own section. Wind on the mast, the pull of the skins across their
    chord at the hinge, and the tension along it, which turns the mast back. Statics; a choice that the mast
    does not feel boom, halyard and spreaders.
    """
    xp = array_namespace(loads.normal, nose_angle)
    nose = hinge_share * chord
    axis = pivot_share * nose
    # the skins' chord falls back from the hinge
    corner = nose_angle + xp.arctan2(
        hinge_share * xp.sin(nose_angle), (1.0 - hinge_share) * xp.cos(nose_angle)
    )
    wind = loads.nose_moment - loads.nose_force * axis
    skins = (nose - axis) * (loads.luff * xp.cos(nose_angle) - loads.tension * xp.sin(corner))
    return xp.sum(wind + skins, axis=0)


# --- sheet --------------------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class SheetLoad:
    """What a sheet pulls, (conditions,) each, in the boat's axes.

    `tension` [N] is that of the sheet, from its attachment to a block or lead at `block_x` and `block_y` [m]
    and `length` [m] away, which it pulls to leeward with `on_block` [N]. `left_to_vang` [N m] is the moment
    about the luff's lower end that the sheet of a boom leaves to a vang: 0 where the block is between the
    ends of its track, negative where the sheet pulls down harder than the leech asks. Not a number where no
    pull of the sheet can hold the sail.
    """

    tension: Array
    on_block: Array
    attachment_x: Array
    attachment_y: Array
    block_x: Array
    block_y: Array
    length: Array
    left_to_vang: Array


def clew_sheet(
    *, pull: ClewPull, foot_angle: Array, foot_chord: float, tack_x: float, drop: float
) -> SheetLoad:
    """The sheet of a clew that is free: it pulls against the cloth, down to a lead `drop` [m] below the clew.

    foot_angle of the foot's chord [rad], (conditions,); foot_chord, tack_x [m]. Exact statics. Not a number
    where the cloth does not pull up.
    """
    xp = array_namespace(pull.up, foot_angle)
    holds = pull.up > 0.0
    scale = xp.where(holds, drop / xp.where(holds, pull.up, 1.0), math.nan)
    tension = (pull.forward**2 + pull.leeward**2 + pull.up**2) ** 0.5 + 0.0 * scale
    attachment_x = tack_x - foot_chord * xp.cos(foot_angle)
    attachment_y = foot_chord * xp.sin(foot_angle)
    return SheetLoad(
        tension=tension,
        on_block=pull.leeward + 0.0 * scale,
        attachment_x=attachment_x,
        attachment_y=attachment_y,
        block_x=attachment_x - pull.forward * scale,
        block_y=attachment_y - pull.leeward * scale,
        length=tension * scale,
        left_to_vang=0.0 * scale,
    )


def boom_sheet(
    *,
    luff_moment: Array,
    lift_at_clew: Array,
    foot_angle: Array,
    foot_chord: float,
    point: float,
    tack_x: float,
    luff_rake: float,
    block_x: float,
    drop: float,
    track_min: float,
    track_max: float,
) -> SheetLoad:
    """The sheet of a boom: its block where one pull holds the sail about its luff and the leech down.

    Beyond an end of the track the sheet holds the sail about its luff, and the rest is `left_to_vang`.
    luff_moment [N m] as in `LeechLoad`, lift_at_clew [N], foot_angle of the boom [rad], (conditions,);
    foot_chord [m]; point: attachment from the luff [m]; tack_x, block_x [m]; drop: the block below the boom
    [m]; luff_rake [rad]; track_min, track_max: the block from the centreline, to leeward [m]. Exact statics
    of a boom on a straight luff; its weight and friction are left out. Continuous, with a corner where the
    block comes to an end of its track.
    """
    xp = array_namespace(luff_moment, lift_at_clew, foot_angle)
    cos_f, sin_f = xp.cos(foot_angle), xp.sin(foot_angle)
    attachment_x, attachment_y = tack_x - point * cos_f, point * sin_f
    across = luff_moment / (point * math.cos(luff_rake))
    needed = lift_at_clew * foot_chord / point
    lengthwise = block_x - attachment_x
    lean = math.tan(luff_rake) * sin_f * drop
    wanted = attachment_y + (lean - across / needed * drop - lengthwise * sin_f) / cos_f
    block_y = xp.minimum(xp.maximum(wanted, track_min), track_max)
    sideways = block_y - attachment_y
    # pull across luff and boom, of a sheet whose tension is its length
    held = lean - cos_f * sideways - sin_f * lengthwise
    holds = held * across > 0.0
    scale = xp.where(holds, across / xp.where(holds, held, 1.0), math.nan)
    length = (lengthwise**2 + sideways**2 + drop**2) ** 0.5
    return SheetLoad(
        tension=scale * length,
        on_block=-scale * sideways,
        attachment_x=attachment_x,
        attachment_y=attachment_y,
        block_x=block_x + 0.0 * attachment_x,
        block_y=block_y,
        length=length,
        left_to_vang=(needed - scale * drop) * point,
    )


def rule_of_thumb_sheet_load(*, area: Array, apparent_wind_speed: Array, leverage: Array = 1.0) -> Array:
    """Sheet load [N] by the trade's rule: RULE_OF_THUMB times area [m^2] times apparent wind speed [m/s]
    squared, times `leverage`. Common practice, no source, from memory.
    """
    return RULE_OF_THUMB * area * apparent_wind_speed**2 * leverage


# --- work ---------------------------------------------------------------------------------------------------


def trim_work(*, load: Array, position: Array) -> tuple[Array, Array]:
    """Work [J] put in to move a control from the first of several places to the last, and back.

    load: how hard it is pulled the way in which `position` grows, (points, ...), N or N m; position in m or
    rad. Trapezoids between points. Stretches that go with the load give nothing back: what they would give is
    what the way back costs.
    """
    xp = array_namespace(load, position)
    steps = 0.5 * (load[1:] + load[:-1]) * (position[:-1] - position[1:])
    return xp.sum(xp.maximum(steps, 0.0), axis=0), xp.sum(xp.maximum(-steps, 0.0), axis=0)
