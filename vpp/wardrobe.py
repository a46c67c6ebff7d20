"""Which sails are up: boats with sail sets are solved under every one of them, and the best is kept at each
condition.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

from vpp import equilibrium
from vpp.boat import Boat
from vpp.reporting import FASTER_THAN_SEARCHED, TOO_FAST
from vpp.solved import BRANCHES, DOWNWIND, SPEED, Conditions, Solved, Strips
from vpp.solver.status import Status

FloatArray = NDArray[np.float64]
Places = NDArray[np.intp]
Progress = Callable[[int, int], None]


@dataclass(frozen=True, kw_only=True)
class _Worn:
    """A boat under one of its sail sets, or as it is where it has none (then the name is empty)."""

    option: int
    sail_set: str
    boat: Boat


def solve(
    boats: Sequence[Boat],
    conditions: Conditions,
    *,
    branches: Sequence[str] = BRANCHES,
    processes: int = 1,
    progress: Progress | None = None,
) -> Solved:
    """Fastest equilibrium of every condition under the best sail set of its boat; see `equilibrium.solve`.

    Every set of a boat is solved at every condition, so that boats with sets take as many times as long, and
    `progress` counts conditions under each. Best is fastest, or most made good where that is the aim; of
    equals the set that stands first in the boat. Where branches exist, each has the best set of its own. A
    condition fails only where no set has a result; its reason is that of every set. Boats without sets are
    solved as they are. Raises ValueError as `equilibrium.solve` does.
    """
    known = not len(conditions) or (conditions.option.min() >= 0 and conditions.option.max() < len(boats))
    if not known or not any(boat.sail_sets for boat in boats):
        return equilibrium.solve(boats, conditions, branches=branches, processes=processes, progress=progress)
    worn = [each for option, boat in enumerate(boats) for each in _under_each(option, boat)]
    places = [np.flatnonzero(conditions.option == each.option) for each in worn]
    asked = np.concatenate(places)
    under = np.repeat(np.arange(len(worn)), [len(some) for some in places])
    found = equilibrium.solve(
        [each.boat for each in worn],
        replace(conditions.take(asked), option=under),
        branches=branches,
        processes=processes,
        progress=progress,
    )
    return replace(
        _best(boats, conditions, worn, asked, found),
        branches={
            name: _best(boats, conditions, worn, asked[_having(found, of_branch)], of_branch)
            for name, of_branch in found.branches.items()
        },
    )


def made_good(solved: Solved) -> FloatArray:
    """What is to be as large as possible [m/s], (conditions,): boat speed, or speed made good where that is
    the aim; NaN where a condition has not converged.
    """
    return np.where(solved.status == Status.CONVERGED, _made_good(solved), np.nan)


def _made_good(solved: Solved) -> FloatArray:
    """The same also of states that are not proven best."""
    sign = np.where(solved.conditions.aim == DOWNWIND, -1.0, 1.0)
    return np.where(
        solved.conditions.aim == SPEED, solved.quantities["boat_speed"], sign * solved.quantities["vmg"]
    )


def places_under(solved: Solved, sail_set: str) -> Places:
    """Places of the conditions whose boats have a sail set: those of `solved.sail_sets` of that name."""
    has = np.array([any(item.name == sail_set for item in boat.sail_sets) for boat in solved.boats])
    return np.flatnonzero(has[solved.conditions.option])


def _under_each(option: int, boat: Boat) -> list[_Worn]:
    if not boat.sail_sets:
        return [_Worn(option=option, sail_set="", boat=boat)]
    return [_Worn(option=option, sail_set=item.name, boat=boat.wearing(item.name)) for item in boat.sail_sets]


def _having(found: Solved, of_branch: Solved) -> Places:
    """Places of the conditions that a branch is about: those of boats that occur in it, in their order."""
    has = np.isin(found.conditions.option, np.unique(of_branch.conditions.option))
    return np.flatnonzero(has)


def _best(
    boats: Sequence[Boat], conditions: Conditions, worn: Sequence[_Worn], asked: Places, found: Solved
) -> Solved:
    """The best set of every condition that was asked for, `asked` being the place of each of `found`, with
    every set beside it.
    """
    here, condition = np.unique(asked, return_inverse=True)
    names = np.array([each.sail_set for each in worn], dtype=object)[found.conditions.option]
    rows, margin = _ranked(len(here), condition, made_good(found), _made_good(found))
    best = _taken(found, rows, boats, conditions.take(here), worn)
    # the best is not known before every set is done
    best.status[condition[found.status == Status.INTERRUPTED]] = Status.INTERRUPTED
    converged = best.status == Status.CONVERGED
    margin[~converged], best.remark[~converged] = np.nan, ""
    return replace(
        best,
        sail_set=np.where(np.isnan(best.quantities["boat_speed"]), "", names[rows]),
        reason=np.where(converged, best.reason, _reasons(len(here), condition, names, found)),
        remark=_remarks(best, condition, names, found),
        quantities={**best.quantities, "sail_set_margin": margin},
        sail_sets=_each_set(boats, conditions, worn, asked, found),
    )


def _ranked(
    count: int, condition: Places, speed: FloatArray, unproven: FloatArray
) -> tuple[Places, FloatArray]:
    """Place of the best of each condition, the first of equals, and its margin over the next; NaN without.
    Where none has a speed, the best of the unproven ones.
    """
    known = np.where(np.isnan(speed), -np.inf, speed)
    # by condition, then falling speed; rows of a condition that are level stay in their order
    order = np.lexsort(
        (np.where(np.isfinite(known) | np.isnan(unproven), np.inf, -unproven), -known, condition)
    )
    first = np.searchsorted(condition[order], np.arange(count))
    ended = np.append(first[1:], len(order))
    best = order[first]
    second = np.where(ended - first > 1, known[order[np.minimum(first + 1, len(order) - 1)]], -np.inf)
    both = np.isfinite(known[best]) & np.isfinite(second)
    return best, np.where(both, known[best] - np.where(both, second, 0.0), np.nan)


def _reasons(count: int, condition: Places, names: NDArray[np.object_], found: Solved) -> NDArray[np.object_]:
    """Why a condition has no result under any set: what all say, or what each says."""
    told: list[dict[str, str]] = [{} for _ in range(count)]
    for place, name, reason in zip(condition, names, found.reason, strict=True):
        told[place][str(name)] = str(reason)
    joined = [
        next(iter(each.values()))
        if len(set(each.values())) == 1
        else "; ".join(f"{name}: {reason.rstrip('.') or 'done'}" for name, reason in each.items()) + "."
        for each in told
    ]
    return np.array(joined, dtype=object)


def _remarks(
    best: Solved, condition: Places, names: NDArray[np.object_], found: Solved
) -> NDArray[np.object_]:
    """The remarks of the best set, and which others would be faster than can be told."""
    remarks = best.remark.copy()
    too_fast = np.isin(found.reason.astype(str), (TOO_FAST, FASTER_THAN_SEARCHED))
    for row in np.flatnonzero(too_fast & (best.status == Status.CONVERGED)[condition]):
        place, told = condition[row], f"too fast under {names[row]} for the hull model"
        remarks[place] = f"{remarks[place]}; {told}" if remarks[place] else told
    return remarks


def _each_set(
    boats: Sequence[Boat], conditions: Conditions, worn: Sequence[_Worn], asked: Places, found: Solved
) -> dict[str, Solved]:
    """Every set by name, over the conditions whose boats have it."""
    names = np.array([each.sail_set for each in worn], dtype=object)[found.conditions.option]
    sets = {}
    for name in dict.fromkeys(each.sail_set for each in worn if each.sail_set):
        rows = np.flatnonzero(names == name)
        rows = rows[np.argsort(asked[rows], kind="stable")]
        sets[name] = replace(
            _taken(found, rows, boats, conditions.take(asked[rows]), worn),
            sail_set=np.full(len(rows), name, dtype=object),
        )
    return sets


def _taken(
    found: Solved, rows: Places, boats: Sequence[Boat], conditions: Conditions, worn: Sequence[_Worn]
) -> Solved:
    """What was found at some rows, told of the boats as filed, without sails that are never up."""
    locker = {sail.name for boat in boats for sail in boat.every_sail}
    up = {
        sail.name
        for number in np.unique(found.conditions.option[rows])
        for sail in worn[number].boat.every_sail
    }
    order = [row for row, name in enumerate(found.components) if name in up]
    order += [row for row, name in enumerate(found.components) if name not in locker]
    return replace(
        found,
        boats=tuple(boats),
        conditions=conditions,
        quantities={name: values[rows] for name, values in found.quantities.items()},
        components=tuple(found.components[row] for row in order),
        medium=tuple(found.medium[row] for row in order),
        force=found.force[order][..., rows],
        moment=found.moment[order][..., rows],
        strips=_strips(found.strips, np.array([sail in up for sail in found.strips.sail], dtype=bool), rows),
        branches={},
        **{name: getattr(found, name)[rows] for name in _BY_CONDITION},
    )


_BY_CONDITION = (
    "branch", "sail_set", "status", "reason", "remark", "iterations",
    "constraint_error", "optimality_error", "closure",
)  # fmt: skip


def _strips(strips: Strips, kept: NDArray[np.bool_], rows: Places) -> Strips:
    arrays = {
        field.name: getattr(strips, field.name)[kept][..., rows]
        for field in fields(strips)
        if field.name != "sail"
    }
    return Strips(sail=tuple(np.array(strips.sail, dtype=object)[kept]), **arrays)
