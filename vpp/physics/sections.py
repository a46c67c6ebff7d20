"""Lift and drag of a sail's section: thin aerofoil, drag bucket, stall and the stalled plate.

Incidence is the angle from the chord to the flow, positive towards lift to leeward; camber is the depth of a
parabolic arc over its chord, positive likewise. The ideal incidence of such an arc is zero: there the flow
meets the leading edge smoothly.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import cache
from typing import Any

import numpy as np

from vpp.physics.arrays import Array, array_namespace, with_slopes
from vpp.physics.sail_sections import camber_drag_factor, cambered_stall, is_nothing
from vpp.physics.smoothing import smooth_floor

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
    cos_s, sin_s = cos_sin(stall_incidence)
    a2 = (stall_lift - drag_maximum * sin_s * cos_s) * sin_s / (cos_s * cos_s)
    b2 = (stall_drag - drag_maximum * sin_s * sin_s) / cos_s
    plate_lift, plate_drag, left_lift, left_drag = with_slopes(_plate_terms, incidence)
    # what is left of the attached section fades out with the flow from behind, where the published terms grow
    # without bound
    fade = 1.0 / (1.0 + cos_s)
    return (
        drag_maximum * plate_lift + fade * a2 * left_lift,
        drag_maximum * plate_drag + fade * b2 * left_drag,
    )


def _plate_terms(incidence: Array) -> tuple[tuple[Array, ...], Callable[[], tuple[Any, ...]]]:
    """sin cos, sin^2, (1 + cos) cos^2 / sin and (1 + cos) cos of an incidence, for `with_slopes`."""
    cosine, sine = cos_sin(incidence)
    square, both = cosine * cosine, sine * cosine
    ahead = 1.0 - cosine  # (1 + cos) / sin is sin / (1 - cos), also where the flow comes from behind
    values = (both, sine * sine, square * sine / ahead, cosine + square)

    def slopes() -> tuple[Any, ...]:
        twice = 2.0 * square - 1.0
        cube = square * cosine / ahead
        return (
            (twice, -4.0 * both),
            (2.0 * both, 2.0 * twice),
            (
                -2.0 * cosine - 3.0 * square - cube,
                sine * (2.0 + 6.0 * cosine + (3.0 * square - 2.0 * square * cosine) / (ahead * ahead)),
            ),
            (-sine - 2.0 * both, -cosine - 2.0 * twice),
        )

    return values, slopes


def section_forces(
    *,
    incidence: Array,
    camber: Array,
    stall_incidence: Array,
    stall_width: Array,
    least_drag: Array,
    bucket_factor: Array,
    drag_maximum: Array,
    tail_ratio: Array = 0.0,
    camber_drag: Array = 0.0,
) -> tuple[Array, Array]:
    """Lift and drag coefficients of a section at any incidence between -pi and pi.

    `least_drag` is that without camber; `camber_drag` is what grows with `camber_drag_factor`, and the stall
    comes earlier by `cambered_stall`.

    Attached flow within `stall_incidence` of the ideal incidence, the stalled plate beyond, with a logistic
    hand-over of the given width [rad], which must be less than a fifth of the stall incidence. The plate's
    formula is never evaluated short of its own stall point.
    """
    stall_incidence, stall_width = cambered_stall(
        stall_incidence=stall_incidence, stall_width=stall_width, tail_ratio=tail_ratio, camber=camber
    )
    if not is_nothing(camber_drag):
        least_drag = least_drag + camber_drag * (camber_drag_factor(camber=camber) - 1.0)
    lift = attached_lift(incidence=incidence, camber=camber)
    drag = attached_drag(lift=lift, camber=camber, least_drag=least_drag, bucket_factor=bucket_factor)
    # the other side of a section is this one in a mirror
    sides = _sides(lift, drag, stall_incidence, drag_maximum)
    bent = sides * camber
    beyond, passed = _past(sides * incidence - stall_incidence, stall_width)
    stall_lift = attached_lift(incidence=stall_incidence, camber=bent)
    stall_drag = attached_drag(
        lift=stall_lift, camber=bent, least_drag=least_drag, bucket_factor=bucket_factor
    )
    plate_lift, plate_drag = stalled_plate(
        incidence=stall_incidence + beyond,
        stall_incidence=stall_incidence,
        stall_lift=stall_lift,
        stall_drag=stall_drag,
        drag_maximum=drag_maximum,
    )
    stalled_lift, stalled_drag = passed * plate_lift, passed * plate_drag
    share = 1.0 - passed[0] - passed[1]
    return (
        share * lift + stalled_lift[0] - stalled_lift[1],
        share * drag + stalled_drag[0] + stalled_drag[1],
    )


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
    sides = _sides(incidence, camber, stall_incidence)
    limits = _shedding_limits(sides, camber, stall_incidence)
    return shed_lift_within(incidence=incidence, camber=camber, limits=limits, stall_width=stall_width)


def shedding_limits(*, camber: Array, stall_incidence: Array) -> Array:
    """The incidence [rad], and the negative of that on the other side, up to which the shed lift is the
    attached one, see `shed_lift`: (2, ...).
    """
    return _shedding_limits(_sides(camber, stall_incidence), camber, stall_incidence)


def _shedding_limits(sides: Array, camber: Array, stall_incidence: Array) -> Array:
    return stall_incidence + smooth_floor(
        value=sides * zero_lift_incidence(camber=camber), floor=0.0, width=SHED_SIDE_WIDTH
    )


def shed_lift_within(
    *, incidence: Array, camber: Array, limits: Array, stall_width: Array
) -> tuple[Array, Array]:
    """`shed_lift` where its limits are known, as they are while the incidence alone is looked for."""
    excess, share = _past(_sides(incidence, limits[0]) * incidence - limits, stall_width)
    lift = attached_lift(incidence=incidence - excess[0] + excess[1], camber=camber)
    return lift, 2.0 * math.pi * (1.0 - share[0] - share[1])


def shed_share(*, incidence: Array, stall_incidence: Array) -> Array:
    """Share of the shed lift that remains when a section stands far beyond its stall in the undisturbed flow.

    1 up to about 20 deg beyond the stall, falling to nearly nothing for a sail square to the wind, which has
    a wake but no circulation. The wake of a sail between the two is not known well; the share only has to be
    smooth and to reach both ends. Common practice, no source.
    """
    xp = array_namespace(incidence)
    size = xp.sqrt(incidence * incidence + SHED_FADE_WIDTH * SHED_FADE_WIDTH)
    beyond, _ = _past(size - stall_incidence - SHED_FADE_START, SHED_FADE_WIDTH)
    return xp.exp(-((beyond / SHED_FADE_ANGLE) ** 2))


def cos_sin(angle: Array) -> tuple[Array, Array]:
    """Cosine and sine by the tangent of half the angle, which takes a fifth of the time."""
    t = array_namespace(angle).tan(0.5 * angle)
    square = t * t
    whole = 1.0 / (1.0 + square)
    return (1.0 - square) * whole, 2.0 * t * whole


def _sides(*values: Array) -> Array:
    """1 and -1 along an axis ahead of those of all values."""
    return _sides_ahead(max(getattr(value, "ndim", 0) for value in values))


@cache
def _sides_ahead(ndim: int) -> Array:
    return np.reshape([1.0, -1.0], (2, *(1,) * ndim))


def _past(x: Array, width: Array) -> tuple[Array, Array]:
    """How far and by what share a limit is passed when `x` lies beyond it, both rounded over `width`: max(x,
    0) as a softplus and its slope, the logistic step.
    """
    beyond, share = with_slopes(_softplus, x / width)
    return width * beyond, share


def _softplus(x: Array) -> tuple[tuple[Array, ...], Callable[[], tuple[Any, ...]]]:
    """Softplus and logistic step from one exponential that cannot overflow, for `with_slopes`."""
    xp = array_namespace(x)
    above = x >= 0.0
    size = xp.where(above, x, -x)  # not abs, whose derivative at zero is neither side's
    small = xp.exp(-size)
    whole = 1.0 + small
    step = xp.where(above, 1.0, small) / whole

    def slopes() -> tuple[Any, ...]:
        bend = small / (whole * whole)
        return (step, bend), (bend, bend * (1.0 - 2.0 * step))

    return (0.5 * (x + size) + xp.log(whole), step), slopes
