"""Resistance of a bare hull from a table over speed and, where the table has them, heel and displacement.

`resistance_table` is evaluated once, when a boat is built; `table_resistance` takes arrays of conditions.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from vpp.physics.arrays import Array, array_namespace, elementwise, without_derivatives
from vpp.physics.interpolation import uneven_cubic, uneven_cubic_coefficients

Floats = NDArray[np.float64]

LEAST_SPEEDS = 4
LEAST_HEELS = 3
LEAST_DISPLACEMENTS = 2
# A displacement at the end of a table may miss it by rounding.
_ROUNDING = 1e-9
_SAMPLES = 20


@dataclass(frozen=True, kw_only=True)
class ResistanceTable:
    """Resistance of one hull at one displacement, as pieces of a bicubic spline.

    What is interpolated is the logarithm of resistance over speed squared [kg/m]. `speed` (speeds,) [m/s] and
    `heel` (heels,) [rad], from 0, are the knots; a table of the upright hull has the one heel 0.
    `coefficients` (4, 4, speeds - 1, heels - 1), of the upright hull (4, 1, speeds - 1, 1): the first two
    axes are the powers of the distances from the piece's first speed and first heel. With (.., boats) behind
    each, a table per condition.
    """

    speed: Array
    heel: Array
    coefficients: Array

    @property
    def speed_range(self) -> tuple[Array, Array]:
        """Lowest and highest speed [m/s] of the table; lowest 0 where the table has a row at rest."""
        return self.speed[0], self.speed[-1]

    @property
    def is_upright(self) -> bool:
        """Whether the table says nothing of heel."""
        return int(self.heel.shape[0]) == 1

    @property
    def heel_range(self) -> tuple[Array, Array]:
        """Heels [rad] of the table, to windward and to leeward; both 0 where `is_upright`."""
        return -self.heel[-1], self.heel[-1]


def resistance_table(
    *,
    speed: ArrayLike,
    heel: ArrayLike = (),
    displacement: ArrayLike = (),
    resistance: ArrayLike,
    boat_displacement: float,
) -> ResistanceTable:
    """The table of a hull, brought to the mass that the boat displaces.

    speed (speeds,) [m/s], rising, four or more above 0. heel (heels,) [rad], rising from 0, three or more, or
    none for the upright hull. displacement (displacements,) [kg], rising, two or more, or none where the
    table knows of one only; `boat_displacement` [kg] is not used then. resistance [N], speeds x displacements
    x heels numbers in that order of axes, flat or not, positive; a first speed of 0 goes with resistance 0
    and lets the table begin at rest, with the resistance over speed squared of the first speed above 0. Plain
    numbers only.

    Over the logarithm of displacement the logarithm of resistance is the polynomial through two or three
    values, a cubic spline through more. Raises ValueError for any breach of the above and for a
    `boat_displacement` outside the table: nothing is extrapolated.
    """
    v, h, m = (np.asarray(values, dtype=np.float64) for values in (speed, heel, displacement))
    grid = np.asarray(resistance, dtype=np.float64).reshape(len(v), max(len(m), 1), max(len(h), 1))
    _check_axes(v, h, m)
    _check_resistance(v, grid)
    moving = v > 0.0
    logarithm = np.log(grid[moving] / v[moving, None, None] ** 2)
    if not moving[0]:
        logarithm = np.concatenate((logarithm[:1], logarithm))
    at_boat = _at_displacement(m, logarithm.transpose(1, 0, 2), boat_displacement)
    return ResistanceTable(speed=v, heel=h if len(h) else np.zeros(1), coefficients=_bicubic(v, h, at_boat))


def table_resistance(*, speed: Array, heel: Array, table: ResistanceTable) -> Array:
    """Resistance [N] of the bare hull, friction and all, in the water for which the table was made.

    speed [m/s] and heel [rad], of either sign, (..., n_conditions) or numbers that broadcast. Even in heel,
    not dependent on it where the table is upright. Exact at the rows, positive, twice continuously
    differentiable. Valid inside `speed_range` and `heel_range`; outside, where nothing is known, the first
    and the last piece go on: whoever calls keeps speed and heel inside or reports it.
    """

    def resistance(speed: Array, heel: Array) -> tuple[Array]:
        return (speed**2 * array_namespace(speed, heel).exp(_logarithm(table, speed, heel)),)

    return elementwise(resistance, speed, heel)[0]


def swing_with_speed(*, table: ResistanceTable) -> Floats:
    """By what share the smooth curve leaves the span between two neighbouring rows, (speeds - 1, heels).

    Share of resistance over speed squared; 0 where the curve stays between its rows. A summit between two
    rows of equal height counts too. Plain numbers, one hull only.
    """
    speed = _between(table.speed)
    return np.stack([_swing(_logarithm(table, speed, heel)) for heel in table.heel], axis=-1)


def swing_with_heel(*, table: ResistanceTable) -> Floats:
    """As `swing_with_speed`, between neighbouring heels, (speeds, heels - 1); empty for the upright hull."""
    heel = _between(table.heel)
    return np.stack([_swing(_logarithm(table, speed, heel)) for speed in table.speed])


def swing_with_displacement(*, displacement: ArrayLike, resistance: ArrayLike) -> Floats:
    """As `swing_with_speed`, between neighbouring displacements, (displacements - 1, ...).

    displacement (displacements,) [kg] as `resistance_table` takes it; resistance (displacements, ...) [N],
    positive.
    """
    m, logarithm = np.asarray(displacement, dtype=np.float64), np.log(resistance)
    between = _between(m)
    columns = logarithm.reshape(len(m), -1).T
    found = np.stack([_swing(_along_displacement(m, column, between)) for column in columns], axis=-1)
    return found.reshape(len(m) - 1, *logarithm.shape[1:])


def _check_axes(speed: Floats, heel: Floats, displacement: Floats) -> None:
    for name, values in (("speeds", speed), ("heels", heel), ("displacements", displacement)):
        if not np.all(np.diff(values) > 0.0):
            raise ValueError(f"The {name} of a resistance table must rise.")
    if np.count_nonzero(speed > 0.0) < LEAST_SPEEDS or speed[0] < 0.0:
        raise ValueError(f"A resistance table needs at least {LEAST_SPEEDS} speeds above 0, and none below.")
    if len(heel) and (len(heel) < LEAST_HEELS or heel[0] != 0.0):
        raise ValueError(f"A resistance table with heel needs at least {LEAST_HEELS} heels, the first 0.")
    if len(displacement) and (len(displacement) < LEAST_DISPLACEMENTS or displacement[0] <= 0.0):
        raise ValueError(
            f"A resistance table with displacement needs at least {LEAST_DISPLACEMENTS}, above 0."
        )


def _check_resistance(speed: Floats, resistance: Floats) -> None:
    at_rest = speed == 0.0
    if not (np.all(resistance[~at_rest] > 0.0) and np.all(np.isfinite(resistance))):
        raise ValueError("The resistance of a hull that moves must be positive.")
    if np.any(resistance[at_rest] != 0.0):
        raise ValueError("The resistance of a hull at rest must be 0.")


def _at_displacement(displacement: Floats, logarithm: Floats, wanted: float) -> Floats:
    """The logarithms (displacements, speeds, heels) at the displacement of the boat, (speeds, heels)."""
    if not len(displacement):
        [only] = logarithm
        return np.asarray(only, dtype=np.float64)
    low, high = displacement[0], displacement[-1]
    if not low * (1.0 - _ROUNDING) <= wanted <= high * (1.0 + _ROUNDING):
        raise ValueError(
            f"The boat displaces {wanted:.0f} kg; the resistance table goes from {low:.0f} to {high:.0f} kg."
        )
    columns = logarithm.reshape(len(displacement), -1).T
    found = [_along_displacement(displacement, column, np.array(wanted)) for column in columns]
    return np.array(found, dtype=np.float64).reshape(logarithm.shape[1:])


def _along_displacement(displacement: Floats, logarithm: Floats, wanted: Floats) -> Floats:
    """One column of logarithms (displacements,) at other displacements."""
    # a power law, which is how resistance goes with weight, is straight in these
    x, at = np.log(displacement), np.log(wanted)
    if len(x) < 4:
        shares = (
            value * np.prod([(at - other) / (here - other) for other in x if other != here], axis=0)
            for here, value in zip(x, logarithm, strict=True)
        )
        return np.asarray(np.sum(list(shares), axis=0), dtype=np.float64)
    spline = uneven_cubic(x=at, knots=x, coefficients=uneven_cubic_coefficients(knots=x, values=logarithm))
    return np.asarray(spline, dtype=np.float64)


def _bicubic(speed: Floats, heel: Floats, values: Floats) -> Floats:
    """Pieces of the spline through values (speeds, heels): (4, 4 or 1, speeds - 1, heel pieces)."""
    along_speed: Floats = np.stack(
        [uneven_cubic_coefficients(knots=speed, values=column) for column in values.T], axis=-1
    )
    if not len(heel):
        return along_speed[:, None]
    # the rows to windward are those to leeward: the spline through both is even and smooth at 0
    mirrored = np.concatenate((-heel[:0:-1], heel))
    pieces = np.empty((4, 4, len(speed) - 1, len(heel) - 1))
    for power, piece in np.ndindex(along_speed.shape[:2]):
        row = along_speed[power, piece]
        both = uneven_cubic_coefficients(knots=mirrored, values=np.concatenate((row[:0:-1], row)))
        pieces[power, :, piece] = both[:, len(heel) - 1 :]
    return pieces


def _logarithm(table: ResistanceTable, speed: Array, heel: Array) -> Array:
    """Logarithm of resistance over speed squared [kg/m]."""
    xp = array_namespace(heel)
    aside = xp.where(without_derivatives(heel) < 0.0, -heel, heel)
    across, along = _piece(table.speed, speed), _piece(table.heel, aside)
    pieces = _gathered(table.coefficients, across, along)
    from_speed = speed - _gathered(table.speed[None], across)[0]
    total = _polynomial(pieces[-1], aside, table, along)
    for each in pieces[-2::-1]:
        total = total * from_speed + _polynomial(each, aside, table, along)
    return total


def _polynomial(coefficients: Array, heel: Array, table: ResistanceTable, piece: Array) -> Array:
    """Value in heel of a cubic, or of what does not depend on heel."""
    if table.is_upright:
        return coefficients[0]
    from_heel = heel - _gathered(table.heel[None], piece)[0]
    c0, c1, c2, c3 = coefficients
    return ((c3 * from_heel + c2) * from_heel + c1) * from_heel + c0


def _piece(knots: Array, x: Array) -> Array:
    """Number of the piece that x lies in, from plain numbers; 0 where x is not a number."""
    position = without_derivatives(x)
    inner = knots[1:-1]
    if knots.ndim == 1:
        inner = inner.reshape((-1,) + (1,) * array_namespace(position).asarray(position).ndim)
    return (position >= inner).sum(axis=0)


def _gathered(table: Array, *pieces: Array) -> Array:
    """Entries of the pieces along the inner axes of a table, for all conditions or each its own."""
    values = array_namespace(*pieces).asarray(table)
    powers = (slice(None),) * (2 if len(pieces) == 2 else 1)
    if values.ndim == len(powers) + len(pieces):
        return values[(*powers, *pieces)]
    return values[(*powers, *pieces, np.arange(values.shape[-1]))]


def _between(knots: Array) -> Floats:
    """Places from each knot to the next, (knots - 1, samples)."""
    share = np.linspace(0.0, 1.0, _SAMPLES + 1)
    return np.asarray(knots[:-1, None] + share * np.diff(knots)[:, None], dtype=np.float64)


def _swing(logarithm: Floats) -> Floats:
    """Share by which the exponentials (knots - 1, samples) leave the span of their first and last."""
    ends = logarithm[:, [0, -1]]
    above, below = logarithm.max(axis=1) - ends.max(axis=1), ends.min(axis=1) - logarithm.min(axis=1)
    return np.asarray(np.expm1(np.maximum(above, below)), dtype=np.float64)
