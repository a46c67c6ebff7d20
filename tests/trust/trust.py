"""Does every condition that has an equilibrium converge, and is every other refused for the right reason?

    OMP_NUM_THREADS=1 python tests/trust/trust.py [--count 3000] [--seed S] [--processes 2] [--commit]

Boats drawn at random, of every kind that the demo boat files hold, are solved in random conditions as the
package does, on every branch. What has not converged is searched from random states by projected
Levenberg-Marquardt (`tests.support.bounded_least_squares`) and, in part, by SciPy. Chunks of the run are kept
in out/trust, and a run that was stopped goes on from there. `--commit` writes the tables of
tests/trust/results.
"""

from __future__ import annotations

import argparse
import sys
from collections import defaultdict
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.support import bounded_least_squares
from tests.support.reference_search import search as scipy_search
from tests.trust import shared
from tests.trust.shared import Answer, Drawn, Floats, Row
from vpp import closure
from vpp.reporting import report
from vpp.solved import Conditions
from vpp.solver.interior_point import minimise
from vpp.solver.problem import Settings
from vpp.solver.status import Status
from vpp.trim import FastestEquilibrium, kind_of

Places = NDArray[np.intp]

RESIDUAL, OPTIMALITY = 1e-8, 1e-6
# Between the tolerance and this, a least residual says neither that there is an equilibrium nor that there is
# none.
CLEARLY = 1e-6
STARTS, MOST_ITERATIONS = 20, 80
# Feasible states, the fastest first, from which an answer that leans on a limit is looked for anew.
FASTEST = 4
SCIPY_STARTS = 3
EACH = 10
CONVERGED, IMPRECISE, MISS, RIGHT = "converged", "imprecise", "miss", "right"
OTHER_EQUATION, DOUBTFUL, UNEXPLAINED = "right, other equation", "doubtful", "unexplained"
OUT_OF_RANGE = "right, only outside the models' range"
VERDICTS = (CONVERGED, RIGHT, OTHER_EQUATION, OUT_OF_RANGE, MISS, IMPRECISE, DOUBTFUL, UNEXPLAINED)
LISTED = (MISS, IMPRECISE, DOUBTFUL, UNEXPLAINED)
LEANS = (Status.LIMIT_REACHED, Status.OUTSIDE_MODEL_RANGE)


def chunk(file: str, number: int, each: int, seed: int, scipy_count: int) -> list[Row]:
    """Boats of every kind of a file, one of each, in random conditions: a row a condition and branch."""
    boats = [shared.drawn(kind, number, seed=seed) for kind in shared.kinds(file)]
    key = (seed, shared.files().index(file), number)
    return rows_of(boats, shared.conditions_of(len(boats), each, key), key, scipy_count)


def rows_of(
    boats: Sequence[Drawn], conditions: Conditions, key: Sequence[int], scipy_count: int
) -> list[Row]:
    """A row for every condition and branch, with its verdict."""
    _, found = shared.answers([each.boat for each in boats], conditions)
    judged = [_row(boats, conditions, answer) for answer in found]
    groups = defaultdict(list)
    for row, answer in zip(judged, found, strict=True):
        if answer.status == Status.CONVERGED:
            row |= _precision(answer)
        else:
            boat = boats[int(conditions.option[answer.place])].boat
            kind = kind_of(boat, (answer.branch,))
            groups[kind, answer.branch, answer.problem.seeks_vmg].append((row, answer))
    for group in groups.values():
        _judge(boats, conditions, group, key)
    rng = shared.random((*key, 1))
    without = [(row, answer) for row, answer in zip(judged, found, strict=True) if _is_empty(row)]
    for at in rng.permutation(len(without))[:scipy_count]:
        row, answer = without[at]
        again = scipy_search(answer.problem, answer.case, starts=SCIPY_STARTS, seed=int(key[0]))
        row["scipy_residual"] = f"{again.residual:.2e}"
        if again.residual <= RESIDUAL:
            row["verdict"] = MISS
    return judged


def _is_empty(row: Row) -> bool:
    return row["status"] == "no_equilibrium" and row["verdict"] in (RIGHT, OTHER_EQUATION)


def _row(boats: Sequence[Drawn], conditions: Conditions, answer: Answer) -> Row:
    boat = boats[int(conditions.option[answer.place])]
    return {
        **boat.row,
        "refused": boat.refused,
        **shared.in_words(conditions, answer.place),
        "branch": answer.branch,
        "status": Status(answer.status).name.lower(),
        "verdict": "",
        "residual": "",
        "first_order": "",
        "closure": f"{answer.closure:.1e}",
        "least_residual": "",
        "its_equation": "",
        "scipy_residual": "",
        "reason": answer.reason,
    }


def _precision(answer: Answer) -> Row:
    """How well a converged answer meets its equations and the first-order conditions, evaluated anew."""
    residual, error = shared.first_order(answer)
    good = residual <= RESIDUAL and error <= OPTIMALITY and answer.closure <= closure.TOLERANCE
    return {
        "verdict": CONVERGED if good else IMPRECISE,
        "residual": f"{residual:.1e}",
        "first_order": f"{error:.1e}",
    }


def _judge(
    boats: Sequence[Drawn], conditions: Conditions, group: Sequence[tuple[Row, Answer]], key: Sequence[int]
) -> None:
    """Search for equilibria of conditions of one layout, branch and kind of aim, and fill in the verdicts."""
    branch = group[0][1].branch
    places = np.repeat([answer.place for _, answer in group], STARTS)
    problem = shared.problem_of([each.boat for each in boats], branch, conditions.take(places))
    start = np.concatenate(
        [
            shared.random_starts(problem, at * STARTS, STARTS, (*key, answer.place))
            for at, (_, answer) in enumerate(group)
        ],
        axis=1,
    )
    found = bounded_least_squares.search(problem, np.arange(len(places)), start, most=MOST_ITERATIONS)
    feasible = np.flatnonzero(found.residual <= RESIDUAL)
    usable = feasible[_usable(problem, found.x, feasible)]
    for at, (row, answer) in enumerate(group):
        here = np.arange(at * STARTS, (at + 1) * STARTS)
        best = here[found.residual[here].argmin()]
        row["least_residual"] = f"{found.residual[best]:.2e}"
        row["its_equation"] = shared.equation_of(problem, int(found.worst[best]))
        if answer.status in LEANS:
            states = np.intersect1d(here, feasible)
            row["verdict"] = _leaning(problem, found.x, states, answer)
        else:
            row["verdict"] = _empty(
                row, answer, found.residual[best], *(np.isin(here, each).any() for each in (usable, feasible))
            )


def _usable(problem: FastestEquilibrium, x: Floats, at: Places) -> NDArray[np.bool_]:
    """Which equilibria the package would call results: closed, and inside the ranges of the models."""
    if not len(at):
        return np.zeros(0, dtype=bool)
    some = problem.select(at)
    made = report(some, shared.as_solution(some, x[:, at]))
    usable: NDArray[np.bool_] = (made.status == Status.CONVERGED) & (made.closure <= closure.TOLERANCE)
    return usable


def _empty(row: Row, answer: Answer, least: float, usable: bool, feasible: bool) -> str:
    """The verdict on an answer that says that there is no equilibrium, or that none was found."""
    if usable:
        return MISS
    if feasible:
        return OUT_OF_RANGE
    if answer.status != Status.NO_EQUILIBRIUM:
        return UNEXPLAINED
    if least <= CLEARLY:
        return DOUBTFUL
    named = f"(the {row['its_equation']} equation)"
    margins = row["its_equation"] == "foil margin" and "margins" in answer.reason
    return RIGHT if named in answer.reason or margins else OTHER_EQUATION


def _leaning(problem: FastestEquilibrium, x: Floats, states: Places, answer: Answer) -> str:
    """The verdict on an answer that leans on a limit: it must be an equilibrium in which that limit binds,
    and no better answer may be found that leans on none.
    """
    own = answer.problem.select(np.array([answer.case]))
    if shared.first_order(answer)[0] > RESIDUAL or answer.status not in _bound(own, answer):
        return UNEXPLAINED
    if not len(states):
        return RIGHT
    objective = problem.select(states).values(x[:, states], np.arange(len(states))).objective
    chosen = states[np.argsort(objective)[:FASTEST]]
    again = problem.select(chosen)
    solution = minimise(again, x[:, chosen], settings=Settings(initial_barrier=1e-3, restoration_starts=1))
    made = report(again, solution)
    better = solution.objective < answer.objective * (1.0 + 1e-6 * np.sign(answer.objective))
    ends = (solution.status == Status.CONVERGED) & (made.status == Status.CONVERGED)
    return MISS if (ends & better).any() else RIGHT


def _bound(own: FastestEquilibrium, answer: Answer) -> tuple[int, ...]:
    """What the limits are that bind at an answer's own state, as statuses; a search for the best VMG downwind
    may be cut short inside its bounds.
    """
    made = report(own, shared.as_solution(own, answer.x[:, None].copy()))
    cut_short = int(answer.solution.status[answer.case])
    return int(made.status[0]), cut_short


def summary(rows: Sequence[Row]) -> list[Row]:
    """Numbers of conditions by boat file and branch, and over all."""
    groups = dict.fromkeys((row["file"], row["branch"]) for row in rows)
    return [
        _counts(*group, [row for row in rows if (row["file"], row["branch"]) == group]) for group in groups
    ] + [_counts("all", "", rows)]


def _counts(file: str, branch: str, rows: Sequence[Row]) -> Row:
    count = {verdict: sum(row["verdict"] == verdict for row in rows) for verdict in VERDICTS}
    solvable = count[CONVERGED] + count[IMPRECISE] + count[MISS]
    share = f"{100.0 * count[CONVERGED] / solvable:.2f}" if solvable else ""
    boats = len({(row["file"], row["option"], row["sail_set"], row["number"]) for row in rows})
    return {
        "file": file,
        "branch": branch,
        "boats": boats,
        "conditions": len(rows),
        "solvable": solvable,
        "converged_percent": share,
        **count,
    }


def main() -> None:
    """Run, print and, where asked, write the tables."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--count", type=int, default=3000, help="least number of conditions")
    parser.add_argument("--seed", type=int, default=shared.SEED)
    parser.add_argument("--processes", type=int, default=1)
    parser.add_argument("--files", nargs="*", default=shared.files(), help="boat files, without .toml")
    parser.add_argument("--scipy", type=int, default=2, help="conditions a chunk confirmed by SciPy")
    parser.add_argument("--commit", action="store_true", help="write tests/trust/results")
    given = parser.parse_args()
    kinds = sum(len(shared.kinds(file)) for file in given.files)
    numbers = -(-given.count // (kinds * EACH))
    each = -(-given.count // (kinds * numbers))
    chunks = [
        (f"{file}_{number}", (file, number, each, given.seed, given.scipy))
        for number in range(numbers)
        for file in given.files
    ]
    run = f"trust_{given.seed}_{each}"
    rows = shared.run_chunks(run, chunks, chunk, given.processes)
    counted = summary(rows)
    shared.table([list(counted[0]), *(list(row.values()) for row in counted)])
    refused = {
        (row["file"], row["option"], row["sail_set"], row["number"]): int(row["refused"]) for row in rows
    }
    print(f"{sum(refused.values())} drawn boats were refused by the checks of boat files and drawn again")
    listed = [row for row in rows if row["verdict"] in LISTED]
    for row in listed:
        print({name: value for name, value in row.items() if value != ""})
    if given.commit:
        counted[-1]["refused_boats"] = sum(refused.values())
        counted[-1]["seed"] = given.seed
        shared.write(shared.RESULTS / "trust.csv", [{"seed": given.seed, **row} for row in counted])
        shared.write(shared.RESULTS / "trust_listed.csv", listed or [dict.fromkeys(rows[0], "")])


if __name__ == "__main__":
    main()
