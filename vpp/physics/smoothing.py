"""Smooth stand-ins for kinked functions, equal to them outside a stated width."""

from __future__ import annotations

from vpp.physics.arrays import Array, array_namespace

# By how much `smooth_ramp` exceeds the kinked ramp at its kink, as a share of the width: its most.
RAMP_EXCESS = 5.0 / 32.0


def smooth_ramp(*, value: Array, width: Array) -> Array:
    """0 below `-width`, `value` above `width`, and a polynomial of sixth degree between: a rising ramp.

    Never below the kinked ramp, and above it by at most 5/32 of the width, at zero. width positive; all
    arguments broadcast. Three times continuously differentiable.
    """
    xp = array_namespace(value, width)
    t = 0.5 * (xp.minimum(xp.maximum(value / width, -1.0), 1.0) + 1.0)
    return 2.0 * width * t**4 * (2.5 + t * (t - 3.0)) + xp.maximum(value - width, 0.0)


def smooth_clamp(*, value: Array, low: Array, high: Array, width: Array) -> Array:
    """`value` between `low + width` and `high - width`, and a constant, `low` or `high`, further than `width`
    outside them.

    high exceeds low by twice the width or more. Three times continuously differentiable.
    """
    return low + smooth_ramp(value=value - low, width=width) - smooth_ramp(value=value - high, width=width)


def smooth_floor(*, value: Array, floor: Array, width: Array) -> Array:
    """`floor` below it, `value` from `floor + width` up, twice continuously differentiable and rising
    between.

    A polynomial of fifth degree joins the two.
    """
    xp = array_namespace(value, floor, width)
    x = (value - floor) / width
    t = xp.minimum(xp.maximum(x, 0.0), 1.0)
    return floor + width * (t**3 * (6.0 + t * (3.0 * t - 8.0)) + xp.maximum(x, 1.0) - 1.0)
