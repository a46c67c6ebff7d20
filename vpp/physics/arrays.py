"""Which array library an expression belongs to.

Physics is written once, against the functions that NumPy, JAX and arrays with derivatives (`vpp.solver.jets`)
share. The few functions here hide the operations that those three spell differently.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

# Physics takes NumPy arrays, JAX arrays and arrays with derivatives alike; no static type covers all three.
Array = Any


def array_namespace(*values: Array) -> Any:
    """The namespace to compute `values` in: that of the first value which is not a NumPy array or a number,
    else NumPy.

    A value announces its namespace through `__array_namespace__`, as the Python array API standard (2023.12)
    defines.
    """
    for value in values:
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
