"""Which array library an expression belongs to.

Physics is written once, against the functions that NumPy, JAX and arrays with derivatives (`vpp.solver.jets`)
share. The few functions here hide the operations that those three spell differently.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import pairwise
from typing import Any

import numpy as np

# Physics takes NumPy arrays, JAX arrays and arrays with derivatives alike; no static type covers all three.
Array = Any


_PLAIN = frozenset({np.ndarray, np.float64, float, int})


def array_namespace(*values: Array) -> Any:
    """The namespace to compute `values` in: that of the first value which is not a NumPy array or a number,
    else NumPy.

    A value announces its namespace through `__array_namespace__`, as the Python array API standard (2023.12)
    defines.
    """
    for value in values:
        if type(value) in _PLAIN:
            continue  # most are, and asking them takes longer
        announce = getattr(value, "__array_namespace__", None)
        if announce is not None and not isinstance(value, np.ndarray | np.generic):
            return announce()
    return np


def without_derivatives(value: Array) -> Array:
    """The plain numbers in `value`: what an inner iteration converges on before derivatives are attached."""
    namespace = array_namespace(value)
    if namespace is np:
        return value
    if hasattr(namespace, "without_derivatives"):
        return namespace.without_derivatives(value)
    return _stop_gradient(value)


def _stop_gradient(value: Array) -> Array:
    from jax import lax  # an extra, imported only where a JAX array has turned up

    return lax.stop_gradient(value)


def repeated_until(
    settled: Callable[..., Array],
    following: Callable[..., tuple[Array, ...]],
    first: tuple[Array, ...],
    most: int,
) -> tuple[Array, ...]:
    """A loop over traced arrays (JAX), laid out once: `following` again and again from `first` until all of
    `settled` is true, `most` times at the most. Nothing in it may carry derivatives.
    """
    from jax import lax

    def goes_on(now: tuple[Array, tuple[Array, ...]]) -> Array:
        count, values = now
        return (count < most) & ~settled(*values).all()

    def once_more(now: tuple[Array, tuple[Array, ...]]) -> tuple[Array, tuple[Array, ...]]:
        count, values = now
        return count + 1, tuple(following(*values))

    values: tuple[Array, ...] = lax.while_loop(goes_on, once_more, (0, first))[1]
    return values


def elementwise(function: Callable[..., tuple[Array, ...]], *arguments: Array) -> tuple[Array, ...]:
    """`function(*arguments)` for a function that treats every element alone.

    Plain arrays go straight through; arrays with derivatives take the short way of differentiating in the
    arguments first.
    """
    namespace = array_namespace(*arguments)
    if hasattr(namespace, "compose"):
        results: tuple[Array, ...] = namespace.compose(function, arguments)
        return results
    return function(*arguments)


def with_slopes(function: Callable[[Array], tuple[Any, Any]], argument: Array) -> tuple[Array, ...]:
    """Elementwise functions of one argument whose derivatives are written out, for those that many
    operations make and few derive: `function(argument)` gives a tuple of values, and what returns the pairs
    of their first and second derivatives when called.

    Arrays with derivatives take these; NumPy and traced arrays (JAX) the values alone.
    """
    namespace = array_namespace(argument)
    if hasattr(namespace, "with_slopes"):
        results: tuple[Array, ...] = namespace.with_slopes(function, argument)
        return results
    values: tuple[Array, ...] = function(argument)[0]
    return values


def with_partials(function: Callable[..., tuple[Any, Any]], *arguments: Array) -> tuple[Array, ...]:
    """As `with_slopes`, of several arguments: what is returned beside the values gives for each of them a
    pair of its gradient (arguments, ...) and of its second derivatives, the upper triangle row by row.
    """
    namespace = array_namespace(*arguments)
    if hasattr(namespace, "with_partials"):
        results: tuple[Array, ...] = namespace.with_partials(function, arguments)
        return results
    values: tuple[Array, ...] = function(*arguments)[0]
    return values


def groupwise(
    function: Callable[..., tuple[Array, ...]],
    shared: Sequence[Array],
    own: Sequence[Sequence[Array]],
    rows: Sequence[int],
) -> list[tuple[Array, ...]]:
    """`function(*shared, *own)` for groups of rows at once, which is cheaper than one group after the other.

    `shared` arguments and those of `own`, of which every group has one, are (conditions,). The latter come to
    the function as (all rows, conditions), repeated to as many rows as `rows` says of each group; so it must
    mix neither conditions nor the rows of different groups. Each result (..., all rows, conditions) is given
    back cut into the groups. Arrays with derivatives take the short way, as in `elementwise`.
    """
    namespace = array_namespace(*shared, *(x for each in own for x in each))
    parts = row_groups(rows)
    if hasattr(namespace, "compose_groups"):
        groups: list[tuple[Array, ...]] = namespace.compose_groups(function, shared, own, parts)
        return groups
    repeated = [
        namespace.stack([x for x, count in zip(each, rows, strict=True) for _ in range(count)])
        for each in own
    ]
    results = function(*shared, *repeated)
    return [tuple(result[..., part, :] for result in results) for part in parts]


def row_groups(rows: Sequence[int]) -> list[slice]:
    """Where the rows of each group lie, one group after the other."""
    ends = [sum(rows[:i]) for i in range(len(rows) + 1)]
    return [slice(first, last) for first, last in pairwise(ends)]


def sum_of_rows(rows: Array) -> Array:
    """Sum over the leading axis of (rows, conditions), row after row: NumPy sums in pairs where one condition
    leaves the rows next to each other, and would round that one differently from many.
    """
    namespace = array_namespace(rows)
    if namespace is not np:
        return namespace.sum(rows, axis=0)
    if rows.shape[-1] == 1:
        return np.add.accumulate(rows, axis=0)[-1]
    return np.add.reduce(np.ascontiguousarray(rows), axis=0)


def apply_operator(operator: Array, vector: Array) -> Array:
    """A matrix times a vector for each condition.

    (conditions, rows, columns) on (columns, conditions) gives (rows, conditions).
    """
    namespace = array_namespace(vector)
    if hasattr(namespace, "apply_operator"):
        return namespace.apply_operator(operator, vector)
    return array_namespace(operator, vector).matmul(operator, vector.T[:, :, None])[:, :, 0].T


def has_settled_sums(*values: Array) -> bool:
    """Whether any of `values` carries derivatives for which its namespace has `settled_sums`, the short way
    through an equation that is already solved.
    """
    return hasattr(array_namespace(*values), "settled_sums")
