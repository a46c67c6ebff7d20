"""A seaway: its spectrum and its growth with wind and fetch, what it costs a hull that sails into it, and how
far its crests and troughs reach.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from vpp.physics.arrays import Array, array_namespace, elementwise, without_derivatives
from vpp.physics.foil_geometry import smooth_step
from vpp.physics.interpolation import cubic_coefficients, piecewise_cubic
from vpp.physics.ship_motions import PitchingHull, head_wave_resistance
from vpp.physics.smoothing import smooth_floor

FloatArray = NDArray[np.float64]

# Froude numbers and hulls with which the method was compared in its sources or with yachts (from memory). At
# lower speeds hulls of small draught get more drag from short waves than from reflecting them.
FROUDE_RANGE = (0.15, 0.45)
LENGTH_BEAM_LIMIT = 3.0
# Modal wave length over the hull's, between which its motions make the added resistance.
WAVE_LENGTH_RANGE = (0.5, 10.0)
# Significant height over modal wave length. The steepest young wind seas have about 0.06 (from memory).
STEEPNESS_LIMIT = 0.06
# Gravity times fetch over the square of the wind speed, of the measurements at sea (from memory).
FETCH_RANGE = (1e2, 1e4)

# Angle off the bow up to which waves count in full, and from which on they do not count.
HEAD_SEA_LIMIT = math.radians(45.0)
BEAM_SEA = math.radians(90.0)

# Where the table ends, and over which width of Froude number the drag stops changing there.
_FROUDE_END, _FROUDE_STEP, _FROUDE_HELD = 1.2, 0.04, 0.1
# Wave frequencies times sqrt(L/g): lengths from 10 hulls to a tenth of one.
_FREQUENCIES = np.geomspace(0.8, 8.0, 121)

# Significant height and period of waves as long under way as they can be: the frequency of the spectrum's
# peak meets the spectrum of Pierson and Moskowitz here, and the height within 1 %.
_FULL_FETCH = 1.88e4
_GROWTH_BEND = 4


@dataclass(frozen=True, kw_only=True)
class Sea:
    """Significant wave height [m], 4 times the root of the variance of the surface, and the period [s] of the
    spectrum's peak; numbers or (conditions,).
    """

    significant_height: Array
    peak_period: Array


@dataclass(frozen=True, kw_only=True)
class HeadWaves:
    """Added resistance of one hull in regular head waves over rho g a^2 L [-].

    response: (Froude numbers, frequencies), evenly spaced in the one and in the logarithm of the other.
    """

    hull: PitchingHull
    response: FloatArray


# --- the sea ------------------------------------------------------------------------------------------------


def wave_spectrum(*, frequency: Array, sea: Sea, peakedness: Array = 1.0) -> Array:
    """Spectral density [m^2 s] of the surface at a circular frequency [rad/s], positive.

    With `peakedness` 1 that of fully developed seas, 5/16 Hs^2 wp^4 w^-5 exp(-1.25 (wp/w)^4) (C. L.
    Bretschneider 1959; ITTC 1978), whose variance is Hs^2/16. A growing sea has 3.3 (1 to 7, K. Hasselmann et
    al. 1973, JONSWAP): its peak is raised by that factor and the whole lowered by 1 - 0.287 ln(peakedness),
    which leaves the variance within 1 %. In the form of ITTC 7.5-02-07-01.1 (from memory).
    """
    xp = array_namespace(frequency, sea.significant_height, sea.peak_period)
    peak = 2.0 * math.pi / sea.peak_period
    ratio = frequency / peak
    plain = 5.0 / 16.0 * sea.significant_height**2 / peak * ratio**-5 * xp.exp(-1.25 * ratio**-4)
    width = xp.where(without_derivatives(ratio) > 1.0, 0.09, 0.07)
    raised = xp.exp(-0.5 * ((ratio - 1.0) / width) ** 2)
    log_peakedness = array_namespace(peakedness).log(peakedness)
    return plain * (1.0 - 0.287 * log_peakedness) * xp.exp(log_peakedness * raised)


def wind_sea(*, wind_speed: Array, fetch: Array, gravity: Array = 9.80665) -> Sea:
    """The sea that a steady wind raises in deep water at some distance from the shore to windward.

    wind_speed [m/s] at 10 m, fetch [m], both positive. With x = g F/U^2 the height is 0.0016 x^0.5 U^2/g and
    the frequency of the peak 3.5 x^-0.33 g/U (K. Hasselmann et al., Measurements of wind-wave growth and
    swell decay during the Joint North Sea Wave Project, Deutsche Hydrographische Zeitschrift A8(12), 1973; x
    from 1e2 to 1e4). They end in the fully developed sea of W. J. Pierson & L. Moskowitz, Journal of
    Geophysical Research 69, 1964 (0.22 U^2/g and 7.3 U/g, at x = 1.88e4): x goes over into that value as
    (x^-4 + 1.88e4^-4)^-1/4, which makes the height where the two meet 8 % less than either. Infinitely
    differentiable. The duration of the wind, tides, shoals and swell from elsewhere are left out. All from
    memory.
    """
    x = gravity * fetch / wind_speed**2
    grown = x * (1.0 + (x / _FULL_FETCH) ** _GROWTH_BEND) ** (-1.0 / _GROWTH_BEND)
    return Sea(
        significant_height=0.0016 * grown**0.5 * wind_speed**2 / gravity,
        peak_period=grown**0.33 / 3.5 * wind_speed / gravity,
    )


def crest_and_trough(*, significant_height: Array, share: float = 0.1) -> tuple[Array, Array]:
    """Height of crests above the mean surface and depth of troughs below it [m] which the given share of
    waves exceeds: Hs sqrt(ln(1/share)/8) both, 0.5365 Hs for one wave in ten.

    For a foil-borne boat that does not follow the waves but keeps level at its ride height: its hull clears
    all but that share of crests where it flies that much higher, and its wings stay below all but that share
    of troughs where they are that much deeper. One that follows long waves in part needs less. Rayleigh's
    distribution, of narrow spectra and linear waves; steep waves have crests higher by k a/2 of themselves
    (Stokes), a tenth at `STEEPNESS_LIMIT`, and shallower troughs. Source: M. S. Longuet-Higgins, On the
    statistical distribution of the heights of sea waves, Journal of Marine Research 11, 1952 (from memory).

    Raises ValueError for a share that is not between 0 and 1.
    """
    if not 0.0 < share < 1.0:
        raise ValueError(f"The share of waves of {share:g} must lie between 0 and 1.")
    amplitude = math.sqrt(math.log(1.0 / share) / 8.0) * significant_height
    return amplitude, amplitude


# --- added resistance ---------------------------------------------------------------------------------------


def head_waves(*, hull: PitchingHull) -> HeadWaves:
    """What regular head waves cost a hull; made once, when a boat is built. See `ship_motions`."""
    count = round(_FROUDE_END / _FROUDE_STEP) + 1
    return HeadWaves(
        hull=hull,
        response=head_wave_resistance(
            hull=hull, froude_number=_FROUDE_STEP * np.arange(count), frequency=_FREQUENCIES
        ),
    )


def sea_coefficients(
    *, waves: HeadWaves, peak_period: ArrayLike, gravity: float, peakedness: float = 1.0
) -> FloatArray:
    """Added resistance in a head sea over rho g Hs^2 L [-] against Froude number, for each peak period (n,).

    Returns (4, pieces, n), as `added_resistance` takes it; that of several hulls may be joined along the last
    axis. Twice the integral over the spectrum of the drag in regular waves (H. Maruo 1957: the drag is of
    second order, waves of different frequencies add). Plain numbers only. Waves longer than 10 hulls or
    shorter than a tenth are left out; they add nothing.
    """
    scale = math.sqrt(gravity / waves.hull.waterline_length)
    frequency = scale * _FREQUENCIES
    sea = Sea(significant_height=1.0, peak_period=np.atleast_1d(np.asarray(peak_period, dtype=np.float64)))
    density = wave_spectrum(frequency=frequency[:, None], sea=sea, peakedness=peakedness)
    # a trapezium rule in the logarithm of frequency
    weight = frequency * math.log(_FREQUENCIES[1] / _FREQUENCIES[0])
    weight[[0, -1]] *= 0.5
    return cubic_coefficients(values=2.0 * waves.response @ (weight[:, None] * density))


def added_resistance(
    *,
    coefficients: Array,
    boat_speed: Array,
    true_wind_angle: Array,
    significant_height: Array,
    waterline_length: Array,
    water_density: Array,
    gravity: Array,
) -> Array:
    """Mean resistance [N] that a sea from the true wind's direction adds to a hull's, (conditions,).

    `coefficients` (4, pieces, conditions) by `sea_coefficients`. In full up to 45 deg of true wind angle, as
    ISO 15016:2015 takes it for ships (from memory), and from there smoothly less, to nothing abeam. Seas from
    abaft the beam are left out. Proportional to the square of the height; twice continuously differentiable
    in speed, from rest, and angle. Above Froude number 1.2 the drag stays what it is there: see
    `outside_range`.
    """

    def share(speed: Array, angle: Array) -> tuple[Array, ...]:
        froude = speed / (gravity * waterline_length) ** 0.5
        below_end = smooth_floor(value=_FROUDE_END - froude, floor=0.0, width=_FROUDE_HELD)
        head = piecewise_cubic(
            x=_FROUDE_END - below_end, start=0.0, step=_FROUDE_STEP, coefficients=coefficients
        )
        return (head * heading_share(true_wind_angle=angle),)

    scale = water_density * gravity * waterline_length * significant_height**2
    return scale * elementwise(share, boat_speed, true_wind_angle)[0]


def heading_share(*, true_wind_angle: Array) -> Array:
    """Share of the drag in a head sea [-]: 1 within 45 deg of the bow, 0 from the beam on.

    The 45 deg are those of ISO 15016:2015 (from memory); the way down is a choice, 1/2 at 67.5 deg.
    """
    xp = array_namespace(true_wind_angle)
    middle, half = 0.5 * (BEAM_SEA + HEAD_SEA_LIMIT), 0.5 * (BEAM_SEA - HEAD_SEA_LIMIT)
    return smooth_step((middle - xp.abs(true_wind_angle)) / half)


def outside_range(
    *, hull: PitchingHull, sea: Sea, boat_speed: Array, true_wind_angle: Array, gravity: float
) -> dict[str, Array]:
    """Where `added_resistance` is outside what it was made for, a mask (conditions,) for each quantity.

    Keys: froude_number (0.15 to 0.45), length_beam_ratio (below 3: strips are meant to be slender),
    wave_length (of the peak: below half the hull bow reflection is missing, above 10 hulls nothing is left of
    the drag), steepness (height over the peak's wave length above 0.06: the sea breaks and the law of the
    square fails), true_wind_angle (above 45 deg: between there and the beam it is a rule, abaft it nothing).
    What is not a number counts as outside. Without waves nothing does.
    """
    height, period = (np.asarray(without_derivatives(x)) for x in (sea.significant_height, sea.peak_period))
    speed, angle = (np.asarray(without_derivatives(x)) for x in (boat_speed, true_wind_angle))
    froude = speed / math.sqrt(gravity * hull.waterline_length)
    wave_length = gravity * period**2 / (2.0 * math.pi)
    low, high = WAVE_LENGTH_RANGE
    ratio = wave_length / hull.waterline_length
    inside = {
        "froude_number": (froude >= FROUDE_RANGE[0]) & (froude <= FROUDE_RANGE[1]),
        "length_beam_ratio": np.asarray(hull.waterline_length >= LENGTH_BEAM_LIMIT * hull.waterline_beam),
        "wave_length": (ratio >= low) & (ratio <= high),
        "steepness": height <= STEEPNESS_LIMIT * wave_length,
        "true_wind_angle": np.abs(angle) <= HEAD_SEA_LIMIT,
    }
    shape = np.broadcast_shapes(height.shape, period.shape, speed.shape, angle.shape)
    calm = height == 0.0
    return {name: np.broadcast_to(~(mask | calm), shape) for name, mask in inside.items()}
