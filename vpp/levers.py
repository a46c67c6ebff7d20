"""What one more unit of something buys in speed, at one solved condition: levers, from the multipliers of the
optimum.

At the fastest equilibrium every trim and the attitude have been set at their best, so that to first order the
speed changes only by what the change does to the equations and limits with everything held: multipliers times
residuals, and multipliers of bounds times how far the bounds move. Nothing is solved again but where a limit
comes into force or lets go within the step. See docs/theory/levers.md.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from vpp import balance
from vpp.boat import Boat, FormedHull
from vpp.config.errors import BoatFileError, Problem
from vpp.config.movable import Key, MovableKeys
from vpp.config.text import nearest
from vpp.multipliers import NoOptimum, Optimum
from vpp.physics.sails import wind_at
from vpp.physics.windage import bluff_body_force
from vpp.polar import Point
from vpp.results.variables import DEGREE, KNOT
from vpp.solved import Solved
from vpp.solver.interior_point import minimise
from vpp.solver.problem import Settings
from vpp.solver.status import Status
from vpp.state import Component, Load, State, at_height
from vpp.trim import SCALES, state_from

if TYPE_CHECKING:
    from vpp.config import BoatFile

Floats = NDArray[np.float64]

STRONGEST = 10
"""How many levers are printed."""

LOAD, KEY = "load", "key"
"""Kinds of levers: something done to the balance itself, and a number of the boat file."""

COLUMNS = (
    "option", "tws_kn", "twa_deg", "aim", "branch", "sail_set", "lever", "kind", "value", "unit",
    "gain_kn_per_unit", "gain_up_kn_per_unit", "gain_down_kn_per_unit", "step", "step_gain_kn",
    "active_set_stable", "remark", "description",
)  # fmt: skip

# What people can do at a time, in the unit of a key: a degree, a decimetre, a person's bag, a square metre, a
# point of per cent.
_STEPS = {"deg": 1.0, "m": 0.1, "kg": 10.0, "m²": 1.0, "%": 1.0, "°C": 5.0, "s": 1.0}
# Of a size, no more than this share of it; of what has no step of its own, this share.
_MOST_OF_SIZE = 0.1
_OF_VOLUME = 0.01
_OF_NUMBER = 0.02
# The step of a number that is zero and has no step of its own.
_FROM_ZERO = 0.01
# Units of sizes; angles, percents and places are moved by the same step whatever they are.
_SIZES = ("m", "kg", "m²", "mm", "m³", "km", "kg/m", "kg/m²", "s")
_PLACES = ("x_m", "y_m", "z_m", "height_m")
# Tables that are no choice of a designer or crew; their levers are given but not among the strongest.
_NO_CHOICE = ("environment", "sea", "calibration")
# Of these none at all is something else than a little: two fins for one, a hinge, a tab.
_NONE_AT_ZERO = ("offset_y_m", "hinge_at_percent", "tab_chord_percent", "tab_min_deg", "tab_max_deg")
# Share of a step over which derivatives are taken: small enough for curvature, large enough for rounding.
_SMALL = 2e-3
# Curvature of directions that have none, as in the solver.
_PROXIMAL = 1e-6
# Solving again begins at the optimum; the barrier is high enough to let go of a bound.
_AGAIN = Settings(initial_barrier=1e-4, block_size=256, restoration_starts=1)
# Of so many levers those that need it are solved again to find the strongest.
_MAY_BE_STRONGEST = 20
# Boats whose wakes are held at a time.
_AT_A_TIME = 64
_HELD = "A limit comes into force or lets go within the step: solved again on either side."
_NOT_SOLVED = "A limit comes into force or lets go within the step: the lever holds for less than that."


class NoLevers(ValueError):
    """A condition without a result, or whose state is no optimum, has no levers; the message says which."""


@dataclass(frozen=True, kw_only=True)
class Lever:
    """What one more unit of something buys, in knots of what is sought: boat speed, or VMG for a best VMG.

    `name` is a key of the boat file or of something done to the balance, its unit at the end; `value` is what
    the boat has of it (NaN for what it has none of), in `unit`. `gain_kn` holds for a small change. `step` is
    one that is practical; `gain_up_kn` and `gain_down_kn` are knots a unit for so much more and for so much
    less (there positive where less is slower): both are `gain_kn` where no limit comes into force or lets go
    within the step (`is_stable`), and else by solving again; NaN where the boat file does not allow it.
    """

    name: str
    kind: str
    value: float
    unit: str
    description: str
    gain_kn: float
    gain_up_kn: float
    gain_down_kn: float
    step: float
    is_stable: bool
    remark: str = ""

    @property
    def step_gain_kn(self) -> float:
        """What a step is worth [kn]: of a step more, and where that is not allowed, or does less than a step
        less costs, of that; positive where more is faster.
        """
        sides = [gain for gain in (self.gain_up_kn, self.gain_down_kn) if math.isfinite(gain)]
        return self.step * max(sides, key=abs, default=math.nan)

    @property
    def is_choice(self) -> bool:
        """Whether it is a number of the boat that somebody chooses; not a weight on one side of it, which is
        on the other side after a tack.
        """
        parts = self.name.split(".")
        return self.kind == KEY and parts[0] not in _NO_CHOICE and (parts[0], parts[-1]) != ("mass", "y_m")


@dataclass(frozen=True, kw_only=True)
class Levers:
    """The levers of one condition. `left_out` says of further keys why they cannot be moved."""

    option: str
    tws_kn: float
    twa_deg: float
    aim: str
    branch: str
    sail_set: str
    found: tuple[Lever, ...]
    left_out: Mapping[str, str] = field(default_factory=dict)

    def __repr__(self) -> str:
        return (
            f"Levers({self.option}: TWS {self.tws_kn:g} kn, TWA {self.twa_deg:.4g} deg, {self.branch}; "
            f"{len(self.found)} levers)"
        )

    def __getitem__(self, name: str) -> Lever:
        """A lever by name. Raises KeyError with the reason where there is none."""
        for lever in self.found:
            if lever.name == name:
                return lever
        raise KeyError(self.left_out.get(name, f"no lever {name!r}"))

    @property
    def loads(self) -> tuple[Lever, ...]:
        """Those of something done to the balance itself."""
        return tuple(lever for lever in self.found if lever.kind == LOAD)

    def strongest(self, count: int = STRONGEST) -> tuple[Lever, ...]:
        """The numbers of the boat of which a practical step is worth most, best first; water, air, sea and
        calibration are nobody's choice and left out.
        """
        chosen = [lever for lever in self.found if lever.is_choice and abs(lever.step_gain_kn) > 0.0]
        return tuple(sorted(chosen, key=lambda lever: -abs(lever.step_gain_kn))[:count])

    def to_frame(self, levers: Sequence[Lever] | None = None) -> pd.DataFrame:
        """A row for each lever, or for those given."""
        head = (self.option, self.tws_kn, self.twa_deg, self.aim, self.branch, self.sail_set)
        rows = [
            (
                *head, lever.name, lever.kind, lever.value, lever.unit, lever.gain_kn, lever.gain_up_kn,
                lever.gain_down_kn, lever.step, lever.step_gain_kn, lever.is_stable, lever.remark,
                lever.description,
            )
            for lever in (self.found if levers is None else levers)
        ]  # fmt: skip
        return pd.DataFrame(rows, columns=list(COLUMNS))


def levers(
    boat_file: BoatFile,
    solved: Point | Solved,
    *,
    place: int = 0,
    keys: Sequence[str] | None = None,
    hull_waves: bool = True,
) -> Levers:
    """What one more unit of everything buys at one solved condition of a boat of the file.

    `solved` is a point, or solved conditions of which `place` counts the one that is meant. All loads and all
    numbers of the boat file are levers; with `keys` only those named. The waves of a hull given by its shape
    take half a second for each of its dimensions; without `hull_waves` these are left out. Every boat is made
    as its file would have it: it floats at its new weight, and rig and sails weigh what they measure. The
    branch and the sail set are those reported. Trims and attitude are at their best before and after. Raises
    NoLevers where the condition has no result and BoatFileError for keys that cannot be moved, and when the
    file has changed.
    """
    found = solved.solved if isinstance(solved, Point) else solved
    if found.status[place] != Status.CONVERGED:
        raise NoLevers(f"there are no levers without a result: {found.reason[place]}")
    option = found.boats[int(found.conditions.option[place])].name
    movable = MovableKeys(boat_file, option)
    optimum = _Optimum(movable, found, place)
    loads = _loads(optimum)
    if keys is not None:
        of_loads = [load.key.name for load in loads]
        chosen = _named(movable, [name for name in dict.fromkeys(keys) if name not in of_loads], of_loads)
        loads = [load for load in loads if load.key.name in keys]
    else:
        chosen = list(movable.keys.values())
    moved, left_out = _moved(optimum, chosen, hull_waves=hull_waves or keys is not None)
    if keys is not None and left_out:
        raise BoatFileError([Problem(file="", key=name, wrong=why) for name, why in left_out.items()])
    changes = [*loads, *moved]
    twa = found.quantities["twa"][place]
    return Levers(
        option=option,
        tws_kn=float(found.conditions.tws[place] / KNOT),
        twa_deg=float(twa / DEGREE),
        aim=str(found.conditions.aim[place]),
        branch=optimum.branch,
        sail_set=optimum.sail_set,
        found=tuple(_judged(optimum, changes, all_again=keys is not None)),
        left_out=left_out,
    )


def _named(movable: MovableKeys, names: Sequence[str], of_loads: Sequence[str]) -> list[Key]:
    known = [*movable.keys, *of_loads]
    unknown = [name for name in names if name not in movable.keys]
    if unknown:
        raise BoatFileError(
            [
                Problem(
                    file="",
                    key="lever",
                    given=name,
                    wrong="there is no such lever",
                    hint=nearest(name, known),
                )
                for name in unknown
            ]
        )
    return movable.named(names)


# --- the optimum --------------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class _Change:
    """What one more unit of something does to the problem at the optimum, with all variables held: to the
    gradient of the Lagrangian, the constraints and the bounds.

    `refused` says whether the boat file allows none more and none less of it; `breaks` whether a little of it
    leaves other quantities free, so that nothing of this is known.
    """

    key: Key
    kind: str
    step: float
    gradient: Floats
    constraints: Floats
    lower: Floats
    upper: Floats
    refused: tuple[bool, bool] = (False, False)
    breaks: bool = False


class _Optimum(Optimum):
    """A solved condition of a boat whose numbers can be moved."""

    def __init__(self, movable: MovableKeys, solved: Solved, place: int) -> None:
        try:
            super().__init__(movable.boat, solved, place)
        except NoOptimum as error:
            raise NoLevers(f"there are no levers where {error}") from error
        self.movable = movable


def _gain(optimum: _Optimum, change: _Change) -> float:
    """Knots a unit: by how much the Lagrangian falls."""
    rise = (
        optimum.multipliers @ change.constraints
        + optimum.at_lower @ change.lower
        - optimum.at_upper @ change.upper
    )
    return -float(rise) * SCALES["boat_speed"] / KNOT + 0.0


# --- changes ------------------------------------------------------------------------------------------------


def practical_step(key: Key) -> float:
    """A step that people take, in the unit of the key.

    1 deg, 0.1 m, 10 kg, 1 m², 1 % (of all chords, or one point), 5 °C; of a size no more than a tenth of it,
    and a tenth of one in another unit; a hundredth of a volume, and a fiftieth of a number without unit.
    """
    size = abs(key.value)
    is_place = key.name.split(".")[-1].endswith(_PLACES)
    if key.unit in _STEPS:
        step = _STEPS[key.unit]
        return min(step, _MOST_OF_SIZE * size) if key.unit in _SIZES and not is_place and size else step
    share = _OF_VOLUME if key.unit == "m³" else _MOST_OF_SIZE if key.unit in _SIZES else _OF_NUMBER
    return share * size or _FROM_ZERO


def _moved(
    optimum: _Optimum, keys: Sequence[Key], *, hull_waves: bool
) -> tuple[list[_Change], dict[str, str]]:
    """What moving each of the keys does, and why others cannot be moved."""
    boats: list[Boat] = []
    made: list[tuple[Key, float, float, tuple[bool, bool], bool]] = []
    left_out: dict[str, str] = {}
    for key in keys:
        if key.value == 0.0 and key.name.endswith(_NONE_AT_ZERO):
            left_out[key.name] = (
                "there is none of it: some would be another boat and not a little more of this"
            )
            continue
        small = _SMALL * practical_step(key)
        refused = [not optimum.movable.allows(key.name, by) for by in (small, -small)]
        by = -small if refused[0] else small
        try:
            boat, short = optimum.movable.held(key.name, by)
        except BoatFileError as error:
            left_out[key.name] = "; ".join(
                ": ".join(filter(None, (each.wrong, each.allowed))) for each in error.problems
            )
            continue
        if not hull_waves and _makes_other_waves(boat, optimum.boat):
            left_out[key.name] = "it takes a while, for it changes the waves of the hull: ask for it by name"
            continue
        boat = optimum.dressed(boat)
        breaks = not optimum.is_alike(boat)
        boats.append(optimum.boat if breaks else boat)
        made.append((key, by, short, (refused[0], refused[1]), breaks))
    sinking, volume = _sinking(optimum)
    differences = _differences(optimum, [*boats, *sinking])
    per_volume = differences[-1] / volume if sinking else None
    changes = []
    for (key, by, short, refused_sides, breaks), difference in zip(made, differences, strict=False):
        total = difference if per_volume is None else difference + short * per_volume
        changes.append(
            _change(optimum, key, KEY, practical_step(key), total / by, refused=refused_sides, breaks=breaks)
        )
    return changes, left_out


def _makes_other_waves(boat: Boat, other: Boat) -> bool:
    if not isinstance(boat.hull, FormedHull) or not isinstance(other.hull, FormedHull):
        return False
    mine, others = (
        replace(hull, form_factor=0.0, roughness=0.0, centre_x=0.0) for hull in (boat.hull, other.hull)
    )
    return mine != others


def _sinking(optimum: _Optimum) -> tuple[list[Boat], float]:
    """The boat a little deeper in the water, and by how much volume [m^3]; none where heave is solved for."""
    hull = optimum.boat.hull
    if isinstance(hull, FormedHull):
        return [], math.nan
    volume = _SMALL * 1e-2 * hull.canoe_volume
    return [optimum.dressed(optimum.movable.sunk(volume))], volume


def _differences(optimum: _Optimum, boats: Sequence[Boat]) -> list[Floats]:
    """What boats change of the problem at the optimum: gradient of the Lagrangian, constraints, lower and
    upper bounds, one after the other.
    """
    rows: list[Floats] = []
    for first in range(0, len(boats), _AT_A_TIME):
        some = boats[first : first + _AT_A_TIME]
        problem, count = optimum.problem_of([optimum.boat, *some]), len(some) + 1
        weights = np.repeat(optimum.multipliers[:, None], count, axis=1)
        found = problem.derivatives(np.repeat(optimum.x, count, axis=1), np.arange(count), weights)
        gradient = found.gradient + np.einsum("mnb,mb->nb", found.jacobian, weights)
        whole = np.concatenate([gradient, found.values.constraints, problem.lower, problem.upper])
        rows += list((whole[:, 1:] - whole[:, :1]).T)
    return rows


def _change(
    optimum: _Optimum,
    key: Key,
    kind: str,
    step: float,
    per_unit: Floats,
    *,
    refused: tuple[bool, bool] = (False, False),
    breaks: bool = False,
) -> _Change:
    count, constraints = len(optimum.x), len(optimum.constraints)
    gradient, of_constraints, lower, upper = np.split(per_unit, np.cumsum([count, constraints, count]))
    return _Change(
        key=key,
        kind=kind,
        step=step,
        gradient=gradient,
        constraints=of_constraints,
        lower=lower,
        upper=upper,
        refused=refused,
        breaks=breaks,
    )


# --- loads --------------------------------------------------------------------------------------------------


def _loads(optimum: _Optimum) -> list[_Change]:
    """What one more unit of drag, of righting moment and the like does; steps are a hundredth of what there
    is.
    """
    problem, case = optimum.problem, np.zeros(1, dtype=np.intp)
    values = {name: np.array([value]) for name, value in optimum.values.items()}
    values |= {} if problem.seeks_vmg else {"twa": problem.conditions.twa}
    state = state_from(values, problem.layout)
    components, _ = problem.loads(values, case)
    leeway = values["leeway"]
    drag, side = (
        sum(
            float(np.sum(each.load.forward * ahead + each.load.leeward * across))
            for each in components
            if each.medium == "air"
        )
        for ahead, across in ((np.cos(leeway), np.sin(leeway)), (-np.sin(leeway), np.cos(leeway)))
    )
    heeling = abs(sum(float(np.sum(c.load.roll)) for c in components if c.medium == "air"))
    weight = float(balance.weight(problem.layout, problem.boats)[0])
    back = Load(forward=-np.cos(leeway), leeward=-np.sin(leeway))
    to_windward = Load(forward=np.sin(leeway), leeward=-np.cos(leeway))
    asked = [
        ("drag_n", "N", "drag along the course", drag, back),
        ("side_force_n", "N", "side force to windward, free of drag", abs(side), to_windward),
        ("righting_moment_nm", "N m", "righting moment about the centreline", heeling, Load(roll=np.ones(1))),
        (
            "bow_to_leeward_moment_nm",
            "N m",
            "moment that turns the bow to leeward",
            heeling,
            Load(yaw=np.ones(1)),
        ),
    ]
    if problem.layout.heaves:
        length = optimum.boat.hull.waterline_length
        asked += [
            ("lift_n", "N", "force upwards, free of drag", weight, Load(up=np.ones(1))),
            (
                "bow_up_moment_nm",
                "N m",
                "moment that lifts the bow",
                weight * length / 100.0,
                Load(pitch=-np.ones(1)),
            ),
        ]
    changes = [
        _of_load(optimum, Key(name=name, value=there, unit=unit, description=says), 0.01 * abs(there), load)
        for name, unit, says, there, load in asked
    ]
    changes += [
        _of_load(optimum, key, step, load)
        for key, step, load in (*_areas(optimum, values, state), _windage(optimum, values, state))
    ]
    return changes + _masses(optimum)


def _of_load(optimum: _Optimum, key: Key, step: float, load: Load) -> _Change:
    problem = optimum.problem
    parts = {
        name: getattr(load, name) + np.zeros(1)
        for name in ("forward", "leeward", "up", "roll", "pitch", "yaw")
    }
    left = balance.residuals(
        problem.layout,
        [Component(name="", medium="", load=Load(**parts))],
        leeway=np.array([optimum.values["leeway"]]),
    )
    count = len(optimum.x)
    constraints = np.zeros(len(optimum.constraints))
    constraints[: problem.equality_count] = (left / problem.residual_scale)[:, 0]
    per_unit = np.concatenate([np.zeros(count), constraints, np.zeros(2 * count)])
    return _change(optimum, key, LOAD, step, per_unit)


# Where along the luff a square metre of sail is offered.
_SHARES = (0.25, 0.5, 0.75)


def _areas(
    optimum: _Optimum, values: Mapping[str, Floats], state: State
) -> Sequence[tuple[Key, float, Load]]:
    """A square metre more of each sail at heights, working as the strips there do, and weightless."""
    problem, case = optimum.problem, np.zeros(1, dtype=np.intp)
    if not problem.layout.sails:
        return []
    boats, wake = problem.of(case)
    _, strips = balance.strips(
        fleet_layout=problem.layout, boats=boats, wake=wake, wind=problem.wind(values, case), state=state
    )
    rig, found = boats.rig, []
    area = (rig.width * rig.chord)[:, 0]
    for sail, which in zip(problem.layout.sails, problem.layout.slices, strict=True):
        share = rig.share[which, 0]
        total = float(area[which].sum())
        for at in _SHARES:
            forward, leeward, x, height = (
                np.array([np.interp(at, share, row)])
                for row in (
                    strips.forward[which, 0] / area[which],
                    strips.leeward[which, 0] / area[which],
                    rig.x[which, 0],
                    rig.height[which, 0],
                )
            )
            key = Key(
                name=f"{sail}_area_at_{100 * at:.0f}_percent_m2",
                value=total,
                unit="m²",
                description=f"area of {sail} at {height[0]:.1f} m, as the sail works there, weightless",
            )
            step = min(1.0, _MOST_OF_SIZE * total)
            found.append((key, step, at_height(forward, leeward, x, 0.0, height, state)))
    return found


def _windage(optimum: _Optimum, values: Mapping[str, Floats], state: State) -> tuple[Key, float, Load]:
    """A tenth of a square metre of drag area at half the mast's height."""
    problem, case = optimum.problem, np.zeros(1, dtype=np.intp)
    rig = optimum.boat.rig
    height = np.array([0.5 * (rig.mast_base_height + rig.mast_top_height)])
    wind = problem.wind(values, case)
    ahead, across = wind_at(
        height=height, wind=wind, boat_speed=state.boat_speed, leeway=state.leeway, heel=state.heel
    )
    forward, normal = bluff_body_force(
        from_ahead=ahead,
        to_leeward=across,
        frontal_area=1.0,
        side_area=1.0,
        drag_coefficient=1.0,
        air_density=wind.air_density,
    )
    key = Key(
        name="mast_drag_area_m2",
        value=math.nan,
        unit="m²",
        description=f"drag coefficient times area in the wind at {height[0]:.1f} m on the mast",
    )
    return key, 0.1, at_height(forward, normal, np.array([rig.mast_x]), 0.0, height, state)


def _masses(optimum: _Optimum) -> list[_Change]:
    """A kilogram at the centre of mass, and at the masthead; the boat floats with it."""
    movable, rig = optimum.movable, optimum.boat.rig
    x, z = movable.mass_centre
    asked = [
        ("mass_at_centre_kg", f"mass at the centre of mass, height {z:.2f} m, on the centreline", x, z),
        ("mass_at_masthead_kg", "mass at the masthead", rig.mast_x, rig.mast_top_height),
    ]
    laden = [movable.laden(1.0, x=x, z=z) for _, _, x, z in asked]
    sinking, volume = _sinking(optimum)
    differences = _differences(optimum, [*(optimum.dressed(boat) for boat, _ in laden), *sinking])
    per_volume = differences[-1] / volume if sinking else 0.0
    total = optimum.boat.total_mass
    return [
        _change(
            optimum,
            Key(name=name, value=total, unit="kg", description=says),
            LOAD,
            min(10.0, 0.01 * total),
            difference + short * per_volume,
        )
        for (name, says, _, _), difference, (_, short) in zip(asked, differences, laden, strict=False)
    ]


# --- what a step meets --------------------------------------------------------------------------------------


def _judged(optimum: _Optimum, changes: Sequence[_Change], *, all_again: bool) -> list[Lever]:
    """Levers of changes: by the multipliers, and where a limit comes into force or lets go within the step by
    solving again, all of them or those that may be among the strongest.
    """
    meets = _Meets(optimum)
    stable = [not change.breaks and meets.nothing(change) for change in changes]
    worth = {change.key.name: abs(change.step * _gain(optimum, change)) for change in changes}
    moved = [change.key.name for change in changes if change.kind == KEY]
    first = set(moved if all_again else sorted(moved, key=lambda name: -worth[name])[:_MAY_BE_STRONGEST])
    again = [
        change
        for change, holds in zip(changes, stable, strict=True)
        if not holds and (change.key.name in first or change.breaks)
    ]
    sides = _solved_again(optimum, again)
    found = []
    for change, holds in zip(changes, stable, strict=True):
        gain = math.nan if change.breaks else _gain(optimum, change)
        up, down = (math.nan if refused else gain for refused in change.refused)
        remark = "" if holds else _NOT_SOLVED
        if change.key.name in sides:
            up, down, remark = sides[change.key.name]
        elif change.key.name in first:
            remark = " ".join(filter(None, (remark, _short_of_step(optimum, change))))
        found.append(
            Lever(
                name=change.key.name,
                kind=change.kind,
                value=change.key.value,
                unit=change.key.unit,
                description=change.key.description,
                gain_kn=gain,
                gain_up_kn=up,
                gain_down_kn=down,
                step=change.step,
                is_stable=holds,
                remark=remark,
            )
        )
    return found


def _short_of_step(optimum: _Optimum, change: _Change) -> str:
    """What is to be said where the boat file allows some of a step but not all."""
    sides = zip(("more", "less"), (change.step, -change.step), change.refused, strict=True)
    ends = [
        word for word, by, refused in sides if not refused and not optimum.movable.allows(change.key.name, by)
    ]
    return f"The boat file does not allow a whole step {' or '.join(ends)}." if ends else ""


class _Meets:
    """Where the optimum goes as something changes, as far as the same bounds and limits hold: first
    derivatives of variables and multipliers, from the conditions of the optimum.
    """

    def __init__(self, optimum: _Optimum) -> None:
        self.optimum = optimum
        equalities = optimum.problem.equality_count
        self.holds_low, self.holds_high = optimum.at_lower > 0.0, optimum.at_upper > 0.0
        self.free = ~(self.holds_low | self.holds_high)
        limit = np.arange(len(optimum.constraints)) >= equalities
        self.limit = limit
        self.active = ~limit | (optimum.multipliers < 0.0)
        count = int(self.free.sum())
        jacobian = optimum.jacobian[self.active][:, self.free]
        size = count + len(jacobian)
        matrix = np.zeros((size, size))
        matrix[:count, :count] = optimum.hessian[np.ix_(self.free, self.free)] + _PROXIMAL * np.eye(count)
        matrix[:count, count:], matrix[count:, :count] = jacobian.T, jacobian
        self.inverse = np.linalg.pinv(matrix)

    def nothing(self, change: _Change) -> bool:
        """Whether no bound and no limit comes into force or lets go within a step more or less."""
        optimum = self.optimum
        held = np.where(self.holds_low, change.lower, np.where(self.holds_high, change.upper, 0.0))
        held_move = np.where(self.free, 0.0, held)
        right = -np.concatenate(
            [
                (change.gradient + optimum.hessian @ held_move)[self.free],
                (change.constraints + optimum.jacobian @ held_move)[self.active],
            ]
        )
        solution = self.inverse @ right
        moves = held_move.copy()
        moves[self.free] = solution[: int(self.free.sum())]
        pulls = np.zeros(len(optimum.constraints))
        pulls[self.active] = solution[int(self.free.sum()) :]
        slope = change.gradient + optimum.hessian @ moves + pulls @ optimum.jacobian
        limits = change.constraints + optimum.jacobian @ moves
        x = optimum.x[:, 0]
        rooms = (
            ((x - optimum.lower)[~self.holds_low], (moves - change.lower)[~self.holds_low]),
            ((optimum.upper - x)[~self.holds_high], (change.upper - moves)[~self.holds_high]),
            (optimum.at_lower[self.holds_low], slope[self.holds_low]),
            (optimum.at_upper[self.holds_high], -slope[self.holds_high]),
            (optimum.constraints[~self.active], limits[~self.active]),
            (-optimum.multipliers[self.limit & self.active], -pulls[self.limit & self.active]),
        )
        sides = [side for side, refused in zip((1.0, -1.0), change.refused, strict=True) if not refused]
        return all(
            bool(np.all(room + side * change.step * rate >= 0.0)) for side in sides for room, rate in rooms
        )


def _solved_again(optimum: _Optimum, changes: Sequence[_Change]) -> dict[str, tuple[float, float, str]]:
    """Knots a unit for a step more and a step less, and what is to be said, by key."""
    asked: list[tuple[str, int, Boat]] = []
    remarks = {change.key.name: _HELD for change in changes}
    for change in changes:
        for side, by in enumerate((change.step, -change.step)):
            try:
                boat = optimum.dressed(optimum.movable.moved(change.key.name, by))
            except BoatFileError:
                remarks[change.key.name] = f"{_HELD} The boat file does not allow the step one way."
                continue
            asked.append((change.key.name, side, boat))
    speeds: dict[tuple[str, int], float] = {}
    kinds = [optimum.kind_of(boat) for _, _, boat in asked]
    for kind in dict.fromkeys(kinds):
        members = [each for each, other in zip(asked, kinds, strict=True) if other == kind]
        for first in range(0, len(members), _AT_A_TIME):
            some = members[first : first + _AT_A_TIME]
            problem = optimum.problem_of([boat for _, _, boat in some])
            solution = minimise(problem, optimum.start(problem), settings=_AGAIN)
            made_good = -solution.objective * SCALES["boat_speed"] / KNOT
            for (name, side, _), speed, status in zip(some, made_good, solution.status, strict=True):
                speeds[name, side] = float(speed) if status == Status.CONVERGED else math.nan
    found = {}
    for change in changes:
        more, less = (speeds.get((change.key.name, side), math.nan) for side in (0, 1))
        found[change.key.name] = (
            (more - optimum.speed_kn) / change.step,
            (optimum.speed_kn - less) / change.step,
            remarks[change.key.name],
        )
    return found
