"""Which conditions are near each other, so that the answer to one helps with the other."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from vpp.solved import Conditions

FloatArray = NDArray[np.float64]
Integers = NDArray[np.int64]

# What counts as one step apart: wind speeds of this ratio, and angles that differ by so much [rad].
SPEED_RATIO, ANGLE_STEP = 1.2, np.radians(8.0)
# Steps from a condition to a neighbour whose answer it may begin at, and to one that it compares with.
REACH, COMPARED = 1.4, 2.3
# Neighbours of a condition that are looked at, and other boats in the same wind.
NEAREST, BOATS = 8, 3
# Conditions no more steps apart than so are as near as neighbours need be: answers follow from each other.
DENSE = 0.3
# Conditions of a boat that close to each other count as one, but no more than so many.
CROWD = 4
# Steps from a condition that is alone to those solved beside it, no closer to the wind than so [rad].
BESIDE, CLOSEST = 0.8, np.radians(35.0)
# Distance in steps between two boats in the same wind.
BETWEEN_BOATS = 0.8


@dataclass(frozen=True)
class Neighbours:
    """For every case its neighbours, nearest first, and how many steps away they are; -1 and infinity where
    there are no more.
    """

    case: Integers
    gap: FloatArray

    @classmethod
    def of(cls, conditions: Conditions, patch: Integers, branch: Integers) -> Neighbours:
        """Of conditions within each patch and branch: those of the same boat, and of others in the same
        wind.
        """
        count = len(patch)
        u, v = in_steps(conditions)
        case = np.full((count, NEAREST + BOATS), -1)
        gap = np.full((count, NEAREST + BOATS), np.inf)
        for members in grouped(branch, patch, conditions.option):
            apart = np.hypot(u[members][:, None] - u[members], v[members][:, None] - v[members])
            apart[np.arange(len(members)), np.arange(len(members))] = np.inf
            order = np.argsort(apart, axis=1, kind="stable")[:, :NEAREST]
            away = np.take_along_axis(apart, order, axis=1)
            case[members, : order.shape[1]] = np.where(away <= COMPARED, members[order], -1)
            gap[members, : order.shape[1]] = np.where(away <= COMPARED, away, np.inf)
        for members in grouped(branch, patch, conditions.tws, conditions.twa):
            number = len(members)
            for k in range(min(BOATS, number - 1)):
                # the boat before and after in the list, and the first
                at = (np.arange(number) + (1, -1, 0)[k]) % number if k < 2 else np.zeros(number, dtype=int)
                other = members[at]
                case[members, NEAREST + k] = np.where(other == members, -1, other)
                gap[members, NEAREST + k] = np.where(other == members, np.inf, BETWEEN_BOATS)
        order = np.argsort(gap, axis=1, kind="stable")
        return cls(np.take_along_axis(case, order, axis=1), np.take_along_axis(gap, order, axis=1))


def in_steps(conditions: Conditions) -> tuple[FloatArray, FloatArray]:
    """Wind speeds and angles, each counted in steps; NaN where a condition has no angle."""
    return np.log(conditions.tws) / np.log(SPEED_RATIO), conditions.twa / ANGLE_STEP


def cells(conditions: Conditions, wide: FloatArray | float) -> tuple[FloatArray, FloatArray]:
    """Rows and columns of conditions on a grid over wind speed and angle with cells so many steps wide."""
    u, v = in_steps(conditions)
    return np.floor(u / wide), np.floor(v / wide)


def first_in_wind(*keys: NDArray[np.generic]) -> NDArray[np.bool_]:
    """Cases that are the first of those that are alike in all keys: of several boats in one wind, one."""
    first = np.zeros(len(keys[0]), dtype=bool)
    first[[group[0] for group in grouped(*keys)]] = True
    return first


def grouped(*keys: NDArray[np.generic]) -> list[Integers]:
    """Places that are alike in all keys, group by group."""
    codes = np.zeros(len(keys[0]), dtype=np.int64)
    for key in keys:
        _, code = np.unique(key, return_inverse=True)
        codes = codes * (int(code.max(initial=0)) + 1) + code
    order = np.argsort(codes, kind="stable")
    cuts = np.flatnonzero(np.diff(codes[order])) + 1
    return np.split(order, cuts) if len(order) else []


def shares_of_a_crowd(conditions: Conditions) -> FloatArray:
    """How much each condition counts where many of a boat are close to each other: one where it stands by
    itself, 1 / CROWD at the least.
    """
    share = np.ones(len(conditions))
    at_angle = np.flatnonzero(np.isfinite(conditions.twa))
    of = conditions.take(at_angle)
    for crowd in grouped(of.option, *cells(of, DENSE)):
        share[at_angle[crowd]] = 1.0 / min(len(crowd), CROWD)
    return share


def satellites(conditions: Conditions, patch: Integers, asked: int) -> tuple[Conditions, Integers]:
    """Conditions to be solved beside those of the first `asked` that are alone, so that these have neighbours
    to compare with as well; and which they are beside. Other boats in the same wind are no company, for they
    miss what it misses: they have the answers of the first to begin at.
    """
    near = Neighbours.of(conditions, patch, np.zeros(len(patch), dtype=np.int64))
    company = (near.gap <= REACH) & (conditions.option[near.case] == conditions.option[:, None])
    first = first_in_wind(patch[:asked], conditions.tws[:asked], conditions.twa[:asked])
    alone = np.flatnonzero(first & ~company[:asked].any(axis=1))
    owner = np.concatenate([alone, alone])
    turn = np.where(np.arange(len(owner)) < len(alone), 1.0, -1.0) * BESIDE
    of = conditions.take(owner)
    twa = np.clip(of.twa + turn * ANGLE_STEP, min(CLOSEST, conditions.twa.min(initial=np.pi)), np.pi)
    return replace(of, twa=twa, tws=of.tws * SPEED_RATIO ** (0.5 * turn)), owner
