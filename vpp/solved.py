"""What is asked of the solver and what comes back, as flat frozen arrays: one entry a condition."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from vpp.boat import Boat

FloatArray = NDArray[np.float64]

SPEED, UPWIND, DOWNWIND = "speed", "upwind", "downwind"
AIMS = (SPEED, UPWIND, DOWNWIND)
HULL_BORNE, FOIL_BORNE = "hull-borne", "foil-borne"
BRANCHES = (HULL_BORNE, FOIL_BORNE)


class NoEquilibrium(Exception):
    """A single condition that could not be solved; the message says why and what to try."""


@dataclass(frozen=True, kw_only=True)
class Conditions:
    """Conditions as a flat list, arrays (n,).

    `option` counts into the boats; `tws` [m/s] is the true wind speed at the reference height; `twa` [rad]
    the true wind angle, NaN where the aim is a best VMG; `aim` is "speed", "upwind" or "downwind". Raises
    ValueError when the lengths or the values do not fit.
    """

    option: NDArray[np.intp]
    tws: FloatArray
    twa: FloatArray
    aim: NDArray[np.str_]

    def __post_init__(self) -> None:
        lengths = {len(self.option), len(self.tws), len(self.twa), len(self.aim)}
        if len(lengths) != 1:
            raise ValueError(
                f"option, tws, twa and aim have {sorted(lengths)} entries; all need the same number"
            )
        if not set(np.unique(self.aim)) <= set(AIMS):
            raise ValueError(f"aim must be one of {', '.join(AIMS)}; given {', '.join(np.unique(self.aim))}")
        if not (np.all(self.tws > 0.0) and np.all(np.isfinite(self.tws))):
            raise ValueError("every true wind speed must be positive and finite")
        fixed = self.twa[self.aim == SPEED]
        if not np.all((fixed >= 0.0) & (fixed <= np.pi)):
            raise ValueError("every true wind angle must lie between 0 and 180 deg")

    def __len__(self) -> int:
        return len(self.tws)

    def take(self, places: NDArray[np.intp]) -> Conditions:
        """Some of the conditions, by their places."""
        return Conditions(
            option=self.option[places], tws=self.tws[places], twa=self.twa[places], aim=self.aim[places]
        )


@dataclass(frozen=True, kw_only=True)
class Strips:
    """Every strip of every sail at the solution, for closure checks and load plots.

    `sail` names each strip's sail (strips,). Arrays (strips, n): height along the mast [m], x [m], width [m],
    forces forward along the centreline and to leeward normal to the mast [N], incidence [rad] and lift
    coefficient. NaN where not converged.
    """

    sail: tuple[str, ...]
    height: FloatArray
    x: FloatArray
    width: FloatArray
    forward: FloatArray
    leeward: FloatArray
    incidence: FloatArray
    lift_coefficient: FloatArray


@dataclass(frozen=True, kw_only=True)
class Solved:
    """Solved conditions; arrays (n,) unless stated, NaN where a condition has not converged.

    `status` holds `vpp.solver.status` codes; `reason` a sentence where a condition failed; `remark` names
    active limits and model ranges left. `quantities` are in SI units and radians. `force` [N] and `moment` [N
    m] have the shape (components, 3, n), in the axes of the course. `closure` is the largest relative error
    that the independent check found. Where boats can be carried in more ways than one, the better is reported
    and `branches` holds each by name, over those conditions whose boats have it.
    """

    boats: tuple[Boat, ...]
    conditions: Conditions
    branch: NDArray[np.str_]
    status: NDArray[np.int64]
    reason: NDArray[np.object_]
    remark: NDArray[np.object_]
    quantities: Mapping[str, FloatArray]
    components: tuple[str, ...]
    medium: tuple[str, ...]
    force: FloatArray
    moment: FloatArray
    strips: Strips
    iterations: NDArray[np.int64]
    constraint_error: FloatArray
    optimality_error: FloatArray
    closure: FloatArray
    branches: Mapping[str, Solved] = field(default_factory=dict)
