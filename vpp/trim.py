"""What is free at a condition, within which bounds and from where the search starts: the solver's problem."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from vpp import balance, fleets
from vpp.balance import SailCurvature, WorkingFoil
from vpp.boat import Boat, FormedHull, Hull, Range
from vpp.fleets import BoatArrays, Fleet, Layout
from vpp.foiling import CANTING_PAIR, RUDDER
from vpp.physics import hull
from vpp.physics.arrays import Array, array_namespace
from vpp.physics.lifting_line import WakeOperator
from vpp.physics.sails import SailTrim, Wind
from vpp.physics.wind import apparent_wind
from vpp.solved import DOWNWIND, FOIL_BORNE, HULL_BORNE, SPEED, UPWIND, Conditions
from vpp.solver import jets
from vpp.solver.problem import Derivatives, Values
from vpp.state import Component, State

FloatArray = NDArray[np.float64]
Integers = NDArray[np.int64]

# The balance is solved no slower than this [m/s]: below it the friction line and the course lose their
# meaning.
SLOWEST = 0.05
# Where the best VMG is searched for [rad]; a result at an end of the range is not a best VMG and is reported
# as such.
VMG_RANGES = {UPWIND: (math.radians(20.0), math.radians(89.0)), DOWNWIND: (math.radians(91.0), math.pi)}
# Where a search for a best VMG from a guessed start begins [rad].
VMG_STARTS = {UPWIND: math.radians(45.0), DOWNWIND: math.radians(140.0)}
# What one unit of the solver's variables means, so that all of them are of order one.
SCALES = {
    "boat_speed": 5.0,
    "leeway": 0.1,
    "heel": 0.3,
    "pitch": 0.05,
    "ride_height": 0.3,
    "rudder": 0.1,
    "crew_arm": 1.0,
    "crew_x": 1.0,
    "cant": 0.3,
    "flap": 0.1,
    "elevator": 0.05,
    "tab": 0.1,
    "mast_rotation": 0.3,
    "twa": 0.5,
}
# Nor is a slender hull looked for on the water beyond this Froude number, where dynamic lift would carry it.
MOST_FROUDE_ON_HULL = 2.0
# Nor one that planes beyond this.
MOST_FROUDE_PLANING = 3.0
# Rise over the drawn draught at which a boat counts no longer as carried by its hull.
MOST_RISE_ON_HULL = 0.5
# And a planing one may rise so much further than another.
MOST_RISE_PLANING = 4.0
# Where between its least and its greatest ride height a boat on foils begins.
FLYING_SHARE = 0.25
# Where between those the sails' mirror in the water is found; it changes in a straight line with ride height
# through both, close to where boats fly.
MIRROR_SHARES = {HULL_BORNE: (0.0, 1.0), FOIL_BORNE: (0.1, 0.5)}
# Range of ride heights [m] that is left to a boat on foils in waves too high for them.
LEAST_RANGE = 0.02
# No boat on foils is looked for beyond this speed [m/s]: cavitation sets a limit well below it.
FASTEST_ON_FOILS = 32.0
CONTROL_SCALES = {"sheet": 0.3, "twist": 0.3, "head_camber": 1.0, "foot_camber": 1.0, "camber": 1.0}
# The control of a sail from a table, and where its search starts: near the top of its range, for power pays.
POWER, POWER_SCALE, POWER_START = "power", 0.5, 0.9
# What only boats on foils have.
FOILING = ("pitch", "ride_height", "cant", "flap", "elevator")
# What not every boat has, and is zero where it is missing.
OPTIONAL = (*FOILING, "mast_rotation", "tab")
# The range of a control that a sail does not have.
NO_CONTROL = Range(lower=0.0, upper=0.0)


@dataclass(frozen=True, kw_only=True)
class Freedom:
    """The quantities that the solver may move for boats of one kind, in order, and the values of those it may
    not, carried on the hull or on foils.

    `lower` and `upper` are (variables, boats) in SI units; `fixed` maps a name to its values (boats,).
    """

    branch: str
    names: tuple[str, ...]
    lower: FloatArray
    upper: FloatArray
    fixed: Mapping[str, FloatArray]


# Conditions differentiated at a time: as many as keep the arrays of second derivatives in the processor's
# cache.
MOST_DIFFERENTIATED = 256


def branches_of(boat: Boat) -> tuple[str, ...]:
    """How the boat may be carried."""
    return (HULL_BORNE, FOIL_BORNE) if boat.foil(CANTING_PAIR) is not None else (HULL_BORNE,)


def ranges(boat: Boat, branch: str) -> dict[str, Range]:
    """Bounds of everything adjustable on a boat, by name."""
    margins = boat.margins
    bounds = {
        "boat_speed": _speeds(boat, branch),
        "leeway": Range(lower=-margins.leeway, upper=margins.leeway),
        "heel": Range(lower=-margins.to_windward, upper=margins.heel),
        "rudder": Range(lower=-margins.rudder, upper=margins.rudder),
        "crew_arm": boat.crew.arm,
        "crew_x": boat.crew.along,
    }
    if boat.heaves:
        bounds |= {"pitch": margins.pitch, "ride_height": _ride_heights(boat, branch)}
    canting, steering = boat.foil(CANTING_PAIR), boat.foil(RUDDER)
    if canting is not None:
        bounds |= {"cant": canting.cant, "flap": canting.flap}
    if steering is not None:
        bounds["elevator"] = steering.flap
    if boat.has_tab:
        bounds["tab"] = next(fin.tab for fin in boat.fins if fin.tab_chord_share > 0.0)
    if boat.turns_mast:
        bounds["mast_rotation"] = boat.rig.mast_rotation
    for sail in boat.sails:
        bounds |= {
            f"{sail.name}_sheet": sail.sheet,
            f"{sail.name}_twist": sail.twist,
            f"{sail.name}_camber": sail.camber,
            f"{sail.name}_head_camber": sail.head_camber if sail.has_head_control else NO_CONTROL,
            f"{sail.name}_foot_camber": sail.foot_camber if sail.has_foot_control else NO_CONTROL,
        }
    bounds |= {f"{sail.name}_{POWER}": sail.power for sail in boat.table_sails}
    return bounds


def _speeds(boat: Boat, branch: str) -> Range:
    """Between the ends of a table of resistance, or as fast as the models are meant for."""
    if isinstance(boat.hull, Hull) and boat.hull.resistance is not None:
        first, *_, last = boat.hull.resistance.speed
        return Range(lower=max(SLOWEST, first), upper=last)
    return Range(lower=SLOWEST, upper=_fastest(boat, branch))


def _fastest(boat: Boat, branch: str) -> float:
    if branch == FOIL_BORNE:
        return FASTEST_ON_FOILS
    limit = MOST_FROUDE_ON_HULL if boat.heaves else hull.EXTENDED_FROUDE_LIMIT
    if isinstance(boat.hull, FormedHull) and boat.hull.planes:
        limit = MOST_FROUDE_PLANING
    return limit * math.sqrt(boat.environment.gravity * boat.hull.waterline_length)


def _ride_heights(boat: Boat, branch: str) -> Range:
    """On the hull, from twice the drawn draught to half of it, where the hull still carries some third of the
    weight; a catamaran's middle rises as one hull flies, and a planing bottom rises further. On foils, from a
    keel line that is clear by its margin to a wing that leaves the water.
    """
    draught = boat.hull.canoe_draught
    foil = boat.foil(CANTING_PAIR)
    if branch == HULL_BORNE or foil is None:
        rise = MOST_RISE_ON_HULL * draught
        if isinstance(boat.hull, FormedHull):
            rise += 0.5 * boat.hull.hull_spacing * math.sin(boat.margins.heel)
            rise *= MOST_RISE_PLANING if boat.hull.planes else 1.0
        return Range(lower=-draught, upper=rise)
    reach = foil.arm_length * math.cos(foil.cant.lower) - foil.attachment_z
    return Range(lower=draught + boat.margins.clearance, upper=reach)


def mirror_heights(boat: Boat, branch: str) -> tuple[float, float]:
    """Two ride heights [m] at which the sails' mirror in the water is found, of a boat free to heave."""
    heights = _ride_heights(boat, branch)
    low, high = (heights.lower + share * (heights.upper - heights.lower) for share in MIRROR_SHARES[branch])
    return low, high


def fleets_on(boats: Sequence[Boat], branches: Sequence[str]) -> list[Fleet]:
    """Boats of one layout as arrays, carried in each of the ways: where they heave, with their sails mirrored
    in the water as they ride above it.
    """
    if not boats[0].heaves:
        return [fleets.fleet(boats)] * len(branches)
    heights = [[mirror_heights(boat, branch) for boat in boats] for branch in branches]
    first = fleets.fleet(boats, ride_heights=heights[0])
    return [first, *(first.mirrored(boats, each) for each in heights[1:])]


def kind_of(boat: Boat, branches: Sequence[str]) -> tuple[object, ...]:
    """What boats must share to be solved in one batch on those of the branches that they have."""
    having = branches_of(boat)
    adjustable = tuple(
        (name, bound.is_fixed)
        for branch in having
        for name, bound in ranges(boat, branch).items()
        if branch in branches
    )
    return fleets.layout(boat), having, adjustable


def freedom(boats: Sequence[Boat], branch: str = HULL_BORNE) -> Freedom:
    """Free and fixed quantities, carried in one way, of boats that all leave the same ones free."""
    per_boat = [ranges(boat, branch) for boat in boats]
    names = tuple(name for name, bound in per_boat[0].items() if not bound.is_fixed)
    return Freedom(
        branch=branch,
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
    if name in SCALES:
        return SCALES[name]
    if name.endswith(f"_{POWER}"):
        return POWER_SCALE
    # of controls whose names end alike, the longer stands first in the table
    return next(scale for control, scale in CONTROL_SCALES.items() if name.endswith(f"_{control}"))


def state_from(values: Mapping[str, Array], fleet_layout: Layout) -> State:
    """The state that named values describe."""
    return State(
        boat_speed=values["boat_speed"],
        leeway=values["leeway"],
        heel=values["heel"],
        rudder=values["rudder"],
        crew_arm=values["crew_arm"],
        crew_x=values["crew_x"],
        **{name: values[name] for name in OPTIONAL if name in values},
        trims=tuple(
            SailTrim(
                **{
                    control: values[f"{sail}_{control}"]
                    for control in CONTROL_SCALES
                    if f"{sail}_{control}" in values
                }
            )
            for sail in fleet_layout.sails
        ),
        powers=tuple(values[f"{sail}_{POWER}"] for sail in fleet_layout.table_sails),
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
        boats, self.wake = fleet.select(conditions.option)
        self.boats = fleet.at_sea(boats, conditions.option, conditions.tws)
        self.fixed = {name: values[conditions.option] for name, values in free.fixed.items()}
        self.residual_scale = balance.residual_scales(self.layout, self.boats, conditions.tws)
        self.force_scale = self.residual_scale[self.layout.equations.index("surge")]
        lower, upper = free.lower[:, conditions.option], free.upper[:, conditions.option]
        lower = self._above_crests(lower, upper)
        if self.seeks_vmg:
            angles = np.array([VMG_RANGES[aim] for aim in conditions.aim]).T
            lower, upper = np.vstack([lower, angles[:1]]), np.vstack([upper, angles[1:]])
        self.lower, self.upper = lower / self.scale[:, None], upper / self.scale[:, None]
        self._picker = fleets.Picker(self.boats)
        self._latest: tuple[Integers, BoatArrays, WakeOperator] | None = None

    def _above_crests(self, lower: FloatArray, upper: FloatArray) -> FloatArray:
        """Lower bounds with the keel clear of crests on foils, as far as the foils reach; where they do not
        reach far enough, their troughs leave no state that is deep enough.
        """
        sea = self.boats.seaway
        if sea is None or self.free.branch != FOIL_BORNE or "ride_height" not in self.free.names:
            return lower
        row = self.free.names.index("ride_height")
        raised = lower.copy()
        raised[row] = np.minimum(lower[row] + sea.crest, upper[row] - LEAST_RANGE)
        return raised

    @property
    def condition_count(self) -> int:
        """Number of conditions."""
        return len(self.conditions)

    def select(self, places: NDArray[np.intp]) -> FastestEquilibrium:
        """The problem of some of the conditions."""
        return type(self)(self.fleet, self.free, self.conditions.take(places))

    @property
    def variable_count(self) -> int:
        """Number of variables."""
        return len(self.names)

    @property
    def equality_count(self) -> int:
        """Number of equations of the balance."""
        return len(self.layout.equations)

    @property
    def inequality_count(self) -> int:
        """Number of margins of the foils, and of sails made of strips, which must be filled."""
        return balance.margin_count(self.layout) + len(self.layout.sails)

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
        if not len(cases):
            return self._no_derivatives()
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

    def slopes(self, x: FloatArray, cases: Integers, by: Sequence[str]) -> FloatArray:
        """Derivatives of the scaled residuals by some of the variables, (constraints, variables asked for,
        cases); nothing is differentiated by the others.
        """
        rows = [self.names.index(name) for name in by]
        found = np.zeros((self.equality_count + self.inequality_count, len(rows), len(cases)))
        for part in _parts(len(cases), MOST_DIFFERENTIATED) if len(cases) and rows else ():
            moving: list[Array] = list(x[:, part])
            for row, variable in zip(rows, jets.variables(x[rows, part]), strict=True):
                moving[row] = variable
            _, residual = self._evaluate(moving, cases[part], [])
            _, slopes = jets.dense_gradient(residual, len(rows), residual.shape)
            found[..., part] = slopes.swapaxes(0, 1)
        return found

    def _no_derivatives(self) -> Derivatives:
        """Derivatives of no cases."""
        count, constraints = self.variable_count, self.equality_count + self.inequality_count
        return Derivatives(
            Values(np.zeros(0), np.zeros((constraints, 0))),
            np.zeros((count, 0)),
            np.zeros((constraints, count, 0)),
            np.zeros((count, count, 0)),
        )

    def _derivatives(
        self, x: FloatArray, cases: Integers, multipliers: FloatArray, objective_weight: float
    ) -> Derivatives:
        shape = (x.shape[1],)
        later: list[SailCurvature] = []
        objective, residual = self._evaluate(jets.variables(x), cases, later)
        lagrangian = objective_weight * objective + jets.sum(residual * multipliers, axis=0)
        value, gradient, _ = jets.dense(objective, len(x), shape)
        _, _, hessian = jets.dense(lagrangian, len(x), shape)
        for curvature in later:
            hessian += curvature.hessian(
                self.layout,
                state=state_from(self.named(x, cases), self.layout),
                multipliers=multipliers[: self.equality_count] / self.residual_scale[:, cases],
                pushes=multipliers[len(multipliers) - len(self.layout.sails) :] / self.force_scale[cases],
                variable_count=len(x),
            )
        constraints, jacobian = jets.dense_gradient(residual, len(x), residual.shape)
        return Derivatives(Values(value, constraints), gradient, jacobian.transpose(1, 0, 2), hessian)

    def named(self, x: Array | Sequence[Array], cases: Integers) -> dict[str, Array]:
        """All quantities by name in SI units, the fixed ones and the wind angle included."""
        values: dict[str, Array] = {name: fixed[cases] for name, fixed in self.fixed.items()}
        values |= {name: row * scale for name, row, scale in zip(self.names, x, self.scale, strict=True)}
        if not self.seeks_vmg:
            values["twa"] = self.conditions.twa[cases]
        return values

    def loads(
        self, values: Mapping[str, Array], cases: Integers, later: list[SailCurvature] | None = None
    ) -> tuple[tuple[Component, ...], tuple[WorkingFoil, ...]]:
        """Every component's load at named values, and the foils at work; `later` as in `balance.loads`."""
        boats, wake = self.of(cases)
        state = state_from(values, self.layout)
        at_work = balance.foils_at_work(fleet_layout=self.layout, boats=boats, state=state)
        components = balance.loads(
            fleet_layout=self.layout,
            boats=boats,
            wake=wake,
            wind=self.wind(values, cases),
            state=state,
            at_work=at_work,
            later=later,
        )
        return components, at_work

    def limits(
        self,
        values: Mapping[str, Array],
        cases: Integers,
        components: Sequence[Component],
        at_work: Sequence[WorkingFoil],
    ) -> list[Array]:
        """What is left of each margin of the foils and what fills each sail, scaled; none may be negative."""
        boats = self.of(cases)[0]
        margins = balance.foil_margins(self.layout, at_work)
        pushes = balance.sail_pushes(self.layout, components, state_from(values, self.layout))
        return [
            *balance.foil_limits(boats, margins, boat_speed=values["boat_speed"]),
            *balance.sail_limits(boats, pushes, scale=self.force_scale[cases]),
        ]

    def wind(self, values: Mapping[str, Array], cases: Integers) -> Wind:
        """The wind of some cases."""
        return balance.true_wind(
            boats=self.of(cases)[0],
            tws=self.conditions.tws[cases],
            twa=values["twa"],
            ride_height=values.get("ride_height", 0.0),
        )

    def of(self, cases: Integers) -> tuple[BoatArrays, WakeOperator]:
        """Boat arrays and wakes of some cases; the last ones are kept, for one evaluation asks often, and the
        next one often asks for the same.
        """
        if self._latest is None or not np.array_equal(self._latest[0], cases):
            wake = replace(self.wake, boat=self.wake.boat[cases])
            self._latest = cases.copy(), self._picker.pick(cases), wake
        return self._latest[1:]

    def _evaluate(
        self, x: Sequence[Array], cases: Integers, later: list[SailCurvature] | None = None
    ) -> tuple[Array, Array]:
        values = self.named(x, cases)
        components, at_work = self.loads(values, cases, later)
        residual = balance.residuals(self.layout, components, leeway=values["leeway"])
        constraints = residual / self.residual_scale[:, cases]
        limits = self.limits(values, cases, components, at_work)
        if limits:
            constraints = array_namespace(constraints).concatenate(
                [constraints, array_namespace(*limits).stack(limits)]
            )
        made_good = self._made_good(values, cases)
        return -made_good / SCALES["boat_speed"], constraints

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
    `camber`, from 0 flattest to 1 fullest, hold for all sails. `pitch` [rad] is that of boats free to pitch;
    `heel` [rad], and where in its range the crew is out to windward, `crew_share`, are guessed from the wind
    where they are not given.
    """

    speed_factor: float
    incidence: tuple[float, ...]
    twist: float
    camber: float
    pitch: float = 0.01
    heel: float | None = None
    crew_share: float | None = None


def start(problem: FastestEquilibrium, how: Start) -> FloatArray:
    """A state to start from, (variables, conditions), scaled.

    The guess need not balance; it only has to leave the sails in attached flow where they can be.
    """
    conditions = problem.conditions
    angle = np.where(conditions.aim == UPWIND, VMG_STARTS[UPWIND], VMG_STARTS[DOWNWIND])
    twa = np.where(conditions.aim == SPEED, conditions.twa, angle)
    flies = problem.free.branch == FOIL_BORNE
    boat_speed = how.speed_factor * (_flying_speed if flies else _floating_speed)(problem, twa)
    _, beta = apparent_wind(true_wind_speed=conditions.tws, true_wind_angle=twa, boat_speed=boat_speed)
    power = np.clip(np.sin(beta), 0.0, 1.0) * np.minimum(conditions.tws / 10.0, 1.0)
    guesses = {"boat_speed": boat_speed, "twa": twa, **_attitude_guess(problem, power, how)}
    for i, sail in enumerate(problem.layout.sails):
        guesses[f"{sail}_sheet"] = np.maximum(
            beta - how.incidence[min(i, len(how.incidence) - 1)], math.radians(2.0)
        )
        guesses[f"{sail}_twist"] = np.full(len(conditions), how.twist)
        for control in ("camber", "head_camber", "foot_camber"):
            guesses[f"{sail}_{control}"] = np.full(len(conditions), how.camber)
    for sail in problem.layout.table_sails:
        guesses[f"{sail}_{POWER}"] = np.full(len(conditions), POWER_START)
    rows = np.array(
        [np.broadcast_to(guesses[name], (len(conditions),)) / scale_of(name) for name in problem.names]
    )
    room = problem.upper - problem.lower
    inside: FloatArray = np.clip(rows, problem.lower + 0.02 * room, problem.upper - 0.02 * room)
    return inside


def _floating_speed(problem: FastestEquilibrium, twa: FloatArray) -> FloatArray:
    hull_speed = 0.47 * np.sqrt(problem.boats.gravity * problem.boats.hull.waterline_length)
    reach = 0.35 + 0.65 * np.sin(np.clip(twa, 0.0, np.pi)) ** 2
    speed: FloatArray = hull_speed * np.tanh(0.9 * reach * problem.conditions.tws / hull_speed)
    return speed


def _flying_speed(problem: FastestEquilibrium, twa: FloatArray) -> FloatArray:
    """Twice to three times the wind, between a speed that carries most boats and one short of cavitation."""
    speed: FloatArray = np.clip(
        problem.conditions.tws * (1.6 + 1.2 * np.sin(np.clip(twa, 0.0, np.pi)) ** 2), 9.0, 18.0
    )
    return speed


def _attitude_guess(problem: FastestEquilibrium, power: FloatArray, how: Start) -> dict[str, Array]:
    """Attitude and helm; `power` is from 0 in no wind to 1 on a reach in much."""
    flies = problem.free.branch == FOIL_BORNE
    guess: dict[str, Array] = {
        "crew_arm": 0.0,
        "elevator": 0.0,
        "pitch": how.pitch,
        "mast_rotation": 0.2,
        "tab": 0.02 * power,
    }
    if "crew_arm" in problem.names:
        row = problem.names.index("crew_arm")
        low, high = problem.lower[row], problem.upper[row]
        out = 0.9 * high if how.crew_share is None else low + how.crew_share * (high - low)
        guess["crew_arm"] = out * problem.scale[row]
    for name, share in (("ride_height", FLYING_SHARE if flies else 0.5), ("cant", 0.5), ("crew_x", 0.5)):
        if name in problem.names:
            row = problem.names.index(name)
            low, high = problem.lower[row], problem.upper[row]
            guess[name] = (low + share * (high - low)) * problem.scale[row]
    if flies:
        return guess | {"leeway": 0.0, "heel": 0.0, "rudder": 0.0, "flap": 0.04}
    heel = 0.25 * power if how.heel is None else how.heel
    return guess | {"leeway": 0.06 * power, "heel": heel, "rudder": -0.02 * power, "flap": 0.0}


def _parts(count: int, size: int) -> list[slice]:
    return [slice(first, min(first + size, count)) for first in range(0, max(count, 1), size)]
