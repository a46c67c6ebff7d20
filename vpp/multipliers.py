"""A solved condition as the solver's problem again, with the multipliers of what holds it there."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from vpp.boat import Boat
from vpp.results.variables import KNOT
from vpp.solved import Conditions, Solved
from vpp.solver.problem import Derivatives
from vpp.trim import CONTROL_SCALES, SCALES, FastestEquilibrium, fleets_on, freedom, kind_of

Floats = NDArray[np.float64]

# A bound as near as this, in the solver's units, may hold: the barrier keeps multipliers of 1e-5 so far off.
MAY_HOLD = 1e-3
# How far the conditions of an optimum may be missed before its multipliers are worth nothing.
_MOST_MISSED = 1e-4


class NoOptimum(ValueError):
    """A state at which the speed could rise to first order."""


class Optimum:
    """A solved condition as the solver's problem, with its multipliers, of which those of the equations may
    have either sign, those of limits are zero or negative and those of bounds zero or positive.

    `boat` is the condition's, whatever sails it has up. Raises NoOptimum where the state is none.
    """

    def __init__(self, boat: Boat, solved: Solved, place: int) -> None:
        self.sail_set, self.branch = str(solved.sail_set[place]), str(solved.branch[place])
        self.conditions = replace(
            solved.conditions.take(np.array([place])), option=np.zeros(1, dtype=np.intp)
        )
        self.boat = self.dressed(boat)
        self.problem = self.problem_of([self.boat])
        self.values = _values(self.problem, solved, place)
        self.x = self.start(self.problem)
        none = np.zeros((self.problem.equality_count + self.problem.inequality_count, 1))
        first = self.problem.derivatives(self.x, np.zeros(1, dtype=np.intp), none)
        self.gradient, self.jacobian = first.gradient[:, 0], first.jacobian[..., 0]
        self.constraints = first.values.constraints[:, 0]
        self.lower, self.upper = self.problem.lower[:, 0], self.problem.upper[:, 0]
        self.multipliers, self.at_lower, self.at_upper = _multipliers(
            self.x[:, 0],
            (self.lower, self.upper),
            first,
            0,
            self.problem.equality_count,
        )
        self.speed_kn = -float(first.values.objective[0]) * SCALES["boat_speed"] / KNOT
        whole = self.problem.derivatives(
            self.x, np.zeros(1, dtype=np.intp), np.ascontiguousarray(self.multipliers[:, None])
        )
        self.hessian = whole.hessian[..., 0]
        self.lagrangian_gradient = self.gradient + self.multipliers @ self.jacobian
        missed = np.abs(self.lagrangian_gradient - self.at_lower + self.at_upper).max()
        if not missed <= _MOST_MISSED:
            raise NoOptimum(f"the state is no optimum (it is missed by {missed:.1e})")

    def dressed(self, boat: Boat) -> Boat:
        """A boat under the sails of the condition."""
        return boat.wearing(self.sail_set) if self.sail_set else boat.dressed

    def problem_of(self, boats: Sequence[Boat]) -> FastestEquilibrium:
        """The condition's problem for boats that can be solved together, one case a boat."""
        count = len(boats)
        conditions = Conditions(
            option=np.arange(count),
            tws=np.repeat(self.conditions.tws, count),
            twa=np.repeat(self.conditions.twa, count),
            aim=np.repeat(self.conditions.aim, count),
        )
        (fleet,) = fleets_on(boats, (self.branch,))
        return FastestEquilibrium(fleet, freedom(boats, self.branch), conditions)

    def is_alike(self, boat: Boat) -> bool:
        """Whether a boat leaves the same quantities free and can be solved together with the condition's."""
        return self.kind_of(boat) == self.kind_of(self.boat)

    def kind_of(self, boat: Boat) -> tuple[object, ...]:
        """What boats must share to be solved in one batch."""
        return kind_of(boat, (self.branch,))

    def start(self, problem: FastestEquilibrium) -> Floats:
        """The condition's state as that of a problem, within its bounds."""
        rows = [
            np.full(problem.condition_count, self.values[name]) / scale
            for name, scale in zip(problem.names, problem.scale, strict=True)
        ]
        inside: Floats = np.clip(np.array(rows), problem.lower, problem.upper)
        return inside


def _values(problem: FastestEquilibrium, solved: Solved, place: int) -> dict[str, float]:
    """Everything that the solver moved, by name; trims of sails are read off the strips as they stand."""
    fixed = {name: float(values[0]) for name, values in problem.fixed.items()}
    found = dict(fixed)
    for name in problem.names:
        if name in solved.quantities:
            found[name] = float(solved.quantities[name][place])
    return found | _trims(problem, solved, place, fixed)


def _trims(
    problem: FastestEquilibrium, solved: Solved, place: int, fixed: Mapping[str, float]
) -> dict[str, float]:
    found: dict[str, float] = {}
    rig, names = problem.boats.rig, np.array(solved.strips.sail)
    for sail, strips in zip(problem.layout.sails, problem.layout.slices, strict=True):
        rows = np.flatnonzero(names == sail)[: strips.stop - strips.start]
        share, one = rig.share[strips, 0], np.ones(len(rows))
        depth = (rig.camber_full - rig.camber_flat)[strips, 0]
        head, foot = rig.head_ramp[strips, 0] * depth, rig.foot_ramp[strips, 0] * depth
        for stands, columns in (
            (solved.strips.chord_angle[rows, place], {"sheet": one, "twist": share}),
            (
                solved.strips.camber[rows, place] - rig.camber_flat[strips, 0],
                {"camber": depth - head - foot, "head_camber": head, "foot_camber": foot},
            ),
        ):
            held = {name: f"{sail}_{name}" for name in columns if f"{sail}_{name}" in fixed}
            left = stands - sum(fixed[full] * columns[name] for name, full in held.items())
            free = [name for name in columns if name not in held and name in CONTROL_SCALES]
            if free:
                matrix = np.array([columns[name] for name in free]).T
                solution = np.linalg.lstsq(matrix, left, rcond=None)[0]
                found |= {f"{sail}_{name}": float(value) for name, value in zip(free, solution, strict=True)}
    return found


def _multipliers(
    x: Floats, bounds: tuple[Floats, Floats], there: Derivatives, case: int, equalities: int
) -> tuple[Floats, Floats, Floats]:
    """Multipliers of the constraints (zero or negative for a limit) and of lower and upper bounds, from the
    conditions of the optimum: by least squares over all that may hold, those of the wrong sign let go one
    after the other.
    """
    lower, upper = bounds
    constraints, jacobian = there.values.constraints[:, case], there.jacobian[..., case]
    count = len(x)
    limits = equalities + np.flatnonzero(constraints[equalities:] < MAY_HOLD)
    lows = np.flatnonzero(x - lower < MAY_HOLD)
    highs = np.flatnonzero(upper - x < MAY_HOLD)
    eye = np.eye(count)
    # columns whose multiplier must be positive follow the equations
    columns = [*jacobian[:equalities], *-jacobian[limits], *-eye[lows], *eye[highs]]
    kept = list(range(len(columns)))
    while True:
        found = np.linalg.lstsq(np.array([columns[i] for i in kept]).T, -there.gradient[:, case], rcond=None)[
            0
        ]
        signed = found[equalities:]
        if not len(signed) or signed.min() >= 0.0:
            break
        del kept[equalities + int(np.argmin(signed))]
    whole = np.zeros(len(columns))
    whole[kept] = found
    parts = np.split(whole, np.cumsum([equalities, len(limits), len(lows)]))
    multipliers = np.zeros(len(constraints))
    multipliers[:equalities], multipliers[limits] = parts[0], -parts[1]
    at_lower, at_upper = np.zeros(count), np.zeros(count)
    at_lower[lows], at_upper[highs] = parts[2], parts[3]
    return multipliers, at_lower, at_upper


@dataclass(frozen=True, kw_only=True)
class Held:
    """A solved condition as the solver has it: variables (n,), multipliers of equations and limits (m + p,)
    and of lower and upper bounds (n,), with the signs of `Optimum`.
    """

    x: Floats
    multipliers: Floats
    at_lower: Floats
    at_upper: Floats


def held(boat: Boat, solved: Solved, places: Sequence[int]) -> list[Held | None]:
    """As `Optimum`, of many solved conditions of one boat at once, which are of one branch, sail set and kind
    of aim; None where a state is no optimum.
    """
    first = places[0]
    sail_set, branch = str(solved.sail_set[first]), str(solved.branch[first])
    boat = boat.wearing(sail_set) if sail_set else boat.dressed
    conditions = solved.conditions.take(np.array(places))
    conditions = replace(conditions, option=np.zeros(len(places), dtype=np.intp))
    (fleet,) = fleets_on([boat], (branch,))
    problem = FastestEquilibrium(fleet, freedom([boat], branch), conditions)
    values = [_values(problem, solved, place) for place in places]
    rows = [
        [each[name] / scale for each in values]
        for name, scale in zip(problem.names, problem.scale, strict=True)
    ]
    x = np.clip(np.array(rows), problem.lower, problem.upper)
    none = np.zeros((problem.equality_count + problem.inequality_count, len(places)))
    there = problem.derivatives(x, np.arange(len(places)), none)
    found: list[Held | None] = []
    for case in range(len(places)):
        bounds = problem.lower[:, case], problem.upper[:, case]
        multipliers, at_lower, at_upper = _multipliers(
            x[:, case], bounds, there, case, problem.equality_count
        )
        left = there.gradient[:, case] + multipliers @ there.jacobian[..., case] - at_lower + at_upper
        found.append(
            Held(x=x[:, case], multipliers=multipliers, at_lower=at_lower, at_upper=at_upper)
            if np.abs(left).max() <= _MOST_MISSED
            else None
        )
    return found
