"""Lifting foils near and through the water surface: coefficients, and the forces on the elements of one foil.

The surface enters by linear theory, for which depth Froude number V/sqrt(g h) decides between a rigid
surface (low) and one that gives way (high). Lengths [m], angles [rad]. Loading is elliptic where a law
needs one. Depths are those below the undisturbed water plane.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache, partial

import numpy as np
from numpy.typing import NDArray

from vpp.physics.arrays import Array, array_namespace, elementwise, sum_of_rows, without_derivatives
from vpp.physics.foil_geometry import (
    SURFACE_SHARE,
    FoilPlace,
    crossing_shares,
    immersed_shares,
    panel_shares,
    smooth_step,
)
from vpp.physics.foils import attached_within, helmbold_lift_slope, section_profile_drag
from vpp.physics.hull import friction_coefficient
from vpp.physics.interpolation import cubic_coefficients, piecewise_cubic
from vpp.physics.smoothing import smooth_floor

FloatArray = NDArray[np.float64]

# Standard atmosphere at sea level [Pa].
SURFACE_PRESSURE = 101325.0
# Lift over planform area [Pa] that a fully cavitating foil does not exceed, about one atmosphere. Source:
# J. M. Benson, N. S. Land, An investigation of hydrofoils in the NACA tank, NACA wartime report L-758,
# 1942 (number from memory).
FULL_CAVITATION_LOADING = 105e3
# Sharpness of the cap on lift: 8 leaves 99 % of it at three quarters of the limit and 92 % at the limit.
CAP_EXPONENT = 8
# Depth Froude numbers between which a surface-piercing strut goes over from ventilating from its nose to
# ventilating from its tail. Source: tests in J. Fluid Mech., 2026.
VENTILATION_FROUDE_RANGE = (1.0, 1.25)
# Thickness ratios above which the junction formulas are positive, and the width over which they set in.
WALL_JUNCTION_LEAST_THICKNESS = (0.0003 / 0.75) ** (1.0 / 3.0)
CROSSING_LEAST_THICKNESS = math.sqrt(0.05 / 17.0)
_JUNCTION_ONSET = 0.02
# Least depth in chords that the surface laws are evaluated at, and the width above it over which that
# sets in: linear theory ends there, and immersion takes the lift away.
_LEAST_DEPTH_CHORDS, _LEAST_DEPTH_WIDTH = 0.3, 0.2
# The same for the immersed span as a share of the built one.
_LEAST_SPAN_SHARE, _LEAST_SPAN_WIDTH = 0.05, 0.05

# Spray drag of a strut through the surface over q t^2, see `spray_drag`.
_SPRAY = 0.24
# Densest load over the mean by Schrenk's rule on a rectangle, (1 + 4/pi)/2.
_DENSEST_LOAD = 0.5 * (1.0 + 4.0 / math.pi)

# Gauss rule for integrals of J1(a)^2/a^2 over a from 0 to infinity (the spectrum of elliptic loading),
# exact for polynomials of degree 15 in a/(2 + a). A test computes it anew.
_SPECTRUM_NODES = (
    0.03791974637542671,
    0.2077462582337369,
    0.5469636886250916,
    1.11718837000845,
    2.014333380915631,
    4.170113121397411,
    9.656060882053868,
    35.14316462625323,
)
_SPECTRUM_WEIGHTS = (
    0.02454326827787528,
    0.06104202826080699,
    0.10244979963395696,
    0.12958685391526703,
    0.09043896021115236,
    0.01244897989959302,
    0.00345539601404711,
    0.0004478942542994,
)


# --- sections -----------------------------------------------------------------------------------------------


def mean_line_zero_lift_angle(*, camber: float, position: float) -> float:
    """Zero-lift angle [rad], negative for positive camber, of the two-parabola mean line of the NACA
    four-digit sections.

    camber over chord, and its position from the nose over chord (0 to 1, both excluded). H. Glauert, The
    Elements of Aerofoil and Airscrew Theory, 1926, chapter VII: the integral of slope times (1 - cos(angle))
    over the chord, here in closed form. Thin section, no viscosity; real sections have 75 to 100 % of it.
    """
    hinge = math.acos(1.0 - 2.0 * position)

    def integral(angle: float) -> float:
        # of (position - x)(1 - cos) with x = (1 - cos)/2
        first = (position - 0.5) * (angle - math.sin(angle))
        return first + 0.5 * (math.sin(angle) - 0.5 * angle - 0.25 * math.sin(2.0 * angle))

    fore = 2.0 * camber / position**2 * integral(hinge)
    aft = 2.0 * camber / (1.0 - position) ** 2 * (integral(math.pi) - integral(hinge))
    return (fore + aft) / math.pi


def uniform_load_zero_lift_angle(*, design_lift_coefficient: Array) -> Array:
    """Zero-lift angle [rad] of a mean line with uniform load along the chord, -CLi/(2 pi).

    Such a line (NACA a = 1) has its design lift at zero incidence. Thin-aerofoil theory (Glauert 1926). Real
    sections reach about three quarters of the design lift (I. H. Abbott, A. E. von Doenhoff, L. S. Stivers,
    NACA Report 824, 1945, from memory).
    """
    return -design_lift_coefficient / (2.0 * math.pi)


def flap_effectiveness(*, flap_chord_ratio: float) -> float:
    """Change of zero-lift angle per angle of a plain flap: 1 - (t - sin t)/pi with cos t = 2 E - 1.

    E is the flap's share of the chord: 0 gives 0, 1 gives 1. H. Glauert, Theoretical relationships for an
    aerofoil with hinged flap, R. & M. 1095, 1927. Thin section, no viscosity, sealed hinge; real flaps
    reach 70 to 90 % (common practice, no source), less beyond 15 deg.
    """
    angle = math.acos(2.0 * flap_chord_ratio - 1.0)
    return 1.0 - (angle - math.sin(angle)) / math.pi


def flap_ideal_lift(*, flap_chord_ratio: float) -> float:
    """Change of the ideal lift coefficient per angle of a plain flap [1/rad]: 2 sin t = 4 sqrt(E (1 - E)).

    t and E as in `flap_effectiveness`. At its ideal lift the flow meets the nose smoothly. Of the lift by a
    flap, 2 (pi - t) + 2 sin t per rad, the first part is carried as by incidence, with suction at the nose,
    and only the second moves the ideal lift: nothing without a flap, nothing where the whole wing turns, and
    most, 2, with a flap of half the chord. H. Glauert, R. & M. 1095, 1927. Thin section, no viscosity, sealed
    hinge; real flaps have less of it, as of their effectiveness. The peak at the hinge is not in it.
    """
    return 4.0 * math.sqrt(flap_chord_ratio * (1.0 - flap_chord_ratio))


# --- surface: submerged foils -------------------------------------------------------------------------------


def depth_froude_number(*, speed: Array, depth: Array, gravity: Array) -> Array:
    """V/sqrt(g h), for positive depths."""
    return speed / (gravity * depth) ** 0.5


def plane_lift_factor_high_froude(*, depth_chord_ratio: Array) -> Array:
    """Lift at given incidence over that in deep water, plane flow, depth Froude number to infinity:
    (1 + 16 H^2)/(2 + 16 H^2).

    H is the quarter chord's depth over the chord. Flat plate as a vortex at the quarter chord, its image
    of the same sense, flow met at three quarters. T. Hough, S. P. Moran, Froude number effects on
    two-dimensional hydrofoils, J. Ship Research 13, 1969 (from memory). Not below H = 0.5.
    """
    return (1.0 + 16.0 * depth_chord_ratio**2) / (2.0 + 16.0 * depth_chord_ratio**2)


def plane_wave_drag(
    *, circulation: Array, speed: Array, depth: Array, water_density: Array, gravity: Array
) -> Array:
    """Wave drag per span [N/m] of a lifting vortex under a free surface: rho g (G/V)^2 exp(-2 g h/V^2).

    Linear theory, all depth Froude numbers. N. E. Kochin 1936; M. V. Keldysh, M. A. Lavrentiev 1935 (from
    memory; derived in the theory page and summed in a test).
    """
    xp = array_namespace(circulation, speed, depth)
    return water_density * gravity * (circulation / speed) ** 2 * xp.exp(-2.0 * gravity * depth / speed**2)


def biplane_factor(*, depth_span_ratio: Array) -> Array:
    """Share sigma by which an equal biplane at twice the depth adds to a wing's induced drag, elliptic
    loading.

    2 int J1(a)^2/a exp(-4 a h/b) da. L. Prandtl, Induced drag of multiplanes, NACA TN 182, 1924, poses it; M.
    M. Munk, NACA TR 116 in the same collection (both from memory). To 1e-4 from h/b 0.05 up.
    """
    xp = array_namespace(depth_span_ratio)
    return _over_spectrum(lambda a: 2.0 * a * xp.exp(-4.0 * a * depth_span_ratio), depth_span_ratio)


def wave_drag_factor(*, depth_span_ratio: Array, depth_froude: Array) -> Array:
    """Wave drag of an elliptically loaded level wing over its induced drag in deep water.

    8 int J1(a)^2/a^2 p exp(-4 p h/b)/(2 - k/p) da with k = g b/(2 V^2) and p = (k + sqrt(k^2 + 4 a^2))/2:
    waves of a lifting line in linear theory (derived in the theory page; J. P. Breslin, Application of
    ship-wave theory to the hydrofoil of finite span, J. Ship Research 1, 1957, and T. Y. Wu, A theory for
    hydrofoils of finite span, J. Math. Phys. 33, 1954, treat it; from memory). Goes to twice
    `biplane_factor` at high depth Froude number, to zero at low, and to `plane_wave_drag` for long spans.
    To 4e-4 from h/b 0.05 up.
    """
    return _wave_drag_factor(depth_span_ratio, 0.5 / (depth_span_ratio * depth_froude**2))


def _wave_drag_factor(depth_span_ratio: Array, wave: Array) -> Array:
    """`wave_drag_factor` by k."""
    xp = array_namespace(depth_span_ratio, wave)

    def spectrum(a: FloatArray) -> Array:
        # p over 2 - k/p is p^2/sqrt(k^2 + 4 a^2)
        root = xp.sqrt(wave**2 + 4.0 * a**2)
        p = 0.5 * (wave + root)
        return 8.0 * p**2 / root * xp.exp(-4.0 * (p * depth_span_ratio))

    return _over_spectrum(spectrum, wave)


def induced_drag_factor(*, depth_span_ratio: Array, depth_froude: Array) -> Array:
    """Induced and wave drag at given lift over the induced drag in deep water, elliptic loading.

    1 - sigma + wave: a rigid surface at low depth Froude number, the equal biplane at high, and between
    them a hump near 1.4. Linear theory, infinite depth of water.
    """
    return (
        1.0
        - biplane_factor(depth_span_ratio=depth_span_ratio)
        + wave_drag_factor(depth_span_ratio=depth_span_ratio, depth_froude=depth_froude)
    )


def bound_image_strength(*, depth_froude: Array) -> Array:
    """Strength of the bound vortex's image, by the curvature that it gives the flow at the foil.

    1 for the image of the same sense (high depth Froude number), -1 for the rigid surface (low). Plane
    linear theory: 1 + 2 y - 2 y^2 exp(-y) Ei(y), y = 2 g h/V^2, which rises to 1.9 near 2. Below about
    0.9, where the formula would dip to -2.6 before it returns to -1, it is held at -1.
    """
    return _bound_image_strength(2.0 / depth_froude**2)


def _bound_image_strength(y: Array) -> Array:
    """`bound_image_strength` by 2 g h/V^2."""

    def strength(y: Array) -> tuple[Array, ...]:
        place = 1.0 - 1.0 / (1.0 + y)
        return (piecewise_cubic(x=place, start=0.0, step=1.0 / _IMAGE_PIECES, coefficients=_IMAGE_TABLE),)

    return elementwise(strength, y)[0]


def bound_image_span_factor(*, depth_span_ratio: Array) -> Array:
    """Curvature by the image of a wing over that in plane flow, weighted by its elliptic loading.

    High depth Froude number; a fit to the integral in the theory page, within 0.2 % for h/b from 0.01 to 10.
    """
    x = depth_span_ratio
    return (1.0 + x * (8.0381 + x * 20.5064)) / (1.0 + x * (7.5341 + x * (16.6148 + x * 44.4324)))


def inclined_image_factor(*, inclination2: Array, depth_span_ratio: Array) -> Array:
    """`biplane_factor` of an inclined wing over that of a level one with the same depth at its middle.

    1 + 0.17 x + 0.02 x^2, x = s/((h/b)^2 + 0.05 (1 - s)^2), with s = `inclination2` the square of the
    sine of the span's angle to the surface: a fit to images summed in the plane behind the wing, within
    0.02 of the deep induced drag while the upper tip is a twentieth of the span under water. x is capped
    smoothly at 5, which no straight wing under water reaches.
    """
    x = inclination2 / (depth_span_ratio**2 + 0.05 * (1.0 - inclination2) ** 2)
    x = x * (1.0 + (0.2 * x) ** 4) ** -0.25
    return 1.0 + x * (0.17 + 0.02 * x)


def lift_slope(
    *,
    aspect_ratio: Array,
    sweep: Array,
    depth_chord_ratio: Array,
    depth_span_ratio: Array,
    depth_froude: Array,
    inclination2: Array = 0.0,
) -> Array:
    """Lift slope [1/rad] of a submerged wing at a depth, on its area.

    1/a = 1/a_deep + B s/(2 pi (1 + 16 H^2)) + (wave - sigma)/(pi AR): Helmbold's slope with simple sweep,
    the bound image (`bound_image_strength` times `bound_image_span_factor`), and the mean downwash of
    wake and waves (`induced_drag_factor`). Tends to Hough & Moran's factor for long wings and high depth
    Froude number. From half a chord of depth.
    """
    deep, induced = _deep_slope(aspect_ratio, sweep)
    chordwise, (wake, waves) = _surface_terms(
        depth_chord_ratio=depth_chord_ratio,
        depth_span_ratio=depth_span_ratio,
        wave=0.5 / (depth_span_ratio * depth_froude**2),
        inclination2=inclination2,
    )
    return deep / (1.0 + deep * chordwise + induced * (wake + waves))


def _deep_slope(aspect_ratio: Array, sweep: Array) -> tuple[Array, Array]:
    """Helmbold's slope with sweep, and that over pi AR, which stays finite for no span."""
    xp = array_namespace(aspect_ratio, sweep)
    cosine = xp.cos(sweep)
    slope = cosine * helmbold_lift_slope(aspect_ratio=aspect_ratio / cosine)
    return slope, 2.0 / (2.0 + xp.sqrt(4.0 + (aspect_ratio / cosine) ** 2))


def _surface_terms(
    *, depth_chord_ratio: Array, depth_span_ratio: Array, wave: Array, inclination2: Array
) -> tuple[Array, tuple[Array, Array]]:
    """Incidence taken by the surface per lift coefficient: chordwise, and times pi AR by wake and waves.

    `wave` is g b/(2 V^2).
    """

    def image(depth_span_ratio: Array, inclination2: Array) -> tuple[Array, ...]:
        inclined = inclined_image_factor(inclination2=inclination2, depth_span_ratio=depth_span_ratio)
        sigma = biplane_factor(depth_span_ratio=depth_span_ratio)
        # the image in a rigid surface never takes more than all of the induced drag; the cap takes 0.05 % off
        # it where it is half of that drag, and 1 % where it is three quarters
        inclined = inclined * capped_share(lift_coefficient=inclined * sigma, limit=1.0)
        return inclined, -1.0 * inclined * sigma, bound_image_span_factor(depth_span_ratio=depth_span_ratio)

    inclined, wake, along_span = elementwise(image, depth_span_ratio, inclination2)
    (deep_waves,) = elementwise(lambda h, k: (_wave_drag_factor(h, k),), depth_span_ratio, wave)
    strength = _bound_image_strength(4.0 * wave * depth_span_ratio) * along_span
    chordwise = strength / (2.0 * math.pi * (1.0 + 16.0 * depth_chord_ratio**2))
    return chordwise, (wake, inclined * deep_waves)


def _over_spectrum(integrand: Callable[[FloatArray], Array], like: Array) -> Array:
    """The integral of J1(a)^2/a^2 times `integrand` over a; `like` has the axes of the result."""
    axes = (-1, *([1] * getattr(like, "ndim", 0)))
    weighted = np.reshape(_SPECTRUM_WEIGHTS, axes) * integrand(np.reshape(_SPECTRUM_NODES, axes))
    return sum_of_rows(weighted) if getattr(weighted, "ndim", 0) > 1 else array_namespace(like).sum(weighted)


def _exponential_integral(y: float) -> float:
    """exp(-y) Ei(y) for positive y: its power series, and beyond 40 its asymptotic one (M. Abramowitz, I. A.
    Stegun, Handbook of Mathematical Functions, 1964, 5.1.10 and 5.1.51).
    """
    if y > 40.0:
        return math.fsum(math.factorial(n) / y ** (n + 1) for n in range(20))
    terms = [np.euler_gamma + math.log(y)]
    power = 1.0
    for n in range(1, 200):
        power *= y / n
        terms.append(power / n)
    return math.exp(-y) * math.fsum(terms)


def _image_strength(y: float) -> float:
    if y == 0.0:
        return 1.0
    return 1.0 + 2.0 * y - 2.0 * y**2 * _exponential_integral(y)


_IMAGE_PIECES = 192


def _image_table() -> FloatArray:
    share = np.arange(_IMAGE_PIECES) / _IMAGE_PIECES
    exact = np.array([_image_strength(float(y)) for y in share / (1.0 - share)])
    held = smooth_floor(value=exact, floor=-1.0, width=0.2)
    return cubic_coefficients(values=np.concatenate([held, [-1.0]]))


_IMAGE_TABLE = _image_table()


# --- surface: struts and boards through it ------------------------------------------------------------------


def piercing_transition(*, span_froude: Array) -> Array:
    """How far the surface has given way for a vertical board through it: 0 at low, 1 at high Froude number.

    span_froude is V/sqrt(g b) with b the immersed span. 1/(1 + 0.7067 ln(1 + 0.8705 k (k + 1.2536)/(k +
    3.8599))), k = 1/Fn^2: a fit, within 0.06 % of the induced drag from Fn 0.1 to 30, to the least
    drag in linear free-surface theory at given side force, found numerically with a free loading.
    """
    return _piercing_transition(1.0 / span_froude**2)


def _piercing_transition(k: Array) -> Array:
    """`piercing_transition` by k."""

    def transition(k: Array) -> tuple[Array, ...]:
        growth = array_namespace(k).log(1.0 + 0.8705049 * k * (k + 1.25355433) / (k + 3.85988411))
        return (1.0 / (1.0 + 0.70674718 * growth),)

    return elementwise(transition, k)[0]


def piercing_efficiency(*, span_froude: Array) -> Array:
    """e of a vertical board through the surface on its immersed span, waves included: D = F^2/(pi q b^2 e).

    2 at low Froude number (image in a rigid surface), 8/pi^2 at high (the surface gives way and the load on
    it is zero), between them by `piercing_transition`. Optimum loading; both ends exact.
    """
    return _piercing_efficiency(piercing_transition(span_froude=span_froude))


def _piercing_efficiency(transition: Array) -> Array:
    return 1.0 / (0.5 + (math.pi**2 / 8.0 - 0.5) * transition)


def spray_drag(*, speed: Array, thickness: Array, water_density: Array) -> Array:
    """Spray drag [N] of a strut through the surface, 0.24 q t^2, t its thickness there.

    S. F. Hoerner, Fluid-Dynamic Drag, 1965, chapter X (from memory). High speed, streamlined section, no
    ventilation.
    """
    return _SPRAY * 0.5 * water_density * speed**2 * thickness**2


def ventilation_from_tail(*, depth_froude: Array) -> Array:
    """Where a surface-piercing strut will ventilate from, if it does: 0 from its nose, 1 from its tail.

    A step over depth Froude numbers 1.0 to 1.25 (tests in J. Fluid Mech., 2026), for a warning.
    It does not say whether the strut ventilates.
    """
    low, high = VENTILATION_FROUDE_RANGE
    return smooth_step((depth_froude - 0.5 * (low + high)) / (0.5 * (high - low)))


# --- junctions ----------------------------------------------------------------------------------------------


def wall_junction_drag_area(*, thickness: Array, thickness_ratio: Array) -> Array:
    """Drag area [m^2] of a foil's junction with a wall, t^2 (0.75 t/c - 0.0003/(t/c)^2).

    S. F. Hoerner, Fluid-Dynamic Drag, 1965, chapter VIII (from memory). Valid above t/c = 0.074; zero
    below, where the formula would thrust, with the fifth-degree onset of `smooth_floor` up to 0.02 in the
    bracket (t/c 0.082), exact above.
    """
    # the inner maximum keeps the reciprocal finite; it lies where the result is zero
    xp = array_namespace(thickness_ratio)
    ratio = xp.maximum(thickness_ratio, 0.5 * WALL_JUNCTION_LEAST_THICKNESS)
    bracket = 0.75 * ratio - 0.0003 / ratio**2
    return thickness**2 * smooth_floor(value=bracket, floor=0.0, width=_JUNCTION_ONSET)


def crossing_drag_area(*, thickness: Array, thickness_ratio: Array) -> Array:
    """Drag area [m^2] of two crossing struts, t^2 (17 (t/c)^2 - 0.05).

    S. F. Hoerner, Fluid-Dynamic Drag, 1965, chapter VIII (from memory). Valid above t/c = 0.054; zero
    below, exact from 0.02 in the bracket (t/c 0.064), and twice continuously differentiable between.
    """
    bracket = 17.0 * thickness_ratio**2 - 0.05
    return thickness**2 * smooth_floor(value=bracket, floor=0.0, width=_JUNCTION_ONSET)


# --- cavitation and take-off --------------------------------------------------------------------------------


def cavitation_number(
    *,
    speed: Array,
    depth: Array,
    water_density: Array,
    vapour_pressure: Array,
    gravity: Array,
    surface_pressure: Array = SURFACE_PRESSURE,
) -> Array:
    """(p_atm + rho g h - p_v)/(0.5 rho V^2), positive speed; `surface_pressure` p_atm [Pa] is the air's."""
    pressure = surface_pressure + water_density * gravity * depth - vapour_pressure
    return pressure / (0.5 * water_density * speed**2)


def suction_peak(
    *,
    lift_coefficient: Array,
    design_lift_coefficient: Array,
    thickness_speed: Array,
    nose_radius_ratio: Array,
) -> Array:
    """-Cp_min of a section: (1 + k + CLi/4)^2 (1 + 2 (dCL/(2 pi))^2/r) - 1, dCL = CL - CLi.

    k (`thickness_speed`) is the excess speed by thickness at zero lift: t/c for an ellipse, about 1.57 t/c
    for a NACA four-digit section (Report 824, from memory). CLi is the design lift, which a mean line of
    uniform load carries by CLi/4 of speed (thin-aerofoil theory). r is the nose radius over chord, 1.1019
    (t/c)^2 for the four digits. The last factor is the speed round a nose at incidence, the largest of
    (x^0.5 + dalpha)/(x + r/2)^0.5, after M. J. Lighthill, A new approach to thin aerofoil theory,
    Aeronautical Quarterly 3, 1951 (from memory). Cavitation begins where it exceeds the cavitation number.

    For thickness 7 to 15 % and lift to 1 off the design lift within -16 and +18 % of exact symmetric
    Joukowski sections, low for small lift and high for large. Smooth surface; roughness and waves bring
    inception forward.
    """
    smooth = 1.0 + thickness_speed + 0.25 * design_lift_coefficient
    off_design = (lift_coefficient - design_lift_coefficient) / (2.0 * math.pi)
    return smooth**2 * (1.0 + 2.0 * off_design**2 / nose_radius_ratio) - 1.0


def capped_share(*, lift_coefficient: Array, limit: Array) -> Array:
    """Share of a lift coefficient that is left by a limit on its size: (1 + (CL/limit)^8)^(-1/8).

    99 % at 0.75 of the limit, 92 % at it, and never more lift than the limit.
    """
    return (1.0 + (lift_coefficient / limit) ** CAP_EXPONENT) ** (-1.0 / CAP_EXPONENT)


def cavitation_limited_lift(
    *, lift_coefficient: Array, dynamic_pressure: Array, loading_limit: Array = FULL_CAVITATION_LOADING
) -> Array:
    """Lift coefficient under a limit on lift over area [Pa], smoothly; 105 kPa where cavitation is complete.

    Benson & Land 1942 (see `FULL_CAVITATION_LOADING`; +-10 %).
    """
    limit = loading_limit / dynamic_pressure
    return lift_coefficient * capped_share(lift_coefficient=lift_coefficient, limit=limit)


def take_off_speed(
    *, mass: Array, area: Array, lift_coefficient: Array, water_density: Array, gravity: Array
) -> Array:
    """Speed [m/s] at which foils of that area carry the whole mass, sqrt(2 m g/(rho S CL))."""
    return (2.0 * mass * gravity / (water_density * area * lift_coefficient)) ** 0.5


def wake_downwash(
    *,
    lift_coefficient: Array,
    aspect_ratio: Array,
    span: Array,
    offset_along: Array,
    offset_normal: Array,
    core: Array,
) -> Array:
    """Downwash angle [rad] far behind an elliptically loaded wing, at an offset from its wake [m].

    2 CL/(pi AR) Re(1 - z/sqrt(z^2 - b^2/4)), z = offset along the span from the middle + i times the
    offset normal to it: full on the wake, less above and below, upwash (negative) beyond the tips. Flat
    wake; the normal offset is never taken as less than `core` [m], smoothly. Near the wing the bound
    vortex adds to it. The surface's image is the same at the image's offset. H. Glauert, The Elements of
    Aerofoil and Airscrew Theory, 1926, chapter XII.
    """
    xp = array_namespace(lift_coefficient, span, offset_along, offset_normal)
    normal2 = offset_normal**2 + core**2
    normal = xp.sqrt(normal2)
    real = offset_along**2 - normal2 - 0.25 * span**2
    size = xp.sqrt(real**2 + 4.0 * offset_along**2 * normal2)
    # size - real without cancellation where real is positive
    positive = real > 0.0
    safe = xp.where(positive, size + real, xp.ones_like(size + real))
    difference = xp.where(positive, 4.0 * offset_along**2 * normal2 / safe, size - real)
    half = xp.sqrt(0.5 * difference)
    share = 1.0 - normal * (offset_along**2 / half + half) / size
    return 2.0 * lift_coefficient / (math.pi * aspect_ratio) * share


# --- forces on a foil ---------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class Wing:
    """Elements that carry one load: indices from one tip to the other, or from the surface to the tip.

    `reverse` is True for an element that is passed from its end to its start. `mirrored`: the wing runs
    through the surface or ends at the hull, which carries its load on (an arm, a rudder blade); it is listed
    from there.
    """

    elements: tuple[int, ...]
    reverse: tuple[bool, ...]
    mirrored: bool


@dataclass(frozen=True, kw_only=True)
class FoilSections:
    """Sections of a foil's elements, (elements, conditions) or broadcasting to it.

    `zero_lift_angle` without flap, negative for camber towards the normal; `flap_effectiveness` 0 where there
    is no flap; `design_lift_coefficient` without flap, `flap_ideal_lift` its change per flap angle [1/rad];
    `lift_drag_factor`: growth of profile drag per square of lift off the design lift, about 0.005
    (NACA 0012 smooth, NACA Report 824, from memory); `stall_lift_coefficient`; `thickness_speed` and
    `nose_radius_ratio` as in `suction_peak`; `efficiency` of the wing's planform in deep water, 1 for
    elliptic; `junction_drag_area` [m^2] of what meets at the start of the element
    (`wall_junction_drag_area`, `crossing_drag_area`). `profile_drag_scale` is a factor on the attached flow's
    profile drag, for a boat of which it is known.
    """

    thickness_ratio: Array
    zero_lift_angle: Array
    design_lift_coefficient: Array
    flap_effectiveness: Array
    flap_ideal_lift: Array
    lift_drag_factor: Array
    stall_lift_coefficient: Array
    thickness_speed: Array
    nose_radius_ratio: Array
    efficiency: Array
    junction_drag_area: Array
    profile_drag_scale: Array = 1.0


@dataclass(frozen=True, kw_only=True)
class FoilFlow:
    """Water and what the boat does in it.

    `water_x, water_y, water_z`: velocity of the undisturbed water as the boat sees it [m/s], body axes,
    (conditions,), from `foil_geometry.water_velocity`; aft, so that water_x is negative. `setting`: angle of
    the sections' chord from the boat's x axis towards the normal [rad], (elements, conditions): built
    incidence, rake times cos(dihedral), rudder angle; `flap`: flap angle, positive towards more lift along
    the normal; `downwash`: angle by which foils ahead turn the flow, positive when it takes incidence away.
    `speed` is that of the water, for who has it without its direction; None takes it from the velocity.
    """

    water_x: Array
    water_y: Array
    water_z: Array
    setting: Array
    flap: Array
    downwash: Array
    water_density: Array
    water_viscosity: Array
    vapour_pressure: Array
    gravity: Array
    surface_pressure: Array = SURFACE_PRESSURE
    speed: Array | None = None


@dataclass(frozen=True, kw_only=True)
class WingState:
    """A wing as the surface leaves it, (conditions,).

    Immersed span and area; mean depth of the immersed part; depth Froude number, for a mirrored wing that on
    the immersed span; lift slope and lift coefficient on the immersed area; the angle by which its own wake
    and waves turn the lift back. Where less than a tenth of the span, or less than half a chord of depth, is
    left, slope and Froude number are those of the held span and depth. Span, area and depth carry
    derivatives, the rest is for reports and does not.
    """

    span: Array
    area: Array
    depth: Array
    froude: Array
    lift_slope: Array
    lift_coefficient: Array
    induced_angle: Array


@dataclass(frozen=True, kw_only=True)
class FoilLoads:
    """Loads of a foil's elements, (elements, conditions); sums over the elements are the foil's.

    Force [N] and moment [N m] about the reference point, right-handed, body axes. Drags [N] along the local
    flow, all of them part of the force: `induced_drag` with the waves', `profile_drag` with what stall and
    cavitation add, `spray_drag`, `junction_drag`. `incidence` from zero lift [rad]; `lift_coefficient` of the
    section before stall and cap; `cavitation_margin`: cavitation number at the immersed part's mean depth
    less the suction peak under the densest load, negative where cavitation has begun, to be read where the
    element is wet. `wings` in the order given. Drags, incidence and the coefficients of lift are for
    reports: they carry no derivatives.
    """

    force_x: Array
    force_y: Array
    force_z: Array
    moment_x: Array
    moment_y: Array
    moment_z: Array
    induced_drag: Array
    profile_drag: Array
    spray_drag: Array
    junction_drag: Array
    incidence: Array
    lift_coefficient: Array
    cavitation_margin: Array
    wings: tuple[WingState, ...]


def element_forces(
    *, at: FoilPlace, wings: tuple[Wing, ...], sections: FoilSections, flow: FoilFlow, panel_count: int
) -> FoilLoads:
    """Forces and moments on the elements of one foil.

    Each wing has the slope of its immersed span at its mean depth. Its lift is shared among panels by area,
    incidence and Schrenk's mean of chord and elliptic loading (O. Schrenk, NACA TM 948, 1940, from memory);
    the induced angle is the same for all. Lift acts across the local flow, drag along it. Past stall the
    section is a plate, as in `foils.fin_coefficients`; lift over area is capped at `FULL_CAVITATION_LOADING`,
    and the cap turns the force from across the flow to across the chord. What is dry carries nothing; its
    windage is left to the caller.

    Positive speed. Twice continuously differentiable. Left out: the influence of arm and wing on each other,
    of the foils' thickness on the surface, section moments, ventilation, unsteadiness, waves.

    Raises ValueError where an element is in no wing or in several.
    """
    count = at.start_depth.shape[0]
    listed = sorted(i for wing in wings for i in wing.elements)
    if listed != list(range(count)):
        raise ValueError(
            f"The wings list the elements {listed}; each of 0 to {count - 1} must be there once."
        )
    together, first = _together(wings), _firsts(wings)
    built_span = together @ at.span
    chord = together @ (0.5 * at.span * (at.root_chord + at.tip_chord)) / built_span
    wet = _wet_parts(wings, at, sections, chord, panel_count)
    xp = array_namespace(wet.areas, flow.water_x)
    span, area = xp.matmul(together, wet.span), xp.matmul(together, wet.areas[0])
    depth = _safe_ratio(xp.matmul(together, wet.depth_area), area, empty=0.0)
    surface = _surface(wings, at, flow, span=span, built_span=built_span, chord=chord, depth=depth)
    local = _section_loads(at, sections, flow, surface, depth)
    # Schrenk's mean of chord and ideal loading, which lies between that below a rigid surface and below one
    # that gives way
    weight = 0.5 * (wet.areas + wet.low + surface.transition * wet.to_high)
    weights = xp.matmul(together, weight[0])
    mean = _safe_ratio(xp.matmul(together, weight[0] * local.useful), weights, empty=0.0)
    induced_angle = (surface.induced_per_mean / sections.efficiency[first]) * mean
    return _foil_loads(
        at,
        sections,
        wet,
        local,
        induced_angle,
        loaded=weight * _safe_ratio(area, weights, empty=1.0),
        wings=_wing_states(wings, span, area, depth, surface, mean, induced_angle),
    )


@cache
def _together(wings: tuple[Wing, ...]) -> FloatArray:
    """1 where two elements are in the same wing, (elements, elements): sums over the wing of each."""
    count = sum(len(wing.elements) for wing in wings)
    result = np.zeros((count, count))
    for wing in wings:
        result[np.ix_(wing.elements, wing.elements)] = 1.0
    return result


def _firsts(wings: tuple[Wing, ...]) -> NDArray[np.intp]:
    """The first element of the wing of each element."""
    first = {i: wing.elements[0] for wing in wings for i in wing.elements}
    return np.array([first[i] for i in range(len(first))])


@cache
def _passed(wings: tuple[Wing, ...], panel_count: int) -> tuple[FloatArray, FloatArray]:
    """What a wing has before the middle of each panel: elements, (elements, elements), and of the panel's own
    element panels, a half of itself among them, (elements, panels, panels).
    """
    count = sum(len(wing.elements) for wing in wings)
    elements, panels = np.zeros((count, count)), np.zeros((count, panel_count, panel_count))
    earlier = np.tri(panel_count) - 0.5 * np.eye(panel_count)
    for wing in wings:
        for place, (i, reverse) in enumerate(zip(wing.elements, wing.reverse, strict=True)):
            elements[i, list(wing.elements[:place])] = 1.0
            panels[i] = earlier.T if reverse else earlier
    return elements, panels


def _wing_states(
    wings: tuple[Wing, ...],
    span: Array,
    area: Array,
    depth: Array,
    surface: _Surface,
    mean: Array,
    induced_angle: Array,
) -> tuple[WingState, ...]:
    """From what each element says of its wing; `mean` is the mean incidence."""
    froude, slope, incidence, turn = (
        without_derivatives(x) for x in (surface.froude, surface.slope, mean, induced_angle)
    )
    return tuple(
        WingState(
            span=span[i],
            area=area[i],
            depth=depth[i],
            froude=froude[i],
            lift_slope=slope[i],
            lift_coefficient=slope[i] * incidence[i],
            induced_angle=turn[i],
        )
        for i in (wing.elements[0] for wing in wings)
    )


@dataclass(frozen=True, kw_only=True)
class _Wet:
    """What is wet of the elements: span and area times depth, (elements, conditions). The others are plain
    and weighted by the distance along the span from the element's start, (2, elements, conditions): area;
    area times the ideal loading over chord below a rigid surface, and what it has more of that below one that
    gives way, for mirrored wings alone; square of the thickness where the surface cuts it.
    """

    span: Array
    depth_area: Array
    areas: Array
    low: Array
    to_high: Array
    spray: Array


@dataclass(frozen=True)
class _SectionLoads:
    """Flow and loads at the elements' sections, (elements, conditions).

    Velocity of the water [m/s] `aft` along body x, `towards` the normal and `along` the span. The loads are
    those [Pa] over the flow's speed: times `aft` and `towards` they are components of a force along the flow,
    or, turned, across it. `useful`: incidence, as far as it is attached and kept by the cap. `lift`: per
    loaded area; `cap_drag`: what the cap adds to it. `plate_lift`, `plain_drag`: of the plate past stall, and
    of plate and skin, per plain area; `skin`: the part of the latter that follows the flow along the span
    too; `bluff`: dynamic pressure. The last six have no derivatives: dynamic pressure, size of the lift, of
    the cap's drag and of the plain drag [Pa], incidence and lift coefficient.
    """

    aft: Array
    towards: Array
    along: Array
    useful: Array
    lift: Array
    cap_drag: Array
    plate_lift: Array
    plain_drag: Array
    skin: Array
    bluff: Array
    cavitation_margin: Array
    pressure: Array
    size_of_lift: Array
    size_of_cap_drag: Array
    size_of_plain_drag: Array
    incidence: Array
    coefficient: Array


@dataclass(frozen=True)
class _Surface:
    """Aspect ratio and slope of each element's wing at its depth; the induced angle over its mean incidence;
    `transition` is that of a mirrored wing, 0 for others. (elements, conditions). The depth Froude number
    has no derivatives.
    """

    aspect_ratio: Array
    froude: Array
    transition: Array
    slope: Array
    induced_per_mean: Array


def _safe_ratio(numerator: Array, denominator: Array, *, empty: float) -> Array:
    """`empty` where nothing is wet: the numerator and all derivatives are zero there."""
    dry = 1.0 * (without_derivatives(denominator) == 0.0)
    return numerator / (denominator + dry) + empty * dry


def _wet_parts(
    wings: tuple[Wing, ...], at: FoilPlace, sections: FoilSections, chord: Array, panel_count: int
) -> _Wet:
    """Sums over panels, which depend on depth and rise alone."""
    span, shares = at.span[:, None], panel_shares(panel_count)

    def cut(start_depth: Array, rise: Array) -> tuple[Array, ...]:
        wet = immersed_shares(start_depth=start_depth, rise=rise, span=span, panel_count=panel_count)
        through = crossing_shares(start_depth=start_depth, rise=rise, span=span, panel_count=panel_count)
        return wet * (span / panel_count), through

    lengths, through = elementwise(cut, at.start_depth[:, None], at.rise[:, None])
    low, to_high = _loadings(wings, lengths)
    # moments about the element's start over powers of its span; the chord is linear along it
    powers = (shares[:, 0] ** np.arange(4)[:, None]).astype(float)
    length, loaded, loaded_more, cuts = (
        [moments[:, i] for i in range(count)]
        for moments, count in (
            (_over_panels(powers[:3], lengths), 3),
            (_over_panels(powers[:2], lengths * low), 2),
            (_over_panels(powers[:2], lengths * to_high), 2),
            (_over_panels(powers, through), 4),
        )
    )
    root, taper = at.root_chord, at.tip_chord - at.root_chord
    xp = array_namespace(lengths, through)

    def with_moment(plain_and_moment: Sequence[Array], scale: Array) -> Array:
        plain, moment = plain_and_moment
        return xp.stack([scale * plain, (scale * at.span) * moment])

    areas = xp.stack(
        [
            root * length[0] + taper * length[1],
            (at.span * root) * length[1] + (at.span * taper) * length[2],
        ]
    )
    squares = root**2, 2.0 * root * taper, taper**2
    return _Wet(
        span=length[0],
        depth_area=areas[0] * at.start_depth - areas[1] * at.rise,
        areas=areas,
        # loading over chord, times area
        low=with_moment(loaded, chord),
        to_high=with_moment(loaded_more, chord),
        spray=with_moment(
            [sum(share * cuts[power + i] for i, share in enumerate(squares)) for power in (0, 1)],
            sections.thickness_ratio**2,
        ),
    )


def _over_panels(matrix: FloatArray, x: Array) -> Array:
    """Plain combinations of what elements have on their panels, (elements, panels, conditions). One condition
    is computed as two: alone its sums would round differently from those of many.
    """
    xp = array_namespace(x)
    if x.shape[-1] == 1:
        return xp.matmul(matrix, xp.concatenate([x, x], axis=-1))[..., :1]
    return xp.matmul(matrix, x)


def _loadings(wings: tuple[Wing, ...], lengths: Array) -> tuple[Array, ...]:
    """Ideal loading of each panel below a rigid surface, by where its middle lies along the wing's immersed
    span from 0 to 1, and what it has more below one that gives way.
    """
    xp = array_namespace(lengths)
    elements, panels, _ = lengths.shape
    before, within = _passed(wings, panels)
    by_element = xp.sum(lengths, axis=1)
    total = xp.matmul(_together(wings), by_element)
    passed = xp.matmul(before, by_element)[:, None] + _over_panels(within, lengths)
    places = _safe_ratio(passed, total[:, None], empty=0.5)
    mirrored = {i: wing.mirrored for wing in wings for i in wing.elements}
    from_middle = np.array([0.0 if mirrored[i] else 1.0 for i in range(elements)])[:, None, None]

    def loading(place: Array) -> tuple[Array, ...]:
        below_rigid = _ellipse((1.0 + from_middle) * place - from_middle)
        return below_rigid, _giving_way(place) - below_rigid

    return elementwise(loading, places)


def _ellipse(x: Array) -> Array:
    """4/pi sqrt(1 - x^2), of mean 1, by a polynomial within 0.02 of it for |x| < 0.9: its slope at the
    tips is finite.
    """
    x2 = x**2
    return 4.0 / math.pi * (1.005 + x2 * (-0.64933 + x2 * (0.49838 - 0.71984 * x2)))


def _giving_way(place: Array) -> Array:
    """Load, of mean 1, from the surface (0) to the tip (1) of a board whose surface gives way.

    A polynomial with its centre at pi/6, that of the exact r ln((1 + sqrt(1 - r^2))/r), whose slope at the
    surface is infinite.
    """
    return place * (1.0 - place) * (1.0 + 0.618 * place) / (1.0 / 6.0 + 0.618 / 12.0)


def _surface(
    wings: tuple[Wing, ...],
    at: FoilPlace,
    flow: FoilFlow,
    *,
    span: Array,
    built_span: Array,
    chord: Array,
    depth: Array,
) -> _Surface:
    xp = array_namespace(span, depth, flow.water_x, flow.water_y, flow.water_z)
    speed = flow.speed
    if speed is None:
        speed = xp.sqrt(flow.water_x**2 + flow.water_y**2 + flow.water_z**2)
    held_span = _held(span, floor=_LEAST_SPAN_SHARE * built_span, width=_LEAST_SPAN_WIDTH * built_span)
    held_depth = _held(depth, floor=_LEAST_DEPTH_CHORDS * chord, width=_LEAST_DEPTH_WIDTH * chord)
    # wings of a kind together, each by its first element
    through, below = ([wing for wing in wings if wing.mirrored is kind] for kind in (True, False))
    found = []
    if through:
        i = np.array([wing.elements[0] for wing in through])
        law = partial(_through_surface, chord[i], at.sweep[i], flow.gravity)
        found.append(elementwise(law, held_span[i], speed))
    if below:
        i = np.array([wing.elements[0] for wing in below])
        law = partial(_below_surface, chord[i], at.sweep[i], flow.gravity)
        inclination2 = xp.stack(
            [sum(at.rise[j] ** 2 for j in wing.elements) / len(wing.elements) for wing in below]
        )
        found.append(elementwise(law, held_span[i], speed, held_depth[i], inclination2))
    place = {j: row for row, wing in enumerate((*through, *below)) for j in wing.elements}
    rows = np.array([place[i] for i in range(len(place))])
    return _Surface(*(xp.concatenate(column)[rows] for column in zip(*found, strict=True)))


def _held(value: Array, *, floor: Array, width: Array) -> Array:
    return elementwise(lambda x: (smooth_floor(value=x, floor=floor, width=width),), value)[0]


def _through_surface(
    chord: Array, sweep: Array, gravity: Array, span: Array, speed: Array
) -> tuple[Array, ...]:
    """The fields of `_Surface` for a mirrored wing, in their order."""
    froude = depth_froude_number(
        speed=without_derivatives(speed), depth=without_derivatives(span), gravity=gravity
    )
    transition = _piercing_transition(gravity * span / speed**2)
    aspect_ratio = span / chord * _piercing_efficiency(transition)
    slope, induced = _deep_slope(aspect_ratio, sweep)
    return aspect_ratio, froude, transition, slope, induced


def _below_surface(
    chord: Array, sweep: Array, gravity: Array, span: Array, speed: Array, depth: Array, inclination2: Array
) -> tuple[Array, ...]:
    """The fields of `_Surface` for a wing under water, in their order."""
    froude = depth_froude_number(
        speed=without_derivatives(speed), depth=without_derivatives(depth), gravity=gravity
    )
    deep, induced = _deep_slope(span / chord, sweep)
    chordwise, (wake, waves) = _surface_terms(
        depth_chord_ratio=depth / chord,
        depth_span_ratio=depth / span,
        wave=(0.5 * gravity) * span / speed**2,
        inclination2=inclination2,
    )
    without = 1.0 / (1.0 + deep * chordwise + induced * (wake + waves))
    none = 0.0 * froude
    return span / chord + none, froude, none, deep * without, induced * without * (1.0 + wake + waves)


def _section_loads(
    at: FoilPlace, sections: FoilSections, flow: FoilFlow, surface: _Surface, depth: Array
) -> _SectionLoads:
    aft = -1.0 * flow.water_x
    towards = flow.water_y * at.normal_y + flow.water_z * at.normal_z - flow.downwash * aft
    along = flow.water_y * at.span_y + flow.water_z * at.span_z
    mean_chord = 0.5 * (at.root_chord + at.tip_chord)
    *loads, peak, inverse_pressure, pressure, incidence, coefficient, speed = elementwise(
        partial(_at_section, sections, flow, mean_chord),
        aft,
        towards,
        flow.setting,
        flow.flap,
        surface.slope,
        surface.aspect_ratio,
    )
    # over the number of dynamic pressure one, `cavitation_number`
    ambient = flow.surface_pressure - flow.vapour_pressure + (flow.water_density * flow.gravity) * depth
    _, lift, cap_drag, _, plain_drag, _, _ = (without_derivatives(load) * speed for load in loads)
    for_reports = pressure, lift, cap_drag, plain_drag, incidence, coefficient
    return _SectionLoads(aft, towards, along, *(*loads, ambient * inverse_pressure - peak, *for_reports))


def _at_section(
    sections: FoilSections,
    flow: FoilFlow,
    mean_chord: Array,
    aft: Array,
    towards: Array,
    setting: Array,
    flap: Array,
    slope: Array,
    aspect_ratio: Array,
) -> tuple[Array, ...]:
    """The loads of `_SectionLoads` in their order from `useful` to `bluff`, the suction peak, one over the
    dynamic pressure, and without derivatives dynamic pressure, incidence, lift coefficient and speed.

    `aft` and `towards` the normal is the flow in the plane across the span.
    """
    xp = array_namespace(aft, towards, setting, flap, slope, aspect_ratio)
    speed2 = aft**2 + towards**2
    speed = xp.sqrt(speed2)
    pressure, bluff = 0.5 * flow.water_density * speed2, 0.5 * flow.water_density * speed
    turned = setting + sections.flap_effectiveness * flap - sections.zero_lift_angle
    # of the section with its flap as set
    design = sections.design_lift_coefficient + sections.flap_ideal_lift * flap
    incidence = xp.arctan2(towards, aft) + turned
    coefficient = slope * incidence
    attached = attached_within(incidence=incidence, stall=sections.stall_lift_coefficient / slope)
    kept = _kept(pressure * coefficient)
    sine = xp.sin(incidence)
    normal = (1.11 + 0.018 * aspect_ratio) * sine
    plate = bluff * ((1.0 - attached) * normal * _kept(pressure * normal))
    useful = attached * kept * incidence
    working = slope * useful
    lift = bluff * working
    skin = bluff * _profile_drag(sections, flow, mean_chord, speed=speed, off_design=working - design)
    peak = suction_peak(
        lift_coefficient=_DENSEST_LOAD * coefficient,
        design_lift_coefficient=design,
        thickness_speed=sections.thickness_speed,
        nose_radius_ratio=sections.nose_radius_ratio,
    )
    return (
        useful,
        lift,
        lift * ((1.0 - kept) * sine),
        plate * xp.cos(incidence),
        plate * sine + skin,
        skin,
        bluff,
        peak,
        1.0 / pressure,
        *(without_derivatives(x) for x in (pressure, incidence, coefficient, speed)),
    )


def _kept(loading: Array) -> Array:
    """`capped_share` of lift over area [Pa] under full cavitation."""
    return capped_share(lift_coefficient=loading, limit=FULL_CAVITATION_LOADING)


def _profile_drag(
    sections: FoilSections, flow: FoilFlow, mean_chord: Array, *, speed: Array, off_design: Array
) -> Array:
    """Coefficient of attached flow, at the element's mean chord."""
    section = section_profile_drag(
        friction_coefficient=friction_coefficient(reynolds=speed * (mean_chord / flow.water_viscosity)),
        thickness_ratio=sections.thickness_ratio,
    )
    return sections.profile_drag_scale * (section + sections.lift_drag_factor * off_design**2)


def _foil_loads(
    at: FoilPlace,
    sections: FoilSections,
    wet: _Wet,
    local: _SectionLoads,
    induced_angle: Array,
    *,
    loaded: Array,
    wings: tuple[WingState, ...],
) -> FoilLoads:
    """`loaded`: area times what of the wing's lift falls to it, and its first moment."""
    xp = array_namespace(loaded, local.lift, at.normal_y, at.start_depth)
    start_wet = elementwise(
        lambda depth: (smooth_step(depth / (SURFACE_SHARE * at.root_chord)),), at.start_depth
    )[0]
    junction_area = sections.junction_drag_area * start_wet
    # a junction is at the element's start
    bluff_area = _SPRAY * wet.spray + np.array([1.0, 0.0])[:, None, None] * junction_area
    # force across the flow, along it, and along the span, all over speed: whole, and its first moment
    across = local.lift * loaded + local.plate_lift * wet.areas
    bluff = local.bluff * bluff_area
    # the induced angle tilts lift back
    drag = (local.cap_drag + induced_angle * local.lift) * loaded + local.plain_drag * wet.areas + bluff
    # drag of skin and spray follows the flow along the span too
    sideways = local.along * (local.skin * wet.areas + bluff)
    # lift tilts forward by the turn of the flow towards the normal
    forward = across * local.towards - drag * local.aft
    normal = across * local.aft + drag * local.towards
    force = forward, normal * at.normal_y + sideways * at.span_y, normal * at.normal_z + sideways * at.span_z
    places = (
        xp.stack([start, step])
        for start, step in ((at.start_x, at.step_x), (at.start_y, at.span_y), (at.start_z, at.span_z))
    )
    moment = [xp.sum(part, axis=0) for part in _cross(tuple(places), force)]
    on, area, spray, junction, turn = (
        without_derivatives(x) for x in (loaded[0], wet.areas[0], wet.spray[0], junction_area, induced_angle)
    )
    return FoilLoads(
        force_x=force[0][0],
        force_y=force[1][0],
        force_z=force[2][0],
        moment_x=moment[0],
        moment_y=moment[1],
        moment_z=moment[2],
        induced_drag=local.size_of_lift * turn * on,
        profile_drag=local.size_of_cap_drag * on + local.size_of_plain_drag * area,
        spray_drag=_SPRAY * local.pressure * spray,
        junction_drag=local.pressure * junction,
        incidence=local.incidence,
        lift_coefficient=local.coefficient,
        cavitation_margin=local.cavitation_margin,
        wings=wings,
    )


def _cross(at: tuple[Array, Array, Array], force: tuple[Array, Array, Array]) -> tuple[Array, Array, Array]:
    (x, y, z), (fx, fy, fz) = at, force
    return y * fz - z * fy, z * fx - x * fz, x * fy - y * fx
