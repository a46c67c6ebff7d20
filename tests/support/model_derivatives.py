"""Derivatives of a model of `physics_models`, in shares of its ranges, and what differences say of them.

A result of several arrays is taken as one of many rows.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from tests.support import differences
from tests.support.physics_models import Model, parts
from vpp.solver import jets

Floats = NDArray[np.float64]

POINTS = 24
# What an entry is measured by at the least: this share of the largest of its kind at any of the places.
LEAST_SHARE = 1e-3


def places(model: Model) -> Floats:
    """Random places of the range as shares of it, and for every seam some at, before and behind it."""
    rng = np.random.default_rng(3)
    shares = rng.uniform(0.02, 0.98, size=(len(model.ranges), POINTS))
    near = [shares]
    for argument, value in model.seams:
        low, high = model.ranges[argument]
        some = rng.uniform(0.1, 0.9, size=(len(model.ranges), 5))
        some[argument] = (value - low) / (high - low) + np.array([-1e-3, -1e-5, 0.0, 1e-5, 1e-3])
        near.append(some)
    return np.concatenate(near, axis=1)


def physical(model: Model, shares: Any) -> list[Any]:
    low, high = np.array(model.ranges).T
    return [a + (b - a) * row for a, b, row in zip(low, high, shares, strict=True)]


def carried(model: Model, shares: Floats) -> list[int]:
    """Which parts of the result carry derivatives."""
    found = parts(model.run(*physical(model, jets.variables(shares))))
    return [i for i, part in enumerate(found) if isinstance(part, jets.Jet)]


def values(model: Model, shares: Floats, which: list[int]) -> Floats:
    """All numbers of some parts of the result one below the other, (rows, places)."""
    found = parts(model.run(*physical(model, shares)))
    count = shares.shape[1]
    shaped = [np.broadcast_to(found[i], np.broadcast_shapes(np.shape(found[i]), (count,))) for i in which]
    return np.concatenate([part.reshape(-1, count) for part in shaped])


def derivatives(model: Model, shares: Floats) -> tuple[Floats, Floats]:
    """Gradient (arguments, rows, places) and Hessian (arguments, arguments, rows, places)."""
    arguments, count = shares.shape
    gradients, hessians = [], []
    for part in parts(model.run(*physical(model, jets.variables(shares)))):
        if isinstance(part, jets.Jet):
            shape = np.broadcast_shapes(part.shape, (count,))
            _, gradient, hessian = jets.dense(part, arguments, shape)
            gradients.append(gradient.reshape(arguments, -1, count))
            hessians.append(hessian.reshape(arguments, arguments, -1, count))
    return np.concatenate(gradients, axis=1), np.concatenate(hessians, axis=2)


def least_of(exact: Floats, rows: int) -> Floats:
    """Of every row, a share of the largest entry anywhere, (rows, 1)."""
    by_row = np.moveaxis(np.abs(exact), -2, 0).reshape(rows, -1).max(axis=1)
    return np.maximum(LEAST_SHARE * by_row, 1e-12)[:, None]


def compared(model: Model) -> dict[str, tuple[Floats, Floats]]:
    """Error of first and second derivatives, and what is answered for, see `differences.held`; not finite
    ones are wrong.
    """
    shares = places(model)
    which = carried(model, shares)
    gradient, hessian = derivatives(model, shares)
    rows = gradient.shape[1]
    return {
        "first": differences.held(
            gradient,
            lambda at, _: values(model, at, which),
            shares,
            differences.FIRST_STEPS,
            least=least_of(gradient, rows),
        ),
        "second": differences.held(
            hessian,
            lambda at, _: derivatives(model, at)[0],
            shares,
            differences.SECOND_STEPS,
            least=least_of(hessian, rows),
            of_gradient=True,
        ),
    }
