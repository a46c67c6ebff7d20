"""Sections against NeuralFoil (P. Sharpe, MIT licence), which stands in for a viscous panel method.
Transition is held near the nose.

It is also the source of the stall of cambered tails, of the drag by camber and of the bucket of round noses,
which are checked elsewhere; here are lift, zero lift, friction and the signs.
"""

import math
from typing import Any

import numpy as np
import pytest

from vpp.data import fit_sail_sections
from vpp.physics import sail_sections

Floats = Any
INCIDENCE_DEG = np.arange(-16.0, 16.25, 0.25)


def polar(outline: Floats, reynolds: float, transition: float = 0.02) -> dict[str, Floats]:
    library = pytest.importorskip(
        "neuralfoil", reason="neuralfoil, a reference for sections, is not installed"
    )
    found: dict[str, Floats] = library.get_aero_from_coordinates(
        outline, INCIDENCE_DEG, reynolds, xtr_upper=transition, xtr_lower=transition
    )
    return found


def line_through(found: dict[str, Floats], centre_deg: float, half_deg: float = 3.0) -> tuple[float, float]:
    """Lift slope [1/deg] and zero-lift incidence [deg] by a straight line about a centre."""
    near = np.abs(INCIDENCE_DEG - centre_deg) <= half_deg
    slope, start = np.polyfit(INCIDENCE_DEG[near], found["CL"][near], 1)
    return float(slope), float(-start / slope)


def attached(found: dict[str, Floats], lift: float, column: str = "CD") -> float:
    rising = slice(int(np.argmin(found["CL"])), int(np.argmax(found["CL"])) + 1)
    return float(np.interp(lift, found["CL"][rising], found[column][rising], left=np.nan, right=np.nan))


def modelled_drag(thickness: float, reynolds: float, camber: float) -> float:
    return float(
        sail_sections.profile_drag(
            thickness_share=thickness, mast_share=0.0, blunt_share=0.0, reynolds=reynolds, camber=camber
        )
    )


THIN_SLOPE = 2.0 * math.pi * math.pi / 180.0


def test_naca_0012() -> None:
    """Reynolds number 5e6. Slope: 2 pi within 5 % of it and of the measured 0.1126 per deg (NACA Report 824,
    from memory); profile drag within -20 and +15 %.
    """
    found = polar(fit_sail_sections.coordinates(thickness=0.12, camber=0.0), 5e6)
    slope, _ = line_through(found, 0.0)
    assert pytest.approx(slope, rel=0.05) == THIN_SLOPE
    assert pytest.approx(0.1126, rel=0.05) == THIN_SLOPE
    assert 0.80 < modelled_drag(0.12, 5e6, 0.0) / attached(found, 0.0) < 1.15


def test_naca_63_412() -> None:
    """Reynolds number 5e6. Measured (NACA Report 824, from memory): slope 0.1128 per deg, zero lift -3.1 deg;
    design lift 0.4. Its drag is that of four-digit thickness with as much design lift.
    """
    sections = pytest.importorskip("aerosandbox", reason="aerosandbox has the outline; it is not installed")
    outline = sections.Airfoil("n63412").coordinates
    found = polar(outline, 5e6)
    slope, _ = line_through(found, 0.0)
    assert pytest.approx(slope, rel=0.05) == THIN_SLOPE
    assert pytest.approx(0.1128, rel=0.05) == THIN_SLOPE
    _, natural_zero_lift = line_through(polar(outline, 5e6, transition=1.0), 0.0)
    assert natural_zero_lift == pytest.approx(-3.1, abs=0.3)
    assert 0.80 < modelled_drag(0.12, 5e6, 0.4 / (4.0 * math.pi)) / attached(found, 0.4) < 1.15


@pytest.mark.parametrize("thickness", [0.06, 0.09, 0.12, 0.15])
@pytest.mark.parametrize("reynolds", [2e5, 1e6, 5e6])
def test_profile_drag_without_camber(thickness: float, reynolds: float) -> None:
    found = polar(fit_sail_sections.coordinates(thickness=thickness, camber=0.0), reynolds)
    assert 0.95 < modelled_drag(thickness, reynolds, 0.0) / attached(found, 0.0) < 1.12


@pytest.mark.parametrize("thickness", [0.06, 0.08])
@pytest.mark.parametrize("camber", [0.02, 0.04])
@pytest.mark.parametrize("reynolds", [1e6, 5e6])
def test_thin_sections_of_small_camber(thickness: float, camber: float, reynolds: float) -> None:
    """Slope within 5 %, zero lift within 0.3 deg, lift at the ideal incidence 0 to 10 % short of theory."""
    found = polar(fit_sail_sections.coordinates(thickness=thickness, camber=camber), reynolds)
    slope, _ = line_through(found, 0.0)
    assert pytest.approx(slope, rel=0.05) == THIN_SLOPE
    zero_lift = attached_incidence(found, 0.0)
    assert zero_lift == pytest.approx(math.degrees(-2.0 * camber), abs=0.3)
    at_ideal = float(np.interp(0.0, INCIDENCE_DEG, found["CL"]))
    assert 0.90 < at_ideal / (4.0 * math.pi * camber) < 1.0


def attached_incidence(found: dict[str, Floats], lift: float) -> float:
    rising = slice(int(np.argmin(found["CL"])), int(np.argmax(found["CL"])) + 1)
    return float(np.interp(lift, found["CL"][rising], INCIDENCE_DEG[rising]))


@pytest.mark.parametrize(("thickness", "low"), [(0.06, 0.88), (0.08, 0.85), (0.12, 0.76)])
def test_boundary_layers_take_lift_from_full_sections(thickness: float, low: float) -> None:
    """A finding, not an agreement: at 8 % of camber and its ideal incidence a turbulent section has 6 to 24 %
    less lift than thin-aerofoil theory, the more the thicker and the lower the Reynolds number. Trim makes it
    up with incidence.
    """
    share = [
        float(np.interp(0.0, INCIDENCE_DEG, found["CL"])) / (4.0 * math.pi * 0.08)
        for found in (
            polar(fit_sail_sections.coordinates(thickness=thickness, camber=0.08), reynolds)
            for reynolds in (1e6, 5e6)
        )
    ]
    assert low < share[0] < share[1] < 0.94


@pytest.mark.parametrize(("thickness", "low", "high"), [(0.06, 0.4, 0.7), (0.12, -0.1, 0.2)])
def test_least_drag_lies_below_the_design_lift(thickness: float, low: float, high: float) -> None:
    """A finding, not an agreement: the model centres the bucket on the design lift; of turbulent sections
    with 4 and 6 % of camber (Reynolds number 5e6) drag is least at 40 to 70 % of it for a thickness of 6 %
    and near no lift for 12 %, because the leeward side's boundary layer thickens with lift, camber or not.
    """
    for camber in (0.04, 0.06):
        found = polar(fit_sail_sections.coordinates(thickness=thickness, camber=camber), 5e6)
        at_least = float(found["CL"][int(np.argmin(found["CD"]))])
        assert low < at_least / (4.0 * math.pi * camber) < high


def turned(thickness: float, hinge: float, rotation: float, count: int = 161) -> Floats:
    """Outline of a section whose mean line is a turned nose and a straight tail."""
    x = 0.5 * (1.0 - np.cos(np.linspace(0.0, math.pi, count)))
    even = fit_sail_sections.coordinates(thickness=thickness, camber=0.0, count=count)
    half = even[:count][::-1, 1]
    rise = math.tan(rotation)
    return outline(x, half, np.where(x < hinge, rise * x, rise * hinge * (1.0 - x) / (1.0 - hinge)),
                   np.where(x < hinge, rise, -rise * hinge / (1.0 - hinge)))  # fmt: skip


def outline(x: Floats, half: Floats, height: Floats, slope: Floats) -> Floats:
    angle = np.arctan(slope)
    across = np.column_stack([-half * np.sin(angle), half * np.cos(angle)])
    line = np.column_stack([x, height])
    return np.vstack([(line + across)[::-1], (line - across)[1:]])


@pytest.mark.parametrize("thickness", [0.08, 0.12])
@pytest.mark.parametrize("hinge", [0.1, 0.15, 0.25])
@pytest.mark.parametrize("rotation_deg", [5.0, 10.0, 15.0])
def test_turned_nose_shifts_zero_lift(thickness: float, hinge: float, rotation_deg: float) -> None:
    """Reynolds number 5e6: 0.3 deg. From 20 deg the flow leaves the kink: see the next test."""
    rotation = math.radians(rotation_deg)
    line = sail_sections.mean_line(hinge_share=hinge, draft_share=0.5)
    expected = math.degrees(line.zero_lift_per_slope * math.tan(rotation))
    found = polar(turned(thickness, hinge, rotation), 5e6)
    slope, zero_lift = line_through(found, expected)
    assert zero_lift == pytest.approx(expected, abs=0.3)
    assert pytest.approx(slope, rel=0.05) == THIN_SLOPE


def test_without_skin_camber_the_flow_leaves_a_nose_turned_by_thirty_degrees() -> None:
    """A finding: the lift slope falls by more than 15 % and zero lift moves 0.4 deg or more beyond theory. A
    fair nose, with the skins' camber behind it, has no such kink.
    """
    for hinge in (0.1, 0.15):
        line = sail_sections.mean_line(hinge_share=hinge, draft_share=0.5)
        expected = math.degrees(line.zero_lift_per_slope * math.tan(math.radians(30.0)))
        slope, zero_lift = line_through(polar(turned(0.08, hinge, math.radians(30.0)), 2e6), expected)
        assert slope < 0.85 * THIN_SLOPE
        assert zero_lift < expected - 0.4


def fair(thickness: float, hinge: float, draft: float, camber: float) -> tuple[Floats, float]:
    """Outline of a turned nose that runs into its skins without a kink, and the rotation."""
    count = 161
    x = 0.5 * (1.0 - np.cos(np.linspace(0.0, math.pi, count)))
    half = fit_sail_sections.coordinates(thickness=thickness, camber=0.0, count=count)[:count][::-1, 1]
    nose = camber * float(sail_sections.mean_line(hinge_share=hinge, draft_share=draft).fair_slope_per_camber)
    reach = np.where(x < draft, draft - hinge, 1.0 - draft)
    skins = camber * (1.0 - ((x - draft) / reach) ** 2)
    height = np.where(x < hinge, nose * x, nose * hinge * (1.0 - x) / (1.0 - hinge) + skins)
    fall = -nose * hinge / (1.0 - hinge) - 2.0 * camber * (x - draft) / reach**2
    return outline(x, half, height, np.where(x < hinge, nose, fall)), math.atan(nose)


@pytest.mark.parametrize(("hinge", "camber"), [(0.1, 0.03), (0.15, 0.03), (0.1, 0.05)])
def test_fair_nose_with_skins(hinge: float, camber: float) -> None:
    """8 % thick, Reynolds number 5e6: slope 5 %; zero lift short of theory by up to 0.4 deg, as that of any
    section with as much equivalent camber (4 to 7 %).
    """
    shape, rotation = fair(0.08, hinge, 0.45, camber)
    line = sail_sections.mean_line(hinge_share=hinge, draft_share=0.45)
    nothing, arc = sail_sections.equivalent_arc(line=line, incidence=0.0, camber=camber, rotation=rotation)
    expected = math.degrees(-nothing - 2.0 * arc)
    found = polar(shape, 5e6)
    slope, _ = line_through(found, 0.5 * expected)
    assert pytest.approx(slope, rel=0.05) == THIN_SLOPE
    assert 0.0 < attached_incidence(found, 0.0) - expected < 0.4


@pytest.mark.parametrize("thickness", [0.06, 0.09])
@pytest.mark.parametrize("camber", [0.04, 0.06])
@pytest.mark.parametrize("lift", [-0.2, -0.3])
def test_negative_lift_is_dearer_with_positive_camber(thickness: float, camber: float, lift: float) -> None:
    """Reynolds number 2e6. The section upside down is the mirror image: its drag at as much positive lift."""
    found = polar(fit_sail_sections.coordinates(thickness=thickness, camber=camber), 2e6)
    inverted = attached(found, -lift)
    assert attached(found, lift) > 1.04 * inverted


def test_thick_nose_hardly_minds() -> None:
    """A finding: 15 % thick with 4 % of camber both cost the same within 2 %; the model says 24 %."""
    found = polar(fit_sail_sections.coordinates(thickness=0.15, camber=0.04), 2e6)
    assert attached(found, -0.4) / attached(found, 0.4) == pytest.approx(1.0, abs=0.02)


CASES: list[tuple[float, float]] = [(0.06, 0.04), (0.09, 0.04), (0.12, 0.04), (0.09, 0.06)]


@pytest.mark.parametrize(("thickness", "camber"), CASES)
def test_drag_over_the_working_range(thickness: float, camber: float) -> None:
    """Reynolds number 2e6, lift 0.3 below to 0.4 above the design lift: -20 and +20 %."""
    found = polar(fit_sail_sections.coordinates(thickness=thickness, camber=camber), 2e6)
    constants = sail_sections.section_law(
        kind="twin_skin", thickness_share=thickness, mast_share=0.0, blunt_share=0.0, reynolds=2e6
    ).at(camber=camber)
    for off in (-0.3, 0.0, 0.4):
        modelled = constants.least_drag + constants.bucket_factor * off**2
        assert 0.8 < modelled / attached(found, 4.0 * math.pi * camber + off) < 1.2


def test_blunt_trailing_edge_costs_less_than_hoerner_says() -> None:
    """A disagreement: of 1 and 2 % of the chord, 12 % thick, Reynolds number 2e6, a third of Hoerner's base
    drag or less. Panel methods with boundary layers have no vortex street behind the base.
    """

    count = 161
    x = 0.5 * (1.0 - np.cos(np.linspace(0.0, math.pi, count)))
    half = fit_sail_sections.coordinates(thickness=0.12, camber=0.0, count=count)[:count][::-1, 1]

    def drag(blunt: float) -> float:
        opened = half + x * (0.5 * blunt - half[-1])
        return attached(polar(outline(x, opened, 0.0 * x, 0.0 * x), 2e6), 0.0)

    for blunt in (0.01, 0.02):
        added = drag(blunt) - drag(0.0)
        hoerner = float(sail_sections.base_drag(forebody_drag=drag(0.0), blunt_share=blunt))
        assert 0.15 < added / hoerner < 0.35
