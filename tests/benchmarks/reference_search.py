"""Are verdicts of "no equilibrium" right? Prints a table. Not a test, and not collected.

    OMP_NUM_THREADS=1 python tests/benchmarks/reference_search.py [COUNT] [STARTS]

COUNT random conditions (60 unless given; 4 to 24 kn, 35 to 180 deg) of the demo boat on foils are solved as
the package does on both branches. Each one without an answer is searched by SciPy from STARTS random states
(6 unless given).
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.support import foiler, keelboat
from tests.support.reference_search import FEASIBLE, search
from vpp import equilibrium
from vpp.solved import BRANCHES
from vpp.solver.status import Status

SEED = 20


def main() -> None:
    """Solve, search and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("count", nargs="?", type=int, default=60)
    parser.add_argument("starts", nargs="?", type=int, default=6)
    arguments = parser.parse_args()
    rng = np.random.default_rng(SEED)
    tws, twa = rng.uniform(4.0, 24.0, arguments.count), rng.uniform(35.0, 180.0, arguments.count)
    asked = keelboat.conditions(tws_kn=tws, twa_deg=twa)
    for branch in BRANCHES:
        solved = equilibrium.solve([foiler.base()], asked, branches=(branch,))
        without = np.flatnonzero(solved.status != Status.CONVERGED)
        print(f"{branch}: {len(tws) - len(without)} of {len(tws)} converged")
        problem = foiler.problem(asked, branch)
        missed = 0
        for case in without:
            found = search(problem, int(case), starts=arguments.starts, seed=SEED)
            if found.residual <= FEASIBLE:
                missed += 1
            print(
                f"  {tws[case]:5.1f} kn {twa[case]:5.0f} deg {_word(solved.status[case])} "
                f"least residual {found.residual:.1e} in {found.evaluations} evaluations"
            )
        print(f"{branch}: {missed} of {len(without)} have a feasible state after all")


def _word(status: int) -> str:
    return f"{Status(int(status)).name.lower():20}"


if __name__ == "__main__":
    main()
