"""A slender hull of simple form that sits at any height: buoyancy, wetted area and wave resistance.

Half breadth (B/2) (1 - |2x/L|^n) (1 - (1 - h/T)^m) at height h over a flat keel line, vertical sides above
the drawn water plane. `hull_columns` and `wave_table` are made once, when a boat is built; `buoyancy` and
`wave_resistance` take arrays of conditions.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from vpp.physics.arrays import Array, array_namespace, elementwise, sum_of_rows, with_partials
from vpp.physics.foil_geometry import body_to_horizontal, smooth_step
from vpp.physics.interpolation import cubic_coefficients, piecewise_cubic
from vpp.physics.thin_ship import family_wave_resistance, gauss_nodes

FloatArray = NDArray[np.float64]

# Least half width [m] of the band about the water's surface in which the bottom of a column is partly wet.
SURFACE_BAND = 0.02
# Smallest and largest exponent of the water line and of the section.
EXPONENT_RANGE = (1.5, 6.0)
# Froude number at which a `WaveTable` ends.
FROUDE_LIMIT = 3.0
# Displaced volume over the drawn one up to which a `WaveTable` holds.
VOLUME_SHARE_LIMIT = 3.0

# Default counts of `hull_columns`.
STATIONS = 8
ROWS = 5
# Square of the half width of a smooth step over the variance of its slope.
_STEP_WIDTH = 7.0
_NODES_IN_ROW = 12

_TABLE_STEP = 0.0125
# Froude number from which the curve has no short humps any more, and the step that does from there.
_SMOOTH_FROM = 0.6
_SMOOTH_STEP = 0.05
# Middle and half width of the band of Froude numbers over which bow and stern waves begin to interfere.
_INTERFERENCE_START = 0.2
_INTERFERENCE_BAND = 0.04
_SLOW_COUNT = round(_SMOOTH_FROM / _TABLE_STEP) - 1
_COARSE_COUNT = round((FROUDE_LIMIT - _SMOOTH_FROM) / _SMOOTH_STEP) + 1
# Shares of the drawn volume at which a `WaveTable` is made.
VOLUME_SHARES = (0.05, 0.2, 0.5, 1.0, 1.7, VOLUME_SHARE_LIMIT)
_SHARE_SCALE = 0.03


def _integral_froude() -> tuple[FloatArray, FloatArray]:
    slow: FloatArray = _TABLE_STEP * np.arange(1, _SLOW_COUNT + 1, dtype=np.float64)
    coarse: FloatArray = _SMOOTH_FROM + _SMOOTH_STEP * np.arange(_COARSE_COUNT, dtype=np.float64)
    place = (slow - _INTERFERENCE_START) / _INTERFERENCE_BAND
    return np.concatenate((slow[place > -1.0], coarse)), slow[place < 1.0]


# Froude numbers at which `wave_curve` takes the integral, and what takes its place for short waves.
INTEGRAL_FROUDE, SHORT_WAVE_FROUDE = _integral_froude()


@dataclass(frozen=True, kw_only=True)
class Columns:
    """A hull as vertical columns (along body z), each from its bottom upwards without end.

    (columns,) when built, (columns, conditions) in use. x, y, bottom_z [m]: the middle of the bottom, in body
    axes. plan_area [m^2]: the column's cross-section, seen from above. skin_area [m^2]: hull surface that
    gets wet with the bottom. side_length [m]: length along the water line of a vertical side that stands on
    it. variance_y, covariance_yz, variance_z [m^2]: how far the bottom spreads about its middle, 0 for a
    level one without breadth.
    """

    x: Array
    y: Array
    bottom_z: Array
    plan_area: Array
    skin_area: Array
    side_length: Array
    variance_y: Array
    covariance_yz: Array
    variance_z: Array


@dataclass(frozen=True, kw_only=True)
class Afloat:
    """What still water does to a hull, (conditions,).

    volume [m^3] displaced; up [N]: the buoyant force; roll, pitch [N m]: its moments about the reference
    point in horizontal axes (forward, to leeward, up), positive roll rights and positive pitch is bow down;
    wetted_area [m^2].
    """

    volume: Array
    up: Array
    roll: Array
    pitch: Array
    wetted_area: Array


@dataclass(frozen=True, kw_only=True)
class WaveTable:
    """Wave resistance of a hull against Froude number and displaced volume, as `wave_resistance` takes it.

    coefficients [-]: (6, 4, pieces) when built, (6, 4, pieces, conditions) in use, or (6, 4, pieces, hulls)
    with the hull of every condition in `hull` (conditions,). For each power of log(1 + share/0.03) they are
    piecewise cubics in the Froude number, see `interpolation.piecewise_cubic`.
    """

    start: Array
    step: Array
    coefficients: FloatArray
    hull: Array | None = None


def drawn_volume(
    *,
    waterline_length: float,
    waterline_beam: float,
    canoe_draught: float,
    waterline_exponent: float,
    section_exponent: float,
) -> float:
    """Volume [m^3] below the drawn water plane, L B T n/(n + 1) m/(m + 1)."""
    n, m = waterline_exponent, section_exponent
    return waterline_length * waterline_beam * canoe_draught * n / (n + 1.0) * m / (m + 1.0)


def immersed_volume_share(*, immersion: ArrayLike, section_exponent: float) -> FloatArray:
    """Displaced volume of a level hull over the drawn one, by the immersion of its keel line over the drawn
    draught (0 and more).
    """
    depth = np.asarray(immersion, dtype=np.float64)
    m = section_exponent
    inside = np.minimum(depth, 1.0)
    share: FloatArray = (1.0 + 1.0 / m) * depth - (1.0 - (1.0 - inside) ** (m + 1.0)) / m
    return share


def immersion_at(*, volume_share: float, section_exponent: float) -> float:
    """The inverse of `immersed_volume_share`, by bisection."""
    low, high = 0.0, 1.0 + volume_share
    for _ in range(60):
        middle = 0.5 * (low + high)
        if immersed_volume_share(immersion=middle, section_exponent=section_exponent) < volume_share:
            low = middle
        else:
            high = middle
    return high


def hull_columns(
    *,
    waterline_length: float,
    waterline_beam: float,
    canoe_draught: float,
    waterline_exponent: float,
    section_exponent: float,
    centre_x: float = 0.0,
    stations: int = STATIONS,
    rows: int = ROWS,
) -> Columns:
    """Columns of a hull of half breadth (B/2) (1 - |2x/L|^n) (1 - (1 - h/T)^m) at height h over its flat keel
    line, with vertical sides above the drawn water plane.

    Lengths [m]; n is `waterline_exponent` and m `section_exponent`, 1.5 to 6 each (2 and 2 are the Wigley
    hull); the middle of the water line is at x = `centre_x`, its plane at z = 0. `stations` (even) along the
    length and `rows` between keel and water plane on either side give 2 stations (rows + 1) columns. How
    much of the hull each count gets right is on the theory page.

    Raises ValueError for an exponent out of range, a length that is not positive, or an unusable count.
    """
    lengths = (waterline_length, waterline_beam, canoe_draught)
    check_form(lengths, (waterline_exponent, section_exponent))
    if stations < 2 or stations % 2 or rows < 1:
        raise ValueError(f"{stations} stations (even, at least 2) and {rows} rows (at least 1) are given.")
    node, weight = _gauss(stations // 2)
    parts = [
        _station(
            lengths=lengths, exponents=(waterline_exponent, section_exponent), place=t, share=dt, rows=rows
        )
        for t, dt in zip(node, weight, strict=True)
    ]
    quarter = {name: np.concatenate([part[name] for part in parts]) for name in parts[0]}
    whole = {name: np.tile(values, 4) for name, values in quarter.items()}
    count = len(quarter["x"])
    whole["x"] = whole["x"] * np.repeat((1.0, -1.0, 1.0, -1.0), count) + centre_x
    for name in ("y", "covariance_yz"):
        whole[name] = whole[name] * np.repeat((1.0, 1.0, -1.0, -1.0), count)
    return Columns(**whole)


def buoyancy(
    *, columns: Columns, ride_height: Array, heel: Array, pitch: Array, water_density: Array, gravity: Array
) -> Afloat:
    """Buoyant force, its moments, displaced volume and wetted area of a hull in still water.

    columns (columns, conditions); ride_height [m] of the reference point over the undisturbed water, heel to
    leeward and pitch bow up [rad], (conditions,); water_density [kg/m^3] and gravity [m/s^2] carry no
    derivatives. Hydrostatic: the boat's own wave and dynamic lift are left out. Heel and pitch below 90 deg;
    the hull has no deck.

    A bottom gets wet by `smooth_step` over a band that has the spread of its heights, at least `SURFACE_BAND`
    either way: everything is twice continuously differentiable, and zero where the hull is clear by its
    bands. Force and moments are the derivatives of one potential energy, also within the bands. Deep in the
    water the force is exact and the moments are those of a hull whose parts hang SURFACE_BAND^2/14 over
    their immersion lower (0.1 mm).
    """

    def afloat(ride_height: Array, heel: Array, pitch: Array) -> tuple[Array, ...]:
        xp = array_namespace(ride_height, heel, pitch)
        # height of the water in body axes at (x, y): level + rise_x x + rise_y y
        rise_x, rise_y = -1.0 * xp.tan(pitch) / xp.cos(heel), xp.tan(heel)
        level = -1.0 * ride_height / (xp.cos(heel) * xp.cos(pitch))
        volume, moment_x, moment_y, energy, wetted = with_partials(
            partial(_sums, columns), level, rise_x, rise_y
        )
        # a wet column's middle lies half its immersion below the water: energy over volume
        moment_z = level * volume + rise_x * moment_x + rise_y * moment_y - energy
        forward, leeward, _ = body_to_horizontal(x=moment_x, y=moment_y, z=moment_z, heel=heel, pitch=pitch)
        return volume, forward, leeward, wetted

    volume, forward, leeward, wetted = elementwise(afloat, ride_height, heel, pitch)
    specific_weight = water_density * gravity
    return Afloat(
        volume=volume,
        up=specific_weight * volume,
        roll=specific_weight * leeward,
        pitch=-1.0 * specific_weight * forward,
        wetted_area=wetted,
    )


def wave_table(
    *,
    waterline_length: float,
    waterline_beam: float,
    canoe_draught: float,
    waterline_exponent: float,
    section_exponent: float,
) -> WaveTable:
    """Table of a hull's wave resistance by Michell's integral, arguments as in `hull_columns`.

    Resistance over rho g V^2/L^3, with V the displaced volume: a spline in the Froude number to 3 at each of
    six volume shares from 0.05 to 3, and between these a polynomial in log(1 + share/0.03), because the
    theory grows as the logarithm of draught when a hull leaves the water. About Froude number 0.2 (0.16 to
    0.24) the integral gives way to its mean without interference of bow and stern: their short waves do not
    meet behind real ships as they do in it. Takes some 0.3 s.

    Raises ValueError as `hull_columns` does.
    """
    lengths = (waterline_length, waterline_beam, canoe_draught)
    check_form(lengths, (waterline_exponent, section_exponent))
    slender_volume = drawn_volume(
        waterline_length=1.0,
        waterline_beam=waterline_beam / waterline_length,
        canoe_draught=canoe_draught / waterline_length,
        waterline_exponent=waterline_exponent,
        section_exponent=section_exponent,
    )
    curves = []
    for share in VOLUME_SHARES:
        resistance = partial(
            family_wave_resistance,
            length_beam_ratio=waterline_length / waterline_beam,
            beam_draught_ratio=waterline_beam / canoe_draught,
            waterline_exponent=waterline_exponent,
            section_exponent=section_exponent,
            immersion=immersion_at(volume_share=share, section_exponent=section_exponent),
        )
        curve = wave_curve(
            integral=resistance(froude_number=INTEGRAL_FROUDE),
            short_waves=resistance(froude_number=SHORT_WAVE_FROUDE, interference=False),
        )
        curves.append(curve / (share * slender_volume) ** 2)
    return table_of_curves(curves=curves)


def wave_curve(*, integral: FloatArray, short_waves: FloatArray) -> FloatArray:
    """Resistance at the Froude numbers of a `WaveTable`, from the integral at `INTEGRAL_FROUDE` and from what
    takes its place for short waves at `SHORT_WAVE_FROUDE`.
    """
    slow = _TABLE_STEP * np.arange(1, _SLOW_COUNT + 1)
    together = smooth_step((slow - _INTERFERENCE_START) / _INTERFERENCE_BAND)
    own_count = len(INTEGRAL_FROUDE) - _COARSE_COUNT
    first = np.zeros_like(slow)
    first[: len(short_waves)] = (1.0 - together[: len(short_waves)]) * short_waves
    first[-own_count:] += together[-own_count:] * integral[:own_count]
    spline = cubic_coefficients(values=integral[own_count:])
    fast = _TABLE_STEP * np.arange(len(slow) + 1, round(FROUDE_LIMIT / _TABLE_STEP) + 1)
    rest = piecewise_cubic(x=fast, start=_SMOOTH_FROM, step=_SMOOTH_STEP, coefficients=spline)
    return np.concatenate(([0.0], first, rest))


def table_froude_numbers() -> FloatArray:
    """Froude numbers of the values that `wave_curve` gives and `table_of_curves` takes."""
    numbers: FloatArray = _TABLE_STEP * np.arange(round(FROUDE_LIMIT / _TABLE_STEP) + 1, dtype=np.float64)
    return numbers


def table_of_curves(
    *, curves: Sequence[FloatArray], volume_shares: Sequence[float] = VOLUME_SHARES
) -> WaveTable:
    """A `WaveTable` through curves of resistance over rho g V^2/L^3, one for each share of the drawn volume,
    at the Froude numbers of `table_froude_numbers`.
    """
    powers = np.vander(np.log1p(np.array(volume_shares) / _SHARE_SCALE), increasing=True)
    by_power = np.linalg.solve(powers, np.stack(curves))
    coefficients = cubic_coefficients(values=by_power.T, start_slope=np.zeros(len(curves)))
    return WaveTable(start=0.0, step=_TABLE_STEP, coefficients=np.moveaxis(coefficients, -1, 0))


def wave_resistance(
    *,
    froude_number: Array,
    volume: Array,
    drawn_volume: Array,
    waterline_length: Array,
    table: WaveTable,
    water_density: Array,
    gravity: Array,
) -> Array:
    """Wave resistance [N] at a displaced volume, from a `WaveTable`.

    (conditions,) each: froude_number on the drawn length, 0 to 3; volume [m^3], from 0 to 3 times the
    drawn_volume; waterline_length [m]; water_density [kg/m^3]; gravity [m/s^2]. Twice continuously
    differentiable. Zero at rest and out of the water, where it goes with the square of the volume. Against
    the integral, in the curve's maximum at that volume: within 1 % from 0.2 to 1.5 of the drawn volume, 1.5 %
    from 0.05, and 4 % to 3.

    Thin ship: slender hulls only (length over cube root of volume above about 6). The hull is taken as level
    at its volume; heel, trim, a transom and dynamic lift do not change the waves.
    """

    def resistance(froude_number: Array, volume: Array) -> tuple[Array, ...]:
        powers = froude_powers(froude_number=froude_number, table=table)
        total = sum_of_powers(powers=powers, volume_share=volume / drawn_volume)
        return (water_density * gravity / waterline_length**3 * volume**2 * total,)

    return elementwise(resistance, froude_number, volume)[0]


def froude_powers(*, froude_number: Array, table: WaveTable) -> list[Array]:
    """Factors of the powers of log(1 + share/0.03) in a `WaveTable` at Froude numbers (conditions,)."""
    return [
        piecewise_cubic(
            x=froude_number,
            start=table.start,
            step=table.step,
            coefficients=coefficients,
            curve=table.hull,
        )
        for coefficients in table.coefficients
    ]


def sum_of_powers(*, powers: list[Array], volume_share: Array) -> Array:
    """Resistance over rho g V^2/L^3 [-] at a share of the drawn volume, from `froude_powers`."""
    xp = array_namespace(volume_share)
    depth = xp.log(1.0 + volume_share / _SHARE_SCALE)
    total: Array = 0.0
    for factor in reversed(powers):
        total = total * depth + factor
    return total


def _sums(
    columns: Columns, level: Array, rise_x: Array, rise_y: Array
) -> tuple[tuple[Array, ...], Callable[[], tuple[Any, ...]]]:
    """Volume, its moments in x and y, energy and wetted area; for `with_partials`.

    The energy is the sum of area times the mean square of immersion over 2; volume and moments are its
    derivatives in the three arguments, wherefore the spread of the bottom adds to the moment in y.
    """
    lean = columns.covariance_yz - columns.variance_y * rise_y
    spread = columns.variance_z - (columns.covariance_yz + lean) * rise_y
    band2 = _STEP_WIDTH * spread + SURFACE_BAND**2
    immersion = level + rise_x * columns.x + rise_y * columns.y - columns.bottom_z
    column = _Column(immersion=immersion, band2=band2)
    # of one column, as functions of immersion u and squared band q: their derivatives are columns' parts
    area, turn = columns.plan_area, -2.0 * _STEP_WIDTH * lean
    values = (
        sum_of_rows(area * column.by_u),
        sum_of_rows((area * columns.x) * column.by_u),
        sum_of_rows(area * (columns.y * column.by_u + turn * column.by_q)),
        sum_of_rows(area * column.energy),
        sum_of_rows(columns.skin_area * column.by_uu + columns.side_length * column.by_u),
    )
    return values, lambda: _partials(columns, column, turn, values)


class _Column:
    """Half the mean square of immersion u of a column whose bottom spreads over a band of half width sqrt(q),
    and its derivatives by u and q: by u the wet length, by u twice the wet share, which is `smooth_step`.
    """

    def __init__(self, *, immersion: Array, band2: Array):
        xp = array_namespace(immersion, band2)
        self.band2, self.band = band2, xp.sqrt(band2)
        self.depth = depth = immersion / self.band
        self.t = t = 0.5 * (xp.minimum(xp.maximum(depth, -1.0), 1.0) + 1.0)
        # the constant first: of two equals it is what is taken, and the slope is counted once
        below = xp.maximum(1.0, depth) - 1.0
        cube = t * t * t
        fourth = cube * t
        self.by_uu = cube * (10.0 + t * (6.0 * t - 15.0))
        self.length = fourth * (5.0 + t * (2.0 * t - 6.0)) + below
        half_square = fourth * t * (2.0 + t * (t * (4.0 / 7.0) - 2.0)) + below * (1.0 + 0.5 * below)
        self.energy = band2 * half_square
        self.by_u = self.band * self.length
        self.by_q = half_square - 0.5 * depth * self.length

    def further(self) -> tuple[Array, ...]:
        """By uq, qq, uuu, uuq, uqq, qqq, uuuu, uuuq and uuqq."""
        depth, inverse = self.depth, 1.0 / self.band2
        root = 1.0 / self.band
        rest = self.t * (1.0 - self.t)
        growth = 15.0 * rest * rest
        bend = 15.0 * rest * (1.0 - 2.0 * self.t)
        missing = self.length - depth * self.by_uu
        along = depth * growth
        twice = missing - depth * along
        return (
            0.5 * root * missing,
            -0.25 * inverse * depth * missing,
            root * growth,
            -0.5 * inverse * along,
            -0.25 * inverse * root * twice,
            0.125 * inverse * inverse * depth * (2.0 * missing + twice),
            inverse * bend,
            -0.5 * inverse * root * (growth + depth * bend),
            0.25 * inverse * inverse * depth * (3.0 * growth + depth * bend),
        )


def _partials(
    columns: Columns, column: _Column, turn: Array, values: tuple[Array, ...]
) -> tuple[tuple[Array, Array], ...]:
    """Gradients and second derivatives of `_sums` by level l, rise along x and rise along y.

    The level changes a column's immersion u by one, rise along x by x, and rise along y by y and its squared
    band q by `turn`, which it changes in turn by `bend`.
    """
    x, y = columns.x, columns.y
    bend = 2.0 * _STEP_WIDTH * columns.variance_y
    uu = column.by_uu
    uq, qq, uuu, uuq, uqq, qqq, uuuu, uuuq, uuqq = column.further()
    # derivatives along y, once, twice and three times, of the energy's own by u
    u_y, uu_y = y * uu + turn * uq, y * uuu + turn * uuq
    q_y, uq_y = y * uq + turn * qq, y * uuq + turn * uqq
    u_yy = y * uu_y + turn * uq_y + bend * uq
    qq_y = y * uqq + turn * qqq
    q_yy = y * uq_y + turn * qq_y + bend * qq
    e_yy = y * u_y + turn * q_y + bend * column.by_q
    e_yyy = y * u_yy + turn * q_yy + 2.0 * bend * q_y
    uuu_y = y * uuuu + turn * uuuq
    uu_yy = y * uuu_y + turn * (y * uuuq + turn * uuqq) + bend * uuq

    def moments(amount: Array, of: Array, most: int) -> list[Array]:
        """Sums of an amount of something, and its moments along x to the `most`."""
        found, part = [], amount * of
        for _ in range(most + 1):
            found.append(sum_of_rows(part))
            part = part * x
        return found

    area, skin, side = columns.plan_area, columns.skin_area, columns.side_length
    ll, lx, xx = moments(area, uu, 2)
    ly, xy = moments(area, u_y, 1)
    (yy,) = moments(area, e_yy, 0)
    lll, llx, lxx, xxx = moments(area, uuu, 3)
    lly, lxy, xxy = moments(area, uu_y, 2)
    lyy, xyy = moments(area, u_yy, 1)
    (yyy,) = moments(area, e_yyy, 0)
    by_level = moments(1.0, skin * uuu + side * uu, 1)
    by_rise = moments(1.0, skin * uu_y + side * u_y, 0)
    wet_ll, wet_lx, wet_xx = moments(1.0, skin * uuuu + side * uuu, 2)
    wet_ly, wet_xy = moments(1.0, skin * uuu_y + side * uu_y, 1)
    (wet_yy,) = moments(1.0, skin * uu_yy + side * u_yy, 0)
    return (
        (np.stack([ll, lx, ly]), np.stack([lll, llx, lly, lxx, lxy, lyy])),
        (np.stack([lx, xx, xy]), np.stack([llx, lxx, lxy, xxx, xxy, xyy])),
        (np.stack([ly, xy, yy]), np.stack([lly, lxy, lyy, xxy, xyy, yyy])),
        (np.stack(values[:3]), np.stack([ll, lx, ly, xx, xy, yy])),
        (np.stack([*by_level, *by_rise]), np.stack([wet_ll, wet_lx, wet_ly, wet_xx, wet_xy, wet_yy])),
    )


def _station(
    *,
    lengths: tuple[float, float, float],
    exponents: tuple[float, float],
    place: float,
    share: float,
    rows: int,
) -> dict[str, FloatArray]:
    """Columns on one side of one station at `place` of the half length: one for each row, one for the side.

    A row's area, the mean place of its bottom and the spread about it give the volume and its moments exactly
    where all of it is wet. The side stands on the lower edge of the top row, where the sections are almost
    vertical, and stands for the skin of that row.
    """
    (length, beam, draught), (n, m) = lengths, exponents
    step, row_height = 0.5 * length * share, draught / rows
    breadth = 0.5 * beam * (1.0 - place**n)
    narrowing = beam / length * n * place ** (n - 1.0)
    node, weight = _gauss(_NODES_IN_ROW)
    height = (np.arange(rows)[:, None] + node) / rows
    z = draught * (height - 1.0)
    y = breadth * (1.0 - (1.0 - height) ** m)
    widening = breadth * m * (1.0 - height) ** (m - 1.0)
    area = step / rows * weight * widening
    skin = step / rows * weight * np.hypot(widening, draught * np.hypot(1.0, narrowing * y / breadth))
    side_length = step * np.hypot(1.0, narrowing)
    plan_area = np.sum(area, axis=1)
    mean_y, mean_z = np.sum(area * y, axis=1) / plan_area, np.sum(area * z, axis=1) / plan_area
    off_y, off_z = y - mean_y[:, None], z - mean_z[:, None]
    skin_area = np.zeros(rows + 1)
    below_side = np.append(mean_z[:-1], -row_height)
    skin_area[[*range(rows - 1), rows]] = _shared_out(skin[:-1], z[:-1], below_side)
    skin_area[rows] += np.sum(skin[-1]) - side_length * row_height
    return {
        "x": np.full(rows + 1, 0.5 * length * place),
        "y": np.append(mean_y, breadth),
        "bottom_z": np.append(mean_z, -row_height),
        "plan_area": np.append(plan_area, 0.0),
        "skin_area": skin_area,
        "side_length": np.append(np.zeros(rows), side_length),
        "variance_y": np.append(np.sum(area * off_y**2, axis=1) / plan_area, 0.0),
        "covariance_yz": np.append(np.sum(area * off_y * off_z, axis=1) / plan_area, 0.0),
        "variance_z": np.append(np.sum(area * off_z**2, axis=1) / plan_area, row_height**2 / 12.0),
    }


def _shared_out(amount: FloatArray, z: FloatArray, at: FloatArray) -> FloatArray:
    """Amounts at heights z given to the two nearest of the heights `at`, so that their moment is kept."""
    above = np.clip(np.searchsorted(at, z), 1, len(at) - 1)
    upper = np.maximum((z - at[above - 1]) / (at[above] - at[above - 1]), 0.0)
    result = np.zeros(len(at))
    np.add.at(result, above, upper * amount)
    np.add.at(result, above - 1, (1.0 - upper) * amount)
    return result


def _gauss(count: int) -> tuple[FloatArray, FloatArray]:
    """Nodes and weights of Gauss's rule on 0 to 1."""
    node, weight = gauss_nodes(count)
    return 0.5 * (node + 1.0), 0.5 * weight


def check_form(lengths: tuple[float, ...], exponents: tuple[float, float]) -> None:
    """Raise ValueError for a length that is not positive or an exponent out of `EXPONENT_RANGE`."""
    if min(lengths) <= 0.0:
        raise ValueError(f"Length, beam and draught must be positive; {lengths} m are given.")
    low, high = EXPONENT_RANGE
    if not all(low <= exponent <= high for exponent in exponents):
        raise ValueError(f"The exponents must be {low:g} to {high:g}; {exponents} are given.")
