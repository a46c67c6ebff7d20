"""Print the tables of the page on derivatives: by how much those of every demo boat and of every model of the
physics differ from differences. Takes some minutes.

    OMP_NUM_THREADS=1 python docs/figures/make_derivatives.py
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.support import differences, model_derivatives
from tests.support.differences import Account
from tests.support.physics_models import MODELS
from vpp.physics import lifting_line

Floats = NDArray[np.float64]

ORDERS = ("first derivatives", "second derivatives")
STATES = {
    "anywhere within the bounds": differences.random_states,
    "a third of the way there from a start": differences.states_near_the_start,
}
# A difference that answers for less than this of an entry counts as sharp.
SHARP = 1e-6


def main() -> None:
    """Both tables."""
    lifting_line.MISS_TOLERANCE = 0.0  # the flow found by the size of the step alone, which leaves no noise
    for title, states in STATES.items():
        print(f"\nStates {title}\n")
        print("| boats | boats x branches x aims | entries | first | sharp | second | sharp | unanswered |")
        print("|---|---|---|---|---|---|---|---|")
        whole: list[tuple[str, Account]] = []
        lost = 0
        for group in differences.groups(None):
            problem = differences.problem(group)
            x = states(problem, seed=21)
            cases = differences.with_flow_around(problem, x)
            lost += problem.condition_count - len(cases)
            if len(cases):
                account = differences.account(problem, x[:, cases], cases, seed=21)
                files = np.array([name.split(" / ")[0] for name in group.names])[
                    problem.conditions.option[cases]
                ]
                whole += [(f"{file}, {group.branch}", account.of(files == file)) for file in np.unique(files)]
        for name in sorted({name for name, _ in whole}):
            print(f"| {name} | {row([account for other, account in whole if other == name])} |")
        print(f"\nStates next to which the sails' flow is not found: {lost}")
    print("\nModels by module\n\n| model | first | second |\n|---|---|---|")
    for name, first, second in by_model():
        print(f"| {name} | {first:.0e} | {second:.0e} |")


def row(accounts: list[Account]) -> str:
    """Cases, entries, and of each order the largest error where the difference is sharp and how many are."""
    cases = sum(account.error[ORDERS[0]].shape[-1] for account in accounts)
    entries = sum(values.size for account in accounts for values in account.error.values())
    cells = [str(cases), str(entries)]
    for order in ORDERS:
        error, answered = (
            np.concatenate([getattr(account, which)[order].ravel() for account in accounts])
            for which in ("error", "answered")
        )
        sharp = answered < SHARP
        cells += [f"{error[sharp].max():.0e}", f"{100.0 * sharp.mean():.2f} %"]
    unanswered = sum(len(account.faults()) for account in accounts)
    return " | ".join([*cells, str(unanswered)])


def by_model() -> Iterator[tuple[str, float, float]]:
    """Largest errors of each model where the difference is sharp."""
    for name, model in MODELS.items():
        found = []
        for error, answered in model_derivatives.compared(model).values():
            sharp = answered < SHARP
            found.append(float(error[sharp].max(initial=0.0)))
        yield name, found[0], found[1]


if __name__ == "__main__":
    main()
