"""Ranges of models that a solution has left, in words for its remark."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vpp import hulls
from vpp.fleets import BoatArrays, Fleet, Layout
from vpp.hulls import FormedHullArrays, HullArrays, PlaningArrays
from vpp.physics import planing, waves
from vpp.physics.hull import (
    DATA_FROUDE_RANGE,
    outside_effective_draught,
    outside_heeled_wetted,
)
from vpp.physics.planing_handover import HeeledPlaningForces, wet_beyond_bottom
from vpp.state import State

FloatArray = NDArray[np.float64]
Mask = NDArray[np.bool_]

# What the quantities of a range are called in a remark.
_CALLED = {
    "froude_number": "Froude number",
    "length_beam_ratio": "length over beam",
    "wave_length": "wave length",
    "steepness": "steepness",
    "true_wind_angle": "angle from the bow",
    "speed_coefficient": "speed",
    "trim": "trim",
    "deadrise": "deadrise",
    "chine_length": "dry chines",
}
# Share of planing in a hull's load from which the ranges of planing are looked at.
_PLANES = 0.5


def range_remarks(
    fleet: Fleet,
    option: NDArray[np.intp],
    boats: BoatArrays,
    state: State,
    quantities: Mapping[str, FloatArray],
    planes: Planing | None,
) -> list[str]:
    """What each condition leaves of its models' ranges, a text a condition, empty where nothing."""
    shape = quantities["boat_speed"].shape
    told: list[list[str]] = [[] for _ in range(shape[0])]
    for text, mask in (
        *_floating(fleet.layout, boats, state, quantities),
        *_waves(fleet, option, boats, state, quantities["twa"]),
        *_planing(planes, quantities),
    ):
        for i in np.flatnonzero(np.broadcast_to(mask, shape)):
            told[i].append(text)
    return ["; ".join(texts) for texts in told]


def _floating(
    layout: Layout, boats: BoatArrays, state: State, quantities: Mapping[str, FloatArray]
) -> Iterator[tuple[str, Mask]]:
    if isinstance(boats.hull, HullArrays) and layout.hull.model == "systematic_series":
        limit = DATA_FROUDE_RANGE[1]
        yield f"hull resistance extended past Fn {limit}", quantities["froude_number"] > limit
        beyond = np.asarray(boats.hull.beyond_wetted) > 0.0
        yield "wetted area at heel past its tests", outside_heeled_wetted(heel=state.heel) | beyond
    if layout.hull.side_force == hulls.EFFECTIVE_DRAUGHT:
        outside = outside_effective_draught(froude_number=quantities["froude_number"], heel=state.heel)
        yield "effective draught held past its tests", outside


def _waves(
    fleet: Fleet, option: NDArray[np.intp], boats: BoatArrays, state: State, twa: FloatArray
) -> Iterator[tuple[str, Mask]]:
    sea = boats.seaway
    if sea is None:
        return
    for number, exposed in enumerate(fleet.exposures):
        if exposed is None:
            continue
        outside = waves.outside_range(
            hull=exposed.response.hull,
            sea=waves.Sea(significant_height=sea.significant_height, peak_period=sea.peak_period),
            boat_speed=state.boat_speed,
            true_wind_angle=twa,
            gravity=float(boats.gravity[0]),
        )
        for name, mask in outside.items():
            text = f"resistance in waves past its range ({_CALLED[name]})"
            yield text, mask & (option == number)


# --- planing ------------------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class Planing:
    """A hull that planes: how far it has gone over to planing, 0 to 1, and what its bottom does."""

    hull: PlaningArrays
    share: FloatArray
    forces: HeeledPlaningForces

    @property
    def planes(self) -> Mask:
        """Whether the ranges of planing are to be looked at."""
        mask: Mask = self.share > _PLANES
        return mask


def planing_of(boats: BoatArrays, state: State) -> Planing | None:
    """The planing of boats in a state; None of hulls that do not plane."""
    if not isinstance(boats.hull, FormedHullArrays) or boats.hull.planing is None:
        return None
    share, forces = hulls.planing_at(boats.hull, boats.water, state)
    return Planing(hull=boats.hull.planing, share=share, forces=forces)


def planing_quantities(found: Planing | None) -> dict[str, FloatArray]:
    """How far a hull that planes has gone over to planing, 0 to 1, and how much less than the limit of
    porpoising its trim is [rad]; empty of another hull.
    """
    if found is None:
        return {}
    margin = planing.porpoising_margin(
        trim=found.forces.trim,
        lift_coefficient=found.forces.lift_coefficient,
        deadrise=found.hull.bottom.deadrise,
    )
    return {"planing_share": found.share, "porpoising_margin": np.where(found.planes, margin, np.nan)}


def _planing(found: Planing | None, quantities: Mapping[str, FloatArray]) -> Iterator[tuple[str, Mask]]:
    if found is None:
        return
    forces, planes, deadrise = found.forces, found.planes, found.hull.bottom.deadrise
    for name, mask in planing.outside_range(forces=forces, deadrise=deadrise).items():
        yield f"planing past its range ({_CALLED[name]})", mask & planes
    beyond = wet_beyond_bottom(forces=forces, bottom_length=found.hull.length)
    yield "planing with a wet bow", beyond & planes
    bent = wet_beyond_bottom(forces=forces, bottom_length=found.hull.run)
    yield "planing on more than its straight run", bent & planes & ~beyond
    yield "may porpoise", planes & (quantities["porpoising_margin"] < 0.0)
    known = planing.porpoising_known(lift_coefficient=forces.lift_coefficient, deadrise=deadrise)
    yield "limit of porpoising not known at this deadrise and load", planes & ~known
