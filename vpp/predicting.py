"""Where the optima of draws are to be expected, from those of draws that are solved already.

As long as the same bounds and limits hold, an optimum and its multipliers change smoothly with what is drawn.
They are taken for a straight line through all draws that are solved, and what is left of those that are held
in the same way for a polynomial of third degree through them, the one of least norm (Rasmussen & Williams,
"Gaussian Processes for Machine Learning", MIT Press 2006, chapters 2 and 4.2.2, from memory). Which bounds
and limits hold is that for which what is expected contradicts itself least. All of it is a guess, from which
`vpp.solver.following` goes on.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]

# The ways of holding that are thought of are those of so many near draws.
_NEAR = 8
# Ridge of the straight line, a share of the draws, and of the polynomial, a share of its mean square.
_RIDGE, _ROUGH = 1e-3, 1e-8
_DEGREE, _BENT = 3, 4.0
# How much being further away counts beside a contradiction.
_APART = 1e-3
# Spreads smaller than this are rounding.
_LEAST_SPREAD = 1e-9
# A limit that is expected to hold pushes by at least so much.
FELT = 1e-6


@dataclass(frozen=True, kw_only=True)
class Optima:
    """Optima of draws, the draws last: variables x (n, draws), multipliers of equations and limits
    (m + p, draws), of which the first m are of equations, and of bounds (n, draws), positive at lower ones;
    `held` (n, draws) is -1 at a lower bound, 1 at an upper, else 0.
    """

    x: Floats
    multipliers: Floats
    at_bounds: Floats
    held: Integers
    equations: int

    @property
    def felt(self) -> Integers:
        """Which limits hold (p, draws), 1 where they do."""
        return np.where(self.multipliers[self.equations :] < -0.1 * FELT, 1, 0)


def expected(
    known: Optima, at: Floats, places: Floats, lower: Floats, upper: Floats
) -> tuple[Floats, Floats, Integers]:
    """Variables (n, b), multipliers (m + p, b) and what holds (n, b) of draws at `places` (b, inputs), from
    optima of others `at` (draws, inputs). Variables lie between `lower` and `upper` (n, b).
    """
    count, size = len(known.x), len(known.multipliers)
    rows = np.concatenate([known.x, known.multipliers, known.at_bounds]).T
    ways, way = np.unique(np.concatenate([known.held, known.felt]), axis=1, return_inverse=True)
    way = way.ravel()
    line = _line(at, rows)
    weights = np.sqrt((line[1:, :count] ** 2).sum(axis=1))
    weights = weights / max(float(weights.max(initial=0.0)), np.finfo(float).tiny)
    near, far = at * weights, places * weights
    left, straight = rows - _on(line, at), _on(line, places)
    spread = np.std(rows, axis=0)
    apart = ((far[:, None] - near) ** 2).sum(axis=-1)
    thought_of = way[np.argsort(apart, axis=1)[:, :_NEAR]]
    best = np.full(len(places), np.inf)
    found, chosen = np.empty((len(places), rows.shape[1])), np.empty(len(places), dtype=np.int64)
    for number in range(ways.shape[1]):
        which = np.flatnonzero((thought_of == number).any(axis=1))
        if not len(which):
            continue
        of = np.flatnonzero(way == number)
        each = straight[which] + _bent(near[of], left[of], far[which])
        room = lower[:, which].T, upper[:, which].T
        against = _contradiction(each, ways[:, number], known.equations, room, spread)
        against = against + _APART * np.sqrt(apart[np.ix_(which, of)].min(axis=1))
        won = against < best[which]
        best[which[won]], chosen[which[won]], found[which[won]] = against[won], number, each[won]
    held = ways[:count, chosen]
    x = np.where(held < 0, lower, np.where(held > 0, upper, np.clip(found[:, :count].T, lower, upper)))
    multipliers = found[:, count : count + size].T.copy()
    limits = multipliers[known.equations :]
    limits[...] = np.where(ways[count:, chosen] > 0, np.minimum(limits, -FELT), 0.0)
    return x, multipliers, held


def _line(at: Floats, rows: Floats) -> Floats:
    """Coefficients (1 + inputs, columns) of a straight line through rows (draws, columns)."""
    terms = np.concatenate([np.ones((len(at), 1)), at], axis=1)
    ridge = _RIDGE * len(at) * np.eye(terms.shape[1])
    ridge[0, 0] = 0.0
    coefficients: Floats = np.linalg.solve(terms.T @ terms + ridge, terms.T @ rows)
    return coefficients


def _on(line: Floats, at: Floats) -> Floats:
    result: Floats = line[0] + at @ line[1:]
    return result


def _bent(near: Floats, left: Floats, far: Floats) -> Floats:
    """What is left of some draws, at others."""

    def alike(one: Floats, other: Floats) -> Floats:
        product: Floats = (1.0 + one @ other.T / _BENT**2) ** _DEGREE
        return product

    mean = left.mean(axis=0)
    matrix = alike(near, near)
    matrix[np.diag_indices(len(near))] += _ROUGH * np.trace(matrix) / len(near)
    result: Floats = mean + alike(far, near) @ np.linalg.solve(matrix, left - mean)
    return result


def _contradiction(
    rows: Floats, way: Integers, equations: int, room: tuple[Floats, Floats], spread: Floats
) -> Floats:
    """How far what is free lies outside its bounds, and what is held is pushed away from them, in spreads."""
    lower, upper = room
    count = lower.shape[1]
    size = rows.shape[1] - 2 * count
    held, felt = way[:count], way[count:]
    x, push, limits = rows[:, :count], rows[:, count + size :], rows[:, count + equations : count + size]
    least = _LEAST_SPREAD
    outside = np.where(held == 0, np.maximum(np.maximum(lower - x, x - upper), 0.0), 0.0)
    against = np.maximum(held * push, 0.0)
    pulling = np.where(felt > 0, np.maximum(limits, 0.0), 0.0)
    parts = np.concatenate(
        [
            outside / np.maximum(spread[:count], least),
            against / np.maximum(spread[count + size :], least),
            pulling / np.maximum(spread[count + equations : count + size], least),
        ],
        axis=1,
    )
    total: Floats = parts.max(axis=1, initial=0.0)
    return total
