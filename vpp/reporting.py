"""What a solution says: quantities, budget, closure, and a status with its reason for every condition."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vpp import balance, closure, trim
from vpp.balance import FoilMargin, WorkingFoil
from vpp.boat import Boat
from vpp.foiling import CANTING_PAIR
from vpp.physics.hull import EXTENDED_FROUDE_LIMIT
from vpp.physics.hydrofoils import ventilation_from_tail
from vpp.physics.lifting_line import FIT_ANGLES, StripFlow
from vpp.physics.sail_tables import TableSailArrays, TableSailForce, is_outside
from vpp.physics.sails import wind_at
from vpp.physics.wind import apparent_wind
from vpp.ranges import planing_of, planing_quantities, range_remarks
from vpp.solved import FOIL_BORNE, HULL_BORNE, UPWIND, Conditions, Solved, Strips
from vpp.solver.problem import Settings, Solution
from vpp.solver.status import Status, sentence
from vpp.state import Component
from vpp.trim import OPTIONAL, FastestEquilibrium, state_from

FloatArray = NDArray[np.float64]

UNBALANCED = {
    "surge": "drive and resistance",
    "sway": "the side forces of rig and keel or foils",
    "heave": "weight and what carries it",
    "pitch": "the moments that pitch the boat",
    "roll": "heeling and righting moment",
    "yaw": "the turning moments of rig, keel or foils, and rudder",
}
FOIL_LIMIT = (
    "No equilibrium: the foils cannot keep their margins of immersion and cavitation; try another wind speed "
    "or angle, or smaller margins in [margins]."
)
SAIL_LIMIT = (
    "No equilibrium: a sail cannot be kept filled from its windward side; try another true wind angle, less "
    "wind, or other sails."
)
TOO_FAST = (
    f"The boat would go faster than Froude number {EXTENDED_FROUDE_LIMIT}, where its hull resistance is not "
    "known; leave this condition out, or give the boat less sail or a hull model with a wider range."
)
OFF_RESISTANCE_TABLE = (
    "The boat would go faster or slower than the speeds in the table of its hull's resistance, where nothing "
    "is known; leave this condition out, or give the table more rows."
)
FASTER_THAN_SEARCHED = (
    "The boat would go faster than is searched on this branch, and faster than its models are meant for; "
    "leave this condition out, or give the boat less sail."
)
WIND_FROM_AHEAD = (
    f"The apparent wind comes from less than {np.degrees(FIT_ANGLES[0]):.0f} deg off the bow or from beyond "
    "dead astern, where the sails' influence on each other is not known; try a wider true wind angle."
)
OFF_TABLE = (
    "The apparent wind comes to {sail} from outside the {first:.4g} to {last:.4g} deg of its table, where "
    "nothing is known of the sail; try another true wind angle, or other sails."
)
UNFELT = "{sail} and the other sails do not feel each other"
"""Remark on every result of a boat with sails from strips and one from a table."""
SKIMMING = "hull at the surface"
"""Remark on a hull-borne result whose hull has all but left the water: a little more speed and it flies."""
FILLED_NO_MORE = "is filled no more"
EMPTY = f"{{sail}} {FILLED_NO_MORE}: a crew would lower or furl it"
"""Remark on a result that would be faster if a sail as a whole could be pressed from its leeward side, as
cloth cannot be.
"""
# Lift coefficient of an arm through the surface above which a result warns of ventilation: an estimate, no
# source; whether it ventilates depends on its nose, its surface and the waves.
VENTILATION_LIFT = 0.3
LIMIT_REMARKS = (
    ("heel", "heel limit"),
    ("leeway", "leeway limit"),
    ("rudder", "rudder limit"),
    ("pitch", "pitch limit"),
    ("elevator", "elevator limit"),
)
AT_END_OF_SEARCH = (
    "The result leans on the end of the search range, so it is not an optimum: the boat hardly moves, or its "
    "best VMG lies outside; try more wind or a fixed angle."
)
STEP_LIMIT_FEASIBLE = (
    "Step limit: best feasible state returned, {speed:.2f} kn, not proven fastest; try a slightly different "
    "wind speed or angle, and use the number as a lower bound only."
)
STEP_LIMIT_WITHOUT = (
    "Step limit: no feasible state was found in {steps} steps, and none was shown to be impossible; try a "
    "slightly different wind speed or angle."
)
KNOT = 1852.0 / 3600.0
# Quantities of the table that only boats with those freedoms, sails or sail sets have.
ABSENT = (
    *(f"{role}_{control}" for role in ("main", "jib") for control in trim.CONTROL_SCALES),
    "sail_set_margin",
    *OPTIONAL,
    "crew_x",
    "wave_period",
    "planing_share",
    "porpoising_margin",
    "tip_depth",
    "cavitation_margin",
    "heave_stiffness",
    "pitch_stiffness",
    "roll_stiffness",
    "immersion_price",
    "clearance_price",
    "cavitation_price",
    "table_sail_power",
)
# A limit on a foil whose multiplier is larger than this shapes the result.
_FELT = 1e-6


@dataclass(frozen=True, kw_only=True)
class Report:
    """What a batch's solution says, arrays over its conditions as in `Solved`. `others` are optima beside the
    best, where they are known.
    """

    branch: str
    status: NDArray[np.int64]
    reason: list[str]
    remark: list[str]
    quantities: dict[str, FloatArray]
    components: tuple[str, ...]
    medium: tuple[str, ...]
    force: FloatArray
    moment: FloatArray
    strips: Strips
    solution: Solution
    closure: FloatArray
    others: tuple[Solution, ...] = ()


def report(problem: FastestEquilibrium, solution: Solution) -> Report:
    """What a batch's solution says, checked for closure."""
    everything = np.arange(problem.condition_count)
    values = {
        name: np.broadcast_to(value, everything.shape)
        for name, value in problem.named(solution.x, everything).items()
    }
    state = state_from(values, problem.layout)
    components, at_work = problem.loads(values, everything)
    margins = balance.foil_margins(problem.layout, at_work)
    force, moment = _in_course_axes(components, values["leeway"])
    strips, flow = _strips(problem, values)
    planes = planing_of(problem.boats, state)
    quantities = {
        **_quantities(problem, values, components, force, strips, flow),
        **_foil_quantities(problem, solution, margins),
        **planing_quantities(planes),
        **_sea_quantities(problem),
    }
    record = _closure_record(problem, components, force, moment, strips, values, quantities["beta"])
    closes = closure.largest_error(record)
    off_table = _off_table(problem, strips)
    status = _status(problem, solution, closes, flow.wind_angle, off_table)
    reasons = [_reason(problem, solution, status, closes, str(off_table[i]), int(i)) for i in everything]
    warned = _ventilation(problem, at_work)
    beyond = range_remarks(problem.fleet, problem.conditions.option, problem.boats, state, quantities, planes)
    remarks = [
        "; ".join(
            filter(None, (_remark(problem, solution, quantities, margins, int(i)), beyond[i], warned[i]))
        )
        if status[i] == Status.CONVERGED
        else ""
        for i in everything
    ]
    bad = ~((status == Status.CONVERGED) | _unproven(solution, status, closes))
    for array in (
        *quantities.values(),
        force,
        moment,
        strips.forward,
        strips.leeward,
        strips.incidence,
        strips.lift_coefficient,
        strips.chord_angle,
        strips.camber,
        strips.nose_angle,
        strips.wind_speed,
        strips.wind_angle,
        strips.flow_angle,
    ):
        array[..., bad] = np.nan
    if not problem.seeks_vmg:
        quantities["twa"] = problem.conditions.twa.copy()
    return Report(
        branch=problem.free.branch,
        status=status,
        reason=reasons,
        remark=remarks,
        quantities=quantities,
        components=tuple(component.name for component in components),
        medium=tuple(component.medium for component in components),
        force=force,
        moment=moment,
        strips=strips,
        solution=solution,
        closure=closes,
    )


def _in_course_axes(components: Sequence[Component], leeway: FloatArray) -> tuple[FloatArray, FloatArray]:
    # turned here and not by the code of the residuals, so that closure would see an error in either
    cos_l, sin_l = np.cos(leeway), np.sin(leeway)
    shape = leeway.shape

    def turned(forward: FloatArray, leeward: FloatArray, up: FloatArray) -> list[FloatArray]:
        parts = [forward * cos_l + leeward * sin_l, leeward * cos_l - forward * sin_l, up]
        return [np.broadcast_to(part, shape) for part in parts]

    force = np.array([turned(c.load.forward, c.load.leeward, c.load.up) for c in components])
    moment = np.array([turned(c.load.roll, c.load.pitch, c.load.yaw) for c in components])
    return force, moment


def _strips(problem: FastestEquilibrium, values: dict[str, FloatArray]) -> tuple[Strips, StripFlow]:
    """Every strip, and the flow that it was given."""
    everything = np.arange(problem.condition_count)
    boats, wake = problem.of(everything)
    state = state_from(values, problem.layout)
    flow, on_strips = balance.strips(
        fleet_layout=problem.layout,
        boats=boats,
        wake=wake,
        wind=problem.wind(values, everything),
        state=state,
    )
    shape = balance.sail_shapes(fleet_layout=problem.layout, boats=boats, state=state)
    names = tuple(
        name
        for name, count in zip(problem.layout.sails, problem.layout.strips, strict=True)
        for _ in range(count)
    )
    strips = Strips(
        sail=names,
        height=boats.rig.height,
        x=boats.rig.x,
        width=boats.rig.width,
        forward=on_strips.forward,
        leeward=on_strips.leeward,
        incidence=on_strips.incidence,
        lift_coefficient=on_strips.lift_coefficient,
        chord_angle=shape.chord_angle,
        camber=shape.camber,
        nose_angle=np.array(np.broadcast_to(shape.nose_angle, shape.camber.shape)),
        wind_speed=np.hypot(flow.along, flow.across),
        wind_angle=flow.wind_angle + np.arctan2(flow.across, flow.along),
        # the flow counts incidence from the ideal one and angles from the wind
        flow_angle=on_strips.incidence + flow.chord_angle + flow.wind_angle,
    )
    tables = [
        _as_strip(name, sail, force)
        for name, sail, force in zip(
            problem.layout.table_sails,
            boats.table_sails,
            balance.table_sail_forces(boats=boats, wind=problem.wind(values, everything), state=state),
            strict=True,
        )
    ]
    return _one_after_the_other([strips, *tables]), flow


def _as_strip(name: str, sail: TableSailArrays, force: TableSailForce) -> Strips:
    """A sail from a table as one strip over its span, at its centre of effort; it has no section."""
    none = np.full((1, len(force.forward)), np.nan)
    return Strips(
        sail=(name,),
        height=np.array([sail.centre_height]),
        x=np.array([sail.centre_x]),
        width=np.array([sail.span]),
        forward=np.array([force.forward]),
        leeward=np.array([force.leeward]),
        incidence=none.copy(),
        lift_coefficient=np.array([force.lift_coefficient]),
        chord_angle=none.copy(),
        camber=none.copy(),
        nose_angle=none.copy(),
        wind_speed=np.array([force.wind_speed]),
        wind_angle=np.array([force.wind_angle]),
        flow_angle=none.copy(),
    )


def _one_after_the_other(parts: Sequence[Strips]) -> Strips:
    rows = {
        field.name: np.concatenate([getattr(part, field.name) for part in parts])
        for field in dataclasses.fields(Strips)
        if field.name != "sail"
    }
    return Strips(sail=tuple(name for part in parts for name in part.sail), **rows)


def _closure_record(
    problem: FastestEquilibrium,
    components: Sequence[Component],
    force: FloatArray,
    moment: FloatArray,
    strips: Strips,
    values: dict[str, FloatArray],
    beta: FloatArray,
) -> closure.Record:
    names = [component.name for component in components]
    return closure.Record(
        medium=tuple(component.medium for component in components),
        force=force,
        moment=moment,
        strip_component=np.array([names.index(sail) for sail in strips.sail]),
        strip_height=strips.height,
        strip_x=strips.x,
        strip_forward=strips.forward,
        strip_leeward=strips.leeward,
        true_wind_speed=problem.conditions.tws,
        true_wind_angle=values["twa"],
        boat_speed=values["boat_speed"],
        leeway=values["leeway"],
        heel=values["heel"],
        pitch=values.get("pitch", np.zeros_like(beta)),
        beta=beta,
    )


def _quantities(
    problem: FastestEquilibrium,
    values: dict[str, FloatArray],
    components: Sequence[Component],
    force: FloatArray,
    strips: Strips,
    flow: StripFlow,
) -> dict[str, FloatArray]:
    aws, beta = apparent_wind(
        true_wind_speed=problem.conditions.tws, true_wind_angle=values["twa"], boat_speed=values["boat_speed"]
    )
    air = np.array([component.medium == "air" for component in components])
    resting = np.array([_rights(problem, component) for component in components])
    roll = np.array([np.broadcast_to(component.load.roll, beta.shape) for component in components])
    found = {
        **{name: np.full(beta.shape, np.nan) for name in ABSENT},
        **values,
        "vmg": values["boat_speed"] * np.cos(values["twa"]),
        "aws": aws,
        "awa": beta - values["leeway"],
        "beta": beta,
        "ce_height": (strips.leeward * strips.height).sum(axis=0) / strips.leeward.sum(axis=0),
        "righting_moment": roll[resting].sum(axis=0),
        "heeling_moment": -roll[~resting].sum(axis=0),
        "drive": force[air, 0].sum(axis=0),
        "side_force": force[air, 1].sum(axis=0),
        "froude_number": balance.froude_number(boats=problem.boats, boat_speed=values["boat_speed"]),
        **_cambers(problem, strips),
    }
    for sail in problem.layout.table_sails[:1]:
        found["table_sail_power"] = values[f"{sail}_{trim.POWER}"]
    return {_by_role(problem, name): np.array(value, dtype=float) for name, value in found.items()}


def _by_role(problem: FastestEquilibrium, name: str) -> str:
    """A trim of a sail under the role of the sail, anything else under its own name."""
    for sail, role in zip(problem.layout.sails, problem.layout.roles, strict=True):
        if name in (f"{sail}_{control}" for control in trim.CONTROL_SCALES):
            return name.replace(sail, role, 1)
    return name


def _rights(problem: FastestEquilibrium, component: Component) -> bool:
    """Whether a component's roll moment counts as righting: weights, buoyancy, and foils that cant."""
    canting = [
        name for foil in problem.layout.foils if foil.kind == CANTING_PAIR for name in foil.element_names
    ]
    return component.medium == "gravity" or component.name in ("buoyancy", *canting)


def _foil_quantities(
    problem: FastestEquilibrium, solution: Solution, margins: Sequence[FoilMargin]
) -> dict[str, FloatArray]:
    """What is left of the foils' limits, and how stiff the boat is with every control held."""
    found: dict[str, FloatArray] = {}
    shape = (problem.condition_count,)
    for name, kind in (("tip_depth", balance.IMMERSION), ("cavitation_margin", balance.CAVITATION)):
        values = [np.broadcast_to(margin.value, shape) for margin in margins if margin.kind == kind]
        if values:
            found[name] = np.min(values, axis=0)
    if margins:
        found |= _prices(problem, solution, margins)
    if problem.layout.heaves:
        found |= _stiffness(problem, solution.x)
    return found


def _sea_quantities(problem: FastestEquilibrium) -> dict[str, FloatArray]:
    """The sea of every condition; flat where the boat is in none."""
    sea = problem.boats.seaway
    if sea is None:
        return {"wave_height": np.zeros(problem.condition_count)}
    return {
        "wave_height": np.array(sea.significant_height, dtype=float),
        "wave_period": np.where(sea.significant_height > 0.0, sea.peak_period, np.nan),
    }


def _prices(
    problem: FastestEquilibrium, solution: Solution, margins: Sequence[FoilMargin]
) -> dict[str, FloatArray]:
    """Speed, or VMG where that is the aim, lost to one more unit of each least margin, from the multipliers:
    per metre [1/s] of immersion and of clearance, and per unit of cavitation number [m/s].
    """
    speed_unit = trim.SCALES["boat_speed"]
    felt = -speed_unit * solution.multipliers[problem.equality_count :][: len(margins)]
    kinds = np.array([margin.kind for margin in margins])
    row = problem.names.index("ride_height")
    held = problem.free.branch == FOIL_BORNE
    clearance = speed_unit * solution.lower_multipliers[row] / problem.scale[row]
    pressure = balance.cavitation_pressure(solution.x[problem.names.index("boat_speed")] * speed_unit)
    return {
        "immersion_price": felt[kinds == balance.IMMERSION].sum(axis=0),
        "cavitation_price": felt[kinds == balance.CAVITATION].sum(axis=0) * pressure,
        "clearance_price": clearance if held else np.full_like(clearance, np.nan),
    }


# How stiff the boat is: what it is called, which equation answers to which quantity, and the sign that makes
# what restores positive.
_SPRINGS = (
    ("heave_stiffness", "heave", "ride_height", -1.0),
    ("pitch_stiffness", "pitch", "pitch", 1.0),
    ("roll_stiffness", "roll", "heel", 1.0),
)


def _stiffness(problem: FastestEquilibrium, x: FloatArray) -> dict[str, FloatArray]:
    """Restoring force per rise [N/m] and moments per angle [N m/rad]; negative where the boat runs away."""
    known = [spring for spring in _SPRINGS if spring[2] in problem.names]
    slopes = problem.slopes(x, np.arange(problem.condition_count), [variable for _, _, variable, _ in known])
    found = {}
    for place, (name, equation, variable, sign) in enumerate(known):
        row, column = problem.layout.equations.index(equation), problem.names.index(variable)
        found[name] = sign * slopes[row, place] * problem.residual_scale[row] / problem.scale[column]
    return found


def _cambers(problem: FastestEquilibrium, strips: Strips) -> dict[str, FloatArray]:
    """Camber at mid height and of the top and lowest strips, depth over chord, in place of their shares of
    the range.

    The latter two only where head or foot have a control of their own.
    """
    rig = problem.boats.rig
    cambers = {}
    for name, part in zip(problem.layout.sails, problem.layout.slices, strict=True):
        share, camber = rig.share[part], strips.camber[part]
        for end, ramp, row in (("head", rig.head_ramp, -1), ("foot", rig.foot_ramp, 0)):
            cambers[f"{name}_{end}_camber"] = np.where(ramp[part][row] > 0.0, camber[row], np.nan)
        cambers[f"{name}_camber"] = np.array(
            [np.interp(0.5, share[:, i], camber[:, i]) for i in range(camber.shape[1])]
        )
    return cambers


# --- statuses -----------------------------------------------------------------------------------------------


def status_in_range(problem: FastestEquilibrium, solution: Solution) -> NDArray[np.int64]:
    """The status of a solution as `report` has it, but for the check of closure: what of converged answers
    lies within the models' range and leans on no end of the search.
    """
    everything = np.arange(problem.condition_count)
    values = problem.named(solution.x, everything)
    state, wind = state_from(values, problem.layout), problem.wind(values, everything)
    boats = problem.boats
    ahead, leeward = wind_at(
        height=boats.rig.reference_height,
        wind=wind,
        boat_speed=state.boat_speed,
        leeway=state.leeway,
        heel=state.heel,
    )
    outside = np.zeros(len(everything), dtype=bool)
    forces = balance.table_sail_forces(boats=boats, wind=wind, state=state)
    for sail, force in zip(boats.table_sails, forces, strict=True):
        outside |= is_outside(curves=sail.curves, angle=force.wind_angle)
    closes = np.zeros(len(everything))
    off_table = np.where(outside, "outside", "").astype(object)
    return _status(problem, solution, closes, np.arctan2(leeward, ahead), off_table)


def _off_table(problem: FastestEquilibrium, strips: Strips) -> NDArray[np.object_]:
    """Where the wind at a sail from a table is not in the table: a sentence, else empty."""
    said = np.full(problem.condition_count, "", dtype=object)
    for name, sail in zip(problem.layout.table_sails, problem.boats.table_sails, strict=True):
        outside = is_outside(curves=sail.curves, angle=strips.wind_angle[strips.sail.index(name)])
        for i in np.flatnonzero(outside):
            first, last = np.degrees(sail.curves.angle[[0, -1], i])
            said[i] = OFF_TABLE.format(sail=name, first=first, last=last)
    return said


def _status(
    problem: FastestEquilibrium,
    solution: Solution,
    closes: FloatArray,
    wake_angle: FloatArray,
    off_table: NDArray[np.object_],
) -> NDArray[np.int64]:
    """The solver's status, or what makes a converged answer unfit to use."""
    status = solution.status.astype(np.int64).copy()
    converged = status == Status.CONVERGED
    speed = problem.names.index("boat_speed")
    outside = solution.active_upper[speed] | (off_table != "")
    if problem.layout.sails:
        outside |= (wake_angle < FIT_ANGLES[0]) | (wake_angle > FIT_ANGLES[-1])
    status[converged & outside] = Status.OUTSIDE_MODEL_RANGE
    slowest = converged & solution.active_lower[speed]
    status[slowest] = Status.LIMIT_REACHED
    # only a table of resistance begins faster
    begins_later = problem.lower[speed] > trim.SLOWEST / problem.scale[speed]
    status[slowest & begins_later] = Status.OUTSIDE_MODEL_RANGE
    if problem.seeks_vmg:
        angle = problem.names.index("twa")
        upwind = problem.conditions.aim == UPWIND
        leans = solution.active_lower[angle] | (solution.active_upper[angle] & upwind)
        status[converged & leans] = Status.LIMIT_REACHED
    status[converged & (status == Status.CONVERGED) & ~(closes <= closure.TOLERANCE)] = Status.STEP_LIMIT
    return status


def _unproven(solution: Solution, status: NDArray[np.int64], closes: FloatArray) -> NDArray[np.bool_]:
    """Which searches ended early with a state that meets all equations, though a faster one may exist."""
    ended_early = np.isin(solution.status, (Status.STEP_LIMIT, Status.INTERRUPTED))
    met = (solution.constraint_error <= Settings().constraint_tolerance) & (closes <= closure.TOLERANCE)
    unproven: NDArray[np.bool_] = ended_early & (status == solution.status) & met
    return unproven


def _reason(
    problem: FastestEquilibrium,
    solution: Solution,
    status: NDArray[np.int64],
    closes: FloatArray,
    off_table: str,
    i: int,
) -> str:
    """Why a condition has no result and what to try; empty where it has one."""
    code = int(status[i])
    if code == Status.CONVERGED:
        return ""
    if code == Status.OUTSIDE_MODEL_RANGE:
        speed = problem.names.index("boat_speed")
        if not (solution.active_upper[speed, i] or solution.active_lower[speed, i]):
            return off_table or WIND_FROM_AHEAD
        if problem.layout.hull.model == "table":
            return OFF_RESISTANCE_TABLE
        return FASTER_THAN_SEARCHED if problem.layout.heaves else TOO_FAST
    if code == Status.NO_EQUILIBRIUM:
        worst = int(solution.worst_constraint[i])
        if worst >= problem.equality_count + balance.margin_count(problem.layout):
            return SAIL_LIMIT
        if worst >= problem.equality_count:
            return FOIL_LIMIT
        equation = problem.layout.equations[worst]
        return (
            f"No equilibrium: within the limits of trim and attitude {UNBALANCED[equation]} cannot be "
            f"brought into balance (the {equation} equation); try bearing away, another wind speed, or a "
            "wider limit in [margins]."
        )
    if code == Status.LIMIT_REACHED:
        return AT_END_OF_SEARCH
    if solution.status[i] == Status.CONVERGED:
        return (
            f"The solution does not close (relative error {closes[i]:.1e}) and cannot be trusted; "
            "leave this condition out."
        )
    if code == Status.STEP_LIMIT:
        if _unproven(solution, status, closes)[i]:
            speed = problem.named(solution.x, np.arange(len(status)))["boat_speed"][i]
            return STEP_LIMIT_FEASIBLE.format(speed=speed / KNOT)
        return STEP_LIMIT_WITHOUT.format(steps=solution.iterations[i])
    return sentence(code)


def _ventilation(problem: FastestEquilibrium, at_work: Sequence[WorkingFoil]) -> NDArray[np.object_]:
    """Warnings where an arm through the surface carries much lift: which end air may come down from."""
    warned = np.full(problem.condition_count, "", dtype=object)
    for each, work in zip(problem.layout.foils, at_work, strict=True):
        loaded = np.abs(work.loads.lift_coefficient[0]) > VENTILATION_LIFT
        from_tail = ventilation_from_tail(depth_froude=work.loads.wings[0].froude) > 0.5
        for i in np.flatnonzero(loaded):
            text = f"{each.name} arm may ventilate from its {'tail' if from_tail[i] else 'nose'}"
            warned[i] = f"{warned[i]}; {text}" if warned[i] else text
    return warned


def _remark(
    problem: FastestEquilibrium,
    solution: Solution,
    quantities: dict[str, FloatArray],
    margins: Sequence[FoilMargin],
    i: int,
) -> str:
    """Active limits of the attitude and the foils and model ranges left, in a few words."""
    remarks = []
    for name, text in LIMIT_REMARKS:
        if name in problem.names:
            row = problem.names.index(name)
            if solution.active_lower[row, i] or solution.active_upper[row, i]:
                remarks.append(text)
    if "ride_height" in problem.names:
        row = problem.names.index("ride_height")
        if solution.active_upper[row, i] and problem.free.branch == HULL_BORNE:
            remarks.append(SKIMMING)
        if solution.active_lower[row, i] and problem.free.branch == FOIL_BORNE:
            remarks.append("hull clearance limit")
    felt = solution.multipliers[problem.equality_count :, i] < -_FELT
    limits = [f"{margin.of} {margin.kind} limit" for margin in margins]
    limits += [EMPTY.format(sail=name) for name in problem.layout.sails]
    remarks += [limit for limit, holds in zip(limits, felt, strict=True) if holds]
    if problem.layout.sails:
        remarks += [UNFELT.format(sail=name) for name in problem.layout.table_sails]
    return "; ".join(remarks)


def taken(found: Report, which: NDArray[np.intp]) -> Report:
    """What a report says of some of its conditions."""
    fields = dict(vars(found))
    for name in ("status", "force", "moment", "closure"):
        fields[name] = fields[name][..., which]
    for name in ("reason", "remark"):
        fields[name] = [fields[name][int(i)] for i in which]
    fields["quantities"] = {name: value[which] for name, value in found.quantities.items()}
    strips = {
        name: value if name == "sail" else value[..., which] for name, value in vars(found.strips).items()
    }
    solution = {name: value[..., which] for name, value in vars(found.solution).items()}
    return Report(**{**fields, "strips": Strips(**strips), "solution": Solution(**solution), "others": ()})


def assembled(
    boats: Sequence[Boat],
    conditions: Conditions,
    batches: Sequence[NDArray[np.intp]],
    reports: Sequence[Report],
) -> Solved:
    """All batches in the order of the conditions, over all their components, quantities and strips.

    `batches` holds the places of each batch among the conditions.
    """
    count = len(conditions)
    branch = np.full(count, HULL_BORNE)
    no_set = np.full(count, "", dtype=object)
    components = tuple(dict.fromkeys(name for found in reports for name in found.components))
    media = dict(pair for found in reports for pair in zip(found.components, found.medium, strict=True))
    names = tuple(dict.fromkeys(name for found in reports for name in found.quantities))
    force, moment = np.zeros((2, len(components), 3, count))
    quantities = {name: np.full(count, np.nan) for name in names}
    reason, remark = np.full((2, count), "", dtype=object)
    status, iterations = np.zeros((2, count), dtype=np.int64)
    constraint_error, optimality_error, closes = np.zeros((3, count))
    for at, found in zip(batches, reports, strict=True):
        for row, name in enumerate(found.components):
            force[components.index(name)][:, at] = found.force[row]
            moment[components.index(name)][:, at] = found.moment[row]
        for name, value in found.quantities.items():
            quantities[name][at] = value
        reason[at], remark[at] = found.reason, found.remark
        branch[at] = found.branch
        status[at], iterations[at] = found.status, found.solution.iterations
        constraint_error[at], optimality_error[at] = (
            found.solution.constraint_error,
            found.solution.optimality_error,
        )
        closes[at] = found.closure
    return Solved(
        boats=tuple(boats),
        conditions=conditions,
        branch=branch,
        sail_set=no_set,
        status=status,
        reason=reason,
        remark=remark,
        quantities=quantities,
        components=components,
        medium=tuple(media[name] for name in components),
        force=force,
        moment=moment,
        strips=_assembled_strips(count, batches, reports),
        iterations=iterations,
        constraint_error=constraint_error,
        optimality_error=optimality_error,
        closure=closes,
    )


def _assembled_strips(count: int, batches: Sequence[NDArray[np.intp]], reports: Sequence[Report]) -> Strips:
    """Strips of all batches; where boats differ in their number, each sail has as many rows as the largest,
    the rest NaN.
    """
    most: dict[str, int] = {}
    for found in reports:
        for name in dict.fromkeys(found.strips.sail):
            most[name] = max(most.get(name, 0), found.strips.sail.count(name))
    sails = tuple(name for name, number in most.items() for _ in range(number))
    names = [field.name for field in dataclasses.fields(Strips) if field.name != "sail"]
    arrays = {name: np.full((len(sails), count), np.nan) for name in names}
    for places, found in zip(batches, reports, strict=True):
        for name in dict.fromkeys(found.strips.sail):
            here = np.flatnonzero(np.array(found.strips.sail) == name)
            there = np.flatnonzero(np.array(sails) == name)[: len(here)]
            for field in names:
                arrays[field][np.ix_(there, places)] = getattr(found.strips, field)[here]
    return Strips(sail=sails, **arrays)
