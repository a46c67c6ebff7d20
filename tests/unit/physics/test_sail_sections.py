"""Mean lines as equivalent arcs, and the constants of sections from their geometry."""

import math
from typing import Any

import numpy as np
import pytest
from scipy.integrate import quad

from tests.support.with_jax import double_precision, jax_or_skip
from vpp.data import fit_sail_sections
from vpp.physics import sail_sections, sections
from vpp.physics.hull import friction_coefficient
from vpp.solver import jets

KINDS = (("single_skin", 0.0), ("twin_skin", 0.08), ("solid", 0.12))


def constants(kind: str, thickness: Any, **changed: Any) -> sail_sections.SectionConstants:
    given: dict[str, Any] = {"mast_share": 0.0, "blunt_share": 0.0, "reynolds": 2e6, "camber": 0.06} | changed
    camber = given.pop("camber")
    return sail_sections.section_law(kind=kind, thickness_share=thickness, **given).at(camber=camber)


def slope(x: float, *, hinge: float, draft: float, camber: float, nose: float) -> float:
    """Of the mean line at x, from its definition."""
    if x < hinge:
        return nose
    half = draft - hinge if x < draft else 1.0 - draft
    return 2.0 * camber * (draft - x) / half**2 - nose * hinge / (1.0 - hinge)


def by_quadrature(weight: Any, *, hinge: float, draft: float, camber: float, nose: float) -> float:
    """1/pi times the integral of slope and weight over Glauert's angle."""

    def integrand(t: float) -> float:
        x = 0.5 * (1.0 - math.cos(t))
        return slope(x, hinge=hinge, draft=draft, camber=camber, nose=nose) * weight(t)

    kinks = [math.acos(1.0 - 2.0 * x) for x in (hinge, draft) if x > 0.0]
    return quad(integrand, 0.0, math.pi, points=kinks, epsabs=1e-12, limit=200)[0] / math.pi


# --- mean lines ---------------------------------------------------------------------------------------------


def test_parabolic_arc_is_itself() -> None:
    """Without a hinge and with the draft at half the chord nothing changes, not even a rounding."""
    line = sail_sections.mean_line(hinge_share=0.0, draft_share=0.5)
    assert line.zero_lift_per_camber == -2.0
    assert line.ideal_per_camber == 0.0
    assert line.zero_lift_per_slope == 0.0
    assert line.ideal_per_slope == 0.0
    incidence, camber = np.array([0.07, -0.2]), np.array([0.09, -0.031])
    arc_incidence, arc_camber = sail_sections.equivalent_arc(
        line=line, incidence=incidence, camber=camber, rotation=0.3
    )
    assert np.array_equal(arc_incidence, incidence)
    assert np.array_equal(arc_camber, camber)


@pytest.mark.parametrize(
    ("hinge", "draft"), [(0.0, 0.3), (0.0, 0.62), (0.05, 0.4), (0.12, 0.45), (0.3, 0.6), (0.5, 0.7)]
)
def test_coefficients_are_glauerts_integrals(hinge: float, draft: float) -> None:
    line = sail_sections.mean_line(hinge_share=hinge, draft_share=draft)
    for camber, nose, ideal, zero_lift in (
        (1.0, 0.0, line.ideal_per_camber, line.zero_lift_per_camber),
        (0.0, 1.0, line.ideal_per_slope, line.zero_lift_per_slope),
    ):
        if nose and not hinge:
            assert (ideal, zero_lift) == (0.0, 0.0)
            continue
        shape = {"hinge": hinge, "draft": draft, "camber": camber, "nose": nose}
        assert ideal == pytest.approx(by_quadrature(lambda t: 1.0, **shape), rel=1e-9, abs=1e-12)
        assert zero_lift == pytest.approx(by_quadrature(lambda t: 1.0 - math.cos(t), **shape), rel=1e-9)


def test_heights_are_taken_together() -> None:
    hinge, draft = np.array([0.0, 0.08, 0.2]), np.array([0.4, 0.45, 0.55])
    together = sail_sections.mean_line(hinge_share=hinge, draft_share=draft)
    for i in range(3):
        alone = sail_sections.mean_line(hinge_share=hinge[i], draft_share=draft[i])
        for name in vars(alone):
            assert getattr(together, name)[i] == pytest.approx(getattr(alone, name), rel=1e-12), name


def test_fair_nose_runs_into_the_skins_without_a_kink() -> None:
    hinge, draft, camber = 0.1, 0.45, 0.08
    line = sail_sections.mean_line(hinge_share=hinge, draft_share=draft)
    shape = {
        "hinge": hinge,
        "draft": draft,
        "camber": camber,
        "nose": camber * float(line.fair_slope_per_camber),
    }
    assert slope(hinge - 1e-12, **shape) == pytest.approx(slope(hinge + 1e-12, **shape), rel=1e-9)


def test_positive_rotation_adds_lift_and_design_lift() -> None:
    line = sail_sections.mean_line(hinge_share=0.12, draft_share=0.45)
    _, flat = sail_sections.equivalent_arc(line=line, incidence=0.0, camber=0.05, rotation=0.0)
    beyond, turned = sail_sections.equivalent_arc(line=line, incidence=0.0, camber=0.05, rotation=0.3)
    _, back = sail_sections.equivalent_arc(line=line, incidence=0.0, camber=0.05, rotation=-0.3)
    assert back < flat < turned
    assert beyond < 0.0  # the nose looks to windward: it wants more incidence


def test_arc_has_the_sections_lift_and_design_lift() -> None:
    """Glauert: lift 2 pi (incidence - zero-lift incidence), at the ideal incidence the design lift."""
    line = sail_sections.mean_line(hinge_share=0.15, draft_share=0.5)
    incidence, camber, rotation = 0.09, 0.07, 0.2
    zero_lift = line.zero_lift_per_camber * camber + line.zero_lift_per_slope * math.tan(rotation)
    ideal = line.ideal_per_camber * camber + line.ideal_per_slope * math.tan(rotation)
    arc_incidence, arc_camber = sail_sections.equivalent_arc(
        line=line, incidence=incidence, camber=camber, rotation=rotation
    )
    lift = sections.attached_lift(incidence=arc_incidence, camber=arc_camber)
    assert lift == pytest.approx(2.0 * math.pi * (incidence - zero_lift))
    assert sections.design_lift(camber=arc_camber) == pytest.approx(2.0 * math.pi * (ideal - zero_lift))
    assert arc_incidence == pytest.approx(incidence - ideal)


@pytest.mark.parametrize(
    ("hinge", "draft", "said"),
    [
        (0.7, 0.9, "Hinge 0.7 lies outside 0 to 0.6"),
        (-0.1, 0.5, "Hinge -0.1"),
        (0.0, 0.99, "Deepest point of the skins 0.99 lies outside"),
        (0.3, 0.32, "0.05 or more behind the hinge"),
        (np.nan, 0.5, "Hinge nan"),
    ],
)
def test_mean_lines_out_of_range(hinge: float, draft: float, said: str) -> None:
    with pytest.raises(ValueError, match=said):
        sail_sections.mean_line(hinge_share=hinge, draft_share=draft)


# --- drag and stall -----------------------------------------------------------------------------------------


def test_single_skin_without_camber_has_friction_only() -> None:
    found = constants("single_skin", 0.0, camber=0.0)
    assert found.least_drag == pytest.approx(2.0 * friction_coefficient(reynolds=2e6), rel=1e-12)


def test_drag_items_add_up() -> None:
    given = {"mast_share": 0.04, "blunt_share": 0.01}
    bare = constants("single_skin", 0.0).least_drag
    without_camber = sail_sections.forebody_drag(thickness_share=0.0, reynolds=2e6)
    base = sail_sections.base_drag(forebody_drag=without_camber, blunt_share=0.01)
    assert constants("single_skin", 0.0, **given).least_drag == pytest.approx(
        bare + base + 0.3 * 0.04, rel=1e-12
    )


def test_mast_adds_less_to_the_section_than_its_own_windage() -> None:
    """A cylinder's drag coefficient is about 1: what the section takes must stay a part of it."""
    assert 0.0 <= sail_sections.MAST_INTERFERENCE <= 0.6
    assert sail_sections.mast_interference_drag(mast_share=0.0) == 0.0


def test_constants_are_those_of_the_fits() -> None:
    """The computed sections in `vpp/data`, fitted anew, give the constants to the figures that are shown."""
    polars = fit_sail_sections.read()
    level, power, camber = fit_sail_sections.fit_tail(polars).constants
    for reynolds, arc in ((1e6, 0.0), (1e5, 0.05), (5e6, 0.1)):
        margin = sail_sections.tail_lift_margin(reynolds=reynolds, camber=arc)
        fitted = level * (reynolds / 1e6) ** power * math.exp(-((arc / camber) ** 2))
        assert margin == pytest.approx(fitted, rel=0.01)
    growth, limit = fit_sail_sections.fit_camber_drag(polars).constants
    for arc in (0.03, 0.08, 0.12):
        factor = sail_sections.camber_drag_factor(camber=arc)
        assert factor == pytest.approx(1.0 + growth * arc**2 + (arc / limit) ** 8, rel=0.01)
    median = float(np.median(fit_sail_sections.bucket_factors(polars)))
    assert median == pytest.approx(sail_sections.ROUND_BUCKET, abs=5e-5)


def test_computed_sections_lie_about_the_fits_as_stated() -> None:
    """The bounds of the docstrings of `camber_drag_factor` and `tail_lift_margin`."""
    polars = fit_sail_sections.read()
    tail = fit_sail_sections.fit_tail(polars)
    assert tail.root_mean_square < 0.055
    assert tail.largest < 0.14
    in_range = (polars.reynolds >= 2e5) & (polars.thickness < 0.121)
    flat = polars.drag[in_range & (polars.camber == 0.0)]
    for camber, low, high in ((0.02, 0.99, 1.01), (0.06, 0.96, 1.04), (0.08, 0.86, 1.06), (0.12, 0.6, 1.7)):
        drag = polars.drag[in_range & np.isclose(polars.camber, camber)]
        ratio = sail_sections.camber_drag_factor(camber=camber) / (drag / flat)
        assert low < ratio.min(), camber
        assert ratio.max() < high, camber


@pytest.mark.parametrize(("kind", "thickness"), KINDS)
def test_stall_is_even_in_camber_and_narrow_enough(kind: str, thickness: float) -> None:
    camber = np.linspace(0.0, 0.14, 30)
    one, other = (constants(kind, thickness, camber=sign * camber) for sign in (1.0, -1.0))
    for name in vars(one):
        assert np.array_equal(getattr(one, name), getattr(other, name)), name
    assert np.all(one.stall_width < 0.2 * one.stall_incidence)
    assert np.all(np.diff(one.stall_incidence) < 0.0)
    assert np.all(one.stall_incidence > math.radians(2.0))


@pytest.mark.parametrize(("kind", "thickness"), KINDS)
@pytest.mark.parametrize("camber", [0.0, 0.04, 0.08, 0.12])
def test_greatest_lift_of_the_section_is_the_one_meant(kind: str, thickness: float, camber: float) -> None:
    """The hand-over to the stalled plate takes 2 to 5 % off design lift plus margin."""
    found = constants(kind, thickness, camber=camber)
    incidence = np.linspace(0.0, 0.4, 801)
    lift, _ = sections.section_forces(incidence=incidence, camber=camber, drag_maximum=1.2, **vars(found))
    meant = sections.design_lift(camber=camber) + 2.0 * math.pi * found.stall_incidence
    assert 0.945 < lift.max() / meant < 1.0


def test_round_nose_stalls_later_and_has_the_wider_bucket() -> None:
    sharp, thin, thick = (
        constants(kind, t, camber=0.02)
        for kind, t in (("single_skin", 0.0), ("twin_skin", 0.06), ("solid", 0.12))
    )
    assert sharp.stall_incidence < thin.stall_incidence < thick.stall_incidence
    assert sharp.bucket_factor > 10.0 * thin.bucket_factor
    assert sharp.least_drag < thin.least_drag < thick.least_drag


def least_drag_at(kind: str, thickness: float, *, camber: float, lift: float) -> float:
    """Drag at the cheapest of the incidences that give a lift, stalled or not."""
    found = constants(kind, thickness, camber=camber)
    incidence = np.linspace(-0.8, 0.8, 8001)
    lifts, drags = sections.section_forces(
        incidence=incidence, camber=camber, drag_maximum=1.2, **vars(found)
    )
    crossing = np.flatnonzero((lifts[:-1] - lift) * (lifts[1:] - lift) <= 0.0)
    return float(drags[crossing].min())


@pytest.mark.parametrize(("kind", "thickness"), KINDS)
@pytest.mark.parametrize("camber", [0.03, 0.06, 0.10])
@pytest.mark.parametrize("lift", [-0.2, -0.4])
def test_negative_lift_is_dearer_with_positive_than_with_negative_camber(
    kind: str, thickness: float, camber: float, lift: float
) -> None:
    """More than twice as dear, off the section's least drag."""
    least = float(constants(kind, thickness, camber=camber).least_drag)
    with_belly = least_drag_at(kind, thickness, camber=camber, lift=lift)
    inverted = least_drag_at(kind, thickness, camber=-camber, lift=lift)
    assert with_belly - least > 2.0 * (inverted - least) > 0.0


@pytest.mark.parametrize(
    ("kind", "thickness", "changed", "said"),
    [
        ("cloth", 0.0, {}, "There is no kind of section 'cloth'; there are single_skin, twin_skin, solid"),
        ("single_skin", 0.1, {}, "A single skin has no thickness"),
        ("twin_skin", 0.02, {}, "Thickness 0.02 lies outside 0.04 to 0.2"),
        ("solid", np.array([0.1, 0.3]), {}, "Thickness 0.3"),
        ("solid", 0.1, {"mast_share": 0.05}, "in a solid section it is the nose"),
        ("single_skin", 0.0, {"mast_share": 0.6}, "Mast diameter 0.6 lies outside 0 to 0.5"),
        ("single_skin", 0.0, {"blunt_share": 0.1}, "Trailing edge thickness 0.1 lies outside 0 to 0.05"),
        ("single_skin", 0.0, {"reynolds": 1e3}, "Reynolds number 1000 lies outside"),
        ("single_skin", 0.0, {"reynolds": np.nan}, "Reynolds number nan"),
    ],
)
def test_sections_out_of_range(kind: str, thickness: Any, changed: dict[str, Any], said: str) -> None:
    with pytest.raises(ValueError, match=said):
        constants(kind, thickness, **changed)


# --- derivatives --------------------------------------------------------------------------------------------

LINE = sail_sections.mean_line(hinge_share=0.1, draft_share=0.45)


def forces(x: Any) -> tuple[Any, Any]:
    """Lift and drag of a turned section by incidence, skin camber, rotation and Reynolds number in 1e6."""
    incidence, camber = sail_sections.equivalent_arc(line=LINE, incidence=x[0], camber=x[1], rotation=x[2])
    found = constants("twin_skin", 0.08, camber=camber, blunt_share=0.01, reynolds=1e6 * x[3])
    return sections.section_forces(incidence=incidence, camber=camber, drag_maximum=1.3, **vars(found))


POINT = np.array([[0.12, 0.06, 0.25, 1.5], [0.3, 0.03, -0.1, 0.4], [-0.1, -0.05, 0.0, 5.0]]).T


@pytest.mark.parametrize("which", [0, 1])
def test_derivatives(which: int) -> None:
    """First and second, against central differences."""
    _, gradient, hessian = jets.dense(forces(jets.variables(POINT))[which], 4, (3,))
    step = 1e-5
    for i in range(4):
        ahead, back = POINT.copy(), POINT.copy()
        ahead[i] += step
        back[i] -= step
        difference = (forces(ahead)[which] - forces(back)[which]) / (2.0 * step)
        assert gradient[i] == pytest.approx(difference, rel=1e-5, abs=1e-7)
        first = [jets.dense(forces(jets.variables(p))[which], 4, (3,))[1] for p in (ahead, back)]
        assert hessian[:, i] == pytest.approx((first[0] - first[1]) / (2.0 * step), rel=1e-4, abs=1e-5)


def test_runs_on_jax() -> None:
    jax = jax_or_skip()
    with double_precision(jax):
        lift, drag = jax.jit(forces)(jax.numpy.asarray(POINT))
        expected = forces(POINT)
        assert np.asarray(lift) == pytest.approx(expected[0], rel=1e-10)
        assert np.asarray(drag) == pytest.approx(expected[1], rel=1e-10)
