"""Answers to many boats in the same conditions, as they are gathered, and boats that are searched in full."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from time import perf_counter

import numpy as np
from numpy.typing import NDArray

from vpp import wardrobe
from vpp.boat import Boat
from vpp.doubt_following import FAILED, SOLVED
from vpp.solved import Conditions, Solved
from vpp.solver.memory import keep_freed_memory
from vpp.solver.status import Status

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]


@dataclass(frozen=True, kw_only=True)
class Answers:
    """Boats in conditions, arrays (boats, conditions): `vpp.solver.status` codes, what is made good [m/s],
    how each was come by, branch, sail set, reason and remark; `quantities` by name, SI units and radians, NaN
    without a result. `checks` has, of every answer that was both followed and searched for, what each made
    good [m/s] (checks, 2). `searching_s`, `following_s` and `compiling_s` are the seconds that searching the
    anchors, all that follows, and compiling for it have taken.
    """

    status: Integers
    made_good: Floats
    how: NDArray[np.object_]
    branch: NDArray[np.object_]
    sail_set: NDArray[np.object_]
    reason: NDArray[np.object_]
    remark: NDArray[np.object_]
    quantities: dict[str, Floats]
    checks: Floats
    searching_s: float
    following_s: float
    compiling_s: float


def searched(boats: Sequence[Boat], conditions: Conditions, *, wanted: Sequence[str]) -> Answers:
    """Every boat searched in full in all conditions, which are those of one boat."""
    everything = np.arange(len(boats))
    run = Gathering(boats, conditions, wanted)
    run.search(np.repeat(everything, len(conditions)), np.tile(np.arange(len(conditions)), len(boats)))
    run.searching_s = perf_counter() - run.begun
    return run.answers()


class Gathering:
    """Boats in conditions, which are those of one boat, and the best that is known of each so far."""

    def __init__(self, boats: Sequence[Boat], conditions: Conditions, wanted: Sequence[str]) -> None:
        keep_freed_memory()
        self.boats, self.conditions = tuple(boats), conditions
        shape = len(self.boats), len(conditions)
        self.status = np.full(shape, int(Status.INTERRUPTED))
        self.made_good = np.full(shape, np.nan)
        self.how = np.full(shape, FAILED, dtype=object)
        self.branch, self.sail_set, self.reason, self.remark = (
            np.full(shape, "", dtype=object) for _ in range(4)
        )
        self.quantities = {name: np.full(shape, np.nan) for name in wanted}
        self.checks: list[tuple[float, float]] = []
        self.begun = perf_counter()
        self.searching_s = self.compiling_s = 0.0

    def answers(self) -> Answers:
        """What was found."""
        other = perf_counter() - self.begun - self.searching_s - self.compiling_s
        return Answers(
            status=self.status,
            made_good=self.made_good,
            how=self.how,
            branch=self.branch,
            sail_set=self.sail_set,
            reason=self.reason,
            remark=self.remark,
            quantities=self.quantities,
            checks=np.array(self.checks).reshape(-1, 2),
            searching_s=self.searching_s,
            following_s=other,
            compiling_s=self.compiling_s,
        )

    def search(self, boats: Integers, conditions: Integers) -> Solved | None:
        """Search pairs of boats and conditions in full, and keep what is better than what is known."""
        if not len(boats):
            return None
        used, option = np.unique(boats, return_inverse=True)
        asked = replace(self.conditions.take(conditions), option=option.astype(np.intp))
        found = wardrobe.solve([self.boats[at] for at in used.tolist()], asked)
        made_good = wardrobe.made_good(found)
        good = np.isfinite(made_good)
        better = good & ~(made_good <= self.made_good[boats, conditions])
        first = ~good & (self.how[boats, conditions] == FAILED)
        self.keep(
            np.flatnonzero(better | first), boats, conditions, found.status, made_good, found.branch,
            found.sail_set, found.reason, found.remark, found.quantities,
        )  # fmt: skip
        self.how[boats[better], conditions[better]] = SOLVED
        return found

    def keep(
        self,
        which: Integers,
        boats: Integers,
        conditions: Integers,
        status: Integers,
        made_good: Floats,
        branch: NDArray[np.generic],
        sail_set: NDArray[np.generic],
        reason: NDArray[np.generic],
        remark: NDArray[np.generic],
        quantities: Mapping[str, Floats],
    ) -> None:
        """Put some of what was found of pairs of boats and conditions in the place of what is known."""
        at = boats[which], conditions[which]
        self.status[at], self.made_good[at] = status[which], made_good[which]
        good = status[which] == Status.CONVERGED
        self.branch[at] = np.where(good, branch[which].astype(object), "")
        self.sail_set[at] = np.where(good, sail_set[which].astype(object), "")
        self.reason[at], self.remark[at] = np.where(good, "", reason[which]), remark[which]
        for name, values in self.quantities.items():
            values[at] = np.where(good, quantities[name][which], np.nan) if name in quantities else np.nan
