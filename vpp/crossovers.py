"""Where the gain of one boat over another in best VMG is nil: solved for, between two winds of a polar."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq

from vpp.boat import Boat
from vpp.multipliers import Optimum
from vpp.optima import SETTINGS
from vpp.polar import Polar
from vpp.results.variables import KNOT
from vpp.solver.following import Guess, follow
from vpp.solver.status import Status
from vpp.trim import SCALES, FastestEquilibrium

Floats = NDArray[np.float64]

WITHIN_KN = 0.005
"""How close a crossover is found [kn]."""

# A bound with a multiplier above this holds.
_HOLDS = 1e-7


BoatAt = Callable[[int, int, int], Boat]
"""The boat of an option at a wind and a row of a polar, all by their places."""


def crossover_kn(
    polar: Polar,
    *,
    option: int,
    row: int,
    winds: tuple[int, int],
    against: int = 0,
    boat_at: BoatAt | None = None,
) -> float:
    """True wind speed [kn] between two `winds` of a polar, by their places, at which an option is as fast as
    the one that it is held `against`, in a row of `Polar.row_aims`.

    Both boats are followed from their answers in both winds to the winds between, and the better counts. NaN
    where one of the answers is no optimum, cannot be followed, or where the gain has no zero between. Where
    an option is not one boat in every wind, `boat_at` says which; NaN where it is not the same in both winds.
    """
    boat_at = boat_at or (lambda at, *_: polar.solved.boats[at])
    if any(boat_at(at, winds[0], row) is not boat_at(at, winds[1], row) for at in (against, option)):
        return math.nan
    try:
        boats = [
            [_optimum(polar, boat_at(at, wind, row), at, wind, row) for wind in winds]
            for at in (against, option)
        ]
    except ValueError:  # no optima, or boats that cannot be made anew
        return math.nan

    def gain(tws_kn: float) -> float:
        first, second = (_made_good(optima, tws_kn) for optima in boats)
        return second - first

    low, high = (polar.grid.tws_kn[wind] for wind in winds)
    gains = gain(low), gain(high)
    if not np.isfinite(gains).all() or gains[0] * gains[1] >= 0.0:
        return math.nan
    try:
        return float(brentq(gain, low, high, xtol=WITHIN_KN))
    except ValueError:  # not followed on the way
        return math.nan


def _optimum(polar: Polar, boat: Boat, option: int, wind: int, row: int) -> Optimum:
    rows, winds = len(polar.row_aims), len(polar.grid.tws_kn)
    return Optimum(boat, polar.solved, (option * winds + wind) * rows + row)


def _made_good(optima: list[Optimum], tws_kn: float) -> float:
    """What a boat makes good in a wind [kn], NaN where it could not be followed there."""
    return max((_followed(optimum, tws_kn) for optimum in optima), key=lambda found: (found == found, found))


def _followed(optimum: Optimum, tws_kn: float) -> float:
    problem = optimum.problem
    there = FastestEquilibrium(
        problem.fleet, problem.free, replace(problem.conditions, tws=np.array([tws_kn * KNOT]))
    )
    guess = Guess(
        optimum.x,
        np.ascontiguousarray(optimum.multipliers[:, None]),
        optimum.at_lower[:, None] > _HOLDS,
        optimum.at_upper[:, None] > _HOLDS,
    )
    answer = follow(there, guess, settings=SETTINGS)
    if answer.status[0] != Status.CONVERGED:
        return math.nan
    return -float(answer.objective[0]) * SCALES["boat_speed"] / KNOT
