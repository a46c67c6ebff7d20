"""How fast the rig of each demo boat is evaluated, and against what: prints a table. Not a test, and not
collected.

    OMP_NUM_THREADS=1 python tests/benchmarks/bench_rig.py [CONDITIONS [SAMPLE]]

CONDITIONS states in one batch (1000 unless given) at wind angles of 35 to 160 deg, boat speeds near those
sailed and sheets, twists and cambers from luffing to stalled. Times are the least of several repeats of the
process's own time. The circulation of a SAMPLE (20 unless given) is also found one condition at a time by
`scipy.optimize.root` from the same equations, from no circulation at all.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from scipy.optimize import root

sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.support import foiler, keelboat
from vpp import balance, config, trim
from vpp.physics import sails
from vpp.physics.lifting_line import BOUND, StripFlow, circulation, lifting_speed
from vpp.physics.sections import shed_lift
from vpp.solved import FOIL_BORNE, HULL_BORNE
from vpp.solver import jets

REPEATS = 9
BOATS = {"keelboat": (keelboat.FILE, HULL_BORNE), "boat on foils": (foiler.FILE, FOIL_BORNE)}


@dataclass(frozen=True)
class Rig:
    """A problem, states of it and one batch of conditions."""

    problem: trim.FastestEquilibrium
    states: np.ndarray

    def flow(self, x: Any, cases: np.ndarray) -> StripFlow:
        """The flow at every strip, of variables with or without derivatives."""
        values = self.problem.named(x, cases)
        state = trim.state_from(values, self.problem.layout)
        return sails.strip_flow(
            geometry=self.problem.of(cases)[0].rig,
            sails=self.problem.layout.slices,
            trims=state.trims,
            wind=self.problem.wind(values, cases),
            boat_speed=state.boat_speed,
            leeway=state.leeway,
            heel=state.heel,
        )


def rig(name: str, count: int) -> Rig:
    """States of a demo boat with its own stations."""
    file, branch = BOATS[name]
    boat = config.load(file).boat("base")
    rng = np.random.default_rng(3)
    twa_deg = rng.uniform(35.0, 160.0, count)
    of = keelboat.conditions(tws_kn=rng.uniform(6.0, 22.0, count), twa_deg=twa_deg)
    (fleet,) = trim.fleets_on([boat], [branch])
    problem = trim.FastestEquilibrium(fleet, trim.freedom([boat], branch), of)
    states = keelboat.random_states(problem, seed=1)
    hull_speed = 3.5 * np.tanh(of.tws * (0.4 + 0.6 * np.sin(of.twa)) / 3.5)
    speed = hull_speed if branch == HULL_BORNE else np.clip(1.5 * of.tws, 9.0, 18.0)
    beta = np.arctan2(of.tws * np.sin(of.twa), of.tws * np.cos(of.twa) + speed)
    for row, variable in enumerate(problem.names):
        if variable == "boat_speed":
            states[row] = speed / problem.scale[row]
        elif variable.endswith("sheet"):
            states[row] = (beta - np.radians(rng.uniform(0.0, 14.0, count))) / problem.scale[row]
        elif variable.endswith("twist"):
            states[row] = np.radians(rng.uniform(2.0, 12.0, count)) / problem.scale[row]
    return Rig(problem, np.clip(states, problem.lower, problem.upper))


def microseconds(work: Callable[[], Any], count: int, repeats: int = REPEATS) -> float:
    """Least time a condition."""
    work()
    least = np.inf
    for _ in range(repeats):
        begun = time.process_time()
        work()
        least = min(least, time.process_time() - begun)
    return float(1e6 * least / count)


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description="Time the rigs of the demo boats.")
    parser.add_argument("conditions", nargs="?", type=int, default=1000, help="conditions in a batch")
    parser.add_argument("sample", nargs="?", type=int, default=20, help="conditions given to SciPy")
    asked = parser.parse_args()
    print("microseconds a condition on one core")
    for name in BOATS:
        measure(name, asked.conditions, asked.sample)


def measure(name: str, count: int, sample: int) -> None:
    """Print the parts of one boat."""
    one = rig(name, count)
    cases, x = np.arange(count), tuple(one.states)
    boats, wake = one.problem.of(cases)
    flow = one.flow(x, cases)
    turned = wake.turned(flow.wind_angle)
    gamma = circulation(wake=turned, flow=flow)
    density = boats.air_density
    whole = {"geometry": boats.rig, "operator": wake, "air_density": density}

    def evaluate(flow: StripFlow) -> Any:
        matrix = balance._moment_operator(boats.rig, one.problem.layout.slices)
        return sails.strip_sums(**whole, flow=flow, sums=matrix)

    parts = {
        "flow": microseconds(lambda: one.flow(x, cases), count),
        "operator": microseconds(
            lambda: (wake.turned(flow.wind_angle), wake.turned(flow.wind_angle, BOUND)), count
        ),
        "circulation": microseconds(lambda: circulation(wake=turned, flow=flow), count),
    }
    loads = microseconds(lambda: sails.strip_loads(**whole, flow=flow), count)
    parts["section forces"] = loads - parts["operator"] - parts["circulation"]
    parts["sums"] = microseconds(lambda: evaluate(flow), count) - loads
    plain = microseconds(lambda: evaluate(one.flow(x, cases)), count)
    converged = np.isfinite(gamma).all(axis=0).mean()
    print(f"\n{name}: {len(gamma)} strips, {count} conditions, {converged:.3f} converged")
    for part, value in parts.items():
        _line(part, f"{value:.1f}")
    _line("whole evaluation", f"{plain:.1f}")
    _line("whole evaluation with derivatives", f"{_with_derivatives(one, count):.0f}")
    _scipy(one, sample, parts["operator"] + parts["circulation"])


def _with_derivatives(one: Rig, count: int) -> float:
    """First and second derivatives by all variables, in batches as the solver takes them."""

    def work() -> None:
        for first in range(0, count, trim.MOST_DIFFERENTIATED):
            cases = np.arange(first, min(first + trim.MOST_DIFFERENTIATED, count))
            boats, wake = one.problem.of(cases)
            sails.strip_sums(
                geometry=boats.rig,
                operator=wake,
                flow=one.flow(jets.variables(one.states[:, cases]), cases),
                air_density=boats.air_density,
                sums=balance._moment_operator(boats.rig, one.problem.layout.slices),
            )

    return microseconds(work, count, 3)


def _scipy(one: Rig, sample: int, batch: float) -> None:
    """The same circulation, one condition after the other."""
    found = []
    begun = time.process_time()
    for i in range(sample):
        cases = np.array([i])
        flow = one.flow(tuple(one.states[:, cases]), cases)
        matrix = one.problem.of(cases)[1].at(flow.wind_angle)[0]
        found.append(root(lambda gamma, f=flow, m=matrix: _miss(gamma, f, m), np.zeros(len(matrix) // 2)))
    taken = 1e6 * (time.process_time() - begun) / sample
    flow = one.flow(tuple(one.states[:, :sample]), np.arange(sample))
    wake = one.problem.of(np.arange(sample))[1].turned(flow.wind_angle)
    gamma = circulation(wake=wake, flow=flow)
    good = [answer.success for answer in found]
    apart = [np.abs(answer.x - gamma[:, i]).max() for i, answer in enumerate(found) if answer.success]
    _line("SciPy: converged", f"{sum(good)} of {sample}")
    _line("SciPy: largest difference of a circulation, m2/s", f"{max(apart, default=np.nan):.1e}")
    _line("SciPy: flow, operator and circulation", f"{taken:.0f}")
    _line("SciPy: ratio to operator and circulation of the batch", f"{taken / batch:.0f}")


def _miss(gamma: np.ndarray, flow: StripFlow, matrix: np.ndarray) -> np.ndarray:
    """Circulation less what the flow that it induces makes the strips shed."""
    induced = matrix @ gamma
    across = flow.across[:, 0] + induced[: len(gamma)]
    along = flow.along[:, 0] + induced[len(gamma) :]
    camber = flow.camber[:, 0]
    stall_incidence, stall_width = (np.ravel(value) for value in flow.stall(flow.camber))
    lift, _ = shed_lift(
        incidence=np.arctan2(across, along) - flow.chord_angle[:, 0],
        camber=camber,
        stall_incidence=stall_incidence,
        stall_width=stall_width,
    )
    speed = lifting_speed(along=along, undisturbed_across=flow.across[:, 0])
    return np.asarray(gamma - flow.shedding_chord()[:, 0] * speed * lift)


def _line(name: str, value: str) -> None:
    print(f"  {name:<56} {value:>12}", flush=True)


if __name__ == "__main__":
    main()
