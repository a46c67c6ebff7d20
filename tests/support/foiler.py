"""The demo boat on foils, states of it on the hull and on foils, and the solver's problem for it."""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tests.support import keelboat
from vpp import balance, config, fleets, starts, trim
from vpp.balance import WorkingFoil
from vpp.boat import Boat
from vpp.fleets import BoatArrays, Layout
from vpp.optima import SETTINGS
from vpp.reporting import Report, report
from vpp.solved import FOIL_BORNE, HULL_BORNE, Conditions
from vpp.solver.interior_point import minimise
from vpp.solver.problem import Solution
from vpp.state import Component, State

Floats = NDArray[np.float64]

FILE = Path(__file__).parents[2] / "configs" / "foiling_monohull.toml"
SAIL_CONTROLS = {"sheet": 0.2, "twist": 0.1, "camber": 0.4, "head_camber": 0.0}
# One plain state on the hull, floating at rest's draught, and one on foils with the keel line 0.65 m over the
# water.
AFLOAT = {"boat_speed": 5.0, "ride_height": 0.0}
FLYING = {"boat_speed": 13.0, "ride_height": 0.9}
PLAIN = {
    **{name: 0.0 for name in ("leeway", "heel", "pitch", "rudder", "crew_arm", "elevator")},
    "cant": np.radians(48.0),
    "flap": np.radians(4.0),
    **{f"{sail}_{what}": value for sail in ("main", "jib") for what, value in SAIL_CONTROLS.items()},
}


@lru_cache(maxsize=1)
def base() -> Boat:
    """The boat as filed, with few strips on its sails."""
    return keelboat.coarse(config.load(FILE).boat("base"), 6)


def problem(of: Conditions, branch: str = FOIL_BORNE) -> trim.FastestEquilibrium:
    """The solver's problem for the boat carried in one way, its sails mirrored from where it rides."""
    boats = [base()]
    (fleet,) = trim.fleets_on(boats, [branch])
    return trim.FastestEquilibrium(fleet, trim.freedom(boats, branch), of)


def random_states(of: trim.FastestEquilibrium, *, seed: int) -> Floats:
    """Scaled variables inside the bounds, one state a condition, at speeds and heights that either way of
    going is meant for.
    """
    rng = np.random.default_rng(seed)
    share = rng.uniform(0.15, 0.85, size=of.lower.shape)
    speeds, heights = {HULL_BORNE: ((3.0, 7.0), (-0.1, 0.1)), FOIL_BORNE: ((9.0, 18.0), (0.5, 1.1))}[
        of.free.branch
    ]
    states: Floats = of.lower + share * (of.upper - of.lower)
    for name, (low, high) in (("boat_speed", speeds), ("ride_height", heights)):
        row = of.names.index(name)
        states[row] = rng.uniform(low, high, size=states.shape[1]) / of.scale[row]
    return states


def loads(
    values: Mapping[str, Any], *, tws: float = 7.0, twa: float = 1.2, count: int = 1
) -> tuple[dict[str, Component], tuple[WorkingFoil, ...], Layout]:
    """Components by name, foils at work and the layout at the plain state with some values changed."""
    fleet = fleet_at(values)
    boats, wake = fleet.select(np.zeros(count, dtype=np.intp))
    state = state_of(values, fleet.layout, count)
    at_work = balance.foils_at_work(fleet_layout=fleet.layout, boats=boats, state=state)
    wind = balance.true_wind(
        boats=boats, tws=np.full(count, tws), twa=np.full(count, twa), ride_height=state.ride_height
    )
    found = balance.loads(
        fleet_layout=fleet.layout, boats=boats, wake=wake, wind=wind, state=state, at_work=at_work
    )
    return {component.name: component for component in found}, at_work, fleet.layout


def fleet_at(values: Mapping[str, Any]) -> fleets.Fleet:
    """The boat with its sails mirrored as on the branch that it would be on."""
    afloat = trim.MOST_RISE_ON_HULL * base().hull.canoe_draught
    flies = np.all(np.asarray({**FLYING, **values}["ride_height"]) > afloat)
    heights = trim.mirror_heights(base(), FOIL_BORNE if flies else HULL_BORNE)
    return fleets.fleet([base()]).mirrored([base()], [heights])


def state_of(values: Mapping[str, Any], layout: Layout, count: int = 1) -> State:
    """The plain state with some values changed."""
    everything = {**PLAIN, **FLYING, "crew_x": base().crew.x, **values}
    return trim.state_from(
        {name: np.broadcast_to(np.asarray(value, float), (count,)) for name, value in everything.items()},
        layout,
    )


def arrays(count: int = 1) -> BoatArrays:
    """The boat as arrays, one entry a condition."""
    boats, _ = fleets.fleet([base()]).select(np.zeros(count, dtype=np.intp))
    return boats


def residuals(values: Mapping[str, Any], **wind: Any) -> dict[str, float]:
    """What every equation leaves over at the plain state with some values changed."""
    components, _, layout = loads(values, **wind)
    leeway = np.atleast_1d(np.asarray({**PLAIN, **values}["leeway"], float))
    found = balance.residuals(layout, list(components.values()), leeway=leeway)
    return dict(zip(layout.equations, found[:, 0].tolist(), strict=True))


@lru_cache(maxsize=1)
def flying() -> tuple[trim.FastestEquilibrium, Solution, Report]:
    """The boat at its fastest on foils on a reach in a moderate breeze: problem, answer and what it says."""
    reach = problem(keelboat.conditions(tws_kn=14, twa_deg=110))
    solution = minimise(reach, trim.start(reach, starts.FLYING), settings=SETTINGS)
    return reach, solution, report(reach, solution)
