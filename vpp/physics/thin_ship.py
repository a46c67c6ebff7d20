"""Wave resistance of a thin ship with parabolic water lines and sections, by Michell's integral."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

FROUDE_RANGE = (0.2, 1.5)

_POINTS = 2001
# Wave directions are sampled evenly in u, where cosh(u) is the secant of the direction; the integrand falls
# as cosh(u)^-5.
_LAST_POINT = 4.0


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
    u = np.linspace(0.0, _LAST_POINT, _POINTS)
    secant = np.cosh(u)
    wave_number = 1.0 / froude[..., None] ** 2
    along = _along(wave_number * secant)
    down = _down(wave_number * secant**2, draught)
    integrand = (4.0 * beam * along * down * secant) ** 2
    integral = np.trapezoid(integrand, u, axis=-1)
    result: NDArray[np.float64] = 4.0 / (np.pi * froude**2) * integral
    return result


def _along(k: NDArray[np.float64]) -> NDArray[np.float64]:
    """Integral of x sin(k x) over -1/2 to 1/2."""
    return 2.0 * np.sin(0.5 * k) / k**2 - np.cos(0.5 * k) / k


def _down(k: NDArray[np.float64], draught: float) -> NDArray[np.float64]:
    """Integral of (1 - (z/T)^2) exp(k z) over -T to 0."""
    a = k * draught
    gone = np.exp(-a)
    return draught * ((1.0 - gone) / a - (2.0 - gone * (a**2 + 2.0 * a + 2.0)) / a**3)
