"""Is there a faster equilibrium than the one that is reported?

    OMP_NUM_THREADS=1 python tests/trust/optimality.py [--count 200] [--scipy-starts 20] [--pre-starts 20]
        [--seed S] [--processes 2] [--commit]

Random conditions that have converged (boats as in trust.py, others of them), on the branch that is reported,
are solved again from 20 starts by `scipy.optimize.minimize`: seven in ten by SLSQP and the rest by
trust-constr, of each every other one from a state at random inside the bounds and the rest from the answer
itself, shaken. They have the package's model, bounds and derivatives, and nothing else of it. Recorded beside
that, a cheaper search from random states by the package's own solver. An end counts where its residuals are
at most 1e-7 and the package would call it a result: inside the models' ranges and closed. Chunks are kept in
out/trust; `--commit` writes the tables of tests/trust/results.
"""

from __future__ import annotations

import argparse
import sys
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.support.in_step import SLSQP, TRUST_CONSTR, minimise_each
from tests.trust import shared
from tests.trust.shared import Answer, Drawn, Floats, Row
from vpp import closure
from vpp.reporting import report
from vpp.solved import SPEED, Conditions
from vpp.solver.interior_point import minimise
from vpp.solver.problem import Settings
from vpp.solver.status import Status
from vpp.trim import SCALES, FastestEquilibrium, kind_of

# Shortfalls [%] that the proof is about: most are to be within the first, none beyond the second.
MOST_WITHIN, NONE_BEYOND = 0.05, 0.2
SHARE_WITHIN = 0.975
RESIDUAL = 1e-7
SLSQP_SHARE = 0.7
# How far a shaken start lies from the answer, over the room between the bounds (standard deviation).
SHAKE = 0.15
MOST_ITERATIONS = 150
# Boats of this proof are counted from here, so that they are others than those of trust.py.
FIRST_BOAT = 1000
CHUNKS = 4


@dataclass(frozen=True, kw_only=True)
class Start:
    """How a search is begun and by what it is done."""

    method: str
    shaken: bool


def starts(count: int) -> list[Start]:
    """The starts of SciPy, in the shares that the proof asks for."""
    by_slsqp = round(SLSQP_SHARE * count)
    methods = [SLSQP] * by_slsqp + [TRUST_CONSTR] * (count - by_slsqp)
    return [Start(method=method, shaken=number % 2 == 1) for number, method in enumerate(methods)]


def chunk(file: str, number: int, picks: int, scipy_starts: int, pre_starts: int, seed: int) -> list[Row]:
    """Some converged conditions of boats of a file: a row each."""
    kinds = shared.kinds(file)
    key = (seed, shared.files().index(file), number)
    chosen = [kinds[i] for i in shared.random((*key, 2)).permutation(len(kinds))[: 2 * picks]]
    boats = [shared.drawn(kind, number, seed=seed) for kind in chosen]
    conditions = shared.conditions_of(len(boats), max(1, -(-2 * picks // len(boats))), key)
    return rows_of(boats, conditions, picks, scipy_starts, pre_starts, key)


def rows_of(
    boats: Sequence[Drawn],
    conditions: Conditions,
    picks: int,
    scipy_starts: int,
    pre_starts: int,
    key: Sequence[int],
) -> list[Row]:
    """A row for each of at most `picks` converged answers, chosen at random: of those that are reported,
    which where a boat can be carried in two ways are those of the better.
    """
    solved, found = shared.answers([each.boat for each in boats], conditions)
    converged = [
        answer
        for answer in found
        if answer.status == Status.CONVERGED and answer.branch == solved.branch[answer.place]
    ]
    order = shared.random((*key, 3)).permutation(len(converged))[:picks]
    groups = defaultdict(list)
    for answer in (converged[i] for i in sorted(order)):
        boat = boats[int(conditions.option[answer.place])].boat
        groups[kind_of(boat, (answer.branch,)), answer.branch, answer.problem.seeks_vmg].append(answer)
    return [
        row
        for group in groups.values()
        for row in _of_group(boats, conditions, group, starts(scipy_starts), pre_starts, key)
    ]


def _of_group(
    boats: Sequence[Drawn],
    conditions: Conditions,
    group: Sequence[Answer],
    how: Sequence[Start],
    pre_starts: int,
    key: Sequence[int],
) -> list[Row]:
    """Rows of answers of one layout, branch and kind of aim."""
    each = len(how) + pre_starts
    places = np.repeat([answer.place for answer in group], each)
    problem = shared.problem_of([drawn.boat for drawn in boats], group[0].branch, conditions.take(places))
    begun = np.concatenate(
        [
            _begin(problem, at * each, answer, how, pre_starts, (*key, answer.place))
            for at, answer in enumerate(group)
        ],
        axis=1,
    )
    by_scipy = np.arange(len(places)) % each < len(how)
    ends = begun.copy()
    methods = [start.method for start in how] * len(group)
    if len(how):
        cases = np.flatnonzero(by_scipy)
        ends[:, by_scipy] = minimise_each(
            problem, cases.tolist(), begun[:, by_scipy], methods, most=MOST_ITERATIONS
        )
    if pre_starts:
        settings = Settings(initial_barrier=1e-2, restoration_starts=1)
        ends[:, ~by_scipy] = minimise(
            problem.select(np.flatnonzero(~by_scipy)), begun[:, ~by_scipy], settings=settings
        ).x
    ends = np.clip(ends, problem.lower, problem.upper)
    objective = _objective(problem, ends)
    names = [f"{start.method} {'shaken' if start.shaken else 'random'}" for start in how] + [
        "own solver random"
    ] * pre_starts
    return [
        _row(
            boats, conditions, answer, problem, ends, objective, np.arange(at * each, (at + 1) * each), names
        )
        for at, answer in enumerate(group)
    ]


def _begin(
    problem: FastestEquilibrium,
    case: int,
    answer: Answer,
    how: Sequence[Start],
    pre_starts: int,
    key: Sequence[int],
) -> Floats:
    """States to start from, (variables, starts), those of SciPy first."""
    states = shared.random_starts(problem, case, len(how) + pre_starts, key)
    lower, upper = problem.lower[:, case], problem.upper[:, case]
    rng = shared.random((*key, 4))
    for number, start in enumerate(how):
        if start.shaken:
            moved = answer.x + SHAKE * (upper - lower) * rng.standard_normal(len(lower))
            states[:, number] = np.clip(moved, lower + 0.01 * (upper - lower), upper - 0.01 * (upper - lower))
    return states


def _objective(problem: FastestEquilibrium, x: Floats) -> Floats:
    """The objective of those states that are results; infinite of others."""
    with np.errstate(all="ignore"):
        solution = shared.as_solution(problem, x)
        close = solution.constraint_error <= RESIDUAL
        made = report(problem, solution)
    good = close & (made.status == Status.CONVERGED) & (made.closure <= closure.TOLERANCE)
    return np.where(good, solution.objective, np.inf)


def _row(
    boats: Sequence[Drawn],
    conditions: Conditions,
    answer: Answer,
    problem: FastestEquilibrium,
    ends: Floats,
    objective: Floats,
    here: NDArray[np.intp],
    names: Sequence[str],
) -> Row:
    unit = SCALES["boat_speed"] / shared.KNOT
    scipy = np.array([not name.startswith("own") for name in names])
    of_scipy, of_own = (objective[here[mask]].min(initial=np.inf) for mask in (scipy, ~scipy))
    best = here[objective[here].argmin()]
    least = objective[best]
    shortfall = 100.0 * (answer.objective - least) / abs(least) if np.isfinite(least) else 0.0
    better = shortfall > MOST_WITHIN
    return {
        **boats[int(conditions.option[answer.place])].row,
        **shared.in_words(conditions, answer.place),
        "branch": answer.branch,
        "made_good_kn": f"{-answer.objective * unit:.6f}",
        "scipy_kn": f"{-of_scipy * unit:.6f}" if np.isfinite(of_scipy) else "",
        "own_solver_kn": f"{-of_own * unit:.6f}" if np.isfinite(of_own) else "",
        "starts_that_ended_well": f"{int(np.isfinite(objective[here]).sum())}/{len(here)}",
        "winner": names[int(best - here[0])]
        if np.isfinite(least) and least < answer.objective
        else "package",
        "shortfall_percent": f"{max(shortfall, 0.0):.5f}",
        "verdict": "beyond" if shortfall > NONE_BEYOND else "slower" if better else "within",
        "better_state": shared.shown_state(problem, ends[:, best]) if better else "",
        "own_state": shared.shown_state(problem, answer.x) if better else "",
    }


def summary(rows: Sequence[Row]) -> list[Row]:
    """Numbers by boat file and over all."""
    groups = {
        file: [row for row in rows if row["file"] == file]
        for file in dict.fromkeys(row["file"] for row in rows)
    }
    return [_counts(file, part) for file, part in {**groups, "all": list(rows)}.items()]


def _counts(file: str, rows: Sequence[Row]) -> Row:
    falls = np.array([float(row["shortfall_percent"]) for row in rows])
    return {
        "file": file,
        "conditions": len(rows),
        "within_0.05_percent": int((falls <= MOST_WITHIN).sum()),
        "beyond_0.2_percent": int((falls > NONE_BEYOND).sum()),
        "largest_shortfall_percent": f"{falls.max(initial=0.0):.4f}",
        "at_fixed_angle": sum(row["aim"] == SPEED for row in rows),
    }


def main() -> None:
    """Run, print and, where asked, write the tables."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--count", type=int, default=200)
    parser.add_argument("--scipy-starts", type=int, default=20)
    parser.add_argument("--pre-starts", type=int, default=20)
    parser.add_argument("--seed", type=int, default=shared.SEED)
    parser.add_argument("--processes", type=int, default=1)
    parser.add_argument("--files", nargs="*", default=shared.files(), help="boat files, without .toml")
    parser.add_argument("--commit", action="store_true", help="write tests/trust/results")
    given = parser.parse_args()
    kinds = {file: len(shared.kinds(file)) for file in given.files}
    all_kinds = sum(kinds.values())
    chunks = []
    for file, count in kinds.items():
        quota = -(-given.count * count // all_kinds)
        parts = min(CHUNKS, quota)
        for number in range(parts):
            picks = quota // parts + (number < quota % parts)
            work = (file, FIRST_BOAT + number, picks, given.scipy_starts, given.pre_starts, given.seed)
            chunks.append((f"{file}_{number}", work))
    run = f"optimality_{given.seed}_{given.count}_{given.scipy_starts}_{given.pre_starts}"
    rows = shared.run_chunks(run, chunks, chunk, given.processes)
    counted = summary(rows)
    shared.table([list(counted[0]), *(list(row.values()) for row in counted)])
    for row in rows:
        if row["verdict"] != "within":
            print({name: value for name, value in row.items() if value != ""})
    share = sum(row["verdict"] == "within" for row in rows) / len(rows)
    print(f"{100.0 * share:.1f} % within {MOST_WITHIN} %; {100.0 * SHARE_WITHIN} % are asked for")
    if given.commit:
        shared.write(shared.RESULTS / "optimality.csv", rows)
        shared.write(
            shared.RESULTS / "optimality_summary.csv", [{"seed": given.seed, **row} for row in counted]
        )


if __name__ == "__main__":
    main()
