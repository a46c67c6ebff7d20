"""Climbing to the greatest value of an expensive smooth function of a few quantities within bounds and
limits: steps of sequential quadratic programming inside a region of trust.

At every accepted place the function is modelled by its slopes and by the curvature that their changes along
the path have shown (Broyden, Fletcher, Goldfarb and Shanno, damped after Powell), limits by their slopes;
SciPy solves the model within the region, which grows where the model foretells well and shrinks where it does
not (Nocedal and Wright, "Numerical Optimization", 2nd ed. 2006, chapters 4 and 18). A step counts only if it
is a true gain, so that no place on the path is worse than one before it. Quantities are shares of their
range, from 0 to 1; function and limits are in per cent; a limit holds where it is zero or more.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import LinearConstraint, minimize, nnls

Floats = NDArray[np.float64]

TOLERANCE = 1e-5
"""A search ends where no more than this many per cent are to be gained within the region of trust."""

FIRST_REACH, LEAST_REACH = 0.25, 1e-4
"""How far the first step may go, and how short the last, as shares of a range."""

BROKEN_COSTS = 100.0
"""What a per cent of a broken limit weighs against the function, more than any limit is worth."""

AT_BOUND = 1e-3
"""A quantity so near its bound, as a share of its range, and a limit with so little left, in per cent, are
held by it.
"""

_CORRECTIONS = 4
_ENOUGH, _GOOD, _WELL = 0.05, 0.25, 0.75
_INSIDE = 1e-7
_FLAT = 1e-3


class Refused(Exception):
    """A place that has no value; the message says why."""


@dataclass(frozen=True, kw_only=True)
class Place:
    """Where a search has been: shares (n,), value, limits (m,), those that cost nothing to find first."""

    at: Floats
    value: float
    limits: Floats

    @property
    def merit(self) -> float:
        """The value less what broken limits weigh."""
        return self.value - BROKEN_COSTS * float(np.maximum(-self.limits - _INSIDE, 0.0).sum())


@dataclass(frozen=True, kw_only=True)
class Slopes:
    """First derivatives at a place: of the value (n,) and of the limits (m, n)."""

    value: Floats
    limits: Floats


class Task(Protocol):
    """What is to be as large as possible."""

    def look(self, at: Floats) -> Place:
        """The place; raises Refused where there is none."""

    def slopes(self, place: Place) -> Slopes:
        """Derivatives at a place that has been looked at."""

    def cheap_limits(self, at: Floats) -> Floats:
        """Those limits that cost nothing to find; raises Refused."""

    def room(self, at: Floats, low: Floats, high: Floats) -> tuple[Floats, Floats]:
        """How far each quantity alone can go down and up, of what is asked for."""


@dataclass(frozen=True, kw_only=True)
class Tried:
    """One try: `place` is None where it was refused, for `reason`."""

    at: Floats
    place: Place | None
    accepted: bool
    reason: str = ""


@dataclass(frozen=True, kw_only=True)
class Found:
    """Where a search ended, its derivatives there, all its tries, and why it ended."""

    place: Place
    slopes: Slopes
    tries: tuple[Tried, ...]
    why: str


NOTHING_LEFT, SHORT_STEPS, MANY_TRIES, STOPPED = (
    "nothing more to be gained to first and second order",
    "no step was a gain, down to short ones",
    "as many tries as allowed",
    "stopped",
)
"""Why searches end."""


def climb(
    task: Task,
    start: Place,
    *,
    most: int,
    told: Callable[[Tried], None] | None = None,
    stops: Callable[[], bool] = lambda: False,
    reach: float = FIRST_REACH,
    tolerance: float = TOLERANCE,
) -> Found:
    """The best place that can be reached from a start by steps that are gains, in at most so many tries."""
    place, slopes = start, task.slopes(start)
    curvature = _FLAT * np.eye(len(start.at))
    first = True
    tries: list[Tried] = []

    def note(tried: Tried) -> None:
        tries.append(tried)
        if told is not None:
            told(tried)

    why = MANY_TRIES
    while len(tries) < most:
        if stops():
            why = STOPPED
            break
        low = np.maximum(-place.at, -reach)
        high = np.minimum(1.0 - place.at, reach)
        low, high = task.room(place.at, low, high)
        step, promised = _step(slopes, place.limits, curvature, low, high)
        if promised < tolerance:
            why = NOTHING_LEFT
            break
        if reach < LEAST_REACH:
            why = SHORT_STEPS
            break
        try:
            step = _corrected(task, place, slopes, curvature, low, high, step)
            there = task.look(place.at + step)
        except Refused as reason:
            note(Tried(at=place.at + step, place=None, accepted=False, reason=str(reason)))
            reach = 0.3 * float(np.abs(step).max())
            continue
        if stops():
            why = STOPPED
            break
        gain = there.merit - place.merit
        share = gain / promised
        length = float(np.abs(step).max())
        accepted = gain > 0.0 and share > _ENOUGH
        note(Tried(at=there.at, place=there, accepted=accepted))
        if share < _GOOD:
            reach = 0.4 * length
        elif share > _WELL and length > 0.9 * reach:
            reach = min(2.0 * reach, 1.0)
        if accepted:
            after = task.slopes(there)
            curvature = _curved(curvature, place, there, slopes, after, first=first)
            place, slopes, first = there, after, False
    return Found(place=place, slopes=slopes, tries=tuple(tries), why=why)


def _step(
    slopes: Slopes, limits: Floats, curvature: Floats, low: Floats, high: Floats
) -> tuple[Floats, float]:
    """The best step of the model within a region, and the gain in merit that it promises; what cannot be
    mended of broken limits within the region weighs as in `Place.merit`.
    """
    n, m = len(low), len(limits)

    def split(z: Floats) -> tuple[Floats, Floats]:
        return z[:n], z[n:]

    def cost(z: Floats) -> float:
        d, broken = split(z)
        return float(-slopes.value @ d + 0.5 * d @ curvature @ d + BROKEN_COSTS * broken.sum())

    def cost_slopes(z: Floats) -> Floats:
        d, _ = split(z)
        return np.concatenate([-slopes.value + curvature @ d, np.full(m, BROKEN_COSTS)])

    matrix = np.hstack([slopes.limits, np.eye(m)])
    # the region keeps some width for the solver's sake
    bounds = [(a, max(a, b)) for a, b in zip(low, high, strict=True)] + [(0.0, None)] * m
    start = np.concatenate([np.clip(np.zeros(n), low, high), np.maximum(-limits, 0.0)])
    answer = minimize(
        cost,
        start,
        jac=cost_slopes,
        bounds=bounds,
        constraints=[LinearConstraint(matrix, lb=-limits)] if m else [],
        method="SLSQP",
        options={"ftol": 1e-13, "maxiter": 300},
    )
    d = np.clip(split(np.asarray(answer.x))[0], low, high)
    left = np.maximum(-(limits + slopes.limits @ d) - _INSIDE, 0.0).sum()
    before = np.maximum(-limits - _INSIDE, 0.0).sum()
    promised = float(slopes.value @ d - 0.5 * d @ curvature @ d + BROKEN_COSTS * (before - left))
    return d, promised


def _corrected(
    task: Task, place: Place, slopes: Slopes, curvature: Floats, low: Floats, high: Floats, step: Floats
) -> Floats:
    """The step again with what limits that cost nothing to find are at its end, until it keeps them."""
    for _ in range(_CORRECTIONS):
        there = task.cheap_limits(place.at + step)
        count = len(there)
        if not count or there.min() >= -_INSIDE:
            break
        shifted = place.limits.copy()
        shifted[:count] = there - slopes.limits[:count] @ step - _INSIDE
        step, _ = _step(slopes, shifted, curvature, low, high)
    return step


def _curved(
    curvature: Floats, before: Place, after: Place, old: Slopes, new: Slopes, *, first: bool
) -> Floats:
    """The curvature with what a step has shown of it."""
    prices = prices_at(after, new)
    step = after.at - before.at
    change = (old.value - new.value) - prices.limits @ (new.limits - old.limits)
    along = float(step @ change)
    if first and along > 0.0:
        curvature = along / float(step @ step) * np.eye(len(step))
    pushed = curvature @ step
    stiff = float(step @ pushed)
    if along < 0.2 * stiff:
        share = 0.8 * stiff / (stiff - along)
        change = share * change + (1.0 - share) * pushed
        along = float(step @ change)
    curved: Floats = curvature - np.outer(pushed, pushed) / stiff + np.outer(change, change) / along
    return curved


@dataclass(frozen=True, kw_only=True)
class Prices:
    """What holds a place back: per cent of the value for each per cent more room in a limit (m,), and for the
    whole range more of each bound (n,); zero or more. `left` is the slope that nothing holds (n,).
    """

    limits: Floats
    lower: Floats
    upper: Floats
    left: Floats


def prices_at(
    place: Place, slopes: Slopes, *, lowest: Floats | None = None, highest: Floats | None = None
) -> Prices:
    """The prices at a place, by least squares over all that may hold it; bounds are 0 and 1 unless nearer
    ones are given.
    """
    n, m = len(place.at), len(place.limits)
    lowest = np.zeros(n) if lowest is None else lowest
    highest = np.ones(n) if highest is None else highest
    limits = np.flatnonzero(place.limits < AT_BOUND)
    lows = np.flatnonzero(place.at - lowest < AT_BOUND)
    highs = np.flatnonzero(highest - place.at < AT_BOUND)
    eye = np.eye(n)
    columns = np.array([*-slopes.limits[limits], *-eye[lows], *eye[highs]]).reshape(-1, n).T
    found = nnls(columns, slopes.value)[0] if columns.size else np.zeros(0)
    parts = np.split(found, np.cumsum([len(limits), len(lows)]))
    prices = Prices(
        limits=np.zeros(m),
        lower=np.zeros(n),
        upper=np.zeros(n),
        left=slopes.value - (columns @ found if columns.size else 0.0),
    )
    prices.limits[limits], prices.lower[lows], prices.upper[highs] = parts
    return prices
