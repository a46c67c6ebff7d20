"""Wave resistance of a hull given by its sections, by Michell's integral, with what a transom adds.

Plain numbers only: evaluated when a boat is built. Half breadths run straight from station to station at
every height, and up the sides above the sheer.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from vpp.physics.foil_geometry import smooth_step
from vpp.physics.hull_form import (
    INTEGRAL_FROUDE,
    SHORT_WAVE_FROUDE,
    VOLUME_SHARE_LIMIT,
    WaveTable,
    table_froude_numbers,
    table_of_curves,
    wave_curve,
)
from vpp.physics.section_shape import SectionShape
from vpp.physics.thin_ship import (
    PAIR_DIRECTIONS,
    gauss_nodes,
    short_wave_spacing_factor,
    spacing_factor,
    wave_directions,
)

FloatArray = NDArray[np.float64]

# Middle and half width of the band of transom Froude numbers over which a transom runs dry.
_DRY_MIDDLE = 1.5
_DRY_BAND = 1.0
# Length of the dead water behind a step, in its heights, and how far water runs at transom Froude number 1
# while it falls through the transom's depth, in depths.
_DEAD_WATER = 6.0
_FALL = np.sqrt(2.0)

_DIRECTIONS = 240
_RATE_STEP = 0.05
# Shares of the drawn volume at which a table is made: closer about and above 1 than those of `hull_form`,
# because the transom goes in and out there.
_VOLUME_SHARES = (0.05, 0.35, 0.75, 1.25, 2.0, VOLUME_SHARE_LIMIT)
_LAW_NODES = 24
# Wave numbers of two waves of the humps below the Froude number where short waves begin.
_MEAN_WAVE_NUMBERS = 0.24**-2.0 + np.pi * (np.arange(16) + 0.5) / 4.0


@dataclass(frozen=True, kw_only=True)
class _Wet:
    """Strips below the water of every station, in water-line lengths: half breadth at either edge, depth of
    the upper edge and height, (stations, strips).
    """

    upper: FloatArray
    lower: FloatArray
    depth: FloatArray
    height: FloatArray


@dataclass(frozen=True, kw_only=True)
class _Sections:
    """Stations in water-line lengths: x (stations,), half breadths and heights (stations, points)."""

    x: FloatArray
    breadth: FloatArray
    height: FloatArray


def section_wave_table(*, shape: SectionShape, waterline_length: float) -> WaveTable:
    """Table of a hull's resistance by waves and of its transom, for `hull_form.wave_resistance`.

    waterline_length [m]: drawn, that of the Froude number. The hull is level at each of the table's displaced
    volumes, over that below the drawn water plane. As in `hull_form.wave_table` the integral gives way below
    Froude number 0.24 to its mean over the humps, which goes with the sixth power of speed; that mean is
    taken over the two waves of the humps below. Includes `transom_drag`. Takes some 0.3 s.

    Against the integral, in the curve's maximum at that volume: within 2 % from 0.8 to 2 of the drawn volume,
    but 3.5 % where a broad transom just touches the water, 5 % to 3 and from 0.5, 10 % below.

    Raises ValueError as `section_wave_resistance` does.
    """
    return section_wave_tables(shape=shape, waterline_length=waterline_length)[0]


def section_wave_tables(
    *, shape: SectionShape, waterline_length: float, spacing: float | None = None
) -> tuple[WaveTable, ...]:
    """`section_wave_table`, and with a spacing [m] of the centre planes a second one: what a like hull
    abreast adds to the resistance of each of the two.
    """
    sections = _sections(shape, waterline_length)
    apart = None if spacing is None else spacing / waterline_length
    drawn = _volume(sections, 0.0)
    levels = [_level(sections, share * drawn) for share in _VOLUME_SHARES]
    froude = np.concatenate((INTEGRAL_FROUDE, _MEAN_WAVE_NUMBERS**-0.5))
    integrals = _integrals(sections, levels, froude, apart)
    own_curves, added_curves = [], []
    for share, level, single, added in zip(_VOLUME_SHARES, levels, *integrals, strict=True):
        split = len(INTEGRAL_FROUDE)
        law = _short_wave_law(_wet(sections, level), sections.x, np.append(SHORT_WAVE_FROUDE, froude[split:]))
        count = len(SHORT_WAVE_FROUDE)
        mean = law[:count] * np.mean(single[split:] / law[count:])
        scale = (share * drawn) ** 2
        drag = _transom_drag(sections, level, table_froude_numbers())
        own_curves.append((wave_curve(integral=single[:split], short_waves=mean) + drag) / scale)
        if apart is not None:
            beside = mean * short_wave_spacing_factor(apart / SHORT_WAVE_FROUDE**2)
            added_curves.append(wave_curve(integral=added[:split], short_waves=beside) / scale)
    return tuple(
        table_of_curves(curves=curves, volume_shares=_VOLUME_SHARES)
        for curves in (own_curves, added_curves)
        if curves
    )


def section_wave_resistance(
    *, froude_number: ArrayLike, shape: SectionShape, waterline_length: float, level: float = 0.0
) -> FloatArray:
    """Wave resistance over rho g L^3 [-] of a level hull by Michell's integral, without `transom_drag`.

    froude_number (n,), positive, on the drawn waterline_length L [m]; level [m]: the water's height over the
    drawn water plane. Within 0.1 % of the integral over the given surface from Froude number 0.17 to 3.

    Behind a transom the water closes: the half breadth there runs out as a cosine over the length T sqrt(36 +
    2 F^2) with T the transom's depth and F the Froude number on it. That is the dead water behind a step at
    low speed (six heights: backward-facing steps, from memory), and at high speed the way that water goes
    while it falls freely through T (estimate). A first section from ahead that has a breadth is an abrupt
    source.

    Raises ValueError for fewer than two stations or a hull that is dry. Sources: that of
    `thin_ship.michell_wave_resistance`; L. J. Doctors and A. H. Day, Resistance prediction for transom-stern
    vessels, FAST 1997 (from memory), for a hollow in the water as a part of the hull.
    """
    sections = _sections(shape, waterline_length)
    froude = np.asarray(froude_number, dtype=np.float64)
    return _integrals(sections, [level / waterline_length], froude, None)[0][0]


def transom_drag(
    *, froude_number: ArrayLike, shape: SectionShape, waterline_length: float, level: float = 0.0
) -> FloatArray:
    """What a transom misses of the water's pressure at rest, over rho g L^3 [-], arguments as in
    `section_wave_resistance`, Froude number 0 included.

    rho g times the integral of depth over the wet transom, times its dry share: a smooth step of the
    transom's Froude number from 0.5 (wet) to 2.5 (dry). Source of the 2.5, from memory: I. Oving, 1985, and
    Doctors and Day, 1997; the step is an estimate.
    """
    sections = _sections(shape, waterline_length)
    return _transom_drag(sections, level / waterline_length, np.asarray(froude_number, dtype=np.float64))


def _sections(shape: SectionShape, length: float) -> _Sections:
    if len(shape.station_x) < 2:
        raise ValueError(f"A hull has two stations at least; {len(shape.station_x)} is given.")
    points = max(len(outline) for outline in shape.outlines)
    # the sheer, repeated, adds nothing
    filled = [[*outline, *[outline[-1]] * (points - len(outline))] for outline in shape.outlines]
    both = np.array(filled, dtype=np.float64) / length
    sections = _Sections(x=np.array(shape.station_x) / length, breadth=both[..., 0], height=both[..., 1])
    if _volume(sections, 0.0) <= 0.0:
        raise ValueError("No part of the hull is below the drawn water plane.")
    return sections


def _wet(sections: _Sections, level: float) -> _Wet:
    b, h = sections.breadth, sections.height
    upper_edge, lower_edge = np.minimum(h[:, 1:], level), np.minimum(h[:, :-1], level)
    rise = np.diff(h, axis=1)
    wet_share = np.divide(upper_edge - lower_edge, rise, out=np.zeros_like(rise), where=rise > 0.0)
    upper = b[:, :-1] + wet_share * np.diff(b, axis=1)
    sheer = np.minimum(h[:, -1:], level)
    return _Wet(
        upper=np.hstack((upper, b[:, -1:])),
        lower=np.hstack((b[:, :-1], b[:, -1:])),
        depth=np.hstack((level - upper_edge, np.zeros_like(sheer))),
        height=np.hstack((upper_edge - lower_edge, level - sheer)),
    )


def _volume(sections: _Sections, level: float) -> float:
    wet = _wet(sections, level)
    area = np.sum((wet.upper + wet.lower) * wet.height, axis=1)
    return float(np.trapezoid(area, sections.x))


def _level(sections: _Sections, volume: float) -> float:
    """Height of the water at which a level hull displaces a volume, by bisection."""
    low, high = float(np.min(sections.height)), float(np.max(sections.height))
    while _volume(sections, high) < volume:
        high += high - low
    for _ in range(50):
        middle = 0.5 * (low + high)
        if _volume(sections, middle) < volume:
            low = middle
        else:
            high = middle
    return high


def _transom_depth(sections: _Sections, wet: _Wet) -> float:
    """Depth of the lowest point of the aftmost section that has a breadth; 0 without a wet transom."""
    broad = (wet.height[0] > 0.0) & (wet.upper[0] + wet.lower[0] > 0.0)
    return float(np.max((wet.depth[0] + wet.height[0])[broad], initial=0.0))


def _transom_drag(sections: _Sections, level: float, froude: FloatArray) -> FloatArray:
    wet = _wet(sections, level)
    depth = _transom_depth(sections, wet)
    if depth == 0.0:
        return np.zeros_like(froude)
    upper, lower, top, height = wet.upper[0], wet.lower[0], wet.depth[0], wet.height[0]
    moment = height * ((upper + lower) * top + height * (upper + 2.0 * lower) / 3.0)
    drag: FloatArray = np.sum(moment) * smooth_step((froude / np.sqrt(depth) - _DRY_MIDDLE) / _DRY_BAND)
    return drag


def _integrals(
    sections: _Sections, levels: Sequence[float], froude: FloatArray, spacing: float | None
) -> tuple[list[FloatArray], list[FloatArray]]:
    """Michell's integral at every level, and what a hull abreast adds to it (zeros without a spacing), all of
    them in the same directions.
    """
    wets = [_wet(sections, level) for level in levels]
    shallowest = min(float(np.max(wet.depth + wet.height)) for wet in wets)
    count = _DIRECTIONS if spacing is None else PAIR_DIRECTIONS
    secant, weight = wave_directions(froude_number=froude, draught=shallowest, count=count)
    wave_number = 1.0 / froude[:, None] ** 2
    factor: FloatArray | float = 0.0
    if spacing is not None:
        factor = spacing_factor(wave_number=wave_number, secant=secant, weight=weight, spacing=spacing)
    amplitudes = _amplitudes(sections, wets, np.broadcast_to(froude[:, None], secant.shape), secant)
    singles = [weight * (amplitude.real**2 + amplitude.imag**2) for amplitude in amplitudes]
    return [np.sum(s, axis=-1) for s in singles], [np.sum(s * factor, axis=-1) for s in singles]


def _amplitudes(
    sections: _Sections, wets: Sequence[_Wet], froude: FloatArray, secant: FloatArray
) -> list[NDArray[np.complex128]]:
    """The integral of the half breadth's slope times exp(i k secant x - k secant^2 depth), at every level."""
    x, rate = sections.x, (secant / froude) ** 2
    along = secant / froude**2
    step = np.diff(x)
    middle = 0.5 * (x[1:] + x[:-1])
    phase = along[..., None]
    segment = np.exp(1j * phase * middle) * np.sinc(phase * (step / (2.0 * np.pi)))
    grid = np.arange(
        np.log(np.min(rate)) - 2.0 * _RATE_STEP, np.log(np.max(rate)) + 3.0 * _RATE_STEP, _RATE_STEP
    )
    place, shares = _between(grid, np.log(rate))
    results = []
    for wet in wets:
        tabulated = _down(wet, np.exp(grid))
        parts = [share[..., None] * tabulated[place + i] for i, share in enumerate(shares)]
        down = np.sum(parts, axis=0)
        amplitude = np.einsum("...s,...s->...", segment, np.diff(down, axis=-1))
        results.append(amplitude + _ends(sections, wet, froude, along, down))
    return results


def _short_wave_law(wet: _Wet, x: FloatArray, froude: FloatArray) -> FloatArray:
    """What the resistance of short waves goes with, ends making theirs each for itself: the integral of an
    end's amplitude squared, with the depths of the hull's slopes as a whole.
    """
    node, node_weight = gauss_nodes(_LAW_NODES)
    sine = 0.5 * (node + 1.0)
    rate = 1.0 / (froude[:, None] ** 2 * (1.0 - sine**2))
    slopes = np.diff(_down(wet, rate.ravel()), axis=1) ** 2 @ (1.0 / np.diff(x))
    law: FloatArray = froude**4 * ((rate * slopes.reshape(rate.shape)) @ node_weight)
    return law


def _ends(
    sections: _Sections, wet: _Wet, froude: FloatArray, along: FloatArray, down: FloatArray
) -> NDArray[np.complex128] | float:
    """What a breadth at the last station and at the first one, a transom, adds to the amplitude."""
    total: NDArray[np.complex128] | float = 0.0
    if np.any(down[..., -1]):
        total = total - down[..., -1] * np.exp(1j * along * sections.x[-1])
    depth = _transom_depth(sections, wet)
    if depth > 0.0:
        turn = along * depth * np.sqrt(_DEAD_WATER**2 + _FALL**2 * froude**2 / depth)
        # transform of the slope of a half cosine over the length behind the transom
        closing = 0.5 * np.pi**2 * np.sinc((np.pi - turn) / (2.0 * np.pi)) / (np.pi + turn)
        total = total + down[..., 0] * closing * np.exp(1j * (along * sections.x[0] - 0.5 * turn))
    return total


def _down(wet: _Wet, rate: FloatArray) -> FloatArray:
    """Integral of the half breadth times exp(-rate depth) over depth, (rates, stations)."""
    a = rate[:, None, None] * wet.height
    small = a < 1e-3
    safe = np.where(small, 1.0, a)
    mean = np.where(small, 1.0 - 0.5 * a, -np.expm1(-safe) / safe)
    slant = np.where(small, 0.5 - a / 3.0, (-np.expm1(-safe) / safe - np.exp(-safe)) / safe)
    strips = wet.upper * mean + (wet.lower - wet.upper) * slant
    total: FloatArray = np.sum(np.exp(-rate[:, None, None] * wet.depth) * wet.height * strips, axis=-1)
    return total


def _between(grid: FloatArray, at: FloatArray) -> tuple[NDArray[np.intp], tuple[FloatArray, ...]]:
    """First of the four points of an even grid about each place, and their weights in the cubic through
    them.
    """
    position = (at - grid[0]) / (grid[1] - grid[0])
    first = np.clip(np.floor(position).astype(int) - 1, 0, len(grid) - 4)
    t = position - first - 1.0
    return first, (
        -t * (t - 1.0) * (t - 2.0) / 6.0,
        (t + 1.0) * (t - 1.0) * (t - 2.0) / 2.0,
        -(t + 1.0) * t * (t - 2.0) / 2.0,
        (t + 1.0) * t * (t - 1.0) / 6.0,
    )
