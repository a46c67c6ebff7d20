"""One sail upright in a wind without gradient, solved for the least drag or the most drive that its heeling
moment allows; and the closed forms that the answers are held against.

Everything is the package's own: strips, mirrors and wakes of a boat with a single sail, forces of its strips,
exact derivatives and interior point. Only the objective and the two constraints are written here. The boat
lies still, so that the true wind is the apparent wind.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from vpp import balance, config, fleets, trim
from vpp.boat import Boat
from vpp.physics.arrays import array_namespace
from vpp.physics.sails import StripLoads, strip_loads
from vpp.solver import jets
from vpp.solver.interior_point import minimise
from vpp.solver.problem import Derivatives, Settings, Solution, Values
from vpp.solver.status import Status

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]

CONFIGS = Path(__file__).parents[2] / "configs"
SETTINGS = Settings(optimality_tolerance=1e-8, proximal=1e-8)
# Stations of the ideal sails, and the angle of their wind [rad]: at small loads drag does not tilt the side
# force, and angles are their sines.
STATIONS = 24
SMALL_WIND_ANGLE = 0.01
# One unit of an incidence in the solver [rad].
INCIDENCE_SCALE = 0.1
# Bound of a station's angle to the undisturbed wind, beyond all that an optimum asks for [rad].
MOST_INCIDENCE = 1.2
# So far from the water [m] that nothing of a span of ten metres is mirrored in it.
OUT_OF_REACH = 1e5


# --- closed forms -------------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class Theory:
    """Least induced drag against the height z of the centre of effort above the foot, lengths in spans.

    D/D_min = 1 + stiffness (centre - z)^2; the load at the head changes sign where z falls below
    `head_unloads_at`. `efficiency` is e in D_min = F^2/(q pi b^2 e). The foot lies a `gap` above an endless
    plane, or there is none.
    """

    gap: float | None
    stiffness: float
    centre: float
    head_unloads_at: float
    efficiency: float

    def least_drag(self, *, force: Any, pressure: float, span: float) -> Any:
        """D_min of a force [N]."""
        return force**2 / (pressure * math.pi * span**2 * self.efficiency)

    def best_unlimited_force(self, *, wind_angle: float, pressure: float, span: float) -> float:
        """Side force of most drive F tan(wind angle) - D_min without a limit on the moment [N]."""
        return 0.5 * math.tan(wind_angle) * pressure * math.pi * span**2 * self.efficiency

    def drag_ratio(self, effort: Any) -> Any:
        """Least drag with the centre of effort at a height (shares of the span), over D_min."""
        return 1.0 + self.stiffness * (self.centre - effort) ** 2

    def kappa(self, lever: Any) -> Any:
        """Stiffness times the square of the moment's arm, about an axis that lies `lever` spans below the
        foot.
        """
        return self.stiffness * (self.centre + lever) ** 2

    def best_force(self, ratio: Any, lever: Any) -> Any:
        """Side force of most drive over what the limit leaves to the loading of least drag, for a `ratio` u
        of the best force without a limit to the same.
        """
        kappa = self.kappa(lever)
        return (ratio + kappa) / (1.0 + kappa)

    def best_effort(self, ratio: Any, lever: Any) -> Any:
        """Height of the centre of effort of most drive, in spans above the foot."""
        return (self.centre + lever) / self.best_force(ratio, lever) - lever

    def best_drive(self, ratio: Any, lever: Any) -> Any:
        """Most drive over that without a limit, 1 - kappa/(1 + kappa) (1 - 1/u)^2."""
        kappa = self.kappa(lever)
        return 1.0 - kappa / (1.0 + kappa) * (1.0 - 1.0 / ratio) ** 2

    def head_inverts_above(self, lever: Any) -> Any:
        """The ratio u from which on most drive asks for a negative load at the head."""
        kappa = self.kappa(lever)
        return (self.centre + lever) / (self.head_unloads_at + lever) * (1.0 + kappa) - kappa


NO_PLANE = Theory(gap=None, stiffness=32.0, centre=0.5, head_unloads_at=0.375, efficiency=1.0)
SEALED = Theory(
    gap=0.0,
    stiffness=9.0 * math.pi**2 / 2.0,
    centre=4.0 / (3.0 * math.pi),
    head_unloads_at=1.0 / math.pi,
    efficiency=2.0,
)
# Foot 0.05 spans above an endless plane: e from complete elliptic integrals, the rest from a series, as the
# test of the constants does.
GAP = Theory(gap=0.05, stiffness=36.858, centre=0.48591, head_unloads_at=0.36771, efficiency=1.21070)


def sealed_loading(height: Floats, effort: float) -> Floats:
    """Load of least drag on a sail sealed to the plane, of unit force and span with its centre of effort at
    `effort`: a (1 - z^2)^(1/2) + b z^2 arcosh(1/z), whose downwash is linear in z.
    """
    level = np.sqrt(1.0 - height**2)
    slope = height**2 * np.arccosh(1.0 / height)
    # force and moment of the two parts, by quadrature in closed form
    a, b = np.linalg.solve(
        np.array([[math.pi / 4.0, math.pi / 12.0], [1.0 / 3.0, 1.0 / 6.0]]), np.array([1.0, effort])
    )
    loading: Floats = a * level + b * slope
    return loading


# --- the sail -----------------------------------------------------------------------------------------------


class LoneSail:
    """The first sail of a boat by itself, upright in a wind of one speed [m/s] and angle [rad] at all
    heights.
    """

    def __init__(self, boat: Boat, *, wind_speed: float = 10.0, wind_angle: float) -> None:
        alone = replace(boat, sails=boat.sails[:1], environment=replace(boat.environment, wind_exponent=0.0))
        self.boat, self.sail = alone, alone.sails[0]
        self.wind_speed, self.wind_angle = wind_speed, wind_angle
        self.layout = fleets.layout(alone)
        self.fleet = fleets.fleet([alone])
        self.ranges = trim.ranges(alone, trim.branches_of(alone)[-1])
        self.rest = {name: 0.5 * (bound.lower + bound.upper) for name, bound in self.ranges.items()}
        self.rest |= dict.fromkeys(("boat_speed", "leeway", "heel", "pitch", "ride_height"), 0.0)
        rig = self.fleet.select(np.array([0]))[0].rig
        self.height, self.width, self.chord = rig.height[:, 0], rig.width[:, 0], rig.chord[:, 0]
        self.camber = np.stack([rig.camber_flat[:, 0], rig.camber_full[:, 0]])
        self.density = alone.environment.air_density

    @property
    def foot(self) -> float:
        """Height of the lower edge [m]."""
        return self.sail.lower_edge_height

    @property
    def span(self) -> float:
        """Lower edge to head [m]."""
        return self.sail.head_height - self.sail.lower_edge_height

    @property
    def pressure(self) -> float:
        """Dynamic pressure of the wind [N/m^2]."""
        return 0.5 * self.density * self.wind_speed**2

    def of(self, count: int) -> tuple[Any, Any, Any]:
        """Boat arrays, wakes and wind for a number of cases."""
        boats, wake = self.fleet.select(np.zeros(count, dtype=np.intp))
        wind = balance.true_wind(
            boats=boats, tws=np.full(count, self.wind_speed), twa=np.full(count, self.wind_angle)
        )
        return boats, wake, wind

    def trimmed(self, values: dict[str, Any], count: int) -> tuple[Any, StripLoads]:
        """Flow and loads of the strips with some of the boat's controls set, the rest as they are."""
        boats, wake, wind = self.of(count)
        state = trim.state_from(
            {name: np.full(count, value) for name, value in self.rest.items()} | values, self.layout
        )
        return balance.strips(fleet_layout=self.layout, boats=boats, wake=wake, wind=wind, state=state)

    def set_strip_by_strip(self, chord_angle: Any, camber: Any, count: int) -> StripLoads:
        """Loads with a chord angle from the wind and a camber of its own at every strip."""
        boats, wake, wind = self.of(count)
        flow, _ = self.trimmed({}, count)
        return strip_loads(
            geometry=boats.rig,
            operator=wake,
            flow=replace(flow, chord_angle=chord_angle, camber=camber),
            air_density=wind.air_density,
        )


def ideal_sail(*, gap: float | None, count: int, wind_angle: float) -> LoneSail:
    """A span of 10 m and chord of 1 m, flat, attached and without profile drag; its foot `gap` spans above an
    endless plane, or out of reach of any.
    """
    boat = config.load(CONFIGS / "keelboat.toml").boat("base")
    foot = OUT_OF_REACH if gap is None else 1.0 + 10.0 * gap
    sail = replace(
        without_section_drag(boat).sails[0],
        foot_height=foot,
        head_height=foot + 10.0,
        luff_rake=0.0,
        chord_share=(0.0, 1.0),
        chord=(1.0, 1.0),
        camber_share=(0.0, 1.0),
        camber_flat=(0.0, 0.0),
        camber_full=(0.1, 0.1),
        station_count=count,
    )
    rig = replace(
        boat.rig, deck_height=1.0, deck_half_width=math.inf, gap_leakage=1.0 if gap is None else 0.0
    )
    return LoneSail(replace(boat, sails=(sail,), rig=rig), wind_angle=wind_angle)


def without_section_drag(boat: Boat) -> Boat:
    """The boat with sails that have induced drag alone: no profile drag, and no stall within 70 deg."""
    return replace(
        boat,
        sails=tuple(
            replace(
                sail,
                profile_drag_coefficient=0.0,
                drag_bucket_factor=0.0,
                stall_incidence=math.radians(75.0),
                stall_width=math.radians(1.0),
            )
            for sail in boat.sails
        ),
    )


# --- what is free -------------------------------------------------------------------------------------------


class Controls(Protocol):
    """What the solver may move: bounds (n,) and a start of its variables, and the loads that they make."""

    sail: LoneSail
    lower: Floats
    upper: Floats
    start: Floats

    def loads(self, x: Sequence[Any], count: int) -> StripLoads:
        """Loads of the strips."""


class FreeStations:
    """Incidence free at every station; where asked, camber too, between the least and the most given."""

    def __init__(self, sail: LoneSail, camber: tuple[Floats, Floats] | None = None) -> None:
        self.sail = sail
        count = len(sail.height)
        limit = np.full(count, MOST_INCIDENCE / INCIDENCE_SCALE)
        self.lower, self.upper, self.start = -limit, limit, np.ones(count)
        self.free_camber = camber is not None
        if camber is not None:
            self.lower = np.concatenate([self.lower, 10.0 * camber[0]])
            self.upper = np.concatenate([self.upper, 10.0 * camber[1]])
            self.start = np.concatenate([self.start, 5.0 * (camber[0] + camber[1])])

    def loads(self, x: Sequence[Any], count: int) -> StripLoads:
        """Loads of the strips."""
        xp = array_namespace(*x)
        strips = len(self.sail.height)
        chord_angle = -INCIDENCE_SCALE * xp.stack(list(x[:strips]))
        camber: Any = np.zeros((strips, count))
        if self.free_camber:
            camber = 0.1 * xp.stack(list(x[strips:]))
        return self.sail.set_strip_by_strip(chord_angle, camber, count)


class FreeTrims:
    """The trims that the boat file leaves free for the sail."""

    def __init__(self, sail: LoneSail, *, held: dict[str, float] | None = None) -> None:
        self.sail = sail
        self.held = held or {}
        prefix = f"{sail.sail.name}_"
        free = {
            name: bound
            for name, bound in sail.ranges.items()
            if name.startswith(prefix) and not bound.is_fixed and name not in self.held
        }
        self.names = tuple(free)
        self.scale = np.array([trim.scale_of(name) for name in free])
        self.lower = np.array([bound.lower for bound in free.values()]) / self.scale
        self.upper = np.array([bound.upper for bound in free.values()]) / self.scale
        guess = {f"{prefix}sheet": sail.wind_angle - 0.1, f"{prefix}twist": 0.1}
        self.start = np.array([guess.get(name, 0.5) for name in free]) / self.scale

    def loads(self, x: Sequence[Any], count: int) -> StripLoads:
        """Loads of the strips."""
        values = {name: row * scale for name, row, scale in zip(self.names, x, self.scale, strict=True)}
        held = {name: np.full(count, value) for name, value in self.held.items()}
        return self.sail.trimmed(values | held, count)[1]


# --- what is asked ------------------------------------------------------------------------------------------


class _Asked:
    """A batch of cases that share a sail and its controls and differ in what is asked of them."""

    equality_count = 0
    inequality_count = 0

    def __init__(self, controls: Controls, batch: int) -> None:
        self.controls, self.sail = controls, controls.sail
        self.variable_count = len(controls.lower)
        self.lower = np.repeat(controls.lower[:, None], batch, axis=1)
        self.upper = np.repeat(controls.upper[:, None], batch, axis=1)
        self.force_scale = self.sail.pressure * float(self.sail.chord @ self.sail.width)

    def evaluate(self, loads: StripLoads, cases: Integers) -> tuple[Any, list[Any]]:
        """Objective and constraints, of order one."""
        raise NotImplementedError

    def values(self, x: Floats, cases: Integers) -> Values:
        """Objective and constraints at x (variables, cases)."""
        objective, constraints = self.evaluate(self.controls.loads(tuple(x), len(cases)), cases)
        return Values(np.asarray(objective), np.stack(constraints))

    def derivatives(
        self, x: Floats, cases: Integers, multipliers: Floats, objective_weight: float = 1.0
    ) -> Derivatives:
        """The same with first and second derivatives."""
        loads = self.controls.loads(jets.variables(x), len(cases))
        objective, parts = self.evaluate(loads, cases)
        constraints = jets.stack(parts)
        lagrangian = objective_weight * objective + jets.sum(constraints * multipliers, axis=0)
        value, gradient, _ = jets.dense(objective, len(x), (len(cases),))
        _, _, hessian = jets.dense(lagrangian, len(x), (len(cases),))
        plain, jacobian = jets.dense_gradient(constraints, len(x), constraints.shape)
        return Derivatives(Values(value, plain), gradient, jacobian.transpose(1, 0, 2), hessian)

    def solve(self, start: Floats | None = None) -> Solution:
        """Solved from the controls' start; raises AssertionError where a case does not converge."""
        first = self.controls.start if start is None else start
        columns = np.repeat(first[:, None], self.lower.shape[1], axis=1) if first.ndim == 1 else first
        solution = minimise(self, columns, settings=SETTINGS)
        assert np.all(solution.status == Status.CONVERGED), solution.status
        return solution


class LeastDrag(_Asked):
    """Least drag along the wind with a given force across it and a given moment of that force.

    `arm` (strips,) [m] is the arm of each strip, `force` and `moment` (batch,) in N and N m.
    """

    equality_count = 2

    def __init__(self, controls: Controls, *, arm: Floats, force: Floats, moment: Floats) -> None:
        super().__init__(controls, len(force))
        self.arm, self.force, self.moment = arm[:, None], force, moment

    def evaluate(self, loads: StripLoads, cases: Integers) -> tuple[Any, list[Any]]:
        xp = array_namespace(loads.across)
        force = xp.sum(loads.across, axis=0) - self.force[cases]
        moment = xp.sum(loads.across * self.arm, axis=0) - self.moment[cases]
        scale = self.force_scale
        # drag is small beside the force that it comes with
        drag = xp.sum(loads.along, axis=0) / (0.1 * scale)
        return drag, [force / scale, moment / (scale * self.sail.span)]


class MostDrive(_Asked):
    """Most force forward with the heeling moment limited, about an axis `lever` (batch,) [m] below the foot.

    `moment` (batch,) [N m] is the most that the moment of the force to leeward may be. With
    `never_to_windward` no strip may push to windward.
    """

    def __init__(
        self, controls: Controls, *, lever: Floats, moment: Floats, never_to_windward: bool = False
    ) -> None:
        super().__init__(controls, len(moment))
        self.lever, self.moment, self.never_to_windward = lever, moment, never_to_windward
        self.inequality_count = 1 + never_to_windward * len(self.sail.height)

    def arm(self, cases: Integers) -> Floats:
        """Arm of every strip, (strips, cases) [m]."""
        arm: Floats = (self.sail.height - self.sail.foot)[:, None] + self.lever[cases]
        return arm

    def evaluate(self, loads: StripLoads, cases: Integers) -> tuple[Any, list[Any]]:
        xp = array_namespace(loads.across)
        left = [1.0 - xp.sum(loads.leeward * self.arm(cases), axis=0) / self.moment[cases]]
        if self.never_to_windward:
            pressing = loads.across / (self.sail.pressure * self.sail.chord * self.sail.width)[:, None]
            left += [pressing[i] for i in range(len(self.sail.height))]
        drive_scale = self.force_scale * math.tan(self.sail.wind_angle)
        return -xp.sum(loads.forward, axis=0) / drive_scale, left


@dataclass(frozen=True, kw_only=True)
class Found:
    """A solved batch: force across the wind per height of every strip (strips, batch) [N/m], and sums
    (batch,) [N]: across and along the wind, forward and to leeward.

    `effort` is the height of the centre of the force to leeward above the foot, in spans.
    """

    sail: LoneSail
    x: Floats
    load: Floats
    across: Floats
    along: Floats
    drive: Floats
    side: Floats
    effort: Floats

    @property
    def head_load(self) -> Floats:
        """Force per height of the topmost strip [N/m]."""
        top: Floats = self.load[-1]
        return top

    @property
    def height(self) -> Floats:
        """Height of the strips above the foot, in spans."""
        height: Floats = (self.sail.height - self.sail.foot) / self.sail.span
        return height


def found(problem: _Asked, start: Floats | None = None) -> Found:
    """Solve a batch and sum up what the strips do."""
    solution = problem.solve(start)
    sail = problem.sail
    loads = problem.controls.loads(tuple(solution.x), solution.x.shape[1])
    side = loads.leeward.sum(axis=0)
    above_foot = (sail.height - sail.foot)[:, None]
    return Found(
        sail=sail,
        x=solution.x,
        load=loads.across / sail.width[:, None],
        across=loads.across.sum(axis=0),
        along=loads.along.sum(axis=0),
        drive=loads.forward.sum(axis=0),
        side=side,
        effort=(loads.leeward * above_foot).sum(axis=0) / side / sail.span,
    )


# --- the questions of the theory ----------------------------------------------------------------------------


def drag_with_root_moment(shares: Floats, *, count: int) -> tuple[Floats, Found]:
    """Drag of a wing without a plane over that of the elliptic load, with `shares` of its root bending moment
    at the same span and lift.
    """
    sail = ideal_sail(gap=None, count=count, wind_angle=SMALL_WIND_ANGLE)
    arm = np.abs(sail.height - sail.foot - 0.5 * sail.span)
    force = np.full(len(shares), 0.5 * sail.pressure * sail.span)
    elliptic = 2.0 / (3.0 * math.pi) * sail.span * force
    solved = found(LeastDrag(FreeStations(sail), arm=arm, force=force, moment=shares * elliptic))
    least = NO_PLANE.least_drag(force=force, pressure=sail.pressure, span=sail.span)
    return solved.along / least, solved


def drag_with_effort_at(efforts: Floats, theory: Theory, *, count: int = STATIONS) -> tuple[Floats, Found]:
    """Drag over the exact D_min, with the centre of effort at given heights above the foot, in spans."""
    sail = ideal_sail(gap=theory.gap, count=count, wind_angle=SMALL_WIND_ANGLE)
    force = np.full(len(efforts), 0.5 * sail.pressure * sail.span)
    arm = sail.height - sail.foot
    solved = found(LeastDrag(FreeStations(sail), arm=arm, force=force, moment=efforts * sail.span * force))
    least = theory.least_drag(force=force, pressure=sail.pressure, span=sail.span)
    return solved.along / least, solved


def drive_with_limit(
    ratio: Floats, lever: Floats, theory: Theory, *, count: int = STATIONS
) -> tuple[Floats, Found]:
    """Side force of most drive over what the limit leaves to the loading of least drag, x, and what was
    found.

    `ratio` is u, the exact best force without a limit over the same; `lever` in spans; both (batch,).
    """
    sail = ideal_sail(gap=theory.gap, count=count, wind_angle=SMALL_WIND_ANGLE)
    unlimited = theory.best_unlimited_force(
        wind_angle=sail.wind_angle, pressure=sail.pressure, span=sail.span
    )
    limited = unlimited / ratio
    moment = limited * math.cos(sail.wind_angle) * (theory.centre + lever) * sail.span
    solved = found(MostDrive(FreeStations(sail), lever=lever * sail.span, moment=moment))
    return solved.across / limited, solved


def ratio_that_unloads_the_head(lever: float, theory: Theory, *, count: int = STATIONS) -> float:
    """The ratio u at which the topmost strip changes sign, between two that bracket it by 2 % of the exact
    one; the loads are linear in u. Not a number where they do not bracket it.
    """
    ends = theory.head_inverts_above(lever) * np.array([0.98, 1.02])
    _, solved = drive_with_limit(ends, np.full(2, lever), theory, count=count)
    low, high = solved.head_load
    return float(ends[0] + (ends[1] - ends[0]) * low / (low - high)) if low > 0.0 > high else math.nan


# --- real sails ---------------------------------------------------------------------------------------------

# Belly to windward that the cloth of an ideal trim may take at any height.
DEEPEST_INVERTED = 0.08


@dataclass(frozen=True, kw_only=True)
class Rig:
    """A boat of the examples close-hauled: its mainsail alone, the angle of the apparent wind [rad], and how
    far below the foot the water answers the sail's side force, in spans.
    """

    file: str
    wind_angle: float
    lever: float

    def boat(self, option: str = "base") -> Boat:
        """The boat as filed, or an option."""
        return config.load(CONFIGS / f"{self.file}.toml").boat(option)

    def sail(self, boat: Boat | None = None) -> LoneSail:
        """Its mainsail in 15 m/s of apparent wind."""
        return LoneSail(boat or self.boat(), wind_speed=15.0, wind_angle=self.wind_angle)

    def asked(self, controls: Controls, moment: Floats, *, never_to_windward: bool = False) -> MostDrive:
        """Most drive with limited moments (batch,) [N m]."""
        lever = np.full(len(moment), self.lever * controls.sail.span)
        return MostDrive(controls, lever=lever, moment=moment, never_to_windward=never_to_windward)

    def moment(self, solved: Found, sail: LoneSail) -> Floats:
        """Heeling moment of what was found, about the rig's axis [N m]."""
        moment: Floats = solved.side * (solved.effort + self.lever) * sail.span
        return moment


# Apparent wind and lever are those of the boats' own best VMG upwind, rounded: on foils the side force is
# answered about where the wing's halves meet, on the keelboat about half way down the keel.
FOILING_MONOHULL = Rig(file="foiling_monohull", wind_angle=math.radians(18.0), lever=0.15)
KEELBOAT = Rig(file="keelboat", wind_angle=math.radians(23.0), lever=0.25)


def ideal_trim(sail: LoneSail, *, section_drag: bool = True) -> FreeStations:
    """Incidence free at every station and, where the section has drag, camber between 8 % to windward and the
    fullest of the boat file.
    """
    least = np.full(len(sail.height), -DEEPEST_INVERTED)
    return FreeStations(sail, (least, sail.camber[1]) if section_drag else None)


def unlimited(rig: Rig, controls: Controls) -> tuple[Found, float]:
    """Most drive without a limit, and its moment [N m]."""
    solved = found(rig.asked(controls, np.array([1e9])))
    return solved, float(rig.moment(solved, controls.sail)[0])
