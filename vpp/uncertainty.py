"""Draws of uncertain inputs, and which of them a result follows.

A sample is a scrambled Sobol sequence: its points fill the space of the inputs more evenly than random ones,
and their number is a power of two. Which inputs a result follows is read off a polynomial that is fitted to
the sample, in polynomials that are orthonormal under the inputs' own distributions: then the variance is the
sum of the squares of the coefficients, and the indices of Sobol are sums of some of them (Sudret, "Global
sensitivity analysis using polynomial chaos expansions", Reliability Engineering and System Safety 93, 2008,
from memory).
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import combinations_with_replacement

import numpy as np
from numpy.typing import NDArray
from scipy.stats import norm, qmc

from vpp.config.uncertain import NORMAL, Input

Floats = NDArray[np.float64]
_Exponents = tuple[tuple[int, ...], ...]

LEAST_DRAWS, MOST_DRAWS = 16, 4096
"""Between which powers of two the number of draws lies."""

LEAST_EXPLAINED = 0.9
"""Share of the variance that a fitted polynomial must predict of draws left out, for shares of inputs to be
told.
"""

# A normal range holds 95 % of the values: so many standard deviations either way.
_SIGMAS = float(norm.ppf(0.975))
# Draws for each coefficient of a polynomial, and its greatest degree.
_DRAWS_PER_TERM, _MOST_DEGREE = 1.5, 12
# Powers of single inputs where the draws are too few for products of the degree below.
_MOST_ALONE = 3
# A polynomial that leaves less than this of the variance is good enough.
_ENOUGH = 1e-5
# A spread smaller than this share of the largest value is rounding.
_ROUNDING = 1e-12


class BadSample(ValueError):
    """A number of draws or a seed that cannot be used; `problems` lists all that is wrong."""

    def __init__(self, problems: Sequence[str]) -> None:
        self.problems = tuple(problems)
        super().__init__("\n".join(self.problems))


def sample(inputs: Sequence[Input], *, draws: int, seed: int) -> Floats:
    """Places of draws within the ranges of inputs, (draws, inputs): -1 to 1 from end to end; those of normal
    ranges lie beyond the ends in 5 % of the draws.

    The same seed gives the same draws. Raises BadSample for a number of draws that is no power of two from
    `LEAST_DRAWS` to `MOST_DRAWS` and for a negative seed.
    """
    check_sample(draws=draws, seed=seed)
    if not inputs:
        return np.zeros((draws, 0))
    unit = qmc.Sobol(d=len(inputs), scramble=True, rng=seed).random_base2(round(math.log2(draws)))
    columns = [
        norm.ppf(unit[:, at]) / _SIGMAS if each.shape == NORMAL else 2.0 * unit[:, at] - 1.0
        for at, each in enumerate(inputs)
    ]
    return np.array(columns).T


def check_sample(*, draws: int, seed: int) -> None:
    """Raises BadSample as `sample` does."""
    problems = []
    if not (LEAST_DRAWS <= draws <= MOST_DRAWS and draws & (draws - 1) == 0):
        near = 2 ** round(math.log2(min(max(draws, LEAST_DRAWS), MOST_DRAWS)))
        problems.append(
            f"draws = {draws}: must be a power of two from {LEAST_DRAWS} to {MOST_DRAWS}, such as {near}"
        )
    if seed < 0:
        problems.append(f"seed = {seed}: must be a whole number from 0")
    if problems:
        raise BadSample(problems)


@dataclass(frozen=True, kw_only=True)
class Shares:
    """How much of the variance of a result goes with each input: `first` by itself, `total` with all that it
    does together with others (inputs,). `explained` is the share of the variance of draws that the fitted
    polynomial predicts when they are left out of its fit, and `degree` its degree. Where that is less than
    `LEAST_EXPLAINED`, or the result does not vary or is not known in enough draws, the shares are NaN and
    `reason` says why. `pairs` (inputs, inputs) is what two inputs do together and no other does, zero on the
    diagonal.
    """

    first: Floats
    total: Floats
    explained: float
    degree: int
    used: int
    reason: str = ""
    pairs: Floats = field(default_factory=lambda: np.zeros((0, 0)))


def shares(places: Floats, values: Floats, *, shapes: Sequence[str | int]) -> Shares:
    """Which inputs a result follows, from its values (draws,) at places (draws, inputs) as `sample` has them.

    A shape that is a number says that an input takes so many values, all alike likely, in the middles of
    equal parts of -1 to 1.

    Values that are not finite are left out and counted: `used` is how many were not. Of polynomials with
    fewer coefficients than two thirds of the draws that one is taken that predicts draws left out best.
    """
    known = np.isfinite(values)
    count, used = places.shape[1], int(known.sum())
    nothing = np.full(count, np.nan)
    least = 2 * count + 2
    if used < least:
        return Shares(
            first=nothing,
            total=nothing,
            explained=math.nan,
            degree=0,
            used=used,
            reason=f"known in {used} draws; {count} inputs need {least}",
        )
    result = values[known]
    spread = float(np.var(result))
    if spread <= (_ROUNDING * float(np.abs(result).max())) ** 2:
        return Shares(
            first=nothing, total=nothing, explained=math.nan, degree=0, used=used, reason="does not vary"
        )
    columns = _families(places[known], shapes)
    most = [len(column) - 1 for column in columns]
    best: tuple[float, _Exponents, Floats] | None = None
    for every in _bases(count, used):
        exponents = tuple(term for term in every if all(p <= m for p, m in zip(term, most, strict=True)))
        found = _fitted(_terms(columns, exponents), result)
        if best is None or found[0] > best[0]:
            best = (found[0], exponents, found[1])
        if best[0] > 1.0 - _ENOUGH:
            break
    assert best is not None
    explained, exponents, coefficients = best
    degree = max(sum(term) for term in exponents)
    if explained < LEAST_EXPLAINED:
        return Shares(
            first=nothing,
            total=nothing,
            explained=explained,
            degree=degree,
            used=used,
            reason="no polynomial of the inputs predicts it: "
            f"{100.0 * max(explained, 0.0):.0f} % of the variance",
        )
    powers = np.array(exponents)
    squares = np.where(powers.any(axis=1), coefficients**2, 0.0)
    alone = (powers > 0).sum(axis=1) == 1
    whole = squares.sum()
    first = np.array([squares[alone & (powers[:, at] > 0)].sum() for at in range(count)]) / whole
    total = np.array([squares[powers[:, at] > 0].sum() for at in range(count)]) / whole
    two = (powers > 0).sum(axis=1) == 2
    pairs = np.array(
        [
            [squares[two & (powers[:, a] > 0) & (powers[:, b] > 0)].sum() * (a != b) for b in range(count)]
            for a in range(count)
        ]
    )
    return Shares(
        first=first, total=total, explained=explained, degree=degree, used=used, pairs=pairs / whole
    )


def _bases(count: int, draws: int) -> Iterator[_Exponents]:
    """Exponents of the terms of polynomials to be tried, the constant first, as many as draws allow: of every
    degree with single inputs alone, with all products of a lower degree, and with all.
    """
    most = draws / _DRAWS_PER_TERM
    constant = (0,) * count
    for degree in range(1, _MOST_DEGREE + 1):
        alone = _alone(count, degree)
        lower, whole = (math.comb(count + up_to, up_to) for up_to in (degree - 1, degree))
        if degree == 1:
            yield (constant, *alone)
            continue
        if 1 + len(alone) > most:
            return
        if lower + count > most:
            if degree > _MOST_ALONE:
                return
            yield (constant, *alone)
            continue
        yield (constant, *sorted({*alone, *_up_to(count, degree - 1)}))
        if whole <= most:
            yield (constant, *_up_to(count, degree))


def _alone(count: int, degree: int) -> list[tuple[int, ...]]:
    """Exponents of the powers of single inputs up to a degree."""
    return [
        tuple(power if at == place else 0 for at in range(count))
        for power in range(1, degree + 1)
        for place in range(count)
    ]


def _up_to(count: int, degree: int) -> list[tuple[int, ...]]:
    """Exponents of all products of inputs up to a degree, without the constant."""
    return [
        tuple(chosen.count(at) for at in range(count))
        for power in range(1, degree + 1)
        for chosen in combinations_with_replacement(range(count), power)
    ]


def _families(places: Floats, shapes: Sequence[str | int]) -> list[Floats]:
    """Orthonormal polynomials of each input at its draws, (degrees, draws)."""
    return [_family(places[:, at], shape) for at, shape in enumerate(shapes)]


def _family(x: Floats, shape: str | int) -> Floats:
    if isinstance(shape, int):
        return _of_levels(x, shape)
    return _hermite(x * _SIGMAS) if shape == NORMAL else _legendre(x)


def _of_levels(x: Floats, count: int) -> Floats:
    """Polynomials of variance one where x takes so many values, all alike likely."""
    levels = (2.0 * np.arange(count) + 1.0) / count - 1.0
    degree = min(count - 1, _MOST_DEGREE)
    q, _ = np.linalg.qr(np.polynomial.legendre.legvander(levels, degree))
    rows: Floats = math.sqrt(count) * q.T * np.sign(q[-1])[:, None]
    return rows[:, np.rint(0.5 * (x + 1.0) * count - 0.5).astype(int)]


def _legendre(x: Floats) -> Floats:
    """Legendre's polynomials, of variance one where all x from -1 to 1 are alike."""
    rows = [np.ones_like(x), x]
    for n in range(1, _MOST_DEGREE):
        rows.append(((2 * n + 1) * x * rows[n] - n * rows[n - 1]) / (n + 1))
    return np.array([math.sqrt(2 * n + 1) * row for n, row in enumerate(rows)])


def _hermite(x: Floats) -> Floats:
    """Hermite's polynomials, of variance one where x is standard normal."""
    rows = [np.ones_like(x), x]
    for n in range(1, _MOST_DEGREE):
        rows.append(x * rows[n] - n * rows[n - 1])
    return np.array([row / math.sqrt(math.factorial(n)) for n, row in enumerate(rows)])


def _terms(columns: Sequence[Floats], exponents: _Exponents) -> Floats:
    """Products of the inputs' polynomials, (draws, terms)."""
    products = []
    for term in exponents:
        product = np.ones(columns[0].shape[1])
        for column, power in zip(columns, term, strict=True):
            if power:
                product = product * column[power]
        products.append(product)
    return np.array(products).T


def _fitted(terms: Floats, result: Floats) -> tuple[float, Floats]:
    """The share of the variance of draws that are predicted when left out, and the coefficients.

    Leaving out one draw changes its error e by e / (1 - h), h being its place on the diagonal of the matrix
    that turns results into fitted ones (Cook & Weisberg, Residuals and Influence in Regression, 1982).
    """
    q, r = np.linalg.qr(terms)
    if np.abs(np.diag(r)).min() < _ROUNDING * np.abs(np.diag(r)).max():
        return -math.inf, np.zeros(terms.shape[1])
    projected = q.T @ result
    coefficients: Floats = np.linalg.solve(r, projected)
    left = (result - q @ projected) / np.maximum(1.0 - (q**2).sum(axis=1), _ROUNDING)
    return 1.0 - float(np.mean(left**2)) / float(np.var(result)), coefficients
