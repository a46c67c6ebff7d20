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
    angle = np.arctan2(without_derivatives(y), without_derivatives(x))
    # turned into the direction of the point itself, the small remaining angle is regular everywhere but at
    # the origin
    c, s = np.cos(angle), np.sin(angle)
    return arctan((y * c - x * s) / (x * c + y * s)) + angle


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
    return Jet(
        np.concatenate(values, axis=along),
        support,
        np.concatenate(gradients, axis=along + 1),
        np.concatenate(hessians, axis=along + 1),
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


def apply_turning_operator(matrices: Sequence[FloatArray], angle: Jet, vector: Any) -> Any:
    """Matrix times vector where the matrix depends on one angle a case, given it and its first two
    derivatives at the angle's value.

    The angle's own jet, less its value, is of first order, so that the matrix's first derivative needs the
    vector and its gradient alone and the second derivative the vector alone.
    """
    turned = Jet(np.zeros_like(angle.value), angle.support, angle.gradient, angle.hessian)
    if isinstance(vector, Jet):
        slope = apply_operator(matrices[1], Jet(vector.value, vector.support, vector.gradient, None))
    else:
        slope = apply_operator(matrices[1], vector)
    curvature = apply_operator(matrices[2], without_derivatives(vector))
    return apply_operator(matrices[0], vector) + slope * turned + (0.5 * curvature) * (turned * turned)
