"""Lift and drag of a sail's section: thin aerofoil, drag bucket, stall and the stalled plate.

Incidence is the angle from the chord to the flow, positive towards lift to leeward; camber is the depth of a
parabolic arc over its chord, positive likewise. The ideal incidence of such an arc is zero: there the flow
meets the leading edge smoothly.
"""

from __future__ import annotations

import math

from vpp.physics.arrays import Array, array_namespace

# Where the circulation of a stalled section begins to fade, past the stall, over which angle, and how softly
# [rad]; see `shed_share`.
SHED_FADE_START = 0.45
SHED_FADE_ANGLE = 0.6
SHED_FADE_WIDTH = 0.1
# Zero-lift incidence [rad], that of 1 % camber, over which the limits of the shed lift change sides.
SHED_SIDE_WIDTH = 0.02


def zero_lift_incidence(*, camber: Array) -> Array:
    """Incidence without lift of a thin parabolic arc, -2 f/c [rad].

    Source: thin-aerofoil theory (Glauert 1926).
    """
    return -2.0 * camber


def design_lift(*, camber: Array) -> Array:
    """Lift coefficient at the ideal incidence of a thin parabolic arc, 4 pi f/c.

    Source: thin-aerofoil theory (Glauert 1926).
    """
    return 4.0 * math.pi * camber


def attached_lift(*, incidence: Array, camber: Array) -> Array:
    """Lift coefficient of a thin parabolic arc in attached flow, 2 pi (incidence + 2 f/c).

    Source: thin-aerofoil theory (Glauert 1926).
    """
    return 2.0 * math.pi * (incidence - zero_lift_incidence(camber=camber))


def attached_drag(*, lift: Array, camber: Array, least_drag: Array, bucket_factor: Array) -> Array:
    """Profile drag coefficient in attached flow: a bucket centred on the camber's design lift.

    `least_drag + bucket_factor * (lift - design lift)^2`. The parabola about the design lift is the usual
    form of section polars (Abbott, von Doenhoff & Stivers, NACA Report 824, 1945); both constants belong to
    the section and come from the boat file.
    """
    return least_drag + bucket_factor * (lift - design_lift(camber=camber)) ** 2


def plate_drag_maximum(*, aspect_ratio: Array) -> Array:
    """Drag coefficient of a plate broadside on, 1.11 + 0.018 AR, up to AR 50.

    Source: Viterna & Corrigan, NASA CP-2230, 1981 (from memory).
    """
    return 1.11 + 0.018 * aspect_ratio


def stalled_plate(
    *, incidence: Array, stall_incidence: Array, stall_lift: Array, stall_drag: Array, drag_maximum: Array
) -> tuple[Array, Array]:
    """Lift and drag coefficients beyond stall, joined to the values at the stall.

    `incidence` must lie between the stall and pi, on the same side of zero as `stall_incidence`. Source:
    Viterna & Corrigan, "Fixed pitch rotor performance of large horizontal axis wind turbines", NASA CP-2230,
    1981.
    """
    xp = array_namespace(incidence, stall_lift, stall_drag)
    sin_s, cos_s = xp.sin(stall_incidence), xp.cos(stall_incidence)
    a2 = (stall_lift - drag_maximum * sin_s * cos_s) * sin_s / (cos_s * cos_s)
    b2 = (stall_drag - drag_maximum * sin_s * sin_s) / cos_s
    sin_i, cos_i = xp.sin(incidence), xp.cos(incidence)
    # what is left of the attached section fades out with the flow from behind, where the published terms grow
    # without bound
    fade = (1.0 + cos_i) / (1.0 + cos_s)
    lift = drag_maximum * sin_i * cos_i + fade * a2 * cos_i * cos_i / sin_i
    drag = drag_maximum * sin_i * sin_i + fade * b2 * cos_i
    return lift, drag


def section_forces(
    *,
    incidence: Array,
    camber: Array,
    stall_incidence: Array,
    stall_width: Array,
    least_drag: Array,
    bucket_factor: Array,
    drag_maximum: Array,
) -> tuple[Array, Array]:
    """Lift and drag coefficients of a section at any incidence between -pi and pi.

    Attached flow within `stall_incidence` of the ideal incidence, the stalled plate beyond, with a logistic
    hand-over of the given width [rad], which must be less than a fifth of the stall incidence. The plate's
    formula is never evaluated short of its own stall point.
    """
    beyond_up = _soft_excess(incidence - stall_incidence, stall_width)
    beyond_down = _soft_excess(-incidence - stall_incidence, stall_width)
    share_up = _logistic((incidence - stall_incidence) / stall_width)
    share_down = _logistic((-incidence - stall_incidence) / stall_width)

    lift = attached_lift(incidence=incidence, camber=camber)
    drag = attached_drag(lift=lift, camber=camber, least_drag=least_drag, bucket_factor=bucket_factor)
    total_lift = (1.0 - share_up - share_down) * lift
    total_drag = (1.0 - share_up - share_down) * drag
    for side, beyond, share in ((1.0, beyond_up, share_up), (-1.0, beyond_down, share_down)):
        stall = side * stall_incidence
        stall_lift = attached_lift(incidence=stall, camber=camber)
        stall_drag = attached_drag(
            lift=stall_lift, camber=camber, least_drag=least_drag, bucket_factor=bucket_factor
        )
        plate_lift, plate_drag = stalled_plate(
            incidence=side * (stall_incidence + beyond),
            stall_incidence=stall,
            stall_lift=stall_lift,
            stall_drag=stall_drag,
            drag_maximum=drag_maximum,
        )
        total_lift = total_lift + share * plate_lift
        total_drag = total_drag + share * plate_drag
    return total_lift, total_drag


def shed_lift(
    *, incidence: Array, camber: Array, stall_incidence: Array, stall_width: Array
) -> tuple[Array, Array]:
    """Lift coefficient that leaves a trailing wake, and its slope against incidence [1/rad].

    Attached lift from the stall on the side of the belly to as much incidence beyond zero lift on the other
    (mirrored where the camber is negative); level beyond, rather than falling with the stalled lift. A
    lifting line fed with a falling lift has several solutions (a known property of the method, see Anderson,
    Corda & Van Wie, Journal of Aircraft 17(12), 1980), one that cannot unload a tip has none, and the plate's
    coefficients are those of a finite span already.
    """
    zero_lift = zero_lift_incidence(camber=camber)
    highest = stall_incidence + _rise(zero_lift, SHED_SIDE_WIDTH)
    lowest = -stall_incidence - _rise(-zero_lift, SHED_SIDE_WIDTH)
    excess_up = _soft_excess(incidence - highest, stall_width)
    excess_down = _soft_excess(lowest - incidence, stall_width)
    share_up = _logistic((incidence - highest) / stall_width)
    share_down = _logistic((lowest - incidence) / stall_width)
    lift = attached_lift(incidence=incidence - excess_up + excess_down, camber=camber)
    return lift, 2.0 * math.pi * (1.0 - share_up - share_down)


def shed_share(*, incidence: Array, stall_incidence: Array) -> Array:
    """Share of the shed lift that remains when a section stands far beyond its stall in the undisturbed flow.

    1 up to about 20 deg beyond the stall, falling to nearly nothing for a sail square to the wind, which has
    a wake but no circulation. The wake of a sail between the two is not known well; the share only has to be
    smooth and to reach both ends. Common practice, no source.
    """
    xp = array_namespace(incidence)
    size = xp.sqrt(incidence * incidence + SHED_FADE_WIDTH * SHED_FADE_WIDTH)
    beyond = _soft_excess(size - stall_incidence - SHED_FADE_START, SHED_FADE_WIDTH)
    return xp.exp(-((beyond / SHED_FADE_ANGLE) ** 2))


def _logistic(x: Array) -> Array:
    xp = array_namespace(x)
    return 0.5 * (1.0 + xp.tanh(0.5 * x))


def _rise(x: Array, width: Array) -> Array:
    """Zero up to zero, x itself from `width` up, by a polynomial of fifth degree in between."""
    xp = array_namespace(x)
    t = xp.minimum(xp.maximum(x / width, 0.0), 1.0)
    return xp.where(x >= width, x, width * t**3 * (6.0 + t * (3.0 * t - 8.0)))


def _soft_excess(x: Array, width: Array) -> Array:
    """max(x, 0) rounded over `width`: softplus, written so that neither side overflows."""
    xp = array_namespace(x)
    scaled = x / width
    size = xp.where(scaled >= 0.0, scaled, -scaled)  # not abs, whose derivative at zero is neither side's
    return width * (0.5 * (scaled + size) + xp.log(1.0 + xp.exp(-size)))
