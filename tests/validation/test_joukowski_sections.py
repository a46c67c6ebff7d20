"""Suction peaks of symmetric sections, exact by the conformal mapping of N. Joukowski, 1910 (Glauert,
"The Elements of Aerofoil and Airscrew Theory", 1926, chapters VI and VII).
"""

import math
from dataclasses import dataclass

import numpy as np
import pytest

from vpp.physics import hydrofoils


@dataclass(frozen=True, kw_only=True)
class Section:
    """A symmetric section by its circle."""

    offset: float

    def surface(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        angle = np.linspace(0.0, 2.0 * math.pi, 40002)[1:-1]
        circle = -self.offset + (1.0 + self.offset) * np.exp(1j * angle)
        return angle, circle, circle + 1.0 / circle

    @property
    def chord(self) -> float:
        _, _, z = self.surface()
        return float(z.real.max() - z.real.min())

    @property
    def thickness_ratio(self) -> float:
        _, _, z = self.surface()
        return float((z.imag.max() - z.imag.min()) / self.chord)

    @property
    def nose_radius_ratio(self) -> float:
        """From the first and second derivative of the mapping at the nose, over the chord."""
        radius, nose = 1.0 + self.offset, -1.0 - 2.0 * self.offset
        first = 1.0 - nose**-2
        along, across = radius * first, radius * first - radius**2 * 2.0 * nose**-3
        return float(abs(along**2 / across) / self.chord)

    def peak(self, incidence: float) -> float:
        angle, circle, _ = self.surface()
        speed = 2.0 * (np.sin(angle - incidence) + math.sin(incidence)) / np.abs(1.0 - circle**-2)
        # the tail is a cusp, where rounding decides
        return float((speed**2)[200:-200].max() - 1.0)

    def lift_coefficient(self, incidence: float) -> float:
        return 8.0 * math.pi * (1.0 + self.offset) * math.sin(incidence) / self.chord


@pytest.mark.parametrize("offset", [0.06, 0.10, 0.13])
@pytest.mark.parametrize("incidence_deg", [0.0, 1.0, 2.0, 4.0, 6.0, 8.0])
def test_suction_peak(offset: float, incidence_deg: float) -> None:
    """Thickness 7 to 15 %, lift to 1: -16 to +19 %. The estimate takes the speed by thickness as even
    over the nose: low where the peak is still that of thickness, farther aft, and high where it has gone
    to the nose.
    """
    section = Section(offset=offset)
    incidence = math.radians(incidence_deg)
    law = hydrofoils.suction_peak(
        lift_coefficient=section.lift_coefficient(incidence),
        design_lift_coefficient=0.0,
        thickness_speed=math.sqrt(1.0 + section.peak(0.0)) - 1.0,
        nose_radius_ratio=section.nose_radius_ratio,
    )
    assert 0.84 < law / section.peak(incidence) < 1.19


def test_speed_by_thickness_of_an_ellipse() -> None:
    """Exact: 1 + t/c at the middle of an ellipse, so -Cp_min = (1 + t/c)^2 - 1 without lift."""
    peak = hydrofoils.suction_peak(
        lift_coefficient=0.0, design_lift_coefficient=0.0, thickness_speed=0.12, nose_radius_ratio=0.0072
    )
    assert peak == pytest.approx(1.12**2 - 1.0)


@pytest.mark.parametrize(("thickness_ratio", "speed"), [(0.06, 1.10), (0.09, 1.14), (0.12, 1.188)])
def test_speed_by_thickness_of_four_digit_sections(thickness_ratio: float, speed: float) -> None:
    """NACA Report 824 (from memory): largest speed over NACA 0006, 0009 and 0012 without lift, 1 %."""
    assert 1.0 + 1.57 * thickness_ratio == pytest.approx(speed, rel=0.01)
