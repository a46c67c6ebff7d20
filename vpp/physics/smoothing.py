"""Smooth stand-ins for kinked functions, equal to them outside a stated width."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from vpp.physics.arrays import Array, array_namespace, with_slopes

# By how much `smooth_ramp` exceeds the kinked ramp at its kink, as a share of the width: its most.
RAMP_EXCESS = 5.0 / 32.0


def smooth_ramp(*, value: Array, width: Array) -> Array:
    """0 below `-width`, `value` above `width`, and a polynomial of sixth degree between: a rising ramp.

    Never below the kinked ramp, and above it by at most 5/32 of the width, at zero. width positive; all
    arguments broadcast. Three times continuously differentiable.
    """
    return width * with_slopes(_unit_ramp, value / width)[0]


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
    return floor + width * with_slopes(_unit_floor, (value - floor) / width)[0]


def _unit_ramp(x: Array) -> tuple[tuple[Array, ...], Callable[[], tuple[Any, ...]]]:
    """`smooth_ramp` of width 1, for `with_slopes`."""
    xp = array_namespace(x)
    t = 0.5 * (xp.minimum(xp.maximum(x, -1.0), 1.0) + 1.0)
    cube = t * t * t

    def slopes() -> tuple[Any, ...]:
        rest = t * (1.0 - t)
        return ((cube * (10.0 + t * (6.0 * t - 15.0)), 15.0 * rest * rest),)

    return (xp.where(x >= 1.0, x, cube * t * (5.0 + t * (2.0 * t - 6.0))),), slopes


def _unit_floor(x: Array) -> tuple[tuple[Array, ...], Callable[[], tuple[Any, ...]]]:
    """`smooth_floor` over 0 of width 1, for `with_slopes`."""
    xp = array_namespace(x)
    t = xp.minimum(xp.maximum(x, 0.0), 1.0)
    square = t * t

    def slopes() -> tuple[Any, ...]:
        return ((square * (18.0 + t * (15.0 * t - 32.0)), t * (36.0 + t * (60.0 * t - 96.0))),)

    return (xp.where(x >= 1.0, x, square * t * (6.0 + t * (3.0 * t - 8.0))),), slopes
