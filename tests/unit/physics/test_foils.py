"""Fins at displacement speeds: published formulas, limits, and what an optimiser could exploit."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from vpp.physics import foils, hull

ASPECT_RATIOS = (0.8, 1.5, 3.0, 6.0, 10.0)


def coefficients(incidence: object, aspect_ratio: object = 4.0, profile_drag: object = 0.008) -> tuple:
    return foils.fin_coefficients(
        incidence=incidence, aspect_ratio_effective=aspect_ratio, profile_drag_coefficient=profile_drag
    )


def test_helmbold_lift_slope() -> None:
    """H. B. Helmbold, 1942, evaluated by hand: 12 pi/(2 + sqrt 40)."""
    assert foils.helmbold_lift_slope(aspect_ratio=6.0) == pytest.approx(4.5287, abs=5e-5)


def test_lift_slope_tends_to_slender_and_to_plane_flow() -> None:
    assert foils.helmbold_lift_slope(aspect_ratio=1e-3) == pytest.approx(0.5 * math.pi * 1e-3, rel=1e-6)
    assert foils.helmbold_lift_slope(aspect_ratio=1e4) == pytest.approx(2.0 * math.pi, rel=1e-3)


@pytest.mark.parametrize(("aspect_ratio", "slope"), [(2.0, 2.474), (6.0, 4.215), (10.0, 4.838)])
def test_lift_slope_lies_above_that_of_flat_rectangles_by_no_more_than_stated(
    aspect_ratio: float, slope: float
) -> None:
    """Lifting-surface values of flat rectangular wings, computed independently."""
    excess = foils.helmbold_lift_slope(aspect_ratio=aspect_ratio) / slope - 1.0
    assert 0.05 < excess < 0.075


def test_profile_drag_of_a_section() -> None:
    """S. F. Hoerner, Fluid-Dynamic Drag, 1965 (from memory): 2 Cf (1 + 0.24 + 60 * 0.12^4) at 12 %
    thickness.
    """
    drag = foils.section_profile_drag(friction_coefficient=0.004, thickness_ratio=0.12)
    assert drag == pytest.approx(0.008 * 1.2524416, rel=1e-9)


def test_profile_drag_of_a_rough_section_at_high_reynolds_number() -> None:
    """NACA Report 824 (from memory): NACA 0012 with standard roughness has cd 0.0095 to 0.0105 at Re 6e6.

    The smooth section's 0.0051 to 0.0058 has laminar flow over much of its length and is not what this
    formula describes.
    """
    friction = hull.friction_coefficient(reynolds=6e6)
    drag = foils.section_profile_drag(friction_coefficient=friction, thickness_ratio=0.12)
    assert 1.15 * 0.0058 < drag < 0.0105


def test_effective_aspect_ratio_gives_the_drag_of_a_fin_mirrored_in_a_plane() -> None:
    """D = F^2/(pi q b^2 e) with e = 2 for a fin sealed on a plane (image theorem, exact)."""
    span, area, pressure = 1.4, 0.9, 5000.0
    aspect_ratio = foils.effective_aspect_ratio(span=span, area=area)
    lift, drag = coefficients(np.radians(3.0), aspect_ratio, 0.0)
    force = lift * pressure * area
    assert drag * pressure * area == pytest.approx(force**2 / (math.pi * pressure * span**2 * 2.0), rel=1e-4)


def test_reynolds_number_on_the_mean_chord() -> None:
    reynolds = foils.mean_chord_reynolds(speed=3.0, span=1.5, area=0.9, water_viscosity=1.2e-6)
    assert reynolds == pytest.approx(3.0 * 0.6 / 1.2e-6)


@pytest.mark.parametrize("aspect_ratio", ASPECT_RATIOS)
def test_attached_flow_is_linear_lift_and_parabolic_drag(aspect_ratio: float) -> None:
    limit = foils.stall_incidence(aspect_ratio_effective=aspect_ratio) - 2.0 * foils.STALL_WIDTH
    incidence = np.linspace(-limit, limit, 41)
    lift, drag = coefficients(incidence, aspect_ratio)
    attached = foils.helmbold_lift_slope(aspect_ratio=aspect_ratio) * incidence
    np.testing.assert_allclose(lift, attached, rtol=0.02, atol=1e-12)
    np.testing.assert_allclose(drag, 0.008 + attached**2 / (math.pi * aspect_ratio), rtol=0.02)
    half = np.abs(incidence) < 0.5 * limit
    np.testing.assert_allclose(lift[half], attached[half], rtol=4e-4, atol=1e-12)


def test_efficiency_divides_the_induced_drag() -> None:
    def induced(efficiency: float) -> float:
        drag = foils.fin_coefficients(
            incidence=0.05,
            aspect_ratio_effective=4.0,
            profile_drag_coefficient=0.0,
            efficiency=efficiency,
        )[1]
        return float(drag)

    assert induced(0.8) == pytest.approx(induced(1.0) / 0.8, rel=1e-4)


@given(
    incidence=st.floats(0.0, math.pi / 2.0),
    aspect_ratio=st.floats(0.5, 12.0),
    profile_drag=st.floats(0.004, 0.03),
)
def test_lift_is_odd_drag_is_even_and_positive(
    incidence: float, aspect_ratio: float, profile_drag: float
) -> None:
    lift, drag = coefficients(incidence, aspect_ratio, profile_drag)
    mirrored_lift, mirrored_drag = coefficients(-incidence, aspect_ratio, profile_drag)
    assert mirrored_lift == pytest.approx(-lift, abs=1e-14)
    assert mirrored_drag == pytest.approx(drag, rel=1e-14)
    assert lift >= 0.0
    assert drag >= profile_drag


@pytest.mark.parametrize("aspect_ratio", ASPECT_RATIOS)
def test_no_lift_is_free_past_stall(aspect_ratio: float) -> None:
    """Every lift found past stall is had for less drag before it, and none exceeds the stall's own."""
    incidence = np.radians(np.linspace(0.0, 90.0, 3601))
    lift, drag = coefficients(incidence, aspect_ratio)
    peak = int(lift.argmax())
    assert lift[peak] < foils.STALL_LIFT_COEFFICIENT
    assert incidence[peak] < foils.stall_incidence(aspect_ratio_effective=aspect_ratio)
    cheapest = np.interp(lift[peak + 1 :], lift[: peak + 1], drag[: peak + 1])
    assert np.all(drag[peak + 1 :] > cheapest)


@pytest.mark.parametrize("aspect_ratio", ASPECT_RATIOS)
def test_a_fin_across_the_flow_is_a_plate(aspect_ratio: float) -> None:
    """Drag 1.11 + 0.018 AR (L. A. Viterna, R. D. Corrigan, 1981, from memory), no lift."""
    lift, drag = coefficients(0.5 * math.pi, aspect_ratio)
    assert lift == pytest.approx(0.0, abs=1e-6)
    assert drag == pytest.approx(0.008 + 1.11 + 0.018 * aspect_ratio, rel=1e-6)


def test_derivative_arrays_agree_with_differences_through_stall() -> None:
    from vpp.solver import jets

    incidence = np.radians(np.linspace(-60.0, 60.0, 241))
    step = 1e-4
    (variable,) = jets.variables(incidence[None, :])
    for position in (0, 1):
        value, gradient, hessian = jets.dense(coefficients(variable)[position], 1, incidence.shape)
        low, middle, high = (coefficients(incidence + shift)[position] for shift in (-step, 0.0, step))
        np.testing.assert_allclose(value, middle, atol=1e-14)
        np.testing.assert_allclose(gradient[0], (high - low) / (2.0 * step), atol=2e-4)
        np.testing.assert_allclose(hessian[0, 0], (high - 2.0 * middle + low) / step**2, atol=3e-2)


def test_stall_is_twice_continuously_differentiable() -> None:
    """The largest change of curvature between neighbouring points halves with their distance; a jump
    would stay.
    """

    def largest_change(count: int, position: int) -> float:
        incidence = np.radians(np.linspace(-45.0, 45.0, count))
        curvature = np.diff(coefficients(incidence)[position], n=2) / (incidence[1] - incidence[0]) ** 2
        return float(np.abs(np.diff(curvature)).max())

    for position in (0, 1):
        assert largest_change(16001, position) == pytest.approx(
            0.5 * largest_change(8001, position), rel=0.02
        )


def downwash_of_elliptic_loading(distance: float) -> float:
    """Downwash over CL/(pi AR), behind an elliptically loaded line of half span 1, by the law of Biot and
    Savart.
    """
    count = 4001
    angle = (np.arange(count) + 0.5) * math.pi / count
    reach = np.sqrt(distance**2 + np.cos(angle) ** 2)
    # trailing vortices of strength -d(circulation), each from the line to far behind
    trailing = 1.0 + distance / reach
    bound = np.sin(angle) ** 2 * distance / reach**3
    return float((trailing + bound).mean())


def test_downwash_far_behind_is_twice_that_at_the_fin() -> None:
    """L. Prandtl, 1918: 2 CL/(pi AR) far behind an elliptically loaded wing, here by summing its vortices."""
    far = downwash_of_elliptic_loading(distance=200.0)
    angle = foils.downwash_angle(lift_coefficient=0.3, aspect_ratio_effective=5.0)
    assert angle == pytest.approx(far * 0.3 / (math.pi * 5.0), rel=1e-3)


def test_downwash_has_the_sign_of_the_lift() -> None:
    assert foils.downwash_angle(lift_coefficient=-0.2, aspect_ratio_effective=4.0) < 0.0


def test_a_tab_shifts_the_lift_by_its_effectiveness() -> None:
    """At the incidence of zero lift nothing is left of lift and induced drag, and the slope is unchanged."""
    zero = foils.tab_zero_lift_angle(tab_angle=math.radians(5.0), effectiveness=0.5)
    assert zero == pytest.approx(math.radians(-2.5))
    with_tab = {
        "aspect_ratio_effective": 4.0,
        "profile_drag_coefficient": 0.008,
        "zero_lift_angle": zero,
    }
    lift, drag = foils.fin_coefficients(incidence=zero, **with_tab)
    assert lift == pytest.approx(0.0, abs=1e-5)
    assert drag == pytest.approx(0.008, abs=1e-5)
    assert foils.fin_coefficients(incidence=0.0, **with_tab)[0] == pytest.approx(
        coefficients(math.radians(2.5))[0], rel=1e-4
    )


def test_a_tab_does_not_turn_the_plate_past_stall() -> None:
    """A fin across the flow has the drag of a plate and no lift, whatever its tab does."""
    lift, drag = foils.fin_coefficients(
        incidence=0.5 * math.pi,
        aspect_ratio_effective=4.0,
        profile_drag_coefficient=0.008,
        zero_lift_angle=-0.05,
    )
    assert lift == pytest.approx(0.0, abs=1e-6)
    assert drag == pytest.approx(0.008 + 1.11 + 0.018 * 4.0, rel=1e-6)


def test_effectiveness_of_a_tab_of_a_fifth_of_the_chord() -> None:
    """H. Glauert, R. & M. 1095, 1927, by hand: cos t = -0.6, 1 - (2.2143 - 0.8)/pi."""
    from vpp.physics import hydrofoils

    assert hydrofoils.flap_effectiveness(flap_chord_ratio=0.2) == pytest.approx(0.5498, abs=1e-4)


def test_a_tab_has_its_lift_for_less_profile_drag_than_incidence() -> None:
    """0.005 (0.3 - 1.6 * 0.0873)^2 by hand, with 2 sin t = 1.6 for a fifth of the chord (Glauert 1927)."""
    plain = foils.tab_section_drag(lift_coefficient=0.3, tab_angle=0.0, ideal_lift=1.6)
    with_tab = foils.tab_section_drag(lift_coefficient=0.3, tab_angle=0.0873, ideal_lift=1.6)
    assert plain == pytest.approx(0.00045)
    assert with_tab == pytest.approx(0.005 * 0.16032**2, rel=1e-4)


def test_draught_efficiency_gives_the_drag_of_the_effective_draught() -> None:
    """D = F^2/(pi q Te^2)."""
    span, area, pressure, draught = 2.1, 2.6, 5000.0, 1.9
    aspect_ratio = foils.effective_aspect_ratio(span=span, area=area)
    lift, drag = foils.fin_coefficients(
        incidence=0.05,
        aspect_ratio_effective=aspect_ratio,
        profile_drag_coefficient=0.0,
        efficiency=foils.draught_efficiency(effective_draught=draught, lifting_span=span),
    )
    force = lift * pressure * area
    assert drag * pressure * area == pytest.approx(force**2 / (math.pi * pressure * draught**2), rel=1e-3)


def test_no_draught_is_better_than_the_rigid_image_where_it_is_the_square_root_of_two_spans() -> None:
    assert foils.draught_efficiency(
        effective_draught=math.sqrt(2.0) * 2.1, lifting_span=2.1
    ) == pytest.approx(1.0)
