"""Waves as a boat meets them: what they add to her hull's resistance, and the room they take of her foils."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from vpp.boat import Boat, FormedHull, Hull, Sea
from vpp.foiling import Water
from vpp.hulls import drawn_volume
from vpp.physics import waves
from vpp.physics.arrays import Array
from vpp.physics.hull_sections import drawn_form
from vpp.physics.ship_motions import PitchingHull

FloatArray = NDArray[np.float64]
WIND_SEA = "wind_sea"


@dataclass(frozen=True, kw_only=True)
class Seaway:
    """The sea of every condition: significant height [m], peak period [s], the reach of crests above and of
    troughs below the mean surface [m], (conditions,), and coefficients of `waves.added_resistance`.
    """

    significant_height: Array
    peak_period: Array
    crest: Array
    trough: Array
    coefficients: Array


@dataclass(frozen=True, kw_only=True)
class Exposure:
    """A boat in waves: the sea of her file, and her hull in regular head waves."""

    sea: Sea
    response: waves.HeadWaves


def exposure(boat: Boat) -> Exposure | None:
    """What a boat is exposed to; None on flat water."""
    if boat.sea.is_flat:
        return None
    return Exposure(sea=boat.sea, response=_head_waves(pitching_hull(boat)))


@lru_cache(maxsize=64)
def _head_waves(hull: PitchingHull) -> waves.HeadWaves:
    """Kept, because options mostly share their hull."""
    return waves.head_waves(hull=hull)


def pitching_hull(boat: Boat) -> PitchingHull:
    """The hull that pitches and heaves in head waves; of a catamaran, one of the two."""
    lines = boat.hull
    return PitchingHull(
        waterline_length=lines.waterline_length,
        waterline_beam=lines.waterline_beam,
        canoe_draught=lines.canoe_draught,
        volume=lines.canoe_volume if isinstance(lines, Hull) else drawn_volume(lines),
        prismatic_coefficient=_prismatic(lines),
        pitch_gyradius=boat.pitch_gyradius_share * lines.waterline_length,
    )


def seaway(
    exposures: Sequence[Exposure | None], boat: NDArray[np.intp], tws: FloatArray, gravity: FloatArray
) -> Seaway | None:
    """The sea of conditions, given the boat of each; None where none of the boats is exposed to one."""
    if all(each is None for each in exposures):
        return None
    height, period = np.zeros(len(boat)), np.ones(len(boat))
    coefficients: FloatArray | None = None
    for number, each in enumerate(exposures):
        places = np.flatnonzero(boat == number)
        if each is None or not len(places):
            continue
        here = _sea(each.sea, tws[places], gravity[places])
        height[places], period[places] = here.significant_height, here.peak_period
        periods, which = np.unique(period[places], return_inverse=True)
        found = waves.sea_coefficients(
            waves=each.response, peak_period=periods, gravity=float(gravity[places[0]])
        )
        if coefficients is None:
            coefficients = np.zeros((*found.shape[:-1], len(boat)))
        coefficients[..., places] = found[..., which]
    if coefficients is None:
        return None
    crest, trough = waves.crest_and_trough(significant_height=height)
    return Seaway(
        significant_height=height, peak_period=period, crest=crest, trough=trough, coefficients=coefficients
    )


def _sea(sea: Sea, tws: FloatArray, gravity: FloatArray) -> waves.Sea:
    if sea.model == WIND_SEA:
        return waves.wind_sea(wind_speed=tws, fetch=sea.fetch, gravity=gravity)
    same = np.ones_like(tws)
    return waves.Sea(significant_height=sea.significant_height * same, peak_period=sea.peak_period * same)


def added_resistance(
    sea: Seaway | None, *, boat_speed: Array, twa: Array, waterline_length: Array, water: Water
) -> Array | None:
    """What waves add to the resistance of a hull that is all in the water [N]; None on flat water."""
    if sea is None:
        return None
    return waves.added_resistance(
        coefficients=sea.coefficients,
        boat_speed=boat_speed,
        true_wind_angle=twa,
        significant_height=sea.significant_height,
        waterline_length=waterline_length,
        water_density=water.density,
        gravity=water.gravity,
    )


def _prismatic(lines: Hull | FormedHull) -> float:
    """Prismatic coefficient; n/(n + 1) with n the exponent of the water line."""
    if isinstance(lines, Hull):
        return lines.prismatic_coefficient
    if lines.sections is not None:
        return drawn_form(shape=lines.sections).prismatic_coefficient
    return lines.waterline_exponent / (lines.waterline_exponent + 1.0)
