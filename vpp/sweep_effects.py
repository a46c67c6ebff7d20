"""What the factors of a study do to an aim: main effects, shares of the variance, a surrogate, the front."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import RBFInterpolator
from scipy.spatial import KDTree

from vpp.uncertainty import Shares, shares

Floats = NDArray[np.float64]
Integers = NDArray[np.intp]

BINS = 8
"""Parts of equal probability that the range of a factor is cut into for its main effect, at most."""

MOST_LEFT_OUT = 0.10
"""Part of the rigs that may be missing where shares of the variance are told: they are those of factors that
know nothing of each other.
"""

NEIGHBOURS = 64
"""Rigs around a point that a surrogate goes through where there are more than `MOST_AT_ONCE`."""

MOST_AT_ONCE = 4 * NEIGHBOURS
"""Rigs that one surrogate goes through at once."""

SAME = 1e-12
"""Distances that differ by this part of them are the same."""

# Rigs of a part of a range, and of a term of a fit.
_TO_A_BIN, _TO_A_TERM = 8, 2
# Rigs that shares are found from, and that a surrogate is made of and tried on.
_MOST_FOR_SHARES, _MOST_FOR_SURROGATE = 4096, 2048
_PARTS = 10
# Points whose distances to all places are held at once.
_AT_A_TIME = 512


def bins(rigs: int) -> int:
    """Parts that the range of a factor is cut into where there are so many rigs."""
    return max(3, min(BINS, rigs // _TO_A_BIN))


@dataclass(frozen=True, kw_only=True)
class Parts:
    """What each factor does by itself: a parabola in the share of its distribution, or a step a level, fitted
    together to all rigs, so that it does not matter which rigs are where. `weights` (terms, results) are NaN
    of a result that too few rigs have.
    """

    levels: tuple[int, ...]
    powers: int
    weights: Floats

    def of(self, factor: int, share: Floats) -> Floats:
        """What a factor does at shares of its distribution, over its mean (rigs, results)."""
        sizes = [_term_count(count, self.powers) for count in self.levels]
        first = 1 + sum(sizes[:factor])
        found: Floats = (
            _terms_of(share, self.levels[factor], self.powers) @ (self.weights[first : first + sizes[factor]])
        )
        return found

    def worth(self, factor: int) -> Floats:
        """What it is worth (results,) from the middle of the lower quarter of its distribution to that of the
        upper, or from its first level to its last.
        """
        ends = 0.5 / (self.levels[factor] or 4)
        found = self.of(factor, np.array([ends, 1.0 - ends]))
        worth: Floats = found[1] - found[0]
        return worth


def parts(share: Floats, levels: Sequence[int], results: Floats) -> Parts:
    """Fit to results (rigs, results) at shares of the distributions of the factors (rigs, factors)."""
    known = np.isfinite(results)
    powers = 2
    if len(share) < _TO_A_TERM * (1 + sum(_term_count(count, powers) for count in levels)):
        powers = 1
    columns = [_terms_of(share[:, at], count, powers) for at, count in enumerate(levels)]
    terms = np.concatenate([np.ones((len(share), 1)), *columns], axis=1)
    weights = np.full((terms.shape[1], results.shape[1]), np.nan)
    whole = known.all(axis=0)
    groups = [np.flatnonzero(whole), *(np.array([at]) for at in np.flatnonzero(~whole).tolist())]
    for group in groups:
        here = known[:, group].all(axis=1)
        if len(group) and here.sum() > terms.shape[1]:
            weights[:, group] = np.linalg.lstsq(terms[here], results[here][:, group], rcond=None)[0]
    return Parts(levels=tuple(levels), powers=powers, weights=weights)


def _term_count(levels: int, powers: int) -> int:
    return levels - 1 if levels else powers


def _terms_of(share: Floats, levels: int, powers: int) -> Floats:
    """Terms of a factor of mean zero over its distribution (rigs, terms)."""
    if levels:
        at = np.minimum((share * levels).astype(int), levels - 1)
        return np.asarray(np.eye(levels)[at][:, 1:] - 1.0 / levels)
    x = 2.0 * share - 1.0
    return np.stack([x, 0.5 * (3.0 * x**2 - 1.0)][:powers], axis=1)


def main_effect(share: Floats, levels: int, gain: Floats) -> tuple[Floats, Floats, Integers]:
    """Mean and standard deviation of an aim over each level of a factor, or over parts of its
    distribution where it has none (see `bins`), and how many rigs with a result each rests on; NaN of none.
    """
    count = levels or bins(len(gain))
    at = np.minimum((share * count).astype(int), count - 1)
    known = np.isfinite(gain)
    used = np.bincount(at[known], minlength=count)
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = np.bincount(at[known], weights=gain[known], minlength=count) / used
        square = np.bincount(at[known], weights=(gain[known] - mean[at[known]]) ** 2, minlength=count) / used
    return mean, np.sqrt(square), used


def variance_shares(share: Floats, levels: Sequence[int], gain: Floats, *, is_grid: bool = False) -> Shares:
    """Which factors an aim follows, from shares of their distributions (rigs, factors); see
    `uncertainty.shares`. Of a whole grid they are those of its means, without a polynomial. Where more than
    `MOST_LEFT_OUT` of the rigs have no result there are none, and a reason.
    """
    known = np.isfinite(gain)
    missing = 1.0 - known.mean()
    if missing > MOST_LEFT_OUT:
        nothing = np.full(share.shape[1], np.nan)
        return Shares(
            first=nothing, total=nothing, explained=math.nan, degree=0, used=int(known.sum()),
            reason=f"{100.0 * missing:.0f} % of the rigs have no result, so that the factors of the others "
            "are not independent",
        )  # fmt: skip
    if is_grid and known.all() and np.ptp(gain) > 0.0:
        return _of_grid(gain.reshape(levels))
    some = thinned(len(gain), _MOST_FOR_SHARES)
    shapes: list[str | int] = [count or "even" for count in levels]
    return shares(2.0 * share[some] - 1.0, gain[some], shapes=shapes)


def _of_grid(gain: Floats) -> Shares:
    """Shares of the variance of a table with an axis a factor, all its entries alike likely: variances of
    means over all other factors, exactly (Sobol's decomposition).
    """
    every = range(gain.ndim)

    def alone(*kept: int) -> float:
        return float(np.var(gain.mean(axis=tuple(at for at in every if at not in kept)))) / float(
            np.var(gain)
        )

    first = np.array([alone(at) for at in every])
    total = np.array([1.0 - alone(*(other for other in every if other != at)) for at in every])
    pairs = np.array([[alone(a, b) - first[a] - first[b] if a != b else 0.0 for b in every] for a in every])
    degree = max(gain.shape) - 1
    return Shares(first=first, total=total, explained=1.0, degree=degree, used=gain.size, pairs=pairs)


def thinned(count: int, most: int) -> Integers:
    """At most so many places of `count`, evenly over all of them."""
    return np.arange(count) if count <= most else np.linspace(0, count - 1, most).astype(np.intp)


class RadialBasis:
    """Radial basis functions r^3 with a linear part (scipy.interpolate.RBFInterpolator) through values at
    places (rigs, factors): all of them, or where there are many the 64 nearest to a point; of those that are
    as far away as each other the first. Raises ValueError and LinAlgError where these do not span the space.
    """

    def __init__(self, places: Floats, values: Floats) -> None:
        self.places, self.values = places, values
        is_local = len(values) > MOST_AT_ONCE
        self.whole = None if is_local else _through(places, values)

    def __call__(self, at: Floats) -> Floats:
        """Values at points (points, factors)."""
        if self.whole is not None:
            return np.asarray(self.whole(at))
        found = np.empty(len(at))
        for block in np.array_split(np.arange(len(at)), -(-len(at) // _AT_A_TIME)):
            nearest = self._nearest(at[block])
            groups, of = np.unique(nearest, axis=0, return_inverse=True)
            for number, group in enumerate(groups):
                points = block[of.ravel() == number]
                found[points] = _through(self.places[group], self.values[group])(at[points])
        return found

    def _nearest(self, at: Floats) -> Integers:
        """Places nearest to points (points, neighbours), in their order."""
        away = np.zeros((len(at), len(self.places)))
        for one, other in zip(at.T, self.places.T, strict=True):
            away += (one[:, None] - other) ** 2
        last = np.partition(away, NEIGHBOURS - 1, axis=1)[:, NEIGHBOURS - 1 : NEIGHBOURS]
        nearer, alike = away < last, away == last
        room = NEIGHBOURS - nearer.sum(axis=1, keepdims=True)
        chosen = nearer | (alike & (np.cumsum(alike, axis=1) <= room))
        return np.nonzero(chosen)[1].reshape(len(at), NEIGHBOURS)


@dataclass(frozen=True, kw_only=True)
class Surrogate:
    """A smooth function through the rigs of a study, and how well it finds those that it is not told of.

    `rms` and `largest` are errors of rigs left out, a tenth at a time, in the unit of the aim; `explained` is
    the share of the variance that it predicts of them. `used` rigs hold it, which are `rigs` among all;
    `nearest` finds one of all rigs, and `has_result` says which of these have one. Where there are too few,
    `reason` says so and all are NaN.
    """

    function: RadialBasis | None
    nearest: KDTree | None
    has_result: NDArray[np.bool_]
    rigs: Integers
    rms: float
    largest: float
    explained: float
    used: int
    reason: str = ""

    def __call__(self, places: Floats) -> Floats:
        """The aim at places (points, factors), each from 0 to 1 over its range; NaN outside, and where the
        nearest rig, or one of several that are as near, has no result.
        """
        inside = np.all((places >= 0.0) & (places <= 1.0), axis=1)
        if self.nearest is not None and not self.has_result.all():
            away = self.nearest.query(places[inside])[0]
            near = self.nearest.query_ball_point(places[inside], away * (1.0 + SAME))
            inside[inside] = [bool(self.has_result[each].all()) for each in near]
        found = np.full(len(places), np.nan)
        if self.function is not None and inside.any():
            found[inside] = self.function(places[inside])
        return found


def surrogate(places: Floats, gain: Floats) -> Surrogate:
    """A surrogate of an aim from places of rigs in the ranges of the factors (rigs, factors): see
    `RadialBasis`.
    """
    known = np.flatnonzero(np.isfinite(gain))
    known = known[thinned(len(known), _MOST_FOR_SURROGATE)]
    x, y = places[known], gain[known]
    least = max(_PARTS, 2 * (places.shape[1] + 1))
    if len(known) < least:
        return no_surrogate(f"{len(known)} rigs with a result; {least} are needed", used=len(known))
    predicted = np.full(len(y), np.nan)
    try:
        for part in range(_PARTS):
            out = np.arange(len(y)) % _PARTS == part
            predicted[out] = RadialBasis(x[~out], y[~out])(x[out])
        whole = RadialBasis(x, y)
    except (np.linalg.LinAlgError, ValueError):
        return no_surrogate("the rigs do not span the space of the factors", used=len(known))
    error = predicted - y
    spread = float(np.var(y))
    return Surrogate(
        function=whole,
        nearest=KDTree(places),
        has_result=np.isfinite(gain),
        rigs=known,
        rms=float(np.sqrt(np.mean(error**2))),
        largest=float(np.abs(error).max()),
        explained=1.0 - float(np.mean(error**2)) / spread if spread > 0.0 else math.nan,
        used=len(known),
    )


def no_surrogate(reason: str, *, used: int = 0) -> Surrogate:
    """None, and why."""
    return Surrogate(
        function=None,
        nearest=None,
        has_result=np.zeros(0, dtype=bool),
        rigs=np.zeros(0, dtype=np.intp),
        rms=math.nan,
        largest=math.nan,
        explained=math.nan,
        used=used,
        reason=reason,
    )


def _through(x: Floats, y: Floats) -> RBFInterpolator:
    return RBFInterpolator(x, y, kernel="cubic", degree=1)


def front(one: Floats, other: Floats) -> Integers:
    """Rigs of which no other is better in both aims, from the best of the first to the best of the second."""
    known = np.flatnonzero(np.isfinite(one) & np.isfinite(other))
    order = known[np.lexsort((-other[known], -one[known]))]
    best = np.maximum.accumulate(np.concatenate([[-np.inf], other[order]]))[:-1]
    return order[other[order] > best]
