"""How fast the solver is, and against what: prints a table. Not a test, and not collected.

    OMP_NUM_THREADS=1 python tests/benchmarks/bench_solver.py [SAMPLE]

The default grid of the demo keelboat is solved as one batch. A sample of SAMPLE of its conditions (12 unless
given) is also solved one at a time by `scipy.optimize.minimize(method="SLSQP")`: the same model, bounds,
start and tolerances, with the package's derivatives and with SLSQP's own difference quotients. SLSQP needs
no second derivatives; the package's derivative call brings them all the same, and the time of that is part
of what is compared.
"""

from __future__ import annotations

import argparse
import resource
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize

sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.support import keelboat
from vpp import equilibrium, trim
from vpp.solved import Conditions
from vpp.solver.interior_point import minimise
from vpp.solver.problem import Settings
from vpp.solver.status import Status

Floats = NDArray[np.float64]

TOLERANCE = Settings()
# SLSQP stops on its own measure; a point counts as converged if it says so and its residuals are below this.
SLSQP_RESIDUAL = 1e-7


@dataclass(frozen=True, kw_only=True)
class OneByOne:
    """What SLSQP did with the sample."""

    name: str
    seconds: float
    converged: int
    count: int
    slower_answers: int
    evaluations: float

    @property
    def milliseconds(self) -> float:
        """Per converged condition."""
        return 1e3 * self.seconds / max(self.converged, 1)


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description="Time the solver on the demo keelboat's default grid.")
    parser.add_argument("sample", nargs="?", type=int, default=12, help="conditions given to SLSQP")
    sample = parser.parse_args().sample
    boat = keelboat.base()
    conditions = keelboat.grid(tws_kn=range(6, 25, 2), twa_deg=range(30, 171, 5), best_vmg=True)
    equilibrium.solve(
        [boat], keelboat.conditions(tws_kn=10, twa_deg=90)
    )  # imports and index plans out of the way

    begun = time.perf_counter()
    solved = equilibrium.solve([boat], conditions)
    seconds = time.perf_counter() - begun
    converged = int((solved.status == Status.CONVERGED).sum())
    per_condition = 1e3 * seconds / converged
    _line("conditions", f"{len(conditions)}")
    _line("wall time, s", f"{seconds:.2f}")
    _line("conditions a second", f"{len(conditions) / seconds:.0f}")
    _line("share converged", f"{converged / len(conditions):.3f}")
    _line("iterations, median and largest", f"{np.median(solved.iterations):.0f}, {solved.iterations.max()}")
    _line("ms a converged condition, all starts", f"{per_condition:.2f}")
    for code in np.unique(solved.status[solved.status != Status.CONVERGED]):
        _line(f"not converged, {Status(code).name.lower()}", f"{(solved.status == code).sum()}")

    at_speed = conditions.aim == "speed"
    problem = keelboat.problem([boat], _part(conditions, np.flatnonzero(at_speed)))
    for count in (256, 1):
        model, derivative = _evaluation_times(problem, count)
        _line(f"µs a condition of one model evaluation, {count} together", f"{1e6 * model:.1f}")
        _line(f"µs a condition of one derivative evaluation, {count} together", f"{1e6 * derivative:.1f}")

    good = np.flatnonzero(at_speed & (solved.status == Status.CONVERGED))
    places = good[np.linspace(0, len(good) - 1, min(sample, len(good))).astype(int)]
    _compare(boat, _part(conditions, places), solved.quantities["boat_speed"][places], per_condition)
    _line("peak memory, MiB", f"{resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0:.0f}")


def _compare(boat: Any, conditions: Conditions, best: Floats, per_condition: float) -> None:
    problem = keelboat.problem([boat], conditions)
    x = trim.start(problem, _first_start())
    begun = time.perf_counter()
    together = minimise(problem, x)
    batch = 1e3 * (time.perf_counter() - begun)
    same = int((together.status == Status.CONVERGED).sum())
    _line(f"ms a converged condition, one start, sample of {len(conditions)}", f"{batch / max(same, 1):.2f}")
    for analytic in (True, False):
        slsqp = _one_by_one(problem, x, best, analytic)
        _line(f"SLSQP {slsqp.name}: converged", f"{slsqp.converged} of {slsqp.count}")
        _line(
            f"SLSQP {slsqp.name}: slower than the batch's answer by 0.1 % or more", f"{slsqp.slower_answers}"
        )
        _line(f"SLSQP {slsqp.name}: model evaluations a condition", f"{slsqp.evaluations:.0f}")
        _line(f"SLSQP {slsqp.name}: ms a converged condition", f"{slsqp.milliseconds:.1f}")
        _line(
            f"SLSQP {slsqp.name}: ratio to the grid's, all starts",
            f"{slsqp.milliseconds / per_condition:.0f}",
        )


def _one_by_one(problem: trim.FastestEquilibrium, start: Floats, best: Floats, analytic: bool) -> OneByOne:
    converged = slower = evaluations = 0
    begun = time.perf_counter()
    for i in range(problem.condition_count):
        case = Case(problem, i)
        jac: Any = case.gradient if analytic else None
        constraint: Any = {"type": "eq", "fun": case.residual}
        if analytic:
            constraint["jac"] = case.residual_slopes
        answer = minimize(
            case.objective,
            start[:, i].reshape(-1),
            method="SLSQP",
            jac=jac,
            bounds=list(zip(problem.lower[:, i], problem.upper[:, i], strict=True)),
            constraints=constraint,
            options={"maxiter": TOLERANCE.step_limit, "ftol": TOLERANCE.constraint_tolerance},
        )
        good = bool(answer.success) and np.abs(case.residual(answer.x)).max() < SLSQP_RESIDUAL
        converged += good
        slower += good and -answer.fun * trim.SCALES["boat_speed"] < best[i] * (1.0 - 1e-3)
        evaluations += case.evaluations
    return OneByOne(
        name="with derivatives" if analytic else "with differences",
        seconds=time.perf_counter() - begun,
        converged=converged,
        count=problem.condition_count,
        slower_answers=slower,
        evaluations=evaluations / problem.condition_count,
    )


class Case:
    """One condition as SLSQP wants it. Objective and residuals of one point are evaluated once, as are the
    derivatives.
    """

    def __init__(self, problem: trim.FastestEquilibrium, case: int):
        self.problem, self.case = problem, np.array([case])
        self.evaluations = 0
        self._values = self._remembered(lambda x: problem.values(x[:, None], self.case))
        self.count = problem.equality_count
        nothing = np.zeros((self.count + problem.inequality_count, 1))
        self._derivatives = self._remembered(lambda x: problem.derivatives(x[:, None], self.case, nothing))

    def _remembered(self, function: Callable[[Floats], Any]) -> Callable[[Floats], Any]:
        last: dict[bytes, Any] = {}

        def call(x: Floats) -> Any:
            key = x.tobytes()
            if key not in last:
                last.clear()
                last[key] = function(x)
                self.evaluations += 1
            return last[key]

        return call

    def objective(self, x: Floats) -> float:
        return float(self._values(x).objective[0])

    def residual(self, x: Floats) -> Floats:
        return np.asarray(self._values(x).constraints[: self.count, 0])

    def limits(self, x: Floats) -> Floats:
        return np.asarray(self._values(x).constraints[self.count :, 0])

    def gradient(self, x: Floats) -> Floats:
        return np.asarray(self._derivatives(x).gradient[:, 0])

    def residual_slopes(self, x: Floats) -> Floats:
        return np.asarray(self._derivatives(x).jacobian[: self.count, :, 0])

    def limit_slopes(self, x: Floats) -> Floats:
        return np.asarray(self._derivatives(x).jacobian[self.count :, :, 0])


def _evaluation_times(problem: trim.FastestEquilibrium, count: int) -> tuple[float, float]:
    """Best of five of the time a condition of a model and a derivative evaluation, `count` conditions a
    call.
    """
    cases = np.arange(count) % problem.condition_count
    x = trim.start(problem, _first_start())[:, cases]
    multipliers = np.ones((problem.equality_count, count))
    model = min(_seconds(lambda: problem.values(x, cases)) for _ in range(5))
    derivative = min(_seconds(lambda: problem.derivatives(x, cases, multipliers)) for _ in range(5))
    return model / count, derivative / count


def _seconds(call: Callable[[], Any]) -> float:
    begun = time.perf_counter()
    call()
    return time.perf_counter() - begun


def _first_start() -> trim.Start:
    """The start that `equilibrium.solve` tries first."""
    return next(value for value in vars(equilibrium).values() if isinstance(value, trim.Start))


def _part(conditions: Conditions, places: NDArray[np.intp]) -> Conditions:
    return Conditions(
        option=conditions.option[places],
        tws=conditions.tws[places],
        twa=conditions.twa[places],
        aim=conditions.aim[places],
    )


def _line(name: str, value: str) -> None:
    print(f"{name:<70} {value:>12}")


if __name__ == "__main__":
    main()
