"""Righting moment of a hull's form from a curve of righting arms over heel.

Righting is positive here, as in `vpp.physics.stability`; heel is positive to leeward.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from vpp.physics.arrays import Array, array_namespace, elementwise, without_derivatives
from vpp.physics.interpolation import uneven_cubic, uneven_cubic_coefficients

LEAST_ROWS = 4
_SAMPLES = 20


@dataclass(frozen=True, kw_only=True)
class RightingCurve:
    """Righting arm over heel, and the height of the mass centre for which it holds.

    `heel` (rows,) [rad], from 0; `coefficients` (4, rows - 1) are the pieces of `uneven_cubic` of the
    righting arm [m]; `mass_centre_z` [m] up from the drawn water plane. With (.., boats) behind each, a curve
    per condition.
    """

    heel: Array
    coefficients: Array
    mass_centre_z: Array

    @property
    def heel_range(self) -> tuple[Array, Array]:
        """Heels [rad] of the curve, to windward and to leeward."""
        return -self.heel[-1], self.heel[-1]


def gz_curve(*, heel: ArrayLike, righting_arm: ArrayLike, mass_centre_z: float) -> RightingCurve:
    """The curve through a table of righting arms GZ.

    heel (rows,) [rad], rising from 0, four rows or more; righting_arm (rows,) [m], at 0 heel 0; mass_centre_z
    [m] the height over the drawn water plane of the mass centre, on the centreline, for which they were made.
    0 for levers of the buoyancy about the point of the centreline in that plane; the keel's lower edge for
    levers about it. Plain numbers only.

    The cubic spline through the rows and through their mirror image to the other side: exact at every row,
    odd. Raises ValueError for any breach of the above.
    """
    x, arm = np.asarray(heel, dtype=np.float64), np.asarray(righting_arm, dtype=np.float64)
    if len(x) < LEAST_ROWS:
        raise ValueError(f"A curve of righting arms needs at least {LEAST_ROWS} rows; {len(x)} were given.")
    if not np.all(np.diff(x) > 0.0):
        raise ValueError("The heels of a curve of righting arms must rise.")
    if x[0] != 0.0 or arm[0] != 0.0:
        raise ValueError("A curve of righting arms must begin upright, with no arm.")
    both = uneven_cubic_coefficients(
        knots=np.concatenate((-x[:0:-1], x)), values=np.concatenate((-arm[:0:-1], arm))
    )
    return RightingCurve(
        heel=x, coefficients=both[:, len(x) - 1 :], mass_centre_z=np.asarray(mass_centre_z, dtype=np.float64)
    )


def form_lever(*, heel: Array, curve: RightingCurve) -> Array:
    """Lever [m] of the buoyancy about the point of the centreline in the drawn water plane, righting.

    GZ + z_G sin(heel): the mass centre of the table, at z_G, has the lever -z_G sin(heel) about that point
    (`stability.mass_righting_moment`), and the two together are GZ. heel [rad] of either sign,
    (..., n_conditions). Odd in heel, exact at the rows, twice continuously differentiable. Valid inside
    `heel_range` at the displacement for which the arms were made; outside the last piece goes on: whoever
    calls keeps heel inside or reports it. Exact statics of a body whose masses do not shift.
    """

    def lever(heel: Array, centre: Array) -> tuple[Array]:
        xp = array_namespace(heel, centre)
        side = xp.where(without_derivatives(heel) < 0.0, -1.0, 1.0)
        arm = side * uneven_cubic(x=side * heel, knots=curve.heel, coefficients=curve.coefficients)
        return (arm + centre * xp.sin(heel),)

    return elementwise(lever, heel, curve.mass_centre_z)[0]


def righting_moment_of_form(*, heel: Array, weight: Array, curve: RightingCurve) -> Array:
    """Righting moment [N m] of the buoyancy about the point of the centreline in the drawn water plane.

    weight [N], the buoyant force, times `form_lever`, and valid as that is. In the place of
    `stability.form_righting_moment` for a hull that is not wall-sided.
    """
    return weight * form_lever(heel=heel, curve=curve)


def initial_metacentre_height(*, curve: RightingCurve) -> Array:
    """Height [m] of the metacentre of the upright boat over the drawn water plane: slope of the lever at 0.

    Less the height of a mass centre it is GM. As good as the rows near upright: it is the slope of the spline
    through them.
    """
    return curve.coefficients[1, 0] + curve.mass_centre_z


def swing(*, curve: RightingCurve) -> NDArray[np.float64]:
    """By how much [m] the curve leaves the span between two neighbouring rows, (rows - 1,).

    0 where it stays between them. A summit between two rows of equal height counts too. Plain numbers, one
    boat only.
    """
    share = np.linspace(0.0, 1.0, _SAMPLES + 1)
    heel = curve.heel[:-1, None] + share * np.diff(curve.heel)[:, None]
    arm = uneven_cubic(x=heel, knots=curve.heel, coefficients=curve.coefficients)
    ends = arm[:, [0, -1]]
    above, below = arm.max(axis=1) - ends.max(axis=1), ends.min(axis=1) - arm.min(axis=1)
    return np.asarray(np.maximum(above, below), dtype=np.float64)
