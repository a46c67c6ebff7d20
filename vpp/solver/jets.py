"""Arrays that carry their first and second derivatives: exact gradients and Hessians of code written for
plain arrays.

A `Jet` holds a value, its gradient and its Hessian with respect to a few numbered variables, each an array
over any batch axes. The module is at the same time the namespace of its arrays, so that a function which
takes its mathematics from `array_namespace(...)` runs on jets unchanged. Every jet knows which variables it
depends on and stores no other derivative; what depends on three variables costs ten numbers an element,
whatever the size of the problem.

The arithmetic is the truncated Taylor series of second order, see Griewank & Walther, "Evaluating
Derivatives", 2nd ed., SIAM 2008, chapter 13.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
Support = tuple[int, ...]
Places = slice | NDArray[np.intp]


class Jet:
    """A value with its derivatives.

    `gradient` has one leading axis more than the value, one entry for each variable of `support`; `hessian`
    holds the upper triangle of the second derivatives row by row along its leading axis, or is None where all
    of it is zero. The remaining axes broadcast against the value's.
    """

    __slots__ = ("gradient", "hessian", "support", "value")
    __array_ufunc__ = None  # so that ndarray * Jet comes to Jet.__rmul__

    def __init__(self, value: FloatArray, support: Support, gradient: FloatArray, hessian: FloatArray | None):
        self.value = value
        self.support = support
        self.gradient = gradient
        self.hessian = hessian

    def __array_namespace__(self, api_version: str | None = None) -> Any:
        """This module."""
        return sys.modules[__name__]

    @property
    def shape(self) -> tuple[int, ...]:
        """Shape of the value."""
        return self.value.shape

    @property
    def ndim(self) -> int:
        """Number of axes of the value."""
        return self.value.ndim

    def __neg__(self) -> Jet:
        return Jet(-self.value, self.support, -self.gradient, None if self.hessian is None else -self.hessian)

    def __pos__(self) -> Jet:
        return self

    def __add__(self, other: Any) -> Jet:
        return _add(self, other)

    __radd__ = __add__

    def __sub__(self, other: Any) -> Jet:
        return _add(self, -other)

    def __rsub__(self, other: Any) -> Jet:
        return _add(-self, other)

    def __mul__(self, other: Any) -> Jet:
        return _multiply(self, other)

    __rmul__ = __mul__

    def __truediv__(self, other: Any) -> Jet:
        return _multiply(self, _reciprocal(other) if isinstance(other, Jet) else 1.0 / np.asarray(other))

    def __rtruediv__(self, other: Any) -> Jet:
        return _multiply(_reciprocal(self), other)

    def __pow__(self, exponent: Any) -> Jet:
        if isinstance(exponent, int) and exponent == 2:
            return _multiply(self, self)
        v = self.value
        return _unary(
            self, v**exponent, exponent * v ** (exponent - 1), exponent * (exponent - 1) * v ** (exponent - 2)
        )

    def __lt__(self, other: Any) -> Any:
        return self.value < without_derivatives(other)

    def __le__(self, other: Any) -> Any:
        return self.value <= without_derivatives(other)

    def __gt__(self, other: Any) -> Any:
        return self.value > without_derivatives(other)

    def __ge__(self, other: Any) -> Any:
        return self.value >= without_derivatives(other)

    def __getitem__(self, key: Any) -> Jet:
        key = key if isinstance(key, tuple) else (key,)
        full = _filled(self)
        return Jet(
            full.value[key],
            full.support,
            full.gradient[(slice(None), *key)],
            None if full.hessian is None else full.hessian[(slice(None), *key)],
        )

    def reshape(self, *shape: int) -> Jet:
        """The same numbers in another shape."""
        full = _filled(self)
        return Jet(
            full.value.reshape(*shape),
            full.support,
            full.gradient.reshape(len(full.support), *shape),
            None if full.hessian is None else full.hessian.reshape(full.hessian.shape[0], *shape),
        )


# --- making and reading jets --------------------------------------------------------------------------------


def variables(x: FloatArray) -> tuple[Jet, ...]:
    """One jet for each row of `x`, shape (n_variables, ...): the independent variables."""
    one = np.ones((1,) + (1,) * (x.ndim - 1))
    return tuple(Jet(row, (i,), one, None) for i, row in enumerate(x))


def dense(jet: Any, variable_count: int, shape: tuple[int, ...]) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Value, gradient (n, ...) and full symmetric Hessian (n, n, ...), broadcast to `shape`."""
    hessian = np.zeros((variable_count, variable_count, *shape))
    if isinstance(jet, Jet) and jet.hessian is not None:
        for packed, (a, b) in enumerate(_pairs(len(jet.support))):
            i, j = jet.support[a], jet.support[b]
            hessian[i, j] = jet.hessian[packed]
            hessian[j, i] = hessian[i, j]
    return *dense_gradient(jet, variable_count, shape), hessian


def dense_gradient(jet: Any, variable_count: int, shape: tuple[int, ...]) -> tuple[FloatArray, FloatArray]:
    """Value and gradient (n, ...), broadcast to `shape`."""
    gradient = np.zeros((variable_count, *shape))
    for position, i in enumerate(getattr(jet, "support", ())):
        gradient[i] = jet.gradient[position]
    return np.broadcast_to(np.asarray(without_derivatives(jet), dtype=float), shape), gradient


def without_derivatives(x: Any) -> Any:
    """The value alone."""
    return x.value if isinstance(x, Jet) else x


# --- index plans --------------------------------------------------------------------------------------------


@cache
def _pairs(size: int) -> tuple[tuple[int, int], ...]:
    return tuple((i, j) for i in range(size) for j in range(i, size))


@cache
def _rows(size: int) -> tuple[slice, ...]:
    """Where row i of the packed upper triangle lies: entries (i, i), (i, i + 1), ..."""
    starts = [i * size - i * (i - 1) // 2 for i in range(size + 1)]
    return tuple(slice(starts[i], starts[i + 1]) for i in range(size))


@cache
def _square(size: int) -> NDArray[np.intp]:
    """Where the entries of the full matrix lie in the packed one, (size, size)."""
    place = {pair: k for k, pair in enumerate(_pairs(size))}
    return np.array([[place[min(i, j), max(i, j)] for j in range(size)] for i in range(size)])


def _index(places: list[int]) -> Places:
    """Places along an axis; a slice, which is quicker, where they are evenly spaced."""
    step = places[1] - places[0] if len(places) > 1 else 1
    stop = places[-1] + step
    if step > 0 and places == list(range(places[0], stop, step)):
        return slice(places[0], stop, step)
    return np.array(places)


class _Union:
    """How two supports map into their union."""

    def __init__(self, a: Support, b: Support):
        self.support = tuple(sorted({*a, *b}))
        place = {variable: i for i, variable in enumerate(self.support)}
        packed = {pair: i for i, pair in enumerate(_pairs(len(self.support)))}
        at_a, at_b = [place[v] for v in a], [place[v] for v in b]

        def pair(i: int, j: int) -> int:
            return packed[min(i, j), max(i, j)]

        self.contained = self.support == b
        self.gradient_a, self.gradient_b = _index(at_a), _index(at_b)
        self.hessian_a = _index([pair(at_a[i], at_a[j]) for i, j in _pairs(len(a))])
        self.hessian_b = _index([pair(at_b[i], at_b[j]) for i, j in _pairs(len(b))])
        self.cross = tuple(_index([pair(i, j) for j in at_b]) for i in at_a)
        # squares of the variables that both have
        both = [v for v in a if v in b]
        self.shared = (
            (
                _index([pair(place[v], place[v]) for v in both]),
                _index([a.index(v) for v in both]),
                _index([b.index(v) for v in both]),
            )
            if both
            else ()
        )


@cache
def _union(a: Support, b: Support) -> _Union:
    return _Union(a, b)


def _fit(coefficients: FloatArray, ndim: int) -> FloatArray:
    """Insert axes behind the leading one until the rest lines up with a value of `ndim` axes."""
    missing = ndim + 1 - coefficients.ndim
    if missing <= 0:
        return coefficients
    return coefficients.reshape(coefficients.shape[0], *(1,) * missing, *coefficients.shape[1:])


def _common(a: tuple[int, ...], b: tuple[int, ...]) -> tuple[int, ...]:
    """The shape that two broadcast to."""
    return a if a == b else np.broadcast_shapes(a, b)


def _spread(coefficients: FloatArray, shape: tuple[int, ...]) -> FloatArray:
    """Coefficients of the full shape of a value."""
    full = (coefficients.shape[0], *shape)
    if coefficients.shape == full:
        return coefficients
    return np.broadcast_to(_fit(coefficients, len(shape)), full)


def _filled(a: Jet) -> Jet:
    """The same jet with gradient and Hessian of the value's full shape."""
    shape = a.value.shape
    hessian = None if a.hessian is None else _spread(a.hessian, shape)
    return Jet(a.value, a.support, _spread(a.gradient, shape), hessian)


def _widened(a: Any, support: Support, shape: tuple[int, ...]) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Value, gradient and Hessian of `a` over a larger support and shape, zeros filled in."""
    gradient = np.zeros((len(support), *shape))
    hessian = np.zeros((len(_pairs(len(support))), *shape))
    if not isinstance(a, Jet):
        return np.broadcast_to(np.asarray(a, dtype=float), shape), gradient, hessian
    plan = _union(a.support, support)
    gradient[plan.gradient_a] = _fit(a.gradient, len(shape))
    if a.hessian is not None:
        hessian[plan.hessian_a] = _fit(a.hessian, len(shape))
    return np.broadcast_to(a.value, shape), gradient, hessian


# --- arithmetic ---------------------------------------------------------------------------------------------


def _add(a: Jet, b: Any) -> Jet:
    if not isinstance(b, Jet):
        return Jet(a.value + b, a.support, a.gradient, a.hessian)
    value = a.value + b.value
    if len(a.support) > len(b.support):
        a, b = b, a  # the larger is copied, the smaller added to it
    ga, gb = _fit(a.gradient, value.ndim), _fit(b.gradient, value.ndim)
    ha = None if a.hessian is None else _fit(a.hessian, value.ndim)
    hb = None if b.hessian is None else _fit(b.hessian, value.ndim)
    if a.support == b.support:
        hessian = hb if ha is None else ha if hb is None else ha + hb
        return Jet(value, a.support, ga + gb, hessian)
    plan = _union(a.support, b.support)
    gradient = np.zeros((len(plan.support), *_common(ga.shape[1:], gb.shape[1:])))
    gradient[plan.gradient_b] = gb
    gradient[plan.gradient_a] += ga
    if ha is None and (hb is None or plan.contained):
        return Jet(value, plan.support, gradient, hb)
    parts = [h.shape[1:] for h in (ha, hb) if h is not None]
    hessian = np.zeros((len(_pairs(len(plan.support))), *_common(parts[0], parts[-1])))
    if hb is not None:
        hessian[plan.hessian_b] = hb
    if ha is not None:
        hessian[plan.hessian_a] += ha
    return Jet(value, plan.support, gradient, hessian)


def _multiply(a: Jet, b: Any) -> Jet:
    if not isinstance(b, Jet):
        b = np.asarray(b)
        value = a.value * b
        gradient = _fit(a.gradient, value.ndim) * b
        return Jet(value, a.support, gradient, None if a.hessian is None else _fit(a.hessian, value.ndim) * b)
    value = a.value * b.value
    if len(a.support) > len(b.support):
        a, b = b, a  # the loop below is over the variables of the smaller
    ga, gb = _fit(a.gradient, value.ndim), _fit(b.gradient, value.ndim)
    ha = None if a.hessian is None else _fit(a.hessian, value.ndim)
    hb = None if b.hessian is None else _fit(b.hessian, value.ndim)
    if a.support == b.support:
        return _multiply_alike(value, a.support, (a.value, ga, ha), (b.value, gb, hb))
    plan = _union(a.support, b.support)
    size, shape = len(plan.support), value.shape
    gradient = _scattered(gb, a.value, plan.gradient_b, (size, *shape))
    gradient[plan.gradient_a] += ga * b.value
    hessian = _scattered(hb, a.value, plan.hessian_b, (len(_pairs(size)), *shape))
    if ha is not None:
        hessian[plan.hessian_a] += ha * b.value
    for i, places in enumerate(plan.cross):
        hessian[places] += ga[i] * gb
    if plan.shared:
        places, of_a, of_b = plan.shared
        hessian[places] += ga[of_a] * gb[of_b]
    return Jet(value, plan.support, gradient, hessian)


def _scattered(
    coefficients: FloatArray | None, factor: FloatArray, places: Places, shape: tuple[int, ...]
) -> FloatArray:
    """Coefficients times a factor at their places in a larger array, and zeros elsewhere."""
    if coefficients is not None and coefficients.shape[0] == shape[0]:
        return np.multiply(coefficients, factor, out=np.empty(shape))
    result = np.zeros(shape)
    if coefficients is not None:
        result[places] = coefficients * factor
    return result


def _multiply_alike(
    value: FloatArray,
    support: Support,
    a: tuple[FloatArray, FloatArray, FloatArray | None],
    b: tuple[FloatArray, FloatArray, FloatArray | None],
) -> Jet:
    (va, ga, ha), (vb, gb, hb) = a, b
    hessian = np.empty((len(_pairs(len(support))), *value.shape))
    for i, row in enumerate(_rows(len(support))):
        part = np.multiply(ga[i], gb[i:], out=hessian[row])
        part += gb[i] * ga[i:]
    if ha is not None:
        hessian += ha * vb
    if hb is not None:
        hessian += hb * va
    return Jet(value, support, ga * vb + gb * va, hessian)


def _unary(a: Jet, value: FloatArray, first: FloatArray, second: FloatArray) -> Jet:
    """f(a) from the value and the two derivatives of f."""
    g = _fit(a.gradient, value.ndim)
    hessian = np.empty((len(_pairs(len(a.support))), *value.shape))
    bent = second * g
    for i, row in enumerate(_rows(len(a.support))):
        np.multiply(bent[i], g[i:], out=hessian[row])
    if a.hessian is not None:
        hessian += first * _fit(a.hessian, value.ndim)
    return Jet(value, a.support, first * g, hessian)


def _reciprocal(a: Jet) -> Jet:
    inverse = 1.0 / a.value
    square = inverse * inverse
    return _unary(a, inverse, -square, 2.0 * square * inverse)


# --- the namespace ------------------------------------------------------------------------------------------

pi = np.pi


def sqrt(x: Any) -> Any:
    """Square root."""
    if not isinstance(x, Jet):
        return np.sqrt(x)
    root = np.sqrt(x.value)
    return _unary(x, root, 0.5 / root, -0.25 / (root * x.value))


def exp(x: Any) -> Any:
    """Exponential."""
    if not isinstance(x, Jet):
        return np.exp(x)
    e = np.exp(x.value)
    return _unary(x, e, e, e)


def log(x: Any) -> Any:
    """Natural logarithm."""
    if not isinstance(x, Jet):
        return np.log(x)
    inverse = 1.0 / x.value
    return _unary(x, np.log(x.value), inverse, -inverse * inverse)


def sin(x: Any) -> Any:
    """Sine."""
    if not isinstance(x, Jet):
        return np.sin(x)
    s = np.sin(x.value)
    return _unary(x, s, np.cos(x.value), -s)


def cos(x: Any) -> Any:
    """Cosine."""
    if not isinstance(x, Jet):
        return np.cos(x)
    c = np.cos(x.value)
    return _unary(x, c, -np.sin(x.value), -c)


def tan(x: Any) -> Any:
    """Tangent."""
    if not isinstance(x, Jet):
        return np.tan(x)
    t = np.tan(x.value)
    first = 1.0 + t * t
    return _unary(x, t, first, 2.0 * t * first)


def arctan(x: Any) -> Any:
    """Inverse tangent."""
    if not isinstance(x, Jet):
        return np.arctan(x)
    first = 1.0 / (1.0 + x.value * x.value)
    return _unary(x, np.arctan(x.value), first, -2.0 * x.value * first * first)


def tanh(x: Any) -> Any:
    """Hyperbolic tangent."""
    if not isinstance(x, Jet):
        return np.tanh(x)
    t = np.tanh(x.value)
    first = 1.0 - t * t
    return _unary(x, t, first, -2.0 * t * first)


def arctan2(y: Any, x: Any) -> Any:
    """Angle of the point (x, y), all four quadrants."""
    if not isinstance(y, Jet) and not isinstance(x, Jet):
        return np.arctan2(y, x)
    b, a = np.asarray(without_derivatives(y)), np.asarray(without_derivatives(x))
    inverse = 1.0 / (a * a + b * b)
    by_y, by_x = a * inverse, -b * inverse
    both, unlike = 2.0 * by_x * by_y, by_x * by_x - by_y * by_y
    angle = np.arctan2(b, a)
    if isinstance(y, Jet) and isinstance(x, Jet):
        outer = Jet(angle, (0, 1), np.stack([by_y, by_x]), np.stack([both, unlike, -both]))
        return _chain([outer], [y, x])[0]
    return _unary(y, angle, by_y, both) if isinstance(y, Jet) else _unary(x, angle, by_x, -both)


def abs(x: Any) -> Any:
    """Absolute value."""
    if not isinstance(x, Jet):
        return np.abs(x)
    return x * np.sign(x.value)


def where(condition: Any, a: Any, b: Any) -> Any:
    """Elements of `a` where the condition holds, else of `b`."""
    if not isinstance(a, Jet) and not isinstance(b, Jet):
        return np.where(condition, a, b)
    if not isinstance(b, Jet):
        return _where_plain(condition, a, b)
    if not isinstance(a, Jet):
        return _where_plain(np.logical_not(condition), b, a)
    support = _union(a.support, b.support).support
    shape = np.broadcast_shapes(np.shape(condition), a.value.shape, b.value.shape)
    left, right = _widened(a, support, shape), _widened(b, support, shape)
    value, gradient, hessian = (np.where(condition, x, y) for x, y in zip(left, right, strict=True))
    return Jet(value, support, gradient, hessian)


def _where_plain(condition: Any, a: Jet, b: Any) -> Jet:
    value = np.where(condition, a.value, b)
    gradient = np.where(condition, _fit(a.gradient, value.ndim), 0.0)
    hessian = None if a.hessian is None else np.where(condition, _fit(a.hessian, value.ndim), 0.0)
    return Jet(value, a.support, gradient, hessian)


def maximum(a: Any, b: Any) -> Any:
    """The larger of two, with the derivatives of that one."""
    return where(without_derivatives(a) >= without_derivatives(b), a, b)


def minimum(a: Any, b: Any) -> Any:
    """The smaller of two, with the derivatives of that one."""
    return where(without_derivatives(a) <= without_derivatives(b), a, b)


def sum(x: Any, axis: int = 0) -> Any:
    """Sum along one axis."""
    if not isinstance(x, Jet):
        return np.sum(x, axis=axis)
    full = _filled(x)
    along = axis % full.value.ndim
    return Jet(
        full.value.sum(axis=along),
        full.support,
        full.gradient.sum(axis=along + 1),
        None if full.hessian is None else full.hessian.sum(axis=along + 1),
    )


def matmul(matrix: FloatArray, x: Any) -> Any:
    """A plain matrix (rows, columns) times an array (..., columns, cases)."""
    if not isinstance(x, Jet):
        return np.matmul(matrix, x)
    full = _filled(x)
    return Jet(
        np.matmul(matrix, full.value),
        full.support,
        np.matmul(matrix, full.gradient),
        None if full.hessian is None else np.matmul(matrix, full.hessian),
    )


def concatenate(xs: Sequence[Any], axis: int = 0) -> Any:
    """Join along an existing axis."""
    if not any(isinstance(x, Jet) for x in xs):
        return np.concatenate(xs, axis=axis)
    support = tuple(sorted({v for x in xs for v in getattr(x, "support", ())}))
    wide = [_widened(x, support, np.shape(without_derivatives(x))) for x in xs]
    along = axis % wide[0][0].ndim
    values, gradients, hessians = zip(*wide, strict=True)
    straight = all(getattr(x, "hessian", None) is None for x in xs)
    return Jet(
        np.concatenate(values, axis=along),
        support,
        np.concatenate(gradients, axis=along + 1),
        None if straight else np.concatenate(hessians, axis=along + 1),
    )


def stack(xs: Sequence[Any], axis: int = 0) -> Any:
    """Join along a new leading axis, after broadcasting all to one shape."""
    if axis != 0:
        raise ValueError(f"jets are stacked along axis 0 alone, not {axis}")
    shape = np.broadcast_shapes(*(np.shape(without_derivatives(x)) for x in xs))
    moving = [(row, x) for row, x in enumerate(xs) if isinstance(x, Jet)]
    value = np.empty((len(xs), *shape))
    for row, x in enumerate(xs):
        value[row] = without_derivatives(x)
    if not moving:
        return value
    support = tuple(sorted({v for _, x in moving for v in x.support}))
    gradient = np.zeros((len(support), *value.shape))
    hessian = np.zeros((len(_pairs(len(support))), *value.shape))
    for row, x in moving:
        plan = _union(x.support, support)
        gradient[plan.gradient_a, row] = _fit(x.gradient, len(shape))
        if x.hessian is not None:
            hessian[plan.hessian_a, row] = _fit(x.hessian, len(shape))
    return Jet(value, support, gradient, hessian)


def broadcast_to(x: Any, shape: tuple[int, ...]) -> Any:
    """`x` repeated to a shape."""
    if not isinstance(x, Jet):
        return np.broadcast_to(x, shape)
    gradient, hessian = _fit(x.gradient, len(shape)), x.hessian
    return _filled(Jet(np.broadcast_to(x.value, shape), x.support, gradient, hessian))


def zeros_like(x: Any) -> Any:
    """Zeros of the same shape, without derivatives."""
    return np.zeros(np.shape(without_derivatives(x)))


def ones_like(x: Any) -> Any:
    """Ones of the same shape, without derivatives."""
    return np.ones(np.shape(without_derivatives(x)))


# --- operations that are cheaper than the sum of their parts ------------------------------------------------


def compose(function: Callable[..., Any], arguments: Sequence[Any]) -> tuple[Any, ...]:
    """`function(*arguments)`, a tuple of arrays, differentiated in its few arguments and then chained.

    A long elementwise expression of m arguments is carried with the derivatives in those m alone; the chain
    rule to the variables is applied once to each result. The arguments are evaluated elementwise: the
    function must not mix elements.
    """
    moving: list[Jet] = []
    local = []
    for argument in arguments:
        if isinstance(argument, Jet):
            one = np.ones((1,) + (1,) * argument.ndim)
            local.append(Jet(argument.value, (len(moving),), one, None))
            moving.append(argument)
        else:
            local.append(argument)
    results = list(function(*local))
    # results that depend on the same arguments go through the chain rule together
    alike: dict[tuple[Any, ...], list[int]] = {}
    for i, result in enumerate(results):
        if isinstance(result, Jet):
            kind = (result.support, result.value.shape, result.hessian is None)
            alike.setdefault(kind, []).append(i)
    for (taken, *_), places in alike.items():
        inner = [moving[i] for i in taken]
        outer = [results[i] for i in places]
        chained = _chain_one(outer, inner[0]) if len(inner) == 1 else _chain(outer, inner)
        for i, jet in zip(places, chained, strict=True):
            results[i] = jet
    return tuple(results)


def _chain_one(outer: Sequence[Jet], inner: Jet) -> list[Jet]:
    """Functions of one argument."""
    zero = np.zeros(())
    return [_unary(inner, f.value, f.gradient[0], zero if f.hessian is None else f.hessian[0]) for f in outer]


def _chain(outer: Sequence[Jet], inner: Sequence[Jet]) -> list[Jet]:
    """Functions of the same arguments and of one shape, all linear or none."""
    count, shape = len(inner), outer[0].value.shape
    ndim = len(shape)
    support = tuple(sorted({v for jet in inner for v in jet.support}))
    if len(support) == count and all(len(jet.support) == 1 and jet.hessian is None for jet in inner):
        return [_rescaled(f, inner, ndim) for f in outer]
    size = len(support)
    first = np.stack([_spread(f.gradient, shape) for f in outer])
    slope = np.zeros((count, size, *shape))
    hessian = np.zeros((len(outer), len(_pairs(size)), *shape))
    for i, jet in enumerate(inner):
        plan = _union(jet.support, support)
        slope[i, plan.gradient_a] = _fit(jet.gradient, ndim)
        if jet.hessian is not None:
            hessian[:, plan.hessian_a] += first[:, i, None] * _fit(jet.hessian, ndim)
    gradient = np.einsum("ki...,in...->kn...", first, slope)
    curvatures = [_spread(f.hessian, shape) for f in outer if f.hessian is not None]
    if curvatures:
        bent = np.einsum("kij...,jn...->kin...", np.stack(curvatures)[:, _square(count)], slope)
        for n, row in enumerate(_rows(size)):
            hessian[:, row] += np.einsum("i...,kim...->km...", slope[:, n], bent[:, :, n:])
    return [Jet(f.value, support, gradient[k], hessian[k]) for k, f in enumerate(outer)]


def _rescaled(outer: Jet, inner: Sequence[Jet], ndim: int) -> Jet:
    """A function of arguments each of which is a variable of its own, or linear in one."""
    order = sorted(range(len(inner)), key=lambda i: inner[i].support)
    slopes = [_fit(inner[i].gradient, ndim)[0] for i in order]
    gradient = np.empty((len(order), *outer.value.shape))
    for row, i in enumerate(order):
        np.multiply(_fit(outer.gradient, ndim)[i], slopes[row], out=gradient[row])
    support = tuple(inner[i].support[0] for i in order)
    if outer.hessian is None:
        return Jet(outer.value, support, gradient, None)
    places = _square(len(order))
    second = _fit(outer.hessian, ndim)
    hessian = np.empty((len(second), *outer.value.shape))
    for packed, (i, j) in enumerate(_pairs(len(order))):
        np.multiply(second[places[order[i], order[j]]], slopes[i] * slopes[j], out=hessian[packed])
    return Jet(outer.value, support, gradient, hessian)


def apply_operator(operator: FloatArray, vector: Any) -> Any:
    """Matrix times vector for each case.

    Operator (cases, rows, columns) on vector (columns, cases) gives (rows, cases).
    """
    if not isinstance(vector, Jet):
        return np.matmul(operator, vector.T[:, :, None])[:, :, 0].T
    full = _filled(vector)
    size = len(full.support)
    blocks = [full.value[None], full.gradient] + ([] if full.hessian is None else [full.hessian])
    product = np.ascontiguousarray(
        np.matmul(operator, np.concatenate(blocks).transpose(2, 1, 0)).transpose(2, 1, 0)
    )
    hessian = None if full.hessian is None else product[1 + size :]
    return Jet(product[0], full.support, product[1 : 1 + size], hessian)


# Cases whose sums are differentiated at a time: as many as keep the products in the processor's cache.
SETTLED_AT_A_TIME = 64


def settled_sums(
    function: Callable[..., Any],
    arguments: Sequence[Any],
    *,
    operators: Sequence[FloatArray],
    angle: Any,
    unknown: FloatArray,
    sums: FloatArray,
    lift: Any = None,
    by_lift: Sequence[FloatArray] = (),
) -> tuple[Any, ...]:
    """Sums over the elements of an elementwise function whose arguments are moved by an unknown that the
    function itself gives, with derivatives to second order.

    Arguments are (elements, cases). `operators` are the matrix (cases, moved elements, elements), by which
    the unknown is added to each of the first `moved` arguments in turn, and its first two derivatives by an
    angle (cases,). It may be linear in a second number, `lift` (cases,): `by_lift` are its derivatives by
    that, and by that and the angle. The last result of `function` equals the `unknown`, whose plain value
    solves that equation already. The other results that depend on the arguments come back as their sums, by
    `sums` (cases, rows, elements); those without derivatives come back as they are.

    The unknown needs its first derivatives alone: what its second ones add to a sum is the second-order miss
    of its equation times an adjoint of the sum (Griewank & Walther, chapter 15).
    """
    turned_by = [_as_jet(parameter) for parameter in (angle, lift) if parameter is not None]
    results = list(function(*_moved_variables(arguments, operators[0], unknown)))
    places = [i for i, result in enumerate(results[:-1]) if isinstance(result, Jet)]
    parts = []
    for first in range(0, max(unknown.shape[1], 1), SETTLED_AT_A_TIME):
        part = slice(first, first + SETTLED_AT_A_TIME)
        alike = {id(argument): _cases(argument, part) for argument in arguments}
        moved = _Moved(
            [alike[id(argument)] for argument in arguments],
            operators[0][part],
            [operator[part] for operator in (operators[1], *by_lift[:1])],
            [operator[part] for operator in (operators[2], *by_lift[1:])],
            [_cases(parameter, part) for parameter in turned_by],
            unknown[:, part],
        )
        *summed, own = (_Local(_cases(results[i], part), len(arguments)) for i in (*places, -1))
        parts.append(_settled_part(moved, summed, own, sums[part]))
    for i, found in zip(places, zip(*parts, strict=True), strict=True):
        results[i] = _joined_cases(found)
    return tuple(results[:-1])


def _as_jet(x: Any) -> Jet:
    return x if isinstance(x, Jet) else Jet(x, (), np.zeros((0, *x.shape)), None)


def _moved_variables(arguments: Sequence[Any], operator: FloatArray, unknown: FloatArray) -> list[Jet]:
    """The arguments' values, moved by the unknown, as variables of their own."""
    shift = apply_operator(operator, unknown)
    values = [np.broadcast_to(without_derivatives(x), unknown.shape) for x in arguments]
    for i in range(len(shift) // len(unknown)):
        values[i] = values[i] + shift[i * len(unknown) : (i + 1) * len(unknown)]
    one = np.ones((1, 1, 1))
    return [Jet(value, (i,), one, None) for i, value in enumerate(values)]


def _cases(x: Any, part: slice) -> Any:
    """Some of the cases, along the last axis, of what may be the same for all."""

    def cut(a: FloatArray) -> FloatArray:
        return a[..., part] if a.shape[-1] > 1 else a

    if not isinstance(x, Jet):
        return cut(x) if np.ndim(x) else x
    return Jet(cut(x.value), x.support, cut(x.gradient), None if x.hessian is None else cut(x.hessian))


def _joined_cases(parts: Sequence[Jet]) -> Jet:
    return Jet(
        np.concatenate([part.value for part in parts], axis=-1),
        parts[0].support,
        np.concatenate([part.gradient for part in parts], axis=-1),
        np.concatenate([part.hessian for part in parts], axis=-1),
    )


def _settled_part(moved: _Moved, results: Sequence[_Local], own: _Local, sums: FloatArray) -> list[Jet]:
    inverse = np.linalg.inv(np.eye(moved.elements) - moved.coupling(own))
    moved.follow(inverse @ _over_arguments(own.first, moved.slope))
    # the rows of all results, one below the other
    adjoint = np.concatenate([moved.response(result, sums) for result in results], axis=1) @ inverse

    def rows(parts: Sequence[FloatArray]) -> FloatArray:
        return np.concatenate([sums @ part for part in parts], axis=1)

    by_arguments = np.concatenate([sums[..., None] * result.first[:, None] for result in results], axis=1)
    jet = moved.summed(
        value=rows([result.value for result in results]),
        gradient=rows([_over_arguments(result.first, moved.slope) for result in results]),
        hessian=rows([moved.hessian(result) for result in results]) + adjoint @ moved.hessian(own),
        turn=rows([moved.turn(result) for result in results]) + adjoint @ moved.turn(own),
        weights=by_arguments + adjoint[..., None] * own.first[:, None],
    )
    count = sums.shape[1]
    return [jet[i * count : (i + 1) * count] for i in range(len(results))]


class _Local:
    """A result with its derivatives in the arguments, cases first: value (cases, elements, 1), first (cases,
    elements, arguments), second (cases, elements, arguments, arguments).
    """

    def __init__(self, result: Jet, argument_count: int):
        shape = result.value.shape
        first = np.zeros((argument_count, *shape))
        second = np.zeros((argument_count, argument_count, *shape))
        first[list(result.support)] = _fit(result.gradient, len(shape))
        if result.hessian is not None:
            for packed, (a, b) in enumerate(_pairs(len(result.support))):
                i, j = result.support[a], result.support[b]
                second[i, j] = second[j, i] = _fit(result.hessian, len(shape))[packed]
        self.value = result.value.T[:, :, None]
        self.first = np.ascontiguousarray(first.transpose(2, 1, 0))
        self.second = np.ascontiguousarray(second.transpose(3, 2, 0, 1))


def _over_arguments(first: FloatArray, slope: FloatArray) -> FloatArray:
    """Sum over arguments: (cases, elements, variables)."""
    product: FloatArray = np.matmul(first[:, :, None], slope)[:, :, 0]
    return product


class _Moved:
    """Arguments moved by an unknown through an operator that parameters turn, for `settled_sums`; cases
    first.

    `slopes` are the operator's derivatives by each parameter, `bends` those of the first of these by each;
    all others vanish.
    """

    def __init__(
        self,
        arguments: Sequence[Any],
        operator: FloatArray,
        slopes: Sequence[FloatArray],
        bends: Sequence[FloatArray],
        turned_by: Sequence[Jet],
        unknown: FloatArray,
    ):
        self.arguments, self.operator, self.slopes, self.turned_by = arguments, operator, slopes, turned_by
        self.elements, self.cases = unknown.shape
        self.count = operator.shape[1] // self.elements
        self.support = tuple(sorted({v for x in (*arguments, *turned_by) for v in getattr(x, "support", ())}))
        column = unknown.T[:, :, None]
        self.by_turn = [self._by_argument(matrix @ column) for matrix in slopes]
        self.turned = np.zeros((self.cases, len(turned_by), len(self.support)))
        for row, parameter in enumerate(turned_by):
            places = [self.support.index(v) for v in parameter.support]
            self.turned[:, row, places] = _fit(parameter.gradient, 1).T
        self.slope = np.zeros((self.cases, self.elements, len(arguments), len(self.support)))
        for i, argument in enumerate(arguments):
            if isinstance(argument, Jet):
                places = [self.support.index(v) for v in argument.support]
                self.slope[:, :, i, places] = _fit(argument.gradient, 2).transpose(2, 1, 0)
        rows = [self.turned[:, None, None, row] for row in range(len(turned_by))]
        # derivatives of each slope of the operator times the unknown; of those by two parameters at once the
        # first has all, and by itself twice half, because what is made of them is symmetric
        self.slope_turns = [np.zeros(1) for _ in turned_by]
        for row, bend in enumerate(bends):
            self.slope[:, :, : self.count] += self.by_turn[row] * rows[row]
            share = 0.5 if row == 0 else 1.0
            self.slope_turns[0] = self.slope_turns[0] + share * self._by_argument(bend @ column) * rows[row]

    def _by_argument(self, product: FloatArray) -> FloatArray:
        """(cases, moved elements, columns) as (cases, elements, moved, columns)."""
        shape = (self.cases, self.count, self.elements, product.shape[-1])
        turned: FloatArray = product.reshape(shape).transpose(0, 2, 1, 3)
        return turned

    def coupling(self, of: _Local) -> FloatArray:
        """Derivative of a result by the unknown, (cases, elements, elements)."""
        rows = self.operator.reshape(self.cases, self.count, self.elements, self.elements)
        total = np.zeros((self.cases, self.elements, self.elements))
        for i in range(self.count):
            if of.first[:, :, i].any():
                total += of.first[:, :, i, None] * rows[:, i]
        return total

    def response(self, of: _Local, sums: FloatArray) -> FloatArray:
        """Derivative of a result's sums by the unknown, (cases, rows, elements)."""
        parts = [sums * of.first[:, None, :, i] for i in range(self.count)]
        by_unknown: FloatArray = np.concatenate(parts, axis=-1) @ self.operator
        return by_unknown

    def follow(self, unknown_slope: FloatArray) -> None:
        """Let the arguments move with the unknown's slope (cases, elements, variables)."""
        self.slope[:, :, : self.count] += self._by_argument(self.operator @ unknown_slope)
        self.slope_turns = [
            turn + self._by_argument(slope @ unknown_slope)
            for turn, slope in zip(self.slope_turns, self.slopes, strict=True)
        ]

    def hessian(self, of: _Local) -> FloatArray:
        """Second derivatives along the arguments' slopes, (cases, elements, variables^2)."""
        bent = of.second @ self.slope
        full: FloatArray = np.matmul(self.slope.transpose(0, 1, 3, 2), bent)
        return full.reshape(self.cases, self.elements, len(self.support) ** 2)

    def turn(self, of: _Local) -> FloatArray:
        """What a result gains by the operator's turning while the unknown moves, (cases, elements, variables
        of one parameter after the other).
        """
        first = of.first[:, :, : self.count]
        return np.concatenate([_over_arguments(first, turn) for turn in self.slope_turns], axis=-1)

    def summed(
        self,
        *,
        value: FloatArray,
        gradient: FloatArray,
        hessian: FloatArray,
        turn: FloatArray,
        weights: FloatArray,
    ) -> Jet:
        """A sum (rows, cases) from its parts; `weights` (cases, rows, elements, arguments) are its
        derivatives by the arguments' own values.
        """
        size, rows = len(self.support), hessian.shape[1]
        full = hessian.reshape(self.cases, rows, size, size)
        by_parameter = turn.reshape(self.cases, rows, len(self.turned_by), size)
        turned = np.matmul(by_parameter.swapaxes(-1, -2), self.turned[:, None])
        full += turned
        full += turned.swapaxes(-1, -2)
        first, second = np.triu_indices(size)
        upper = full.reshape(self.cases, rows, size * size)[..., first * size + second]
        packed = np.ascontiguousarray(upper.transpose(2, 1, 0))
        moves = self.elements * self.count
        of_moves = weights[..., : self.count].reshape(self.cases, rows, moves)
        for parameter, by in zip(self.turned_by, self.by_turn, strict=True):
            weight = np.matmul(of_moves, by.reshape(self.cases, moves, 1))[..., 0]
            self._add_curvature(packed, parameter, weight)
        # an argument that occurs twice is turned over once
        for argument in {id(x): x for x in self.arguments if isinstance(x, Jet)}.values():
            places = [i for i, other in enumerate(self.arguments) if other is argument]
            self._add_curvature(packed, argument, weights[..., places].sum(axis=-1))
        return Jet(
            np.ascontiguousarray(value[:, :, 0].T),
            self.support,
            np.ascontiguousarray(gradient.transpose(2, 1, 0)),
            packed,
        )

    def _add_curvature(self, packed: FloatArray, of: Jet, weight: FloatArray) -> None:
        """Add a quantity's own second derivatives, weighted: by (cases, rows), or by (cases, rows, elements)
        if it has elements.
        """
        if of.hessian is None:
            return
        places = _union(of.support, self.support).hessian_a
        own = _fit(of.hessian, weight.ndim - 1)
        if weight.ndim == 3 and own.shape[1] == 1:
            weight, own = weight.sum(axis=-1), own[:, 0]
        if weight.ndim == 2:
            packed[places] += own[:, None] * weight.T
        else:
            own = np.broadcast_to(own, (len(own), self.elements, self.cases))
            packed[places] += (weight @ np.ascontiguousarray(own.transpose(2, 1, 0))).transpose(2, 1, 0)
