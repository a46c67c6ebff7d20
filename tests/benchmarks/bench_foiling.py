"""How fast the boat on foils is solved, and against what: prints a table. Not a test, and not collected.

    OMP_NUM_THREADS=1 python tests/benchmarks/bench_foiling.py [SAMPLE]

The default grid of the demo boat on foils is solved on both branches in one process. A sample of SAMPLE of
its foil-borne conditions (4 unless given) is also solved one at a time by
`scipy.optimize.minimize(method="SLSQP")`: the same model, bounds, limits, start and tolerances, from one
start, with the package's derivatives (which bring second derivatives that SLSQP does not need).
"""

from __future__ import annotations

import argparse
import resource
import sys
import time
from pathlib import Path

import numpy as np
from scipy.optimize import minimize

sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.benchmarks.bench_solver import SLSQP_RESIDUAL, TOLERANCE, Case
from tests.support import foiler, keelboat
from vpp import config, equilibrium, fleets, trim
from vpp.solved import FOIL_BORNE, Solved
from vpp.solver.status import Status


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(
        description="Time the solver on the default grid of the demo boat on foils."
    )
    parser.add_argument("sample", nargs="?", type=int, default=4, help="conditions given to SLSQP")
    sample = parser.parse_args().sample
    boat = config.load(foiler.FILE).boat("base")
    conditions = keelboat.grid(tws_kn=range(6, 25, 2), twa_deg=range(30, 171, 5), best_vmg=True)
    equilibrium.solve([boat], keelboat.conditions(tws_kn=10, twa_deg=90))  # imports out of the way

    begun = time.perf_counter()
    solved = equilibrium.solve([boat], conditions)
    seconds = time.perf_counter() - begun
    _line("conditions", f"{len(conditions)}")
    _line("wall time, s", f"{seconds:.1f}")
    _line("conditions a second, both branches", f"{len(conditions) / seconds:.1f}")
    _line("share converged on either branch", f"{_share(solved):.3f}")
    for name, branch in solved.branches.items():
        good = branch.status == Status.CONVERGED
        _line(f"{name}: share converged", f"{good.mean():.3f}")
        _line(
            f"{name}: iterations of all starts, median converged", f"{np.median(branch.iterations[good]):.0f}"
        )
        _line(f"{name}: the same of the rest", f"{np.median(branch.iterations[~good]):.0f}")
    _line("largest closure error", f"{np.nanmax(solved.closure[solved.status == Status.CONVERGED]):.1e}")

    branch = solved.branches[FOIL_BORNE]
    good = np.flatnonzero((branch.status == Status.CONVERGED) & (branch.conditions.aim == "speed"))
    places = good[np.linspace(0, len(good) - 1, min(sample, len(good))).astype(int)]
    asked = branch.conditions.take(places)
    fleet = fleets.fleet([boat]).mirrored([boat], [trim.mirror_heights(boat, FOIL_BORNE)])
    problem = trim.FastestEquilibrium(fleet, trim.freedom([boat], FOIL_BORNE), asked)
    _slsqp(problem, branch.quantities["boat_speed"][places], 1e3 * seconds / len(conditions))
    _line("peak memory, MiB", f"{resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0:.0f}")


def _slsqp(problem: trim.FastestEquilibrium, best: np.ndarray, per_condition: float) -> None:
    start = trim.start(problem, equilibrium.FLYING)
    converged = slower = 0
    begun = time.perf_counter()
    for i in range(problem.condition_count):
        case = Case(problem, i)
        answer = minimize(
            case.objective,
            start[:, i].reshape(-1),
            method="SLSQP",
            jac=case.gradient,
            bounds=list(zip(problem.lower[:, i], problem.upper[:, i], strict=True)),
            constraints=[
                {"type": "eq", "fun": case.residual, "jac": case.residual_slopes},
                {"type": "ineq", "fun": case.limits, "jac": case.limit_slopes},
            ],
            options={"maxiter": TOLERANCE.step_limit, "ftol": TOLERANCE.constraint_tolerance},
        )
        good = bool(answer.success) and np.abs(case.residual(answer.x)).max() < SLSQP_RESIDUAL
        converged += good
        slower += good and -answer.fun * trim.SCALES["boat_speed"] < best[i] * (1.0 - 1e-3)
    milliseconds = 1e3 * (time.perf_counter() - begun) / max(converged, 1)
    _line("SLSQP, one start, foil-borne: converged", f"{converged} of {problem.condition_count}")
    _line("SLSQP: slower than the batch's answer by 0.1 % or more", f"{slower}")
    _line("SLSQP: ms a converged condition", f"{milliseconds:.0f}")
    _line("SLSQP: ratio to the grid's, both branches and all starts", f"{milliseconds / per_condition:.1f}")


def _share(solved: Solved) -> float:
    return float((solved.status == Status.CONVERGED).mean())


def _line(name: str, value: str) -> None:
    print(f"{name:<70} {value:>12}", flush=True)


if __name__ == "__main__":
    main()
