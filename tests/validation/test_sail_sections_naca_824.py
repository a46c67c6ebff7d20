"""Sections of I. H. Abbott, A. E. von Doenhoff, L. S. Stivers, "Summary of Airfoil Data", NACA Report 824,
1945. All numbers are from memory.
"""

import math

import pytest

from vpp.physics import sail_sections


@pytest.mark.parametrize(
    ("draft", "design_lift", "ideal_deg"),
    [(0.2, 0.90, 2.81), (0.3, 0.80, 1.60), (0.4, 0.76, 0.74), (0.5, 0.75, 0.0)],
)
def test_mean_lines_of_six_percent(draft: float, design_lift: float, ideal_deg: float) -> None:
    """Tables of the mean lines NACA 62 to 65, 6 % deep. A disagreement: those with the draft well forward lie
    below Glauert's integrals, by 3 % of the design lift and 7 % of the ideal incidence for NACA 62.
    Quadrature confirms these to nine figures (`test_coefficients_are_glauerts_integrals`); the tables, if
    remembered rightly, were summed over stations that are coarse where the slope changes fast.
    """
    line = sail_sections.mean_line(hinge_share=0.0, draft_share=draft)
    incidence, camber = sail_sections.equivalent_arc(line=line, incidence=0.0, camber=0.06, rotation=0.0)
    assert 0.97 < design_lift / (4.0 * math.pi * camber) < 1.0
    assert 0.925 * math.degrees(-incidence) <= ideal_deg <= math.degrees(-incidence)


@pytest.mark.parametrize(("camber", "zero_lift_deg"), [(0.02, -2.0), (0.04, -3.9)])
def test_zero_lift_of_2412_and_4412(camber: float, zero_lift_deg: float) -> None:
    """Measured: 0.3 deg."""
    line = sail_sections.mean_line(hinge_share=0.0, draft_share=0.4)
    assert math.degrees(camber * line.zero_lift_per_camber) == pytest.approx(zero_lift_deg, abs=0.3)


def greatest_lift(nose_radius: float, camber: float) -> float:
    line = sail_sections.mean_line(hinge_share=0.0, draft_share=0.4)
    _, arc = sail_sections.equivalent_arc(line=line, incidence=0.0, camber=camber, rotation=0.0)
    margin = sail_sections.stall_lift_margin(nose_radius=nose_radius, reynolds=6e6, camber=arc)
    return float(margin + 4.0 * math.pi * arc)


@pytest.mark.parametrize(
    ("section", "nose_radius", "measured"),
    [
        ("63-006", 0.00297, 0.87),
        ("63-009", 0.00631, 1.15),
        ("63-012", 0.01087, 1.45),
        ("64-006", 0.00256, 0.83),
        ("64-009", 0.00579, 1.17),
        ("64A006", 0.00246, 0.83),
        ("64A010", 0.00687, 1.20),
    ],
)
def test_greatest_lift_of_other_noses(section: str, nose_radius: float, measured: float) -> None:
    """Smooth, Reynolds number 6e6. The growth with the nose's radius was found from the four-digit sections;
    those of the sixth series keep to it within 10 %.
    """
    assert greatest_lift(nose_radius, 0.0) == pytest.approx(measured, rel=0.10), section


@pytest.mark.parametrize(
    ("section", "thickness", "camber", "measured", "low", "high"),
    [
        ("0006", 0.06, 0.0, 0.92, 0.92, 1.06),
        ("0009", 0.09, 0.0, 1.32, 0.92, 1.06),
        ("0012", 0.12, 0.0, 1.58, 0.92, 1.06),
        ("2412", 0.12, 0.02, 1.68, 0.98, 1.05),
        ("4412", 0.12, 0.04, 1.67, 1.05, 1.15),
        ("4415", 0.15, 0.04, 1.64, 1.10, 1.20),
    ],
)
def test_greatest_lift_of_four_digit_sections(
    section: str, thickness: float, camber: float, measured: float, low: float, high: float
) -> None:
    """Smooth, Reynolds number 6e6. The first three are the source of the nose's law. With camber the computed
    tail stalls later than the measured one: 13 % high for 4412 and 18 % for 4415.
    """
    radius = sail_sections.nose_radius_share(kind="solid", thickness_share=thickness)
    assert low < greatest_lift(radius, camber) / measured < high, section


def test_bucket_of_0012() -> None:
    """Smooth, Reynolds number 6e6: drag 0.0058 without lift, 0.0083 at a lift of 0.8, a factor of 0.0039."""
    assert sail_sections.bucket_factor(kind="solid") == pytest.approx((0.0083 - 0.0058) / 0.8**2, rel=0.15)
