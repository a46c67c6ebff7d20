"""Forces of a sail that is given by a table of lift and drag coefficients over the apparent wind angle."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray

from vpp.physics.arrays import Array, array_namespace, elementwise, without_derivatives
from vpp.physics.interpolation import uneven_cubic, uneven_cubic_coefficients
from vpp.physics.sails import Wind, from_wind_axes, wind_at

# Angle [rad] over which a curve bends to a constant outside its rows, for the search alone: a result there is
# refused. Wide enough for the search to find its way back, narrow enough that the end pieces stay tame.
EDGE = math.radians(5.0)
# Least drag coefficient that a table may leave beside its induced drag: skin friction on both sides of a sail
# at Reynolds number 2e7, 2 x 0.075 / (log10 Re - 2)^2 (ITTC 1957).
LEAST_PARASITE_DRAG = 0.005


@dataclass(frozen=True, kw_only=True)
class TableCurves:
    """Coefficients of one sail over the apparent wind angle.

    `angle` [rad] (rows,) or (rows, conditions); `lift` and `drag` (4, rows - 1) or (4, rows - 1, conditions)
    are the pieces of `uneven_cubic`.
    """

    angle: Array
    lift: Array
    drag: Array


@dataclass(frozen=True, kw_only=True)
class TableSailArrays:
    """A sail from a table, of every boat: (boats,) each beside the curves.

    Area [m^2], effective span [m], and where the force acts: height along the mast and position forward of
    the reference point [m].
    """

    curves: TableCurves
    area: Array
    span: Array
    centre_height: Array
    centre_x: Array


@dataclass(frozen=True, kw_only=True)
class TableSailForce:
    """What the sail does, (conditions,): force forward along the centreline and to leeward normal to the mast
    [N].

    The apparent wind it stands in, speed [m/s] and angle [rad], outside the table where the force is not to
    be used, and lift coefficient at the sail's power: there to be looked at, without derivatives.
    """

    forward: Array
    leeward: Array
    wind_speed: Array
    wind_angle: Array
    lift_coefficient: Array


def table_curves(*, angle: ArrayLike, lift: ArrayLike, drag: ArrayLike) -> TableCurves:
    """The curves through the rows of a table: cubic splines, exact at every row.

    Apparent wind angle [rad], rising; lift and drag coefficients; (rows,) each, at least four. Plain numbers
    only. Raises ValueError as `uneven_cubic_coefficients` does.
    """
    return TableCurves(
        angle=np.asarray(angle, dtype=np.float64),
        lift=uneven_cubic_coefficients(knots=angle, values=lift),
        drag=uneven_cubic_coefficients(knots=angle, values=drag),
    )


def induced_drag_factor(*, area: Array, span: Array) -> Array:
    """Induced drag coefficient over the square of the lift coefficient [-]: 1 / (pi AR), AR = span^2 / area.

    Exact for an elliptic load in the plane of its wake on a span that counts its images (L. Prandtl,
    Tragflügeltheorie, 1918); `span` is that effective one.
    """
    return area / (math.pi * span**2)


def coefficients_at(
    *, curves: TableCurves, angle: Array, power: Array, induced: Array
) -> tuple[Array, Array]:
    """Lift and drag coefficient at an apparent wind angle [rad] and a power from 0 to 1.

    Lift goes with the power. Drag is that of the table less the induced drag of full power, which stays, and
    the induced drag, which goes with the square of the lift: C_D = C_D,table - k C_L,table^2 + k (p
    C_L,table)^2, k from `induced_drag_factor`. Beyond the first and last row the angle is held back smoothly
    (`held_within`).

    Source: Prandtl's split of drag, as above; that easing a sail leaves the rest of its drag alone is common
    practice, no source.
    """
    held = held_within(angle=angle, first=curves.angle[0], last=curves.angle[-1])
    lift = uneven_cubic(x=held, knots=curves.angle, coefficients=curves.lift)
    drag = uneven_cubic(x=held, knots=curves.angle, coefficients=curves.drag)
    return power * lift, drag - (1.0 - power**2) * induced * lift**2


def held_within(*, angle: Array, first: Array, last: Array) -> Array:
    """The angle itself from `first` to `last`; outside, one that goes no farther than `EDGE` beyond.

    By d beyond an end it is that end and EDGE tanh(d / EDGE): value, slope and curvature are continuous.
    """
    xp = array_namespace(angle)
    below = first + EDGE * xp.tanh((angle - first) / EDGE)
    above = last + EDGE * xp.tanh((angle - last) / EDGE)
    return xp.where(angle < first, below, xp.where(angle > last, above, angle))


def is_outside(*, curves: TableCurves, angle: Array) -> Array:
    """Whether an apparent wind angle [rad] lies outside the rows, where nothing is known of the sail."""
    return (angle < curves.angle[0]) | (angle > curves.angle[-1])


def parasite_drag(*, curves: TableCurves, angle: Array, area: Array, span: Array) -> Array:
    """Drag coefficient that the table leaves beside the induced drag of its lift, at apparent wind angles
    [rad] inside the rows.
    """
    lift, drag = coefficients_at(curves=curves, angle=angle, power=1.0, induced=0.0)
    return drag - induced_drag_factor(area=area, span=span) * lift**2


def table_sail_force(
    *, sail: TableSailArrays, power: Array, wind: Wind, boat_speed: Array, leeway: Array, heel: Array
) -> TableSailForce:
    """Force of a sail from its table, in the apparent wind at its centre of effort, normal to the mast.

    `power` from 0 to 1. The wind is that which the heeled sail meets, as for strips. Its angle counts from
    the middle of the table, so that it is continuous everywhere but opposite to it: through dead astern, too.
    """
    ahead, to_leeward = wind_at(
        height=sail.centre_height, wind=wind, boat_speed=boat_speed, leeway=leeway, heel=heel
    )
    induced = induced_drag_factor(area=sail.area, span=sail.span)
    middle = 0.5 * (sail.curves.angle[0] + sail.curves.angle[-1])
    xp = array_namespace(middle)
    cos_m, sin_m = xp.cos(middle), xp.sin(middle)

    def force(ahead: Array, to_leeward: Array, power: Array) -> tuple[Array, ...]:
        xp = array_namespace(ahead, to_leeward, power)
        angle = middle + xp.arctan2(to_leeward * cos_m - ahead * sin_m, ahead * cos_m + to_leeward * sin_m)
        lift, drag = coefficients_at(curves=sail.curves, angle=angle, power=power, induced=induced)
        pressed = ahead**2 + to_leeward**2
        scale = 0.5 * wind.air_density * sail.area * pressed
        forward, leeward = from_wind_axes(along=scale * drag, across=scale * lift, wind_angle=angle)
        shown = (without_derivatives(value) for value in (pressed**0.5, angle, lift))
        return forward, leeward, *shown

    forward, leeward, speed, angle, lift = elementwise(force, ahead, to_leeward, power)
    return TableSailForce(
        forward=forward, leeward=leeward, wind_speed=speed, wind_angle=angle, lift_coefficient=lift
    )


def swing(*, curves: TableCurves, samples: int = 20) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """By how much the curves leave the span between two neighbouring rows, (rows - 1,) each for lift and
    drag; plain numbers only.

    Zero where a curve stays between its rows. A summit between two rows of equal height counts too.
    """
    share = np.linspace(0.0, 1.0, samples + 1)
    found = []
    angle = curves.angle
    for pieces in (curves.lift, curves.drag):
        between = [
            uneven_cubic(x=low + share * (high - low), knots=angle, coefficients=pieces)
            for low, high in pairwise(angle)
        ]
        values = np.array(between)
        low, high = np.minimum(values[:, 0], values[:, -1]), np.maximum(values[:, 0], values[:, -1])
        found.append(np.maximum(values.max(axis=1) - high, low - values.min(axis=1)))
    return found[0], found[1]
