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

    def followed_by(self, others: Conditions) -> Conditions:
        """These conditions and then others."""
        return Conditions(
            **{name: np.concatenate([value, getattr(others, name)]) for name, value in vars(self).items()}
        )


@dataclass(frozen=True, kw_only=True)
class Strips:
    """Every strip of every sail at the solution, for closure checks and load plots.

    `sail` names each strip's sail (strips,). Arrays (strips, n): height along the mast [m], x [m], width [m],
    forces forward along the centreline and to leeward normal to the mast [N], incidence [rad] and lift
    coefficient. NaN where not converged. A sail from a table is one strip over its effective span, at its
    centre of effort, with no more of these than its forces, lift coefficient and wind.

    How it stands: `chord_angle` from the centreline [rad], positive to leeward, `camber` and `nose_angle` as
    `sails.SailShape` has them. What it meets, normal to the mast: speed [m/s] and angle off the bow [rad] of
    the apparent wind at its height, and `flow_angle` [rad], that angle with what all sails induce there.
    """

    sail: tuple[str, ...]
    height: FloatArray
    x: FloatArray
    width: FloatArray
    forward: FloatArray
    leeward: FloatArray
    incidence: FloatArray
    lift_coefficient: FloatArray
    chord_angle: FloatArray
    camber: FloatArray
    nose_angle: FloatArray
    wind_speed: FloatArray
    wind_angle: FloatArray
    flow_angle: FloatArray


@dataclass(frozen=True, kw_only=True)
class Solved:
    """Solved conditions; arrays (n,) unless stated, NaN where a condition has no state.

    Where a search ended early (`STEP_LIMIT`, `INTERRUPTED`), the best state that it knew to meet all
    equations is kept: with numbers, but not proven fastest and so no result. Only the status tells.

    `status` holds `vpp.solver.status` codes; `reason` a sentence where a condition failed; `remark` names
    active limits and model ranges left. `quantities` are in SI units and radians. `force` [N] and `moment` [N
    m] have the shape (components, 3, n), in the axes of the course. `closure` is the largest relative error
    that the independent check found. Where boats can be carried in more ways than one, the better is reported
    and `branches` holds each by name, over those conditions whose boats have it. `sail_set` names the sails
    that are up where the boat has sail sets, empty where it has none: the best set is reported, and
    `sail_sets` holds each by name, over those conditions whose boats have it.
    """

    boats: tuple[Boat, ...]
    conditions: Conditions
    branch: NDArray[np.str_]
    sail_set: NDArray[np.object_]
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
    sail_sets: Mapping[str, Solved] = field(default_factory=dict)

    def boat_at(self, place: int) -> Boat:
        """The boat of a condition under the sails that it is reported with, the first set's where it has no
        result.
        """
        boat = self.boats[int(self.conditions.option[place])]
        return boat.wearing(str(self.sail_set[place])) if self.sail_set[place] else boat.dressed
