"""What is measured of the solver, each in a process of its own: a function takes what it is given as JSON and
returns numbers that JSON can hold.
"""

from __future__ import annotations

import cProfile
import pstats
import resource
from collections import defaultdict
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from time import perf_counter, process_time
from typing import Any

import numpy as np

from tests.benchmarks import one_by_one
from tests.support import keelboat
from vpp import config, trim, wardrobe
from vpp.boat import Boat
from vpp.polar import WindGrid
from vpp.solved import SPEED, Conditions, Solved
from vpp.solver.status import Status

ROOT = Path(__file__).parents[2]
DEFAULT = WindGrid.parse()
# What the solver asks of the model; time in none of these is time outside model and derivatives.
MODEL_CALLS = ("values", "derivatives")
SLOWER = 5e-4
MOST_FUNCTIONS = 20


def grid(given: dict[str, Any]) -> dict[str, Any]:
    """A boat on a grid: time, convergence, memory, and how the model was called."""
    boat, conditions = _boat(given), _grid(given)
    with _model_calls() as calls:
        begun = process_time()
        solved = wardrobe.solve([boat], conditions)
        seconds = process_time() - begun
    count, converged = len(conditions), _converged(solved)
    return {
        "conditions": count,
        "converged": converged,
        "us_per_condition": 1e6 * seconds / count,
        "us_per_converged": 1e6 * seconds / max(converged, 1),
        "outside": 1.0 - sum(call.seconds for call in calls.values()) / seconds,
        "iterations": sum(int(part.iterations.sum()) for part in _parts(solved)) / count,
        **{name: call.cases / count for name, call in calls.items()},
        **{f"us_of_{name}": 1e6 * call.seconds / max(call.cases, 1) for name, call in calls.items()},
        "branches": {
            branch: _converged(part) / len(part.conditions) for branch, part in solved.branches.items()
        },
        "peak_mib": _peak(resource.RUSAGE_SELF),
    }


def one_by_one_sample(given: dict[str, Any]) -> dict[str, Any]:
    """A sample of the grid's conditions at fixed angles by SLSQP, and how its answers compare."""
    boat, conditions = _boat(given), _grid(given)
    at_angles = np.flatnonzero(conditions.aim == SPEED)
    size = min(given["sample"], len(at_angles))
    places = np.sort(np.random.default_rng(given["seed"]).choice(at_angles, size, replace=False))
    ours = wardrobe.made_good(wardrobe.solve([boat], conditions))[places]
    answers = one_by_one.solve(boat, conditions.take(places))
    speed = np.array([-answer.objective for answer in answers]) * trim.SCALES["boat_speed"]
    good = np.isfinite(speed)
    seconds = sum(answer.seconds for answer in answers)
    return {
        "conditions": size,
        "converged": int(good.sum()),
        "us_per_converged": 1e6 * seconds / int(good.sum()) if good.any() else None,
        "starts": sum(answer.starts for answer in answers) / size,
        "slower": int((good & (speed < ours * (1.0 - SLOWER))).sum()),
        "faster": int((good & (speed > ours * (1.0 + SLOWER))).sum()),
    }


def many(given: dict[str, Any]) -> dict[str, Any]:
    """A boat on a grid as large as wanted, in one process or more."""
    boat, conditions = _boat(given), _fine_grid(given["count"])
    wall, processor = perf_counter(), process_time()
    solved = wardrobe.solve([boat], conditions, processes=given.get("processes", 1))
    processor, wall = process_time() - processor, perf_counter() - wall
    return {
        "conditions": len(conditions),
        "converged": _converged(solved),
        "seconds": wall,
        "us_per_condition": 1e6 * processor / len(conditions),
        "peak_mib": _peak(resource.RUSAGE_SELF),
        "largest_child_mib": _peak(resource.RUSAGE_CHILDREN),
    }


def profile(given: dict[str, Any]) -> dict[str, Any]:
    """Own time by part of the package and by function."""
    boat, conditions = _boat(given), _grid(given)
    profiler = cProfile.Profile()
    profiler.runcall(wardrobe.solve, [boat], conditions)
    functions: Any = pstats.Stats(profiler).stats  # type: ignore[attr-defined]
    whole = sum(own for _, _, own, _, _ in functions.values())
    parts: defaultdict[str, float] = defaultdict(float)
    for (file, _, _), (_, _, own, _, callers) in functions.items():
        if file != "~" or not callers:
            parts[_part(file)] += own
            continue
        # functions in C count as those that call them
        for (caller, _, _), (_, _, its_own, _) in callers.items():
            parts[_part(caller)] += its_own
    top = sorted(functions.items(), key=lambda item: -item[1][2])[:MOST_FUNCTIONS]
    return {
        "conditions": len(conditions),
        "parts": sorted(((name, own / whole) for name, own in parts.items() if own > 0.005 * whole),
                        key=lambda part: -part[1]),
        "functions": [
            (f"{_part(file)}: {name.strip('<>')}", calls / len(conditions), own / whole)
            for (file, _, name), (_, calls, own, _, _) in top
        ],
    }  # fmt: skip


MEASURE: dict[str, Callable[[dict[str, Any]], dict[str, Any]]] = {
    "grid": grid,
    "one_by_one": one_by_one_sample,
    "many": many,
    "profile": profile,
}


def _boat(given: dict[str, Any]) -> Boat:
    """The base boat of a file, after a solve that takes imports and tables made once out of the way."""
    boat = config.load(ROOT / "configs" / f"{given['boat']}.toml").boat("base")
    wardrobe.solve([boat], keelboat.conditions(tws_kn=10, twa_deg=90))
    return boat


def _grid(given: dict[str, Any]) -> Conditions:
    asked = WindGrid.parse(tws=given["tws"], twa=given["twa"])
    return keelboat.grid(tws_kn=asked.tws_kn, twa_deg=asked.twa_deg, best_vmg=True)


def _fine_grid(count: int) -> Conditions:
    """About so many conditions over the range of the default grid, in the same proportion of winds to
    angles.
    """
    winds, angles = len(DEFAULT.tws_kn), len(DEFAULT.twa_deg) + 2
    rows = max(round((count * winds / angles) ** 0.5), 2)
    tws = np.linspace(DEFAULT.tws_kn[0], DEFAULT.tws_kn[-1], rows)
    twa = np.linspace(DEFAULT.twa_deg[0], DEFAULT.twa_deg[-1], max(round(count / rows) - 2, 2))
    return keelboat.grid(tws_kn=tws.tolist(), twa_deg=twa.tolist(), best_vmg=True)


class _Call:
    """How often and how long a function of the problem was called, on how many cases in all."""

    def __init__(self) -> None:
        self.seconds, self.cases = 0.0, 0


@contextmanager
def _model_calls() -> Iterator[dict[str, _Call]]:
    """The solver's calls of the model, counted and timed meanwhile."""
    problem = trim.FastestEquilibrium
    calls = {name: _Call() for name in MODEL_CALLS}
    originals = {name: getattr(problem, name) for name in MODEL_CALLS}
    for name, original in originals.items():
        setattr(problem, name, _timed(original, calls[name]))
    try:
        yield calls
    finally:
        for name, original in originals.items():
            setattr(problem, name, original)


def _timed(original: Callable[..., Any], call: _Call) -> Callable[..., Any]:
    def timed(self: Any, x: Any, cases: Any, *arguments: Any, **named: Any) -> Any:
        begun = process_time()
        try:
            return original(self, x, cases, *arguments, **named)
        finally:
            call.seconds += process_time() - begun
            call.cases += len(cases)

    return timed


def _parts(solved: Solved) -> list[Solved]:
    """Every branch or sail set that was solved."""
    return list((solved.branches or solved.sail_sets or {"": solved}).values())


def _converged(solved: Solved) -> int:
    return int((solved.status == Status.CONVERGED).sum())


def _part(file: str) -> str:
    """The module of a file, or the package that is not this one."""
    path = Path(file)
    if path.is_relative_to(ROOT / "vpp"):
        return str(path.relative_to(ROOT).with_suffix(""))
    for package in ("numpy", "scipy"):
        if package in path.parts:
            return package
    return "others"


def _peak(of: int) -> float:
    return resource.getrusage(of).ru_maxrss / 1024.0
