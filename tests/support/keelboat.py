"""The demo keelboat, conditions in knots and degrees, and states inside its limits, for tests of the whole
solver.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vpp import config, fleets, trim
from vpp.boat import Boat, Range, SectionGeometry
from vpp.solved import Conditions

Floats = NDArray[np.float64]

KNOT = 1852.0 / 3600.0
FILE = Path(__file__).parents[2] / "configs" / "keelboat.toml"


@lru_cache(maxsize=1)
def base() -> Boat:
    """The boat as filed."""
    return config.load(FILE).boat("base")


def coarse(boat: Boat, stations: int = 8) -> Boat:
    """The same boat with few strips on each sail: quicker, and as good for all but the sails."""
    return replace(boat, sails=tuple(replace(sail, station_count=stations) for sail in boat.sails))


def conditions(*, tws_kn: Any, twa_deg: Any, aim: Any = "speed", option: Any = 0) -> Conditions:
    """Conditions in knots and degrees, each argument one value or a list."""
    parts = np.broadcast_arrays(
        np.asarray(option), np.asarray(tws_kn, float), np.asarray(twa_deg, float), aim
    )
    option, tws, twa, aims = (np.atleast_1d(part).copy() for part in parts)
    return Conditions(option=option, tws=tws * KNOT, twa=np.radians(twa), aim=aims)


def grid(*, tws_kn: Sequence[float], twa_deg: Sequence[float], best_vmg: bool = False) -> Conditions:
    """Every wind speed at every angle, and at both best VMGs if wanted."""
    pairs = [(speed, angle, "speed") for speed in tws_kn for angle in twa_deg]
    if best_vmg:
        pairs += [(speed, np.nan, aim) for speed in tws_kn for aim in ("upwind", "downwind")]
    speeds, angles, aims = zip(*pairs, strict=True)
    return conditions(tws_kn=speeds, twa_deg=angles, aim=np.array(aims))


def problem(boats: Sequence[Boat], of: Conditions) -> trim.FastestEquilibrium:
    """The solver's problem for boats of one layout and conditions of one kind of aim."""
    return trim.FastestEquilibrium(fleets.fleet(boats), trim.freedom(boats), of)


def random_states(of: trim.FastestEquilibrium, *, seed: int) -> Floats:
    """Scaled variables inside the bounds, one state a condition, at speeds that the model is meant for."""
    rng = np.random.default_rng(seed)
    share = rng.uniform(0.15, 0.85, size=of.lower.shape)
    share[of.names.index("boat_speed")] = rng.uniform(0.2, 0.75, size=of.lower.shape[1])
    states: Floats = of.lower + share * (of.upper - of.lower)
    return states


def start(of: trim.FastestEquilibrium, *, speed_factor: float = 1.0, incidence: float = 0.12) -> Floats:
    """A plain guess of the state at fixed wind angles, not the package's own: sails at one incidence,
    everything else near zero.
    """
    twa, tws = of.conditions.twa, of.conditions.tws
    boat_speed = speed_factor * 3.5 * np.tanh(tws * (0.4 + 0.6 * np.sin(twa)) / 3.5)
    beta = np.arctan2(tws * np.sin(twa), tws * np.cos(twa) + boat_speed)
    guesses: dict[str, Any] = {"boat_speed": boat_speed, "crew_arm": 1.0}
    guesses |= {f"{sail}_sheet": beta - incidence for sail in of.layout.sails}
    guesses |= {f"{sail}_twist": 0.1 for sail in of.layout.sails}
    guesses |= {f"{sail}_camber": 0.5 for sail in of.layout.sails}
    rows = [np.broadcast_to(guesses.get(name, 0.0), twa.shape) for name in of.names]
    room = of.upper - of.lower
    inside: Floats = np.clip(
        np.array(rows) / of.scale[:, None], of.lower + 0.03 * room, of.upper - 0.03 * room
    )
    return inside


def named_state(of: trim.FastestEquilibrium, x: Floats) -> dict[str, Any]:
    """All quantities by name at scaled variables of all conditions."""
    return of.named(tuple(x), np.arange(of.condition_count))


def central_difference(function: Callable[[Floats], Floats], x: Floats, step: float) -> Floats:
    """Derivatives of `function(x)` (..., b) by every row of x (n, b), fourth order: (n, ..., b)."""
    rows = []
    for i in range(len(x)):
        move = np.zeros_like(x)
        move[i] = step
        rows.append(
            (
                8.0 * (function(x + move) - function(x - move))
                - (function(x + 2.0 * move) - function(x - 2.0 * move))
            )
            / (12.0 * step)
        )
    return np.array(rows)


def turning_mast(boat: Boat) -> Boat:
    """The boat with twin skins on a mast that turns, sections from their shape, and three zones of camber."""
    main = replace(
        boat.sails[0],
        hinge_share=0.12,
        draft_share=0.5,
        section=SectionGeometry(kind="twin_skin", thickness_share=0.08, clew_thickness=0.03),
        foot_zone_to_share=0.3,
        foot_transition_to_share=0.4,
        foot_camber=Range(lower=0.0, upper=1.0),
        head_zone_from_share=0.8,
        head_transition_from_share=0.6,
        head_camber=Range(lower=0.0, upper=1.0),
    )
    rig = replace(boat.rig, mast_rotation=Range(lower=0.0, upper=0.5))
    return replace(boat, rig=rig, sails=(main, *boat.sails[1:]))
