"""Sail sections from their geometry: any mean line as an equivalent parabolic arc, and the constants of drag
and stall that `sections.section_forces` takes.

Incidence is the angle from the chord (leading edge to leech) to the flow, camber a depth over the chord,
both positive towards lift to leeward. Thin-aerofoil theory is linear: every mean line has the lift, and the
incidence at which the flow meets its nose smoothly, of a parabolic arc at a shifted incidence.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from vpp.physics.arrays import Array, array_namespace
from vpp.physics.foils import section_profile_drag
from vpp.physics.hull import friction_coefficient

SINGLE_SKIN, TWIN_SKIN, SOLID = "single_skin", "twin_skin", "solid"
KINDS = (SINGLE_SKIN, TWIN_SKIN, SOLID)

# Validity. Shares are of the chord.
HINGE_RANGE = (0.0, 0.6)
DRAFT_RANGE = (0.05, 0.95)
# Least distance from the hinge to the deepest point of the skins.
LEAST_DRAFT_BEHIND_HINGE = 0.05
# Of sections with a round nose, those that the stall and the bucket were looked at for.
THICKNESS_RANGE = (0.04, 0.20)
# Trailing edges within Hoerner's tests of thick ones.
BLUNT_RANGE = (0.0, 0.05)
# Towards a pointed head a mast is wider than this; the drag it adds depends on its diameter alone.
MAST_RANGE = (0.0, 0.50)
REYNOLDS_RANGE = (3e4, 2e7)
# Largest equivalent camber of the computed sections behind `tail_lift_margin` and `camber_drag_factor`.
CAMBER_LIMIT = 0.14

# Greatest lift of a sharp-edged flat plate, and its growth with nose radius over chord: see
# `nose_lift_margin`.
SHARP_NOSE_LIFT = 0.75
_NOSE_RADIUS_GROWTH = 54.0
# Nose radius over the square of the thickness of the NACA four-digit sections.
_FOUR_DIGIT_NOSE = 1.1019
# Sharpness of the lesser of two limits: 8 takes 8 % off where they are equal.
LESSER_EXPONENT = 8
# Drag bucket of a sharp edge, all suction lost, and of a round nose: see `bucket_factor`.
SHARP_BUCKET = 1.0 / (2.0 * math.pi)
ROUND_BUCKET = 0.0035
# Found from computed sections by `vpp.data.fit_sail_sections`: the greatest lift of a round nose at a
# Reynolds number of a million, its growth with Reynolds number, and the camber that takes most of it.
_TAIL_LIFT, _TAIL_REYNOLDS_POWER, TAIL_CAMBER = 1.28, 0.143, 0.109
_CAMBER_DRAG, _CAMBER_DRAG_LIMIT, _CAMBER_DRAG_POWER = 50.0, 0.117, 8
# Width of the stall over its incidence; `section_forces` wants less than a fifth. No source.
_STALL_WIDTH_SHARE = 0.18
# Drag that a mast ahead of a single skin adds to the section beyond its own windage, over the mast's width.
# No source: bounded by 0 and 0.6, see `mast_interference_drag`.
MAST_INTERFERENCE = 0.3
# Of a blunt trailing edge (Hoerner 1965, from memory).
_BASE_DRAG = 0.135


# --- mean lines ---------------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class MeanLine:
    """What a mean line does to a thin section, per unit of skin camber and per unit of the nose's slope.

    Zero-lift incidence and ideal incidence (flow smooth onto the nose) from the whole chord [rad], of the
    shape of the arguments of `mean_line`. The nose's slope is the tangent of the mast's rotation from the
    chord, to first order the rotation [rad]. `fair_slope_per_camber`: the slope at which the mast runs into
    the skins without a kink.
    """

    zero_lift_per_camber: Array
    zero_lift_per_slope: Array
    ideal_per_camber: Array
    ideal_per_slope: Array
    fair_slope_per_camber: Array


def mean_line(*, hinge_share: Array, draft_share: Array) -> MeanLine:
    """Coefficients of a nose that turns at a hinge, with skins behind it.

    hinge_share (0: no turning nose) and draft_share, the place of the skins' deepest point, over the chord
    from the leading edge; any broadcasting shapes. The nose is straight and turned from the chord by the
    rotation, positive towards more camber; the tail line falls from the hinge back to the leech. On it lies
    the skins' depth, two parabolas that meet level at the deepest point as in the NACA four-digit mean lines,
    from the hinge (from the leading edge without one) to the leech.

    H. Glauert, The Elements of Aerofoil and Airscrew Theory, 1926, chapter VII: ideal incidence
    1/pi int z' dt and zero-lift incidence 1/pi int z' (1 - cos t) dt with x/c = (1 - cos t)/2, in closed
    form. Small angles: to 30 deg of rotation of a nose of a quarter of the chord the zero-lift incidence is
    within 0.2 deg of the turned shape's own. The parabolic arc (0, 0.5) has exactly -2 and 0.

    Raises ValueError outside HINGE_RANGE and DRAFT_RANGE, or with the deepest point less than
    LEAST_DRAFT_BEHIND_HINGE behind the hinge.
    """
    _check("Hinge", hinge_share, HINGE_RANGE)
    _check("Deepest point of the skins", draft_share, DRAFT_RANGE)
    if np.any(np.asarray(draft_share) - np.asarray(hinge_share) < LEAST_DRAFT_BEHIND_HINGE - 1e-9):
        raise ValueError(
            f"The skins' deepest point at {draft_share} of the chord must lie {LEAST_DRAFT_BEHIND_HINGE:g} "
            f"or more behind the hinge at {hinge_share}."
        )
    h, p = hinge_share, draft_share
    t_h, sin_h = _glauert_angle(h)
    whole_h, whole_p, whole_1 = (_slope_integral(p, x) for x in (h, p, 1.0))
    cos_h, cos_p, cos_1 = (_slope_cosine_integral(p, x) for x in (h, p, 1.0))
    fore, aft = 2.0 / (p - h) ** 2, 2.0 / (1.0 - p) ** 2
    ideal_camber = (fore * (whole_p - whole_h) + aft * (whole_1 - whole_p)) / math.pi
    lift_camber = (fore * (cos_p - cos_h) + aft * (cos_1 - cos_p)) / math.pi
    fall = h / (1.0 - h)
    ideal_slope = (t_h - fall * (math.pi - t_h)) / math.pi
    lift_slope = (1.0 + fall) * sin_h / math.pi
    return MeanLine(
        zero_lift_per_camber=ideal_camber - lift_camber,
        zero_lift_per_slope=ideal_slope - lift_slope,
        ideal_per_camber=ideal_camber,
        ideal_per_slope=ideal_slope,
        fair_slope_per_camber=2.0 * (1.0 - h) / (p - h),
    )


def equivalent_arc(
    *, line: MeanLine, incidence: Array, camber: Array, rotation: Array
) -> tuple[Array, Array]:
    """Incidence and camber of the parabolic arc that a section acts as, for the functions of `sections`.

    incidence from the whole chord [rad], skin camber over the chord, rotation of the mast from the chord
    [rad], positive towards more camber, within 30 deg either way; broadcast. The arc's incidence is that
    beyond the ideal one; its camber is half the angle from zero lift to it, so that lift, design lift and
    the distance to either stall are the section's. Exact within thin-aerofoil theory.
    """
    nose_slope = array_namespace(rotation).tan(rotation)
    ideal = line.ideal_per_camber * camber + line.ideal_per_slope * nose_slope
    zero_lift = line.zero_lift_per_camber * camber + line.zero_lift_per_slope * nose_slope
    return incidence - ideal, 0.5 * (ideal - zero_lift)


def _glauert_angle(x: Array) -> tuple[Array, Array]:
    """t with x = (1 - cos t)/2, and its sine."""
    xp = array_namespace(x)
    sine = 2.0 * (x * (1.0 - x)) ** 0.5
    return xp.arctan2(sine, 1.0 - 2.0 * x), sine


def _slope_integral(p: Array, x: Array) -> Array:
    """Integral of (p - x) over Glauert's angle, from the leading edge to x."""
    t, sine = _glauert_angle(x)
    return (p - 0.5) * t + 0.5 * sine


def _slope_cosine_integral(p: Array, x: Array) -> Array:
    """Integral of (p - x) cos t over Glauert's angle, from the leading edge to x."""
    t, sine = _glauert_angle(x)
    return (p - 0.5) * sine + 0.25 * t + 0.25 * sine * (1.0 - 2.0 * x)


# --- drag and stall -----------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class SectionConstants:
    """Drag and stall of a section with one camber; angles [rad], broadcast shapes."""

    stall_incidence: Array
    stall_width: Array
    least_drag: Array
    bucket_factor: Array


@dataclass(frozen=True, kw_only=True)
class SectionLaw:
    """Drag and stall of a section without camber and what camber does to them, as `sections.section_forces`
    takes them; angles [rad], broadcast shapes.

    The stall is that of the nose alone. `tail_ratio` brings it forward, see `cambered_stall`; `camber_drag`
    is the part of `least_drag` that grows with `camber_drag_factor`.
    """

    stall_incidence: Array
    stall_width: Array
    tail_ratio: Array
    least_drag: Array
    camber_drag: Array
    bucket_factor: Array

    def at(self, *, camber: Array) -> SectionConstants:
        """With a camber of the equivalent arc, either sign."""
        stall_incidence, stall_width = cambered_stall(
            stall_incidence=self.stall_incidence,
            stall_width=self.stall_width,
            tail_ratio=self.tail_ratio,
            camber=camber,
        )
        return SectionConstants(
            stall_incidence=stall_incidence,
            stall_width=stall_width,
            least_drag=self.least_drag + self.camber_drag * (camber_drag_factor(camber=camber) - 1.0),
            bucket_factor=self.bucket_factor,
        )


def section_law(
    *, kind: str, thickness_share: Array, mast_share: Array, blunt_share: Array, reynolds: Array
) -> SectionLaw:
    """Drag and stall of a section from its geometry, broadcast over the arguments.

    kind: one of KINDS; thickness over chord (0 for a single skin); diameter over chord of a round mast
    ahead of a single skin (0: none, or the skins enclose it); thickness of the trailing edge over chord;
    Reynolds number on the chord. Turbulent flow, smooth cloth. The sums and limits are those of
    `profile_drag`, `stall_lift_margin` and `bucket_factor`.

    Against other data (see the theory page): profile drag without camber within 10 %; greatest lift within
    10 % without camber and up to 18 % high with 4 %. Good to a camber of CAMBER_LIMIT; values stay positive
    and smooth beyond.

    Raises ValueError for another kind, geometry or Reynolds number outside the ranges named above, a single
    skin with thickness, and a mast ahead of any other kind. Reynolds numbers that carry derivatives are not
    checked.
    """
    _check_kind(kind, thickness_share, mast_share)
    _check("Trailing edge thickness", blunt_share, BLUNT_RANGE)
    _check("Reynolds number", reynolds, REYNOLDS_RANGE)
    nose = nose_lift_margin(nose_radius=nose_radius_share(kind=kind, thickness_share=thickness_share))
    tail = tail_lift_margin(reynolds=reynolds, camber=0.0)
    stall_incidence = nose / (2.0 * math.pi) + 0.0 * tail
    return SectionLaw(
        stall_incidence=stall_incidence,
        stall_width=_STALL_WIDTH_SHARE * stall_incidence,
        tail_ratio=(nose / tail) ** LESSER_EXPONENT,
        least_drag=profile_drag(
            thickness_share=thickness_share,
            mast_share=mast_share,
            blunt_share=blunt_share,
            reynolds=reynolds,
            camber=0.0,
        ),
        camber_drag=forebody_drag(thickness_share=thickness_share, reynolds=reynolds),
        bucket_factor=bucket_factor(kind=kind) + 0.0 * stall_incidence,
    )


def cambered_stall(
    *, stall_incidence: Array, stall_width: Array, tail_ratio: Array, camber: Array
) -> tuple[Array, Array]:
    """Incidence and width of the stall [rad] of a section with camber, from those that its nose alone would
    allow.

    `tail_ratio` is the eighth power of the nose's greatest lift over the tail's without camber, 0 where
    camber changes nothing; see `stall_lift_margin`, whose formula this is.
    """
    if is_nothing(tail_ratio):
        return stall_incidence, stall_width
    xp = array_namespace(camber, stall_incidence)
    tail = tail_ratio * xp.exp(LESSER_EXPONENT * (camber / TAIL_CAMBER) ** 2)
    share = (1.0 + tail) ** (-1.0 / LESSER_EXPONENT)
    return share * stall_incidence, share * stall_width


def is_nothing(factor: Array) -> bool:
    """Whether what a factor multiplies need not be found at all: plain numbers, all of them zero, as for
    sections whose stall and drag are given.
    """
    return array_namespace(factor) is np and not np.any(factor)


def nose_radius_share(*, kind: str, thickness_share: Array) -> Array:
    """Nose radius over chord: 0 for a single skin, else 1.1019 (t/c)^2, that of the NACA four-digit sections
    (I. H. Abbott, A. E. von Doenhoff, L. S. Stivers, NACA Report 824, 1945, from memory).

    A mast of elliptic section has a blunter nose where it is shorter than 0.45 of the chord.
    """
    return 0.0 * thickness_share if kind == SINGLE_SKIN else _FOUR_DIGIT_NOSE * thickness_share**2


def profile_drag(
    *, thickness_share: Array, mast_share: Array, blunt_share: Array, reynolds: Array, camber: Array
) -> Array:
    """Profile drag coefficient on the chord at the design lift, arguments as in `section_law`.

    `forebody_drag` times `camber_drag_factor`, plus `base_drag` as without camber, plus
    `mast_interference_drag`.
    """
    forebody = forebody_drag(thickness_share=thickness_share, reynolds=reynolds)
    return (
        forebody * camber_drag_factor(camber=camber)
        + base_drag(forebody_drag=forebody, blunt_share=blunt_share)
        + mast_interference_drag(mast_share=mast_share)
    )


def forebody_drag(*, thickness_share: Array, reynolds: Array) -> Array:
    """Friction on both sides (ITTC-1957 line) times the form factor 1 + 2 t/c + 60 (t/c)^4 (S. F. Hoerner,
    Fluid-Dynamic Drag, 1965, from memory).
    """
    return section_profile_drag(
        friction_coefficient=friction_coefficient(reynolds=reynolds), thickness_ratio=thickness_share
    )


def camber_drag_factor(*, camber: Array) -> Array:
    """Profile drag at the design lift over that without camber: 1 + 50 (f/c)^2 + ((f/c)/0.117)^8.

    A fit to sections of parabolic camber computed with NeuralFoil (P. Sharpe, MIT licence), turbulent from
    2 % of the chord: 5 to 12 % thick, Reynolds number 2e5 to 1e7, camber to 12 %. Within 14 % to 8 % of
    camber; at 12 %, where the tail is about to separate, within a factor of 1.7.
    `vpp.data.fit_sail_sections` computes it anew.
    """
    return 1.0 + _CAMBER_DRAG * camber**2 + (camber / _CAMBER_DRAG_LIMIT) ** _CAMBER_DRAG_POWER


def base_drag(*, forebody_drag: Array, blunt_share: Array) -> Array:
    """Drag coefficient on the chord of a blunt trailing edge of thickness h: 0.135 h/c / (CD c/h)^(1/3).

    forebody_drag: the section's other profile drag, positive; the thicker the boundary layers, the less the
    suction on the base. S. F. Hoerner, Fluid-Dynamic Drag, 1965, chapter III (from memory), plane flow,
    vortex street included. For thin trailing edges, BLUNT_RANGE. 1 % adds 0.0014 to a drag of 0.009.
    """
    return _BASE_DRAG * blunt_share ** (4.0 / 3.0) / forebody_drag ** (1.0 / 3.0)


def mast_interference_drag(*, mast_share: Array) -> Array:
    """What a round mast of diameter d ahead of a single skin adds to the section's drag beyond its own
    windage: 0.3 d/c. No source.

    The drag of the mast as a bluff body belongs to the windage of the rig and is not in it. Behind a
    cylinder a long plate stops the vortices and takes its drag from 1.15 to about 0.7 (A. Roshko, J.
    Aeronautical Sciences 22, 1955, from memory): without lift nothing is to be added, which bounds it below
    at 0. With lift the mast's wake grows in the pressure rise along the skin: by the speed to the power of
    3.2 (H. B. Squire, A. D. Young, R. & M. 1838, 1937, from memory), 1 + CL/4 on one side and 1 - CL/4 on the
    other under a uniform load, that is 0.2 to 0.5 of its drag for CL 1.0 to 1.5. 0.6 bounds it above.
    Lift is left alone: a bubble behind the nose hardly changes it before the stall.
    """
    return MAST_INTERFERENCE * mast_share


def bucket_factor(*, kind: str) -> float:
    """Rise of profile drag with the square of the lift off the design lift.

    1/(2 pi) for the sharp edge of a single skin, whose leading edge suction, (CL - CL_design)^2/(2 pi), is
    lost: the force stands square to the plate (S. F. Hoerner, Fluid-Dynamic Drag, 1965, from memory). An
    upper bound within 0.2 of the design lift, where the bubble is short. 0.0035 for a round nose, which keeps
    98 % of the suction: the median of computed sections (see `camber_drag_factor`) of 6 to 15 %
    thickness and camber to 8 %, Reynolds number from 5e5, over 0.6 of lift to either side; half of them
    lie between 0.0024 and 0.0084. Thinner noses have more: 0.008 at 5 %.
    """
    return SHARP_BUCKET if kind == SINGLE_SKIN else ROUND_BUCKET


def stall_lift_margin(*, nose_radius: Array, reynolds: Array, camber: Array) -> Array:
    """Greatest lift coefficient over the design lift: the lesser of what the nose and the tail allow.

    Divided by 2 pi it is the stall's distance from the ideal incidence in `sections.section_forces`, which
    knows no loss of slope. It is that on the side of the belly and is taken for both; on the other, where
    only the nose counts, a cambered section holds longer.
    """
    nose = nose_lift_margin(nose_radius=nose_radius)
    tail = tail_lift_margin(reynolds=reynolds, camber=camber)
    return (nose**-LESSER_EXPONENT + tail**-LESSER_EXPONENT) ** (-1.0 / LESSER_EXPONENT)


def nose_lift_margin(*, nose_radius: Array) -> Array:
    """Lift coefficient off the design lift at which the flow leaves the nose: 0.75 + 54 r/c.

    0.75 of sharp-edged flat plates; the growth through the greatest lifts of NACA 0006, 0009 and 0012 at a
    Reynolds number of 6e6, 0.92, 1.32 and 1.58 (I. H. Abbott, A. E. von Doenhoff, L. S. Stivers, NACA
    Report 824, 1945, from memory), within 7 %. Smooth noses: standard roughness takes them all to 0.8 to 1.0.
    Stall from a thin nose hardly depends on the Reynolds number (G. B. McCullough, D. E. Gault, NACA TN 2502,
    1951, from memory).
    """
    return SHARP_NOSE_LIFT + _NOSE_RADIUS_GROWTH * nose_radius


def tail_lift_margin(*, reynolds: Array, camber: Array) -> Array:
    """Lift coefficient over the design lift at which the flow leaves the tail: 1.28 (Re/1e6)^0.143
    exp(-(camber/0.109)^2).

    A fit to 12 % thick sections of parabolic camber computed with NeuralFoil, turbulent from 2 % of the
    chord, Reynolds number 5e4 to 1e7, camber to 14 %: root mean square 0.05, at most 0.14. Even in camber.
    `vpp.data.fit_sail_sections` computes it anew.
    """
    xp = array_namespace(reynolds, camber)
    return _TAIL_LIFT * (reynolds / 1e6) ** _TAIL_REYNOLDS_POWER * xp.exp(-((camber / TAIL_CAMBER) ** 2))


def _check_kind(kind: str, thickness_share: Array, mast_share: Array) -> None:
    if kind not in KINDS:
        raise ValueError(f"There is no kind of section {kind!r}; there are {', '.join(KINDS)}.")
    if kind == SINGLE_SKIN:
        if np.any(np.asarray(thickness_share) != 0.0):
            raise ValueError("A single skin has no thickness.")
        _check("Mast diameter", mast_share, MAST_RANGE)
        return
    _check("Thickness", thickness_share, THICKNESS_RANGE)
    if np.any(np.asarray(mast_share) != 0.0):
        raise ValueError(f"A mast stands ahead of a single skin only; in a {kind} section it is the nose.")


def _check(what: str, values: Array, allowed: tuple[float, float]) -> None:
    """Plain numbers only: arrays with derivatives or in a trace are not looked at."""
    if array_namespace(values) is not np:
        return
    low, high = allowed
    plain = np.asarray(values)
    outside = ~((plain >= low) & (plain <= high))
    if outside.any():
        said = plain[outside].flat[0]
        raise ValueError(f"{what} {said:g} lies outside {low:g} to {high:g}, where the model holds.")
