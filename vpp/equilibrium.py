"""The fastest equilibrium of every condition: boats in batches, solved from the starts that they need."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import dataclass, replace
from itertools import pairwise
from multiprocessing import get_context

import numpy as np
from numpy.typing import NDArray

from vpp import fleets
from vpp.boat import Boat
from vpp.fleets import Fleet
from vpp.physics.lifting_line import WakeOperator
from vpp.reporting import Report, assembled, report, taken
from vpp.solved import BRANCHES, DOWNWIND, FOIL_BORNE, HULL_BORNE, SPEED, UPWIND, Conditions, Solved
from vpp.solver.interior_point import minimise
from vpp.solver.problem import Settings, Solution
from vpp.solver.status import Status
from vpp.trim import FastestEquilibrium, Start, branches_of, freedom, mirror_heights, ranges, start

FloatArray = NDArray[np.float64]
Progress = Callable[[int, int], None]

# Upwind and reaching, every start that was tried led to the same optimum. Off the wind each sail may be best
# attached or stalled, full or flat, or eased to its stops, which makes several optima: those conditions are
# solved from all of ATTACHED, EASED, FLAT and MAIN_STALLED and the fastest answer is kept (of 550 conditions
# none was more than 0.31 %, and six more than 0.05 %, slower than the best of 19 starts). There may also be
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
WIDE, WIDER = np.radians(53.0), np.radians(60.0)
# Near the wind that lets it plane a hull may be fastest afloat or planing, and each is an optimum; so are
# several angles of a best VMG in light air, between the humps of the waves. Hulls that plane are solved from
# PLANING as well and, for a best VMG, from the others (of 130 conditions of the demo skiff and its options,
# 52 were more than 0.05 % slower than the best of these and eight random starts before, and one was after).
# The fast ones begin bow up, as a run that rises aft planes: level, they may stay wet to the bow.
BOW_UP = replace(ATTACHED, pitch=np.radians(2.5))
PLANING = replace(BOW_UP, speed_factor=2.0, upwind_angle=np.radians(57.0), downwind_angle=np.radians(125.0))
FULL_WIDE = replace(ATTACHED, camber=0.95, upwind_angle=WIDE, downwind_angle=np.radians(120.0))
FULL_WIDER = replace(FULL_WIDE, upwind_angle=WIDER, downwind_angle=np.radians(115.0))
FAST_WIDE = replace(BOW_UP, speed_factor=1.6, camber=0.4, upwind_angle=WIDE)
# A catamaran may fly a hull or not, and each is an optimum (of 24 conditions these starts found the best of
# random ones in all): it begins with one hull out of the water, and off the wind level and heeled to
# windward besides.
FLYING_HULL = replace(ATTACHED, speed_factor=1.6, heel=0.12, crew_share=0.25)
LEVEL = replace(MAIN_STALLED, speed_factor=1.8, heel=0.0, crew_share=0.5)
LEVEL_BACK = replace(LEVEL, heel=-0.19, crew_share=0.9)
FLYING_BACK = replace(FLYING_HULL, heel=-0.19, crew_share=0.9)
# Boats with foils are solved from several starts on each branch, and the fastest answer is kept. On foils
# (308 conditions of the demo boat, 160 of them with an equilibrium) FLYING missed none, and the better of it
# and FLYING_FLAT was within 0.04 % of the best of five starts; the second is spared where the first ended
# with residuals of more than NEAR. On the hull the sails may be depowered in several ways, and the boat may
# be afloat or half lifted: each is an optimum. At fixed angles (216 conditions of nine options) 209 were
# within 0.01 % of the best that ten starts and the answers of the other options led to; of 36 searches for
# the best VMG upwind in 5 to 8 kn, 30; downwind (42 searches) all were within 0.01 % of the best of ten.
FLYING = replace(ATTACHED, speed_factor=1.3, incidence=(0.14,), twist=0.3, camber=0.2)
FLYING_FLAT = replace(FLYING, speed_factor=1.2, incidence=(0.05,), twist=0.2, camber=0.1)
EASED_WIDE = replace(EASED, upwind_angle=WIDE)
JIB_EASED = replace(ATTACHED, speed_factor=0.8, incidence=(0.14, -0.4), upwind_angle=WIDE)
HALF_LIFTED = replace(ATTACHED, speed_factor=1.6, camber=0.4, upwind_angle=WIDER)
STARTS = {
    (HULL_BORNE, SPEED): (SLOW, JIB_EASED, HALF_LIFTED),
    (HULL_BORNE, UPWIND): (SLOW, JIB_EASED, EASED_WIDE, HALF_LIFTED),
    (HULL_BORNE, DOWNWIND): (ATTACHED, FLAT, HALF_LIFTED),
    (FOIL_BORNE, SPEED): (FLYING,),
    (FOIL_BORNE, UPWIND): (FLYING,),
    (FOIL_BORNE, DOWNWIND): (FLYING,),
}
AGAIN: dict[str, tuple[Start, ...]] = {HULL_BORNE: (), FOIL_BORNE: (FLYING_FLAT,)}
NEAR = 0.1
# Behind every answer, so that a condition without any goes to the first branch.
_UNSOLVED = 1e300
# Large blocks: the last conditions of a block cost as much a step as a hundred.
SOLVER_SETTINGS = Settings(block_size=1024)
# Fewer conditions than this are solved sooner than another process starts; no process gets more of them at a
# time than keeps the others busy.
LEAST_SHARED = 300
MOST_IN_SHARE = 512


# A problem, a start, and the places of the conditions that are solved from it.
_Run = tuple[FastestEquilibrium, Start, NDArray[np.intp]]


@dataclass(frozen=True, kw_only=True)
class _Batch:
    """Conditions that can be solved together: their places in the whole, and the problem they make on each
    branch.
    """

    places: NDArray[np.intp]
    problems: tuple[FastestEquilibrium, ...]

    def take(self, which: NDArray[np.intp]) -> _Batch:
        """Some of the conditions, by their places in the batch."""
        return _Batch(
            places=self.places[which], problems=tuple(problem.select(which) for problem in self.problems)
        )


def solve(
    boats: Sequence[Boat],
    conditions: Conditions,
    *,
    branches: Sequence[str] = BRANCHES,
    processes: int = 1,
    progress: Progress | None = None,
) -> Solved:
    """Fastest equilibrium of every condition; see `Solved`.

    Every one of `branches` that a boat has is solved; the better is reported. A condition that fails keeps
    its place with a status and a reason. With more than one of `processes`, large batches are shared out
    among new Python processes, to the same result; a script that asks for it needs the usual `if __name__ ==
    "__main__":`. `progress(done, total)` is called as conditions finish. Raises ValueError when the
    conditions name a boat that does not exist, one that has none of the branches, or one with sail sets.
    """
    if len(conditions) and (conditions.option.min() < 0 or conditions.option.max() >= len(boats)):
        raise ValueError(f"conditions name boats 0 to {conditions.option.max()}, and there are {len(boats)}")
    undressed = [boats[i].name for i in np.unique(conditions.option) if boats[i].sail_sets]
    if undressed:
        raise ValueError(f"{', '.join(undressed)}: which sails are up is for vpp.wardrobe to choose")
    without = [
        boats[i].name for i in np.unique(conditions.option) if not set(branches) & set(branches_of(boats[i]))
    ]
    if without:
        raise ValueError(f"{', '.join(without)} cannot be {' or '.join(branches)}")
    batches = _batches(boats, conditions, branches)
    if processes > 1 and len(conditions) >= LEAST_SHARED:
        solutions = _solve_shared(batches, processes, progress)
    else:
        solutions = _solve_in_turn(batches, progress)
    places = [batch.places for batch in batches for _ in batch.problems]
    reports = [
        report(problem, solution)
        for batch, found in zip(batches, solutions, strict=True)
        for problem, solution in zip(batch.problems, found, strict=True)
    ]
    return _better(boats, conditions, places, reports)


def _having(boats: Sequence[Boat], conditions: Conditions, branch: str) -> NDArray[np.intp]:
    """Places of the conditions whose boats can be carried in this way."""
    has = np.array([branch in branches_of(boat) for boat in boats])
    return np.flatnonzero(has[conditions.option])


def _better(
    boats: Sequence[Boat],
    conditions: Conditions,
    places: Sequence[NDArray[np.intp]],
    reports: Sequence[Report],
) -> Solved:
    """The better branch of every condition, with each branch beside it where there is more than one."""
    branches = {}
    for branch in dict.fromkeys(found.branch for found in reports):
        here = [(at, found) for at, found in zip(places, reports, strict=True) if found.branch == branch]
        having = np.sort(np.concatenate([at for at, _ in here]))
        branches[branch] = assembled(
            boats,
            conditions.take(having),
            [np.searchsorted(having, at) for at, _ in here],
            [found for _, found in here],
        )
    if len(branches) <= 1:
        return assembled(boats, conditions, places, reports)
    best = np.full(len(conditions), np.inf)
    owner = np.full(len(conditions), -1)
    for number, (at, found) in enumerate(zip(places, reports, strict=True)):
        objective = np.where(found.status == Status.CONVERGED, found.solution.objective, _UNSOLVED)
        won = objective < best[at]
        best[at[won]], owner[at[won]] = objective[won], number
    chosen = [np.flatnonzero(owner[at] == number) for number, at in enumerate(places)]
    solved = assembled(
        boats,
        conditions,
        [at[which] for at, which in zip(places, chosen, strict=True)],
        [taken(found, which) for found, which in zip(reports, chosen, strict=True)],
    )
    return replace(solved, branches=branches, reason=_reasons(solved, branches))


def _reasons(solved: Solved, branches: Mapping[str, Solved]) -> NDArray[np.object_]:
    """Why a condition has no result: what each branch says, where its boat has more than one."""
    told: list[list[str]] = [[] for _ in solved.status]
    for branch, found in branches.items():
        for place, reason in zip(_having(solved.boats, solved.conditions, branch), found.reason, strict=True):
            told[place].append(f"{branch}: {str(reason).rstrip('.')}")
    reasons = solved.reason.copy()
    for place in np.flatnonzero(solved.status != Status.CONVERGED):
        if len(told[place]) > 1:
            reasons[place] = "; ".join(told[place]) + "."
    return reasons


def _solve_in_turn(batches: Sequence[_Batch], progress: Progress | None) -> list[list[Solution]]:
    total = sum(len(batch.places) for batch in batches)
    solutions: list[list[Solution]] = []
    done = 0
    for batch in batches:

        def tell(finished: int, _: int, before: int = done) -> None:
            if progress is not None:
                progress(before + finished, total)

        solutions.append(_solve_batch(batch, tell))
        done += len(batch.places)
    return solutions


def _solve_shared(
    batches: Sequence[_Batch], processes: int, progress: Progress | None
) -> list[list[Solution]]:
    """Every batch dealt out to processes in shares, each of conditions from all over the batch."""
    total, done = sum(len(batch.places) for batch in batches), 0
    parts: list[list[tuple[NDArray[np.intp], list[Solution]]]] = [[] for _ in batches]
    with ProcessPoolExecutor(max_workers=processes, mp_context=get_context("spawn")) as pool:
        waiting = {}
        for number, batch in enumerate(batches):
            shares = processes * -(-len(batch.places) // (processes * MOST_IN_SHARE))
            for first in range(min(shares, len(batch.places))):
                places = np.arange(first, len(batch.places), shares)
                waiting[pool.submit(_solve_batch, batch.take(places))] = (number, places)
        for future in as_completed(waiting):
            number, places = waiting[future]
            parts[number].append((places, future.result()))
            done += len(places)
            if progress is not None:
                progress(done, total)
    return [_joined(part) for part in parts]


def _joined(parts: Sequence[tuple[NDArray[np.intp], list[Solution]]]) -> list[Solution]:
    """One solution a branch from those of shares, each with its places."""
    order = np.argsort(np.concatenate([places for places, _ in parts]))
    shares = zip(*(found for _, found in parts), strict=True)
    return [_rearranged(of_branch, order) for of_branch in shares]


def _rearranged(parts: Sequence[Solution], order: NDArray[np.intp]) -> Solution:
    """Solutions one after the other, then in an order."""
    return Solution(
        **{
            name: np.concatenate([vars(part)[name] for part in parts], axis=-1)[..., order]
            for name in vars(parts[0])
        }
    )


def _batches(boats: Sequence[Boat], conditions: Conditions, branches: Sequence[str]) -> list[_Batch]:
    """Conditions grouped by what their boats share and by whether the wind angle is free, in order of first
    appearance.
    """
    keys = [
        _batch_key(boats[option], aim, branches)
        for option, aim in zip(conditions.option, conditions.aim, strict=True)
    ]
    batches = []
    for key in dict.fromkeys(keys):
        places = np.flatnonzero([other == key for other in keys])
        used = sorted(set(conditions.option[places].tolist()))
        members = [boats[i] for i in used]
        part = replace(conditions.take(places), option=np.searchsorted(used, conditions.option[places]))
        fleet = fleets.fleet(members)
        problems = tuple(
            FastestEquilibrium(_on_branch(fleet, members, branch), freedom(members, branch), part)
            for branch in branches
            if branch in branches_of(members[0])
        )
        batches.append(_Batch(places=places, problems=problems))
    return batches


def _on_branch(fleet: Fleet, members: Sequence[Boat], branch: str) -> Fleet:
    """The boats with their sails mirrored in the water as they ride above it."""
    if not fleet.layout.heaves:
        return fleet
    return fleet.mirrored(members, [mirror_heights(boat, branch) for boat in members])


def _batch_key(boat: Boat, aim: str, branches: Sequence[str]) -> tuple[object, ...]:
    free = tuple(
        name
        for branch in branches_of(boat)
        for name, bound in ranges(boat, branch).items()
        if branch in branches and not bound.is_fixed
    )
    return fleets.layout(boat), branches_of(boat), free, aim != SPEED


def _solve_batch(batch: _Batch, progress: Progress | None = None) -> list[Solution]:
    """The best answer of the starts that each condition calls for, on each branch."""
    if any(problem.inequality_count for problem in batch.problems):
        return _solve_together(batch.problems, progress)
    return [_solve_afloat(problem, progress) for problem in batch.problems]


def _solve_afloat(problem: FastestEquilibrium, progress: Progress | None) -> Solution:
    """As `_solve_batch`, start after start, for a boat without foils."""
    conditions = problem.conditions
    runs = conditions.aim == DOWNWIND
    off_the_wind = runs | (conditions.twa > OFF_THE_WIND)
    two_hulls = problem.layout.hull.hulls > 1
    solution = _from(problem, FLYING_HULL if two_hulls else ATTACHED, progress)
    for how, called_for in (
        (EASED, off_the_wind),
        (FLAT, off_the_wind),
        (MAIN_STALLED, off_the_wind),
        *((how, off_the_wind) for how in (LEVEL, LEVEL_BACK, FLYING_BACK) if two_hulls),
        (STALLED, runs),
        *_starts_to_plane(problem),
        (SLOW, np.zeros_like(runs)),
    ):
        places = np.flatnonzero(called_for | (solution.status != Status.CONVERGED))
        if len(places):
            solution = _with_better(solution, _from(problem.select(places), how), places)
    return solution


def _starts_to_plane(problem: FastestEquilibrium) -> tuple[tuple[Start, NDArray[np.bool_]], ...]:
    """More starts for hulls that plane, each with the conditions that call for it; none for others."""
    if problem.layout.hull.model != "planing_prism":
        return ()
    aim = problem.conditions.aim
    asked = (
        (PLANING, np.ones(len(aim), dtype=bool)),
        (FULL_WIDE, aim != SPEED),
        (FULL_WIDER, aim != SPEED),
        (FAST_WIDE, aim != SPEED),
        (FLAT, aim == UPWIND),
    )
    return tuple((how, called_for) for how, called_for in asked if called_for.any())


def _solve_together(problems: Sequence[FastestEquilibrium], progress: Progress | None) -> list[Solution]:
    """As `_solve_batch`, for boats with foils: first from the starts of each branch and aim, then from those
    of `AGAIN` where the first round found an answer or came near one.
    """
    first = [run for problem in problems for run in _runs(problem)]
    found = list(zip(first, _from_each(first, progress), strict=True))
    best = {}
    for problem in problems:
        parts = [(places, answer) for (of, _, places), answer in found if of is problem]
        best[problem.free.branch] = _best_of(parts)
    again = [
        (problem, how, np.flatnonzero(best[problem.free.branch].constraint_error < NEAR))
        for problem in problems
        for how in AGAIN[problem.free.branch]
    ]
    again = [each for each in again if len(each[2])]
    for (problem, _, places), answer in zip(again, _from_each(again, None), strict=True):
        best[problem.free.branch] = _with_better(best[problem.free.branch], answer, places)
    return [best[problem.free.branch] for problem in problems]


def _runs(problem: FastestEquilibrium) -> list[_Run]:
    """The starts that the conditions of each aim call for."""
    aims = problem.conditions.aim
    return [
        (problem, how, np.flatnonzero(aims == aim))
        for aim in dict.fromkeys(aims.tolist())
        for how in STARTS[problem.free.branch, aim]
    ]


def _best_of(parts: Sequence[tuple[NDArray[np.intp], Solution]]) -> Solution:
    """The best answer of each condition, from solutions of some of them each that leave none out."""
    places = np.concatenate([at for at, _ in parts])
    _, first = np.unique(places, return_index=True)
    best = _rearranged([answer for _, answer in parts], first)
    for at, answer in parts:
        best = _with_better(best, answer, at)
    return best


def _from_each(runs: Sequence[_Run], progress: Progress | None) -> list[Solution]:
    """Solutions of problems at some of their conditions from a start each: all in one batch, because a batch
    of few conditions takes hardly longer than one of four times as many. The problems differ in bounds and in
    the water's mirror alone, and all starts have the barrier of ATTACHED.
    """
    if not runs:
        return []
    cases = [(problem.select(places).up_to(how.downwind_end), how) for problem, how, places in runs]
    together = runs[0][0].select(np.concatenate([places for _, _, places in runs]))
    together.lower = np.concatenate([problem.lower for problem, _ in cases], axis=-1)
    together.upper = np.concatenate([problem.upper for problem, _ in cases], axis=-1)
    together.wake = _joined_wake([problem for problem, _ in cases])
    x = np.concatenate([start(problem, how) for problem, how in cases], axis=-1)
    settings = replace(SOLVER_SETTINGS, initial_barrier=ATTACHED.barrier, restoration_starts=1)
    solution = minimise(together, x, settings=settings, on_progress=_shared_out(progress, len(cases)))
    sizes = [len(places) for _, _, places in runs]
    _mark_ends(together, solution, np.repeat([how.downwind_end for _, how in cases], sizes))
    ends = np.cumsum([0, *sizes])
    return [_rearranged([solution], np.arange(a, b)) for a, b in pairwise(ends)]


def _joined_wake(problems: Sequence[FastestEquilibrium]) -> WakeOperator:
    """The wakes of all conditions, one problem after the other; those of a fleet are held once."""
    fleets = list({id(problem.fleet): problem.fleet for problem in problems}.values())
    first = dict(
        zip(map(id, fleets), np.cumsum([0, *(len(fleet.wake) for fleet in fleets[:-1])]), strict=True)
    )
    heights = [fleet.mirrored_from for fleet in fleets if fleet.mirrored_from is not None]
    return WakeOperator(
        coefficients=np.concatenate([fleet.wake for fleet in fleets]),
        mirrored_from=np.concatenate(heights) if heights else None,
        boat=np.concatenate([problem.wake.boat + first[id(problem.fleet)] for problem in problems]),
    )


def _shared_out(progress: Progress | None, starts: int) -> Progress | None:
    """Progress of conditions from that of conditions and starts."""
    if progress is None:
        return None
    return lambda done, total: progress(done // starts, total // starts)


def _from(problem: FastestEquilibrium, how: Start, progress: Progress | None = None) -> Solution:
    # looking for feasibility from more states is left to the last start: the others are followed by one
    # another
    searches = SOLVER_SETTINGS.restoration_starts if how is SLOW else 1
    settings = replace(SOLVER_SETTINGS, initial_barrier=how.barrier, restoration_starts=searches)
    narrowed = problem.up_to(how.downwind_end)
    solution = minimise(narrowed, start(narrowed, how), settings=settings, on_progress=progress)
    _mark_ends(problem, solution, np.full(problem.condition_count, how.downwind_end))
    return solution


def _mark_ends(problem: FastestEquilibrium, solution: Solution, downwind_end: FloatArray) -> None:
    """A best VMG downwind that leans on the end of a search cut short is none."""
    if not problem.seeks_vmg:
        return
    cut_short = (problem.conditions.aim == DOWNWIND) & (downwind_end < np.pi)
    at_end = solution.active_upper[problem.names.index("twa")] & cut_short
    solution.status[at_end & (solution.status == Status.CONVERGED)] = Status.LIMIT_REACHED


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
