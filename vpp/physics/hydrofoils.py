"""Lifting foils near and through the water surface: coefficients, and the forces on the elements of one foil.

The surface enters by linear theory, for which depth Froude number V/sqrt(g h) decides between a rigid
surface (low) and one that gives way (high). Lengths [m], angles [rad]. Loading is elliptic where a law
needs one. Depths are those below the undisturbed water plane.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from vpp.physics.arrays import Array, array_namespace, elementwise
from vpp.physics.foil_geometry import (
    SURFACE_SHARE,
    FoilPlace,
    crossing_shares,
    immersed_shares,
    panel_shares,
    smooth_step,
)
from vpp.physics.foils import attached_share, helmbold_lift_slope, section_profile_drag
from vpp.physics.hull import friction_coefficient
from vpp.physics.interpolation import cubic_coefficients, piecewise_cubic

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
# ventilating from its tail. Source: tests in J. Fluid Mech., 2026 (second-hand).
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
    xp = array_namespace(depth_span_ratio, depth_froude)
    wave = 0.5 / (depth_span_ratio * depth_froude**2)

    def spectrum(a: FloatArray) -> Array:
        p = 0.5 * (wave + xp.sqrt(wave**2 + 4.0 * a**2))
        return 8.0 * p * xp.exp(-4.0 * p * depth_span_ratio) / (2.0 - wave / p)

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
    y = 2.0 / depth_froude**2
    return piecewise_cubic(x=y / (1.0 + y), start=0.0, step=1.0 / _IMAGE_PIECES, coefficients=_IMAGE_TABLE)


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
        depth_froude=depth_froude,
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
    *, depth_chord_ratio: Array, depth_span_ratio: Array, depth_froude: Array, inclination2: Array
) -> tuple[Array, tuple[Array, Array]]:
    """Incidence taken by the surface per lift coefficient: chordwise, and times pi AR by wake and waves."""
    strength = bound_image_strength(depth_froude=depth_froude) * bound_image_span_factor(
        depth_span_ratio=depth_span_ratio
    )
    inclined = inclined_image_factor(inclination2=inclination2, depth_span_ratio=depth_span_ratio)
    sigma = biplane_factor(depth_span_ratio=depth_span_ratio)
    # the image in a rigid surface never takes more than all of the induced drag; the cap takes 0.05 % off it
    # where it is half of that drag, and 1 % where it is three quarters
    inclined = inclined * capped_share(lift_coefficient=inclined * sigma, limit=1.0)
    waves = inclined * wave_drag_factor(depth_span_ratio=depth_span_ratio, depth_froude=depth_froude)
    chordwise = strength / (2.0 * math.pi * (1.0 + 16.0 * depth_chord_ratio**2))
    return chordwise, (-inclined * sigma, waves)


def _over_spectrum(integrand: Callable[[FloatArray], Array], like: Array) -> Array:
    """The integral of J1(a)^2/a^2 times `integrand` over a; `like` has the axes of the result."""
    axes = (-1, *([1] * getattr(like, "ndim", 0)))
    weighted = np.reshape(_SPECTRUM_WEIGHTS, axes) * integrand(np.reshape(_SPECTRUM_NODES, axes))
    return array_namespace(like).sum(weighted, axis=0)


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


def smooth_floor(*, value: Array, floor: Array, width: Array) -> Array:
    """`floor` below it, `value` from `floor + width` up, twice continuously differentiable and rising
    between.

    A polynomial of fifth degree joins the two.
    """
    xp = array_namespace(value, floor, width)
    x = (value - floor) / width
    t = xp.minimum(xp.maximum(x, 0.0), 1.0)
    return floor + width * (t**3 * (6.0 + t * (3.0 * t - 8.0)) + xp.maximum(x, 1.0) - 1.0)


_IMAGE_TABLE = _image_table()


# --- surface: struts and boards through it ------------------------------------------------------------------


def piercing_transition(*, span_froude: Array) -> Array:
    """How far the surface has given way for a vertical board through it: 0 at low, 1 at high Froude number.

    span_froude is V/sqrt(g b) with b the immersed span. 1/(1 + 0.7067 ln(1 + 0.8705 k (k + 1.2536)/(k +
    3.8599))), k = 1/Fn^2: a fit, within 0.06 % of the induced drag from Fn 0.1 to 30, to the least
    drag in linear free-surface theory at given side force, found numerically with a free loading.
    """
    k = 1.0 / span_froude**2
    xp = array_namespace(k)
    return 1.0 / (1.0 + 0.70674718 * xp.log(1.0 + 0.8705049 * k * (k + 1.25355433) / (k + 3.85988411)))


def piercing_efficiency(*, span_froude: Array) -> Array:
    """e of a vertical board through the surface on its immersed span, waves included: D = F^2/(pi q b^2 e).

    2 at low Froude number (image in a rigid surface), 8/pi^2 at high (the surface gives way and the load on
    it is zero), between them by `piercing_transition`. Optimum loading; both ends exact.
    """
    transition = piercing_transition(span_froude=span_froude)
    return 1.0 / (0.5 + (math.pi**2 / 8.0 - 0.5) * transition)


def spray_drag(*, speed: Array, thickness: Array, water_density: Array) -> Array:
    """Spray drag [N] of a strut through the surface, 0.24 q t^2, t its thickness there.

    S. F. Hoerner, Fluid-Dynamic Drag, 1965, chapter X (from memory). High speed, streamlined section, no
    ventilation.
    """
    return 0.24 * 0.5 * water_density * speed**2 * thickness**2


def ventilation_from_tail(*, depth_froude: Array) -> Array:
    """Where a surface-piercing strut will ventilate from, if it does: 0 from its nose, 1 from its tail.

    A step over depth Froude numbers 1.0 to 1.25 (tests in J. Fluid Mech., 2026, second-hand), for a warning.
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
    *, speed: Array, depth: Array, water_density: Array, vapour_pressure: Array, gravity: Array
) -> Array:
    """(p_atm + rho g h - p_v)/(0.5 rho V^2), positive speed."""
    pressure = SURFACE_PRESSURE + water_density * gravity * depth - vapour_pressure
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
    is no flap; `lift_drag_factor`: growth of profile drag per square of lift off the design lift, about 0.005
    (NACA 0012 smooth, NACA Report 824, from memory); `stall_lift_coefficient`; `thickness_speed` and
    `nose_radius_ratio` as in `suction_peak`; `efficiency` of the wing's planform in deep water, 1 for
    elliptic; `junction_drag_area` [m^2] of what meets at the start of the element
    (`wall_junction_drag_area`, `crossing_drag_area`).
    """

    thickness_ratio: Array
    zero_lift_angle: Array
    design_lift_coefficient: Array
    flap_effectiveness: Array
    lift_drag_factor: Array
    stall_lift_coefficient: Array
    thickness_speed: Array
    nose_radius_ratio: Array
    efficiency: Array
    junction_drag_area: Array


@dataclass(frozen=True, kw_only=True)
class FoilFlow:
    """Water and what the boat does in it.

    `water_x, water_y, water_z`: velocity of the undisturbed water as the boat sees it [m/s], body axes,
    (conditions,), from `foil_geometry.water_velocity`; aft, so that water_x is negative. `setting`: angle of
    the sections' chord from the boat's x axis towards the normal [rad], (elements, conditions): built
    incidence, rake times cos(dihedral), rudder angle; `flap`: flap angle, positive towards more lift along
    the normal; `downwash`: angle by which foils ahead turn the flow, positive when it takes incidence away.
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


@dataclass(frozen=True, kw_only=True)
class WingState:
    """A wing as the surface leaves it, (conditions,).

    Immersed span and area; mean depth of the immersed part; depth Froude number, for a mirrored wing that on
    the immersed span; lift slope and lift coefficient on the immersed area; the angle by which its own wake
    and waves turn the lift back. Where less than a tenth of the span, or less than half a chord of depth, is
    left, slope and Froude number are those of the held span and depth.
    """

    span: Array
    area: Array
    depth: Array
    froude: Array
    lift_slope: Array
    lift_coefficient: Array
    induced_angle: Array


@dataclass(frozen=True, kw_only=True)
class _ElementLoads:
    """As in `FoilLoads`, of one element."""

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


@dataclass(frozen=True, kw_only=True)
class FoilLoads(_ElementLoads):
    """Loads of a foil's elements, (elements, conditions); sums over the elements are the foil's.

    Force [N] and moment [N m] about the reference point, right-handed, body axes. Drags [N] along the local
    flow, all of them part of the force: `induced_drag` with the waves', `profile_drag` with what stall and
    cavitation add, `spray_drag`, `junction_drag`. `incidence` from zero lift [rad]; `lift_coefficient` of the
    section before stall and cap; `cavitation_margin`: cavitation number at the immersed part's mean depth
    less the suction peak under the densest load, negative where cavitation has begun, to be read where the
    element is wet. `wings` in the order given.
    """

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
    rows: dict[int, _ElementLoads] = {}
    states = []
    for wing in wings:
        loads, state = _wing_loads(wing, at, sections, flow, panel_count)
        rows.update(zip(wing.elements, loads, strict=True))
        states.append(state)
    ordered = [vars(rows[i]) for i in range(count)]
    xp = array_namespace(*(row["force_x"] for row in ordered))
    columns = {name: xp.stack([row[name] for row in ordered]) for name in ordered[0]}
    return FoilLoads(**columns, wings=tuple(states))


@dataclass(frozen=True, kw_only=True)
class _Wet:
    """What is wet of an element: span, area, area times depth, and the area weighted by the ideal loading
    over chord below a rigid surface and below one that gives way. `_moment`: the same times the distance
    along the span from the element's start. `spray`: square of the thickness where the surface cuts it.
    """

    span: Array
    area: Array
    depth_area: Array
    low: Array
    high: Array
    area_moment: Array
    low_moment: Array
    high_moment: Array
    spray: Array
    spray_moment: Array


@dataclass(frozen=True, kw_only=True)
class _SectionFlow:
    """The flow at an element's sections.

    Speed, pressure and direction in the plane across the span, the last as cosine and sine of the turn
    towards the normal; `along_span` over that speed; incidence from zero lift; lift coefficient before stall
    and cap; the share of it that is attached, and that the cap keeps; normal force coefficient of what is
    separated.
    """

    speed: Array
    pressure: Array
    cosine: Array
    sine: Array
    along_span: Array
    incidence: Array
    coefficient: Array
    attached: Array
    kept: Array
    plate: Array


@dataclass(frozen=True)
class _Surface:
    """A wing's aspect ratio and slope at its depth; the induced angle over its mean incidence;
    `transition` is that of a mirrored wing, 0 for others.
    """

    aspect_ratio: Array
    froude: Array
    transition: Array
    slope: Array
    induced_per_mean: Array


def _wing_loads(
    wing: Wing, at: FoilPlace, sections: FoilSections, flow: FoilFlow, panel_count: int
) -> tuple[list[_ElementLoads], WingState]:
    built_span = sum(at.span[i] for i in wing.elements)
    chord = sum(_element_area(at, i) for i in wing.elements) / built_span
    wet = _wet_parts(wing, at, sections, chord, panel_count)
    span, area = sum(part.span for part in wet), sum(part.area for part in wet)
    depth = _safe_ratio(sum(part.depth_area for part in wet), area, empty=0.0)
    surface = _surface(wing, at, flow, span=span, built_span=built_span, chord=chord, depth=depth)
    weights = [
        0.5 * (part.area + (1.0 - surface.transition) * part.low + surface.transition * part.high)
        for part in wet
    ]
    norm = _safe_ratio(sum(weights), area, empty=1.0)
    sections_flow = [_section_flow(at, sections, flow, surface, i) for i in wing.elements]
    useful = [each.kept * each.attached * each.incidence for each in sections_flow]
    mean = _safe_ratio(sum(w * u for w, u in zip(weights, useful, strict=True)), norm * area, empty=0.0)
    induced_angle = surface.induced_per_mean * mean / sections.efficiency[wing.elements[0]]
    loads = [
        _element_loads(at, sections, flow, surface, i, part, loaded, local, norm, induced_angle, depth)
        for i, part, loaded, local in zip(wing.elements, wet, weights, sections_flow, strict=True)
    ]
    state = WingState(
        span=span,
        area=area,
        depth=depth,
        froude=surface.froude,
        lift_slope=surface.slope,
        lift_coefficient=surface.slope * mean,
        induced_angle=induced_angle,
    )
    return loads, state


def _element_area(at: FoilPlace, i: int) -> Array:
    return 0.5 * at.span[i] * (at.root_chord[i] + at.tip_chord[i])


def _safe_ratio(numerator: Array, denominator: Array, *, empty: float) -> Array:
    """`empty` where nothing is wet."""
    xp = array_namespace(numerator, denominator)
    wet = denominator > 0.0
    one = xp.ones_like(denominator)
    return xp.where(wet, numerator / xp.where(wet, denominator, one), empty * one)


def _wet_parts(
    wing: Wing, at: FoilPlace, sections: FoilSections, chord: Array, panel_count: int
) -> list[_Wet]:
    """What is wet of each element of a wing: sums over panels, which depend on depth and rise alone."""
    count = len(wing.elements)

    def sums(*depths: Array) -> tuple[Array, ...]:
        placed = list(zip(wing.elements, depths[:count], depths[count:], strict=True))
        wet = [
            immersed_shares(start_depth=start, rise=rise, span=at.span[i], panel_count=panel_count)
            * (at.span[i] / panel_count)
            for i, start, rise in placed
        ]
        parts: list[Array] = []
        for (i, start, rise), lengths, places in zip(placed, wet, _places(wing, wet), strict=True):
            parts += _wet_sums(wing, at, sections, i, start, rise, lengths, places, chord)
        return tuple(parts)

    depths = [at.start_depth[i] for i in wing.elements] + [at.rise[i] for i in wing.elements]
    values = elementwise(sums, *depths)
    names = [field.name for field in fields(_Wet)]
    size = len(names)
    return [_Wet(**dict(zip(names, values[k * size : (k + 1) * size], strict=True))) for k in range(count)]


def _places(wing: Wing, wet: list[Array]) -> list[Array]:
    """Where each panel's middle lies along the wing's immersed span, from 0 to 1, per element."""
    xp = array_namespace(*wet)
    total = sum(xp.sum(lengths, axis=0) for lengths in wet)
    passed: Array = 0.0
    result = []
    for lengths, reverse in zip(wet, wing.reverse, strict=True):
        count = lengths.shape[0]
        rows: dict[int, Array] = {}
        for j in reversed(range(count)) if reverse else range(count):
            rows[j] = _safe_ratio(passed + 0.5 * lengths[j], total, empty=0.5)
            passed = passed + lengths[j]
        result.append(xp.stack([rows[j] for j in range(count)]))
    return result


def _wet_sums(
    wing: Wing,
    at: FoilPlace,
    sections: FoilSections,
    i: int,
    start: Array,
    rise: Array,
    wet: Array,
    places: Array,
    chord: Array,
) -> list[Array]:
    """The fields of `_Wet`, in their order."""
    xp = array_namespace(start, rise, wet)
    shares = panel_shares(wet.shape[0])
    along = shares * at.span[i]
    local_chord = at.root_chord[i] + shares * (at.tip_chord[i] - at.root_chord[i])
    area = wet * local_chord
    # loading over chord, times area
    low = wet * chord * (_ellipse(places) if wing.mirrored else _ellipse(2.0 * places - 1.0))
    high = wet * chord * _giving_way(places) if wing.mirrored else low
    cut = crossing_shares(start_depth=start, rise=rise, span=at.span[i], panel_count=wet.shape[0])
    spray = cut * (sections.thickness_ratio[i] * local_chord) ** 2
    rows = (
        wet,
        area,
        area * (start - along * rise),
        low,
        high,
        area * along,
        low * along,
        high * along,
        spray,
        spray * along,
    )
    return [xp.sum(row, axis=0) for row in rows]


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
    wing: Wing, at: FoilPlace, flow: FoilFlow, *, span: Array, built_span: Array, chord: Array, depth: Array
) -> _Surface:
    xp = array_namespace(span, depth, flow.water_x, flow.water_y, flow.water_z)
    speed = xp.sqrt(flow.water_x**2 + flow.water_y**2 + flow.water_z**2)
    sweep = at.sweep[wing.elements[0]]
    held_span = smooth_floor(
        value=span, floor=_LEAST_SPAN_SHARE * built_span, width=_LEAST_SPAN_WIDTH * built_span
    )
    if wing.mirrored:

        def through(span: Array, speed: Array) -> tuple[Array, ...]:
            froude = depth_froude_number(speed=speed, depth=span, gravity=flow.gravity)
            aspect_ratio = span / chord * piercing_efficiency(span_froude=froude)
            slope, induced = _deep_slope(aspect_ratio, sweep)
            return aspect_ratio, froude, piercing_transition(span_froude=froude), slope, induced

        return _Surface(*elementwise(through, held_span, speed))
    held_depth = smooth_floor(
        value=depth, floor=_LEAST_DEPTH_CHORDS * chord, width=_LEAST_DEPTH_WIDTH * chord
    )
    inclination2 = sum(at.rise[i] ** 2 for i in wing.elements) / len(wing.elements)

    def below(span: Array, speed: Array, depth: Array, inclination2: Array) -> tuple[Array, ...]:
        froude = depth_froude_number(speed=speed, depth=depth, gravity=flow.gravity)
        deep, induced = _deep_slope(span / chord, sweep)
        chordwise, (wake, waves) = _surface_terms(
            depth_chord_ratio=depth / chord,
            depth_span_ratio=depth / span,
            depth_froude=froude,
            inclination2=inclination2,
        )
        loss = 1.0 + deep * chordwise + induced * (wake + waves)
        return span / chord, froude, 0.0 * froude, deep / loss, induced / loss * (1.0 + wake + waves)

    return _Surface(*elementwise(below, held_span, speed, held_depth, inclination2))


def _section_flow(
    at: FoilPlace, sections: FoilSections, flow: FoilFlow, surface: _Surface, i: int
) -> _SectionFlow:
    aft = -1.0 * flow.water_x
    towards = flow.water_y * at.normal_y[i] + flow.water_z * at.normal_z[i] - _row(flow.downwash, i) * aft
    along = flow.water_y * at.span_y[i] + flow.water_z * at.span_z[i]
    turned = (
        _row(flow.setting, i)
        + sections.flap_effectiveness[i] * _row(flow.flap, i)
        - sections.zero_lift_angle[i]
    )

    def direction(aft: Array, towards: Array) -> tuple[Array, ...]:
        xp = array_namespace(aft, towards)
        speed = xp.sqrt(aft**2 + towards**2)
        return speed, aft / speed, towards / speed, xp.arctan2(towards, aft)

    def section(incidence: Array, speed: Array, slope: Array, aspect_ratio: Array) -> tuple[Array, ...]:
        xp = array_namespace(incidence, speed, slope, aspect_ratio)
        coefficient = slope * incidence
        limit = FULL_CAVITATION_LOADING / (0.5 * flow.water_density * speed**2)
        attached = attached_share(
            incidence=incidence,
            aspect_ratio_effective=aspect_ratio,
            # `attached_share` divides by the slope of deep water
            stall_lift_coefficient=sections.stall_lift_coefficient[i]
            * helmbold_lift_slope(aspect_ratio=aspect_ratio)
            / slope,
        )
        kept = capped_share(lift_coefficient=coefficient, limit=limit)
        plate = (1.11 + 0.018 * aspect_ratio) * xp.sin(incidence)
        plate = (1.0 - attached) * plate * capped_share(lift_coefficient=plate, limit=limit)
        return coefficient, attached, kept, plate

    speed, cosine, sine, angle = elementwise(direction, aft, towards)
    incidence = angle + turned
    coefficient, attached, kept, plate = elementwise(
        section, incidence, speed, surface.slope, surface.aspect_ratio
    )
    return _SectionFlow(
        speed=speed,
        pressure=0.5 * flow.water_density * speed**2,
        cosine=cosine,
        sine=sine,
        along_span=along / speed,
        incidence=incidence,
        coefficient=coefficient,
        attached=attached,
        kept=kept,
        plate=plate,
    )


def _row(value: Array, i: int) -> Array:
    """The element's row; a plain number is that of every element."""
    return value[i] if getattr(value, "ndim", 0) else value


def _element_loads(
    at: FoilPlace,
    sections: FoilSections,
    flow: FoilFlow,
    surface: _Surface,
    i: int,
    wet: _Wet,
    loaded: Array,
    local: _SectionFlow,
    norm: Array,
    induced_angle: Array,
    depth: Array,
) -> _ElementLoads:
    xp = array_namespace(local.incidence, local.pressure, surface.slope, induced_angle)
    sine, cosine = xp.sin(local.incidence), xp.cos(local.incidence)
    transition = surface.transition
    loaded_moment = 0.5 * (
        wet.area_moment + (1.0 - transition) * wet.low_moment + transition * wet.high_moment
    )
    # per loaded area, and per plain area
    lift_load = local.pressure * local.coefficient * local.attached * local.kept / norm
    drag_load = lift_load * (induced_angle + (1.0 - local.kept) * sine)
    skin = local.pressure * _profile_drag(at, sections, flow, local, i)
    lift_area, drag_area = local.pressure * local.plate * cosine, local.pressure * local.plate * sine + skin
    spray = 0.24 * local.pressure
    start_wet = smooth_step(at.start_depth[i] / (SURFACE_SHARE * at.root_chord[i]))
    junction = local.pressure * sections.junction_drag_area[i] * start_wet
    force = _in_body_axes(
        at,
        local,
        i,
        lift=lift_load * loaded + lift_area * wet.area,
        drag=drag_load * loaded + drag_area * wet.area + spray * wet.spray + junction,
        skin=skin * wet.area + spray * wet.spray + junction,
    )
    along = _in_body_axes(
        at,
        local,
        i,
        lift=lift_load * loaded_moment + lift_area * wet.area_moment,
        drag=drag_load * loaded_moment + drag_area * wet.area_moment + spray * wet.spray_moment,
        skin=skin * wet.area_moment + spray * wet.spray_moment,
    )
    at_start = _cross((at.start_x[i], at.start_y[i], at.start_z[i]), force)
    beyond = _cross((at.step_x[i], at.span_y[i], at.span_z[i]), along)
    induced = lift_load * induced_angle * loaded
    return _ElementLoads(
        force_x=force[0],
        force_y=force[1],
        force_z=force[2],
        moment_x=at_start[0] + beyond[0],
        moment_y=at_start[1] + beyond[1],
        moment_z=at_start[2] + beyond[2],
        induced_drag=induced,
        profile_drag=drag_load * loaded + drag_area * wet.area - induced,
        spray_drag=spray * wet.spray,
        junction_drag=junction,
        incidence=local.incidence,
        lift_coefficient=local.coefficient,
        cavitation_margin=_cavitation_margin(sections, flow, local, i, depth),
    )


def _profile_drag(
    at: FoilPlace, sections: FoilSections, flow: FoilFlow, local: _SectionFlow, i: int
) -> Array:
    """Coefficient of attached flow, at the element's mean chord."""
    reynolds = local.speed * 0.5 * (at.root_chord[i] + at.tip_chord[i]) / flow.water_viscosity
    section = section_profile_drag(
        friction_coefficient=friction_coefficient(reynolds=reynolds),
        thickness_ratio=sections.thickness_ratio[i],
    )
    off_design = local.attached * local.kept * local.coefficient - sections.design_lift_coefficient[i]
    return section + sections.lift_drag_factor[i] * off_design**2


def _in_body_axes(
    at: FoilPlace, local: _SectionFlow, i: int, *, lift: Array, drag: Array, skin: Array
) -> tuple[Array, Array, Array]:
    """Lift across and drag along the local flow; `skin` is the part of the drag that follows it along the
    span too.
    """
    # lift tilts forward by the turn of the flow towards the normal
    across = lift * local.cosine + drag * local.sine
    sideways = skin * local.along_span
    return (
        lift * local.sine - drag * local.cosine,
        across * at.normal_y[i] + sideways * at.span_y[i],
        across * at.normal_z[i] + sideways * at.span_z[i],
    )


def _cross(at: tuple[Array, Array, Array], force: tuple[Array, Array, Array]) -> tuple[Array, Array, Array]:
    (x, y, z), (fx, fy, fz) = at, force
    return y * fz - z * fy, z * fx - x * fz, x * fy - y * fx


def _cavitation_margin(
    sections: FoilSections, flow: FoilFlow, local: _SectionFlow, i: int, depth: Array
) -> Array:
    number = cavitation_number(
        speed=local.speed,
        depth=depth,
        water_density=flow.water_density,
        vapour_pressure=flow.vapour_pressure,
        gravity=flow.gravity,
    )
    peak = suction_peak(
        lift_coefficient=_DENSEST_LOAD * local.coefficient,
        design_lift_coefficient=sections.design_lift_coefficient[i],
        thickness_speed=sections.thickness_speed[i],
        nose_radius_ratio=sections.nose_radius_ratio[i],
    )
    return number - peak
