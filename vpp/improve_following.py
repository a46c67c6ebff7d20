"""The fastest equilibria of a boat followed to boats that differ a little, and what their speeds change by.

Following costs a few Newton steps where a search from afar takes hundreds. It stays with the way in which the
boat is carried and with the sails that are up: whether another would be better only a solve from afar can
say.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from vpp.boat import Boat
from vpp.fleets import Fleet
from vpp.multipliers import NoOptimum, Optimum
from vpp.optima import SETTINGS, Cases, put_in
from vpp.results.variables import DEGREE, KNOT
from vpp.solved import DOWNWIND, Conditions, Solved
from vpp.solver.following import Guess, follow
from vpp.solver.interior_point import minimise
from vpp.solver.problem import Settings
from vpp.solver.status import Status
from vpp.trim import SCALES, FastestEquilibrium, fleets_on, freedom, kind_of
from vpp.wardrobe import made_good, solve

Floats = NDArray[np.float64]
Places = NDArray[np.intp]

# A bound with a multiplier above this holds.
_HOLDS = 1e-7
# Searching on from a neighbour's answer where following did not get there.
_AGAIN = Settings(initial_barrier=1e-4, block_size=256, restoration_starts=1)
# Cases whose slopes are taken at a time.
_AT_A_TIME = 256


@dataclass(frozen=True, kw_only=True)
class Group:
    """Conditions in which a boat is carried in the same way under the same sails, all at given angles or all
    at best VMG: `places` among all conditions, the conditions as those of one boat, and the answers.

    Variables `x` (n, b) as the solver has them, its multipliers (m, b), zero or positive ones of bounds (n,
    b).
    """

    branch: str
    sail_set: str
    kind: tuple[object, ...]
    places: Places
    conditions: Conditions
    x: Floats
    multipliers: Floats
    at_lower: Floats
    at_upper: Floats

    def dressed(self, boat: Boat) -> Boat:
        """A boat under the sails of the group."""
        return boat.wearing(self.sail_set) if self.sail_set else boat.dressed

    def take(self, which: Places) -> Group:
        """Some of its conditions."""
        arrays = {
            name: getattr(self, name)[..., which]
            for name in ("places", "x", "multipliers", "at_lower", "at_upper")
        }
        return replace(self, conditions=self.conditions.take(which), **arrays)


@dataclass(frozen=True, kw_only=True)
class Standing:
    """A boat in all conditions: what it makes good [kn], its wind angle [deg], how it is carried and its
    sails, all (conditions,), NaN and empty without a result; `reason` says why there is none. `groups` are
    those answers that can be followed; `searched` conditions could not be and were solved from afar.
    """

    made_good_kn: Floats
    twa_deg: Floats
    branch: NDArray[np.object_]
    sail_set: NDArray[np.object_]
    reason: NDArray[np.object_]
    groups: tuple[Group, ...]
    searched: int = 0


def standing(solved: Solved) -> Standing:
    """One boat as it was solved from afar."""
    made = made_good(solved) / KNOT
    good = np.isfinite(made)
    return Standing(
        made_good_kn=made,
        twa_deg=np.where(good, solved.quantities["twa"] / DEGREE, np.nan),
        branch=np.where(good, solved.branch, "").astype(object),
        sail_set=np.where(good, solved.sail_set, "").astype(object),
        reason=np.where(good, "", solved.reason).astype(object),
        groups=tuple(_groups(solved)),
    )


def _groups(solved: Solved) -> list[Group]:
    """The answers that are optima, those alike together, each followed to its own boat for precise ones."""
    found: dict[tuple[str, str, bool], list[tuple[int, Optimum]]] = {}
    for place in np.flatnonzero(solved.status == Status.CONVERGED).tolist():
        boat = solved.boats[int(solved.conditions.option[place])]
        try:
            optimum = Optimum(boat, solved, place)
        except NoOptimum:
            continue
        key = (optimum.branch, optimum.sail_set, optimum.problem.seeks_vmg)
        found.setdefault(key, []).append((place, optimum))
    groups = []
    for (branch, sail_set, _), members in found.items():
        optima = [optimum for _, optimum in members]
        places = np.array([place for place, _ in members], dtype=np.intp)
        group = Group(
            branch=branch,
            sail_set=sail_set,
            kind=kind_of(optima[0].boat, (branch,)),
            places=places,
            conditions=replace(solved.conditions.take(places), option=np.zeros(len(places), dtype=np.intp)),
            x=np.concatenate([optimum.x for optimum in optima], axis=1),
            multipliers=np.array([optimum.multipliers for optimum in optima]).T,
            at_lower=np.array([optimum.at_lower for optimum in optima]).T,
            at_upper=np.array([optimum.at_upper for optimum in optima]).T,
        )
        exact, _, there = _follow(group, optima[0].problem_of([optima[0].boat]).fleet, optima[0].boat)
        groups.append(exact if exact is not None and there.all() else group)
    return groups


def follow_to(before: Standing, boat: Boat, conditions: Conditions) -> Standing:
    """Another boat in all conditions, from the answers of one near it; conditions that had no answer to
    follow or whose answer cannot be followed are solved from afar. `conditions` are all of them, of one boat.
    """
    count = len(conditions)
    made, twa = (np.full(count, np.nan) for _ in range(2))
    branch, sail_set = before.branch.copy(), before.sail_set.copy()
    reason = np.full(count, "", dtype=object)
    groups: list[Group] = []
    for group in before.groups:
        dressed = group.dressed(boat)
        if kind_of(dressed, (group.branch,)) != group.kind:
            continue
        (fleet,) = fleets_on([dressed], (group.branch,))
        after, problem, there = _follow(group, fleet, dressed)
        if after is None:
            continue
        kept = after.take(np.flatnonzero(there))
        groups.append(kept)
        made[kept.places] = _made_good_kn(problem, after.x)[there]
        named = problem.named(tuple(after.x), np.arange(len(after.places)))
        twa[kept.places] = (np.asarray(named["twa"]) / DEGREE)[there]
    left = np.flatnonzero(np.isnan(made) & np.isfinite(before.made_good_kn))
    if len(left):
        again = standing(solve((boat,), conditions.take(left)))
        made[left], twa[left] = again.made_good_kn, again.twa_deg
        branch[left], sail_set[left], reason[left] = again.branch, again.sail_set, again.reason
        groups += [replace(group, places=left[group.places]) for group in again.groups]
    return Standing(
        made_good_kn=made,
        twa_deg=twa,
        branch=branch,
        sail_set=sail_set,
        reason=np.where(np.isnan(before.made_good_kn), before.reason, reason),
        groups=tuple(groups),
        searched=len(left),
    )


def _follow(
    group: Group, fleet: Fleet, dressed: Boat
) -> tuple[Group | None, FastestEquilibrium, NDArray[np.bool_]]:
    """The group's answers for another boat, its problem, and which of them are answers."""
    problem = FastestEquilibrium(fleet, freedom([dressed], group.branch), group.conditions)
    if problem.lower.shape != group.x.shape or not bool(np.all(problem.upper - problem.lower > 1e-9)):
        return None, problem, np.zeros(len(group.places), dtype=bool)
    guess = Guess(
        np.ascontiguousarray(group.x),
        np.ascontiguousarray(group.multipliers),
        group.at_lower > _HOLDS,
        group.at_upper > _HOLDS,
    )
    answer = follow(problem, guess, settings=SETTINGS)
    lost = np.flatnonzero(answer.status != Status.CONVERGED)
    if len(lost):
        some = Cases(problem, lost)
        start = np.clip(group.x[:, lost], some.lower, some.upper)
        put_in(answer, minimise(some, start, settings=_AGAIN), lost)
    row = problem.names.index("boat_speed")
    slow_enough = ~(answer.active_upper[row] & (answer.upper_multipliers[row] > _HOLDS))
    there = (answer.status == Status.CONVERGED) & slow_enough
    after = replace(
        group,
        x=answer.x,
        multipliers=answer.multipliers,
        at_lower=np.where(answer.active_lower, answer.lower_multipliers, 0.0),
        at_upper=np.where(answer.active_upper, answer.upper_multipliers, 0.0),
    )
    return after, problem, there


def _made_good_kn(problem: FastestEquilibrium, x: Floats) -> Floats:
    objective = problem.values(x, np.arange(x.shape[1])).objective
    made: Floats = -objective * SCALES["boat_speed"] / KNOT
    return made


def speed_slopes(at: Standing, boat: Boat, neighbours: Sequence[Sequence[tuple[float, Boat]]]) -> Floats:
    """What each condition makes good more for a unit of each quantity [kn], (conditions, quantities), every
    trim at its best: multipliers times what the quantity does to the equations and limits with everything
    held.

    `neighbours` has of each quantity two boats with a little of it more or less, and by how much. NaN where a
    condition has no answer that could be followed, or a neighbour leaves other quantities free.
    """
    found = np.full((len(at.made_good_kn), len(neighbours)), np.nan)
    for group in at.groups:
        alike = [
            row
            for row, sides in enumerate(neighbours)
            if all(kind_of(group.dressed(each), (group.branch,)) == group.kind for _, each in sides)
        ]
        boats = [each for row in alike for _, each in neighbours[row]]
        for first in range(0, len(group.places), max(1, _AT_A_TIME // max(len(boats), 1))):
            part = group.take(
                np.arange(first, min(first + max(1, _AT_A_TIME // max(len(boats), 1)), len(group.places)))
            )
            worth = _worth(part, boats)
            for number, row in enumerate(alike):
                (one, _), (other, _) = neighbours[row]
                found[part.places, row] = (worth[2 * number + 1] - worth[2 * number]) / (other - one)
    return found


def _worth(group: Group, boats: Sequence[Boat]) -> Floats:
    """What the Lagrangian at the group's answers is for each of some boats, in knots made good, up to the
    same number for all (boats, conditions).
    """
    count = len(group.places)
    if not boats:
        return np.zeros((0, count))
    dressed = [group.dressed(boat) for boat in boats]
    (fleet,) = fleets_on(dressed, (group.branch,))
    option = np.repeat(np.arange(len(boats), dtype=np.intp), count)
    tiled = group.conditions.take(np.tile(np.arange(count), len(boats)))
    problem = FastestEquilibrium(fleet, freedom(dressed, group.branch), replace(tiled, option=option))
    cases = np.arange(len(option))

    def wide(rows: Floats) -> Floats:
        return np.tile(rows, (1, len(boats)))

    values = problem.values(wide(group.x), cases)
    lagrangian = (
        values.objective
        + np.sum(wide(group.multipliers) * values.constraints, axis=0)
        + np.sum(wide(group.at_lower) * problem.lower - wide(group.at_upper) * problem.upper, axis=0)
    )
    worth: Floats = -lagrangian.reshape(len(boats), count) * SCALES["boat_speed"] / KNOT
    return worth


def sign_of(conditions: Conditions) -> Floats:
    """1, and -1 where the aim is downwind: what turns VMG into what is made good."""
    return np.where(conditions.aim == DOWNWIND, -1.0, 1.0)
