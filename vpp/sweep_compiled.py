"""Many boats of one design space, followed by the compiled iteration of `vpp.accelerator`.

Boats of one kind go together, under each sail set by themselves, and the best set counts. Every answer is
reported and checked for closure as any other. The boat that lies farthest from those of which nothing was
followed is searched in full as well, which tells how far what was followed can be trusted.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from time import perf_counter

import numpy as np
from numpy.typing import NDArray

from vpp import accelerator, wardrobe
from vpp.boat import Boat
from vpp.doubt_following import FOLLOWED, SOLVED, dressed_as
from vpp.solved import BRANCHES, Conditions
from vpp.solver import stopping
from vpp.solver.status import Status
from vpp.sweep_answers import Answers, Gathering
from vpp.trim import kind_of

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]

# Conditions that are reported at a time: bounds the memory.
_AT_A_TIME = 2048


def compiled(
    boats: Sequence[Boat],
    places: Floats,
    conditions: Conditions,
    *,
    anchors: int,
    wanted: Sequence[str],
    processes: int = 1,
) -> Answers:
    """Every boat in all conditions, which are those of one boat: `anchors` of each kind of boat searched for,
    by so many `processes`, the others followed on whatever device JAX finds. `places` (boats, factors) says
    where the boats lie in the space, in comparable units. Raises MissingLibrary where JAX is absent.
    """
    run = _Run(boats, conditions, wanted)
    for alike, sail_set in _alike(boats):
        if not stopping.asked():
            run.solve(alike, sail_set, anchors, processes)
    if not stopping.asked():
        run.check(places)
    return run.answers()


def device() -> str:
    """What the iteration is compiled for, in words. Raises MissingLibrary where JAX is absent."""
    name = accelerator.devices()[0]
    return "this processor, since JAX finds no graphics card" if name == "cpu" else name


def _alike(boats: Sequence[Boat]) -> list[tuple[Integers, str]]:
    """Boats of one kind under one of their sail sets."""
    groups: dict[object, tuple[list[int], str]] = {}
    for at, boat in enumerate(boats):
        for name in [each.name for each in boat.sail_sets] or [""]:
            key = kind_of(dressed_as(boat, name), BRANCHES), name
            groups.setdefault(key, ([], name))[0].append(at)
    return [(np.array(members), name) for members, name in groups.values()]


class _Run(Gathering):
    def solve(self, alike: Integers, sail_set: str, anchors: int, processes: int) -> None:
        """Boats of one kind under one sail set, in all conditions."""
        count = len(self.conditions)
        asked = self.conditions.take(np.tile(np.arange(count), len(alike)))
        found = accelerator.solve(
            [dressed_as(self.boats[at], sail_set) for at in alike.tolist()],
            replace(asked, option=np.repeat(np.arange(len(alike)), count)),
            processes=processes,
            anchors=anchors,
        )
        self.searching_s += found.seconds["searching"] + found.seconds["searching again"]
        self.compiling_s += found.seconds["compiling"]
        boat, condition = np.repeat(alike, count), np.tile(np.arange(count), len(alike))
        good = found.status == Status.CONVERGED
        self._keep_failed(found, np.flatnonzero(~good), boat, condition)
        better = np.flatnonzero(good & ~(found.made_good <= self.made_good[boat, condition]))
        for first in range(0, len(better), _AT_A_TIME):
            rows = better[first : first + _AT_A_TIME]
            self._keep_reported(found, rows, boat[rows], condition[rows], sail_set)

    def _keep_failed(
        self, found: accelerator.Accelerated, rows: Integers, boat: Integers, condition: Integers
    ) -> None:
        """Why there is no answer, where nothing better is known."""
        rows = rows[np.isnan(self.made_good[boat[rows], condition[rows]])]
        nothing = np.full(len(boat), "", dtype=object)
        self.keep(
            rows, boat, condition, found.status, np.full(len(boat), np.nan), nothing, nothing, found.reason,
            nothing, {},
        )  # fmt: skip

    def _keep_reported(
        self, found: accelerator.Accelerated, rows: Integers, boat: Integers, condition: Integers, worn: str
    ) -> None:
        """Converged answers in full; one that does not close takes the place of nothing that does."""
        said = found.solved(rows)
        good = said.status == Status.CONVERGED
        which = np.flatnonzero(good | np.isnan(self.made_good[boat, condition]))
        self.keep(
            which, boat, condition, said.status, wardrobe.made_good(said), said.branch,
            np.full(len(rows), worn, dtype=object), said.reason, said.remark, said.quantities,
        )  # fmt: skip
        how = np.where(found.how[rows] == accelerator.SEARCHED, SOLVED, FOLLOWED)
        self.how[boat[good], condition[good]] = how[good]

    def check(self, places: Floats) -> None:
        """Search the boat in full that lies farthest from those of which nothing was followed; the faster
        answers count.
        """
        is_followed = (self.how == FOLLOWED).any(axis=1)
        others, known = np.flatnonzero(is_followed), np.flatnonzero(~is_followed)
        if not len(others):
            return
        away = np.full(len(others), np.inf)
        for at in known:
            away = np.minimum(away, ((places[others] - places[at]) ** 2).sum(axis=1))
        boat = int(others[away.argmax()])
        which = np.flatnonzero(self.how[boat] == FOLLOWED)
        before, begun = self.made_good[boat, which].copy(), perf_counter()
        found = self.search(np.full(len(which), boat), which)
        self.searching_s += perf_counter() - begun
        if found is not None:
            after = wardrobe.made_good(found)
            both = np.isfinite(before) & np.isfinite(after)
            self.checks += list(zip(before[both].tolist(), after[both].tolist(), strict=True))
