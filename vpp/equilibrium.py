"""The fastest equilibrium of every condition:

boats sorted into batches, solved, checked, and reported with a status and a reason.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import dataclass, replace
from multiprocessing import get_context

import numpy as np
from numpy.typing import NDArray

from vpp import balance, closure
from vpp.balance import Component
from vpp.boat import Boat
from vpp.physics.hull import DATA_FROUDE_RANGE, EXTENDED_FROUDE_LIMIT
from vpp.physics.lifting_line import FIT_ANGLES
from vpp.physics.wind import apparent_wind
from vpp.solved import DOWNWIND, SPEED, UPWIND, Conditions, Solved, Strips
from vpp.solver.interior_point import minimise
from vpp.solver.problem import Settings, Solution
from vpp.solver.status import Status, sentence
from vpp.trim import FastestEquilibrium, Start, freedom, ranges, start, state_from

FloatArray = NDArray[np.float64]
Progress = Callable[[int, int], None]

# Upwind and reaching, every start that was tried led to the same optimum. Off the wind each sail may be best
# attached or stalled, full or flat, or eased to its stops, which makes several optima: those conditions are
# solved from all of ATTACHED, EASED, FLAT and MAIN_STALLED and the fastest answer is kept (of 550 conditions
# none was more than 0.3 %, and three more than 0.05 %, slower than the best of 19 starts). There may also be
# a best VMG on a broad reach and another on a run, for which STALLED is added; the first three look on the
# broad reach alone. SLOW is for conditions in which none of them converged. The low barrier keeps a start in
# its basin.
ATTACHED = Start(
    speed_factor=1.1,
    incidence=(0.14,),
    twist=0.1,
    camber=0.55,
    downwind_angle=2.32,
    downwind_end=2.75,
    barrier=1e-3,
)
EASED = replace(ATTACHED, speed_factor=1.2, incidence=(-1.0,), twist=1.0, camber=0.95)
FLAT = replace(ATTACHED, incidence=(0.05,), twist=0.2, camber=0.25)
MAIN_STALLED = replace(
    ATTACHED, speed_factor=1.0, incidence=(0.8, 0.14), downwind_angle=2.65, downwind_end=np.pi
)
STALLED = replace(MAIN_STALLED, speed_factor=0.9, incidence=(1.05,), downwind_angle=3.0)
SLOW = replace(
    STALLED, speed_factor=0.4, incidence=(0.05,), twist=0.25, camber=0.15, downwind_angle=2.6, barrier=1e-2
)
OFF_THE_WIND = np.radians(117.5)
# Large blocks: the last conditions of a block cost as much a step as a hundred.
SOLVER_SETTINGS = Settings(block_size=1024)
# Fewer conditions than this are solved sooner than another process starts; no process gets more of them at a
# time than keeps the others busy.
LEAST_SHARED = 300
MOST_IN_SHARE = 512
UNBALANCED = {
    "surge": "drive and resistance",
    "sway": "the side forces of rig and keel",
    "roll": "heeling and righting moment",
    "yaw": "the turning moments of rig, keel and rudder",
}
TOO_FAST = (
    f"The boat would go faster than Froude number {EXTENDED_FROUDE_LIMIT}, where its hull resistance is not "
    "known; leave this condition out, or give the boat less sail or a hull model with a wider range."
)
WIND_FROM_AHEAD = (
    f"The apparent wind comes from less than {np.degrees(FIT_ANGLES[0]):.0f} deg off the bow or from beyond "
    "dead astern, where the sails' influence on each other is not known; try a wider true wind angle."
)
AT_END_OF_SEARCH = (
    "The result leans on the end of the search range, so it is not an optimum: the boat hardly moves, or its "
    "best VMG lies outside; try more wind or a fixed angle."
)
# Quantities of the table that only boats with those freedoms have.
ABSENT = ("pitch", "ride_height")


@dataclass(frozen=True, kw_only=True)
class _Batch:
    """Conditions that can be solved together: their places in the whole, and the problem they make."""

    places: NDArray[np.intp]
    problem: FastestEquilibrium


def solve(
    boats: Sequence[Boat], conditions: Conditions, *, processes: int = 1, progress: Progress | None = None
) -> Solved:
    """Fastest equilibrium of every condition; see `Solved`.

    A condition that fails keeps its place with a status and a reason. With more than one of `processes`,
    large batches are shared out among new Python processes, to the same result; a script that asks for it
    needs the usual `if __name__ == "__main__":`. `progress(done, total)` is called as conditions finish.
    Raises ValueError when the conditions name a boat that does not exist.
    """
    if len(conditions) and (conditions.option.min() < 0 or conditions.option.max() >= len(boats)):
        raise ValueError(f"conditions name boats 0 to {conditions.option.max()}, and there are {len(boats)}")
    batches = _batches(boats, conditions)
    if processes > 1 and len(conditions) >= LEAST_SHARED:
        solutions = _solve_shared(batches, processes, progress)
    else:
        solutions = _solve_in_turn(batches, progress)
    reports = [
        _report(boats, batch.problem, solution) for batch, solution in zip(batches, solutions, strict=True)
    ]
    return _assembled(boats, conditions, batches, reports)


def _solve_in_turn(batches: Sequence[_Batch], progress: Progress | None) -> list[Solution]:
    total = sum(len(batch.places) for batch in batches)
    solutions: list[Solution] = []
    done = 0
    for batch in batches:

        def report(finished: int, _: int, before: int = done) -> None:
            if progress is not None:
                progress(before + finished, total)

        solutions.append(_solve_batch(batch.problem, report))
        done += len(batch.places)
    return solutions


def _solve_shared(batches: Sequence[_Batch], processes: int, progress: Progress | None) -> list[Solution]:
    """Every batch dealt out to processes in shares, each of conditions from all over the batch."""
    total, done = sum(len(batch.places) for batch in batches), 0
    parts: list[list[tuple[NDArray[np.intp], Solution]]] = [[] for _ in batches]
    with ProcessPoolExecutor(max_workers=processes, mp_context=get_context("spawn")) as pool:
        waiting = {}
        for number, batch in enumerate(batches):
            shares = processes * -(-len(batch.places) // (processes * MOST_IN_SHARE))
            for first in range(min(shares, len(batch.places))):
                places = np.arange(first, len(batch.places), shares)
                waiting[pool.submit(_solve_batch, batch.problem.select(places))] = (number, places)
        for future in as_completed(waiting):
            number, places = waiting[future]
            parts[number].append((places, future.result()))
            done += len(places)
            if progress is not None:
                progress(done, total)
    return [_joined(part) for part in parts]


def _joined(parts: Sequence[tuple[NDArray[np.intp], Solution]]) -> Solution:
    """One solution from those of shares, each with its places."""
    order = np.argsort(np.concatenate([places for places, _ in parts]))
    fields = vars(parts[0][1])
    return Solution(
        **{
            name: np.concatenate([vars(part)[name] for _, part in parts], axis=-1)[..., order]
            for name in fields
        }
    )


def _batches(boats: Sequence[Boat], conditions: Conditions) -> list[_Batch]:
    """Conditions grouped by what their boats share and by whether the wind angle is free, in order of first
    appearance.
    """
    keys = [
        _batch_key(boats[option], aim) for option, aim in zip(conditions.option, conditions.aim, strict=True)
    ]
    batches = []
    for key in dict.fromkeys(keys):
        places = np.flatnonzero([other == key for other in keys])
        used = sorted(set(conditions.option[places].tolist()))
        members = [boats[i] for i in used]
        renumbered = np.searchsorted(used, conditions.option[places])
        part = Conditions(
            option=renumbered,
            tws=conditions.tws[places],
            twa=conditions.twa[places],
            aim=conditions.aim[places],
        )
        problem = FastestEquilibrium(balance.fleet(members), freedom(members), part)
        batches.append(_Batch(places=places, problem=problem))
    return batches


def _batch_key(boat: Boat, aim: str) -> tuple[object, ...]:
    free = tuple(name for name, bound in ranges(boat).items() if not bound.is_fixed)
    return balance.layout(boat), free, aim != SPEED


def _solve_batch(problem: FastestEquilibrium, progress: Progress | None = None) -> Solution:
    """The best answer of the starts that each condition calls for."""
    conditions = problem.conditions
    runs = conditions.aim == DOWNWIND
    off_the_wind = runs | (conditions.twa > OFF_THE_WIND)
    solution = _from(problem, ATTACHED, progress)
    for how, called_for in (
        (EASED, off_the_wind),
        (FLAT, off_the_wind),
        (MAIN_STALLED, off_the_wind),
        (STALLED, runs),
        (SLOW, np.zeros_like(runs)),
    ):
        places = np.flatnonzero(called_for | (solution.status != Status.CONVERGED))
        if len(places):
            solution = _with_better(solution, _from(problem.select(places), how), places)
    return solution


def _from(problem: FastestEquilibrium, how: Start, progress: Progress | None = None) -> Solution:
    # looking for feasibility from more states is left to the last start: the others are followed by one
    # another
    searches = SOLVER_SETTINGS.restoration_starts if how is SLOW else 1
    settings = replace(SOLVER_SETTINGS, initial_barrier=how.barrier, restoration_starts=searches)
    narrowed = problem.up_to(how.downwind_end)
    solution = minimise(narrowed, start(narrowed, how), settings=settings, on_progress=progress)
    if problem.seeks_vmg and how.downwind_end < np.pi:
        at_end = solution.active_upper[problem.names.index("twa")] & (problem.conditions.aim == DOWNWIND)
        solution.status[at_end & (solution.status == Status.CONVERGED)] = Status.LIMIT_REACHED
    return solution


def _with_better(solution: Solution, again: Solution, places: NDArray[np.intp]) -> Solution:
    """The solution with those cases replaced in which the second attempt converged alone or to a better
    objective.
    """
    before = solution.objective[places] + np.where(solution.status[places] == Status.CONVERGED, 0.0, np.inf)
    won = (again.status == Status.CONVERGED) & (again.objective < before)
    merged = {}
    for name, value in vars(solution).items():
        merged[name] = value.copy()
        merged[name][..., places[won]] = getattr(again, name)[..., won]
    merged["iterations"][places] = solution.iterations[places] + again.iterations
    return Solution(**merged)


# --- reporting ----------------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class _Report:
    """What a batch's solution says, arrays over its conditions as in `Solved`."""

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


def _report(boats: Sequence[Boat], problem: FastestEquilibrium, solution: Solution) -> _Report:
    everything = np.arange(problem.condition_count)
    values = {
        name: np.broadcast_to(value, everything.shape)
        for name, value in problem.named(solution.x, everything).items()
    }
    components = problem.components(values, everything)
    force, moment = _in_course_axes(components, values["leeway"])
    strips, wake_angle = _strips(problem, values)
    quantities = _quantities(problem, values, components, force, strips)
    record = _closure_record(problem, components, force, moment, strips, values, quantities["beta"])
    closes = closure.largest_error(record)
    status = _status(problem, solution, closes, wake_angle)
    reasons = [_reason(problem, solution, status, closes, int(i)) for i in everything]
    remarks = [
        _remark(problem, solution, quantities, int(i)) if status[i] == Status.CONVERGED else ""
        for i in everything
    ]
    bad = status != Status.CONVERGED
    for array in (
        *quantities.values(),
        force,
        moment,
        strips.forward,
        strips.leeward,
        strips.incidence,
        strips.lift_coefficient,
    ):
        array[..., bad] = np.nan
    if not problem.seeks_vmg:
        quantities["twa"] = problem.conditions.twa.copy()
    return _Report(
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
    cos_l, sin_l = np.cos(leeway), np.sin(leeway)
    shape = leeway.shape

    def turned(forward: FloatArray, leeward: FloatArray, up: FloatArray) -> list[FloatArray]:
        parts = [forward * cos_l + leeward * sin_l, leeward * cos_l - forward * sin_l, up]
        return [np.broadcast_to(part, shape) for part in parts]

    force = np.array([turned(c.load.forward, c.load.leeward, c.load.up) for c in components])
    moment = np.array([turned(c.load.roll, c.load.pitch, c.load.yaw) for c in components])
    return force, moment


def _strips(problem: FastestEquilibrium, values: dict[str, FloatArray]) -> tuple[Strips, FloatArray]:
    """Every strip, and the angle of the wind that carries the wakes."""
    everything = np.arange(problem.condition_count)
    boats, wake = problem.of(everything)
    wind = balance.true_wind(boats=boats, tws=problem.conditions.tws, twa=values["twa"])
    flow, on_strips = balance.strips(
        fleet_layout=problem.layout,
        boats=boats,
        wake=wake,
        wind=wind,
        state=state_from(values, problem.layout),
    )
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
    )
    return strips, flow.wind_angle


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
        beta=beta,
    )


def _quantities(
    problem: FastestEquilibrium,
    values: dict[str, FloatArray],
    components: Sequence[Component],
    force: FloatArray,
    strips: Strips,
) -> dict[str, FloatArray]:
    aws, beta = apparent_wind(
        true_wind_speed=problem.conditions.tws, true_wind_angle=values["twa"], boat_speed=values["boat_speed"]
    )
    air = np.array([component.medium == "air" for component in components])
    resting = np.array([component.name in ("weight", "crew weight", "buoyancy") for component in components])
    roll = np.array([np.broadcast_to(component.load.roll, beta.shape) for component in components])
    found = {
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
        **_cambers(problem, values),
        **{name: np.full(beta.shape, np.nan) for name in ABSENT},
    }
    return {name: np.array(value, dtype=float) for name, value in found.items()}


def _cambers(problem: FastestEquilibrium, values: dict[str, FloatArray]) -> dict[str, FloatArray]:
    """Camber at mid height, depth over chord, in place of its share of the range."""
    rig = problem.boats.rig
    cambers = {}
    for name, part in zip(problem.layout.sails, problem.layout.slices, strict=True):
        share = rig.share[part]
        camber = rig.camber_flat[part] + values[f"{name}_camber"] * (
            rig.camber_full[part] - rig.camber_flat[part]
        )
        cambers[f"{name}_camber"] = np.array(
            [np.interp(0.5, share[:, i], camber[:, i]) for i in range(camber.shape[1])]
        )
    return cambers


# --- statuses -----------------------------------------------------------------------------------------------


def _status(
    problem: FastestEquilibrium, solution: Solution, closes: FloatArray, wake_angle: FloatArray
) -> NDArray[np.int64]:
    """The solver's status, or what makes a converged answer unfit to use."""
    status = solution.status.astype(np.int64).copy()
    converged = status == Status.CONVERGED
    speed = problem.names.index("boat_speed")
    outside = solution.active_upper[speed] | (wake_angle < FIT_ANGLES[0]) | (wake_angle > FIT_ANGLES[-1])
    status[converged & outside] = Status.OUTSIDE_MODEL_RANGE
    status[converged & solution.active_lower[speed]] = Status.LIMIT_REACHED
    if problem.seeks_vmg:
        angle = problem.names.index("twa")
        upwind = problem.conditions.aim == UPWIND
        leans = solution.active_lower[angle] | (solution.active_upper[angle] & upwind)
        status[converged & leans] = Status.LIMIT_REACHED
    status[converged & (status == Status.CONVERGED) & ~(closes <= closure.TOLERANCE)] = Status.STEP_LIMIT
    return status


def _reason(
    problem: FastestEquilibrium,
    solution: Solution,
    status: NDArray[np.int64],
    closes: FloatArray,
    i: int,
) -> str:
    """Why a condition has no result and what to try; empty where it has one."""
    code = int(status[i])
    if code == Status.CONVERGED:
        return ""
    if code == Status.OUTSIDE_MODEL_RANGE:
        too_fast = solution.active_upper[problem.names.index("boat_speed"), i]
        return TOO_FAST if too_fast else WIND_FROM_AHEAD
    if code == Status.NO_EQUILIBRIUM:
        equation = balance.EQUATIONS[int(solution.worst_constraint[i])]
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
    return sentence(code)


def _remark(
    problem: FastestEquilibrium, solution: Solution, quantities: dict[str, FloatArray], i: int
) -> str:
    """Active limits of the attitude and model ranges left, in a few words."""
    remarks = []
    for name, text in (("heel", "heel limit"), ("leeway", "leeway limit"), ("rudder", "rudder limit")):
        if name in problem.names:
            row = problem.names.index(name)
            if solution.active_lower[row, i] or solution.active_upper[row, i]:
                remarks.append(text)
    if quantities["froude_number"][i] > DATA_FROUDE_RANGE[1]:
        remarks.append(f"hull resistance extended past Fn {DATA_FROUDE_RANGE[1]}")
    return "; ".join(remarks)


def _assembled(
    boats: Sequence[Boat], conditions: Conditions, batches: Sequence[_Batch], reports: Sequence[_Report]
) -> Solved:
    """All batches in the order of the conditions, over all their components, quantities and strips."""
    count = len(conditions)
    components = tuple(dict.fromkeys(name for report in reports for name in report.components))
    media = dict(pair for report in reports for pair in zip(report.components, report.medium, strict=True))
    names = tuple(dict.fromkeys(name for report in reports for name in report.quantities))
    force, moment = np.zeros((2, len(components), 3, count))
    quantities = {name: np.full(count, np.nan) for name in names}
    reason, remark = np.full((2, count), "", dtype=object)
    status, iterations = np.zeros((2, count), dtype=np.int64)
    constraint_error, optimality_error, closes = np.zeros((3, count))
    for batch, report in zip(batches, reports, strict=True):
        at = batch.places
        for row, name in enumerate(report.components):
            force[components.index(name)][:, at] = report.force[row]
            moment[components.index(name)][:, at] = report.moment[row]
        for name, value in report.quantities.items():
            quantities[name][at] = value
        reason[at], remark[at] = report.reason, report.remark
        status[at], iterations[at] = report.status, report.solution.iterations
        constraint_error[at], optimality_error[at] = (
            report.solution.constraint_error,
            report.solution.optimality_error,
        )
        closes[at] = report.closure
    return Solved(
        boats=tuple(boats),
        conditions=conditions,
        branch=np.full(count, "hull-borne"),
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


def _assembled_strips(count: int, batches: Sequence[_Batch], reports: Sequence[_Report]) -> Strips:
    """Strips of all batches; where boats differ in their number, each sail has as many rows as the largest,
    the rest NaN.
    """
    most: dict[str, int] = {}
    for report in reports:
        for name in dict.fromkeys(report.strips.sail):
            most[name] = max(most.get(name, 0), report.strips.sail.count(name))
    sails = tuple(name for name, number in most.items() for _ in range(number))
    fields = ("height", "x", "width", "forward", "leeward", "incidence", "lift_coefficient")
    arrays = {field: np.full((len(sails), count), np.nan) for field in fields}
    for batch, report in zip(batches, reports, strict=True):
        for name in dict.fromkeys(report.strips.sail):
            here = np.flatnonzero(np.array(report.strips.sail) == name)
            there = np.flatnonzero(np.array(sails) == name)[: len(here)]
            for field in fields:
                arrays[field][np.ix_(there, batch.places)] = getattr(report.strips, field)[here]
    return Strips(sail=sails, **arrays)
