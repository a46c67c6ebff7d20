"""Heave and pitch of a slender hull in regular head waves, and the resistance that they add.

Strip theory with two-dimensional coefficients from potential theory. Plain numbers only: evaluated when a
boat is built.

Sources: V. Korvin-Kroukovsky, W. R. Jacobs, Pitching and heaving motions of a ship in regular waves,
Transactions SNAME 65, 1957, in the form of J. Gerritsma, W. Beukelman, Analysis of the modified strip theory
for the calculation of ship motions and wave bending moments, International Shipbuilding Progress 14, 1967;
F. Ursell, On the heaving motion of a circular cylinder on the surface of a fluid, Quarterly Journal of
Mechanics and Applied Mathematics 2, 1949, and F. Tasai, On the damping force and added mass of ships heaving
and pitching, Journal of Zosen Kiokai 105, 1959; J. Gerritsma, W. Beukelman, Analysis of the resistance
increase in waves of a fast cargo ship, International Shipbuilding Progress 19, 1972. All from memory.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]

# Frequency numbers omega^2 B/(2 g) of the table of sectional coefficients. Above, added mass stays and the
# waves made fall with the last slope; hardly a wave that moves a boat meets it there.
_LEAST_NUMBER, _LARGEST_NUMBER = 1e-3, 12.0
_NUMBERS = 60
_MULTIPOLES = 20
_POINTS = 64
# Enough for the power series of the exponential integral where the table ends.
_TERMS = 90
_EULER = 0.5772156649015329

_STATIONS = 61


@dataclass(frozen=True, kw_only=True)
class PitchingHull:
    """A hull bow and stern alike, with similar sections: breadth and draught both go with 1 - |2x/L|^n.

    Lengths [m], `volume` [m^3] of the canoe body. `prismatic_coefficient` sets n: 0.533 has parabolic
    water lines. `pitch_gyradius` [m] is that of the whole boat's mass about its centre. Raises ValueError
    where no such hull exists: prismatic coefficient outside 0.4 to 0.9, sections too empty or too full for
    Lewis forms, a length that is not positive.
    """

    waterline_length: float
    waterline_beam: float
    canoe_draught: float
    volume: float
    prismatic_coefficient: float
    pitch_gyradius: float

    def __post_init__(self) -> None:
        for name in ("waterline_length", "waterline_beam", "canoe_draught", "volume", "pitch_gyradius"):
            if not getattr(self, name) > 0.0:
                raise ValueError(f"The {name.replace('_', ' ')} of a pitching hull must be positive.")
        if not 0.4 <= self.prismatic_coefficient <= 0.9:
            raise ValueError(
                f"The prismatic coefficient of {self.prismatic_coefficient:g} lies outside 0.4 to 0.9; "
                "the motions in waves are computed for hulls in that range."
            )
        lewis_coefficients(
            beam_draught_ratio=self.waterline_beam / self.canoe_draught, area_coefficient=self.section_area
        )

    @property
    def section_area(self) -> float:
        """Area of the greatest section over beam times draught."""
        box = self.waterline_length * self.waterline_beam * self.canoe_draught
        return self.volume / (box * self.prismatic_coefficient)

    @property
    def waterline_exponent(self) -> float:
        """n, for which the mean of (1 - |2x/L|^n)^2 is the prismatic coefficient."""
        c = self.prismatic_coefficient
        a, b = 2.0 - 2.0 * c, 3.0 * c
        return (b + math.sqrt(b * b + 4.0 * a * c)) / (2.0 * a)


def lewis_coefficients(*, beam_draught_ratio: float, area_coefficient: float) -> tuple[float, float]:
    """a1 and a3 of the map z = M (w + a1/w + a3/w^3) that makes a section of a circle.

    `area_coefficient` is area over beam times draught. Raises ValueError outside the Lewis forms, that is for
    sections that are too empty (below 3 pi/32 (2 - min(H, 1/H)), H half the beam over the draught) or too
    full (pi/32 (10 + H + 1/H)). Source: F. M. Lewis, The inertia of the water surrounding a vibrating ship,
    Transactions SNAME 37, 1929 (from memory).
    """
    h = 0.5 * beam_draught_ratio
    least = 3.0 * math.pi / 32.0 * (2.0 - min(h, 1.0 / h))
    most = math.pi / 32.0 * (10.0 + h + 1.0 / h)
    if not least <= area_coefficient <= most:
        raise ValueError(
            f"A section of beam over draught {beam_draught_ratio:.3g} that fills {area_coefficient:.3g} of "
            f"beam times draught is no Lewis form; those fill {least:.3g} to {most:.3g}."
        )
    skew = (h - 1.0) / (h + 1.0)
    fill = 4.0 * area_coefficient / math.pi
    c = 3.0 + fill + (1.0 - fill) * skew**2
    a3 = (3.0 - c + math.sqrt(9.0 - 2.0 * c)) / c
    return skew * (1.0 + a3), a3


def heaving_section(
    *, frequency_number: ArrayLike, beam_draught_ratio: float, area_coefficient: float
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Added mass over rho B^2, damping over rho B^2 omega and height of the waves that go out to either side
    over that of the motion, all [-], of a heaving Lewis section.

    frequency_number: omega^2 B/(2 g), (n,), positive and up to 15. Within 0.1 % up to 2 and 1 % up to 12,
    by the energy in the waves against that of the damping. Raises ValueError outside the Lewis forms or that
    range.
    """
    numbers = np.atleast_1d(np.asarray(frequency_number, dtype=np.float64))
    if not np.all((numbers > 0.0) & (numbers <= 15.0)):
        raise ValueError("Sections are computed for frequency numbers above 0 and up to 15.")
    a1, a3 = lewis_coefficients(beam_draught_ratio=beam_draught_ratio, area_coefficient=area_coefficient)
    scale = 1.0 / (1.0 + a1 + a3)  # half the beam is 1
    rows = [_section_at(float(number), a1, a3, scale) for number in numbers]
    added, damping, waves = (np.array(column) for column in zip(*rows, strict=True))
    return added, damping, waves


def _section_at(wave_number: float, a1: float, a3: float, scale: float) -> tuple[float, float, float]:
    """`heaving_section` with half the beam, the density and gravity 1."""
    nodes, weights = np.polynomial.legendre.leggauss(_POINTS)
    angle = 0.25 * np.pi * (nodes - 1.0)
    w = np.exp(1j * angle)
    z = scale * (w + a1 / w + a3 / w**3)
    # dx along the contour from the keel to the water line
    width = 0.25 * np.pi * weights * np.real(1j * w * scale * (1.0 - a1 / w**2 - 3.0 * a3 / w**4))
    standing = np.exp(-1j * wave_number * z)
    to_side = standing * (_exponential_integral(-1j * wave_number * z) - 1j * np.pi)
    to_middle = np.pi * standing
    fields = [_free_of_waves(m, w, a1, a3, scale, wave_number) for m in range(1, _MULTIPOLES + 1)]
    size = np.array([np.abs(field).max() for field in fields])
    # waves go out: far off the two parts of the source are a quarter of a period apart
    stream = np.stack(
        [to_middle.imag + 1j * to_side.imag, *(f.imag / s for f, s in zip(fields, size, strict=True))], axis=1
    )
    potential = np.stack(
        [to_middle.real + 1j * to_side.real, *(f.real / s for f, s in zip(fields, size, strict=True))], axis=1
    )
    # the skin moves up with speed 1
    strength = np.linalg.lstsq(stream, -z.real.astype(np.complex128), rcond=None)[0]
    total = complex(2.0 * np.sum((potential @ strength) * width))
    # the waves' potential at the surface is pi times the source's strength; motion is speed over i omega,
    # wave height is potential times omega/g
    waves = wave_number * np.pi * abs(strength[0])
    return total.real / 4.0, -total.imag / 4.0, float(waves)


def _free_of_waves(
    order: int, w: ComplexArray, a1: float, a3: float, scale: float, wave_number: float
) -> ComplexArray:
    """Complex potential G - i K F with dF/dz = G = w^-2m, which meets the condition at the free surface."""
    m = 2 * order
    f = -(w ** (1 - m)) / (m - 1) + a1 * w ** (-1 - m) / (m + 1) + 3.0 * a3 * w ** (-3 - m) / (m + 3)
    field: ComplexArray = w**-m - 1j * wave_number * scale * f
    return field


def _exponential_integral(s: ComplexArray) -> ComplexArray:
    """E1 by its power series, below the negative real axis; |s| to 15."""
    total = np.zeros_like(s)
    term = np.ones_like(s)
    for k in range(1, _TERMS):
        term = term * -s / k
        total += term / k
    result: ComplexArray = -_EULER - np.log(s) - total
    return result


def head_wave_resistance(*, hull: PitchingHull, froude_number: ArrayLike, frequency: ArrayLike) -> FloatArray:
    """Mean added resistance over rho g a^2 L [-] in regular head waves of amplitude a.

    froude_number: (f,), on the water line, 0 and more. frequency: (w,), circular, of the waves as seen from
    a fixed place, times sqrt(L/g), positive. Returns (f, w). What the hull's motion relative to the water
    radiates in damping, after Gerritsma & Beukelman 1972: k/(2 omega_e) times the integral over length of
    (b - V da/dx) |V_z|^2. Waves reflected by the bow, which count where they are shorter than half the hull,
    are left out.
    """
    speed, _, k, encounter = _encounter(froude_number, frequency)
    strips = _Strips(hull, encounter)
    _, _, relative = _motion(hull, strips, speed, k, encounter)
    damping = strips.damping - speed[..., None] * np.gradient(strips.added, strips.x, axis=-1)
    radiated = np.trapezoid(damping * np.abs(relative) ** 2, strips.x, axis=-1)
    result: FloatArray = 0.5 * k / encounter * radiated
    return result


def head_wave_motions(
    *, hull: PitchingHull, froude_number: ArrayLike, frequency: ArrayLike
) -> tuple[ComplexArray, ComplexArray]:
    """Heave (up) and pitch (bow up) in regular head waves: over the wave's amplitude, and over its slope [-].

    Arguments and shape as for `head_wave_resistance`. Complex; phases are against the crest at midships.
    """
    speed, _, k, encounter = _encounter(froude_number, frequency)
    heave, pitch, _ = _motion(hull, _Strips(hull, encounter), speed, k, encounter)
    return heave, -pitch / k


def _encounter(
    froude_number: ArrayLike, frequency: ArrayLike
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Speed, frequency, wave number and frequency of encounter with length, gravity and density 1, (f, w)."""
    speed, wave = np.broadcast_arrays(
        np.asarray(froude_number, dtype=np.float64)[:, None], np.asarray(frequency, dtype=np.float64)[None]
    )
    k = wave**2
    return speed, wave, k, wave + k * speed


class _Strips:
    """Breadth, mean depth, added mass and damping along a hull of length 1, (f, w, stations)."""

    def __init__(self, hull: PitchingHull, encounter: FloatArray):
        length = hull.waterline_length
        ratio = hull.waterline_beam / hull.canoe_draught
        self.x = np.linspace(-0.5, 0.5, _STATIONS)
        taper = 1.0 - np.abs(2.0 * self.x) ** hull.waterline_exponent
        self.breadth = hull.waterline_beam / length * taper
        self.depth = hull.section_area * hull.canoe_draught / length * taper
        numbers = np.geomspace(_LEAST_NUMBER, _LARGEST_NUMBER, _NUMBERS)
        added, damping, _ = heaving_section(
            frequency_number=numbers, beam_draught_ratio=ratio, area_coefficient=hull.section_area
        )
        number = 0.5 * encounter[..., None] ** 2 * self.breadth
        place = np.log(np.clip(number, _LEAST_NUMBER, _LARGEST_NUMBER))
        known = np.log(numbers)
        area = self.breadth**2
        self.added = area * np.interp(place, known, added)
        slope = (np.log(damping[-1]) - np.log(damping[-2])) / (known[-1] - known[-2])
        beyond = np.maximum(number / _LARGEST_NUMBER, 1.0) ** slope
        self.damping = area * encounter[..., None] * np.interp(place, known, damping) * beyond


def _motion(
    hull: PitchingHull, strips: _Strips, speed: FloatArray, k: FloatArray, encounter: FloatArray
) -> tuple[ComplexArray, ComplexArray, ComplexArray]:
    """Heave (up), pitch (bow down) and the hull's vertical speed relative to the water along it, for a wave
    of amplitude 1.
    """
    x, turn = strips.x, 1j * encounter[..., None]
    wave = np.exp(1j * k[..., None] * x - k[..., None] * strips.depth)
    # rise of the hull above the water, and its rate, by each of: heave, pitch, wave
    rises = (np.ones_like(wave), -x * np.ones_like(wave), -wave)
    rates = (
        turn * rises[0],
        turn * rises[1] + speed[..., None],
        -1j * np.sqrt(k)[..., None] * wave,
    )
    water = turn * strips.added + strips.damping
    forces = []
    for rise, rate in zip(rises, rates, strict=True):
        load = water * rate + strips.breadth * rise
        up = np.trapezoid(load, x, axis=-1)
        tail = speed * np.trapezoid(strips.added * rate, x, axis=-1)
        forces.append((up, -np.trapezoid(x * load, x, axis=-1) - tail))
    mass = hull.volume / hull.waterline_length**3
    inertia = mass * (hull.pitch_gyradius / hull.waterline_length) ** 2
    (a, c), (b, d), (e, f) = forces
    a, d = a - encounter**2 * mass, d - encounter**2 * inertia
    determinant = a * d - b * c
    heave, pitch = (-e * d + f * b) / determinant, (-f * a + e * c) / determinant
    relative = heave[..., None] * rates[0] + pitch[..., None] * rates[1] + rates[2]
    return heave, pitch, relative
