"""Where the gain of one boat over another in best VMG is nil: solved for, between two winds of a polar."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq

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


def crossover_kn(polar: Polar, *, option: int, row: int, winds: tuple[int, int]) -> float:
    """True wind speed [kn] between two `winds` of a polar, by their places, at which an option is as fast as
    the polar's first in a row of `Polar.row_aims`.

    Both boats are followed from their answers in both winds to the winds between, and the better counts. NaN
    where one of the answers is no optimum, cannot be followed, or where the gain has no zero between.
    """
    try:
        boats = [[_optimum(polar, at, wind, row) for wind in winds] for at in (0, option)]
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


def _optimum(polar: Polar, option: int, wind: int, row: int) -> Optimum:
    rows, winds = len(polar.row_aims), len(polar.grid.tws_kn)
    place = (option * winds + wind) * rows + row
    return Optimum(polar.solved.boats[int(polar.solved.conditions.option[place])], polar.solved, place)


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
