"""Why one boat is faster than another in one wind: the gain split by cause, from the multipliers of both
optima.

With all trims at their best, speed changes to first order by what a change does to the equations with
everything held, times their multipliers. What an option changes of a load is taken at the state of the base
and at that of the option, each with the multipliers there, and of both the mean: that is right to second
order, and what is left over is shown. Beside it each cause is put on the base boat alone, and the base solved
again. See docs/theory/why.md.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from vpp import balance, hulls
from vpp.config.resolve import BASE
from vpp.multipliers import NoOptimum, Optimum
from vpp.polar import Point, point
from vpp.results.variables import CONTROL_COLUMNS, DEGREE, KNOT, show_number, variable
from vpp.solved import SPEED, Solved
from vpp.solver.interior_point import minimise
from vpp.solver.problem import Derivatives, Settings, Values
from vpp.solver.status import Status
from vpp.state import Component, Load
from vpp.trim import SCALES, FastestEquilibrium, state_from

if TYPE_CHECKING:
    from vpp.config import BoatFile

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]

DRIVE, INDUCED, PROFILE = "sail drive", "induced drag", "profile drag"
SIDE_FORCE, CENTRE, TURNING = "side force", "centre of effort", "helm and bow"
WINDAGE, RIGHTING, WEIGHT = "windage", "righting moment", "weight"
HULL, FOILS, LIMITS = "hull", "fins and foils", "limits"

CAUSES = {
    DRIVE: "lift of the sails along the course, in the wind as it comes",
    INDUCED: "drag of the sails by the flow that their wakes induce",
    PROFILE: "drag of the sails' sections",
    SIDE_FORCE: "force of the sails across the course, where it acted before: leeway and heel",
    CENTRE: "how high that force acts: heel",
    TURNING: "moments of the sails that turn the boat or press the bow down",
    WINDAGE: "drag of mast, rigging, hull and crew in the wind",
    RIGHTING: "weights and buoyancy against heel",
    WEIGHT: "weight to be carried, and where along the boat",
    HULL: "resistance and side force of the hull",
    FOILS: "drag and lift of fins, rudders and foils",
    LIMITS: "limits that hold the boat back",
}
"""What can make a difference, in the order of the table, with what it means."""

LEVEL_KN = 0.005
"""Parts smaller than this are told together."""

APART_DEG = 10.0
"""Trims that stand further apart than this on the two boats make them two ways of sailing."""

SMALL, LEFT_OVER = "smaller parts", "left over"

COLUMNS = (
    "option", "base", "tws_kn", "twa_deg", "aim", "branch", "cause", "gain_kn", "solved_again_kn",
    "description",
)  # fmt: skip

FILE_DECIMALS = {"tws_kn": 4, "twa_deg": 3, "gain_kn": 5, "solved_again_kn": 5}
"""Digits that files carry."""

_AGAIN = Settings(initial_barrier=1e-4, block_size=256, restoration_starts=1)
# Side forces smaller than this share of the other boat's have no height of their own.
_LEAST_SHARE = 0.2


class NoSplit(ValueError):
    """A gain that has no parts: one boat has no result, or they are not carried alike; the message says
    which.
    """


@dataclass(frozen=True, kw_only=True)
class Part:
    """What one cause is worth: by the multipliers, and with the base solved again with this cause alone (NaN
    where that has no result).
    """

    cause: str
    gain_kn: float
    solved_again_kn: float


@dataclass(frozen=True, kw_only=True)
class Why:
    """A gain in boat speed, or in speed made good where that is the aim, and its parts. `apart` names trims
    that stand elsewhere on the two boats: they are then sailed in two ways, and the parts are rough.
    """

    option: str
    base: str
    tws_kn: float
    twa_deg: float
    aim: str
    branch: str
    base_kn: float
    option_kn: float
    parts: tuple[Part, ...]
    apart: tuple[str, ...] = ()

    def __repr__(self) -> str:
        return (
            f"Why({self.option} against {self.base}: {self.gain_kn:+.3f} kn, {len(self.parts)} causes, "
            f"{self.remainder_kn:+.3f} kn left over)"
        )

    @property
    def gain_kn(self) -> float:
        """What is to be explained."""
        return self.option_kn - self.base_kn

    @property
    def remainder_kn(self) -> float:
        """What the parts leave over: effects of third order, and what causes do to each other."""
        return self.gain_kn - sum(part.gain_kn for part in self.parts)

    def steps(self) -> tuple[tuple[str, float], ...]:
        """Parts worth telling, by name, then the small ones together and what is left over; they add up."""
        small = {part.cause: part.gain_kn for part in self.parts if abs(part.gain_kn) < LEVEL_KN}
        found = [(part.cause, part.gain_kn) for part in self.parts if part.cause not in small]
        if abs(self.remainder_kn) >= LEVEL_KN:
            return (*found, (SMALL, sum(small.values())), (LEFT_OVER, self.remainder_kn))
        return (*found, (SMALL, sum(small.values()) + self.remainder_kn))

    def sentence(self) -> str:
        """The gain and its largest parts in words."""
        gain = show_number(abs(self.gain_kn), decimals=2)
        parts = [
            f"{name} {show_number(part, decimals=2, signed=True)}"
            for name, part in sorted(self.steps(), key=lambda step: -abs(step[1]))
            if abs(part) >= LEVEL_KN
        ]
        turn = "gains" if self.gain_kn >= 0.0 else "loses"
        told = f": {', '.join(parts)}" if parts else ""
        rough = f" The two are not trimmed alike, which makes the parts rough: {'; '.join(self.apart)}."
        said = f"{self.option} {turn} {gain} kn on {self.base}, {say_wind(self)}, {self.branch}{told}."
        return said + rough * bool(self.apart)

    def to_frame(self) -> pd.DataFrame:
        """The table of parts, one row a cause, and the remainder as the last."""
        about = (self.option, self.base, self.tws_kn, self.twa_deg, self.aim, self.branch)
        rows = [
            (*about, part.cause, part.gain_kn, part.solved_again_kn, CAUSES[part.cause])
            for part in self.parts
        ]
        left = "what the parts leave over: effects of third order, and of causes on each other"
        rows.append((*about, LEFT_OVER, self.remainder_kn, np.nan, left))
        return pd.DataFrame(rows, columns=list(COLUMNS))


def why(
    boat_file: BoatFile,
    *,
    option: str,
    tws_kn: float,
    twa_deg: float | str,
    base: str = BASE,
) -> Why:
    """Why an option is faster or slower than the base in one wind, at an angle or at the best VMG where
    `twa_deg` is `upwind` or `downwind`.

    Raises NoSplit where there is nothing to split, and what `vpp.point` raises.
    """
    first, second = (point(boat_file, tws_kn=tws_kn, twa_deg=twa_deg, option=name) for name in (base, option))
    return split(first, second)


def split(base: Point, option: Point) -> Why:
    """The gain of one solved point over another, in the same wind, by cause. Raises NoSplit."""
    return split_at((base.solved, 0), (option.solved, 0))


def split_at(base: tuple[Solved, int], option: tuple[Solved, int]) -> Why:
    """The same of two solved conditions, each by its place among those that it was solved with."""
    found = (base, option)
    names = [_name(*each) for each in found]
    for (solved, place), name in zip(found, names, strict=True):
        if solved.status[place] != Status.CONVERGED:
            raise NoSplit(f"{name} has no result: {solved.reason[place]}")
    carried = [str(solved.branch[place]) for solved, place in found]
    if carried[0] != carried[1]:
        raise NoSplit(
            f"{names[0]} is {carried[0]} and {names[1]} {carried[1]}: a gain between two ways of being "
            f"carried has no parts; try another wind"
        )
    try:
        optima = [
            Optimum(solved.boats[int(solved.conditions.option[place])], solved, place)
            for solved, place in found
        ]
    except NoOptimum as error:
        raise NoSplit(f"a gain has no parts where {error}") from error
    if optima[0].problem.layout.equations != optima[1].problem.layout.equations:
        raise NoSplit(f"{names[0]} and {names[1]} are not held by the same equations")
    speeds = [each.speed_kn for each in optima]
    return Why(
        option=names[1],
        base=names[0],
        tws_kn=float(base[0].conditions.tws[base[1]] / KNOT),
        twa_deg=float(base[0].quantities["twa"][base[1]] / DEGREE),
        aim=str(base[0].conditions.aim[base[1]]),
        branch=carried[0],
        base_kn=speeds[0],
        option_kn=speeds[1],
        parts=_parts(*optima),
        apart=_apart(found, names),
    )


def _apart(found: Sequence[tuple[Solved, int]], names: Sequence[str]) -> tuple[str, ...]:
    """Trims that stand elsewhere on the two boats, with where they stand."""
    told = []
    for column in CONTROL_COLUMNS:
        of = variable(column)
        stands = [float(solved.quantities[of.source][place]) / DEGREE for solved, place in found]
        if of.unit == "deg" and abs(stands[1] - stands[0]) > APART_DEG:
            where = [f"{of.show(value)} deg on {name}" for value, name in zip(stands, names, strict=True)]
            told.append(f"{of.long_name} {', '.join(where)}")
    return tuple(told)


def say_wind(found: Why) -> str:
    """The wind, and the course in it."""
    wind = f"{show_number(found.tws_kn, decimals=1)} kn"
    if found.aim != SPEED:
        return f"VMG {found.aim} in {wind}"
    return f"TWA {show_number(found.twa_deg, decimals=1)} deg in {wind}"


def _name(solved: Solved, place: int) -> str:
    return str(solved.boats[int(solved.conditions.option[place])].name)


# --- by the multipliers -------------------------------------------------------------------------------------


def _parts(base: Optimum, option: Optimum) -> tuple[Part, ...]:
    states = [_values(each) for each in (base, option)]
    # what only one of the boats can trim stands, on the other, as it stands there
    states = [states[1] | states[0], states[0] | states[1]]
    changes = [_change(base.problem, option.problem, values) for values in states]
    limits = [
        _limits(each, base, option, values) for each, values in zip((base, option), states, strict=True)
    ]
    optima = (base, option)
    gains = {
        cause: _mean_gain([_prices(of) @ change[cause] for of, change in zip(optima, changes, strict=True)])
        for cause in changes[0]
    }
    gains[LIMITS] = _mean_gain(
        [
            of.multipliers[of.problem.equality_count :] @ change.margins
            + of.at_lower @ change.lower
            - of.at_upper @ change.upper
            for of, change in zip(optima, limits, strict=True)
        ]
    )
    means = {cause: 0.5 * (changes[0][cause] + changes[1][cause]) for cause in changes[0]}
    again = _solved_again(base, means, limits[0])
    return tuple(
        Part(cause=cause, gain_kn=gains[cause] + 0.0, solved_again_kn=again[cause]) for cause in CAUSES
    )


def _prices(of: Optimum) -> Floats:
    """What one newton or newton metre in each equation costs, in the solver's objective."""
    equations = of.problem.equality_count
    return np.asarray(of.multipliers[:equations] / of.problem.residual_scale[:, 0])


def _mean_gain(rises: Sequence[Any]) -> float:
    """Knots, of the rises of the solver's objective at both optima."""
    return -float(np.mean(rises)) * SCALES["boat_speed"] / KNOT


def _values(optimum: Optimum) -> dict[str, Floats]:
    """The free quantities of an optimum by name, (1,) each."""
    problem = optimum.problem
    values = {
        name: row * scale for name, row, scale in zip(problem.names, optimum.x, problem.scale, strict=True)
    }
    return values if problem.seeks_vmg else values | {"twa": problem.conditions.twa}


def _change(
    base: FastestEquilibrium, option: FastestEquilibrium, values: Mapping[str, Floats]
) -> dict[str, Floats]:
    """What an option changes in a state, by cause: of the equations (equations,), in N and N m."""
    before, after = (_by_cause(problem, values) for problem in (base, option))
    changes = {cause: after[cause] - before[cause] for cause in before}
    equations = base.layout.equations
    if "sway" in equations and "roll" in equations:
        sway, roll = equations.index("sway"), equations.index("roll")
        changes[CENTRE] = np.zeros(len(equations))
        changes[CENTRE][roll] = _by_height(before[SIDE_FORCE][[sway, roll]], after[SIDE_FORCE][[sway, roll]])
        changes[SIDE_FORCE] = changes[SIDE_FORCE] - changes[CENTRE]
    return changes


def _by_height(before: Floats, after: Floats) -> float:
    """How much of the change of a heeling moment is by the height of its force, of (force, moment) each."""
    (force, moment), (other_force, other_moment) = before.tolist(), after.tolist()
    least = _LEAST_SHARE * max(abs(force), abs(other_force))
    if force * other_force <= 0.0 or min(abs(force), abs(other_force)) < least:
        return float(other_moment - moment)
    return float(0.5 * (force + other_force) * (other_moment / other_force - moment / force))


def _by_cause(problem: FastestEquilibrium, values: Mapping[str, Floats]) -> dict[str, Floats]:
    """What each cause adds to the equations of a boat in a state; what the sails add across the course and to
    heel is all under `SIDE_FORCE`.
    """
    case, equations = np.zeros(1, dtype=np.int64), problem.layout.equations
    fixed = {name: held[:1] for name, held in problem.fixed.items()}
    complete = fixed | {name: values[name] for name in (*problem.names, "twa")}
    state = state_from(complete, problem.layout)
    found = {cause: np.zeros(len(equations)) for cause in CAUSES if cause != LIMITS}

    def add(load: Load, causes: Mapping[str, str], otherwise: str) -> None:
        whole = {part.name: getattr(load, part.name) + np.zeros(1) for part in fields(Load)}
        component = Component(name="", medium="", load=Load(**whole))
        row = np.asarray(balance.residuals(problem.layout, [component], leeway=complete["leeway"]))
        for place, equation in enumerate(equations):
            cause = causes.get(equation, otherwise)
            if cause:
                found[cause][place] += row.reshape(len(equations))[place]

    strips = balance.sail_force_parts(
        fleet_layout=problem.layout,
        boats=problem.of(case)[0],
        wake=problem.of(case)[1],
        wind=problem.wind(complete, case),
        state=state,
    )
    for name, load in strips.items():
        add(load, {"surge": _OF_STRIPS[name]}, "")
    for component in problem.loads(complete, case)[0]:
        add(component.load, *_causes_of(component, problem))
    return found


_OF_STRIPS = {"lift": DRIVE, "induced": INDUCED, "profile": PROFILE}
_OF_SAILS = {"sway": SIDE_FORCE, "roll": SIDE_FORCE}


def _causes_of(component: Component, problem: FastestEquilibrium) -> tuple[dict[str, str], str]:
    """To which cause a component counts in some of the equations, and in the others."""
    if component.name in problem.layout.sails:
        return _OF_SAILS | {"surge": ""}, TURNING
    if component.name in problem.layout.table_sails:
        return _OF_SAILS | {"surge": DRIVE}, TURNING
    if component.medium == "air":
        return {}, WINDAGE
    if component.medium == "gravity":
        return {"roll": RIGHTING}, WEIGHT
    if component.name == "buoyancy":
        return {"roll": RIGHTING}, HULL
    return {}, HULL if component.name in hulls.RESISTANCE else FOILS


# --- limits, and the base solved again ----------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class _Limits:
    """What an option changes of the margins (limits,) and of the bounds (variables,) of a problem."""

    margins: Floats
    lower: Floats
    upper: Floats


def _limits(of: Optimum, base: Optimum, option: Optimum, values: Mapping[str, Floats]) -> _Limits:
    """In a state, for the variables of one of the two; what only one of them has does not count."""
    before, after = (_margins(each.problem, values) for each in (base, option))
    bounds = []
    for name in ("lower", "upper"):
        had, has = (
            dict(zip(each.problem.names, getattr(each, name) * each.problem.scale, strict=True))
            for each in (base, option)
        )
        moved = [
            (has[key] - had[key]) / scale if key in had and key in has else 0.0
            for key, scale in zip(of.problem.names, of.problem.scale, strict=True)
        ]
        bounds.append(np.nan_to_num(np.array(moved)))
    return _Limits(
        margins=after - before if len(before) == len(after) else np.zeros(of.problem.inequality_count),
        lower=bounds[0],
        upper=bounds[1],
    )


def _margins(problem: FastestEquilibrium, values: Mapping[str, Floats]) -> Floats:
    """Margins of the foils in a state, (limits,)."""
    x = np.array([values[name] / scale for name, scale in zip(problem.names, problem.scale, strict=True)])
    constraints = problem.values(x, np.zeros(1, dtype=np.int64)).constraints
    return np.asarray(constraints[problem.equality_count :, 0])


class _Changed:
    """The base's problem with something added to its constraints (constraints, cases) and bounds (variables,
    cases).
    """

    def __init__(self, base: Optimum, added: Floats, lower: Floats, upper: Floats) -> None:
        self.of, self.added = base.problem, added
        self.lower, self.upper = base.problem.lower + lower, base.problem.upper + upper
        self.variable_count = self.of.variable_count
        self.equality_count, self.inequality_count = self.of.equality_count, self.of.inequality_count

    def values(self, x: Floats, cases: Integers) -> Values:
        """As the base's, and what is added."""
        plain = self.of.values(x, np.zeros(len(cases), dtype=np.int64))
        return Values(plain.objective, plain.constraints + self.added[:, cases])

    def derivatives(
        self, x: Floats, cases: Integers, multipliers: Floats, objective_weight: float = 1.0
    ) -> Derivatives:
        """As the base's: what is added is the same in all states."""
        plain = self.of.derivatives(x, np.zeros(len(cases), dtype=np.int64), multipliers, objective_weight)
        values = Values(plain.values.objective, plain.values.constraints + self.added[:, cases])
        return Derivatives(values, plain.gradient, plain.jacobian, plain.hessian)


def _solved_again(base: Optimum, means: Mapping[str, Floats], limits: _Limits) -> dict[str, float]:
    """Knots gained by the base with each cause alone."""
    equalities, count = base.problem.equality_count, len(base.x)
    added = np.zeros((len(base.constraints), len(CAUSES)))
    lower, upper = np.zeros((count, len(CAUSES))), np.zeros((count, len(CAUSES)))
    for place, cause in enumerate(CAUSES):
        if cause == LIMITS:
            added[equalities:, place] = limits.margins
            lower[:, place], upper[:, place] = limits.lower, limits.upper
        else:
            added[:equalities, place] = means[cause] / base.problem.residual_scale[:, 0]
    changed = _Changed(base, added, lower, upper)
    start = np.clip(np.repeat(base.x, len(CAUSES), axis=1), changed.lower, changed.upper)
    answer = minimise(changed, start, settings=_AGAIN)
    gains = -answer.objective * SCALES["boat_speed"] / KNOT - base.speed_kn
    return {
        cause: float(gain) if status == Status.CONVERGED else np.nan
        for cause, gain, status in zip(CAUSES, gains, answer.status, strict=True)
    }
