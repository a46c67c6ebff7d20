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


class _Union:
    """How two supports map into their union."""

    def __init__(self, a: Support, b: Support):
        self.support = tuple(sorted({*a, *b}))
        place = {variable: i for i, variable in enumerate(self.support)}
        packed = {pair: i for i, pair in enumerate(_pairs(len(self.support)))}
        at_a, at_b = [place[v] for v in a], [place[v] for v in b]

        def pair(i: int, j: int) -> int:
            return packed[min(i, j), max(i, j)]

        self.gradient_a, self.gradient_b = np.array(at_a), np.array(at_b)
        self.hessian_a = np.array([pair(at_a[i], at_a[j]) for i, j in _pairs(len(a))])
        self.hessian_b = np.array([pair(at_b[i], at_b[j]) for i, j in _pairs(len(b))])
        self.cross = tuple(np.array([pair(i, j) for j in at_b]) for i in at_a)
        self.shared = tuple((a.index(v), b.index(v), pair(place[v], place[v])) for v in a if v in b)


@cache
def _union(a: Support, b: Support) -> _Union:
    return _Union(a, b)


def _fit(coefficients: FloatArray, ndim: int) -> FloatArray:
    """Insert axes behind the leading one until the rest lines up with a value of `ndim` axes."""
    missing = ndim + 1 - coefficients.ndim
    return (
        coefficients.reshape(coefficients.shape[0], *(1,) * missing, *coefficients.shape[1:])
        if missing > 0
        else coefficients
    )


def _filled(a: Jet) -> Jet:
    """The same jet with gradient and Hessian of the value's full shape."""
    shape, ndim = a.value.shape, a.value.ndim
    gradient = np.broadcast_to(_fit(a.gradient, ndim), (len(a.support), *shape))
    hessian = (
        None if a.hessian is None else np.broadcast_to(_fit(a.hessian, ndim), (a.hessian.shape[0], *shape))
    )
    return Jet(a.value, a.support, gradient, hessian)


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
    ga, gb = _fit(a.gradient, value.ndim), _fit(b.gradient, value.ndim)
    ha = None if a.hessian is None else _fit(a.hessian, value.ndim)
    hb = None if b.hessian is None else _fit(b.hessian, value.ndim)
    if a.support == b.support:
        hessian = hb if ha is None else ha if hb is None else ha + hb
        return Jet(value, a.support, ga + gb, hessian)
    plan = _union(a.support, b.support)
    shape = np.broadcast_shapes(ga.shape[1:], gb.shape[1:])
    gradient = np.zeros((len(plan.support), *shape))
    gradient[plan.gradient_a] = ga
    gradient[plan.gradient_b] += gb
    if ha is None and hb is None:
        return Jet(value, plan.support, gradient, None)
    parts = [h.shape[1:] for h in (ha, hb) if h is not None]
    hessian = np.zeros((len(_pairs(len(plan.support))), *np.broadcast_shapes(*parts)))
    if ha is not None:
        hessian[plan.hessian_a] = ha
    if hb is not None:
        hessian[plan.hessian_b] += hb
    return Jet(value, plan.support, gradient, hessian)


def _multiply(a: Jet, b: Any) -> Jet:
    if not isinstance(b, Jet):
        b = np.asarray(b)
        value = a.value * b
        gradient = _fit(a.gradient, value.ndim) * b
        return Jet(value, a.support, gradient, None if a.hessian is None else _fit(a.hessian, value.ndim) * b)
    value = a.value * b.value
    ga, gb = _fit(a.gradient, value.ndim), _fit(b.gradient, value.ndim)
    ha = None if a.hessian is None else _fit(a.hessian, value.ndim)
    hb = None if b.hessian is None else _fit(b.hessian, value.ndim)
    shape = np.broadcast_shapes(ga.shape[1:], gb.shape[1:], a.value.shape, b.value.shape)
    if a.support == b.support:
        return _multiply_alike(value, a.support, shape, (a.value, ga, ha), (b.value, gb, hb))
    plan = _union(a.support, b.support)
    gradient = np.zeros((len(plan.support), *shape))
    gradient[plan.gradient_a] = ga * b.value
    gradient[plan.gradient_b] += gb * a.value
    hessian = np.zeros((len(_pairs(len(plan.support))), *shape))
    if ha is not None:
        hessian[plan.hessian_a] = ha * b.value
    if hb is not None:
        hessian[plan.hessian_b] += hb * a.value
    for i, places in enumerate(plan.cross):
        hessian[places] += ga[i] * gb
    for i, j, place in plan.shared:
        hessian[place] += ga[i] * gb[j]
    return Jet(value, plan.support, gradient, hessian)


def _multiply_alike(
    value: FloatArray,
    support: Support,
    shape: tuple[int, ...],
    a: tuple[FloatArray, FloatArray, FloatArray | None],
    b: tuple[FloatArray, FloatArray, FloatArray | None],
) -> Jet:
    (va, ga, ha), (vb, gb, hb) = a, b
    hessian = np.zeros((len(_pairs(len(support))), *shape))
    for i, row in enumerate(_rows(len(support))):
        hessian[row] = ga[i] * gb[i:]
        hessian[row] += gb[i] * ga[i:]
    if ha is not None:
        hessian += ha * vb
    if hb is not None:
        hessian += hb * va
    return Jet(value, support, ga * vb + gb * va, hessian)


def _unary(a: Jet, value: FloatArray, first: FloatArray, second: FloatArray) -> Jet:
    """f(a) from the value and the two derivatives of f."""
    g = _fit(a.gradient, value.ndim)
    shape = np.broadcast_shapes(g.shape[1:], first.shape)
    hessian = np.zeros((len(_pairs(len(a.support))), *shape))
    bent = second * g
    for i, row in enumerate(_rows(len(a.support))):
        hessian[row] = bent[i] * g[i:]
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
    support = tuple(sorted({*getattr(a, "support", ()), *getattr(b, "support", ())}))
    shape = np.broadcast_shapes(
        np.shape(condition), np.shape(without_derivatives(a)), np.shape(without_derivatives(b))
    )
    left, right = _widened(a, support, shape), _widened(b, support, shape)
    value, gradient, hessian = (np.where(condition, x, y) for x, y in zip(left, right, strict=True))
    return Jet(value, support, gradient, hessian)


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
    return concatenate([broadcast_to(x, shape).reshape(1, *shape) for x in xs])


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
    shape = np.broadcast_shapes(*(np.shape(without_derivatives(a)) for a in arguments))
    moving = [a for a in arguments if isinstance(a, Jet)]
    one = np.ones((1,) + (1,) * len(shape))
    local, count = [], 0
    for argument in arguments:
        if isinstance(argument, Jet):
            local.append(Jet(argument.value, (count,), one, None))
            count += 1
        else:
            local.append(argument)
    return tuple(_chain(result, moving) for result in function(*local))


def _chain(outer: Any, inner: Sequence[Jet]) -> Any:
    if not isinstance(outer, Jet):
        return outer
    shape = outer.value.shape
    first = _fit(outer.gradient, len(shape))
    support = tuple(sorted({v for i in outer.support for v in inner[i].support}))
    place = {v: i for i, v in enumerate(support)}
    size, ndim = len(support), len(shape)
    rows = _rows(size)
    gradient = np.zeros((size, *shape))
    hessian = np.zeros((len(_pairs(size)), *shape))
    for position, i in enumerate(outer.support):
        plan = _union(inner[i].support, support)
        gradient[plan.gradient_a] += first[position] * _fit(inner[i].gradient, ndim)
        if (h := inner[i].hessian) is not None:
            hessian[plan.hessian_a] += first[position] * _fit(h, ndim)
    if outer.hessian is not None:
        second = _fit(outer.hessian, ndim)
        packed = {pair: k for k, pair in enumerate(_pairs(len(outer.support)))}
        for p, i in enumerate(outer.support):
            bent = np.zeros((size, *shape))
            for q, j in enumerate(outer.support):
                plan = _union(inner[j].support, support)
                bent[plan.gradient_a] += second[packed[min(p, q), max(p, q)]] * _fit(inner[j].gradient, ndim)
            slope = _fit(inner[i].gradient, ndim)
            for position, variable in enumerate(inner[i].support):
                k = place[variable]
                hessian[rows[k]] += slope[position] * bent[k:]
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
