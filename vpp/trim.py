"""What is free at a condition, within which bounds and from where the search starts: the solver's problem."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from copy import copy
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from vpp import balance
from vpp.balance import BoatArrays, Component, Fleet, Layout, State
from vpp.boat import Boat, Range
from vpp.physics.arrays import Array, array_namespace
from vpp.physics.hull import EXTENDED_FROUDE_LIMIT
from vpp.physics.lifting_line import WakeOperator
from vpp.physics.sails import SailTrim
from vpp.physics.wind import apparent_wind
from vpp.solved import DOWNWIND, SPEED, UPWIND, Conditions
from vpp.solver import jets
from vpp.solver.problem import Derivatives, Values

FloatArray = NDArray[np.float64]
Integers = NDArray[np.int64]

# The balance is solved no slower than this [m/s]: below it the friction line and the course lose their
# meaning.
SLOWEST = 0.05
# Where the best VMG is searched for [rad]; a result at an end of the range is not a best VMG and is reported
# as such.
VMG_RANGES = {UPWIND: (math.radians(20.0), math.radians(89.0)), DOWNWIND: (math.radians(91.0), math.pi)}
# What one unit of the solver's variables means, so that all of them are of order one.
SCALES = {"boat_speed": 5.0, "leeway": 0.1, "heel": 0.3, "rudder": 0.1, "crew_arm": 1.0, "twa": 0.5}
CONTROL_SCALES = {"sheet": 0.3, "twist": 0.3, "camber": 1.0}


@dataclass(frozen=True, kw_only=True)
class Freedom:
    """The quantities that the solver may move for boats of one kind, in order, and the values of those it may
    not.

    `lower` and `upper` are (variables, boats) in SI units; `fixed` maps a name to its values (boats,).
    """

    names: tuple[str, ...]
    lower: FloatArray
    upper: FloatArray
    fixed: Mapping[str, FloatArray]


# Conditions differentiated at a time: as many as keep the arrays of second derivatives in the processor's
# cache.
MOST_DIFFERENTIATED = 256


def ranges(boat: Boat) -> dict[str, Range]:
    """Bounds of everything adjustable on a boat, by name."""
    margins = boat.margins
    speed = EXTENDED_FROUDE_LIMIT * math.sqrt(boat.environment.gravity * boat.hull.waterline_length)
    bounds = {
        "boat_speed": Range(lower=SLOWEST, upper=speed),
        "leeway": Range(lower=-margins.leeway, upper=margins.leeway),
        "heel": Range(lower=-margins.heel, upper=margins.heel),
        "rudder": Range(lower=-margins.rudder, upper=margins.rudder),
        "crew_arm": boat.crew.arm,
    }
    for sail in boat.sails:
        bounds |= {
            f"{sail.name}_sheet": sail.sheet,
            f"{sail.name}_twist": sail.twist,
            f"{sail.name}_camber": sail.camber,
        }
    return bounds


def freedom(boats: Sequence[Boat]) -> Freedom:
    """Free and fixed quantities of boats that all leave the same ones free."""
    per_boat = [ranges(boat) for boat in boats]
    names = tuple(name for name, bound in per_boat[0].items() if not bound.is_fixed)
    return Freedom(
        names=names,
        lower=np.array([[bounds[name].lower for bounds in per_boat] for name in names]),
        upper=np.array([[bounds[name].upper for bounds in per_boat] for name in names]),
        fixed={
            name: np.array([bounds[name].lower for bounds in per_boat])
            for name in per_boat[0]
            if name not in names
        },
    )


def scale_of(name: str) -> float:
    """The unit of a solver variable, in SI."""
    return SCALES.get(name) or CONTROL_SCALES[name.rsplit("_", 1)[1]]


def state_from(values: Mapping[str, Array], fleet_layout: Layout) -> State:
    """The state that named values describe."""
    return State(
        boat_speed=values["boat_speed"],
        leeway=values["leeway"],
        heel=values["heel"],
        rudder=values["rudder"],
        crew_arm=values["crew_arm"],
        trims=tuple(
            SailTrim(
                sheet=values[f"{sail}_sheet"], twist=values[f"{sail}_twist"], camber=values[f"{sail}_camber"]
            )
            for sail in fleet_layout.sails
        ),
    )


class FastestEquilibrium:
    """The solver's problem: go as fast as possible, to the mark or through the water, with every equation of
    the balance met.

    Variables are the free quantities over their scales, and the true wind angle where the aim is a best VMG.
    """

    def __init__(self, fleet: Fleet, free: Freedom, conditions: Conditions):
        self.fleet, self.free = fleet, free
        self.layout = fleet.layout
        self.conditions = conditions
        self.seeks_vmg = bool(conditions.aim[0] != SPEED)
        self.names = (*free.names, "twa") if self.seeks_vmg else free.names
        self.scale = np.array([scale_of(name) for name in self.names])
        self.boats, self.wake = fleet.select(conditions.option)
        self.fixed = {name: values[conditions.option] for name, values in free.fixed.items()}
        self.residual_scale = balance.residual_scales(self.boats, conditions.tws)
        lower, upper = free.lower[:, conditions.option], free.upper[:, conditions.option]
        if self.seeks_vmg:
            angles = np.array([VMG_RANGES[aim] for aim in conditions.aim]).T
            lower, upper = np.vstack([lower, angles[:1]]), np.vstack([upper, angles[1:]])
        self.lower, self.upper = lower / self.scale[:, None], upper / self.scale[:, None]

    @property
    def condition_count(self) -> int:
        """Number of conditions."""
        return len(self.conditions)

    def select(self, places: NDArray[np.intp]) -> FastestEquilibrium:
        """The problem of some of the conditions."""
        return type(self)(self.fleet, self.free, self.conditions.take(places))

    def up_to(self, downwind_end: float) -> FastestEquilibrium:
        """The same problem with the best VMG downwind looked for no farther than a true wind angle [rad]."""
        if not self.seeks_vmg:
            return self
        narrowed = copy(self)
        angle = self.names.index("twa")
        narrowed.upper = self.upper.copy()
        downwind = self.conditions.aim == DOWNWIND
        narrowed.upper[angle, downwind] = downwind_end / self.scale[angle]
        return narrowed

    @property
    def variable_count(self) -> int:
        """Number of variables."""
        return len(self.names)

    @property
    def equality_count(self) -> int:
        """Number of equations of the balance."""
        return len(balance.EQUATIONS)

    @property
    def inequality_count(self) -> int:
        """No inequality besides the bounds."""
        return 0

    def values(self, x: FloatArray, cases: Integers) -> Values:
        """Objective and scaled residuals at x (variables, cases)."""
        objective, residual = self._evaluate(tuple(x), cases)
        return Values(np.asarray(objective), np.asarray(residual))

    def derivatives(
        self, x: FloatArray, cases: Integers, multipliers: FloatArray, objective_weight: float = 1.0
    ) -> Derivatives:
        """Values, gradient, Jacobian and the Hessian of `objective_weight * objective + multipliers .

        residuals`.
        """
        parts = [
            self._derivatives(x[:, part], cases[part], multipliers[:, part], objective_weight)
            for part in _parts(len(cases), MOST_DIFFERENTIATED)
        ]
        values = Values(
            np.concatenate([part.values.objective for part in parts], axis=-1),
            np.concatenate([part.values.constraints for part in parts], axis=-1),
        )
        return Derivatives(
            values,
            np.concatenate([part.gradient for part in parts], axis=-1),
            np.concatenate([part.jacobian for part in parts], axis=-1),
            np.concatenate([part.hessian for part in parts], axis=-1),
        )

    def _derivatives(
        self, x: FloatArray, cases: Integers, multipliers: FloatArray, objective_weight: float
    ) -> Derivatives:
        shape = (x.shape[1],)
        objective, residual = self._evaluate(jets.variables(x), cases)
        lagrangian = objective_weight * objective + jets.sum(residual * multipliers, axis=0)
        value, gradient, _ = jets.dense(objective, len(x), shape)
        _, _, hessian = jets.dense(lagrangian, len(x), shape)
        constraints, jacobian = jets.dense_gradient(residual, len(x), residual.shape)
        return Derivatives(Values(value, constraints), gradient, jacobian.transpose(1, 0, 2), hessian)

    def named(self, x: Array | Sequence[Array], cases: Integers) -> dict[str, Array]:
        """All quantities by name in SI units, the fixed ones and the wind angle included."""
        values: dict[str, Array] = {name: fixed[cases] for name, fixed in self.fixed.items()}
        values |= {name: row * scale for name, row, scale in zip(self.names, x, self.scale, strict=True)}
        if not self.seeks_vmg:
            values["twa"] = self.conditions.twa[cases]
        return values

    def components(self, values: Mapping[str, Array], cases: Integers) -> tuple[Component, ...]:
        """Every component's load at named values."""
        boats, wake = self.of(cases)
        wind = balance.true_wind(boats=boats, tws=self.conditions.tws[cases], twa=values["twa"])
        state = state_from(values, self.layout)
        return balance.loads(fleet_layout=self.layout, boats=boats, wake=wake, wind=wind, state=state)

    def of(self, cases: Integers) -> tuple[BoatArrays, WakeOperator]:
        """Boat arrays and wakes of some cases."""
        return balance.take(self.boats, cases), replace(self.wake, boat=self.wake.boat[cases])

    def _evaluate(self, x: Sequence[Array], cases: Integers) -> tuple[Array, Array]:
        values = self.named(x, cases)
        residual = balance.residuals(self.components(values, cases), leeway=values["leeway"])
        made_good = self._made_good(values, cases)
        return -made_good / SCALES["boat_speed"], residual / self.residual_scale[:, cases]

    def _made_good(self, values: Mapping[str, Array], cases: Integers) -> Array:
        """The speed to be as large as possible [m/s]: through the water, or towards or away from the wind."""
        if not self.seeks_vmg:
            return values["boat_speed"]
        xp = array_namespace(values["twa"])
        sign = np.where(self.conditions.aim[cases] == UPWIND, 1.0, -1.0)
        return sign * values["boat_speed"] * xp.cos(values["twa"])


# --- starts -------------------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class Start:
    """How to guess a state to start from.

    `speed_factor` scales the guessed boat speed; `incidence` [rad] is that of the sails' feet, the last one
    holding for all further sails, and a sheet that cannot reach it begins near its stop; `twist` [rad] and
    `camber`, from 0 flattest to 1 fullest, hold for all sails. The search for the best VMG downwind begins at
    the true wind angle `downwind_angle` and goes no farther than `downwind_end` [rad]; `barrier` is the
    solver's initial barrier.
    """

    speed_factor: float
    incidence: tuple[float, ...]
    twist: float
    camber: float
    downwind_angle: float
    downwind_end: float
    barrier: float


def start(problem: FastestEquilibrium, how: Start) -> FloatArray:
    """A state to start from, (variables, conditions), scaled.

    The guess need not balance; it only has to leave the sails in attached flow where they can be.
    """
    conditions = problem.conditions
    angle = np.where(conditions.aim == UPWIND, math.radians(45.0), how.downwind_angle)
    twa = np.where(conditions.aim == SPEED, conditions.twa, angle)
    hull_speed = 0.47 * np.sqrt(problem.boats.gravity * problem.boats.hull.waterline_length)
    reach = 0.35 + 0.65 * np.sin(np.clip(twa, 0.0, np.pi)) ** 2
    boat_speed = how.speed_factor * hull_speed * np.tanh(0.9 * reach * conditions.tws / hull_speed)
    _, beta = apparent_wind(true_wind_speed=conditions.tws, true_wind_angle=twa, boat_speed=boat_speed)
    power = np.clip(np.sin(beta), 0.0, 1.0) * np.minimum(conditions.tws / 10.0, 1.0)
    guesses = {
        "boat_speed": boat_speed,
        "leeway": 0.06 * power,
        "heel": 0.25 * power,
        "rudder": -0.02 * power,
        "crew_arm": problem.upper[problem.names.index("crew_arm")] * 0.9
        if "crew_arm" in problem.names
        else 0.0,
        "twa": twa,
    }
    for i, sail in enumerate(problem.layout.sails):
        guesses[f"{sail}_sheet"] = np.maximum(
            beta - how.incidence[min(i, len(how.incidence) - 1)], math.radians(2.0)
        )
        guesses[f"{sail}_twist"] = np.full(len(conditions), how.twist)
        guesses[f"{sail}_camber"] = np.full(len(conditions), how.camber)
    rows = np.array(
        [np.broadcast_to(guesses[name], (len(conditions),)) / scale_of(name) for name in problem.names]
    )
    room = problem.upper - problem.lower
    inside: FloatArray = np.clip(rows, problem.lower + 0.02 * room, problem.upper - 0.02 * room)
    return inside


def _parts(count: int, size: int) -> list[slice]:
    return [slice(first, min(first + size, count)) for first in range(0, max(count, 1), size)]
