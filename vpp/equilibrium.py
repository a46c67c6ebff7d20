"""The fastest equilibrium of every condition: boats in batches, solved from the starts that they need."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import dataclass, replace
from multiprocessing import get_context

import numpy as np
from numpy.typing import NDArray

from vpp import balance
from vpp.boat import Boat
from vpp.reporting import assembled, report
from vpp.solved import DOWNWIND, SPEED, Conditions, Solved
from vpp.solver.interior_point import minimise
from vpp.solver.problem import Settings, Solution
from vpp.solver.status import Status
from vpp.trim import FastestEquilibrium, Start, freedom, ranges, start

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
    reports = [report(batch.problem, solution) for batch, solution in zip(batches, solutions, strict=True)]
    return assembled(boats, conditions, [batch.places for batch in batches], reports)


def _solve_in_turn(batches: Sequence[_Batch], progress: Progress | None) -> list[Solution]:
    total = sum(len(batch.places) for batch in batches)
    solutions: list[Solution] = []
    done = 0
    for batch in batches:

        def tell(finished: int, _: int, before: int = done) -> None:
            if progress is not None:
                progress(before + finished, total)

        solutions.append(_solve_batch(batch.problem, tell))
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
        part = replace(conditions.take(places), option=renumbered)
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
