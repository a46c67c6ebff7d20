"""Resistance of a bare displacement hull: friction, and the residuary resistance of a series of yachts.

`residuary_curve` is evaluated once, when a boat is built; the other functions take arrays of conditions.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vpp.data import systematic_series as series
from vpp.physics.arrays import Array, array_namespace
from vpp.physics.interpolation import cubic_coefficients, piecewise_cubic, smooth_coefficients
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
    xp = array_namespace(reynolds)
    return 0.075 / (xp.log(reynolds) / math.log(10.0) - 2.0) ** 2


def frictional_resistance(
    *,
    speed: Array,
    wetted_area: Array,
    waterline_length: Array,
    water_density: Array,
    water_viscosity: Array,
    form_factor: Array,
) -> Array:
    """Frictional resistance [N], 0.5 rho V^2 S (1 + k) Cf, with k the `form_factor` (0 adds nothing).

    speed [m/s] positive, wetted_area [m^2], waterline_length [m], water_density [kg/m^3], water_viscosity
    kinematic [m^2/s]. The Reynolds number is on 0.7 of the waterline length, as in the analysis of the
    systematic series (J. Gerritsma, R. Onnink, A. Versluis, 1981; from memory). The residuary resistance of
    that series was found with k = 0 and so contains the form drag: with it k is 0. Smooth and positive from
    0.05 m/s on boats of 3 m and more.
    """
    reynolds = _REYNOLDS_LENGTH_SHARE * speed * waterline_length / water_viscosity
    pressure = 0.5 * water_density * speed**2
    return pressure * wetted_area * (1.0 + form_factor) * friction_coefficient(reynolds=reynolds)


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
    froude = np.arange(last - _MOST_DELAY, last + count * _TEST_STEP + _THEORY_STEP, _THEORY_STEP)
    thin_ship = np.log(
        michell_wave_resistance(
            froude_number=froude, length_beam_ratio=length_beam_ratio, beam_draught_ratio=beam_draught_ratio
        )
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
