"""Keel fins and rudders at displacement speeds.

They are straight foils below a hull, mirrored in the hull and the rigid water surface.
Lift acts across the flow, drag along it. Coefficients are on the foil's own planform area and the dynamic
pressure of the water.
"""

from __future__ import annotations

import math

from vpp.physics.arrays import Array, array_namespace

# Lift coefficient of the attached flow at which the fin is half stalled. Common practice, no source:
# symmetric sections of 9 to 15 % thickness reach 1.0 to 1.3 at the Reynolds numbers of fins, and the lower
# figure is the cautious one.
STALL_LIFT_COEFFICIENT = 1.0
# Half width in incidence over which attached flow turns into separated flow.
STALL_WIDTH = math.radians(2.0)
# Angle of a trim tab up to which its lift is linear. From memory: plain flaps separate at 10 to 15 deg.
TAB_LINEAR_LIMIT = math.radians(15.0)
# Growth of profile drag per square of section lift off the ideal lift: NACA 0012 smooth, NACA Report 824
# (from memory).
LIFT_DRAG_FACTOR = 0.005


def effective_aspect_ratio(*, span: Array, area: Array) -> Array:
    """Aspect ratio of the fin with its mirror image in the hull and the rigid water surface: 2 span^2/area.

    With it the induced drag of elliptic loading is F^2/(2 pi q span^2), half of that of a fin without its
    image. Low Froude number on span only (image theorem, exact for a plane without gap); at speeds where
    the surface gives way it is up to 2.5 times optimistic.
    """
    return 2.0 * span**2 / area


def helmbold_lift_slope(*, aspect_ratio: Array) -> Array:
    """Lift slope [1/rad] of a straight wing of any aspect ratio, 2 pi AR/(2 + sqrt(4 + AR^2)).

    H. B. Helmbold, Der unverwundene Ellipsenfluegel als tragende Flaeche, Jahrbuch der Deutschen
    Luftfahrtforschung, 1942. Elliptic planform, thin section, no sweep; tends to pi AR/2 for slender and 2
    pi for long wings. Up to 7.5 % high for rectangles.
    """
    xp = array_namespace(aspect_ratio)
    return 2.0 * math.pi * aspect_ratio / (2.0 + xp.sqrt(4.0 + aspect_ratio**2))


def section_profile_drag(*, friction_coefficient: Array, thickness_ratio: Array) -> Array:
    """Profile drag coefficient of a streamlined section on its planform area, 2 Cf (1 + 2 t/c + 60 (t/c)^4).

    friction_coefficient is that of a flat plate at the chord's Reynolds number, per wetted side. Attached
    flow, no camber, maximum thickness near 30 % of the chord. S. F. Hoerner, Fluid-Dynamic Drag, 1965,
    chapter VI (formula from memory).
    """
    return 2.0 * friction_coefficient * (1.0 + 2.0 * thickness_ratio + 60.0 * thickness_ratio**4)


def mean_chord_reynolds(*, speed: Array, span: Array, area: Array, water_viscosity: Array) -> Array:
    """Reynolds number on the mean chord, area over span.

    speed [m/s], span [m], area [m^2], water_viscosity kinematic [m^2/s].
    """
    return speed * area / (span * water_viscosity)


def stall_incidence(
    *, aspect_ratio_effective: Array, stall_lift_coefficient: Array = STALL_LIFT_COEFFICIENT
) -> Array:
    """Incidence [rad] at which a fin is half stalled: its attached lift would be `stall_lift_coefficient`.

    `fin_coefficients` holds as attached flow to two `STALL_WIDTH` below it, with less than 2 % separated.
    """
    return stall_lift_coefficient / helmbold_lift_slope(aspect_ratio=aspect_ratio_effective)


def fin_coefficients(
    *,
    incidence: Array,
    aspect_ratio_effective: Array,
    profile_drag_coefficient: Array,
    efficiency: Array = 1.0,
    stall_lift_coefficient: Array = STALL_LIFT_COEFFICIENT,
    zero_lift_angle: Array = 0.0,
) -> tuple[Array, Array]:
    """Lift and drag coefficient of a fin with its mirror image, from its incidence [rad].

    Attached lift has the sign of the incidence less the `zero_lift_angle` [rad], which a trim tab moves
    (`tab_zero_lift_angle`); the plate past stall knows of the incidence alone. Attached: lift slope by
    Helmbold, drag CD0 + CL^2/(pi AR e) with AR the effective aspect ratio and e the `efficiency` (1 for
    elliptic loading below a rigid surface; `draught_efficiency`, or half of `fins.board_efficiency`, where
    that gives way). Past stall: a flat plate whose normal force is (1.11 + 0.018 AR) sin(incidence) (plate
    drag after L. A. Viterna, R. D. Corrigan, NASA CP-2230, 1981, from memory). The two are blended by tanh
    over `STALL_WIDTH` around `stall_incidence` from zero lift, so that every derivative exists and, without a
    tab, lift past stall is always dearer than the same lift before it. All arguments broadcast.

    Valid as numbers to `stall_incidence` less two `STALL_WIDTH` from zero lift, and in sign and order of size
    beyond. Unswept, symmetric section but for the tab; no cross-flow lift at the tip (a few per cent of lift
    at 10 deg).
    """
    xp = array_namespace(incidence, zero_lift_angle, aspect_ratio_effective, profile_drag_coefficient)
    from_zero_lift = incidence - zero_lift_angle
    attached = attached_share(
        incidence=from_zero_lift,
        aspect_ratio_effective=aspect_ratio_effective,
        stall_lift_coefficient=stall_lift_coefficient,
    )
    attached_lift = helmbold_lift_slope(aspect_ratio=aspect_ratio_effective) * from_zero_lift
    induced = attached_lift**2 / (math.pi * aspect_ratio_effective * efficiency)
    plate_normal = (1.11 + 0.018 * aspect_ratio_effective) * xp.sin(incidence)
    plate_lift, plate_drag = plate_normal * xp.cos(incidence), plate_normal * xp.sin(incidence)
    lift = attached * attached_lift + (1.0 - attached) * plate_lift
    drag = profile_drag_coefficient + attached * induced + (1.0 - attached) * plate_drag
    return lift, drag


def attached_share(
    *, incidence: Array, aspect_ratio_effective: Array, stall_lift_coefficient: Array = STALL_LIFT_COEFFICIENT
) -> Array:
    """Share of the flow over a fin that is attached, for incidences [rad] of either sign.

    1 well below `stall_incidence`, 1/2 at it, 0 well beyond.
    """
    stall = stall_incidence(
        aspect_ratio_effective=aspect_ratio_effective, stall_lift_coefficient=stall_lift_coefficient
    )
    return attached_within(incidence=incidence, stall=stall)


def attached_within(*, incidence: Array, stall: Array) -> Array:
    """`attached_share` by the incidence [rad] at which the fin is half stalled."""
    xp = array_namespace(incidence, stall)
    return 0.5 * (xp.tanh((incidence + stall) / STALL_WIDTH) - xp.tanh((incidence - stall) / STALL_WIDTH))


def tab_zero_lift_angle(*, tab_angle: Array, effectiveness: Array) -> Array:
    """Zero-lift angle [rad] of a fin with a trim tab at an angle [rad], minus effectiveness times angle.

    A positive tab angle adds lift towards positive incidence. effectiveness is that of thin-aerofoil theory,
    `hydrofoils.flap_effectiveness`, times the share of the fin's area with a tab and what real flaps reach of
    it, 0.7 to 0.9 (common practice, no source). Linear to `TAB_LINEAR_LIMIT`; beyond, the flow leaves the tab
    and the lift is less than this.
    """
    return -effectiveness * tab_angle


def tab_section_drag(
    *,
    lift_coefficient: Array,
    tab_angle: Array,
    ideal_lift: Array,
    lift_drag_factor: Array = LIFT_DRAG_FACTOR,
) -> Array:
    """What lift adds to a section's profile drag coefficient, with its tab at an angle [rad]: factor times
    (CL - ideal_lift tab_angle)^2.

    lift_coefficient is the section's, tab included; ideal_lift [1/rad] the change of the ideal lift with tab
    angle, `hydrofoils.flap_ideal_lift`. The lift that a tab gives is had for less than the same lift by
    incidence while the nose stays unloaded. Without tab this is the bucket of a symmetric section. Attached
    flow, to `TAB_LINEAR_LIMIT`.
    """
    return lift_drag_factor * (lift_coefficient - ideal_lift * tab_angle) ** 2


def draught_efficiency(*, effective_draught: Array, lifting_span: Array) -> Array:
    """`efficiency` for `fin_coefficients` that gives the induced drag F^2/(pi q Te^2): Te^2/(2 b^2).

    effective_draught Te [m]; lifting_span b [m], the one that `effective_aspect_ratio` was given. 1 is a fin
    with its image in a rigid surface, Te = sqrt(2) b; the 2 is that of the image.
    """
    return 0.5 * (effective_draught / lifting_span) ** 2


def downwash_angle(*, lift_coefficient: Array, aspect_ratio_effective: Array) -> Array:
    """Angle [rad] by which a fin turns the flow far behind it: that much less incidence for a rudder there.

    2 CL/(pi AR), with AR the effective aspect ratio and the sign of the lift: elliptic loading, uniform
    over the span, on the straight trailing sheet (L. Prandtl, Tragfluegeltheorie, 1918; H. Glauert, The
    Elements of Aerofoil and Airscrew Theory, 1926). Too large for a rudder off the wake, which leeway carries
    to windward: by 12 % at a tenth of the fin's lifting span and 29 % at a fifth, two spans behind;
    `hydrofoils.wake_downwash` has that.
    """
    return 2.0 * lift_coefficient / (math.pi * aspect_ratio_effective)
