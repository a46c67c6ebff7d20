"""How a case ended, as a small set of codes with sentences that say what to try."""

from __future__ import annotations

from enum import IntEnum


class Status(IntEnum):
    """Outcome of one case. Only `CONVERGED` is a result to use without a second look."""

    CONVERGED = 0
    NO_EQUILIBRIUM = 1
    LIMIT_REACHED = 2
    STEP_LIMIT = 3
    OUTSIDE_MODEL_RANGE = 4
    NOT_FINITE = 5
    INTERRUPTED = 6


_SENTENCES = {
    Status.CONVERGED: "Converged: all equations are met and no better neighbouring state exists.",
    Status.NO_EQUILIBRIUM: (
        "No equilibrium: the equations cannot all be met within the bounds; "
        "look at the equation with the largest residual and widen the bounds that hold it back."
    ),
    Status.LIMIT_REACHED: (
        "Limit reached: the result leans on a bound that was not meant to shape it; "
        "widen that bound or check whether the boat should be there."
    ),
    Status.STEP_LIMIT: (
        "Step limit: the search ended before the answer was precise enough; "
        "try another start, or check the model for kinks near this state."
    ),
    Status.OUTSIDE_MODEL_RANGE: (
        "Outside the model's range: the answer lies where a model has no data; "
        "choose a model with a wider range or leave this condition out."
    ),
    Status.NOT_FINITE: (
        "Not finite: the model gives no finite value at the start; "
        "choose a start inside the model's domain or check the inputs for missing values."
    ),
    Status.INTERRUPTED: (
        "Interrupted: the run was stopped before this condition was done; "
        "run it again, with fewer conditions if time is short."
    ),
}


def sentence(status: int) -> str:
    """Return one sentence that says what a status means and what to try.

    `status` is a `Status` or its integer code. Raises ValueError for a number that is no status.
    """
    return _SENTENCES[Status(status)]
