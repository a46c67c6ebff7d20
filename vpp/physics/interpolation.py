"""Smooth interpolation in one variable: cubic splines on evenly and on freely spaced knots."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from vpp.physics.arrays import Array, array_namespace, with_slopes, without_derivatives


def piecewise_cubic(
    *, x: Array, start: Array, step: Array, coefficients: Array, curve: Array | None = None
) -> Array:
    """Value of a piecewise cubic whose knots are `start + i * step`.

    x: (..., n_conditions) or a number. coefficients: (4, k) for one curve of k pieces, or (4, k,
    n_conditions) for a curve per condition, or (4, k, curves) with the number of each condition's curve in
    `curve` (n_conditions,); row j multiplies the j-th power of the local coordinate, which
    runs from 0 to 1 over a piece. `cubic_coefficients` makes them.

    Twice continuously differentiable in x where the coefficients are those of a spline. Outside the knots
    the first and the last piece go on: whoever calls keeps x inside or reports it.
    """
    index = _piece(x=x, start=start, step=step, count=coefficients.shape[1])
    local = (x - start) / step - index
    c0, c1, c2, c3 = _gather(coefficients=coefficients, index=index, curve=curve)

    def cubic(t: Array) -> tuple[tuple[Array, ...], Callable[[], tuple[Any, ...]]]:
        def slopes() -> tuple[Any, ...]:
            return (((3.0 * c3 * t + 2.0 * c2) * t + c1, 6.0 * c3 * t + 2.0 * c2),)

        return (((c3 * t + c2) * t + c1) * t + c0,), slopes

    return with_slopes(cubic, local)[0]


def cubic_coefficients(
    *, values: ArrayLike, start_slope: ArrayLike | None = None, end_slope: ArrayLike | None = None
) -> NDArray[np.float64]:
    """Coefficients for `piecewise_cubic` of the cubic spline through `values` at evenly spaced knots.

    values: (k + 1,) or (k + 1, n_conditions), k >= 3. A slope is per step, not per unit of x; where it is
    None the third derivative is continuous across the first inner knot from that end ("not a knot").
    Returns (4, k) or (4, k, n_conditions). Plain numbers only.

    Raises ValueError with fewer than four values. Source: C. de Boor, A Practical Guide to Splines, 1978,
    chapter IV.
    """
    y = np.asarray(values, dtype=np.float64)
    count = y.shape[0] - 1
    if count < 3:
        raise ValueError(f"A cubic spline needs at least four values; {count + 1} were given.")
    matrix = np.zeros((count + 1, count + 1))
    right = np.zeros_like(y)
    for i in range(1, count):
        matrix[i, i - 1 : i + 2] = (1.0, 4.0, 1.0)
        right[i] = 3.0 * (y[i + 1] - y[i - 1])
    _end_condition(matrix=matrix, right=right, y=y, slope=start_slope, direction=1)
    _end_condition(matrix=matrix, right=right, y=y, slope=end_slope, direction=-1)
    slope = np.linalg.solve(matrix, right)
    rise = y[1:] - y[:-1]
    return np.stack(
        (y[:-1], slope[:-1], 3.0 * rise - 2.0 * slope[:-1] - slope[1:], slope[:-1] + slope[1:] - 2.0 * rise)
    )


def smooth_coefficients(*, control: ArrayLike) -> NDArray[np.float64]:
    """Coefficients for `piecewise_cubic` of the uniform cubic B-spline with these control values.

    control: (k + 3,) or (k + 3, n_conditions), one at every knot and one beyond either end. Returns (4, k)
    or (4, k, n_conditions). The curve is twice continuously differentiable; it is positive where the
    control values are and rises where they do. It passes near them, not through them: at a knot it has the
    mean of three control values with weights 1, 4, 1. Plain numbers only.

    Source: C. de Boor, A Practical Guide to Splines, 1978, chapters IX to XI.
    """
    b = np.asarray(control, dtype=np.float64)
    b0, b1, b2, b3 = b[:-3], b[1:-2], b[2:-1], b[3:]
    powers = (b0 + 4.0 * b1 + b2, 3.0 * (b2 - b0), 3.0 * (b0 - 2.0 * b1 + b2), 3.0 * (b1 - b2) + b3 - b0)
    return np.stack(powers) / 6.0


def uneven_cubic(*, x: Array, knots: Array, coefficients: Array) -> Array:
    """Value of a piecewise cubic with knots where they please.

    x: (..., n_conditions) or a number. knots: (k + 1,) and coefficients (4, k) for one curve of k pieces, or
    (k + 1, n_conditions) and (4, k, n_conditions) for a curve per condition; row j multiplies the j-th power
    of the distance from the piece's first knot. `uneven_cubic_coefficients` makes them.

    Twice continuously differentiable in x where the coefficients are those of a spline. Outside the knots
    the first and the last piece go on: whoever calls keeps x inside or reports it.
    """
    position = without_derivatives(x)
    inner = knots[1:-1]
    if knots.ndim == 1:
        inner = inner.reshape((-1,) + (1,) * array_namespace(position).asarray(position).ndim)
    index = (position >= inner).sum(axis=0)
    distance = x - _gather(coefficients=knots[None], index=index, curve=None)[0]
    c0, c1, c2, c3 = _gather(coefficients=coefficients, index=index, curve=None)
    return ((c3 * distance + c2) * distance + c1) * distance + c0


def uneven_cubic_coefficients(*, knots: ArrayLike, values: ArrayLike) -> NDArray[np.float64]:
    """Coefficients for `uneven_cubic` of the cubic spline through `values` at rising `knots`.

    Both (k + 1,), k >= 3. The third derivative is continuous across the first inner knot from either end
    ("not a knot"). Returns (4, k). Plain numbers only.

    Raises ValueError with fewer than four values or knots that do not rise. Source: C. de Boor, A Practical
    Guide to Splines, 1978, chapter IV.
    """
    x, y = np.asarray(knots, dtype=np.float64), np.asarray(values, dtype=np.float64)
    if len(x) < 4:
        raise ValueError(f"A cubic spline needs at least four values; {len(x)} were given.")
    step = np.diff(x)
    if not np.all(step > 0.0):
        raise ValueError("The knots of a spline must rise.")
    secant = np.diff(y) / step
    matrix, right = np.zeros((len(x), len(x))), np.zeros_like(y)
    for i in range(1, len(x) - 1):
        before, behind = 1.0 / step[i - 1], 1.0 / step[i]
        matrix[i, i - 1 : i + 2] = (before, 2.0 * (before + behind), behind)
        right[i] = 3.0 * (secant[i - 1] * before + secant[i] * behind)
    for end, inner, first, second in ((0, 1, 0, 1), (-1, -2, -1, -2)):
        both = step[first] + step[second]
        matrix[end, end], matrix[end, inner] = step[second], both
        right[end] = (
            (step[first] + 2.0 * both) * step[second] * secant[first] + step[first] ** 2 * secant[second]
        ) / both
    slope = np.linalg.solve(matrix, right)
    return np.stack(
        (
            y[:-1],
            slope[:-1],
            (3.0 * secant - 2.0 * slope[:-1] - slope[1:]) / step,
            (slope[:-1] + slope[1:] - 2.0 * secant) / step**2,
        )
    )


def _end_condition(
    *,
    matrix: NDArray[np.float64],
    right: NDArray[np.float64],
    y: NDArray[np.float64],
    slope: ArrayLike | None,
    direction: int,
) -> None:
    """Fill the first (direction 1) or last (direction -1) row of the system for the slopes at the knots."""
    end, inner, third = (0, 1, 2) if direction == 1 else (-1, -2, -3)
    if slope is not None:
        matrix[end, end] = 1.0
        right[end] = slope
        return
    matrix[end, end], matrix[end, inner] = 1.0, 2.0
    right[end] = direction * (2.5 * (y[inner] - y[end]) + 0.5 * (y[third] - y[inner]))


def _piece(*, x: Array, start: Array, step: Array, count: int) -> Any:
    """Index of the piece that x lies in, from plain numbers; piece 0 where x is not a number."""
    position = without_derivatives((x - start) / step)
    xp = array_namespace(position)
    inside = xp.where(position >= 0.0, position, xp.zeros_like(position))
    return xp.minimum(xp.floor(inside), count - 1.0).astype(int)


def _gather(*, coefficients: Array, index: Any, curve: Array | None) -> Array:
    xp = array_namespace(index)
    table = xp.asarray(coefficients)
    if table.ndim == 2:
        return table[:, index]
    return table[:, index, xp.arange(table.shape[2]) if curve is None else curve]
