"""Wave resistance of thin ships by Michell's integral: of the parabolic hull, and of the family of hulls in
`vpp.physics.hull_form` at any immersion.

Plain numbers only: evaluated when a boat is built.
"""

from __future__ import annotations

from functools import cache, lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from vpp.physics.foil_geometry import smooth_step

FROUDE_RANGE = (0.2, 1.5)

_POINTS = 2001
# Wave directions are sampled evenly in u, where cosh(u) is the secant of the direction; the integrand falls
# as cosh(u)^-5.
_LAST_POINT = 4.0

# Froude numbers that are worked on at a time, so that arrays stay in the processor's cache: three times as
# quick as all at once.
_ROWS = 16

_DIRECTIONS = 240
# More of them for two hulls: the waves across their spacing are short.
PAIR_DIRECTIONS = 360
# Middle and half width of the band of angles from one direction to the next in which they count no longer.
_LAST_TURN = 1.6
_TURN_BAND = 0.8
_DOWN_NODES = 20


def michell_wave_resistance(
    *, froude_number: ArrayLike, length_beam_ratio: float, beam_draught_ratio: float
) -> NDArray[np.float64]:
    """Wave resistance over rho g L^3 [-] of the Wigley parabolic hull by Michell's integral, in deep water.

    Half breadth (B/2)(1 - (2x/L)^2)(1 - (z/T)^2). froude_number: any shape, on length L; the result has its
    shape. The ratio between two Froude numbers depends on T/L alone, because the resistance is proportional
    to B^2. Thin hulls only (L/B of 10 and more) as an absolute number. Plain numbers only: evaluated when a
    boat is built.

    Raises ValueError outside Froude numbers 0.2 to 1.5. Source: J. H. Michell, The wave resistance of a
    ship, Philosophical Magazine (5) 45, 1898, 106-123, DOI 10.1080/14786449808621111.
    """
    froude = np.asarray(froude_number, dtype=np.float64)
    if not np.all((froude >= FROUDE_RANGE[0]) & (froude <= FROUDE_RANGE[1])):
        low, high = FROUDE_RANGE
        raise ValueError(f"Michell's integral is evaluated from Froude number {low} to {high} only.")
    beam = 1.0 / length_beam_ratio
    draught = beam / beam_draught_ratio
    u, downward, along = _wave_system(tuple(froude.ravel().tolist()))
    integral = np.empty(len(downward))
    for first in range(0, len(downward), _ROWS):
        rows = slice(first, first + _ROWS)
        integrand = (4.0 * beam * along[rows] * _down(downward[rows], draught)) ** 2
        integral[rows] = np.trapezoid(integrand, u, axis=-1)
    result: NDArray[np.float64] = 4.0 / (np.pi * froude**2) * integral.reshape(froude.shape)
    return result


@lru_cache(maxsize=4)
def _wave_system(
    froude: tuple[float, ...],
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """What does not depend on the hull's breadth and draught: directions u (m,), how fast waves die away
    downwards and what the length makes of them, both (n, m).
    """
    u = np.linspace(0.0, _LAST_POINT, _POINTS)
    secant = np.cosh(u)
    wave_number = 1.0 / np.array(froude)[:, None] ** 2
    found = u, wave_number * secant**2, _along(wave_number * secant) * secant
    for array in found:
        array.setflags(write=False)
    return found


def family_wave_resistance(
    *,
    froude_number: ArrayLike,
    length_beam_ratio: float,
    beam_draught_ratio: float,
    waterline_exponent: float,
    section_exponent: float,
    immersion: float = 1.0,
    interference: bool = True,
) -> NDArray[np.float64]:
    """Wave resistance over rho g L^3 [-] of a hull of the family in `hull_form`, by Michell's integral.

    froude_number positive, (n,), on the length L of the water line. immersion: that of the keel line over the
    drawn draught, positive; above 1 the sides go on vertically. Deep water, level, thin ship. Without
    `interference` bow and stern make their waves each for itself: the mean over the humps and hollows of low
    Froude numbers, where it goes with the sixth power of speed.

    Within 0.15 % from Froude number 0.17 to 3 and immersions 0.2 to 1.8. Source: that of
    `michell_wave_resistance`.
    """
    froude = np.asarray(froude_number, dtype=np.float64)
    beam = 1.0 / length_beam_ratio
    draught = beam / beam_draught_ratio
    secant, weight = wave_directions(froude_number=froude, draught=draught * immersion, count=_DIRECTIONS)
    wave_number = 1.0 / froude[:, None] ** 2
    half_phase = 0.5 * wave_number * secant
    if interference:
        along_square = _along_family(half_phase, waterline_exponent) ** 2
    else:
        along_square = 0.5 * (waterline_exponent / half_phase) ** 2
    down = _down_family(wave_number * secant**2, draught, immersion, section_exponent)
    result: NDArray[np.float64] = np.sum(weight * along_square * (beam * down) ** 2, axis=-1)
    return result


def family_wave_pair(
    *,
    froude_number: ArrayLike,
    length_beam_ratio: float,
    beam_draught_ratio: float,
    waterline_exponent: float,
    section_exponent: float,
    spacing: float,
    immersion: float = 1.0,
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Wave resistance over rho g L^3 [-] of a hull by itself, as `family_wave_resistance` gives it, and what
    a second one beside it adds to each of the two, (n,) both.

    spacing: of the two centre planes over the length L of the water line, 0 and more. The hulls are alike,
    parallel and abreast. Within 0.5 % of the single hull's resistance from Froude number 0.17 to 3 and
    spacings to 1. Source: that of `spacing_factor`.
    """
    froude = np.asarray(froude_number, dtype=np.float64)
    beam = 1.0 / length_beam_ratio
    draught = beam / beam_draught_ratio
    secant, weight = wave_directions(froude_number=froude, draught=draught * immersion, count=PAIR_DIRECTIONS)
    wave_number = 1.0 / froude[:, None] ** 2
    along = _along_family(0.5 * wave_number * secant, waterline_exponent)
    down = _down_family(wave_number * secant**2, draught, immersion, section_exponent)
    single = weight * (beam * along * down) ** 2
    factor = spacing_factor(wave_number=wave_number, secant=secant, weight=weight, spacing=spacing)
    return np.sum(single, axis=-1), np.sum(single * factor, axis=-1)


def wave_directions(
    *, froude_number: NDArray[np.float64], draught: float, count: int
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Secants of the waves' directions and their weights, (n, count) both, for Froude numbers (n,).

    The sum of the weights times the square of the amplitude, the integral of the half breadth's slope times
    exp(i k secant x - k secant^2 depth) over the centre plane, is the wave resistance over rho g L^3; k is
    the Froude number^-2, lengths are in L. draught: of the shallowest hull that the directions are for, in L.
    Gauss's rule in u, whose hyperbolic cosine is the secant.
    """
    froude = froude_number[:, None]
    # Beyond these directions the integrand falls as the secant^-4, and bow and stern are many waves apart.
    last = np.arccosh(1.0 + 12.0 * froude**2 + 6.0 * froude / np.sqrt(draught))
    node, weight = gauss_nodes(count)
    secant = np.cosh(0.5 * last * (node + 1.0))
    return secant, 2.0 / np.pi * last * weight * (secant / froude) ** 2


def spacing_factor(
    *,
    wave_number: NDArray[np.float64],
    secant: NDArray[np.float64],
    weight: NDArray[np.float64],
    spacing: float,
) -> NDArray[np.float64]:
    """What the waves of two equal hulls abreast do to each other in a direction and its mirror image, over
    what each makes by itself: the cosine of k s secant^2 sine.

    wave_number k and spacing s of the centre planes in L, secant and weight as `wave_directions` has them.
    Fades out where the directions lie too far apart to follow it, and its mean is zero. Derived from the
    amplitudes shifted by half the spacing to either side. Sources, from memory: K. Eggers, Jahrbuch der
    Schiffbautechnischen Gesellschaft 49, 1955; E. O. Tuck and L. Lazauskas, Optimum hull spacing of a family
    of multihulls, Ship Technology Research 45, 1998.
    """
    # angle from one direction to the next: their distance in u is weight pi / (4 k secant^2)
    turn = 0.25 * np.pi * spacing * weight * (2.0 - secant**-2.0)
    followed = smooth_step((_LAST_TURN - turn) / _TURN_BAND)
    phase = wave_number * spacing * secant * np.sqrt(secant**2 - 1.0)
    factor: NDArray[np.float64] = followed * np.cos(phase)
    return factor


def short_wave_spacing_factor(phase: ArrayLike) -> NDArray[np.float64]:
    """Mean of `spacing_factor` over the directions of short waves, each end of the hulls by itself.

    phase: wave number times spacing, any shape. The square of the amplitude of one end goes with the
    secant^-6 at low Froude numbers, which leaves secant^-4 in u; the path of integration is moved by i pi/4,
    where the integrand no longer oscillates. 1 for hulls in one place; exp(-phase/2) far apart. Derived
    here.
    """
    node, weight = gauss_nodes(60)
    v = 6.0 * (node + 1.0)
    share = 18.0 * weight * (2.0 - np.cosh(v) ** 2) / np.cosh(v) ** 4
    result: NDArray[np.float64] = np.exp(-0.5 * np.asarray(phase)[..., None] * np.cosh(v)) @ share
    return result


@cache
def gauss_nodes(count: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Nodes and weights of Gauss's rule on -1 to 1, found once for each number: they are the eigenvalues of a
    matrix.
    """
    node, weight = np.polynomial.legendre.leggauss(count)
    node.setflags(write=False)
    weight.setflags(write=False)
    return node, weight


def _along_family(half_phase: NDArray[np.float64], n: float) -> NDArray[np.float64]:
    """Integral of n t^(n - 1) sin(q t) over 0 to 1, q being `half_phase`."""
    # enough for the highest wave number: the phase at the ends changes by 2 q per unit of v
    node, weight = gauss_nodes(30 + int(1.2 * np.max(half_phase)))
    v = 0.5 * (node + 1.0)
    # t = v^2 makes the integrand smooth at midships
    factor = 0.5 * weight * 2.0 * n * v ** (2.0 * n - 1.0)
    result: NDArray[np.float64] = np.sin(half_phase[..., None] * v**2) @ factor
    return result


def _down_family(k: NDArray[np.float64], draught: float, immersion: float, m: float) -> NDArray[np.float64]:
    """Integral of the section's breadth over the drawn one times exp(-k y), over depth y to the keel."""
    wall = draught * max(immersion - 1.0, 0.0)
    below = draught * min(immersion, 1.0)
    node, weight = gauss_nodes(_DOWN_NODES)
    # evenly spaced in exp(-k y), which is what weighs
    gone = -np.expm1(-k * below)
    total = np.zeros_like(k)
    for place, share in zip(0.5 * (node + 1.0), 0.5 * weight, strict=True):
        depth = -np.log1p(-place * gone) / k
        total += share * (1.0 - np.clip(1.0 - (below - depth) / draught, 0.0, 1.0) ** m)
    return (np.exp(-k * wall) * gone * total - np.expm1(-k * wall)) / k


def _along(k: NDArray[np.float64]) -> NDArray[np.float64]:
    """Integral of x sin(k x) over -1/2 to 1/2."""
    return 2.0 * np.sin(0.5 * k) / k**2 - np.cos(0.5 * k) / k


def _down(k: NDArray[np.float64], draught: float) -> NDArray[np.float64]:
    """Integral of (1 - (z/T)^2) exp(k z) over -T to 0."""
    a = k * draught
    gone = np.exp(-a)
    return draught * ((1.0 - gone) / a - (2.0 - gone * (a**2 + 2.0 * a + 2.0)) / a**3)
