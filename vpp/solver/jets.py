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
        return _NAMESPACE

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


_NAMESPACE = sys.modules[__name__]

# --- making and reading jets --------------------------------------------------------------------------------


def variables(x: FloatArray) -> tuple[Jet, ...]:
    """One jet for each row of `x`, shape (n_variables, ...): the independent variables."""
    one = _one(x.ndim - 1)
    return tuple(Jet(row, (i,), one, None) for i, row in enumerate(x))


@cache
def _one(ndim: int) -> FloatArray:
    """The gradient of a variable of so many axes; not to be written to."""
    one = np.ones((1,) * (ndim + 1))
    one.setflags(write=False)
    return one


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
def _pair_columns(size: int) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """First and second index of every entry of the packed upper triangle."""
    first, second = np.array(_pairs(size)).reshape(-1, 2).T
    return np.ascontiguousarray(first), np.ascontiguousarray(second)


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
    """How two supports map into their union, `a` the one of fewer variables."""

    def __init__(self, a: Support, b: Support):
        self.support = tuple(sorted({*a, *b}))
        self.size, self.packed_size = len(self.support), len(_pairs(len(self.support)))
        place = {variable: i for i, variable in enumerate(self.support)}
        packed = {pair: i for i, pair in enumerate(_pairs(self.size))}
        at_a, at_b = [place[v] for v in a], [place[v] for v in b]

        def pair(i: int, j: int) -> int:
            return packed[min(i, j), max(i, j)]

        self.contained = self.support == b
        self.gradient_a, self.gradient_b = _index(at_a), _index(at_b)
        self.hessian_a = _index([pair(at_a[i], at_a[j]) for i, j in _pairs(len(a))])
        self.hessian_b = _index([pair(at_b[i], at_b[j]) for i, j in _pairs(len(b))])
        self.cross = tuple(_index([pair(i, j) for j in at_b]) for i in at_a)
        both = [v for v in a if v in b]
        self.disjoint = not both
        # squares of the variables that both have
        self.shared = (
            (
                _index([pair(place[v], place[v]) for v in both]),
                _index([a.index(v) for v in both]),
                _index([b.index(v) for v in both]),
            )
            if both
            else ()
        )
        # of a single variable among those of b: its place there, and its square's among the cross terms
        self.place = at_a[0] if len(a) == 1 and self.contained else -1


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
    ga, ha = _fitted(a, value.ndim)
    gb, hb = _fitted(b, value.ndim)
    if a.support == b.support:
        hessian = hb if ha is None else ha if hb is None else ha + hb
        return Jet(value, a.support, ga + gb, hessian)
    plan = _union(a.support, b.support)
    gradient = _gathered(ga, gb, plan.gradient_a, plan.gradient_b, plan.size, plan)
    if ha is None and (hb is None or plan.contained):
        return Jet(value, plan.support, gradient, hb)
    return Jet(
        value,
        plan.support,
        gradient,
        _gathered(ha, hb, plan.hessian_a, plan.hessian_b, plan.packed_size, plan),
    )


def _fitted(a: Jet, ndim: int) -> tuple[FloatArray, FloatArray | None]:
    """Gradient and Hessian, lined up with a value of `ndim` axes."""
    gradient, hessian = a.gradient, a.hessian
    if gradient.ndim <= ndim:
        gradient = _fit(gradient, ndim)
    if hessian is not None and hessian.ndim <= ndim:
        hessian = _fit(hessian, ndim)
    return gradient, hessian


def _gathered(
    a: FloatArray | None, b: FloatArray | None, at_a: Places, at_b: Places, size: int, plan: _Union
) -> FloatArray:
    """The sum of coefficients at their places among those of the union; at least one is given."""
    if a is None or b is None:
        some, places = (b, at_b) if a is None else (a, at_a)
        assert some is not None
        result = np.zeros((size, *some.shape[1:]))
        result[places] = some
        return result
    shape = (size, *_common(a.shape[1:], b.shape[1:]))
    if plan.contained:
        result = np.empty(shape)
        result[...] = b
    else:
        result = np.zeros(shape)
        result[at_b] = b
    result[at_a] += a
    return result


def _multiply(a: Jet, b: Any) -> Jet:
    if not isinstance(b, Jet):
        b = np.asarray(b)
        value, gradient, curvature = a.value * b, a.gradient, a.hessian
        if value.ndim > a.value.ndim or gradient.ndim <= value.ndim:
            gradient, curvature = _fitted(a, value.ndim)
        return Jet(value, a.support, gradient * b, None if curvature is None else curvature * b)
    value = a.value * b.value
    if len(a.support) > len(b.support):
        a, b = b, a  # the loop below is over the variables of the smaller
    ga, ha = _fitted(a, value.ndim)
    gb, hb = _fitted(b, value.ndim)
    if a.support == b.support:
        return _multiply_alike(value, a.support, (a.value, ga, ha), (b.value, gb, hb))
    plan = _union(a.support, b.support)
    gradient = _scattered(gb, a.value, plan.gradient_b, (plan.size, *value.shape))
    gradient[plan.gradient_a] += ga * b.value
    hessian = _scattered(hb, a.value, plan.hessian_b, (plan.packed_size, *value.shape))
    if plan.place >= 0:
        # one variable against several with it among them: all that is new lies along its row
        row = ga[0] * gb
        own = row[plan.place]
        own += own
        if ha is not None:
            if row.shape[1:] == value.shape:
                own += ha[0] * b.value
            else:
                row = row + np.zeros(value.shape)
                row[plan.place] += ha[0] * b.value
        hessian[plan.cross[0]] += row
        return Jet(value, plan.support, gradient, hessian)
    if ha is not None:
        hessian[plan.hessian_a] += ha * b.value
    for i, places in enumerate(plan.cross):
        if plan.disjoint:
            hessian[places] = ga[i] * gb
        else:
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


# Numbers in a value up to which gathering all pairs of derivatives at once beats going row by row.
FEW = 512


def _multiply_alike(
    value: FloatArray,
    support: Support,
    a: tuple[FloatArray, FloatArray, FloatArray | None],
    b: tuple[FloatArray, FloatArray, FloatArray | None],
) -> Jet:
    (va, ga, ha), (vb, gb, hb) = a, b
    size = len(support)
    if size == 1:
        hessian = ga * gb
        hessian += hessian
    elif value.size <= FEW:
        first, second = _pair_columns(size)
        hessian = ga[first] * gb[second] + gb[first] * ga[second]
    else:
        hessian = np.empty((len(_pairs(size)), *value.shape))
        for i, row in enumerate(_rows(size)):
            part = np.multiply(ga[i], gb[i:], out=hessian[row])
            part += gb[i] * ga[i:]
    if ha is not None:
        hessian = _plus(hessian, ha * vb)
    if hb is not None:
        hessian = _plus(hessian, hb * va)
    return Jet(value, support, _plus(ga * vb, gb * va), hessian)


def _unary(a: Jet, value: FloatArray, first: FloatArray, second: FloatArray) -> Jet:
    """f(a) from the value and the two derivatives of f."""
    g, curvature = _fitted(a, value.ndim)
    size = len(a.support)
    bent = second * g
    if size == 1:
        hessian = bent * g
    elif value.size <= FEW:
        i, j = _pair_columns(size)
        hessian = bent[i] * g[j]
    else:
        hessian = np.empty((len(_pairs(size)), *value.shape))
        for variable, row in enumerate(_rows(size)):
            np.multiply(bent[variable], g[variable:], out=hessian[row])
    if curvature is not None:
        hessian = _plus(hessian, first * curvature)
    return Jet(value, a.support, first * g, hessian)


def _plus(own: FloatArray, more: FloatArray) -> FloatArray:
    """The sum, in the memory of the first where that is as large."""
    if own.shape == more.shape:
        own += more
        return own
    return own + more


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
        _summed(full.value, along),
        full.support,
        _summed(full.gradient, along + 1),
        None if full.hessian is None else _summed(full.hessian, along + 1),
    )


def _summed(array: FloatArray, axis: int) -> FloatArray:
    """Sum over an axis, term by term: NumPy sums in pairs along one that is contiguous in memory, which would
    round a single case differently from many.
    """
    if array.shape[-1] == 1 and axis < array.ndim - 1:
        accumulated: FloatArray = np.add.accumulate(array, axis=axis).take(-1, axis=axis)
        return accumulated
    summed: FloatArray = array.sum(axis=axis)
    return summed


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
            local.append(Jet(argument.value, (len(moving),), _one(argument.ndim), None))
            moving.append(argument)
        else:
            local.append(argument)
    return _chained(function(*local), moving)


def compose_groups(
    function: Callable[..., Any],
    shared: Sequence[Any],
    own: Sequence[Sequence[Any]],
    parts: Sequence[slice],
) -> list[tuple[Any, ...]]:
    """As `compose`, for groups of rows at once; see `vpp.physics.arrays.groupwise`.

    An argument that every group has its own of is one variable inside, and that of each group outside.
    """
    arguments = [(x, [x] * len(parts)) for x in shared]
    for each in own:
        repeated = [
            without_derivatives(x)
            for x, part in zip(each, parts, strict=True)
            for _ in range(part.start, part.stop)
        ]
        arguments.append((np.stack(repeated), list(each)))
    local: list[Any] = []
    moving: list[list[Any]] = []
    for value, of_groups in arguments:
        if any(isinstance(x, Jet) for x in of_groups):
            plain = without_derivatives(value)
            local.append(Jet(plain, (len(moving),), _one(plain.ndim), None))
            moving.append(of_groups)
        else:
            local.append(value)
    results = function(*local)
    return [
        _chained([result[..., part, :] for result in results], [of_groups[i] for of_groups in moving])
        for i, part in enumerate(parts)
    ]


def _chained(of_local: Sequence[Any], moving: Sequence[Any]) -> tuple[Any, ...]:
    """Results by local variables as ones by what the `moving` arguments depend on."""
    plain = {i for i, argument in enumerate(moving) if not isinstance(argument, Jet)}
    results = [_without(result, plain) for result in of_local] if plain else list(of_local)
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


def with_slopes(function: Callable[[FloatArray], tuple[Any, Any]], x: Any) -> tuple[Any, ...]:
    """Functions of one argument from their values and what gives their first and second derivatives."""
    values, slopes = function(without_derivatives(x))
    if not isinstance(x, Jet):
        return tuple(values)
    return tuple(_unary(x, value, *by) for value, by in zip(values, slopes(), strict=True))


def with_partials(function: Callable[..., tuple[Any, Any]], arguments: Sequence[Any]) -> tuple[Any, ...]:
    """Functions of several arguments from their values and what gives their gradients and second
    derivatives.
    """
    values, partials = function(*(without_derivatives(x) for x in arguments))
    numbers = tuple(range(len(arguments)))
    return _chained(
        [Jet(value, numbers, *by) for value, by in zip(values, partials(), strict=True)], arguments
    )


def _without(x: Any, fixed: set[int]) -> Any:
    """The same with some variables held."""
    if not isinstance(x, Jet) or not fixed.intersection(x.support):
        return x
    left = [i for i, variable in enumerate(x.support) if variable not in fixed]
    if not left:
        return x.value
    pairs = [k for k, (i, j) in enumerate(_pairs(len(x.support))) if i in left and j in left]
    hessian = None if x.hessian is None else x.hessian[pairs]
    return Jet(x.value, tuple(x.support[i] for i in left), x.gradient[left], hessian)


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
        return _rescaled(outer, inner, ndim)
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


def _rescaled(outer: Sequence[Jet], inner: Sequence[Jet], ndim: int) -> list[Jet]:
    """Functions of arguments each of which is a variable of its own, or linear in one."""
    order = sorted(range(len(inner)), key=lambda i: inner[i].support)
    support = tuple(inner[i].support[0] for i in order)
    places, turn = _reordered(tuple(order))
    slopes = np.stack(np.broadcast_arrays(*(_fit(inner[i].gradient, ndim)[0] for i in order)))
    first, second = _pair_columns(len(order))
    bends = slopes[first] * slopes[second]
    found = []
    for f in outer:
        gradient = np.multiply(_fit(f.gradient, ndim)[turn], slopes, out=np.empty((len(order), *f.shape)))
        hessian = None
        if f.hessian is not None:
            hessian = np.multiply(_fit(f.hessian, ndim)[places], bends, out=np.empty((len(bends), *f.shape)))
        found.append(Jet(f.value, support, gradient, hessian))
    return found


@cache
def _reordered(order: tuple[int, ...]) -> tuple[Places, Places]:
    """Where the second and the first derivatives of rearranged variables come from."""
    square = _square(len(order))
    return _index([int(square[order[i], order[j]]) for i, j in _pairs(len(order))]), _index(list(order))


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
    later: list[LaterCurvature] | None = None,
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
    of its equation times an adjoint of the sum (Griewank & Walther, chapter 15). One adjoint does for a
    weighted sum of all sums, which is much cheaper than their second derivatives one by one. Where a list
    `later` is given, the sums come back without second derivatives, and what makes those of a weighted sum of
    them is put into the list.
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
        local = _Local([_cases(results[i], part) for i in (*places, -1)], len(arguments))
        parts.append(_Settled(moved, local, sums[part]))
    curvature = LaterCurvature(parts)
    found = curvature.without_it()
    if later is None:
        found = curvature.added_to(found)
    else:
        later.append(curvature)
    for i, jet in zip(places, found, strict=True):
        results[i] = jet
    return tuple(results[:-1])


class LaterCurvature:
    """Second derivatives of the sums that `settled_sums` gives without them, kept back until it is known how
    much each sum counts.

    A function of the sums and of other things is evaluated with the sums' first derivatives alone; its
    Hessian then lacks the sums' second derivatives, each times the function's derivative by that sum. These
    derivatives are the weights.
    """

    def __init__(self, parts: Sequence[_Settled]):
        self._parts = parts
        self.support = parts[0].support

    def weighted(self, weights: FloatArray) -> FloatArray:
        """Second derivatives (pairs of variables of the support, cases) of the sum of weights (results, rows,
        cases) times the sums; of pairs the upper triangle row by row.
        """
        found, done = [], 0
        for part in self._parts:
            found.append(part.weighted_hessian(weights[..., done : done + part.cases]))
            done += part.cases
        return np.concatenate(found, axis=-1)

    def dense(self, weights: FloatArray, variable_count: int) -> FloatArray:
        """As `weighted`, as full matrices (n, n, cases) by all variables."""
        packed = self.weighted(weights)
        none = np.zeros((len(self.support), 1))
        jet = Jet(np.zeros(packed.shape[-1]), self.support, none, packed)
        return dense(jet, variable_count, jet.shape)[2]

    def without_it(self) -> list[Jet]:
        """For each result its sums with first derivatives."""
        value = np.concatenate([part.value for part in self._parts], axis=-1)
        gradient = np.concatenate([part.gradient for part in self._parts], axis=-1)
        return [Jet(value[:, i], self.support, gradient[:, :, i], None) for i in range(value.shape[1])]

    def added_to(self, plain: Sequence[Jet]) -> list[Jet]:
        """The same with the second derivatives of each sum."""
        found = []
        for i, jet in enumerate(plain):
            hessian = np.empty((len(_pairs(len(self.support))), *jet.shape))
            for row in range(jet.shape[0]):
                weights = np.zeros((len(plain), *jet.shape))
                weights[i, row] = 1.0
                hessian[:, row] = self.weighted(weights)
            found.append(Jet(jet.value, jet.support, jet.gradient, hessian))
        return found


def _as_jet(x: Any) -> Jet:
    return x if isinstance(x, Jet) else Jet(x, (), np.zeros((0, *x.shape)), None)


def _moved_variables(arguments: Sequence[Any], operator: FloatArray, unknown: FloatArray) -> list[Jet]:
    """The arguments' values, moved by the unknown, as variables of their own."""
    shift = apply_operator(operator, unknown)
    values = [np.broadcast_to(without_derivatives(x), unknown.shape) for x in arguments]
    for i in range(len(shift) // len(unknown)):
        values[i] = values[i] + shift[i * len(unknown) : (i + 1) * len(unknown)]
    return [Jet(value, (i,), _one(2), None) for i, value in enumerate(values)]


def _cases(x: Any, part: slice) -> Any:
    """Some of the cases, along the last axis, of what may be the same for all."""

    def cut(a: FloatArray) -> FloatArray:
        return a[..., part] if a.shape[-1] > 1 else a

    if not isinstance(x, Jet):
        return cut(x) if np.ndim(x) else x
    return Jet(cut(x.value), x.support, cut(x.gradient), None if x.hessian is None else cut(x.hessian))


def _cases_first(a: FloatArray) -> FloatArray:
    return np.ascontiguousarray(a.transpose(tuple(range(a.ndim))[::-1]))


class _Settled:
    """`settled_sums` of some cases: value (rows, results, cases), gradient (variables, rows, results, cases)
    and what second derivatives are made from.
    """

    def __init__(self, moved: _Moved, local: _Local, sums: FloatArray):
        self._moved, self._local, self._sums = moved, local, sums
        self.cases, self.support = len(sums), moved.support
        self._inverse = np.linalg.inv(moved.uncoupled(local))
        moved.follow(self._inverse @ moved.by_variables(local.first[:, :, -1:])[:, :, 0])
        self.value = _cases_first(self._over_elements(local.value)[..., 0])
        self.gradient = _cases_first(self._over_elements(moved.by_variables(local.first[:, :, :-1])))

    def _over_elements(self, each: FloatArray) -> FloatArray:
        """(cases, elements, results, ...) to (cases, results, rows, ...)."""
        cases, rows, elements = self._sums.shape
        results, width = each.shape[2], int(np.prod(each.shape[3:]))
        flat = self._sums @ each.reshape(cases, elements, results * width)
        return flat.reshape(cases, rows, results, width).swapaxes(1, 2)

    def weighted_hessian(self, weights: FloatArray) -> FloatArray:
        """See `LaterCurvature.weighted`."""
        moved, local = self._moved, self._local
        of_elements = np.empty((self.cases, moved.elements, local.count))
        of_elements[:, :, :-1] = (_cases_first(weights.swapaxes(0, 1)) @ self._sums).swapaxes(1, 2)
        by_unknown = moved.by_unknown(local.weighted_first(of_elements, local.count - 1))
        of_elements[:, :, -1] = (by_unknown[:, None] @ self._inverse)[:, 0]
        first = local.weighted_first(of_elements, local.count)
        full = moved.hessian(first, local.weighted_second(of_elements))
        i, j = _pair_columns(len(self.support))
        packed = _cases_first(0.5 * (full[:, i, j] + full[:, j, i]))
        moved.add_curvature(packed, first)
        return packed


class _Local:
    """Results with their derivatives in the arguments, the one that gives the unknown last; cases first:
    value (cases, elements, results but the last), first (cases, elements, results, arguments).
    """

    def __init__(self, results: Sequence[Jet], argument_count: int):
        elements, cases = results[0].value.shape
        self.count, self.own_support = len(results), results[-1].support
        self._results, self._argument_count = results, argument_count
        self.value = np.empty((cases, elements, self.count - 1))
        self.first = np.zeros((cases, elements, self.count, argument_count))
        for place, result in enumerate(results):
            if place < self.count - 1:
                self.value[:, :, place] = result.value.T
            support = list(result.support)
            self.first[:, :, place, support] = _spread(result.gradient, result.value.shape).transpose(2, 1, 0)

    def weighted_first(self, weights: FloatArray, count: int) -> FloatArray:
        """First derivatives of the weighted sum of the first `count` results, (cases, elements, arguments);
        weights are (cases, elements, results).
        """
        product: FloatArray = np.matmul(weights[:, :, None, :count], self.first[:, :, :count])[:, :, 0]
        return product

    def weighted_second(self, weights: FloatArray) -> FloatArray:
        """Second derivatives of the weighted sum of all results, (cases, elements, arguments, arguments)."""
        size = self._argument_count
        cases, elements = weights.shape[:2]
        packed = np.zeros((len(_pairs(size)), elements, cases))
        for result, weight in zip(self._results, weights.transpose(2, 1, 0), strict=True):
            if result.hessian is not None:
                plan = _union(result.support, tuple(range(size)))
                packed[plan.hessian_a] += _fit(result.hessian, 2) * weight
        return _cases_first(packed)[:, :, _square(size)]


class _Moved:
    """Arguments moved by an unknown through an operator that parameters turn, for `settled_sums`; cases
    first.

    `slopes` are the operator's derivatives by each parameter, `bends` those of the first of these by each;
    all others vanish. `slope` (cases, elements, arguments and parameters, variables) is what the arguments
    and, last, the parameters change by.
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
        self.operator, self.slopes, self.turned_by = operator, slopes, turned_by
        self.elements, self.cases = unknown.shape
        self.count, self.argument_count = operator.shape[1] // self.elements, len(arguments)
        self.support = tuple(sorted({v for x in (*arguments, *turned_by) for v in getattr(x, "support", ())}))
        # an argument that occurs twice is turned over once
        occurs: dict[int, list[int]] = {}
        for i, argument in enumerate(arguments):
            if isinstance(argument, Jet):
                occurs.setdefault(id(argument), []).append(i)
        self.jets = [(arguments[places[0]], places) for places in occurs.values()]
        self.slope = np.zeros(
            (self.cases, self.elements, self.argument_count + len(turned_by), len(self.support))
        )
        for argument, places in self.jets:
            slope = _fit(argument.gradient, 2).transpose(2, 1, 0)
            for i in places:
                self.slope[:, :, i, self._places(argument)] = slope
        for i, parameter in enumerate(turned_by, start=self.argument_count):
            self.slope[:, :, i, self._places(parameter)] = _fit(parameter.gradient, 2).transpose(2, 1, 0)
        column = np.ascontiguousarray(unknown.T)[:, :, None]
        self.by_turn = [self._by_argument(matrix @ column) for matrix in slopes]
        # derivatives of each slope of the operator times the unknown; of those by two parameters at once the
        # first has all, and by itself twice half, because what is made of them is symmetric
        self.slope_turns = [np.zeros(1) for _ in turned_by]
        for row, bend in enumerate(bends):
            turned = self.slope[:, :, None, self.argument_count + row]
            self.slope[:, :, : self.count] += self.by_turn[row] * turned
            share = 0.5 if row == 0 else 1.0
            self.slope_turns[0] = self.slope_turns[0] + self._by_argument(bend @ column) * (share * turned)

    def _places(self, of: Jet) -> Places:
        return _index([self.support.index(v) for v in of.support]) if of.support else slice(0)

    def _by_argument(self, product: FloatArray) -> FloatArray:
        """(cases, moved elements, columns) as (cases, elements, moved, columns)."""
        shape = (self.cases, self.count, self.elements, product.shape[-1])
        turned: FloatArray = product.reshape(shape).transpose(0, 2, 1, 3)
        return turned

    def by_variables(self, first: FloatArray) -> FloatArray:
        """Derivatives by the variables of results (cases, elements, results, arguments), in place of those by
        the arguments.
        """
        product: FloatArray = np.matmul(first, self.slope[:, :, : self.argument_count])
        return product

    def uncoupled(self, local: _Local) -> FloatArray:
        """Derivative by the unknown of what it misses of the last result, (cases, elements, elements)."""
        by_argument = self.operator.reshape(self.cases, self.count, self.elements, self.elements)
        used = [i for i in range(self.count) if i in local.own_support]
        if not used:
            return np.broadcast_to(np.eye(self.elements), (self.cases, self.elements, self.elements))
        places = _index(used)
        by_moved = -local.first[:, :, -1, places]
        coupled: FloatArray = np.einsum("cnk,cknj->cnj", by_moved, by_argument[:, places])
        flat = coupled.reshape(self.cases, self.elements**2)
        flat[:, :: self.elements + 1] += 1.0
        return coupled

    def by_unknown(self, first: FloatArray) -> FloatArray:
        """Derivative by the unknown (cases, elements) of what has derivatives by the arguments (cases,
        elements, arguments).
        """
        by_moved = np.ascontiguousarray(first[:, :, : self.count].swapaxes(1, 2))
        rows = by_moved.reshape(self.cases, 1, self.count * self.elements)
        product: FloatArray = (rows @ self.operator)[:, 0]
        return product

    def follow(self, unknown_slope: FloatArray) -> None:
        """Let the arguments move with the unknown's slope (cases, elements, variables)."""
        self.slope[:, :, : self.count] += self._by_argument(self.operator @ unknown_slope)
        self.slope_turns = [
            turn + self._by_argument(slope @ unknown_slope)
            for turn, slope in zip(self.slope_turns, self.slopes, strict=True)
        ]

    def hessian(self, first: FloatArray, second: FloatArray) -> FloatArray:
        """Second derivatives along the arguments' slopes, and twice what the operator's turning adds while
        the unknown moves; (cases, variables, variables), to be made symmetric. Of something that has
        derivatives by the arguments `first` (cases, elements, arguments) and `second`.
        """
        size, arguments = len(self.support), self.argument_count
        bent = np.empty_like(self.slope)
        np.matmul(second, self.slope[:, :, :arguments], out=bent[:, :, :arguments])
        by_moved = 2.0 * first[:, :, None, : self.count]
        for i, turn in enumerate(self.slope_turns, start=arguments):
            np.matmul(by_moved, turn, out=bent[:, :, i : i + 1])
        flat = (self.cases, self.elements * bent.shape[2], size)
        full: FloatArray = bent.reshape(flat).swapaxes(1, 2) @ self.slope.reshape(flat)
        return full

    def add_curvature(self, packed: FloatArray, first: FloatArray) -> None:
        """Add to second derivatives (pairs of variables, cases) those of the arguments and parameters
        themselves, of something that has derivatives by the arguments `first` (cases, elements, arguments).
        """

        def add(of: Jet, by: FloatArray) -> None:
            """A quantity's own, by derivatives by it (cases, elements)."""
            if of.hessian is None:
                return
            own = _fit(of.hessian, 2)
            if own.shape[1] == 1:  # the same for all elements
                product = own[:, 0] * np.ascontiguousarray(by).sum(axis=1)
            else:
                product = _summed(own * by.T, 1)
            packed[self._pairs_of(of)] += product

        for parameter, by in zip(self.turned_by, self.by_turn, strict=True):
            add(parameter, np.matmul(first[:, :, None, : self.count], by)[:, :, 0, 0])
        for argument, places in self.jets:
            add(argument, np.ascontiguousarray(first[:, :, places]).sum(axis=2))

    def _pairs_of(self, of: Jet) -> Places:
        return _union(of.support, self.support).hessian_a
