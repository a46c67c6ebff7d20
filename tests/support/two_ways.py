"""Invented boats that can be carried in two ways, and invented results of both, for tests of tables, figures
and commands.

Nothing here is physics. On foils a boat goes twice as fast as on its hull, from a wind that depends on the
angle; on the hull it leans on the top of its range of ride heights from another.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tests.support import foiler, synthetic
from vpp.boat import Boat
from vpp.config import BoatFile, load
from vpp.reporting import SKIMMING
from vpp.results.variables import DEGREE, KNOT
from vpp.solved import BRANCHES, FOIL_BORNE, HULL_BORNE, Conditions, Solved
from vpp.solver.status import Status

Floats = NDArray[np.float64]

EARLIER_KN = {"base": 0.0, "taller_rig": 2.0, "lower_foot": 0.0, "cut_head": -1.0}
TOO_SLOW = "No equilibrium: too little wind to fly; wait for more."


def make_boat_file() -> BoatFile:
    """The invented keelboats on the demo boat's foils."""
    foils = load(foiler.FILE).boat("base").foils
    made = synthetic.make_boat_file()
    return replace(made, boats=tuple(replace(boat, foils=foils) for boat in made.boats))


def touch_down_kn(option: str, twa_deg: Any) -> Any:
    """The least wind with an invented equilibrium on foils."""
    return 8.0 + 0.06 * np.abs(np.asarray(twa_deg) - 100.0) - EARLIER_KN[option]


def take_off_kn(option: str, twa_deg: Any) -> Any:
    """The least wind in which the hull comes up in the invented results."""
    return touch_down_kn(option, twa_deg) + 1.5


def solve(
    boats: Sequence[Boat],
    conditions: Conditions,
    *,
    branches: Sequence[str] = BRANCHES,
    processes: int = 1,
    progress: Callable[[int, int], None] | None = None,
) -> Solved:
    """Invented results of the branches asked for, the better of them reported."""
    found = {HULL_BORNE: _floating, FOIL_BORNE: _flying}
    told = {branch: found[branch](boats, conditions) for branch in branches}
    if len(told) == 1:
        return next(iter(told.values()))
    flies = told[FOIL_BORNE].status == Status.CONVERGED
    better = _chosen(told[HULL_BORNE], told[FOIL_BORNE], flies)
    return replace(better, branches=told)


def _floating(boats: Sequence[Boat], conditions: Conditions) -> Solved:
    solved = synthetic.solve(boats, conditions)
    leans = conditions.tws / KNOT >= _limits(take_off_kn, boats, conditions) - 1e-9
    remark = np.where(leans & (solved.status == Status.CONVERGED), SKIMMING, "").astype(object)
    return replace(solved, remark=remark)


def _flying(boats: Sequence[Boat], conditions: Conditions) -> Solved:
    solved = synthetic.solve(boats, conditions)
    flies = conditions.tws / KNOT >= _limits(touch_down_kn, boats, conditions) - 1e-9
    missing = np.where(flies, 0.0, np.nan)
    twice = {name: 2.0 if name in ("boat_speed", "vmg") else 1.0 for name in solved.quantities}
    return replace(
        solved,
        branch=np.full(len(conditions), FOIL_BORNE),
        status=np.where(flies, Status.CONVERGED, Status.NO_EQUILIBRIUM),
        reason=np.where(flies, "", TOO_SLOW).astype(object),
        remark=np.full(len(conditions), "", dtype=object),
        quantities={
            name: twice[name] * values + (0.0 if name == "twa" else missing)
            for name, values in solved.quantities.items()
        },
    )


def _limits(of: Callable[[str, Any], Any], boats: Sequence[Boat], conditions: Conditions) -> Floats:
    angles = np.where(
        np.isnan(conditions.twa), np.where(conditions.aim == "upwind", 0.9, 2.3), conditions.twa
    )
    names = [boats[index].name for index in conditions.option]
    return np.array([of(name, angle / DEGREE) for name, angle in zip(names, angles, strict=True)])


def _chosen(first: Solved, second: Solved, takes_second: NDArray[np.bool_]) -> Solved:
    def pick(one: Any, other: Any) -> Any:
        return np.where(takes_second, other, one)

    fields = ("branch", "status", "reason", "remark", "force", "moment")
    return replace(
        first,
        **{name: pick(getattr(first, name), getattr(second, name)) for name in fields},
        quantities={name: pick(values, second.quantities[name]) for name, values in first.quantities.items()},
    )
