"""Which value of what is set for a range of conditions is best over that range: choices on plain arrays."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Places = NDArray[np.intp]


@dataclass(frozen=True, kw_only=True)
class Group:
    """Quantities with the same ranges, which are chosen together.

    `of_candidate` (candidates,) counts the combination of their values that a candidate has, and
    `of_condition` (conditions,) the range that each condition belongs to, both from 0.
    """

    of_candidate: Places
    of_condition: Places


def best_of_each(made_good: Floats) -> Floats:
    """The best of all candidates at every condition, of `made_good` (candidates, ...conditions); NaN where
    none has a result.
    """
    best: Floats = np.max(np.where(np.isnan(made_good), -np.inf, made_good), axis=0)
    return np.where(np.isfinite(best), best, np.nan)


def relative_loss(made_good: Floats) -> Floats:
    """What each candidate loses against the best of all at every condition, as a share of that, [1], in the
    shape of `made_good`; NaN where it has no result.
    """
    loss: Floats = 1.0 - made_good / best_of_each(made_good)
    return loss


def is_lacking(made_good: Floats) -> NDArray[np.bool_]:
    """Which candidates cannot sail a condition that another can, in the shape of `made_good`."""
    lacking: NDArray[np.bool_] = np.isnan(made_good) & np.isfinite(best_of_each(made_good))
    return lacking


def choose(made_good: Floats, groups: Sequence[Group]) -> Places:
    """The candidate that is best at every condition (conditions,), if every group has one combination of
    values for each of its ranges.

    `made_good` (candidates, conditions) is what is to be large and positive, NaN without a result; the
    candidates hold every combination of the groups once. Best is, over all conditions alike: first the fewest
    that cannot be sailed though another candidate can, then the least mean relative loss against the best
    candidate of each. Of equals the first candidate. The best assignment of combinations to ranges is found
    exactly: that group with the most assignments is chosen range by range, all assignments of the others are
    tried.
    """
    lacking, loss = is_lacking(made_good), np.nan_to_num(relative_loss(made_good), nan=0.0)
    shape = [int(group.of_candidate.max()) + 1 for group in groups]
    table = np.full(shape, -1, dtype=np.intp)
    table[tuple(group.of_candidate for group in groups)] = np.arange(len(made_good))
    inner = max(range(len(groups)), key=lambda at: shape[at] ** _range_count(groups[at]))
    outer = [at for at in range(len(groups)) if at != inner]
    best: tuple[int, float] = (made_good.size + 1, math.inf)
    chosen = np.zeros(made_good.shape[1], dtype=np.intp)
    conditions = np.arange(made_good.shape[1])
    for assigned in product(*(_assignments(shape[at], groups[at]) for at in outer)):
        fixed = {at: _by_condition(each, groups[at]) for at, each in zip(outer, assigned, strict=True)}
        found = _inner(table, groups, inner, fixed, lacking, loss)
        total = (int(lacking[found, conditions].sum()), float(loss[found, conditions].sum()))
        if total < best:
            best, chosen = total, found
    return chosen


def _inner(
    table: Places,
    groups: Sequence[Group],
    inner: int,
    fixed: dict[int, Places],
    lacking: NDArray[np.bool_],
    loss: Floats,
) -> Places:
    """The best candidate at every condition with all groups but one assigned."""
    chosen = np.zeros(loss.shape[1], dtype=np.intp)
    ranges = groups[inner].of_condition
    for each in np.unique(ranges):
        here = np.flatnonzero(ranges == each)
        # candidates (conditions of the range, values of the inner group), the axis of the latter moved last
        others = tuple(fixed[at][here] for at in range(len(groups)) if at != inner)
        having = np.moveaxis(table, inner, -1)[others]
        having = np.broadcast_to(having, (len(here), table.shape[inner])).T
        counts = lacking[having, here].sum(axis=1)
        losses = loss[having, here].sum(axis=1)
        first = int(np.lexsort((np.arange(len(counts)), losses, counts))[0])
        chosen[here] = having[first]
    return chosen


def _range_count(group: Group) -> int:
    return len(np.unique(group.of_condition))


def _assignments(count: int, group: Group) -> product[tuple[int, ...]]:
    """Every way to give each range of a group one of its combinations."""
    return product(range(count), repeat=_range_count(group))


def _by_condition(assigned: tuple[int, ...], group: Group) -> Places:
    """The combination at each condition."""
    _, places = np.unique(group.of_condition, return_inverse=True)
    return np.array(assigned, dtype=np.intp)[places]
