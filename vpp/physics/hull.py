"""Resistance of a displacement hull: friction, smooth or rough, residuary resistance of a series of yachts,
wetted area at heel, and the effective draught of hull and fins for induced drag.

The functions that make curves, `residuary_curve`, `heeled_wetted_coefficients` and
`effective_draught_coefficients`, are evaluated once, when a boat is built; the other functions take arrays of
conditions.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vpp.data import systematic_series as series
from vpp.physics.arrays import Array, array_namespace, with_slopes
from vpp.physics.interpolation import cubic_coefficients, piecewise_cubic, smooth_coefficients
from vpp.physics.smoothing import smooth_clamp, smooth_ramp
from vpp.physics.thin_ship import michell_wave_resistance

# Froude numbers on waterline length between which the tests of the series were made.
DATA_FROUDE_RANGE = (0.125, 0.45)
# Froude number up to which the residuary curve is extended beyond its data.
EXTENDED_FROUDE_LIMIT = 0.7
# Smallest and largest value among the hulls of the series.
DATA_RANGES: dict[str, tuple[float, float]] = {
    "buoyancy_centre_share": (series.LOW[0] / 100.0, series.HIGH[0] / 100.0),
    "prismatic_coefficient": (series.LOW[1], series.HIGH[1]),
    "length_displacement_ratio": (series.LOW[2], series.HIGH[2]),
    "beam_draught_ratio": (series.LOW[3], series.HIGH[3]),
    "length_beam_ratio": (series.LOW[4], series.HIGH[4]),
}

# Lengths over sand-grain heights between which the fully rough line holds.
ROUGH_RANGE = (1e2, 1e6)
# Reynolds number on the grains up to which a plate counts as hydraulically smooth. Source: H. Schlichting,
# Boundary-Layer Theory (from memory).
ADMISSIBLE_GRAIN_REYNOLDS = 100.0
# Half width, as a share of the smooth friction, of the hand-over from the smooth to the rough line.
_ROUGH_WIDTH = 0.1
# Length over grain height that stands for no roughness: there the rough line lies below the smooth one at any
# Reynolds number of a boat.
_NO_ROUGHNESS = 1e-15

# Among the hulls of the regressions (from memory): beam over draught, and the midship section's area over its
# beam times draught.
HEELED_WETTED_RANGES: dict[str, tuple[float, float]] = {
    "beam_draught_ratio": (2.46, 19.32),
    "midship_coefficient": (0.64, 0.80),
}
HEELED_WETTED_LIMIT = math.radians(35.0)
# Percent of the upright wetted area, by heel [deg]: constant, B/T, (B/T)^2, Cm.
_HEELED_WETTED = {
    5: (-4.112, 0.054, -0.027, 6.329),
    10: (-4.522, -0.132, -0.077, 8.738),
    15: (-3.291, -0.389, -0.118, 8.949),
    20: (1.850, -1.200, -0.109, 5.364),
    25: (6.510, -2.305, -0.066, 3.443),
    30: (12.334, -3.911, 0.024, 1.767),
    35: (14.648, -5.182, 0.102, 3.497),
}
_HEELED_WETTED_STEP = math.radians(5.0)

# Where the regression of the effective draught behaves like one of fins under yacht hulls (a judgement: the
# ranges of its models are not remembered). Beyond, its polynomial in Tc/T turns over or loses the fin.
EFFECTIVE_DRAUGHT_RANGES: dict[str, tuple[float, float]] = {
    "canoe_draught_share": (0.2, 0.5),
    "beam_draught_ratio": (2.46, 6.0),
    "taper_ratio": (0.3, 1.0),
}
EFFECTIVE_DRAUGHT_FROUDE_RANGE = (0.2, 0.45)
EFFECTIVE_DRAUGHT_HEEL_LIMIT = math.radians(30.0)
# By heel [deg]: A1 to A4, B0, B1.
_EFFECTIVE_DRAUGHT = {
    0: (3.7455, -3.6246, 0.0589, -0.0296, 1.2306, -0.7256),
    10: (4.4892, -4.8454, 0.0294, -0.0176, 1.4231, -1.2971),
    20: (3.9592, -3.9804, 0.0283, -0.0075, 1.5450, -1.5622),
    30: (3.4891, -2.9577, 0.0250, -0.0272, 1.4744, -1.3499),
}
_EFFECTIVE_DRAUGHT_STEP = math.radians(10.0)
# Half widths over which Froude number and heel stop counting beyond their ranges.
_FROUDE_WIDTH, _HEEL_WIDTH = 0.05, math.radians(2.5)

_TEST_STEP = 0.025
_CURVE_STEP = 0.0125
# Longest delay of the thin ship's growth that is looked for, and the step in Froude number of that search.
_MOST_DELAY = 0.1
_THEORY_STEP = 0.0025
# Share of the waterline length on which the analysis of the series based its Reynolds number (from memory).
_REYNOLDS_LENGTH_SHARE = 0.7


@dataclass(frozen=True, kw_only=True)
class ResiduaryCurve:
    """Residuary resistance over weight against Froude number, as `interpolation.piecewise_cubic` takes it."""

    start: float
    step: float
    coefficients: NDArray[np.float64]


def friction_coefficient(*, reynolds: Array) -> Array:
    """Friction coefficient of the ITTC-1957 line, 0.075/(log10 Re - 2)^2, on wetted area.

    Valid from Reynolds number 1e4 up; singular at 100. Source: ITTC recommended procedure 7.5-02-02-01.
    """
    return with_slopes(_friction_line, reynolds)[0]


def _friction_line(reynolds: Array) -> tuple[tuple[Array, ...], Callable[[], tuple[Any, ...]]]:
    """`friction_coefficient`, for `with_slopes`."""
    decades = array_namespace(reynolds).log(reynolds) / math.log(10.0) - 2.0
    line = 0.075 / decades**2

    def slopes() -> tuple[Any, ...]:
        turn = 1.0 / (math.log(10.0) * reynolds * decades)
        return ((-2.0 * line * turn, line * turn * (6.0 * turn + 2.0 / reynolds)),)

    return (line,), slopes


def rough_line_coefficient(*, length: Array, roughness: Array) -> Array:
    """Friction coefficient of a fully rough plate, (1.89 + 1.62 log10(L/ks))^-2.5, on wetted area.

    length [m] of the plate, roughness [m] the height ks of equivalent sand grains; independent of speed. L/ks
    from 1e2 to 1e6. L. Prandtl, H. Schlichting, 1934, in H. Schlichting, Boundary-Layer Theory (from memory).
    """
    xp = array_namespace(length, roughness)
    return (1.89 + 1.62 * xp.log(length / roughness) / math.log(10.0)) ** -2.5


def rough_friction_coefficient(*, reynolds: Array, length: Array, roughness: Array) -> Array:
    """Friction coefficient of a plate of given length [m] and roughness [m], on wetted area.

    roughness is the height of equivalent sand grains, zero or positive. The greater of the smooth line
    (`friction_coefficient`) and the fully rough one (`rough_line_coefficient`); where the two differ by less
    than 10 % of the smooth one, a smooth curve lies above both, by at most 1.6 % of it where they cross.
    That is at a Reynolds number of the grains of 70 to 95. Exactly the smooth line without roughness. Valid
    from Reynolds number 1e4, and for L/ks of 1e2 and more; above 1e6 a boat's plate is smooth.
    Painted and fouled surfaces leave the smooth line earlier and more gently than sand.
    """
    xp = array_namespace(reynolds, length, roughness)
    smooth = friction_coefficient(reynolds=reynolds)
    grains = xp.maximum(roughness, _NO_ROUGHNESS * length)
    excess = rough_line_coefficient(length=length, roughness=grains) / smooth - 1.0
    return smooth * (1.0 + smooth_ramp(value=excess, width=_ROUGH_WIDTH))


def admissible_roughness(*, reynolds: Array, length: Array) -> Array:
    """Height of sand grains [m] up to which a plate is hydraulically smooth: 100 L/Re.

    length [m], reynolds on it. H. Schlichting, Boundary-Layer Theory (from memory).
    """
    return ADMISSIBLE_GRAIN_REYNOLDS * length / reynolds


def frictional_resistance(
    *,
    speed: Array,
    wetted_area: Array,
    waterline_length: Array,
    water_density: Array,
    water_viscosity: Array,
    form_factor: Array,
    roughness: Array = 0.0,
) -> Array:
    """Frictional resistance [N], 0.5 rho V^2 S (1 + k) Cf, with k the `form_factor` (0 adds nothing).

    speed [m/s] positive, wetted_area [m^2], waterline_length [m], water_density [kg/m^3], water_viscosity
    kinematic [m^2/s], roughness [m] as in `rough_friction_coefficient`. The Reynolds number, and the length
    over roughness, are on 0.7 of the waterline length, as in the analysis of the systematic series (J.
    Gerritsma, R. Onnink, A. Versluis, 1981; from memory). The residuary resistance of that series was found
    with k = 0 and so contains the form drag: with it k is 0. Smooth and positive from 0.05 m/s on boats of 3
    m and more.
    """
    length = _REYNOLDS_LENGTH_SHARE * waterline_length
    pressure = 0.5 * water_density * speed**2
    friction = rough_friction_coefficient(
        reynolds=speed * length / water_viscosity, length=length, roughness=roughness
    )
    return pressure * wetted_area * (1.0 + form_factor) * friction


def heeled_wetted_coefficients(
    *, beam_draught_ratio: float, midship_coefficient: float
) -> NDArray[np.float64]:
    """Coefficients for `heeled_wetted_share` of a hull, (4, 14): an even spline over heel from -35 to 35 deg.

    beam_draught_ratio: waterline beam over canoe draught; midship_coefficient: area of the midship section
    over waterline beam times canoe draught. J. A. Keuning, U. B. Sonnenberg, Approximation of the
    hydrodynamic forces on a sailing yacht based on the systematic series, HISWA symposium, 1998 (from
    memory): 1 + (s0 + s1 B/T + s2 (B/T)^2 + s3 Cm)/100, every 5 deg. Plain numbers only.

    Raises ValueError if a parameter lies outside `HEELED_WETTED_RANGES`.
    """
    _check_inside(
        "the regression of heeled wetted area",
        HEELED_WETTED_RANGES,
        {"beam_draught_ratio": beam_draught_ratio, "midship_coefficient": midship_coefficient},
    )
    terms = np.array([1.0, beam_draught_ratio, beam_draught_ratio**2, midship_coefficient])
    heeled = [1.0 + float(terms @ np.array(row)) / 100.0 for row in _HEELED_WETTED.values()]
    return cubic_coefficients(values=[*reversed(heeled), 1.0, *heeled])


def heeled_wetted_share(*, heel: Array, coefficients: Array) -> Array:
    """Wetted area of the canoe body at a heel [rad] over that upright, at the same displacement.

    heel (..., n_conditions), of either sign, to 35 deg: beyond, `outside_heeled_wetted` says so, and the
    last piece of the spline goes on. coefficients (4, 14) or (4, 14, n_conditions), from
    `heeled_wetted_coefficients`. Twice continuously differentiable.
    """
    return piecewise_cubic(
        x=heel, start=-HEELED_WETTED_LIMIT, step=_HEELED_WETTED_STEP, coefficients=coefficients
    )


def outside_heeled_wetted(*, heel: Array) -> Array:
    """Whether a heel [rad] lies beyond the regression of `heeled_wetted_share`; plain numbers."""
    return np.abs(heel) > HEELED_WETTED_LIMIT


def effective_draught_coefficients(
    *, canoe_draught_share: float, beam_draught_ratio: float, taper_ratio: float
) -> NDArray[np.float64]:
    """Coefficients for `effective_draught_share` of a boat, (2, 4, 6): even splines over heel from -30 to 30
    deg, of the value at no speed and of what a unit of Froude number changes.

    canoe_draught_share: canoe draught over total draught; beam_draught_ratio: waterline beam over canoe
    draught; taper_ratio: tip over root chord of the keel. J. A. Keuning, U. B. Sonnenberg, 1998, as for
    `heeled_wetted_coefficients` (from memory): Te/T = (A1 Tc/T + A2 (Tc/T)^2 + A3 B/Tc + A4 taper) (B0 + B1
    Fn), every 10 deg. Plain numbers only.

    Raises ValueError if a parameter lies outside `EFFECTIVE_DRAUGHT_RANGES`.
    """
    _check_inside(
        "the regression of effective draught",
        EFFECTIVE_DRAUGHT_RANGES,
        {
            "canoe_draught_share": canoe_draught_share,
            "beam_draught_ratio": beam_draught_ratio,
            "taper_ratio": taper_ratio,
        },
    )
    terms = np.array([canoe_draught_share, canoe_draught_share**2, beam_draught_ratio, taper_ratio])
    rows = np.array(list(_EFFECTIVE_DRAUGHT.values()))
    heeled = (rows[:, :4] @ terms)[:, None] * rows[:, 4:]
    even = np.concatenate((heeled[:0:-1], heeled))
    return np.stack([cubic_coefficients(values=even[:, i]) for i in (0, 1)])


def effective_draught_share(*, froude_number: Array, heel: Array, coefficients: Array) -> Array:
    """Effective draught over total draught of hull, keel and rudder: the induced drag of all their side force
    F is F^2/(pi q Te^2), with q the dynamic pressure.

    froude_number on waterline length and heel [rad] of either sign, (..., n_conditions). coefficients
    (2, 4, 6) or (2, 4, 6, n_conditions), from `effective_draught_coefficients`. As tested for Froude number
    0.2 to 0.45 and heel to 30 deg; beyond, `outside_effective_draught` says so, and the last values are held
    (from 0.1 below and above, and from 35 deg, with a bend before). A keel with its image in a rigid surface
    would have sqrt(2). Twice continuously differentiable.
    """
    low, high = EFFECTIVE_DRAUGHT_FROUDE_RANGE
    froude = smooth_clamp(
        value=froude_number, low=low - _FROUDE_WIDTH, high=high + _FROUDE_WIDTH, width=_FROUDE_WIDTH
    )
    limit = EFFECTIVE_DRAUGHT_HEEL_LIMIT + _HEEL_WIDTH
    held = smooth_clamp(value=heel, low=-limit, high=limit, width=_HEEL_WIDTH)
    at_rest, by_froude = (
        piecewise_cubic(
            x=held,
            start=-EFFECTIVE_DRAUGHT_HEEL_LIMIT,
            step=_EFFECTIVE_DRAUGHT_STEP,
            coefficients=coefficients[i],
        )
        for i in (0, 1)
    )
    return at_rest + by_froude * froude


def outside_effective_draught(*, froude_number: Array, heel: Array) -> Array:
    """Whether Froude number or heel [rad] is beyond the tests of `effective_draught_share`; plain numbers."""
    low, high = EFFECTIVE_DRAUGHT_FROUDE_RANGE
    beyond = (froude_number < low) | (froude_number > high)
    return beyond | (np.abs(heel) > EFFECTIVE_DRAUGHT_HEEL_LIMIT)


def outside_series(
    *,
    waterline_length: float,
    waterline_beam: float,
    canoe_draught: float,
    canoe_volume: float,
    prismatic_coefficient: float,
    buoyancy_centre_share: float,
) -> list[tuple[str, float, float, float]]:
    """Form parameters that lie outside the series, as (parameter, value, lowest, highest in the series).

    Empty if none does. Lengths [m], volume [m^3]; buoyancy_centre_share is the longitudinal centre of
    buoyancy from midships over waterline length, forward positive.
    """
    values = _form_parameters(
        waterline_length=waterline_length,
        waterline_beam=waterline_beam,
        canoe_draught=canoe_draught,
        canoe_volume=canoe_volume,
        prismatic_coefficient=prismatic_coefficient,
        buoyancy_centre_share=buoyancy_centre_share,
    )
    rounding = 1e-9
    return [
        (name, value, low, high)
        for (name, (low, high)), value in zip(DATA_RANGES.items(), values, strict=True)
        if not low - rounding <= value <= high + rounding
    ]


# boats of one hull share it
@lru_cache(maxsize=64)
def residuary_curve(
    *,
    waterline_length: float,
    waterline_beam: float,
    canoe_draught: float,
    canoe_volume: float,
    prismatic_coefficient: float,
    buoyancy_centre_share: float,
) -> ResiduaryCurve:
    """Residuary resistance over weight against Froude number (0 to 0.7), from the systematic series.

    Bare hull, upright. Arguments as in `outside_series`. From 0.125 to 0.45: the fit of
    `vpp.data.fit_systematic_series` to the open tests of J. Gerritsma, R. Onnink, A. Versluis, Geometry,
    resistance and stability of the Delft systematic yacht hull series, 1981 (DOI 10.24432/C5XG7R). Below, a
    power of the Froude number that goes to zero. Above, an extension without data, to be reported by
    whoever uses it: the growth with speed that Michell's integral gives for a parabolic hull of the same
    L/B and B/T at a Froude number lower by a delay, the one with which it continues the growth of the data.
    Positive, rising and twice continuously differentiable.

    Raises ValueError if a form parameter lies outside the series, with every one that does.
    """
    form = {
        "waterline_length": waterline_length,
        "waterline_beam": waterline_beam,
        "canoe_draught": canoe_draught,
        "canoe_volume": canoe_volume,
        "prismatic_coefficient": prismatic_coefficient,
        "buoyancy_centre_share": buoyancy_centre_share,
    }
    outside = outside_series(**form)
    if outside:
        faults = "; ".join(
            f"{name} is {value:.4g}, allowed {low:g} to {high:g}" for name, value, low, high in outside
        )
        raise ValueError(f"The hull lies outside the systematic series: {faults}.")
    tested = _log_resistance(_form_parameters(**form))
    extension = _log_extension(
        tested,
        length_beam_ratio=waterline_length / waterline_beam,
        beam_draught_ratio=waterline_beam / canoe_draught,
    )
    control = _control_values(np.concatenate((tested, extension)))
    return ResiduaryCurve(start=0.0, step=_CURVE_STEP, coefficients=smooth_coefficients(control=control))


def residuary_resistance(
    *, froude_number: Array, weight: Array, start: Array, step: Array, coefficients: Array
) -> Array:
    """Residuary resistance [N]: the value of a `ResiduaryCurve` times the displaced weight [N].

    froude_number on waterline length, (..., n_conditions); coefficients (4, k) or (4, k, n_conditions).
    Valid to Froude number 0.7, from 0.45 as an extension.
    """
    return weight * piecewise_cubic(x=froude_number, start=start, step=step, coefficients=coefficients)


def heel_resistance_factor(*, heel: Array, growth_at_20deg: Array) -> Array:
    """Factor on the upright hull's resistance at a heel [rad]: 1 + growth_at_20deg (heel/20 deg)^2.

    Common practice, no source: even in heel, and the growth is the user's figure for the hull. Not beyond
    about 30 deg.
    """
    return 1.0 + growth_at_20deg * (heel / math.radians(20.0)) ** 2


def _check_inside(what: str, ranges: dict[str, tuple[float, float]], given: dict[str, float]) -> None:
    faults = [
        f"{name} is {given[name]:.4g}, allowed {low:g} to {high:g}"
        for name, (low, high) in ranges.items()
        if not low - 1e-9 <= given[name] <= high + 1e-9
    ]
    if faults:
        raise ValueError(f"The hull lies outside {what}: {'; '.join(faults)}.")


def _form_parameters(
    *,
    waterline_length: float,
    waterline_beam: float,
    canoe_draught: float,
    canoe_volume: float,
    prismatic_coefficient: float,
    buoyancy_centre_share: float,
) -> tuple[float, float, float, float, float]:
    """In the order of `DATA_RANGES`."""
    return (
        buoyancy_centre_share,
        prismatic_coefficient,
        waterline_length / canoe_volume ** (1.0 / 3.0),
        waterline_beam / canoe_draught,
        waterline_length / waterline_beam,
    )


def _log_resistance(form: tuple[float, float, float, float, float]) -> NDArray[np.float64]:
    """Logarithm of residuary resistance over weight at the Froude numbers of the data."""
    given = np.array((100.0 * form[0], *form[1:]))
    scaled = (given - np.array(series.CENTRE)) / np.array(series.HALF_WIDTH)
    terms = np.concatenate(([1.0], scaled[list(series.LINEAR)], scaled[list(series.SQUARED)] ** 2))
    result: NDArray[np.float64] = np.array(series.MEAN) + np.array(series.LOADING) @ terms - math.log(1000.0)
    return result


def _log_extension(
    tested: NDArray[np.float64], *, length_beam_ratio: float, beam_draught_ratio: float
) -> NDArray[np.float64]:
    """Logarithm of resistance over weight above the data, to one step of the tests beyond the limit.

    It grows as the resistance of a thin ship does at a Froude number lower by a delay, the one with which
    that grows as fast as the data where these end.
    """
    last = DATA_FROUDE_RANGE[1]
    count = round((EXTENDED_FROUDE_LIMIT - last) / _TEST_STEP) + 1
    froude, thin_ship = _log_thin_ship(
        last - _MOST_DELAY,
        last + count * _TEST_STEP + _THEORY_STEP,
        length_beam_ratio=length_beam_ratio,
        beam_draught_ratio=beam_draught_ratio,
    )
    # one-sided derivative of second order at the last test
    growth_of_data = (1.5 * tested[-1] - 2.0 * tested[-2] + 0.5 * tested[-3]) / _TEST_STEP
    before = froude <= last + 0.5 * _THEORY_STEP
    growth = np.gradient(thin_ship, _THEORY_STEP)[before]
    delay = last - _last_crossing(froude[before], growth, growth_of_data)
    wanted = last + _TEST_STEP * np.arange(count + 1) - delay
    found = np.interp(wanted, froude, thin_ship)
    result: NDArray[np.float64] = tested[-1] + found[1:] - found[0]
    return result


@lru_cache(maxsize=256)
def _log_thin_ship(
    first: float, last: float, *, length_beam_ratio: float, beam_draught_ratio: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    # boats that differ in their rig alone share it: it costs more than all else of such a hull
    froude = np.arange(first, last, _THEORY_STEP)
    resistance = michell_wave_resistance(
        froude_number=froude, length_beam_ratio=length_beam_ratio, beam_draught_ratio=beam_draught_ratio
    )
    return froude, np.log(resistance)


def _last_crossing(x: NDArray[np.float64], y: NDArray[np.float64], level: float) -> float:
    """Largest x at which y falls through a level; where y stays below, that of its maximum, and where above,
    the end.
    """
    above = np.flatnonzero(y >= level)
    if not len(above):
        return float(x[np.argmax(y)])
    i = int(above[-1])
    if i == len(x) - 1:
        return float(x[i])
    return float(x[i] + (y[i] - level) / (y[i] - y[i + 1]) * (x[i + 1] - x[i]))


def _control_values(logarithm: NDArray[np.float64]) -> NDArray[np.float64]:
    """Control values of the curve, from the logarithm of resistance over weight at the tests' step.

    A B-spline rather than a spline through the points, because that would swing below zero where resistance
    falls away like a high power of speed.
    """
    first = DATA_FROUDE_RANGE[0]
    spline = cubic_coefficients(values=logarithm)
    count = round(EXTENDED_FROUDE_LIMIT / _CURVE_STEP)
    froude = _CURVE_STEP * np.arange(count + 3)
    in_data = froude > first - 1e-9
    resistance = np.exp(piecewise_cubic(x=froude, start=first, step=_TEST_STEP, coefficients=spline))
    # below the data, where nothing is known but that it is small: the power law that the data starts with
    power = max(2.0, spline[1, 0] / _TEST_STEP * first)
    below = np.exp(logarithm[0]) * (froude / first) ** power
    control = np.where(in_data, resistance, below)
    # makes the curve pass through the points to fourth order of the step
    curvature = control[2:] - 2.0 * control[1:-1] + control[:-2]
    control[1:-1] -= np.where(in_data[1:-1], curvature / 6.0, 0.0)
    # value, slope and curvature are zero at rest
    control[:2] = 0.0
    return np.concatenate(([0.0], control[:-1]))
